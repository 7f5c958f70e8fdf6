/* A client of generated stubs: PORT of the core channel; what comes back, a line each. */
#include "vxi11.h"
#include <arpa/inet.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

static CLIENT *call(int port, unsigned long program) {
    struct sockaddr_in at = {0};
    int sock = RPC_ANYSOCK;
    at.sin_family = AF_INET;
    at.sin_port = htons(port);
    at.sin_addr.s_addr = htonl(INADDR_LOOPBACK);
    CLIENT *client = clnttcp_create(&at, program, 1, &sock, 0, 0);
    if (!client) { clnt_pcreateerror("client"); exit(1); }
    return client;
}

int main(int argc, char **argv) {
    if (argc < 2) return 2;
    CLIENT *core = call(atoi(argv[1]), DEVICE_CORE);
    Create_LinkParms who = {42, FALSE, 0, "inst9"};
    printf("no such device %ld\n", (long)create_link_1(&who, core)->error);
    who.device = "inst0";
    Create_LinkResp link = *create_link_1(&who, core);
    printf("link %ld most %lu abort %s\n", (long)link.error, (unsigned long)link.maxRecvSize, link.abortPort ? "yes" : "no");
    const char *pieces[] = {"SYST:V", "ERS?\n"};
    for (int i = 0; i < 2; i++) {
        Device_WriteParms out = {link.lid, 1000, 0, i ? 8 : 0, {strlen(pieces[i]), (char *)pieces[i]}};
        Device_WriteResp *took = device_write_1(&out, core);
        printf("write %ld %lu\n", (long)took->error, (unsigned long)took->size);
    }
    Device_ReadParms in = {link.lid, 4, 1000, 0, 0, 0};
    for (int i = 0; i < 2; i++) {
        Device_ReadResp *got = device_read_1(&in, core);
        printf("read %ld reason %ld [%.*s]\n", (long)got->error, (long)got->reason, (int)strcspn(got->data.data_val, "\n") < (int)got->data.data_len ? (int)strcspn(got->data.data_val, "\n") : (int)got->data.data_len, got->data.data_val);
        in.requestSize = 100;
    }
    in.io_timeout = 20;
    printf("nothing to read %ld\n", (long)device_read_1(&in, core)->error);
    Device_GenericParms plain = {link.lid, 0, 0, 1000};
    printf("status %ld\n", (long)device_readstb_1(&plain, core)->error);
    printf("clear %ld trigger %ld remote %ld local %ld\n", (long)device_clear_1(&plain, core)->error, (long)device_trigger_1(&plain, core)->error, (long)device_remote_1(&plain, core)->error, (long)device_local_1(&plain, core)->error);
    Device_LockParms lock = {link.lid, 0, 0};
    Create_LinkResp other = *create_link_1(&who, core);
    Device_LockParms late = {other.lid, 0, 0};
    printf("lock %ld", (long)device_lock_1(&lock, core)->error);
    printf(" other %ld", (long)device_lock_1(&late, core)->error);
    Device_WriteParms locked = {other.lid, 10, 0, 8, {6, "*CLS\n"}};
    printf(" write %ld", (long)device_write_1(&locked, core)->error);
    printf(" unlock %ld", (long)device_unlock_1(&link.lid, core)->error);
    printf(" again %ld\n", (long)device_unlock_1(&link.lid, core)->error);
    CLIENT *beside = call(link.abortPort, DEVICE_ASYNC);
    printf("abort %ld\n", (long)device_abort_1(&link.lid, beside)->error);
    printf("destroy %ld", (long)destroy_link_1(&link.lid, core)->error);
    printf(" again %ld\n", (long)destroy_link_1(&link.lid, core)->error);
    return 0;
}

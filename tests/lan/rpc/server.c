/* A device behind generated stubs: says its ports, and then answers until it is ended. */
#include "vxi11.h"
#include <netinet/in.h>
#include <stdio.h>
#include <string.h>
#include <unistd.h>

void device_core_1(struct svc_req *, SVCXPRT *);
void device_async_1(struct svc_req *, SVCXPRT *);

static char heard[8192], answer[8192];
static size_t length, said;

Create_LinkResp *create_link_1_svc(Create_LinkParms *p, struct svc_req *r) {
    static Create_LinkResp it;
    it = (Create_LinkResp){strcmp(p->device, "inst0") ? 3 : 0, 7, 0, 10};
    return &it;
}

Device_WriteResp *device_write_1_svc(Device_WriteParms *p, struct svc_req *r) {
    static Device_WriteResp it;
    if (p->data.data_len > 10 || length + p->data.data_len >= sizeof heard) {
        it = (Device_WriteResp){5, 0};
        return &it;
    }
    /* It takes no more than eight of the ten bytes that it promises. */
    size_t taken = p->data.data_len > 8 ? 8 : p->data.data_len;
    memcpy(heard + length, p->data.data_val, taken);
    length += taken;
    if ((p->flags & 8) && taken == p->data.data_len) {
        said = snprintf(answer, sizeof answer, "%.*s!\n", (int)strcspn(heard, "\n"), heard);
        if (!strncmp(heard, "long", 4)) { memset(answer, 'x', 4000); answer[4000] = '\n'; said = 4001; }
        if (!strncmp(heard, "mute", 4)) said = 0;
        memset(heard, 0, sizeof heard);
        length = 0;
    }
    it = (Device_WriteResp){0, taken};
    return &it;
}

Device_ReadResp *device_read_1_svc(Device_ReadParms *p, struct svc_req *r) {
    static Device_ReadResp it;
    static char given[8192];
    if (!said) {
        it = (Device_ReadResp){15, 0, {0, given}};
        return &it;
    }
    /* Never more than 1500 bytes at once, whatever is asked for. */
    size_t now = said < p->requestSize ? said : p->requestSize;
    if (now > 1500) now = 1500;
    memcpy(given, answer, now);
    memmove(answer, answer + now, said - now);
    said -= now;
    it = (Device_ReadResp){0, said ? 0 : 4, {now, given}};
    return &it;
}

Device_ReadStbResp *device_readstb_1_svc(Device_GenericParms *p, struct svc_req *r) {
    static Device_ReadStbResp it;
    it = (Device_ReadStbResp){0, said ? 16 : 0};
    return &it;
}

static Device_Error *plain(long error) {
    static Device_Error it;
    it.error = error;
    return &it;
}

Device_Error *device_clear_1_svc(Device_GenericParms *p, struct svc_req *r) { length = said = 0; return plain(0); }
Device_Error *device_trigger_1_svc(Device_GenericParms *p, struct svc_req *r) { return plain(8); }
Device_Error *device_remote_1_svc(Device_GenericParms *p, struct svc_req *r) { return plain(8); }
Device_Error *device_local_1_svc(Device_GenericParms *p, struct svc_req *r) { return plain(8); }
Device_Error *device_lock_1_svc(Device_LockParms *p, struct svc_req *r) { return plain(11); }
Device_Error *device_unlock_1_svc(Device_Link *p, struct svc_req *r) { return plain(12); }
Device_Error *destroy_link_1_svc(Device_Link *p, struct svc_req *r) { return plain(*p == 7 ? 0 : 4); }
Device_Error *device_abort_1_svc(Device_Link *p, struct svc_req *r) { return plain(0); }

int main(void) {
    SVCXPRT *core = svctcp_create(RPC_ANYSOCK, 0, 0);
    /* Protocol 0: no portmapper is told. */
    if (!core || !svc_register(core, DEVICE_CORE, 1, device_core_1, 0)) return 1;
    printf("%u\n", core->xp_port);
    fflush(stdout);
    svc_run();
    return 1;
}

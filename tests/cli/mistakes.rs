//! Slips in plans and bench files: each exit 2, each with its place and a hint,
//! and no instrument hears a word.

use crate::support::{ALARM, Place};
use std::net::TcpListener;

/// A bench at addresses where a connection would be noticed.
struct Listening {
    supply: TcpListener,
    meter: TcpListener,
}

impl Listening {
    fn new() -> Self {
        let listen = || {
            let listener = TcpListener::bind("127.0.0.1:0").unwrap();
            listener.set_nonblocking(true).unwrap();
            listener
        };
        Self { supply: listen(), meter: listen() }
    }

    fn bench(&self, wired: &str) -> String {
        let port = |l: &TcpListener| l.local_addr().unwrap().port();
        format!(
            "[supply]\naddress = \"TCPIP::127.0.0.1::{}::SOCKET\"\nprofile = \"supply-channel-list\"\n\n\
             [meter]\naddress = \"TCPIP::127.0.0.1::{}::SOCKET\"\nprofile = \"meter-plain\"\nterminal = \"mA\"\n\
             wired = \"{wired}\"\n",
            port(&self.supply),
            port(&self.meter)
        )
    }

    fn heard_nothing(&self) {
        for listener in [&self.supply, &self.meter] {
            assert_eq!(listener.accept().map(|_| ()).unwrap_err().kind(), std::io::ErrorKind::WouldBlock, "somebody connected");
        }
    }
}

/// The screen of `run` and the same from `check`, for a plan with a slip.
fn refused(plan: &str, wired: &str) -> String {
    let bench = Listening::new();
    let place = Place::new();
    place.write("plan.toml", plan).write("bench.toml", &bench.bench(wired));
    let run = place.run(&["run", "plan.toml"]);
    bench.heard_nothing();
    assert_eq!(run.code, Some(2), "{}", run.shown());
    assert!(run.err.ends_with("Nothing was energised.\n"), "{}", run.err);
    assert!(!place.path().join("logs").exists(), "a refused plan leaves no record");
    for verb in ["check", "rehearse"] {
        let other = place.run(&[verb, "plan.toml", "--bench", "bench.toml"]);
        assert_eq!((other.code, &other.err), (run.code, &run.err), "{verb} says the same");
    }
    run.shown()
}

/// The shipped plan with one thing written differently.
fn slip(right: &str, wrong: &str) -> String {
    assert_eq!(ALARM.matches(right).count(), 1, "{right}");
    refused(&ALARM.replace(right, wrong), "in series")
}

#[test]
fn a_bare_number() {
    insta::assert_snapshot!(slip("to     = \"9 V\"", "to     = 9"));
}

#[test]
fn a_text_without_a_unit() {
    insta::assert_snapshot!(slip("hold   = \"2 s\"", "hold   = \"2\""));
}

#[test]
fn a_wrong_unit() {
    insta::assert_snapshot!(slip("limit  = \"60 mA\"", "limit  = \"60 mV\""));
}

#[test]
fn a_capital_m() {
    insta::assert_snapshot!(slip("resistor = \"100 kohm\"", "resistor = \"0.1 M\""));
}

#[test]
fn a_comma_for_a_point() {
    insta::assert_snapshot!(slip("off_below = \"0.3 V\"", "off_below = \"0,3 V\""));
}

#[test]
fn an_unknown_key() {
    insta::assert_snapshot!(slip("every  = \"100 ms\"", "evry   = \"100 ms\""));
}

#[test]
fn an_unknown_stage() {
    insta::assert_snapshot!(slip("do     = \"log\"", "do     = \"logg\""));
}

#[test]
fn a_ceiling_overstepped() {
    insta::assert_snapshot!(slip("to     = \"9 V\"", "to     = \"12 V\""));
}

#[test]
fn a_limit_above_the_ceiling() {
    insta::assert_snapshot!(slip("starting = \"100 mA\"", "starting = \"1 A\""));
}

#[test]
fn a_state_below_the_floor() {
    insta::assert_snapshot!(slip("asleep = [\"40 uA\", \"200 uA\"]", "asleep = [\"1 nA\", \"5 nA\"]"));
}

#[test]
fn a_watch_that_the_meter_cannot_follow() {
    insta::assert_snapshot!(slip("watch     = \"1.5 s\"", "watch     = \"20 ms\""));
}

#[test]
fn a_soak_shorter_than_the_time_constant_allows() {
    insta::assert_snapshot!(slip("electrify = \"3 min\"", "electrify = \"20 ms\""));
}

#[test]
fn a_stage_that_would_take_days() {
    insta::assert_snapshot!(slip("times     = 300", "times     = 300000"));
}

#[test]
fn a_leakage_without_a_meter() {
    let place = Place::new();
    let supply = "[supply]\naddress = \"TCPIP::127.0.0.1::1::SOCKET\"\nprofile = \"supply-channel-list\"\n";
    place.write("bench.toml", supply);
    insta::assert_snapshot!(place.run(&["run", "frost-alarm.toml"]).shown());
}

#[test]
fn an_address_that_is_none() {
    let place = Place::new();
    place.write("bench.toml", "[supply]\naddress = \"192.0.2.20:5025\"\nprofile = \"supply-channel-list\"\n");
    insta::assert_snapshot!(place.run(&["off"]).shown());
}

#[test]
fn a_part_beyond_its_rating() {
    insta::assert_snapshot!(slip("rated = \"16 V\"", "rated = \"4 V\""));
}

#[test]
fn a_meter_wired_across_for_a_leakage() {
    insta::assert_snapshot!(refused(ALARM, "across"));
}

#[test]
fn a_lead_that_nobody_has_looked_at() {
    let place = Place::new();
    place.write(
        "bench.toml",
        "[supply]\nprofile = \"supply-channel-list\"\n[meter]\nprofile = \"meter-plain\"\nwired = \"in series\"\n",
    );
    insta::assert_snapshot!(place.run(&["check", "frost-alarm.toml"]).shown());
}

#[test]
fn a_wiring_that_is_none() {
    insta::assert_snapshot!(refused(ALARM, "in line"));
}

#[test]
fn a_quote_that_is_not_closed() {
    insta::assert_snapshot!(slip(
        "name        = \"orchard frost alarm, board B\"",
        "name        = \"orchard frost alarm, board B"
    ));
}

#[test]
fn several_slips_at_once() {
    let plan = ALARM.replace("to     = \"9 V\"", "to     = \"12 V\"").replace("times     = 300", "times     = -3");
    insta::assert_snapshot!(refused(&plan, "in series"));
}

#[test]
fn no_such_plan() {
    let place = Place::new();
    insta::assert_snapshot!(place.run(&["rehearse", "forst-alarm.toml"]).shown());
}

#[test]
fn no_bench() {
    let place = Place::new();
    insta::assert_snapshot!(place.run(&["run", "frost-alarm.toml"]).shown());
}

#[test]
fn a_bench_without_addresses() {
    let place = Place::new();
    insta::assert_snapshot!(place.run(&["run", "frost-alarm.toml", "--bench", "bench-rehearsal.toml"]).shown());
}

#[test]
fn a_profile_that_does_not_exist() {
    let place = Place::new();
    place.write("bench.toml", "[supply]\nprofile = \"supply-chanel-list\"\n");
    insta::assert_snapshot!(place.run(&["check", "frost-alarm.toml"]).shown());
}

#[test]
fn a_verb_that_is_none() {
    let place = Place::new();
    insta::assert_snapshot!(place.run(&["rehears", "frost-alarm.toml"]).shown());
}

#[test]
fn a_pace_on_a_real_bench() {
    let bench = Listening::new();
    let place = Place::new();
    place.write("bench.toml", &bench.bench("in series"));
    insta::assert_snapshot!(place.run(&["run", "frost-alarm.toml", "--pace", "10"]).shown());
    bench.heard_nothing();
}

#[test]
fn a_question_that_nobody_can_answer() {
    let bench = Listening::new();
    let place = Place::new();
    place.write("bench.toml", &bench.bench("in series"));
    let said = place.command(&["run", "frost-alarm.toml"]).stdin(std::process::Stdio::null()).output().unwrap();
    insta::assert_snapshot!(crate::support::said(said).shown());
    bench.heard_nothing();
}

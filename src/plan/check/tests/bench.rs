//! What the bench lacks, and a sweep that names all that it knows of its part.

use super::*;

#[test]
fn what_the_bench_lacks_is_pointed_at() {
    let cases = [
        (
            "wired = \"in series\"",
            "wired = \"across\"",
            "needs the meter in series, but it is wired across",
            "bench.toml:8:9",
            "as a current",
        ),
        ("wired = \"in series\"", "", "lacks \"wired\"", "bench.toml:6:1", "in series"),
        ("terminal = \"mA\"\n", "", "does not say where the lead is", "bench.toml:6:1", "write terminal = \"mA\""),
        (
            "wired = \"in series\"",
            "wired = \"across\"",
            "the supply's own read-back (the meter is wired across)",
            "plan.toml:31:50",
            "put a meter in series",
        ),
        (
            "terminal = \"mA\"",
            "terminal = \"10 A\"",
            "needs the meter's terminal \"mA\", but the lead is in \"10 A\"",
            "bench.toml:9:12",
            "move the lead",
        ),
        (
            "profile = \"meter-plain\"",
            "profile = \"meter-plane\"",
            "no profile \"meter-plane\"",
            "bench.toml:7:11",
            "meter-plain",
        ),
        ("profile = \"meter-plain\"", "profile = \"supply-channel-list\"", "is not for a meter", "bench.toml:7:11", ""),
        ("2027-03-31", "2026-03-31", "calibration expired on 2026-03-31", "bench.toml:4:19", "the report will say so"),
        ("2027-03-31", "2026-12-20", "expires on 2026-12-20, in 25 day(s)", "bench.toml:4:19", "rest on it"),
        ("2027-03-31", "2027-03-31\nchannel = 3", "has 2 channel(s), not 3", "bench.toml:5:11", ""),
    ];
    let missed = missed_by(&cases, |from, to| problems(PLAN, &replaced(BENCH, from, to)));
    assert!(missed.is_empty(), "{}", missed.join("\n"));
    let without = BENCH.split("[meter]").next().unwrap();
    let text = problems(PLAN, without).to_string();
    assert!(text.contains("the bench has no meter"), "{text}");
    assert!(text.contains("begins at 40 uA, below the 2.00 mA that the supply's own read-back"), "{text}");
}

proptest::proptest! {
    #[test]
    fn no_change_of_a_few_characters_makes_the_check_panic(at in 0usize..1500, text in "\\PC{0,6}", remove in 0usize..12) {
        let chars: Vec<char> = PLAN.chars().collect();
        let at = at.min(chars.len());
        let mut changed: String = chars[..at].iter().collect();
        changed.push_str(&text);
        changed.extend(&chars[(at + remove).min(chars.len())..]);
        problems(&changed, BENCH);
    }
}

#[test]
fn a_sweep_may_go_down_again_and_name_all_that_it_knows_of_its_part() {
    let plan = replaced(PLAN, "[\"2 V\", \"4 V\", \"6 V\", \"9 V\"]", "[\"2 V\", \"4 V\", \"6 V\", \"4 V\", \"2 V\"]");
    let plan = replaced(&plan, "limit = \"handbook\"", "limit = { time_constant = \"100 s\" }\nnull = \"12 nA\"");
    let plan = replaced(
        &plan,
        "logic = \"4000B\" }",
        "logic = \"4000B\", part = \"to rail\", beside = \"1 Mohm\", tolerance = \"5 %\" }",
    );
    let found = problems(&plan, BENCH);
    assert!(!found.any_errors(), "{}", found.iter().map(|p| p.render()).collect::<Vec<_>>().join("\n"));
}

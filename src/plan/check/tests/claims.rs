//! A claim that ends a start stage: what cannot be tested is pointed at.

use super::{BENCH, Case, PLAN, missed_by, problems, replaced};

#[test]
fn a_claim_that_cannot_be_decided_is_pointed_at() {
    let cases: Vec<Case> = vec![
        ("times = 500", "", "lacks \"times\"", "plan.toml:23:1", "until = {"),
        (
            "times = 500",
            "times = 100\nuntil = { failing_below = \"1 %\", confidence = \"95 %\" }",
            "100 starts cannot prove a failing rate below 1 %",
            "plan.toml:27:9",
            "332 starts without a failure would",
        ),
        (
            "times = 500",
            "until = { failing_below = \"0.0001 %\", confidence = \"95 %\" }",
            "takes more than 1000000 starts",
            "plan.toml:27:9",
            "claim less",
        ),
        (
            "times = 500",
            "until = { failing_below = \"60 %\", confidence = \"95 %\" }",
            "must lie between 0 % and 50 %",
            "plan.toml:27:27",
            "",
        ),
        ("times = 500", "until = { failing_below = \"1 %\" }", "confidence", "plan.toml:27:9", ""),
    ];
    let missed = missed_by(&cases, |from, to| problems(&replaced(PLAN, from, to), BENCH));
    assert!(missed.is_empty(), "{}", missed.join("\n"));
}

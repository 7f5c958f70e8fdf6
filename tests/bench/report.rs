//! The report as a document: whole, self-contained, and with every start in it.
//! How it looks is judged by eye, not here.

use crate::support::{BENCH, Outcome, SHORT, Setup, rehearse, rehearse_with, unit};
use rampart::clock::Clock;
use rampart::rehearsal::Rig;
use rampart::report;
use rampart::runner::Progress;
use rampart::units::Seconds;
use std::path::Path;

const FROST: &str = include_str!("../../scripts/frost-alarm.toml");
const LEAKING: &str = include_str!("../../scripts/frost-alarm.unit.toml");

fn page(outcome: &Outcome) -> String {
    let html = report::render(&outcome.run).unwrap();
    balanced(&html);
    for word in ["http", "<script", "src=", "url(", "@import", "NaN", "inf ", "Infinity"] {
        assert!(!html.contains(word), "{word:?} in the report");
    }
    html
}

/// Every element that is opened is closed, in order.
pub fn balanced(html: &str) {
    const VOID: [&str; 3] = ["!DOCTYPE", "meta", "br"];
    let mut open: Vec<&str> = Vec::new();
    for part in html.split('<').skip(1) {
        let tag = part.split('>').next().unwrap();
        let name = tag.trim_start_matches('/').split([' ', '/']).next().unwrap();
        if tag.starts_with('/') {
            assert_eq!(open.pop(), Some(name), "</{name}> closes something else");
        } else if !VOID.contains(&name) && !tag.ends_with('/') {
            open.push(name);
        }
    }
    assert!(open.is_empty(), "never closed: {open:?}");
}

/// How many marks a class of dots has in the figure with this caption.
fn marks(html: &str, caption: &str, class: &str, each: usize) -> usize {
    let figure = html.split("<figure>").find(|f| f.contains(caption)).unwrap_or_else(|| panic!("no figure {caption:?}"));
    let plot = figure.split("</svg>").next().unwrap();
    let mut count = 0;
    for path in plot.split("<path d=\"").skip(1) {
        let (drawn, rest) = path.split_once('"').unwrap();
        if rest.starts_with(&format!(" class=\"{class}\"")) {
            count += drawn.matches('M').count();
        }
    }
    assert_eq!(count % each, 0);
    count / each
}

#[test]
fn findings_come_first_and_every_start_is_a_mark() {
    let outcome = rehearse(Setup { plan: FROST, unit: LEAKING.into(), seed: 3, ..Setup::default() });
    let html = page(&outcome);
    let place = |words: &str| html.find(words).unwrap_or_else(|| panic!("{words:?} is not in the report"));
    let order = [
        "REHEARSAL",
        "<h2>Findings",
        "What was done",
        "Stage by stage",
        "Settings, as read back",
        "Events",
        "Cautions",
        "How it was computed",
        "What the run followed",
    ];
    assert!(order.windows(2).all(|w| place(w[0]) < place(w[1])), "the order of the report");
    for finding in outcome.run.findings().unwrap() {
        let sentence = finding.sentence.replace('&', "&amp;").replace('<', "&lt;").replace('>', "&gt;").replace('"', "&quot;");
        assert!(place(&sentence) < place("What was done"), "{sentence}");
    }
    for plot in [
        "Current over voltage",
        "Current over time",
        "Every start",
        "Distribution of the current",
        "Leakage over the voltage",
        "How each voltage settled",
    ] {
        place(plot);
    }
    let starts = outcome.run.starts(3).unwrap();
    let of = |counts: &str| starts.iter().filter(|s| s.counts == counts).count();
    assert_eq!(starts.len(), 300);
    assert_eq!(marks(&html, "Every start", "dot", 1), of("good"));
    assert_eq!(marks(&html, "Every start", "cross", 2), of("failed"));
    assert_eq!(marks(&html, "Leakage over the voltage", "dot", 1), 3);
    place("limit 752 nA");
    place("orchard frost alarm, board B");
    place("This is software.");
}

#[test]
fn what_is_below_the_floor_is_drawn_as_such() {
    let bench = "[supply]\nprofile = \"supply-channel-list\"\n";
    let outcome = rehearse(Setup { bench, unit: unit("").replace("12 mA", "65 uA"), ..Setup::default() });
    let html = page(&outcome);
    assert_eq!(marks(&html, "Every start", "hollow", 1), 4);
    assert_eq!(marks(&html, "Every start", "dot", 1) + marks(&html, "Every start", "cross", 2), 0);
    assert!(html.contains("below the instrument&#39;s floor") || html.contains("below the instrument's floor"));
}

#[test]
fn a_name_is_text_whatever_stands_in_it() {
    let plan = SHORT.replace("name = \"unit\"", "name = \"<b onload=x>&\\\"unit\"");
    let html = page(&rehearse(Setup { plan: &plan, ..Setup::default() }));
    assert!(!html.contains("<b onload"));
    assert!(html.contains("&lt;b onload=x&gt;&amp;"));
}

#[test]
fn a_long_log_stays_small() {
    // A quarter of an hour at ten readings a second; the picture has 1144 half columns.
    let plan = SHORT.replace("for = \"2 s\"", "for = \"15 min\"").replace("every = \"200 ms\"", "every = \"100 ms\"");
    let outcome =
        rehearse(Setup { plan: &plan, unit: unit("ripple = { share = \"20 %\", period = \"700 ms\" }"), ..Setup::default() });
    let points = outcome.run.currents(2).unwrap();
    assert!(points.len() > 8500, "{}", points.len());
    let html = page(&outcome);
    let figure = html.split("<figure>").find(|f| f.contains("Current over time")).unwrap();
    let figure = figure.split("</figure>").next().unwrap();
    assert!(figure.len() < 60_000, "{} bytes for {} points", figure.len(), points.len());
}

#[test]
fn a_run_that_was_stopped_says_so() {
    let mut nothing = |_: &Progress<'_>, _: &Rig, _: &Path| {};
    let outcome = rehearse_with(Setup { bench: BENCH, ..Setup::default() }, &mut nothing, |clock: Clock| async move {
        clock.sleep_until(Seconds(3.0)).await;
        "a test".into()
    });
    let html = page(&outcome);
    assert!(html.contains("Ended: stopped") && html.contains("a test"), "{}", outcome.ended.how);
    assert!(html.contains("cut off"), "the stage that was cut says so");
}

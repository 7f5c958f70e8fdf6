//! `rampart calc`: the working as a person reads it, the same for programs, and
//! what is said where a value cannot be.

use crate::support::{Place, Said};
use serde_json::Value;

/// The command of the help's example and its arguments, as a shell would split them.
fn split(line: &str) -> Vec<String> {
    let mut words = Vec::new();
    let mut quoted = false;
    let mut word = String::new();
    for c in line.chars() {
        match c {
            '"' => quoted = !quoted,
            ' ' if !quoted => words.push(std::mem::take(&mut word)),
            other => word.push(other),
        }
    }
    words.push(word);
    words.retain(|w| !w.is_empty());
    words
}

/// What `rampart calc` says to the words of a command line.
fn calc(line: &str) -> Said {
    let words = split(line);
    let mut arguments = vec!["calc"];
    arguments.extend(words.iter().map(String::as_str));
    Place::new().run(&arguments)
}

/// The screen, after making sure that the JSON tells the same.
fn screen(line: &str) -> String {
    let said = calc(line);
    let json = calc(&format!("{line} --json"));
    assert_eq!(json.code, said.code, "{}", json.shown());
    let value: Value = serde_json::from_str(&json.out).unwrap_or_else(|e| panic!("{e}: {}", json.shown()));
    let steps = value["steps"].as_array().unwrap();
    assert_eq!(steps.len(), value["results"].as_object().unwrap().len(), "a name comes twice: {value}");
    for step in steps {
        assert!(said.out.contains(step["working"].as_str().unwrap()), "{step} is not on the screen");
    }
    for (name, result) in value["results"].as_object().unwrap() {
        assert!(result["value"].is_number() && result["unit"].is_string(), "{name}: {result}");
        assert!(name.chars().all(|c| c.is_ascii_lowercase() || c.is_ascii_digit() || c == '_'), "{name:?} is no key");
    }
    assert!(said.out.contains(value["answer"].as_str().unwrap()));
    assert!(!value["sources"].as_array().unwrap().is_empty(), "no source: {value}");
    said.shown()
}

/// The complaint of a command line that is wrong.
fn mistake(line: &str) -> String {
    let said = calc(line);
    assert_eq!(said.code, Some(2), "{}", said.shown());
    assert_eq!(said.out, "", "{}", said.shown());
    let json = calc(&format!("{line} --json"));
    assert_eq!((json.code, json.err.lines().next(), json.out.as_str()), (Some(2), said.err.lines().next(), ""), "--json, too");
    said.err
}

/// A number of the JSON.
fn result(line: &str, name: &str) -> f64 {
    let json = calc(&format!("{line} --json"));
    let value: Value = serde_json::from_str(&json.out).unwrap_or_else(|e| panic!("{e}: {}", json.shown()));
    value["results"][name]["value"].as_f64().unwrap_or_else(|| panic!("no {name}: {value}"))
}

#[test]
fn every_calculation_has_an_example_that_runs() {
    let help = calc("--help").out;
    let commands: Vec<&str> = help
        .lines()
        .skip_while(|l| *l != "Commands:")
        .skip(1)
        .take_while(|l| !l.is_empty())
        .filter(|l| l.starts_with("  ") && !l.starts_with("   "))
        .filter_map(|l| l.split_whitespace().next())
        .collect();
    assert!(commands.len() > 10 && commands.is_sorted(), "{commands:?}");
    let mut all = String::new();
    // A circuit's is a table over time of a file, not a working.
    for command in commands.into_iter().filter(|c| *c != "circuit") {
        let help = calc(&format!("{command} --help")).out;
        let (_, example) = help.split_once("Example: rampart calc ").unwrap_or_else(|| panic!("{command}: {help}"));
        let example = example.split("\n\n").next().unwrap().split_whitespace().collect::<Vec<_>>().join(" ");
        assert!(example.starts_with(command), "{example}");
        all.push_str(&format!("=== {example}\n{}\n", screen(&example)));
    }
    insta::assert_snapshot!(all);
}

#[test]
fn what_cannot_be_is_refused_with_its_reason() {
    let mut all = String::new();
    for line in [
        "discharge --capacitance 1000 --from \"60 V\" --resistance \"1 kohm\"",
        "discharge --capacitance \"1 mV\" --from \"60 V\" --resistance \"1 kohm\"",
        "discharge --capacitance \"-1 mF\" --from \"60 V\" --resistance \"1 kohm\"",
        "discharge --capacitance \"1 mF\" --from \"60 V\" --resistance \"0 ohm\"",
        "discharge --capacitance \"1 mF\" --from \"60 V\" --to \"0 V\" --resistance \"1 kohm\"",
        "discharge --capacitance \"1 mF\" --from \"60 V\" --to \"61 V\" --resistance \"1 kohm\"",
        "discharge --capacitance \"1 mF\" --from \"60 V\"",
        "discharge --capacitance \"1 mF\" --from \"60 V\" --resistance \"1 kohm\" --current \"1 mA\"",
        "discharge --capacitance \"1 mF\" --from \"1e300 V\" --current \"1 mA\"",
        "leakage --kind film --capacitance \"1 uF\" --rated \"100 V\" --series jan-c-62",
        "leakage --kind film --capacitance \"1 uF\" --rated \"100 V\" --series best",
        "leakage --kind mica --capacitance \"1 uF\" --rated \"100 V\"",
        "leakage --kind film --capacitance \"1 uF\" --rated \"0 V\"",
        "conduction --permittivity 0.5",
        "conduction --permittivity 25 --temperature \"-300 degC\"",
        "conduction --permittivity 25 --nanometres -1",
        "absorption --from \"60 s\" --to \"1 s\"",
        "node --rail \"9 V\" --pull-up \"1 Mohm\" --family 74HC",
        "rate --failures 5 --starts 4",
        "rate --failures -1 --starts 4",
        "rate --failures 0 --starts 0",
        "proof --below \"0 %\"",
        "proof --below 1",
        "proof --below \"1 %\" --confidence \"100 %\"",
        "proof --below \"1e-18 %\"",
        "compare --before 5/1000 --after \"0 of 1000\"",
        "compare --before \"0 of 100\" --after \"0 of 100\"",
        "sequential --good \"1 %\" --bad \"1 %\"",
        "sequential --good \"1 %\" --bad \"2 %\" --alpha \"60 %\" --beta \"40 %\"",
        "sampling --lot 1 --aql \"1.5 %\"",
        "sampling --lot 1000 --aql \"2 %\"",
        "sampling --lot 1000 --aql \"1.5 %\" --level IV",
        "sampling --lot 1000 --aql \"1.5 %\" --inspection strict",
        "isolated --lot 100 --limiting \"0 %\"",
        "isolated --lot 20 --limiting \"10 %\" --accept 2",
        "isolated --lot 50 --limiting \"4 %\" --good \"4 %\"",
        "switching --aql \"1.5 %\" --lot 1000",
        "switching --aql \"1.5 %\" --lot \"81 of 1000\"",
        "uncertainty --reading 5",
        "uncertainty --reading \"5 V\"",
        "uncertainty --reading \"5 V\" --range \"1 A\" --of-range \"1 %\"",
        "uncertainty --reading \"5 V\" --of-range \"1 %\"",
        "uncertainty --reading \"5 V\" --digits 2",
        "uncertainty --reading \"5 V\" --spread \"1 mV\" --readings 1",
        "battery --phase \"7 mA\" --capacity \"225 mAh\"",
        "battery --phase \"7 mA for 3\" --capacity \"225 mAh\"",
        "battery --phase \"7 mA for 3 s\" --rest \"1 uA\" --period \"1 s\" --capacity \"225 mAh\"",
        "battery --phase \"2 A for 3 s\" --cell aa-alkaline",
        "burden --voltage \"1 V\" --shunt \"10 ohm\" --current \"200 mA\"",
        "rejection --plc 0",
        "rejection --plc 1 --off \"10 %\"",
        "event --every \"10 ms\" --window \"20 ms\"",
        "droop --capacitance \"1 mF\" --from \"3 V\" --to \"3 V\" --time \"1 s\"",
        "recovery --voltage \"100 V\" --dielectric paper",
        "inrush --voltage \"5 V\" --capacitance \"1 mF\"",
        "node --rail \"5 V\" --pull-up \"1 Mohm\" --family 75HC",
        "node --rail \"5 V\" --family 4000B",
        "node --rail \"5 V\" --pull-down \"0 ohm\" --family 4000B",
        "node --rail \"5 V\" --pull-up \"1 Mohm\" --family 4000B --leakage \"2 uA\" --leakage-to \"1 uA\"",
        "node --rail \"5 V\" --pull-up \"1 Mohm\" --family 4000B --at \"2 V\"",
        "node --rail \"5 V\" --pull-up \"1 Mohm\" --family 4000B --warmer 0",
    ] {
        all.push_str(&format!("=== {line}\n{}", mistake(line)));
    }
    insta::assert_snapshot!(all);
}

#[test]
fn json_is_in_units_without_prefix() {
    let tau = result("discharge --capacitance \"1 mF\" --from \"120 V\" --to \"60 V\" --resistance \"1 kohm\"", "time_to_fall");
    assert!((tau - std::f64::consts::LN_2).abs() < 1e-12, "{tau}");
}

#[test]
fn a_leak_is_asked_of_a_netlist() {
    let place = Place::new();
    place.write("arm.cir", "an arming delay\nV1 rail 0 9\nR1 rail arm 1meg\nC1 arm 0 2.2u\n.tran 0.1 5\n.end\n");
    let ask = |more: &[&str]| {
        let mut words = vec!["calc", "node", "--netlist", "arm.cir", "--rail", "9 V", "--family", "4000B"];
        words.extend(more);
        place.run(&words)
    };
    let mut all = ask(&["--node", "arm", "--leakage", "150 uA", "--at", "6 V"]).shown();
    for more in [&["--node", "arms"][..], &[], &["--node", "arm", "--pull-up", "1 Mohm"], &["--node", "arm", "--moment", "-1 s"]]
    {
        let said = ask(more);
        assert_eq!(said.code, Some(2), "{}", said.shown());
        all.push_str(&format!("=== {more:?}\n{}", said.err));
    }
    insta::assert_snapshot!(all);
    let curves = place.run(&["calc", "circuit", "arm.cir", "--node", "arm"]);
    assert!(
        curves.code == Some(0) && curves.out.starts_with("time,v(arm)\n") && curves.out.lines().count() == 52,
        "{}",
        curves.shown()
    );
}

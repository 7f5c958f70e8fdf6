//! `check --profile`: what is wrong, what is left open, what would be sent.

use crate::support::Place;

#[test]
fn a_profile_that_is_well() {
    let place = Place::new();
    insta::assert_snapshot!(place.run(&["check", "--profile", "supply-packed-digits"]).shown());
}

#[test]
fn a_meter_that_is_asked_nothing() {
    let place = Place::new();
    insta::assert_snapshot!(place.run(&["check", "--profile", "meter-streaming"]).shown());
}

#[test]
fn slips_in_a_profile() {
    let place = Place::new();
    let text = include_str!("../../profiles/supply-channel-list.toml");
    let text = text.replace("timeout     = \"1 s\"", "timout = \"1 s\"").replace("floor      = \"2 mA\"", "floor = 2");
    place.write("mine.toml", &text.replace("off_is    = \"bleeder\"", "off_is = \"bleader\""));
    insta::assert_snapshot!(place.run(&["check", "--profile", "mine.toml"]).shown());
}

#[test]
fn what_does_not_go_together() {
    let place = Place::new();
    let text = include_str!("../../profiles/supply-channel-list.toml");
    let text = text
        .replace("timeout     = \"1 s\"", "queries = 3\nlongest = 24")
        .replace("\"VOLT? (@{channel})\"", "\"VOLT?\"")
        .replace("\"CURR? (@{channel})\"", "\"CURR? (@{chanel})\"");
    place.write("mine.toml", &text);
    insta::assert_snapshot!(place.run(&["check", "--profile", "mine.toml"]).shown());
}

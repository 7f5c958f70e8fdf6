//! The stand-ins against clients that are written here, byte for byte, and the
//! circuit against closed forms. No driver takes part.

mod desk;
mod dialects;
mod metering;
mod output;
mod panel;
mod physics;
mod rejection;
mod serving;
mod settling;
mod taking;

use super::world::Electrics;
use super::*;
use crate::clock::Clock;
use crate::document::Document;
use crate::instrument::profile::SupplyProfile;
use crate::plan::{Bench, Quirks, SupplyElectrics};

/// The output of a stand-in of which nothing is said.
fn usual(profile: &SupplyProfile) -> Electrics {
    super::supply::electrics::of(profile, &SupplyElectrics::default(), &Quirks::default())
}

/// A unit of 12 mA that starts at once.
const UNIT: &str = "cause = \"none\"\n[board]\ninput = \"10 uF\"\ndropout = \"2 V\"\nrunning = \"12 mA\"\nasleep = \"50 uA\"\n";

fn unit(text: &str) -> UnitFile {
    UnitFile::read(&Document::new("unit.toml", text)).unwrap_or_else(|p| panic!("{p}"))
}

fn bench(supply: &str, meter: &str, wired: &str) -> Bench {
    let text = format!("[supply]\nprofile = \"{supply}\"\n[meter]\nprofile = \"{meter}\"\nwired = \"{wired}\"\n");
    Bench::read(&Document::new("bench.toml", text)).unwrap_or_else(|p| panic!("{p}"))
}

fn rig(supply: &str, meter: &str, text: &str, seed: u64) -> Rig {
    Rig::build(&bench(supply, meter, "in series"), &unit(text), "unit", seed, Clock::start(1.0)).unwrap()
}

#[test]
fn stand_ins_share_no_code_with_the_drivers() {
    let folder = std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join("src/rehearsal");
    let mut looked_at = 0;
    for entry in std::fs::read_dir(folder).unwrap() {
        let path = entry.unwrap().path();
        if path.is_dir() {
            continue;
        }
        let text = std::fs::read_to_string(&path).unwrap();
        looked_at += 1;
        for (_, name) in text.match_indices("instrument::").map(|(at, word)| text.split_at(at + word.len())) {
            let allowed = ["Role", "profile", "{Role"].iter().any(|a| name.starts_with(a));
            assert!(allowed, "{}: instrument::{}", path.display(), name.chars().take(30).collect::<String>());
        }
        for reader in ["scpi::parse", "scpi::response", "scpi::message_end", "crate::link"] {
            assert!(!text.contains(reader), "{}: {reader}", path.display());
        }
    }
    assert!(looked_at > 8);
}

#[test]
fn the_shipped_unit_files_read() {
    for text in
        [include_str!("../../../scripts/frost-alarm.unit.toml"), include_str!("../../../scripts/frost-alarm-repaired.unit.toml")]
    {
        assert!(unit(text).parts.contains_key("C7"));
    }
}

#[test]
fn mistakes_in_a_unit_file_are_pointed_at() {
    for (text, says) in [
        ("[board]\ninput = \"10 uF\"\nrunning = \"12 mA\"\nasleep = \"1 uA\"\n", "lacks \"cause\""),
        ("cause = \"x\"\n[board]\ninput = 10\nrunning = \"12 mA\"\nasleep = \"1 uA\"\n", "bare number"),
        (
            "cause = \"x\"\n[board]\ninput = \"10 uF\"\nrunning = \"12 mA\"\nasleep = \"1 uA\"\nreset_bellow = \"1 V\"\n",
            "reset_below",
        ),
        (
            "cause = \"x\"\n[board]\ninput = \"10 uF\"\nrunning = \"12 mA\"\nasleep = \"1 uA\"\narming = { resistor = \"1 kohm\", capacitor = \"C9\" }\n",
            "no [part.C9]",
        ),
        (
            "cause = \"x\"\n[board]\ninput = \"10 uF\"\nrunning = \"12 mA\"\nasleep = \"1 uA\"\nshort = { above = \"5 V\", resistance = \"0 ohm\" }\n",
            "above zero",
        ),
    ] {
        let problems = UnitFile::read(&Document::new("mine.toml", text)).unwrap_err().to_string();
        assert!(problems.contains(says) && problems.contains("mine.toml:"), "{problems}");
    }
}

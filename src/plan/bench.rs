//! A bench file: which instruments stand there, where, and how they are wired.

use super::electrics::SupplyElectrics;
use super::front::Coupling;
use super::quirks::Quirks;
use crate::document::{Document, Places, Problem, Problems, Table};
use crate::instrument::profile::{self, Profile};
use crate::instrument::{Asked, Role};
use crate::link::Address;
use crate::link::serial::Line;
use crate::units::Ohms;
use std::path::Path;

/// A bench as read, with its profiles.
#[derive(Clone, Debug)]
pub struct Bench {
    /// The supply.
    pub supply: SupplySeat,
    /// The meter, where there is one.
    pub meter: Option<MeterSeat>,
    /// The leads from the supply to the unit.
    pub leads: Leads,
    /// Where stand-in instruments are told what the operator has connected; a real bench has none.
    pub patch: Option<String>,
    /// The text that it was read from.
    pub document: Document,
}

/// A supply on the bench.
#[derive(Clone, Debug)]
pub struct SupplySeat {
    /// Resource string; `None` on a bench that is for rehearsal only.
    pub address: Option<String>,
    /// How it speaks.
    pub profile: Profile,
    /// Which channel feeds the unit.
    pub channel: u32,
    /// Serial number that its identity must carry.
    pub serial: Option<String>,
    /// Whether it senses through leads of their own.
    pub remote_sense: bool,
    /// What a person has looked at, because it cannot be asked.
    pub looked_at: Vec<Asked>,
    /// What its stand-in does beside its dialect.
    pub standin: Quirks,
    /// What the stand-in's output is like, electrically.
    pub electrics: SupplyElectrics,
    /// Line settings, where it hangs on a serial port.
    pub line: Line,
    /// Date by which its calibration expires, as 2027-03-31.
    pub calibration_due: Option<String>,
    /// Where it stands in the file.
    pub places: Places,
}

/// A meter on the bench.
#[derive(Clone, Debug)]
pub struct MeterSeat {
    /// Resource string; `None` on a bench that is for rehearsal only.
    pub address: Option<String>,
    /// How it speaks.
    pub profile: Profile,
    /// How it is wired to the unit.
    pub wired: Wiring,
    /// The terminal that the lead is in.
    pub terminal: Option<String>,
    /// Serial number that its identity must carry.
    pub serial: Option<String>,
    /// What its stand-in does beside its dialect.
    pub standin: Quirks,
    /// Line settings, where it hangs on a serial port.
    pub line: Line,
    /// Date by which its calibration expires, as 2027-03-31.
    pub calibration_due: Option<String>,
    /// Where it stands in the file.
    pub places: Places,
}

/// How a meter is wired to the unit.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Wiring {
    /// In the supply's lead: it measures the unit's current.
    InSeries,
    /// Across the unit: it measures its voltage.
    Across,
}

/// The leads from the supply to the unit.
#[derive(Clone, Copy, Debug, Default)]
pub struct Leads {
    /// Both leads together.
    pub resistance: Ohms,
}

impl SupplySeat {
    /// What a person has to look at, because the supply cannot be asked and this file
    /// does not say that somebody has.
    pub fn to_look_at(&self) -> Vec<Asked> {
        let needed = |asked: &Asked| self.profile.supply().is_some_and(|p| p.needs_a_look(*asked));
        Asked::ALL.into_iter().filter(|asked| needed(asked) && !self.looked_at.contains(asked)).collect()
    }
}

impl Bench {
    /// Every seat must say where its instrument is, before anything is opened.
    ///
    /// # Errors
    /// Which seats do not, with their places.
    pub fn addressed(&self) -> Result<(), Problems> {
        let supply = (&self.supply.address, &self.supply.places, Role::Supply);
        let meter = self.meter.as_ref().map(|m| (&m.address, &m.places, Role::Meter));
        let mut problems = Problems::default();
        for (_, places, role) in std::iter::once(supply).chain(meter).filter(|(address, ..)| address.is_none()) {
            problems.push(
                Problem::at(&self.document, places.whole(), format!("[{}] says nothing of where the instrument is", role.name()))
                    .label("no address")
                    .hint("write address = \"TCPIP::192.0.2.20::5025::SOCKET\" or \"ASRL/dev/ttyUSB0::INSTR\"; `rampart rehearse` needs none"),
            );
        }
        if problems.is_empty() { Ok(()) } else { Err(problems) }
    }

    /// Reads a bench file and the profiles that it names.
    ///
    /// # Errors
    /// Every mistake in the bench file, or in a profile.
    pub fn read(document: &Document) -> Result<Self, Problems> {
        let folder = Path::new(&document.name).parent().map(Path::to_path_buf).unwrap_or_default();
        let mut foreign = Problems::default();
        let read = document.read(|root| {
            root.rename("the bench file");
            let supply = root.need_table("supply").and_then(|table| supply(table, &folder, &mut foreign));
            let has_meter = root.has("meter");
            let meter = root.table("meter").and_then(|table| meter(table, &folder, &mut foreign));
            let mut leads = Leads::default();
            if let Some(mut table) = root.table("leads") {
                leads.resistance = table.quantity("resistance").unwrap_or_default();
                table.finish();
            }
            let patch = root.table("patch").and_then(|mut table| {
                let address = table.need_text("address");
                table.finish();
                address
            });
            if has_meter && meter.is_none() {
                return None;
            }
            Some(Bench { supply: supply?, meter, leads, patch, document: document.clone() })
        });
        match read {
            Ok(bench) => Ok(bench),
            Err(_) if foreign.any_errors() => Err(foreign),
            Err(problems) => Err(problems),
        }
    }
}

/// The profile that a seat names; its own mistakes go to `foreign`.
fn seat_profile(table: &mut Table<'_>, folder: &Path, foreign: &mut Problems, meter: bool) -> Option<Profile> {
    let named = table.need_text("profile")?;
    match profile::find(&named, folder) {
        Ok(found) if found.meter().is_some() == meter => Some(found),
        Ok(_) => {
            let wanted = if meter { "a meter" } else { "a supply" };
            table.problem(
                "profile",
                format!("the profile {named:?} is not for {wanted}"),
                format!("expected {wanted}'s profile"),
                None,
            );
            None
        }
        Err(problems) => {
            if problems.iter().all(|p: &Problem| p.line_column().is_none()) {
                let first = problems.iter().next();
                table.problem(
                    "profile",
                    first.map(|p| p.title.clone()).unwrap_or_default(),
                    "no such profile",
                    first.and_then(|p| p.hint.clone()),
                );
            } else {
                foreign.extend(problems);
            }
            None
        }
    }
}

/// An address that can be opened, as far as its text tells.
fn address(table: &mut Table<'_>) -> Option<String> {
    let text = table.text("address")?;
    if let Err(error) = text.parse::<Address>() {
        table.problem("address", error.to_string(), "no address", None);
    }
    Some(text)
}

fn supply(mut table: Table<'_>, folder: &Path, foreign: &mut Problems) -> Option<SupplySeat> {
    let profile = seat_profile(&mut table, folder, foreign, false);
    let address = address(&mut table);
    let channel = table.count("channel", 1, 64).and_then(|c| u32::try_from(c).ok()).unwrap_or(1);
    let serial = table.text("serial");
    let defaults = profile.as_ref().map(|p| p.wire.line.clone()).unwrap_or_default();
    let line = profile::line(&mut table, "line", &defaults);
    let calibration_due = table.date("calibration_due");
    let places = table.places();
    if let Some(most) = profile.as_ref().and_then(|p| p.supply()).map(|s| s.channels)
        && channel > most
    {
        table.problem("channel", format!("the supply has {most} channel(s), not {channel}"), "no such channel", None);
    }
    let remote_sense = table.choice("sense", &[("local", false), ("remote", true)]).unwrap_or(false);
    let looked_at = looked_at(&mut table);
    let standin = Quirks::read(&mut table, Role::Supply);
    let of_supply = profile.as_ref().and_then(|p| p.supply());
    let couples = standin.coupling != Coupling::None || standin.panel.iter().any(|hand| hand.coupling.is_some());
    if couples && of_supply.is_some_and(|s| s.channels < 2) {
        table.problem("standin", "a supply of one channel has none to couple it with", "nothing to couple", None);
    }
    let electrics = SupplyElectrics::read(&mut table, of_supply);
    table.finish();
    Some(SupplySeat {
        standin,
        electrics,
        address,
        profile: profile?,
        channel,
        serial,
        remote_sense,
        looked_at,
        line,
        calibration_due,
        places,
    })
}

/// What a person has looked at.
fn looked_at(table: &mut Table<'_>) -> Vec<Asked> {
    let mut seen = Vec::new();
    for word in table.texts("looked_at").unwrap_or_default() {
        match Asked::ALL.into_iter().find(|a| a.name() == word) {
            Some(asked) => seen.push(asked),
            None => {
                let known = Asked::ALL.map(|a| format!("{:?}", a.name())).join(", ");
                table.problem(
                    "looked_at",
                    format!("{word:?} is nothing to look at"),
                    "not known",
                    Some(format!("known are {known}")),
                );
            }
        }
    }
    seen
}

fn meter(mut table: Table<'_>, folder: &Path, foreign: &mut Problems) -> Option<MeterSeat> {
    let profile = seat_profile(&mut table, folder, foreign, true);
    let address = address(&mut table);
    let wired = if table.has("wired") {
        table.choice("wired", &[("in series", Wiring::InSeries), ("across", Wiring::Across)])
    } else {
        table.missing("wired", Some("write wired = \"in series\" or wired = \"across\"".into()))
    };
    let terminal = table.text("terminal");
    let serial = table.text("serial");
    let defaults = profile.as_ref().map(|p| p.wire.line.clone()).unwrap_or_default();
    let line = profile::line(&mut table, "line", &defaults);
    let calibration_due = table.date("calibration_due");
    let places = table.places();
    let standin = Quirks::read(&mut table, Role::Meter);
    if let Some(meter) = profile.as_ref().and_then(Profile::meter) {
        for why in standin.wrong_at(meter) {
            table.problem("standin", why, "not at this meter", None);
        }
    }
    table.finish();
    Some(MeterSeat { standin, address, profile: profile?, wired: wired?, terminal, serial, line, calibration_due, places })
}

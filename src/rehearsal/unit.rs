//! Unit files: what a rehearsal is made of. Every key is described in
//! `scripts/README.md`.

mod described;
mod lot;
mod states;

use super::board::{Board, LatchUp};
use super::circuit::{AfterRest, Field, Solid, Telegraph};
use super::world::{OPEN, Thing};
use crate::analysis::marks::Mark;
use crate::document::{Document, Problems, Table};
use crate::plan::EMPTY;
use crate::units::{Amperes, Farads, Ohms, Quantity, Ratio, Seconds, Volts};
pub use described::Described;
pub use lot::{Fixture, MadeUpLot, Remark};
use std::collections::BTreeMap;
use std::sync::Arc;

/// Time constants of the absorbing branches of a part.
const ABSORBING: [Seconds; 3] = [Seconds(1.0), Seconds(10.0), Seconds(100.0)];

/// A unit file as read.
#[derive(Clone, Debug)]
pub struct UnitFile {
    /// What is really wrong, in a sentence: so that findings can be judged.
    pub cause: String,
    /// The same, for a program that scores findings.
    pub truth: Option<Truth>,
    kind: Kind,
    /// Parts by name, each with the resistor of its fixture.
    pub(super) parts: BTreeMap<String, (Solid, Ohms)>,
    /// The fixture that parts are put into, where it is not a clean one.
    pub(super) fixture: Option<Fixture>,
    /// What the operator says beside what is asked.
    pub remarks: Vec<Remark>,
    /// What the operator marks, and when, in their order.
    pub marks: Vec<Mark>,
    /// The text that it was read from.
    pub document: Document,
}

/// What is really wrong, for a program.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Truth {
    /// The part at fault; none on a good unit.
    pub part: Option<String>,
    /// In a word, as `leakage`.
    pub kind: Option<String>,
    /// The codes of the findings that its plan must reach.
    pub findings: Vec<String>,
    /// Those that it must not.
    pub not: Vec<String>,
    /// Words that must stand in one of them.
    pub says: Vec<String>,
}

/// How a unit is described.
#[derive(Clone, Debug)]
enum Kind {
    /// By a `[board]`.
    Board(Box<Board>),
    /// By a netlist.
    Described(Arc<Described>),
    /// By a lot of parts; in place of a unit there is nothing.
    Lot(Box<MadeUpLot>),
}

fn truth(mut table: Table<'_>) -> Truth {
    let (part, kind) = (table.text("part"), table.text("kind"));
    let mut list = |key| table.texts(key).unwrap_or_default();
    let (findings, not, says) = (list("findings"), list("not"), list("says"));
    table.finish();
    Truth { part, kind, findings, not, says }
}

/// What the operator marks while the plan is rehearsed.
fn marks(root: &mut Table<'_>) -> Vec<Mark> {
    let mut made = Vec::new();
    for mut table in root.tables("mark") {
        if let (Some(at), Some(text)) = (table.need("at"), table.need_text("say")) {
            made.push(Mark { at, text });
        }
        table.finish();
    }
    made.sort_by(|a, b| a.at.0.total_cmp(&b.at.0));
    made
}

impl UnitFile {
    /// Reads a unit file from its text.
    ///
    /// # Errors
    /// Every mistake, with its place.
    pub fn read(document: &Document) -> Result<Self, Problems> {
        let file = document.read(|root| {
            root.rename("the unit file");
            let cause = root.need_text("cause");
            let truth = root.table("truth").map(truth);
            let (mut parts, mut nodes) = (BTreeMap::new(), BTreeMap::new());
            if let Some(mut table) = root.table("part") {
                for name in table.keys() {
                    if let Some(mut inner) = table.table(&name) {
                        inner.rename(format!("[part.{name}]"));
                        let series = inner.quantity("series").unwrap_or(Ohms(1e3));
                        let solid = solid(&mut inner);
                        if let Some(between) = inner.texts("nodes") {
                            if between.len() != 2 {
                                inner.problem("nodes", "a part lies between two nodes", "not two", None);
                            }
                            nodes.insert(name.clone(), between);
                        }
                        inner.finish();
                        parts.insert(name, (solid?, series));
                    }
                }
                table.finish();
            }
            let fixture = root.table("fixture").and_then(lot::fixture);
            let remarks = root.table("operator").map(lot::remarks).unwrap_or_default();
            let marks = marks(root);
            let kind = if root.has("lot") {
                root.table("lot").and_then(MadeUpLot::read).map(|lot| Kind::Lot(Box::new(lot)))
            } else if root.has("netlist") {
                Described::read(root, &parts, &nodes).map(|described| Kind::Described(Arc::new(described)))
            } else {
                root.need_table("board").and_then(|table| board(table, &parts)).map(|board| Kind::Board(Box::new(board)))
            };
            Some(UnitFile { cause: cause?, truth, kind: kind?, parts, fixture, remarks, marks, document: document.clone() })
        })?;
        // What a netlist says is found out by making its circuit.
        if let Kind::Described(described) = &file.kind {
            described.circuit()?;
        }
        Ok(file)
    }

    /// The positions of the parts that leak far more, in a rehearsal with this seed.
    pub fn outliers(&self, seed: u64) -> Vec<u32> {
        match &self.kind {
            Kind::Lot(lot) => lot.draw(seed).1,
            Kind::Board(_) | Kind::Described(_) => Vec::new(),
        }
    }

    /// What can be connected: the board under the unit's name, and the parts; of a lot each
    /// by its position; and nothing.
    pub(super) fn things(&self, unit: &str, seed: u64) -> BTreeMap<String, Thing> {
        let part =
            |(name, (solid, series)): (&String, &(Solid, Ohms))| (name.clone(), Thing::Part(Box::new(solid.clone()), *series));
        let mut things: BTreeMap<String, Thing> = self.parts.iter().map(part).collect();
        let own = match &self.kind {
            Kind::Board(board) => Thing::Board(board.clone()),
            Kind::Described(described) => Thing::Described(described.clone()),
            Kind::Lot(lot) => {
                let drawn = (1_u32..).zip(lot.draw(seed).0);
                things.extend(
                    drawn.map(|(position, (solid, series))| (position.to_string(), Thing::Part(Box::new(solid), series))),
                );
                Thing::Resistor(OPEN)
            }
        };
        things.insert(EMPTY.to_owned(), Thing::Resistor(OPEN));
        things.insert(unit.to_owned(), own);
        things
    }

    /// A plain good unit, for plans without a unit file: a resistor-like load that
    /// draws `current` at once.
    pub fn plain(current: Amperes) -> Self {
        let board = Board {
            input: Farads(10e-6),
            dropout: Volts(1.0),
            reset_below: Volts(0.5),
            asleep: current,
            running: current,
            ripple: (Ratio(0.0), Seconds(1.0)),
            hung: current,
            arming: None,
            latch_up: None,
            short: None,
        };
        let document = Document::new("(a plain unit)", format!("# no unit file: a plain load of {current}\n"));
        Self {
            cause: "none".into(),
            truth: None,
            kind: Kind::Board(Box::new(board)),
            parts: BTreeMap::new(),
            fixture: None,
            remarks: Vec::new(),
            marks: Vec::new(),
            document,
        }
    }
}

fn or<Q: Quantity>(table: &mut Table<'_>, key: &str, default: f64) -> Q {
    table.quantity(key).unwrap_or_else(|| Q::of(default))
}

fn solid(table: &mut Table<'_>) -> Option<Solid> {
    let capacitance: Option<Farads> = table.need("capacitance");
    let insulation: Option<Ohms> = table.need("insulation");
    let field = table.table("field").and_then(|mut field| {
        let made = (field.need("at_1V"), field.number("slope"));
        field.finish();
        Some(Field { at_one_volt: made.0?, slope: made.1? })
    });
    let after_rest = table.table("after_rest").map(|mut rest| {
        let (more, time, settles_in) =
            (or(&mut rest, "more", 0.0), or(&mut rest, "time", 5.0), or(&mut rest, "settles_in", 20.0));
        rest.finish();
        AfterRest { more, time, settles_in }
    });
    let telegraph = table.table("telegraph").map(|mut telegraph| {
        let (more, stay) = (or(&mut telegraph, "more", 0.0), or(&mut telegraph, "stay", 5.0));
        telegraph.finish();
        Telegraph { more, stay }
    });
    let share: Ratio = or(table, "absorption", 0.0);
    let absorption = if share.0 > 0.0 { ABSORBING.map(|time| (share, time)).into() } else { Vec::new() };
    let (capacitance, insulation) = (capacitance?, insulation?);
    if capacitance.0 <= 0.0 || insulation.0 <= 0.0 {
        table.problem("capacitance", "a capacitance and an insulation are above zero", "not above zero", None);
        return None;
    }
    Some(Solid { capacitance, insulation, field, after_rest, telegraph, absorption })
}

fn board(mut table: Table<'_>, parts: &BTreeMap<String, (Solid, Ohms)>) -> Option<Board> {
    let input: Option<Farads> = table.need("input");
    let running: Option<Amperes> = table.need("running");
    let asleep: Option<Amperes> = table.need("asleep");
    let hung = table.quantity("hung");
    let dropout = or(&mut table, "dropout", 3.0);
    let reset_below = or(&mut table, "reset_below", 0.7);
    let ripple = table.table("ripple").map_or((Ratio(0.0), Seconds(1.0)), |mut ripple| {
        let made = (or(&mut ripple, "share", 0.0), or(&mut ripple, "period", 1.0));
        ripple.finish();
        made
    });
    let arming = table.table("arming").and_then(|mut arming| {
        let resistor: Option<Ohms> = arming.need("resistor");
        let threshold: Ratio = or(&mut arming, "threshold", 0.5);
        let name = arming.need_text("capacitor")?;
        let part = parts.get(&name).map(|(solid, _)| solid.clone());
        if part.is_none() {
            arming.problem("capacitor", format!("there is no [part.{name}]"), "not a part of this file", None);
        }
        arming.finish();
        Some((resistor?, part?, threshold))
    });
    let latch_up = table.table("latch_up").and_then(|mut latch_up| {
        let at_start = latch_up.count("at_start", 1, 1_000_000);
        let when = at_start.map_or_else(|| LatchUp::Chance(or(&mut latch_up, "chance", 1.0)), LatchUp::AtStart);
        let current = latch_up.need::<Amperes>("current");
        if current.is_some_and(|c| c.0 <= 0.0) {
            latch_up.problem("current", "a latch-up draws a current above zero", "not above zero", None);
        }
        latch_up.finish();
        Some((when, current?))
    });
    let short = table.table("short").and_then(|mut short| {
        let made = (short.need("above"), short.need::<Ohms>("resistance"));
        if made.1.is_some_and(|r| r.0 <= 0.0) {
            short.problem("resistance", "a path has a resistance above zero", "not above zero", None);
        }
        short.finish();
        Some((made.0?, made.1?))
    });
    if input.is_some_and(|c| c.0 <= 0.0) {
        table.problem("input", "the input capacitance is above zero", "not above zero", None);
    }
    table.finish();
    let (running, asleep) = (running?, asleep?);
    Some(Board {
        input: input?,
        dropout,
        reset_below,
        asleep,
        running,
        ripple,
        hung: hung.unwrap_or(asleep),
        arming,
        latch_up,
        short,
    })
}

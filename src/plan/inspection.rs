//! How the parts of a lot are inspected by a plan: what is acknowledged of each, which
//! rule decides, and the control parts.

use super::read::above_zero;
use crate::analysis::inspection::lot::Counting;
use crate::analysis::uncertainty::Guard;
use crate::document::{Places, Table};
use crate::units::{Amperes, Ratio};

/// How parts are inspected.
#[derive(Clone, Debug)]
pub struct Inspection {
    /// How often the operator acknowledges that a part is discharged; for each part where
    /// the plan does not say.
    pub discharge: Often,
    /// How often that a polarised part is the right way round.
    pub polarity: Often,
    /// The guard band; U where the plan does not say.
    pub guard: Guard,
    /// Which trial of a part counts; the worst where the plan does not say.
    pub counting: Counting,
    /// How often a part that does not pass is taken out, put in and measured again.
    pub retests: u32,
    /// What is done when a control part is out of control.
    pub on_drift: OnDrift,
    /// The control parts.
    pub controls: Option<Controls>,
    /// Where it stands in the plan.
    pub places: Places,
}

/// How often something is acknowledged.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Often {
    /// For each part.
    EachPart,
    /// Once for the lot: the fixture makes sure of it.
    Once,
}

/// What is done when a control part is out of control.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum OnDrift {
    /// The operator mends the fixture; where the control is good again, the parts in
    /// doubt are measured again; where it is not, the lot is held.
    Mend,
    /// The lot is held: no further part is taken.
    Hold,
    /// It is noted, and the parts in doubt stay so.
    GoOn,
}

/// Control parts, measured at the start, after every so many trials, and at the end.
#[derive(Clone, Debug)]
pub struct Controls {
    /// One that is known to be good.
    pub good: Option<Control>,
    /// One that is known to be bad.
    pub bad: Option<Control>,
    /// After how many trials they are measured again.
    pub every: u32,
    /// By which share a control may move from its value before it counts as out of
    /// control, whatever its chart says.
    pub moves: Option<Ratio>,
}

/// A control part.
#[derive(Clone, Debug)]
pub struct Control {
    /// Its name.
    pub name: String,
    /// Its value and standard deviation, where they are known beforehand.
    pub stated: Option<(Amperes, Amperes)>,
}

impl Controls {
    /// Those that there are, with whether each must be found good.
    pub fn all(&self) -> impl Iterator<Item = (&Control, &'static str)> {
        let good = self.good.as_ref().map(|c| (c, GOOD));
        good.into_iter().chain(self.bad.as_ref().map(|c| (c, BAD)))
    }
}

/// A good control part, as records name it.
pub const GOOD: &str = "good control";
/// A bad control part, as records name it.
pub const BAD: &str = "bad control";

/// What stand-ins are told when the operator has cleaned or mended the fixture.
pub const CLEANED: &str = "a clean fixture";
/// What they are told when the fixture is empty.
pub const EMPTY: &str = "nothing";

/// Where a plan says nothing of it.
pub(super) fn usual(places: Places) -> Inspection {
    Inspection {
        discharge: Often::EachPart,
        polarity: Often::EachPart,
        guard: Guard::Full,
        counting: Counting::Worst,
        retests: 0,
        on_drift: OnDrift::Mend,
        controls: None,
        places,
    }
}

/// How often, in words.
const OFTEN: [(&str, Often); 2] = [("each part", Often::EachPart), ("once", Often::Once)];

pub(super) fn read(mut table: Table<'_>) -> Inspection {
    let mut made = usual(table.places());
    made.discharge = table.choice("discharge", &OFTEN).unwrap_or(made.discharge);
    made.polarity = table.choice("polarity", &OFTEN).unwrap_or(made.polarity);
    made.guard = table.choice("guard", &Guard::ALL.map(|g| (g.name(), g))).unwrap_or(made.guard);
    let counting = [Counting::Worst, Counting::Last].map(|c| (c.name(), c));
    made.counting = table.choice("counts", &counting).unwrap_or(made.counting);
    made.retests = table.count("retests", 0, 9).and_then(|n| u32::try_from(n).ok()).unwrap_or(0);
    let on_drift = [("mend", OnDrift::Mend), ("hold", OnDrift::Hold), ("go on", OnDrift::GoOn)];
    made.on_drift = table.choice("on_drift", &on_drift).unwrap_or(made.on_drift);
    made.controls = table.table("controls").and_then(controls);
    table.finish();
    made
}

fn controls(mut table: Table<'_>) -> Option<Controls> {
    let good = table.table("good").and_then(control);
    let bad = table.table("bad").and_then(control);
    if good.is_none() && bad.is_none() && !table.has("good") && !table.has("bad") {
        table.missing::<()>("good", Some("name a part that is known to be good: good = { name = \"G1\" }".into()));
    }
    if let (Some(good), Some(bad)) = (&good, &bad)
        && good.name == bad.name
    {
        table.problem("bad", format!("the good and the bad control are both called {:?}", bad.name), "the same name", None);
    }
    let every = match table.has("every") {
        true => table.count("every", 1, 10_000).and_then(|n| u32::try_from(n).ok()),
        false => table.missing("every", Some("after how many trials they are measured again: every = 25".into())),
    };
    let moves = above_zero(&mut table, "moves");
    table.finish();
    Some(Controls { good, bad, every: every?, moves })
}

fn control(mut table: Table<'_>) -> Option<Control> {
    let name = table.need_text("name");
    let value: Option<Amperes> = above_zero(&mut table, "value");
    let sigma: Option<Amperes> = above_zero(&mut table, "sigma");
    if value.is_some() != sigma.is_some() && table.has("value") != table.has("sigma") {
        let (there, lacks) = if value.is_some() { ("value", "sigma") } else { ("sigma", "value") };
        table.problem(
            there,
            format!("{there:?} of a control without its {lacks:?}"),
            "one without the other",
            Some("write both, as they are known from earlier, or neither: then they are estimated".into()),
        );
    }
    table.finish();
    Some(Control { name: name?, stated: value.zip(sigma) })
}

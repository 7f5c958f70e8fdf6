//! The plan as a program sees it. Read from TOML by `read`; the user's view of
//! every key is in the README's section on plans.

use super::inspection::Inspection;
use super::ramp::Ramp;
use crate::analysis::leakage::limits::Series;
use crate::analysis::node::{Question, Towards};
use crate::analysis::sequential::Claim;
use crate::document::{Document, Places};
use crate::units::{Amperes, Celsius, Farads, Ohms, Ratio, Seconds, Volts, Watts};

/// A plan.
#[derive(Clone, Debug)]
pub struct Plan {
    /// One line that says what is asked.
    pub title: String,
    /// What the unit can bear.
    pub unit: UnitUnderTest,
    /// Limits that hold in every stage.
    pub interlock: Interlock,
    /// The self-check on a known load, where the plan wants one.
    pub self_check: Option<SelfCheck>,
    /// How the parts of a lot are inspected, where the plan says.
    pub inspection: Option<Inspection>,
    /// What is done, in order; at least one.
    pub stages: Vec<Stage>,
    /// The text that it was read from.
    pub document: Document,
}

/// What is tested, and what it can bear.
#[derive(Clone, Debug)]
pub struct UnitUnderTest {
    /// Its name.
    pub name: String,
    /// No stage may ask for more.
    pub ceiling: Ceiling,
    /// Capacitance across its input, where known: for the stored energy and the fall time.
    pub capacitance: Option<Farads>,
    /// Where it stands in the plan.
    pub places: Places,
}

/// The most that a unit can bear.
#[derive(Clone, Copy, Debug)]
pub struct Ceiling {
    /// Volts.
    pub voltage: Volts,
    /// Amperes.
    pub current: Amperes,
    /// Watts; voltage times current where the plan does not say.
    pub power: Watts,
}

/// Limits that hold in every stage.
#[derive(Clone, Debug)]
pub struct Interlock {
    /// Longest time in current limiting; 300 ms where the plan does not say.
    pub in_limit: Seconds,
    /// Longest silence of any instrument; 2 s where the plan does not say.
    pub no_reading: Seconds,
    /// Whether a run may go on after a trip; it may not where `None`.
    pub retry: Option<Retry>,
    /// Most energy into the unit in one stage; unlimited where `None`.
    pub energy: Option<crate::units::Joules>,
    /// Where it stands in the plan.
    pub places: Places,
}

/// A check of supply and meter on a load that is known.
#[derive(Clone, Debug)]
pub struct SelfCheck {
    /// What the load is called; `known load` where the plan does not say.
    pub name: String,
    /// Its resistance.
    pub load: Ohms,
    /// Its tolerance.
    pub tolerance: Ratio,
    /// What it can dissipate.
    pub rated: Watts,
    /// The voltage that it is checked at.
    pub voltage: Volts,
    /// After how many starts it is made again; `None`: once, before everything else.
    pub every: Option<u32>,
    /// Where it stands in the plan.
    pub places: Places,
}

/// When a run may go on after a trip.
#[derive(Clone, Debug)]
pub struct Retry {
    /// How often in a run.
    pub times: u32,
    /// After which causes.
    pub after: Vec<TripCause>,
    /// The pause before the first; each further one is twice as long.
    pub pause: Seconds,
}

/// A cause of a trip after which a plan may let a run go on. What speaks of a unit or
/// an instrument that must not be powered again is not among them.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum TripCause {
    /// More current than the limit in force.
    OverCurrent,
    /// Too long in current limiting.
    InLimit,
    /// An instrument was silent too long.
    NoReading,
    /// The supply's own protection has tripped.
    SupplyProtection,
    /// A setting is no longer what it was set to.
    Changed,
}

/// One stage.
#[derive(Clone, Debug)]
pub struct Stage {
    /// From 1, in the plan's order.
    pub number: u32,
    /// What is done.
    pub kind: StageKind,
    /// Where it stands in the plan.
    pub places: Places,
}

/// What a stage does.
#[derive(Clone, Debug)]
pub enum StageKind {
    /// Raises the voltage from zero at a rate, and watches the current.
    Ramp(Ramp),
    /// Holds the voltage and logs.
    Log(Log),
    /// Switches on, watches, switches off; again and again.
    Start(Box<Start>),
    /// Measures a part's leakage over voltage.
    Leakage(Box<Leakage>),
    /// Tells the operator something and waits for the answer.
    Ask(Ask),
}

impl StageKind {
    /// The word in the plan: `do = "ramp"`.
    pub fn word(&self) -> &'static str {
        match self {
            StageKind::Ramp(_) => "ramp",
            StageKind::Log(_) => "log",
            StageKind::Start(_) => "start",
            StageKind::Leakage(_) => "leakage",
            StageKind::Ask(_) => "ask",
        }
    }
}

/// Current limits while starting and while running.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Limits {
    /// From switch-on to the hand-over.
    pub starting: Amperes,
    /// From the hand-over on.
    pub running: Amperes,
    /// Time of the hand-over after switch-on; zero where both are the same.
    pub after: Seconds,
}

impl Limits {
    /// One limit for starting and running alike.
    pub fn same(limit: Amperes) -> Self {
        Self { starting: limit, running: limit, after: Seconds(0.0) }
    }
}

/// A log at a constant voltage.
#[derive(Clone, Debug)]
pub struct Log {
    /// The voltage; where the plan does not say, that of the stage before. An `ask`
    /// between the two does not matter, unless it connects something else.
    pub voltage: Volts,
    /// The supply's current limit; where the plan does not say, that of the stage before.
    pub limit: Limits,
    /// How long.
    pub length: Seconds,
    /// Time between readings.
    pub every: Seconds,
    /// Current that a good unit draws.
    pub expect: Option<(Amperes, Amperes)>,
    /// States by the current that they draw.
    pub states: Vec<State>,
    /// The good unit that it is compared with, or a run of one: its name, or its path.
    pub good: Option<String>,
}

impl Log {
    /// The start of the unit is not part of a log: it begins at the hand-over, a second in
    /// at least.
    pub fn settled(&self) -> Seconds {
        self.limit.after.max(Seconds(1.0)).min(self.length / 2.0)
    }
}

/// A state of the unit, told by its current.
#[derive(Clone, Debug, PartialEq)]
pub struct State {
    /// Its name.
    pub name: String,
    /// Least current.
    pub low: Amperes,
    /// Most current.
    pub high: Amperes,
}

/// Many starts.
#[derive(Clone, Debug)]
pub struct Start {
    /// The voltage that is switched on.
    pub voltage: Volts,
    /// Current limits.
    pub limit: Limits,
    /// How many starts; where there is a claim, the most.
    pub times: u32,
    /// The claim about the failing rate that ends the stage as soon as it is decided.
    pub until: Option<Claim>,
    /// Time without power before each.
    pub off: OffTimes,
    /// The unit must have fallen below this before each start.
    pub off_below: Option<Volts>,
    /// Longest wait for that, beyond the off-time; then the start is void. 60 s where
    /// the plan does not say.
    pub off_patience: Seconds,
    /// How long each start is watched.
    pub watch: Seconds,
    /// Time within which a good start has reached its state; the watch time where not given.
    pub within: Seconds,
    /// States by their current, in the plan's order; the first is the one that a good
    /// start ends in, whatever its name.
    pub states: Vec<State>,
    /// What to do when a start fails; go on where the plan does not say.
    pub on_fault: OnFault,
    /// The good unit that it is compared with, or a run of one: its name, or its path.
    pub good: Option<String>,
}

/// Time without power before each start.
#[derive(Clone, Debug, PartialEq)]
pub struct OffTimes {
    /// Shortest.
    pub from: Seconds,
    /// Longest; equal to `from` for a fixed time.
    pub to: Seconds,
    /// How the times between are spaced; in equal ratios where the plan does not say.
    pub spacing: Spacing,
    /// In which order they come; at random where the plan does not say.
    pub order: Order,
}

/// How values between two ends are spaced.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Spacing {
    /// Equal steps.
    Linear,
    /// Equal ratios.
    Log,
}

/// In which order values come.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Order {
    /// Shuffled, by the run's seed.
    Random,
    /// Shortest first.
    Rising,
    /// Longest first.
    Falling,
}

/// What to do when a start fails.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum OnFault {
    /// Go on with the next start.
    GoOn,
    /// Switch off and end the stage.
    Off,
    /// Keep the power on, so that the fault can be probed, for this long at most; then end the stage.
    Hold(Seconds),
}

/// Leakage of a part over voltage.
#[derive(Clone, Debug)]
pub struct Leakage {
    /// The part.
    pub part: Part,
    /// The voltages at the supply, in order: rising, and then, where wanted, falling.
    pub voltages: Vec<Volts>,
    /// Resistor in series with the part.
    pub series: Ohms,
    /// Time under bias before the leakage is read (electrification time).
    pub electrify: Seconds,
    /// Time between readings while it settles; where the plan does not say a sixtieth
    /// of the soak, but at least 0.5 s.
    pub every: Seconds,
    /// How long each voltage is held at most, where it is held until the leakage is within
    /// the limit and hardly falls any more; `electrify` alone where the plan does not say.
    pub reform: Option<Seconds>,
    /// Largest leakage that is accepted; the handbook's where the plan does not say.
    pub limit: LeakageLimit,
    /// What the meter shows with nothing connected, to be subtracted; none where the
    /// plan does not say.
    pub null: Amperes,
    /// The node that the part stands at, where its effect is asked for.
    pub into: Option<Node>,
    /// The good unit that it is compared with, or a run of one: its name, or its path.
    pub good: Option<String>,
}

impl Leakage {
    /// The longest time for which a voltage is held.
    pub fn longest(&self) -> Seconds {
        self.reform.map_or(self.electrify, |most| most.max(self.electrify))
    }
}

/// A part.
#[derive(Clone, Debug)]
pub struct Part {
    /// As marked on the board: `C7`.
    pub name: String,
    /// What it is.
    pub kind: PartKind,
    /// Its capacitance.
    pub capacitance: Farads,
    /// Its rated voltage.
    pub rated: Volts,
    /// Its temperature; as the room where the plan does not say.
    pub temperature: Option<Celsius>,
}

/// Kinds of part whose limit a handbook gives.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum PartKind {
    /// Solid tantalum.
    SolidTantalum,
    /// Aluminium, wet electrolyte.
    Aluminium,
    /// Ceramic, class 2.
    Ceramic,
    /// Plastic film.
    Film,
}

impl PartKind {
    /// The word in the plan.
    pub fn word(self) -> &'static str {
        match self {
            PartKind::SolidTantalum => "solid tantalum",
            PartKind::Aluminium => "aluminium",
            PartKind::Ceramic => "ceramic",
            PartKind::Film => "film",
        }
    }

    /// Whether it has a polarity that must be kept.
    pub fn is_polar(self) -> bool {
        matches!(self, PartKind::SolidTantalum | PartKind::Aluminium)
    }
}

/// Largest leakage that is accepted.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum LeakageLimit {
    /// A customary one, for the kind and series of the part.
    Table(Series),
    /// By the ohm-farad product of a data sheet.
    TimeConstant(Seconds),
    /// The plan's own.
    Own(Amperes),
}

/// The node that a part stands at: resistors that hold it, and a logic input.
#[derive(Clone, Debug)]
pub struct Node {
    /// The resistor that the leakage works against: from the rail to the node for a part
    /// to ground, from the node to ground for one to the rail.
    pub resistor: Ohms,
    /// A resistor across the part, where there is one.
    pub beside: Option<Ohms>,
    /// Tolerance of both; none where the plan does not say.
    pub tolerance: Ratio,
    /// Where the part lies; to ground where the plan does not say.
    pub part: Towards,
    /// The rail.
    pub rail: Volts,
    /// Logic family of the input, as `4000B`.
    pub logic: String,
}

impl Node {
    /// As the analysis asks it.
    ///
    /// # Errors
    /// In words: the family is not known, or has no levels at this rail.
    pub fn question(&self) -> Result<Question, String> {
        let (up, down) = match self.part {
            Towards::Ground => (Some(self.resistor), self.beside),
            Towards::Rail => (self.beside, Some(self.resistor)),
        };
        Ok(Question::new(self.rail, up, down, self.part, &self.logic)?.within(self.tolerance))
    }
}

/// Something for the operator to do or to answer.
#[derive(Clone, Debug)]
pub struct Ask {
    /// What is said.
    pub say: String,
    /// Answers that let the run go on, an empty one standing for Enter; Enter, y, yes,
    /// ok and done where the plan does not say.
    pub accept: Vec<String>,
    /// What is connected from now on, where this changes it (the unit's name or a part's).
    pub connect: Option<String>,
}

/// Starts of a round of off-times, where nobody knows how many rounds there will be.
const ROUND: u32 = 50;

impl Start {
    /// The off-times of all starts, in order, drawn with `seed`.
    ///
    /// Equally spaced values (linear or in ratio), so that every part of the span
    /// is covered; shuffled where the order is random. Where nobody knows beforehand
    /// how many starts there will be, they come in rounds of `ROUND`, each of which
    /// covers the span; so the first ones do not hang on how many may follow.
    pub fn off_times(&self, seed: u64) -> Vec<Seconds> {
        use rand::SeedableRng;
        let random = &mut rand_chacha::ChaCha8Rng::seed_from_u64(seed);
        let all = self.times.max(1);
        if self.until.is_none() {
            return self.round(all, random);
        }
        let rounds = (0..all.div_ceil(ROUND)).flat_map(|_| self.round(ROUND, random));
        rounds.take(usize::try_from(all).unwrap_or(usize::MAX)).collect()
    }

    fn round(&self, n: u32, random: &mut rand_chacha::ChaCha8Rng) -> Vec<Seconds> {
        use rand::seq::SliceRandom;
        let share = |i: u32| if n == 1 { 0.0 } else { f64::from(i) / f64::from(n - 1) };
        let (from, to) = (self.off.from.0, self.off.to.0);
        let mut times: Vec<Seconds> = (0..n)
            .map(|i| match self.off.spacing {
                Spacing::Linear => Seconds(from + (to - from) * share(i)),
                Spacing::Log => Seconds(from * (to / from).powf(share(i))),
            })
            .collect();
        match self.off.order {
            Order::Rising => {}
            Order::Falling => times.reverse(),
            Order::Random => times.shuffle(random),
        }
        times
    }

    /// How many starts there will be, as far as it can be said beforehand.
    pub fn how_many(&self) -> String {
        let Some(claim) = &self.until else { return format!("{} starts", self.times) };
        let Foretold { if_none_fails, expected } = self.foretold();
        let tenth = Ratio(claim.below().0 / 10.0);
        format!(
            "starts until the failing rate is proved to be below {} with {} confidence, or that is refuted ({if_none_fails} if none fails, {expected} on the average at a failing rate of {tenth}, {} at most)",
            claim.below(),
            Ratio(claim.confidence()),
            self.times,
        )
    }

    /// How many starts are to be expected.
    pub fn foretold(&self) -> Foretold {
        let Some(claim) = &self.until else { return Foretold { if_none_fails: self.times, expected: self.times } };
        let least = claim.proved_after(0).and_then(|n| u32::try_from(n).ok()).unwrap_or(u32::MAX);
        // A tenth of the claimed rate is what the test is made for.
        let expected = claim.prospect(Ratio(claim.below().0 / 10.0), u64::from(self.times)).starts.round();
        Foretold { if_none_fails: least.min(self.times), expected: (expected as u32).min(self.times) }
    }
}

/// How many starts are to be expected.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Foretold {
    /// Where none fails.
    pub if_none_fails: u32,
    /// On the average, at the rate that the test is made for.
    pub expected: u32,
}

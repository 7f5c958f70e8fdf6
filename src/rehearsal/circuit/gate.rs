//! A CMOS gate: inputs that draw nothing and read a level by their family's
//! thresholds, an output that is a resistance to its supply or to ground, and the
//! current that both transistors let through while an input stands in between.

use super::device::Device;
use crate::analysis::logic;
use crate::document::Table;
use crate::units::{Amperes, Ohms, Quantity, Ratio, Seconds, Volts};

/// What a gate makes of its inputs.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Logic {
    /// The first input.
    Buffer,
    /// Not the first input.
    Inverter,
    /// All inputs.
    And,
    /// Not all inputs.
    Nand,
    /// Any input.
    Or,
    /// No input.
    Nor,
}

/// What a gate is like. Its terminals: supply, ground, output, then its inputs.
#[derive(Clone, Debug, PartialEq)]
pub struct GateKind {
    /// What it makes of its inputs.
    pub logic: Logic,
    /// The family, as [`logic::names`] has it.
    pub family: String,
    /// Where between the family's two guaranteed levels this specimen changes: 0 at the
    /// low one, 1 at the high one.
    pub trips: Ratio,
    /// Between its points for rising and falling inputs, as a share of the supply.
    pub hysteresis: Ratio,
    /// Of its output, either way.
    pub output: Ohms,
    /// From an input's change to the output's.
    pub delay: Seconds,
    /// Drawn from its supply at most while an input is between the levels.
    pub through: Amperes,
}

/// What a gate can make of its inputs, as it is written.
const LOGICS: [(&str, Logic); 6] = [
    ("buffer", Logic::Buffer),
    ("inverter", Logic::Inverter),
    ("and", Logic::And),
    ("nand", Logic::Nand),
    ("or", Logic::Or),
    ("nor", Logic::Nor),
];

impl GateKind {
    /// Reads `logic`, `family`, and where they are given `trips` (50 %), `hysteresis`
    /// (0 %), `output` (200 ohm), `delay` (100 ns) and `through` (0 A).
    pub fn read(table: &mut Table<'_>) -> Option<Self> {
        fn or<Q: Quantity>(table: &mut Table<'_>, key: &str, default: f64) -> Q {
            table.quantity(key).unwrap_or_else(|| Q::of(default))
        }
        let (word, family) = (table.need_text("logic"), table.need_text("family"));
        let kind = Self {
            logic: Logic::Buffer,
            family: family.unwrap_or_default(),
            trips: or(table, "trips", 0.5),
            hysteresis: or(table, "hysteresis", 0.0),
            output: or(table, "output", 200.0),
            delay: or(table, "delay", 100e-9),
            through: or(table, "through", 0.0),
        };
        let logic = LOGICS.iter().find(|(name, _)| word.as_deref() == Some(name)).map(|(_, logic)| *logic);
        if let (Some(word), None) = (&word, logic) {
            let known: Vec<&str> = LOGICS.iter().map(|(name, _)| *name).collect();
            table.problem("logic", format!("there is no gate {word:?}"), "no gate", Some(format!("known: {}", known.join(", "))));
        }
        let known = logic::names().iter().any(|name| name.eq_ignore_ascii_case(&kind.family));
        if !known && !kind.family.is_empty() {
            let hint = format!("known: {}", logic::names().join(", "));
            table.problem("family", format!("there is no logic family {:?}", kind.family), "no family", Some(hint));
        }
        let bad = |key: &str, wrong: bool| {
            if wrong {
                table.problem(key, format!("{key:?} of a gate cannot be this"), "outside its span", None);
            }
            wrong
        };
        let outside = |share: Ratio| !(0.0..=1.0).contains(&share.0);
        let wrong = [
            bad("trips", outside(kind.trips)),
            bad("hysteresis", outside(kind.hysteresis)),
            bad("output", kind.output.0 <= 0.0),
            bad("delay", kind.delay.0 < 0.0),
            bad("through", kind.through.0 < 0.0),
        ];
        (known && !wrong.contains(&true)).then_some(Self { logic: logic?, ..kind })
    }
}

/// A gate in a circuit.
#[derive(Clone, Debug)]
pub struct Gate {
    kind: GateKind,
    /// Supply voltage, low and high level, rising.
    rows: Vec<(f64, f64, f64)>,
    reads: Vec<bool>,
    output: bool,
    /// When the output follows, and to what.
    pending: Option<(f64, bool)>,
}

/// Supplies at which the family's table is looked up, in volts.
const SUPPLIES: std::ops::RangeInclusive<u32> = 4..=80;
/// Steps for each volt of them.
const PER_VOLT: f64 = 4.0;
/// Conductance of an input, so that it is not left hanging.
const INPUT: f64 = 1e-12;

impl Gate {
    /// A gate with `inputs` inputs.
    ///
    /// # Errors
    /// In words: there is no such family.
    pub fn new(kind: GateKind, inputs: usize) -> Result<Self, String> {
        let mut rows = Vec::new();
        let mut why = String::new();
        // Fixed levels have a narrow span: its middle is looked up as well.
        let supplies = SUPPLIES.map(|n| f64::from(n) / PER_VOLT).chain([1.8, 3.3]);
        for supply in supplies {
            match logic::thresholds(&kind.family, Volts(supply)) {
                Ok((levels, _)) => rows.push((supply, levels.low.0, levels.high.0)),
                Err(words) => why = words,
            }
        }
        if rows.is_empty() {
            return Err(why);
        }
        rows.sort_by(|a, b| a.0.total_cmp(&b.0));
        let mut gate = Self { kind, rows, reads: vec![false; inputs], output: false, pending: None };
        gate.output = gate.makes();
        Ok(gate)
    }

    /// Whether its output stands high.
    pub fn is_high(&self) -> bool {
        self.output
    }

    /// The family's levels at a supply voltage. Outside the family's span the levels of
    /// its nearest end go with the supply: not specified, but what such gates do.
    fn levels(&self, supply: f64) -> (f64, f64) {
        let after = self.rows.partition_point(|row| row.0 <= supply);
        match (after.checked_sub(1).and_then(|i| self.rows.get(i)), self.rows.get(after)) {
            (Some(a), Some(b)) => {
                let share = (supply - a.0) / (b.0 - a.0);
                (a.1 + share * (b.1 - a.1), a.2 + share * (b.2 - a.2))
            }
            (Some(row), None) | (None, Some(row)) => {
                let share = supply.max(0.0) / row.0;
                (row.1 * share, row.2 * share)
            }
            (None, None) => (0.3 * supply, 0.7 * supply),
        }
    }

    /// How far an input is beyond the point at which it changes, in volts.
    fn beyond(&self, number: usize, supply: f64, input: f64) -> f64 {
        let (low, high) = self.levels(supply);
        let middle = low + self.kind.trips.0 * (high - low);
        let half = 0.5 * self.kind.hysteresis.0.max(1e-6) * supply.max(0.1);
        if self.reads.get(number).copied().unwrap_or(false) { middle - half - input } else { input - middle - half }
    }

    fn makes(&self) -> bool {
        let first = self.reads.first().copied().unwrap_or(false);
        match self.kind.logic {
            Logic::Buffer => first,
            Logic::Inverter => !first,
            Logic::And => self.reads.iter().all(|r| *r),
            Logic::Nand => !self.reads.iter().all(|r| *r),
            Logic::Or => self.reads.iter().any(|r| *r),
            Logic::Nor => !self.reads.iter().any(|r| *r),
        }
    }
}

impl Device for Gate {
    fn currents(&self, _: f64, volts: &[f64], currents: &mut [f64], slopes: &mut [f64]) {
        let &[supply, ground, output, ref inputs @ ..] = volts else { return };
        let count = volts.len();
        let mut add = |i: usize, j: usize, slope: f64| {
            if let Some(place) = slopes.get_mut(i * count + j) {
                *place += slope;
            }
        };
        let siemens = 1.0 / self.kind.output.0;
        let (rail, level) = if self.output { (0, supply) } else { (1, ground) };
        let drive = siemens * (output - level);
        let mut draws = [0.0, 0.0];
        draws[rail] -= drive;
        for (i, j, sign) in [(2, 2, 1.0), (2, rail, -1.0), (rail, 2, -1.0), (rail, rail, 1.0)] {
            add(i, j, sign * siemens);
        }
        let (low, high) = self.levels(supply - ground);
        for (number, input) in inputs.iter().enumerate() {
            let terminal = number + 3;
            let share = (input - ground - low) / (high - low).max(1e-3);
            if (0.0..1.0).contains(&share) && supply > ground {
                let through = self.kind.through.0 * 4.0 * share * (1.0 - share);
                let slope = self.kind.through.0 * 4.0 * (1.0 - 2.0 * share) / (high - low).max(1e-3);
                draws[0] += through;
                draws[1] -= through;
                add(0, terminal, slope);
                add(1, terminal, -slope);
            }
            if let Some(place) = currents.get_mut(terminal) {
                *place = INPUT * (input - ground);
            }
            draws[1] -= INPUT * (input - ground);
            for (i, j, sign) in [(terminal, terminal, 1.0), (terminal, 1, -1.0), (1, terminal, -1.0), (1, 1, 1.0)] {
                add(i, j, sign * INPUT);
            }
        }
        for (place, current) in currents.iter_mut().zip([draws[0], draws[1], drive]) {
            *place = current;
        }
    }

    fn urge(&self, _: f64, volts: &[f64]) -> f64 {
        let &[supply, ground, _, ref inputs @ ..] = volts else { return f64::NEG_INFINITY };
        let beyond = inputs.iter().enumerate().map(|(n, input)| self.beyond(n, supply - ground, input - ground));
        beyond.fold(f64::NEG_INFINITY, f64::max)
    }

    fn next_moment(&self) -> f64 {
        self.pending.map_or(f64::INFINITY, |(at, _)| at)
    }

    fn change(&mut self, time: f64, volts: &[f64]) {
        if let Some((at, output)) = self.pending
            && at <= time
        {
            self.output = output;
            self.pending = None;
        }
        let &[supply, ground, _, ref inputs @ ..] = volts else { return };
        for (number, input) in inputs.iter().enumerate() {
            if self.beyond(number, supply - ground, input - ground) > 0.0
                && let Some(reads) = self.reads.get_mut(number)
            {
                *reads = !*reads;
            }
        }
        let output = self.makes();
        if output == self.output {
            self.pending = None;
        } else if self.pending.is_none() {
            self.pending = Some((time + self.kind.delay.0.max(1e-9), output));
        }
    }
}

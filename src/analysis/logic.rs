//! Logic families: between which levels an input is undefined.

use crate::units::Volts;

/// What an input makes of a level.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Reads {
    /// Low for certain.
    Low,
    /// Between the levels that are guaranteed: anything may happen.
    Undefined,
    /// High for certain.
    High,
}

/// The levels of an input at one supply voltage.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Thresholds {
    /// At or below this it is low.
    pub low: Volts,
    /// At or above this it is high.
    pub high: Volts,
}

impl Thresholds {
    /// What the input makes of `level`.
    pub fn read(&self, level: Volts) -> Reads {
        if level <= self.low {
            Reads::Low
        } else if level >= self.high {
            Reads::High
        } else {
            Reads::Undefined
        }
    }
}

/// Where a family's levels come from.
enum Rows {
    /// Supply voltage, VIL, VIH; between rows linear interpolation.
    Points(&'static [(f64, f64, f64)]),
    /// Fixed levels over a span of the supply.
    Fixed { from: f64, to: f64, low: f64, high: f64 },
    /// Shares of the supply over a span of it.
    Shares { from: f64, to: f64, low: f64, high: f64 },
}

/// Families: name, rows, source.
const FAMILIES: [(&str, Rows, &str); 13] = [
    (
        "4000B",
        Rows::Points(&[(5.0, 1.5, 3.5), (10.0, 3.0, 7.0), (15.0, 4.0, 11.0)]),
        "JEDEC standard for B series CMOS, VO 0.5/4.5, 1/9, 1.5/13.5 V",
    ),
    (
        "4000UB",
        Rows::Points(&[(5.0, 1.0, 4.0), (10.0, 2.0, 8.0), (15.0, 2.5, 12.5)]),
        "JEDEC standard for UB series CMOS, from memory",
    ),
    ("74HC", Rows::Points(&[(2.0, 0.5, 1.5), (4.5, 1.35, 3.15), (6.0, 1.8, 4.2)]), "JESD7A"),
    ("74HCT", Rows::Fixed { from: 4.5, to: 5.5, low: 0.8, high: 2.0 }, "JESD7A"),
    (
        "74AHC",
        Rows::Points(&[(2.0, 0.5, 1.5), (3.0, 0.9, 2.1), (5.5, 1.65, 3.85)]),
        "data sheets of the series, VIH at 2 V and 3 V; the others from memory",
    ),
    ("74LS", Rows::Fixed { from: 4.75, to: 5.25, low: 0.8, high: 2.0 }, "data sheets of the series"),
    ("54LS", Rows::Fixed { from: 4.5, to: 5.5, low: 0.7, high: 2.0 }, "data sheets of the series"),
    ("LVCMOS33", Rows::Fixed { from: 2.7, to: 3.6, low: 0.8, high: 2.0 }, "JESD8C"),
    ("LVCMOS25", Rows::Fixed { from: 2.3, to: 2.7, low: 0.7, high: 1.7 }, "JESD8-5"),
    ("LVCMOS18", Rows::Shares { from: 1.65, to: 1.95, low: 0.35, high: 0.65 }, "JESD8-7"),
    ("LVCMOS15", Rows::Shares { from: 1.425, to: 1.575, low: 0.35, high: 0.65 }, "JESD8-11"),
    ("CMOS 30/70", Rows::Shares { from: 1.0, to: 18.0, low: 0.3, high: 0.7 }, "common practice"),
    ("TTL", Rows::Fixed { from: 4.75, to: 5.25, low: 0.8, high: 2.0 }, "common practice"),
];

/// Between which levels an input typically switches: supply voltage, and two levels.
const TYPICAL: [(&str, Rows, &str); 1] = [(
    "4000B",
    Rows::Points(&[(5.0, 2.25, 2.75), (10.0, 4.5, 5.5), (15.0, 6.75, 8.25)]),
    "data sheets of B series gates, typical",
)];

/// What an output gives: supply, at most when low, at least when high.
const OUTPUTS: [(&str, Rows, &str); 3] = [
    (
        "4000B",
        Rows::Points(&[(5.0, 0.05, 4.95), (10.0, 0.05, 9.95), (15.0, 0.05, 14.95)]),
        "JEDEC standard for B series CMOS, at 1 uA",
    ),
    ("74LS", Rows::Fixed { from: 4.75, to: 5.25, low: 0.4, high: 2.7 }, "data sheets of the series, low at 4 mA"),
    ("54LS", Rows::Fixed { from: 4.5, to: 5.5, low: 0.4, high: 2.5 }, "data sheets of the series, low at 4 mA"),
];

/// The names of all families.
pub fn names() -> Vec<&'static str> {
    FAMILIES.iter().map(|(name, ..)| *name).collect()
}

/// The levels of a family at a supply voltage, and their source.
///
/// # Errors
/// In words: the family is not known, or the supply lies outside its span.
pub fn thresholds(family: &str, supply: Volts) -> Result<(Thresholds, &'static str), String> {
    let Some((_, rows, source)) = FAMILIES.iter().find(|(name, ..)| name.eq_ignore_ascii_case(family)) else {
        return Err(format!("the logic family {family:?} is not known; known: {}", names().join(", ")));
    };
    let outside =
        |(from, to): (f64, f64)| format!("{family} is specified from {} to {}, not at {supply}", Volts(from), Volts(to));
    rows.at(supply).map(|made| (made, *source)).map_err(outside)
}

/// Between which levels an input of a family typically switches at a supply voltage,
/// and the source. It is no guarantee. `None` where no source gives it.
pub fn typical(family: &str, supply: Volts) -> Option<(Thresholds, &'static str)> {
    looked_up(&TYPICAL, family, supply)
}

/// What an output of a family gives: at most `low` when it is low, at least `high` when
/// it is high; and the source. `None` where no source gives it.
pub fn output(family: &str, supply: Volts) -> Option<(Thresholds, &'static str)> {
    looked_up(&OUTPUTS, family, supply)
}

fn looked_up(table: &'static [(&str, Rows, &str)], family: &str, supply: Volts) -> Option<(Thresholds, &'static str)> {
    let (_, rows, source) = table.iter().find(|(name, ..)| name.eq_ignore_ascii_case(family))?;
    rows.at(supply).ok().map(|made| (made, *source))
}

impl Rows {
    /// At a supply voltage, or the span that the rows cover.
    fn at(&self, supply: Volts) -> Result<Thresholds, (f64, f64)> {
        match self {
            Rows::Fixed { from, to, low, high } if (*from..=*to).contains(&supply.0) => {
                Ok(Thresholds { low: Volts(*low), high: Volts(*high) })
            }
            Rows::Shares { from, to, low, high } if (*from..=*to).contains(&supply.0) => {
                Ok(Thresholds { low: supply * *low, high: supply * *high })
            }
            Rows::Fixed { from, to, .. } | Rows::Shares { from, to, .. } => Err((*from, *to)),
            Rows::Points(points) => {
                let span = points.windows(2).find_map(|pair| match pair {
                    [a, b] if (a.0..=b.0).contains(&supply.0) => Some((a, b)),
                    _ => None,
                });
                let (a, b) = span.ok_or((points.first().map_or(0.0, |p| p.0), points.last().map_or(0.0, |p| p.0)))?;
                let share = (supply.0 - a.0) / (b.0 - a.0);
                Ok(Thresholds { low: Volts(a.1 + share * (b.1 - a.1)), high: Volts(a.2 + share * (b.2 - a.2)) })
            }
        }
    }
}

//! Regions of a current over voltage: pieces of straight line, joined where they are of
//! one kind.
//!
//! The pieces are the exact optimum of the squared residuals plus a penalty of 3 ln n
//! for each (two coefficients and a border; Schwarz 1978), by dynamic programming
//! (Bellman 1961). The kind follows from the exponent of the current over the
//! voltage: s = d ln I / d ln V is -1 for constant power, 0 for constant current, 1
//! for a resistor, and more above a threshold.

use super::{Place, Step};
use crate::analysis::numeric::sums::{Line, weighted_line};
use crate::analysis::rank::median;
use crate::analysis::uncertainty::combined;
use crate::units::{Amperes, Ohms, Volts, Watts};

/// How a current goes with the voltage.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Kind {
    /// It cannot be told from zero.
    Nothing,
    /// As through a resistor, with its expanded uncertainty.
    Resistive {
        /// Voltage over current.
        resistance: Ohms,
        /// Expanded uncertainty (k = 2).
        expanded: Ohms,
    },
    /// Faster than through a resistor, along a line that meets zero at a voltage: diodes,
    /// regulators' input stages, lamps in series with a drop.
    AboveThreshold {
        /// Where the line meets zero.
        at: Place,
    },
    /// A path that opens beside a constant current, or beside a resistor.
    Added {
        /// What goes on beside it.
        onto: Beside,
        /// Where the two lines meet.
        at: Place,
        /// Voltage over current of what comes in addition.
        resistance: Ohms,
        /// Expanded uncertainty (k = 2).
        expanded: Ohms,
    },
    /// Hardly at all.
    ConstantCurrent {
        /// The current.
        current: Amperes,
        /// Expanded uncertainty (k = 2).
        expanded: Amperes,
    },
    /// It falls as the voltage rises, at constant power: a switching converter at work.
    ConstantPower {
        /// Voltage times current.
        power: Watts,
        /// Expanded uncertainty (k = 2).
        expanded: Watts,
    },
    /// It falls, but not at constant power.
    Falling,
    /// It rises, slower than through a resistor: a mixture.
    Rising,
}

/// What a path opens beside.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Beside {
    /// A constant current.
    Current(Amperes),
    /// A resistor.
    Resistor(Ohms),
}

/// A stretch of voltage over which the current goes one way.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Region {
    /// How.
    pub kind: Kind,
    /// From this voltage.
    pub from: Volts,
    /// To this voltage.
    pub to: Volts,
    /// The line through its current: value at zero volts, and slope. None of nothing.
    pub line: Option<(Amperes, f64)>,
    /// Readings in it.
    pub readings: usize,
}

/// How wide the bend of a path is that opens through a junction, in volts.
const BEND: f64 = 0.5;

/// Shortest piece that shows a slope.
const SHORTEST: usize = 4;

/// Beyond so many steps the ramp is thinned: the search takes the square of them.
const MOST: usize = 1200;

#[derive(Clone, Copy)]
struct Dot {
    v: f64,
    i: f64,
    u: f64,
    sigma: f64,
}

/// The regions of steps on one way, in order of rising voltage.
pub(super) fn regions(steps: &[Step]) -> Vec<Region> {
    let mut made = Vec::new();
    let silent: Vec<&Step> = steps.iter().take_while(|s| s.conducts() != Some(true)).collect();
    if let (Some(first), Some(last)) = (silent.first(), silent.last())
        && last.set > first.set
    {
        let volts = |s: &Step| s.voltage.unwrap_or(s.set);
        made.push(Region { kind: Kind::Nothing, from: volts(first), to: volts(last), line: None, readings: silent.len() });
    }
    let rest: Vec<(Volts, Amperes, Amperes)> = steps.iter().skip(silent.len()).filter_map(Step::free).collect();
    let every = rest.len().div_ceil(MOST).max(1);
    let dots: Vec<(f64, f64, f64)> = rest.iter().step_by(every).map(|(v, i, u)| (v.0, i.0, u.0)).collect();
    let noise = noise(&dots);
    // An error that is the same share or amount at every voltage bends nothing; a fifth of
    // the uncertainty is left for what an instrument's range is itself bent.
    let dots: Vec<Dot> = dots.iter().map(|&(v, i, u)| Dot { v, i, u, sigma: combined(&[noise, 0.2 * u]).max(1e-15) }).collect();
    for piece in pieces(&dots) {
        if piece.len() < SHORTEST {
            continue;
        }
        if let Some(region) = classify(piece) {
            join(&mut made, region, piece, &dots);
        }
    }
    for index in 1..made.len() {
        if let (Some(before), Some(now)) = (made.get(index - 1).copied(), made.get_mut(index)) {
            added(&before, now, &dots);
        }
    }
    made
}

/// What rises right after a constant current, from that current on, is a path beside it,
/// and not one from the voltage where its line would meet zero. Beside a resistor likewise,
/// over a bend as wide as a diode's.
fn added(before: &Region, now: &mut Region, dots: &[Dot]) {
    // The current that goes on, as a line through its voltage, and how far the two regions may be apart.
    let (onto, base, slope, bend) = match (before.kind, now.kind) {
        (Kind::ConstantCurrent { current, .. }, Kind::AboveThreshold { .. }) => (Beside::Current(current), current.0, 0.0, 0.0),
        (Kind::Resistive { resistance, .. }, Kind::AboveThreshold { .. }) => {
            (Beside::Resistor(resistance), 0.0, 1.0 / resistance.0, BEND)
        }
        _ => return,
    };
    let own: Vec<Dot> = dots.iter().filter(|d| d.v >= now.from.0 && d.v <= now.to.0).copied().collect();
    let (Some(line), Some(first)) = (line_of(&own), own.first()) else { return };
    let Some(slope_u) = line.u_slope.filter(|_| line.slope > 1.2 * slope) else { return };
    let rise = line.slope - slope;
    let meets = (base - line.intercept) / rise;
    // The error that is a share of the current is the same share of the slope.
    let gain = first.u / first.i;
    let step = (now.to.0 - now.from.0) / own.len() as f64;
    if meets < before.to.0 - 2.0 * step - bend || meets > now.from.0 + 2.0 * step {
        return;
    }
    let resistance = 1.0 / rise;
    let expanded = 2.0 * resistance * combined(&[slope_u / rise, gain]);
    let apart = 2.0 * combined(&[first.sigma / rise, 0.5 * step / 3f64.sqrt()]);
    now.kind = Kind::Added {
        onto,
        at: Place { volts: Volts(meets), expanded: Volts(apart) },
        resistance: Ohms(resistance),
        expanded: Ohms(expanded),
    };
}

/// Standard deviation of the noise, from what neighbours of each reading predict; the
/// median keeps out steps and bends. 1.4826: of a normal distribution (Hampel 1974). Half
/// as much again, since the estimate from some fifty readings may be so much too low,
/// and a border too many is worse than one too few.
fn noise(dots: &[(f64, f64, f64)]) -> f64 {
    let bends: Vec<f64> = dots
        .windows(3)
        .filter_map(|w| match w {
            [a, b, c] => Some((b.1 - 0.5 * (a.1 + c.1)).abs()),
            _ => None,
        })
        .collect();
    median(&bends).map_or(0.0, |m| 1.5 * 1.4826 * m / 1.5_f64.sqrt())
}

/// The dots in the pieces that cost least.
fn pieces(dots: &[Dot]) -> Vec<&[Dot]> {
    let n = dots.len();
    if n < SHORTEST {
        return Vec::new();
    }
    #[allow(clippy::cast_precision_loss)]
    let penalty = 3.0 * (n as f64).ln();
    let costs = Costs::of(dots);
    // best[e]: the least cost of the first e dots, and where its last piece begins.
    let mut best: Vec<(f64, usize)> = vec![(0.0, 0)];
    for end in 1..=n {
        let mut least = (f64::INFINITY, end - 1);
        for (begin, (before, _)) in best.iter().enumerate() {
            let length = end - begin;
            // A single dot, in the middle of a jump, may stand alone.
            if length != 1 && length < SHORTEST {
                continue;
            }
            let cost = before + penalty + if length == 1 { 0.0 } else { costs.of_piece(begin, end) };
            if cost < least.0 {
                least = (cost, begin);
            }
        }
        best.push(least);
    }
    let mut found = Vec::new();
    let mut end = n;
    while end > 0 {
        let begin = best.get(end).map_or(0, |(_, begin)| (*begin).min(end - 1));
        found.extend(dots.get(begin..end));
        end = begin;
    }
    found.reverse();
    found
}

/// Running sums, from which the weighted squared residuals of any piece about its line
/// follow at once. Taken about the middle of the voltages and of the currents.
struct Costs {
    sums: Vec<[f64; 6]>,
}

impl Costs {
    fn of(dots: &[Dot]) -> Self {
        let middle = |of: fn(&Dot) -> f64| median(&dots.iter().map(of).collect::<Vec<_>>()).unwrap_or(0.0);
        let (v0, i0) = (middle(|d| d.v), middle(|d| d.i));
        let mut sums = vec![[0.0; 6]];
        let mut total = [0.0; 6];
        for dot in dots {
            let (x, y, w) = (dot.v - v0, dot.i - i0, dot.sigma.powi(-2));
            for (sum, term) in total.iter_mut().zip([w, w * x, w * y, w * x * x, w * x * y, w * y * y]) {
                *sum += term;
            }
            sums.push(total);
        }
        Self { sums }
    }

    fn of_piece(&self, begin: usize, end: usize) -> f64 {
        let (Some(a), Some(b)) = (self.sums.get(begin), self.sums.get(end)) else { return f64::INFINITY };
        let [w, x, y, xx, xy, yy] = std::array::from_fn(|k| b[k] - a[k]);
        let (sxx, sxy, syy) = (xx - x * x / w, xy - x * y / w, yy - y * y / w);
        if sxx > 0.0 { (syy - sxy * sxy / sxx).max(0.0) } else { syy.max(0.0) }
    }
}

fn line_of(piece: &[Dot]) -> Option<Line> {
    let points: Vec<(f64, f64, f64)> = piece.iter().map(|d| (d.v, d.i, d.sigma.powi(-2))).collect();
    weighted_line(&points)
}

fn classify(piece: &[Dot]) -> Option<Region> {
    let (first, last) = (piece.first()?, piece.last()?);
    let line = line_of(piece)?;
    let middle = 0.5 * (first.v + last.v);
    let current = line.at(middle);
    // Of what bends, the median over the piece; the line serves for its way alone.
    let typical = |of: fn(&Dot) -> f64| median(&piece.iter().map(of).collect::<Vec<_>>());
    let u = typical(|d| d.u)?;
    // The exponent, and how far the current's own error may turn it.
    let exponent = line.slope * middle / current;
    let unsure = combined(&[line.u_slope? * middle / current, exponent * u / current]).abs();
    // The line is weighted: its residuals are in units of each reading's sigma.
    let scatter = line.residual? * typical(|d| d.sigma)?;
    // Few steps across a jump are no line.
    if scatter > 0.15 * current.abs() && current > 2.0 * u {
        return None;
    }
    let spread = 2.0 * combined(&[u, scatter]);
    let change = line.slope.abs() * (last.v - first.v);
    let kind = if current <= 2.0 * u {
        Kind::Nothing
    } else if exponent < -0.5 && (exponent + 1.0).abs() < 0.35 + 2.0 * unsure {
        let power = typical(|d| d.v * d.i)?;
        Kind::ConstantPower { power: Watts(power), expanded: Watts(power * spread / current) }
    } else if exponent.abs() <= 0.3 && change <= spread.max(0.1 * current) {
        Kind::ConstantCurrent { current: Amperes(typical(|d| d.i)?), expanded: Amperes(spread) }
    } else if exponent < 0.0 {
        Kind::Falling
    } else if exponent < 0.75 - 2.0 * unsure {
        Kind::Rising
    } else if exponent <= 1.25 + 2.0 * unsure {
        let r = typical(|d| d.v / d.i)?;
        Kind::Resistive { resistance: Ohms(r), expanded: Ohms(r * spread / current) }
    } else {
        let meets = middle - current / line.slope;
        let expanded = 2.0 * combined(&[u / line.slope, (middle - meets) * line.u_slope? / line.slope]);
        Kind::AboveThreshold { at: Place { volts: Volts(meets), expanded: Volts(expanded) } }
    };
    let line = Some((Amperes(line.intercept), line.slope));
    Some(Region { kind, from: Volts(first.v), to: Volts(last.v), line, readings: piece.len() })
}

/// Adds a region, or joins it to the one before where both are of one kind and the
/// current does not jump between them.
fn join(made: &mut Vec<Region>, next: Region, piece: &[Dot], all: &[Dot]) {
    let same = |a: Kind, b: Kind| std::mem::discriminant(&a) == std::mem::discriminant(&b);
    let joined = made.last().filter(|before| same(before.kind, next.kind)).and_then(|before| {
        let (offset, slope) = before.line?;
        let (next_offset, next_slope) = next.line?;
        let edge = next.from.0;
        let (left, right) = (offset.0 + slope * edge, next_offset.0 + next_slope * edge);
        let sigma = piece.first()?.sigma;
        // Pieces of a curve meet; a jump of a fifth is another state.
        if (left - right).abs() > (0.2 * right.abs()).max(6.0 * sigma) {
            return None;
        }
        let both: Vec<Dot> = all.iter().filter(|d| d.v >= before.from.0 && d.v <= next.to.0).copied().collect();
        let mut whole = classify(&both)?;
        if let (Kind::AboveThreshold { .. }, Kind::AboveThreshold { .. }) = (before.kind, next.kind) {
            // Of a curve that steepens, the last tangent tells the threshold.
            whole.kind = next.kind;
        }
        same(whole.kind, next.kind).then_some(whole)
    });
    match joined {
        Some(whole) => {
            made.pop();
            made.push(whole);
        }
        None => made.push(next),
    }
}

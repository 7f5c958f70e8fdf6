//! "Would such a leak explain what I see?", asked of a netlist: a leak is put to a
//! node, and the circuit solved for where the node comes to rest.

use super::netlist::Netlist;
use super::parts::{GROUND, Kind};
use super::run::Unrun;
use super::transient::Transient;
use crate::analysis::logic::{self, Reads, Thresholds};
use crate::analysis::node::{Between, Told, Towards, Tried, levels, word};
use crate::analysis::working::{Refusal, Working, not_negative, positive};
use crate::document::{Document, Problem, Problems};
use crate::units::{Amperes, Ohms, Ratio, Seconds, Volts};

/// A leak at a node of a netlist.
#[derive(Clone, Debug, PartialEq)]
pub struct Suspect {
    /// The node's name.
    pub node: String,
    /// Where the leak goes to or comes from.
    pub part: Towards,
    /// The supply of the input that listens.
    pub rail: Volts,
    /// Its logic family.
    pub family: String,
    /// A leakage to be tried, least and largest, and the voltage across the part that it was
    /// measured at.
    pub leakage: Option<(Amperes, Amperes, Option<Volts>)>,
    /// The tolerance of the netlist's resistors: each may be off by so much, either way.
    pub tolerance: Ratio,
    /// How many times larger the leakage is to be taken, for the temperature in use.
    pub warmer: f64,
    /// When the node is looked at; at 0 it is the operating point.
    pub moment: Seconds,
}

/// Why there is no answer.
#[derive(Debug, thiserror::Error)]
pub enum Unanswered {
    /// The netlist has mistakes, or could not be solved.
    #[error("{0}")]
    Unrun(#[from] Unrun),
    /// The question has none.
    #[error("{0}")]
    Refused(#[from] Refusal),
}

/// The smallest and the largest leakage that is tried, in amperes.
const TRIED: (f64, f64) = (1e-13, 10.0);

/// With more resistors than this their tolerance is not put together at its worst.
const RESISTORS: usize = 60;

#[derive(Clone, Copy)]
enum Leak {
    None,
    Current(f64),
    Resistor(f64),
}

/// At which leakage the node's level becomes undefined and wrong, and what a given one
/// does; each by solving the whole circuit with the leak in it. The answer is worded, and
/// weighed, as that of [`crate::analysis::node::what_if`].
///
/// # Errors
/// Mistakes of the netlist, a circuit without a solution, a node or family that is not
/// there, a value that cannot be.
pub fn what_if(document: &Document, suspect: &Suspect) -> Result<Working, Unanswered> {
    let rail = positive("rail", suspect.rail)?;
    not_negative("moment", suspect.moment)?;
    not_negative("tolerance", suspect.tolerance)?;
    if suspect.tolerance.0 >= 1.0 {
        return Err(Refusal::new(format!("a tolerance of {} leaves no resistor", suspect.tolerance)).into());
    }
    if !(suspect.warmer > 0.0 && suspect.warmer.is_finite()) {
        return Err(Refusal::new("how many times warmer must be above zero").into());
    }
    let (thresholds, source) = logic::thresholds(&suspect.family, rail).map_err(Refusal::new)?;
    let asked = Asked { document, suspect, resistors: resistors(document, suspect)? };
    let nominal = |leak: Leak| asked.level(leak, &[]);
    let rest = asked.between(Leak::None)?;
    let meant = thresholds.read(rest.nominal);
    let when = if suspect.moment.0 == 0.0 { "operating point".to_owned() } else { format!("after {}", suspect.moment) };
    let mut working =
        levels(Working::new("Level of a node of a netlist under leakage"), &suspect.family, rail, thresholds, source)
            .source("the circuit solved by modified nodal analysis, with the leak in it")
            .step("level without leakage", format!("V({}), {when}", suspect.node), "", rest.nominal)
            .between(rest.low.0, rest.high.0)
            .remark(word(meant));
    let mut told = Told { family: &suspect.family, meant, rest: rest.nominal, undefined: None, wrong: None, effect: None };
    let borders = borders(thresholds, meant, suspect.part);
    if let Some((first, second)) = borders {
        for (name, border) in [("undefined", first), ("wrong for certain", second)] {
            let label = if border == thresholds.high { "VIH" } else { "VIL" };
            let Some(leakage) = meets(&nominal, border, suspect.part)? else { continue };
            let mut met = vec![leakage];
            for corner in asked.corners(Leak::Current(leakage))? {
                met.extend(meets(&|leak| asked.level(leak, &corner), border, suspect.part)?);
            }
            let met = spanned(&met);
            working = working
                .step(
                    format!("leakage that makes it {name}"),
                    format!("V({}) = {label}, by bisection", suspect.node),
                    "",
                    met.nominal,
                )
                .between(met.low.0, met.high.0);
            if border == first { told.undefined = Some(met) } else { told.wrong = Some(met) }
        }
    }
    if let Some((low, high, measured)) = suspect.leakage {
        not_negative("leakage", low)?;
        if high < low {
            return Err(Refusal::new(format!("the largest leakage, {high}, is below the least, {low}")).into());
        }
        let leak = |amperes: Amperes| -> Result<Leak, Unanswered> {
            let amperes = amperes * suspect.warmer;
            Ok(match measured {
                Some(volts) if amperes.0 > 0.0 => Leak::Resistor((positive("voltage of the leakage", volts)? / amperes).0),
                _ => Leak::Current(amperes.0),
            })
        };
        let middle = (low + high) / 2.0;
        let (a, b, c) = (asked.between(leak(middle)?)?, asked.between(leak(low)?)?, asked.between(leak(high)?)?);
        let level = Between { nominal: a.nominal, low: a.low.min(b.low).min(c.low), high: a.high.max(b.high).max(c.high) };
        let how = measured.map_or("at any voltage".to_owned(), |volts| format!("at {volts}, in proportion elsewhere"));
        let warmer =
            if suspect.warmer == 1.0 { String::new() } else { format!("; times {} for the temperature", suspect.warmer) };
        let reads = thresholds.read(level.nominal);
        working = working
            .step("leakage to be tried", "", "", middle)
            .between(low.0, high.0)
            .remark(format!("{how}{warmer}"))
            .step("level with the leakage", format!("V({}), {when}", suspect.node), "", level.nominal)
            .between(level.low.0, level.high.0)
            .remark(word(reads));
        told.effect = Some(Tried { level, reads, worst: (thresholds.read(level.low), thresholds.read(level.high)) });
    }
    let beyond = if borders.is_some() && told.undefined.is_none() {
        // It stays what it is meant to be, whatever leaks.
        Some(format!("No leakage up to {} makes the level undefined for {}.", Amperes(TRIED.1), suspect.family))
    } else {
        None
    };
    let told_of = if suspect.tolerance.0 > 0.0 {
        "The netlist is taken as it is: what it leaves out, and tolerances of other parts than its resistors, are not in the answer."
    } else {
        "The netlist is taken as it is: tolerances, and what it leaves out, are not in the answer."
    };
    Ok(working.weigh(told.severity()).caution(told_of).conclude(beyond.unwrap_or_else(|| told.answer()))?)
}

/// The netlist's resistors, where their tolerance counts: how many.
fn resistors(document: &Document, suspect: &Suspect) -> Result<usize, Unanswered> {
    if suspect.tolerance.0 == 0.0 {
        return Ok(0);
    }
    let circuit = Netlist::read(document).map_err(Unrun::from)?.circuit;
    let count = circuit.parts().filter(|(.., kind)| matches!(kind, Kind::Resistor(_))).count();
    if count > RESISTORS {
        let words =
            format!("the netlist has {count} resistors; a tolerance is put together at its worst for {RESISTORS} at most");
        return Err(Refusal::new(words).into());
    }
    Ok(count)
}

/// The question, and how many resistors may be off.
struct Asked<'a> {
    document: &'a Document,
    suspect: &'a Suspect,
    resistors: usize,
}

impl Asked<'_> {
    /// The resistors' factors at which the level is highest and lowest: each is tried at its
    /// upper limit alone, and then all are put where they push the level the same way.
    fn corners(&self, leak: Leak) -> Result<Vec<Vec<f64>>, Unanswered> {
        if self.resistors == 0 {
            return Ok(Vec::new());
        }
        let t = self.suspect.tolerance.0;
        let middle = self.level(leak, &[])?;
        let (mut up, mut down) = (vec![1.0; self.resistors], vec![1.0; self.resistors]);
        for number in 0..self.resistors {
            let mut alone = vec![1.0; self.resistors];
            if let Some(factor) = alone.get_mut(number) {
                *factor = 1.0 + t;
            }
            let rises = self.level(leak, &alone)? > middle;
            for (corner, with) in [(&mut up, rises), (&mut down, !rises)] {
                if let Some(factor) = corner.get_mut(number) {
                    *factor = if with { 1.0 + t } else { 1.0 - t };
                }
            }
        }
        Ok(vec![up, down])
    }

    /// The level with a leak, and its limits by the resistors' tolerance.
    fn between(&self, leak: Leak) -> Result<Between<Volts>, Unanswered> {
        let mut levels = vec![self.level(leak, &[])?.0];
        for corner in self.corners(leak)? {
            levels.push(self.level(leak, &corner)?.0);
        }
        let all = spanned(&levels);
        Ok(Between { nominal: Volts(all.nominal.0), low: Volts(all.low.0), high: Volts(all.high.0) })
    }
}

/// The first value, and the span of all.
fn spanned(values: &[f64]) -> Between<Amperes> {
    let nominal = values.first().copied().unwrap_or(f64::NAN);
    Between {
        nominal: Amperes(nominal),
        low: Amperes(values.iter().copied().fold(nominal, f64::min)),
        high: Amperes(values.iter().copied().fold(nominal, f64::max)),
    }
}

fn borders(thresholds: Thresholds, meant: Reads, part: Towards) -> Option<(Volts, Volts)> {
    match (part, meant) {
        (Towards::Ground, Reads::High) => Some((thresholds.high, thresholds.low)),
        (Towards::Rail, Reads::Low) => Some((thresholds.low, thresholds.high)),
        _ => None,
    }
}

/// The leakage at which the node meets a border: more leakage pulls it further.
fn meets(at: &impl Fn(Leak) -> Result<Volts, Unanswered>, border: Volts, part: Towards) -> Result<Option<f64>, Unanswered> {
    let beyond = |leakage: f64| -> Result<bool, Unanswered> {
        let level = at(Leak::Current(leakage))?;
        Ok(if part == Towards::Ground { level <= border } else { level >= border })
    };
    let (mut low, mut high) = TRIED;
    // A decade at a time from below: what a circuit does at amperes is of no interest here.
    let mut next = low;
    loop {
        if beyond(next)? {
            high = next;
            break;
        }
        low = next;
        if next >= high {
            return Ok(None);
        }
        next = (next * 10.0).min(high);
    }
    while high / low > 1.0 + 1e-9 {
        let middle = (low * high).sqrt();
        if beyond(middle)? { high = middle } else { low = middle }
    }
    Ok(Some(high))
}

impl Asked<'_> {
    /// Where the node stands at the moment, with a leak, and the resistors times `factors`.
    fn level(&self, leak: Leak, factors: &[f64]) -> Result<Volts, Unanswered> {
        level(self.document, self.suspect, leak, factors)
    }
}

fn level(document: &Document, suspect: &Suspect, leak: Leak, factors: &[f64]) -> Result<Volts, Unanswered> {
    let Netlist { mut circuit, analysis, .. } = Netlist::read(document).map_err(Unrun::from)?;
    circuit.scale_resistors(|number| factors.get(number).copied().unwrap_or(1.0));
    let Some(node) = circuit.find(&suspect.node.to_ascii_lowercase()).or_else(|| circuit.find(&suspect.node)) else {
        let known: Vec<String> = circuit.nodes().map(|(_, name)| name.to_owned()).collect();
        let words = format!("the netlist has no node {:?}; it has {}", suspect.node, known.join(", "));
        return Err(Unrun::from(Problems::from(Problem::of_file(&document.name, words))).into());
    };
    match (leak, suspect.part) {
        (Leak::None, _) => {}
        (Leak::Current(i), Towards::Ground) => {
            circuit.current("(leak)", node, GROUND, Amperes(i));
        }
        (Leak::Current(i), Towards::Rail) => {
            circuit.current("(leak)", GROUND, node, Amperes(i));
        }
        (Leak::Resistor(r), Towards::Ground) => {
            circuit.resistor("(leak)", node, GROUND, Ohms(r));
        }
        (Leak::Resistor(r), Towards::Rail) => {
            // From a stiff rail of its own, at the input's supply.
            let rail = circuit.node("(rail of the leak)");
            circuit.voltage("(rail of the leak)", rail, GROUND, suspect.rail);
            circuit.resistor("(leak)", rail, node, Ohms(r));
        }
    }
    let mut transient = match analysis {
        Some(analysis) if suspect.moment.0 > 0.0 => {
            Transient::begin(circuit, 0, analysis.begins, super::Accuracy::default()).map_err(Unrun::from)?
        }
        _ => Transient::new(circuit, 0).map_err(Unrun::from)?,
    };
    if suspect.moment.0 > 0.0 {
        transient.advance(suspect.moment).map_err(Unrun::from)?;
    }
    Ok(transient.voltage(node))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::analysis::working;

    fn ask(node: &str, part: Towards) -> Suspect {
        Suspect {
            node: node.into(),
            part,
            rail: Volts(5.0),
            family: "4000B".into(),
            leakage: None,
            tolerance: Ratio(0.0),
            warmer: 1.0,
            moment: Seconds(0.0),
        }
    }

    fn value(text: &str, suspect: &Suspect, name: &str) -> f64 {
        what_if(&Document::new("test.cir", text), suspect).unwrap().value(name).unwrap()
    }

    #[test]
    fn a_divider_as_a_netlist_gives_what_the_formulas_give() {
        let text = "a divider\nV1 rail 0 5\nR1 rail in 100k\nR2 in 0 900k\n.end\n";
        let asked = ask("in", Towards::Ground);
        let direct = working::node(&working::Described {
            rail: Volts(5.0),
            up: Some(Ohms(100e3)),
            down: Some(Ohms(900e3)),
            tolerance: Ratio(0.05),
            part: Towards::Ground,
            family: "4000B".into(),
            leakage: Some((Amperes(10e-6), Amperes(20e-6), Some(Volts(4.0)))),
            warmer: 1.5,
        })
        .unwrap();
        let range = Some((Amperes(10e-6), Amperes(20e-6), Some(Volts(4.0))));
        let tried = Suspect { leakage: range, tolerance: Ratio(0.05), warmer: 1.5, ..asked };
        let solved = what_if(&Document::new("test.cir", text), &tried).unwrap();
        // The same sentences, and the same limits, from the formulas and from the whole circuit.
        assert_eq!(solved.answer, direct.answer);
        assert_eq!(solved.severity, direct.severity);
        for name in [
            "level without leakage",
            "leakage that makes it undefined",
            "leakage that makes it wrong for certain",
            "level with the leakage",
        ] {
            let (here, there) = (value(text, &tried, name), direct.value(name).unwrap());
            assert!((here / there - 1.0).abs() < 1e-6, "{name}: {here} {there}");
            let limits = |w: &Working| w.steps.iter().find(|s| s.name == name).and_then(|s| s.between).unwrap();
            let ((a, b), (c, d)) = (limits(&solved), limits(&direct));
            assert!((a / c - 1.0).abs() < 1e-6 && (b / d - 1.0).abs() < 1e-6, "{name}: {a} to {b}, {c} to {d}");
        }
    }

    #[test]
    fn a_diode_in_the_way_counts_in() {
        // 5 V through a diode and 1 Mohm: the level is a diode's drop lower than with the resistor alone.
        let text = "a diode\nV1 rail 0 5\nD1 rail a dx\nR1 a in 1meg\n.model dx D(is=1e-14)\n.end\n";
        let undefined = value(text, &ask("in", Towards::Ground), "leakage that makes it undefined");
        // VT ln(I / IS + 1) at 1 uA, 300.15 K: 0.4767 V; (5 - 0.4767 - 3.5) V / 1 Mohm.
        assert!((undefined - 1.023e-6).abs() < 0.01e-6, "{undefined}");
    }

    #[test]
    fn what_is_not_there_is_said() {
        let text = "a divider\nV1 rail 0 5\nR1 rail in 100k\n.end\n";
        let why = what_if(&Document::new("test.cir", text), &ask("out", Towards::Ground)).unwrap_err().to_string();
        assert!(why.contains("the netlist has no node \"out\"; it has rail, in"), "{why}");
    }
}

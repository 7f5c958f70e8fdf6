//! "Would such a leak explain what I see?", asked of a netlist: a leak is put to a
//! node, and the circuit solved for where the node comes to rest.

use super::netlist::Netlist;
use super::parts::GROUND;
use super::run::Unrun;
use super::transient::Transient;
use crate::analysis::finding::Severity;
use crate::analysis::logic::{self, Reads, Thresholds};
use crate::analysis::node::{Towards, levels};
use crate::analysis::working::{Refusal, Working};
use crate::document::{Document, Problem, Problems};
use crate::units::{Amperes, Ohms, Seconds, Unit, Volts, engineering};

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
    /// A leakage to be tried, and the voltage across the part that it was measured at.
    pub leakage: Option<(Amperes, Option<Volts>)>,
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

enum Leak {
    None,
    Current(f64),
    Resistor(f64),
}

/// At which leakage the node's level becomes undefined and wrong, and what a given one
/// does; each by solving the whole circuit with the leak in it.
///
/// # Errors
/// Mistakes of the netlist, a circuit without a solution, a node or family that is not
/// there, a value that cannot be.
pub fn what_if(document: &Document, suspect: &Suspect) -> Result<Working, Unanswered> {
    let rail = crate::analysis::working::positive("rail", suspect.rail)?;
    crate::analysis::working::not_negative("moment", suspect.moment)?;
    let (thresholds, source) = logic::thresholds(&suspect.family, rail).map_err(Refusal::new)?;
    let at = |leak: Leak| level(document, suspect, &leak);
    let rest = at(Leak::None)?;
    let meant = thresholds.read(rest);
    let when = if suspect.moment.0 == 0.0 { "operating point".to_owned() } else { format!("after {}", suspect.moment) };
    let mut working =
        levels(Working::new("Level of a node of a netlist under leakage"), &suspect.family, rail, thresholds, source)
            .source("the circuit solved by modified nodal analysis, with the leak in it")
            .step("level without leakage", format!("V({}), {when}", suspect.node), "", rest)
            .remark(word(meant));
    let mut told = Vec::new();
    match borders(thresholds, meant, suspect.part) {
        None if meant == Reads::Undefined => {
            told.push(format!("The node stands at {} without any leakage: undefined for {}.", three(rest), suspect.family))
        }
        None => told.push(format!("A leakage there cannot spoil the level: it pulls the node to where it is, {}.", word(meant))),
        Some((first, second)) => {
            for (name, border, what) in [("undefined", first, "undefined"), ("wrong for certain", second, "wrong for certain")] {
                let label = if border == thresholds.high { "VIH" } else { "VIL" };
                match meets(&at, border, suspect.part)? {
                    Some(leakage) => {
                        working = working.step(
                            format!("leakage that makes it {name}"),
                            format!("V({}) = {label}, by bisection", suspect.node),
                            "",
                            Amperes(leakage),
                        );
                        told.push(format!(
                            "The level is {what} for {} from a leakage of {} on.",
                            suspect.family,
                            engineering(leakage, Unit::Ampere, 3)
                        ));
                    }
                    None => told.push(format!("No leakage up to {} makes it {what}.", Amperes(TRIED.1))),
                }
            }
        }
    }
    if let Some((leakage, measured)) = suspect.leakage {
        crate::analysis::working::not_negative("leakage", leakage)?;
        let (leak, how) = match measured {
            Some(volts) if leakage.0 > 0.0 => {
                let resistor: Ohms = crate::analysis::working::positive("voltage of the leakage", volts)? / leakage;
                (Leak::Resistor(resistor.0), format!("as a resistor of {}", engineering(resistor.0, Unit::Ohm, 3)))
            }
            _ => (Leak::Current(leakage.0), "at any voltage".to_owned()),
        };
        let found = at(leak)?;
        let reads = thresholds.read(found);
        working = working
            .step("leakage to be tried", "", "", leakage)
            .remark(how)
            .step("level with the leakage", format!("V({}), {when}", suspect.node), "", found)
            .remark(word(reads))
            .weigh(if reads == meant { Severity::Note } else { Severity::Anomaly });
        told.push(match reads {
            reads if reads == meant => format!("With the leakage given it stays {} at {}.", word(meant), three(found)),
            Reads::Undefined => format!("With the leakage given it is undefined at {}.", three(found)),
            reads => format!("With the leakage given it is wrong: {} at {}.", word(reads), three(found)),
        });
    }
    Ok(working
        .caution("The netlist is taken as it is: tolerances, and what it leaves out, are not in the answer.")
        .conclude(told.join(" "))?)
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

/// Where the node stands at the moment, with a leak.
fn level(document: &Document, suspect: &Suspect, leak: &Leak) -> Result<Volts, Unanswered> {
    let Netlist { mut circuit, analysis, .. } = Netlist::read(document).map_err(Unrun::from)?;
    let Some(node) = circuit.find(&suspect.node.to_ascii_lowercase()).or_else(|| circuit.find(&suspect.node)) else {
        let known: Vec<String> = circuit.nodes().map(|(_, name)| name.to_owned()).collect();
        let words = format!("the netlist has no node {:?}; it has {}", suspect.node, known.join(", "));
        return Err(Unrun::from(Problems::from(Problem::of_file(&document.name, words))).into());
    };
    match (leak, suspect.part) {
        (Leak::None, _) => {}
        (Leak::Current(i), Towards::Ground) => {
            circuit.current("(leak)", node, GROUND, Amperes(*i));
        }
        (Leak::Current(i), Towards::Rail) => {
            circuit.current("(leak)", GROUND, node, Amperes(*i));
        }
        (Leak::Resistor(r), Towards::Ground) => {
            circuit.resistor("(leak)", node, GROUND, Ohms(*r));
        }
        (Leak::Resistor(r), Towards::Rail) => {
            // From a stiff rail of its own, at the input's supply.
            let rail = circuit.node("(rail of the leak)");
            circuit.voltage("(rail of the leak)", rail, GROUND, suspect.rail);
            circuit.resistor("(leak)", rail, node, Ohms(*r));
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

fn word(reads: Reads) -> &'static str {
    match reads {
        Reads::Low => "low",
        Reads::Undefined => "undefined",
        Reads::High => "high",
    }
}

fn three(volts: Volts) -> String {
    engineering(volts.0, Unit::Volt, 3)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::analysis::working;

    fn ask(node: &str, part: Towards) -> Suspect {
        Suspect { node: node.into(), part, rail: Volts(5.0), family: "4000B".into(), leakage: None, moment: Seconds(0.0) }
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
            tolerance: crate::units::Ratio(0.0),
            part: Towards::Ground,
            family: "4000B".into(),
            leakage: Some((Amperes(20e-6), Amperes(20e-6), Some(Volts(4.0)))),
            warmer: 1.0,
        })
        .unwrap();
        let tried = Suspect { leakage: Some((Amperes(20e-6), Some(Volts(4.0)))), ..asked };
        for name in [
            "level without leakage",
            "leakage that makes it undefined",
            "leakage that makes it wrong for certain",
            "level with the leakage",
        ] {
            let (here, there) = (value(text, &tried, name), direct.value(name).unwrap());
            assert!((here / there - 1.0).abs() < 1e-6, "{name}: {here} {there}");
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

//! A whole netlist, carried out: its waveforms at the moments that its `.tran` prints.

use super::failure::Failure;
use super::netlist::Netlist;
use super::parts::{Kind, Node, Part};
use super::transient::{Accuracy, Effort, Transient};
use crate::document::{Document, Problem, Problems};
use crate::units::Seconds;

/// Moments that are printed, at most.
const MOMENTS: f64 = 1e7;
/// As Berkeley SPICE, no step is longer than this share of the whole.
const SHARE: f64 = 1.0 / 50.0;

/// What a netlist gave.
#[derive(Clone, Debug)]
pub struct Waveforms {
    /// The netlist's title.
    pub title: String,
    /// The moments, in seconds: the `.tran`'s start, then every step, then its stop.
    pub times: Vec<f64>,
    /// `v(node)` in volts for every node, then `i(name)` in amperes for every voltage
    /// source and inductor, each with its values at the moments.
    pub curves: Vec<(String, Vec<f64>)>,
    /// What was left out.
    pub notes: Problems,
    /// What it cost.
    pub effort: Effort,
}

impl Waveforms {
    /// The curve of a name, as `v(out)` or `i(v1)`, in any case.
    pub fn curve(&self, name: &str) -> Option<&[f64]> {
        self.curves.iter().find(|(n, _)| n.eq_ignore_ascii_case(name)).map(|(_, values)| values.as_slice())
    }
}

/// Why there are no waveforms.
#[derive(Debug, thiserror::Error)]
pub enum Unrun {
    /// The netlist has mistakes.
    #[error("{0}")]
    Netlist(#[from] Problems),
    /// The circuit could not be solved.
    #[error("{0}")]
    Circuit(#[from] Failure),
}

enum What {
    Node(Node),
    Branch(Part),
}

/// Reads and carries out a netlist whose first line is its title.
///
/// # Errors
/// The netlist's mistakes, or the circuit's failure.
pub fn run(document: &Document) -> Result<Waveforms, Unrun> {
    // Somewhat finer than a bench needs: a tank that rings a hundred times keeps its phase.
    run_to(document, Accuracy { relative: 4e-7, ..Accuracy::default() })
}

/// The same, to an accuracy.
///
/// # Errors
/// The netlist's mistakes, or the circuit's failure.
pub fn run_to(document: &Document, accuracy: Accuracy) -> Result<Waveforms, Unrun> {
    let Netlist { title, circuit, analysis, notes } = Netlist::read(document)?;
    let refuse = |words: String| Problems::from(Problem::of_file(&document.name, words));
    let analysis = analysis.ok_or_else(|| refuse("the netlist has no .tran STEP STOP".into()))?;
    let (start, stop, step) = (analysis.start.0, analysis.stop.0, analysis.step.0);
    let count = ((stop - start) / step * (1.0 + 1e-9)).floor();
    if count > MOMENTS {
        return Err(refuse(format!(".tran asks for {count:e} moments; at most {MOMENTS:e}")).into());
    }
    let mut whats = Vec::new();
    let mut curves: Vec<(String, Vec<f64>)> = Vec::new();
    for (node, name) in circuit.nodes() {
        whats.push(What::Node(node));
        curves.push((format!("v({name})"), Vec::new()));
    }
    for (part, name, kind) in circuit.parts() {
        if matches!(kind, Kind::Voltage(_) | Kind::Inductor(..)) {
            whats.push(What::Branch(part));
            curves.push((format!("i({name})"), Vec::new()));
        }
    }
    let mut transient = Transient::begin(circuit, 0, analysis.begins, accuracy)?;
    transient.as_netlist();
    transient.limit_step(analysis.longest.unwrap_or(Seconds((stop - start) * SHARE)));
    let mut times = Vec::new();
    let mut moment = 0.0_f64;
    loop {
        // A whole number of steps: the grid does not drift.
        let time = if moment > count { stop } else { (start + moment * step).min(stop) };
        transient.advance(Seconds(time))?;
        times.push(time);
        for ((_, values), what) in curves.iter_mut().zip(&whats) {
            values.push(match what {
                What::Node(node) => transient.voltage(*node).0,
                What::Branch(part) => transient.current(*part).0,
            });
        }
        if time >= stop || (moment >= count && stop - time <= step * 1e-6) {
            break;
        }
        moment += 1.0;
    }
    Ok(Waveforms { title, times, curves, notes, effort: transient.effort() })
}

//! `rampart calc`: calculations by hand, with the working shown. One file a
//! calculation holds its options; the calculation itself is `analysis::working`.

mod absorption;
mod battery;
mod burden;
mod circuit;
mod claim;
mod compare;
mod conduction;
mod discharge;
mod drift;
mod droop;
mod event;
mod inrush;
mod insulation;
mod isolated;
mod leakage;
mod loading;
mod node;
pub(super) mod options;
mod print;
mod proof;
mod rate;
mod recovery;
mod rejection;
mod sampling;
mod sequential;
mod settle;
mod soak;
mod switching;
mod touch;
mod uncertainty;

pub(super) use options::quantity;

use super::common::complaint;
use crate::analysis::finding::Severity;
use crate::analysis::working::{Refusal, Working};
use crate::runner::Exit;
use clap::Subcommand;

/// Arguments of `calc`.
#[derive(clap::Args)]
pub(super) struct Arguments {
    #[command(subcommand)]
    what: What,
    /// Print as JSON
    #[arg(long, global = true)]
    json: bool,
}

#[derive(Subcommand)]
#[command(disable_help_subcommand = true)]
enum What {
    /// How far the absorption current falls from one time to another
    #[command(after_help = "Example: rampart calc absorption --exponent 0.8 --from \"1 s\" --to \"60 s\" --current \"1 uA\"")]
    Absorption(absorption::Arguments),
    /// How long a battery lasts at a duty of currents and times
    #[command(
        after_help = "Example: rampart calc battery --phase \"7 mA for 3 ms\" --rest \"3 uA\" --period \"1 s\" --capacity \"225 mAh\""
    )]
    Battery(battery::Arguments),
    /// What an ammeter in series takes away, and what is left for the unit
    #[command(after_help = "Example: rampart calc burden --voltage \"10 V\" --shunt \"0.5 ohm\" --load \"10 ohm\"")]
    Burden(burden::Arguments),
    /// What a circuit does over time: a netlist in the syntax of Berkeley SPICE
    #[command(
        after_help = "Example: rampart calc circuit scripts/arming-delay.cir --node arm\n\nPrints comma-separated values, one line for each step of the netlist's .tran. What is covered of the syntax: scripts/NETLISTS.md."
    )]
    Circuit(circuit::Arguments),
    /// How many starts a `start` stage takes that stops as soon as a claim is decided
    #[command(after_help = "Example: rampart calc claim --below \"1 %\"")]
    Claim(claim::Arguments),
    /// Whether a unit fails less after a repair than before
    #[command(
        after_help = "Example: rampart calc compare --before \"5 of 1000\" --after \"0 of 1000\"\n\nExit code 5: an improvement is not shown."
    )]
    Compare(compare::Arguments),
    /// Constants of field-assisted conduction, and what the slope of a plot should be
    #[command(after_help = "Example: rampart calc conduction --permittivity 25 --nanometres 100 --voltage \"16 V\"")]
    Conduction(conduction::Arguments),
    /// How long a charged capacitor takes to fall, and what it holds
    #[command(
        after_help = "Example: rampart calc discharge --capacitance \"1 mF\" --from \"60 V\" --to \"2 V\" --resistance \"1 kohm\""
    )]
    Discharge(discharge::Arguments),
    /// The false leakage that a drifting supply makes
    #[command(after_help = "Example: rampart calc drift --capacitance \"1 mF\" --rate \"0.06 V/min\" --leakage \"15 uA\"")]
    Drift(drift::Arguments),
    /// The current of a unit, from the fall of a known capacitor: asleep or dead
    #[command(
        after_help = "Example: rampart calc droop --capacitance \"1 mF\" --from \"3.3 V\" --to \"3.1 V\" --time \"60 s\" --meter \"10 Mohm\""
    )]
    Droop(droop::Arguments),
    /// Which events readings can miss, and which they show in full
    #[command(after_help = "Example: rampart calc event --every \"100 ms\" --window \"20 ms\" --event \"30 ms\"")]
    Event(event::Arguments),
    /// What switching on asks of the supply, and the limit below which a converter may stick
    #[command(
        after_help = "Example: rampart calc inrush --voltage \"12 V\" --capacitance \"470 uF\" --limit \"100 mA\" --power \"0.6 W\" --starts-at \"4 V\""
    )]
    Inrush(inrush::Arguments),
    /// Insulation resistance from a leakage
    #[command(after_help = "Example: rampart calc insulation --voltage \"6 V\" --leakage \"150 uA\" --capacitance \"2.2 uF\"")]
    Insulation(insulation::Arguments),
    /// How many parts of a lot that stands alone to inspect, so that a bad one is noticed
    #[command(
        after_help = "Example: rampart calc isolated --lot 100 --limiting \"5 %\" --draw 7\n\nSo that good lots pass, too: rampart calc isolated --lot 500 --limiting \"8 %\" --risk \"10 %\" --good \"1 %\""
    )]
    Isolated(isolated::Arguments),
    /// What a capacitor may leak, and how a measured leakage stands to it
    #[command(
        after_help = "Example: rampart calc leakage --kind solid-tantalum --capacitance \"10 uF\" --rated \"16 V\" --temperature \"85 degC\" --measured \"150 uA\" --uncertainty \"1 uA\"\n\nExit code 1: above the limit by more than its uncertainty; 5: not decidable."
    )]
    Leakage(leakage::Arguments),
    /// What a voltmeter takes away from a source with a resistance
    #[command(after_help = "Example: rampart calc loading --source \"100 kohm\" --input \"10 Mohm\"")]
    Loading(loading::Arguments),
    /// At which leakage the level of a node becomes undefined or wrong, and what a given one does
    #[command(
        after_help = "Example: rampart calc node --rail \"5 V\" --pull-up \"1 Mohm\" --family 4000B --leakage \"150 uA\" --at \"6 V\"\n\nThe same of a netlist: rampart calc node --netlist alarm.cir --node arm --rail \"9 V\" --family 4000B\n\nExit code 1: the leakage makes the level undefined or wrong; 5: within its limits it may."
    )]
    Node(node::Arguments),
    /// How many starts prove a repair
    #[command(after_help = "Example: rampart calc proof --below \"1 %\" --confidence \"95 %\"")]
    Proof(proof::Arguments),
    /// The failing rate behind so many failures of so many starts
    #[command(after_help = "Example: rampart calc rate --failures 4 --starts 20 --confidence \"90 %\"")]
    Rate(rate::Arguments),
    /// The voltage that comes back after a discharge
    #[command(after_help = "Example: rampart calc recovery --voltage \"400 V\" --dielectric electrolytic")]
    Recovery(recovery::Arguments),
    /// What integration over line cycles leaves of hum
    #[command(after_help = "Example: rampart calc rejection --plc 1 --hum \"60 Hz\" --line \"50 Hz\"")]
    Rejection(rejection::Arguments),
    /// The sampling plan of a lot in a series, and what it lets through
    #[command(
        after_help = "Example: rampart calc sampling --lot 1000 --aql \"1.5 %\" --bad \"2 %\" --draw 7\n\n--plot FILE draws what the plan lets through."
    )]
    Sampling(sampling::Arguments),
    /// Wald's sequential test between two failing rates
    #[command(after_help = "Example: rampart calc sequential --good \"0.1 %\" --bad \"1 %\"")]
    Sequential(sequential::Arguments),
    /// How long a source takes to settle
    #[command(after_help = "Example: rampart calc settle --resistance \"1 Mohm\" --capacitance \"10 nF\" --to \"0.1 %\"")]
    Settle(settle::Arguments),
    /// How long to wait for a leakage through a series resistor, and what a short would draw
    #[command(
        after_help = "Example: rampart calc soak --series \"100 kohm\" --capacitance \"100 uF\" --voltage \"16 V\" --leakage \"2 uA\""
    )]
    Soak(soak::Arguments),
    /// Which inspection, normal, tightened or reduced, a series of lots makes of the next one
    #[command(
        after_help = "Example: rampart calc switching --aql \"1.5 %\" --lot \"0 of 1000\" --lot \"4 of 1000\" --lot \"5 of 1000\"\n\nExit code 1: acceptance stops."
    )]
    Switching(switching::Arguments),
    /// A direct voltage, or what a capacitor holds, against published limits
    #[command(after_help = "Example: rampart calc touch --voltage \"48 V\" --capacitance \"10 mF\"")]
    Touch(touch::Arguments),
    /// The uncertainty of a reading from its accuracy, and how it stands to a limit
    #[command(
        after_help = "Example: rampart calc uncertainty --reading \"5 V\" --range \"10 V\" --of-reading \"0.002 %\" --of-range \"0.0005 %\" --at-most \"5.0001 V\"\n\nExit code 1: outside the limit by more than the guard band; 5: within the guard band, or the instrument is not adequate."
    )]
    Uncertainty(uncertainty::Arguments),
}

pub(super) fn main(arguments: &Arguments) -> Exit {
    let (name, working) = match &arguments.what {
        What::Absorption(a) => ("absorption", a.working()),
        What::Battery(a) => ("battery", a.working()),
        What::Burden(a) => ("burden", a.working()),
        What::Circuit(a) => return circuit::main(a, arguments.json),
        What::Claim(a) => ("claim", a.working()),
        What::Compare(a) => ("compare", a.working()),
        What::Conduction(a) => ("conduction", a.working()),
        What::Discharge(a) => ("discharge", a.working()),
        What::Drift(a) => ("drift", a.working()),
        What::Droop(a) => ("droop", a.working()),
        What::Event(a) => ("event", a.working()),
        What::Inrush(a) => ("inrush", a.working()),
        What::Insulation(a) => ("insulation", a.working()),
        What::Isolated(a) => ("isolated", a.working()),
        What::Leakage(a) => ("leakage", a.working()),
        What::Loading(a) => ("loading", a.working()),
        What::Node(a) => return a.main(arguments.json),
        What::Proof(a) => ("proof", a.working()),
        What::Rate(a) => ("rate", a.working()),
        What::Recovery(a) => ("recovery", a.working()),
        What::Rejection(a) => ("rejection", a.working()),
        What::Sampling(a) => return a.main(arguments.json),
        What::Sequential(a) => ("sequential", a.working()),
        What::Settle(a) => ("settle", a.working()),
        What::Soak(a) => ("soak", a.working()),
        What::Switching(a) => ("switching", a.working()),
        What::Touch(a) => ("touch", a.working()),
        What::Uncertainty(a) => ("uncertainty", a.working()),
    };
    finish(name, working, arguments.json)
}

/// Prints a working, or why there is none, and gives the exit code.
fn finish(name: &str, working: Result<Working, Refusal>, json: bool) -> Exit {
    match working {
        Ok(working) => {
            print::working(name, &working, json);
            match working.severity {
                Severity::Note => Exit::Within,
                Severity::Undecided => Exit::Undecided,
                Severity::Anomaly => Exit::Anomaly,
            }
        }
        Err(Refusal { problem, hint: None }) => complaint(&problem),
        Err(Refusal { problem, hint: Some(hint) }) => complaint(&format!("{problem}\n  hint: {hint}")),
    }
}

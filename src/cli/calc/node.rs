//! `rampart calc node`

use super::options::{number, quantity};
use crate::analysis::node::Towards;
use crate::analysis::working::{Described, Refusal, Working, node};
use crate::cli::common::{complain, complaint};
use crate::document::Document;
use crate::rehearsal::circuit::{Suspect, Unanswered, Unrun, what_if};
use crate::runner::Exit;
use crate::units::{Amperes, Ohms, Ratio, Seconds, Volts};
use std::path::PathBuf;

/// Options of `calc node`.
#[derive(clap::Args)]
#[command(group(clap::ArgGroup::new("resistor").required(true).multiple(true)))]
pub(super) struct Arguments {
    /// The rail, which supplies the input, too
    #[arg(long, value_parser = quantity::<Volts>, allow_hyphen_values = true)]
    rail: Volts,
    /// The resistor from the rail to the node
    #[arg(long, value_parser = quantity::<Ohms>, allow_hyphen_values = true, group = "resistor")]
    pull_up: Option<Ohms>,
    /// The resistor from the node to ground
    #[arg(long, value_parser = quantity::<Ohms>, allow_hyphen_values = true, group = "resistor")]
    pull_down: Option<Ohms>,
    /// A netlist in the syntax of Berkeley SPICE instead of the two resistors
    #[arg(long, group = "resistor", conflicts_with_all = ["pull_up", "pull_down"], requires = "node")]
    netlist: Option<PathBuf>,
    /// The netlist's node that the input listens to
    #[arg(long, requires = "netlist")]
    node: Option<String>,
    /// When the netlist's node is looked at; without it, at the operating point
    #[arg(long, value_parser = quantity::<Seconds>, allow_hyphen_values = true, requires = "netlist")]
    moment: Option<Seconds>,
    /// The tolerance of the resistors, of all of a netlist's
    #[arg(long, value_parser = quantity::<Ratio>, allow_hyphen_values = true, default_value = "0 %")]
    tolerance: Ratio,
    /// Where the leaking part lies: from the node to this
    #[arg(long, value_enum, default_value = "ground")]
    part_to: To,
    /// The logic family that listens
    #[arg(long)]
    family: String,
    /// A leakage to try
    #[arg(long, value_parser = quantity::<Amperes>, allow_hyphen_values = true)]
    leakage: Option<Amperes>,
    /// The largest that it may be, where it is a range
    #[arg(long, value_parser = quantity::<Amperes>, allow_hyphen_values = true, requires = "leakage")]
    leakage_to: Option<Amperes>,
    /// The voltage at the part that the leakage was measured at; it is in proportion elsewhere
    #[arg(long, value_parser = quantity::<Volts>, allow_hyphen_values = true, requires = "leakage")]
    at: Option<Volts>,
    /// How many times the leakage is larger at the temperature in use
    #[arg(long, value_parser = number, allow_hyphen_values = true, default_value = "1")]
    warmer: f64,
}

/// Where the part lies, as it is written on the command line.
#[derive(Clone, Copy, clap::ValueEnum)]
enum To {
    Ground,
    Rail,
}

impl Arguments {
    pub(super) fn main(&self, json: bool) -> Exit {
        let (Some(path), Some(name)) = (&self.netlist, &self.node) else {
            return super::finish("node", self.working(), json);
        };
        let suspect = Suspect {
            node: name.clone(),
            part: self.part(),
            rail: self.rail,
            family: self.family.clone(),
            leakage: self.leakage.map(|low| (low, self.leakage_to.unwrap_or(low), self.at)),
            tolerance: self.tolerance,
            warmer: self.warmer,
            moment: self.moment.unwrap_or(Seconds(0.0)),
        };
        match Document::open(path).map_err(|p| Unanswered::from(Unrun::from(p))).and_then(|file| what_if(&file, &suspect)) {
            Ok(working) => super::finish("node", Ok(working), json),
            Err(Unanswered::Refused(refusal)) => super::finish("node", Err(refusal), json),
            Err(Unanswered::Unrun(Unrun::Netlist(problems))) => {
                complain(&problems);
                Exit::Wrong
            }
            Err(Unanswered::Unrun(Unrun::Circuit(failure))) => complaint(&failure.to_string()),
        }
    }

    fn part(&self) -> Towards {
        match self.part_to {
            To::Ground => Towards::Ground,
            To::Rail => Towards::Rail,
        }
    }

    fn working(&self) -> Result<Working, Refusal> {
        node(&Described {
            rail: self.rail,
            up: self.pull_up,
            down: self.pull_down,
            tolerance: self.tolerance,
            part: self.part(),
            family: self.family.clone(),
            leakage: self.leakage.map(|low| (low, self.leakage_to.unwrap_or(low), self.at)),
            warmer: self.warmer,
        })
    }
}

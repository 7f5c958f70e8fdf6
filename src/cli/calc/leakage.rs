//! `rampart calc leakage`

use super::options::quantity;
use crate::analysis::leakage::Dielectric;
use crate::analysis::leakage::limits::{Asked, Series};
use crate::analysis::working::{Refusal, Working, leakage};
use crate::units::{Amperes, Celsius, Farads, Seconds, Volts};

/// Options of `calc leakage`.
#[derive(clap::Args)]
pub(super) struct Arguments {
    /// The kind of part
    #[arg(long, value_enum)]
    kind: Kind,
    /// The series, as in a plan: its own table instead of the kind's customary one
    #[arg(long, value_parser = series, default_value = "handbook")]
    series: Series,
    /// Its capacitance
    #[arg(long, value_parser = quantity::<Farads>, allow_hyphen_values = true)]
    capacitance: Farads,
    /// Its rated voltage
    #[arg(long, value_parser = quantity::<Volts>, allow_hyphen_values = true)]
    rated: Volts,
    /// Its temperature; without it, the room's
    #[arg(long, value_parser = quantity::<Celsius>, allow_hyphen_values = true)]
    temperature: Option<Celsius>,
    /// The time under bias before the leakage is read; without it 1 min for film and ceramic, 2 min else
    #[arg(long, value_parser = quantity::<Seconds>, allow_hyphen_values = true)]
    after: Option<Seconds>,
    /// A leakage that was measured
    #[arg(long, value_parser = quantity::<Amperes>, allow_hyphen_values = true)]
    measured: Option<Amperes>,
    /// Its expanded uncertainty
    #[arg(long, value_parser = quantity::<Amperes>, allow_hyphen_values = true, requires = "measured", default_value = "0 A")]
    uncertainty: Amperes,
}

/// Kinds of part as they are written on the command line.
#[derive(Clone, Copy, clap::ValueEnum)]
enum Kind {
    SolidTantalum,
    Aluminium,
    Ceramic,
    Film,
}

fn series(text: &str) -> Result<Series, String> {
    let found = Series::ALL.iter().find(|(name, ..)| name.eq_ignore_ascii_case(text.trim()));
    found.map(|(_, series, _)| *series).ok_or_else(|| {
        let names: Vec<&str> = Series::ALL.iter().map(|(name, ..)| *name).collect();
        format!("expected a series, found {text:?}\n  hint: {}", names.join(", "))
    })
}

impl Arguments {
    pub(super) fn working(&self) -> Result<Working, Refusal> {
        let asked = Asked {
            kind: match self.kind {
                Kind::SolidTantalum => Dielectric::SolidTantalum,
                Kind::Aluminium => Dielectric::Aluminium,
                Kind::Ceramic => Dielectric::Ceramic,
                Kind::Film => Dielectric::Film,
            },
            series: self.series,
            capacitance: self.capacitance,
            rated: self.rated,
            temperature: self.temperature,
            electrify: self.after.unwrap_or(match self.kind {
                Kind::Film | Kind::Ceramic => Seconds(60.0),
                Kind::SolidTantalum | Kind::Aluminium => Seconds(120.0),
            }),
        };
        leakage(&asked, self.measured.map(|leakage| (leakage, self.uncertainty)))
    }
}

//! `rampart calc recovery`

use super::options::quantity;
use crate::analysis::absorption::Dielectric;
use crate::analysis::working::{Absorption, Refusal, Working, recovery};
use crate::units::{Ratio, Volts};

/// Options of `calc recovery`.
#[derive(clap::Args)]
#[command(group(clap::ArgGroup::new("share").required(true)))]
pub(super) struct Arguments {
    /// The voltage before the discharge
    #[arg(long, value_parser = quantity::<Volts>, allow_hyphen_values = true)]
    voltage: Volts,
    /// The share that comes back, as measured or as the maker says
    #[arg(long, value_parser = quantity::<Ratio>, allow_hyphen_values = true, group = "share")]
    absorption: Option<Ratio>,
    /// The dielectric, for published shares
    #[arg(long, value_enum, group = "share")]
    dielectric: Option<Kind>,
}

/// Dielectrics as they are written on the command line.
#[derive(Clone, Copy, clap::ValueEnum)]
enum Kind {
    Polypropylene,
    Polyester,
    MixedFilm,
    Np0,
    X7r,
    Z5u,
    Electrolytic,
}

impl From<Kind> for Dielectric {
    fn from(kind: Kind) -> Self {
        match kind {
            Kind::Polypropylene => Self::Polypropylene,
            Kind::Polyester => Self::Polyester,
            Kind::MixedFilm => Self::MixedFilm,
            Kind::Np0 => Self::Np0,
            Kind::X7r => Self::X7r,
            Kind::Z5u => Self::Z5u,
            Kind::Electrolytic => Self::Electrolytic,
        }
    }
}

impl Arguments {
    pub(super) fn working(&self) -> Result<Working, Refusal> {
        let absorption = match (self.absorption, self.dielectric) {
            (Some(share), _) => Absorption::Share(share),
            (None, Some(kind)) => Absorption::Of(kind.into()),
            (None, None) => return Err(Refusal::new("neither an absorption nor a dielectric is given")),
        };
        recovery(self.voltage, absorption)
    }
}

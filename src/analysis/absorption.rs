//! Dielectric absorption: the voltage that comes back on a capacitor that was discharged.

use crate::units::{Ratio, Volts};

/// Dielectrics with published shares.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Dielectric {
    /// Polypropylene film.
    Polypropylene,
    /// Polyester (PET) film.
    Polyester,
    /// Mixed film.
    MixedFilm,
    /// Ceramic, NP0.
    Np0,
    /// Ceramic, X7R.
    X7r,
    /// Ceramic, Z5U.
    Z5u,
    /// Electrolytic.
    Electrolytic,
}

impl Dielectric {
    /// Lowest and highest published share, and where from. Published tables disagree
    /// for X7R (0.6 % to 1.0 % in one, 2.0 % to 2.5 % in another): the span takes in both.
    pub fn published(self) -> (Ratio, Ratio, &'static str) {
        let film = "makers' handbooks of film capacitors";
        let ceramic = "makers' handbooks of ceramic capacitors; two tables disagree, and the span takes in both";
        let span = |low, high, source| (Ratio(low), Ratio(high), source);
        match self {
            Self::Polypropylene => span(0.0005, 0.0010, film),
            Self::Polyester => span(0.0020, 0.0025, film),
            Self::MixedFilm => span(0.0012, 0.0018, film),
            Self::Np0 => span(0.003, 0.006, "makers' handbooks of ceramic capacitors"),
            Self::X7r => span(0.006, 0.025, ceramic),
            Self::Z5u => span(0.020, 0.025, "makers' handbooks of ceramic capacitors"),
            Self::Electrolytic => span(0.0, 0.15, "makers' handbooks: up to 15 %"),
        }
    }
}

/// What comes back: V = DA V0, with DA = U1 / U2 as MIL-C-19978 measures it (charged
/// for 15 min, discharged for 10 s, read 15 min later).
pub fn recovered(charged_to: Volts, share: Ratio) -> Volts {
    charged_to * share.0
}

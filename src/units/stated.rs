//! From what is stated of an error to a standard uncertainty.

/// What a stated half-width means.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub enum Stated {
    /// Limits of error without another word: every value between them as likely,
    /// a / sqrt 3 (JCGM 100:2008, 4.3.7).
    #[default]
    Limits,
    /// Limits that the middle is more likely than: triangular, a / sqrt 6 (4.3.9).
    Triangular,
    /// A cycle, such as a room's temperature: arcsine, a / sqrt 2 (H.1.3.4).
    Cycle,
    /// The half-width holds 95 % of a normal distribution: a / 1.960 (4.3.4).
    Normal95,
    /// The half-width holds 99 % of a normal distribution: a / 2.576 (4.3.4).
    Normal99,
    /// An expanded uncertainty with this coverage factor, as in a certificate (4.3.3).
    Factor(f64),
}

impl Stated {
    /// What the half-width is divided by.
    pub fn divisor(self) -> f64 {
        match self {
            Stated::Limits => 3f64.sqrt(),
            Stated::Triangular => 6f64.sqrt(),
            Stated::Cycle => std::f64::consts::SQRT_2,
            Stated::Normal95 => 1.959_963_984_540_054,
            Stated::Normal99 => 2.575_829_303_548_901,
            Stated::Factor(k) => k,
        }
    }

    /// The standard uncertainty of a half-width.
    pub fn standard(self, half_width: f64) -> f64 {
        half_width.abs() / self.divisor()
    }

    /// As a budget names it.
    pub fn name(self) -> &'static str {
        match self {
            Stated::Limits => "rectangular",
            Stated::Triangular => "triangular",
            Stated::Cycle => "arcsine",
            Stated::Normal95 => "normal, 95 %",
            Stated::Normal99 => "normal, 99 %",
            Stated::Factor(_) => "normal, expanded",
        }
    }
}

/// Standard uncertainty of a resolution: rectangular of full width d, d / sqrt 12
/// (JCGM 100:2008, F.2.2.1).
pub fn resolution_u(step: f64) -> f64 {
    step.abs() / 12f64.sqrt()
}

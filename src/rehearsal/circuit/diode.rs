//! The junction diode of Berkeley SPICE at 27 degC: conduction, reverse
//! breakdown, depletion and diffusion charge.
//!
//! After L. W. Nagel, "SPICE2", ERL-M520, University of California, Berkeley
//! (1975), and the level 1 diode of ngspice's manual, chapter on diodes, whose
//! reverse region (a cubic beyond three thermal voltages) and fitting of the
//! breakdown to `IBV` are followed here.

/// Thermal voltage k T / q at 27 degC = 300.15 K, with the constants that are exact in
/// the SI since 2019 (k = 1.380649e-23 J/K, q = 1.602176634e-19 C).
pub const THERMAL: f64 = 1.380_649e-23 * 300.15 / 1.602_176_634e-19;
/// Conductance beside every junction, for convergence, as SPICE's GMIN.
pub const GMIN: f64 = 1e-12;

/// The parameters of a `.model ... D`.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Diode {
    /// IS, saturation current in amperes.
    pub saturation: f64,
    /// N, emission coefficient.
    pub emission: f64,
    /// RS, series resistance in ohms.
    pub series: f64,
    /// CJO, depletion capacitance without bias, in farads.
    pub depletion: f64,
    /// VJ, junction potential in volts.
    pub potential: f64,
    /// M, grading coefficient.
    pub grading: f64,
    /// FC, share of VJ above which the depletion capacitance goes on as a straight line.
    pub forward: f64,
    /// TT, transit time in seconds.
    pub transit: f64,
    /// BV, breakdown voltage, above zero; none: it does not break down.
    pub breakdown: Option<f64>,
    /// IBV, current at the breakdown voltage.
    pub knee: f64,
}

impl Default for Diode {
    /// SPICE's defaults.
    fn default() -> Self {
        Self {
            saturation: 1e-14,
            emission: 1.0,
            series: 0.0,
            depletion: 0.0,
            potential: 1.0,
            grading: 0.5,
            forward: 0.5,
            transit: 0.0,
            breakdown: None,
            knee: 1e-3,
        }
    }
}

/// What a junction does at a voltage.
#[derive(Clone, Copy, Debug, Default)]
pub struct Junction {
    /// Amperes from anode to cathode.
    pub current: f64,
    /// Siemens.
    pub conductance: f64,
    /// Coulombs.
    pub charge: f64,
    /// Farads.
    pub capacitance: f64,
}

impl Diode {
    /// `count` such diodes in parallel (SPICE's area factor).
    #[must_use]
    pub fn times(mut self, count: f64) -> Self {
        self.saturation *= count;
        self.depletion *= count;
        self.knee *= count;
        self.series /= count;
        self
    }

    /// With breakdown fitted so that IBV flows at BV; done once before use.
    #[must_use]
    pub fn fitted(mut self) -> Self {
        if let Some(voltage) = self.breakdown {
            let swing = self.emission * THERMAL;
            let least = self.saturation * voltage / swing;
            let fitted = if self.knee < least {
                voltage
            } else {
                let mut fitted = voltage;
                for _ in 0..25 {
                    fitted = voltage - swing * (self.knee / self.saturation + 1.0 - fitted / swing).ln();
                }
                fitted
            };
            self.breakdown = Some(fitted);
        }
        self
    }

    /// Whether it stores charge.
    pub fn stores(&self) -> bool {
        self.depletion > 0.0 || self.transit > 0.0
    }

    /// Current, charge and their slopes at a junction voltage.
    pub fn at(&self, voltage: f64) -> Junction {
        let swing = self.emission * THERMAL;
        let saturation = self.saturation;
        let (current, conductance) = if voltage >= -3.0 * swing {
            let e = (voltage / swing).min(700.0).exp();
            (saturation * (e - 1.0), saturation * e / swing)
        } else if self.breakdown.is_none_or(|b| voltage >= -b) {
            let cubic = (3.0 * swing / (voltage * std::f64::consts::E)).powi(3);
            (-saturation * (1.0 + cubic), saturation * 3.0 * cubic / voltage)
        } else {
            let b = self.breakdown.unwrap_or(f64::INFINITY);
            let e = (-(b + voltage) / swing).min(700.0).exp();
            (-saturation * e, saturation * e / swing)
        };
        let (charge, capacitance) = self.depleted(voltage);
        Junction {
            current: current + GMIN * voltage,
            conductance: conductance + GMIN,
            charge: charge + self.transit * current,
            capacitance: capacitance + self.transit * conductance,
        }
    }

    /// Charge and capacitance of the depletion layer.
    fn depleted(&self, voltage: f64) -> (f64, f64) {
        if self.depletion == 0.0 {
            return (0.0, 0.0);
        }
        let (m, vj, fc) = (self.grading, self.potential, self.forward);
        let corner = fc * vj;
        if voltage < corner {
            let share = 1.0 - voltage / vj;
            let power = if m == 0.5 { 1.0 / share.sqrt() } else { share.powf(-m) };
            (self.depletion * vj * (1.0 - share * power) / (1.0 - m), self.depletion * power)
        } else {
            let f1 = vj * (1.0 - (1.0 - fc).powf(1.0 - m)) / (1.0 - m);
            let f2 = (1.0 - fc).powf(1.0 + m);
            let f3 = 1.0 - fc * (1.0 + m);
            let rise = voltage * voltage - corner * corner;
            (
                self.depletion * (f1 + (f3 * (voltage - corner) + m / (2.0 * vj) * rise) / f2),
                self.depletion / f2 * (f3 + m * voltage / vj),
            )
        }
    }

    /// Above this the exponential is approached by its logarithm.
    pub fn critical(&self) -> f64 {
        let swing = self.emission * THERMAL;
        swing * (swing / (std::f64::consts::SQRT_2 * self.saturation)).ln()
    }

    /// From one trial voltage to the next without overflowing the exponential (Nagel's limiting).
    pub fn limited(&self, wanted: f64, before: f64) -> f64 {
        match self.breakdown {
            Some(b) if wanted < (0.0_f64).min(-b + 10.0 * self.emission * THERMAL) => {
                -(self.approach(-(wanted + b), -(before + b)) + b)
            }
            _ => self.approach(wanted, before),
        }
    }

    fn approach(&self, wanted: f64, before: f64) -> f64 {
        let swing = self.emission * THERMAL;
        let critical = self.critical();
        if wanted <= critical || (wanted - before).abs() <= 2.0 * swing {
            return wanted;
        }
        if before > 0.0 {
            let argument = 1.0 + (wanted - before) / swing;
            if argument > 0.0 { before + swing * argument.ln() } else { critical }
        } else {
            swing * (wanted / swing).ln()
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// From memory of the trade: a decade of current for each 59.5 mV at 27 degC.
    #[test]
    fn a_decade_is_sixty_millivolts() {
        let diode = Diode { saturation: 1e-14, ..Diode::default() };
        let ratio = diode.at(0.6 + THERMAL * std::f64::consts::LN_10).current / diode.at(0.6).current;
        assert!((ratio - 10.0).abs() < 1e-6);
        assert!((THERMAL - 0.025_864_92).abs() < 1e-7, "{THERMAL}");
    }

    #[test]
    fn slopes_are_those_of_the_curves() {
        let diode = Diode { depletion: 1e-11, transit: 1e-8, breakdown: Some(5.1), series: 1.0, ..Diode::default() }.fitted();
        for voltage in [-5.2, -5.0, -3.0, -0.2, -0.05, 0.0, 0.3, 0.55, 0.7] {
            let step = 1e-6;
            let (below, here, above) = (diode.at(voltage - step), diode.at(voltage), diode.at(voltage + step));
            let slope = (above.current - below.current) / (2.0 * step);
            assert!((slope - here.conductance).abs() <= 1e-4 * here.conductance.abs() + 1e-13, "{voltage}: {slope} {here:?}");
            let slope = (above.charge - below.charge) / (2.0 * step);
            assert!((slope - here.capacitance).abs() <= 1e-4 * here.capacitance.abs(), "{voltage}: {slope} {here:?}");
        }
    }

    #[test]
    fn at_its_breakdown_voltage_the_knee_current_flows() {
        let diode = Diode { breakdown: Some(5.1), knee: 2e-3, ..Diode::default() }.fitted();
        assert!((diode.at(-5.1).current + 2e-3).abs() < 1e-5, "{}", diode.at(-5.1).current);
    }
}

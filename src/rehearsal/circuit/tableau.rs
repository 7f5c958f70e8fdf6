//! The integration method: a diagonally implicit Runge-Kutta method of order 4
//! with an explicit first stage, and its continuation inside a step.
//!
//! ESDIRK4(3)6L[2]SA of C. A. Kennedy and M. H. Carpenter, "Additive Runge-Kutta
//! schemes for convection-diffusion-reaction equations", Applied Numerical
//! Mathematics 44 (2003) 139-181. It is L-stable and stiffly accurate, so a node
//! without a capacitor obeys Kirchhoff's law at the end of every step, and what
//! is faster than the step dies out. A ringing tank keeps its amplitude and phase
//! at steps at which the trapezoidal rule would have lost them.

/// Stages.
pub const STAGES: usize = 6;
/// What stands on the diagonal.
pub const GAMMA: f64 = 0.25;
/// Where in the step the stages stand.
pub const AT: [f64; STAGES] = [0.0, 0.5, 83.0 / 250.0, 31.0 / 50.0, 17.0 / 20.0, 1.0];
/// The coefficients below the diagonal; those of the last stage are the weights.
pub const STAGE: [[f64; STAGES - 1]; STAGES] = [
    [0.0, 0.0, 0.0, 0.0, 0.0],
    [0.25, 0.0, 0.0, 0.0, 0.0],
    [8_611.0 / 62_500.0, -1_743.0 / 31_250.0, 0.0, 0.0, 0.0],
    [5_012_029.0 / 34_652_500.0, -654_441.0 / 2_922_500.0, 174_375.0 / 388_108.0, 0.0, 0.0],
    [
        15_267_082_809.0 / 155_376_265_600.0,
        -71_443_401.0 / 120_774_400.0,
        730_878_875.0 / 902_184_768.0,
        2_285_395.0 / 8_070_912.0,
        0.0,
    ],
    [82_889.0 / 524_892.0, 0.0, 15_625.0 / 83_664.0, 69_875.0 / 102_672.0, -2_260.0 / 8_211.0],
];
/// The weights of the method of order 3 that is embedded, for the estimate of the error.
const EMBEDDED: [f64; STAGES] = [
    4_586_570_599.0 / 29_645_900_160.0,
    0.0,
    178_811_875.0 / 945_068_544.0,
    814_220_225.0 / 1_159_782_912.0,
    -3_700_637.0 / 11_593_932.0,
    61_727.0 / 225_920.0,
];

/// The difference of the two sets of weights.
pub fn error_weights() -> [f64; STAGES] {
    let mut weights = [0.0; STAGES];
    for (i, weight) in weights.iter_mut().enumerate() {
        let own = if i + 1 == STAGES { GAMMA } else { STAGE[STAGES - 1][i] };
        *weight = own - EMBEDDED[i];
    }
    weights
}

/// The continuation: x(t + s h) = x0 + d1 s + d2 s^2 + d3 s^3 + d4 s^4. The stages
/// are exact but for a multiple of one common vector (each stage's own error of
/// third order, c^3/6 - sum a c^2/2), so five differences of stages determine
/// the four d and that multiple. Rows: d1 to d4; columns: stages 2 to 6.
#[allow(clippy::excessive_precision, reason = "as computed")]
pub const CONTINUED: [[f64; STAGES - 1]; 4] = [
    [-9.905615570479682, 19.072109642749162, -8.752158836542080, 10.264128050030592, -3.677302980022784],
    [57.729445764236189, -78.679924028172479, 39.444538462911012, -57.068046052148247, 21.309237192556338],
    [-104.975137661699122, 107.970150631236905, -40.936792353897658, 93.672977000861707, -37.599740370036983],
    [57.151307467942615, -48.362336245813587, 10.244412727528731, -46.869058998744052, 20.967806157503428],
];

/// How much each stage counts in the value at share `s` of the step.
pub fn value_weights(s: f64) -> [f64; STAGES] {
    powers([s, s * s, s * s * s, s * s * s * s], 1.0)
}

/// How much each stage counts in the integral from the step's beginning to its
/// share `s`, in steps. Over a whole step the weights are the method's own, so that
/// charge is conserved: what has flowed into a capacitor is what it holds.
pub fn integral_weights(s: f64) -> [f64; STAGES] {
    let s2 = s * s;
    let mut weights = powers([s2 / 2.0, s2 * s / 3.0, s2 * s2 / 4.0, s2 * s2 * s / 5.0], s);
    for (i, (weight, whole)) in weights.iter_mut().zip(continued_whole()).enumerate() {
        let own = if i + 1 == STAGES { GAMMA } else { STAGE[STAGES - 1][i] };
        *weight += s2 * (own - whole);
    }
    weights
}

/// The continuation's integral over a whole step.
fn continued_whole() -> [f64; STAGES] {
    powers([0.5, 1.0 / 3.0, 0.25, 0.2], 1.0)
}

fn powers(powers: [f64; 4], whole: f64) -> [f64; STAGES] {
    let mut weights = [0.0; STAGES];
    let mut rest = whole;
    for (stage, weight) in weights.iter_mut().skip(1).enumerate() {
        *weight = CONTINUED.iter().zip(powers).map(|(row, power)| row[stage] * power).sum();
        rest -= *weight;
    }
    weights[0] = rest;
    weights
}

#[cfg(test)]
mod tests {
    use super::*;

    fn full() -> [[f64; STAGES]; STAGES] {
        let mut full = [[0.0; STAGES]; STAGES];
        for (i, row) in full.iter_mut().enumerate() {
            row[..STAGES - 1].copy_from_slice(&STAGE[i]);
            if i > 0 {
                row[i] = GAMMA;
            }
        }
        full
    }

    /// The conditions of order: Hairer, Norsett and Wanner, "Solving Ordinary
    /// Differential Equations I", table II.2.1.
    #[test]
    fn the_conditions_up_to_order_four_hold() {
        let a = full();
        let c: Vec<f64> = a.iter().map(|row| row.iter().sum()).collect();
        let times = |v: &[f64]| -> Vec<f64> { a.iter().map(|row| row.iter().zip(v).map(|(x, y)| x * y).sum()).collect() };
        let square: Vec<f64> = c.iter().map(|c| c * c).collect();
        let b = a[STAGES - 1];
        let dot = |v: &[f64]| b.iter().zip(v).map(|(x, y)| x * y).sum::<f64>();
        let ac = times(&c);
        let cac: Vec<f64> = c.iter().zip(&ac).map(|(x, y)| x * y).collect();
        let cube: Vec<f64> = c.iter().map(|c| c * c * c).collect();
        for (sum, wanted) in [
            (b.iter().sum(), 1.0),
            (dot(&c), 1.0 / 2.0),
            (dot(&square), 1.0 / 3.0),
            (dot(&ac), 1.0 / 6.0),
            (dot(&cube), 1.0 / 4.0),
            (dot(&cac), 1.0 / 8.0),
            (dot(&times(&square)), 1.0 / 12.0),
            (dot(&times(&ac)), 1.0 / 24.0),
        ] {
            assert!((sum - wanted).abs() < 1e-14, "{sum} for {wanted}");
        }
        for i in 0..STAGES {
            assert!((c[i] - AT[i]).abs() < 1e-14);
            // Every stage is of second order.
            if i > 0 {
                assert!((ac[i] - c[i] * c[i] / 2.0).abs() < 1e-14);
            }
        }
        assert!(error_weights().iter().sum::<f64>().abs() < 1e-14);
    }

    #[test]
    fn the_continuation_passes_through_both_ends_and_repeats_polynomials() {
        let (begin, end) = (value_weights(0.0), value_weights(1.0));
        for i in 0..STAGES {
            assert!((begin[i] - if i == 0 { 1.0 } else { 0.0 }).abs() < 1e-9);
            assert!((end[i] - if i + 1 == STAGES { 1.0 } else { 0.0 }).abs() < 1e-9, "{end:?}");
        }
        for power in 1..=4 {
            let stages = AT.map(|c| c.powi(power));
            for s in [0.1, 0.45, 0.9] {
                let value: f64 = value_weights(s).iter().zip(stages).map(|(w, x)| w * x).sum();
                let integral: f64 = integral_weights(s).iter().zip(stages).map(|(w, x)| w * x).sum();
                assert!((value - s.powi(power)).abs() < 1e-10);
                // The method's own weights are exact to the third power.
                assert!(power == 4 || (integral - s.powi(power + 1) / f64::from(power + 1)).abs() < 1e-10);
            }
        }
    }
}

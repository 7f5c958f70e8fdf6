//! The operating characteristic of a sampling plan as a picture.

use super::axis::Scale;
use super::plot::{Along, Plot, Shape};
use crate::analysis::sampling::Plan;
use crate::units::Unit;
/// Points of the curve.
const POINTS: u32 = 120;

/// Chance to pass over the share of bad parts: for a process as a line, for a lot of
/// `lot` parts as dots, one for each number of bad parts that fits in.
pub(super) fn plot(plan: Plan, lot: u64) -> Plot {
    // To where hardly anything passes, and no further than there are shares.
    let most = plan.accepted_with(0.005).map_or(1.0, |p| p.0).clamp(1e-6, 1.0);
    let curve: Vec<(f64, Option<f64>)> =
        (0..=POINTS).map(|i| most * f64::from(i) / f64::from(POINTS)).map(|p| (p, plan.passes(crate::units::Ratio(p)))).collect();
    #[allow(clippy::cast_precision_loss, reason = "lots are far below 2^53")]
    let share = |bad: u64| bad as f64 / lot as f64;
    let every = (0..=lot).take_while(|bad| share(*bad) <= most).count().div_ceil(60).max(1);
    let dots: Vec<(f64, f64)> = (0..=lot)
        .step_by(every)
        .take_while(|bad| share(*bad) <= most)
        .filter_map(|bad| Some((share(bad), plan.passes_lot(bad, lot)?)))
        .collect();
    let mut plot = Plot::new(
        format!("What passes: {} inspected, accepted with {} bad or fewer", plan.sample, plan.accept),
        Along { label: "bad parts", unit: Some(Unit::Percent), scale: Scale::Linear, values: vec![0.0, most] },
        Along { label: "chance to pass", unit: Some(Unit::Percent), scale: Scale::Linear, values: vec![0.0, 1.0] },
    );
    plot.line(&curve);
    plot.dots(Shape::Dot, &dots, "this lot, by the number of bad parts in it");
    plot
}

//! The `ramp` stage: raises the voltage from zero at a rate and watches the
//! current, then holds the end voltage for a while.

use super::{Bench, look};
use crate::interlock::{Halt, Request};
use crate::plan::{Limits, Ramp};
use crate::units::{Seconds, Volts};

pub(super) async fn run(bench: &mut Bench<'_>, ramp: &Ramp) -> Result<(), Halt> {
    let request = Request {
        voltage: Volts(0.0),
        highest: ramp.to,
        limits: Limits::same(ramp.limit),
        residual_below: Some(super::AT_REST),
        patience: super::PATIENCE,
        in_limit: None,
    };
    let mut looks = Vec::new();
    {
        let clock = bench.station.clock();
        let mut on = bench.station.prepare(request).await?.switch_on(None).await?;
        bench.swapped = false;
        let step_time = ramp.step / ramp.rate;
        let steps = steps(ramp);
        let mut due = clock.now();
        for step in 0..=steps {
            let voltage = if step == steps { ramp.to } else { ramp.step * f64::from(step) };
            on.set_voltage(voltage).await?;
            due = (due + step_time).max(clock.now());
            on.wait_until(due).await?;
            looks.push(look(&mut on, Some(step), &[], &mut *bench.watcher).await?);
        }
        let until = clock.now() + ramp.hold;
        while clock.now() < until {
            on.wait_until(clock.now() + Seconds(0.1)).await?;
            looks.push(look(&mut on, Some(steps + 1), &[], &mut *bench.watcher).await?);
        }
        on.off().await?;
    }
    super::judge::ramp(bench, ramp, &looks)
}

/// How many steps the ramp has.
fn steps(ramp: &Ramp) -> u32 {
    let steps = (ramp.to / ramp.step).ceil().clamp(1.0, 1e6);
    // In range by the clamp.
    steps as u32
}

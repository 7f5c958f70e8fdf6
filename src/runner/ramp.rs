//! The `ramp` stage: raises the voltage from zero at a rate and watches the
//! current, holds the end voltage for a while, and goes back where the plan says so.
//!
//! Steps are counted from zero volts: up from 0 to n, n + 1 the hold, from n + 2 the
//! way back.

use super::{Bench, Gathered, judge, look};
use crate::interlock::{Halt, Request};
use crate::plan::{Limits, Ramp, Way};
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
    // A ramp that is tried again begins again.
    bench.gathered = Gathered::Ramp(Vec::new());
    {
        let clock = bench.station.clock();
        let mut on = bench.station.prepare(request).await?.switch_on(None).await?;
        bench.swapped = false;
        let step_time = ramp.step / ramp.rate;
        let steps = ramp.steps();
        let mut due = clock.now();
        for step in 0..=steps {
            on.set_voltage(ramp.volts(step)).await?;
            due = (due + step_time).max(clock.now());
            on.wait_until(due).await?;
            let seen = look(&mut on, Some(step), &[], &mut *bench.watcher).await?;
            bench.gathered.add(seen);
        }
        let until = clock.now() + ramp.hold;
        while clock.now() < until {
            on.wait_until(clock.now() + Seconds(0.1)).await?;
            let seen = look(&mut on, Some(steps + 1), &[], &mut *bench.watcher).await?;
            bench.gathered.add(seen);
        }
        if ramp.way == Way::UpAndBack {
            let mut due = clock.now();
            for step in (0..steps).rev() {
                on.set_voltage(ramp.volts(step)).await?;
                due = (due + step_time).max(clock.now());
                on.wait_until(due).await?;
                let seen = look(&mut on, Some(2 * steps + 1 - step), &[], &mut *bench.watcher).await?;
                bench.gathered.add(seen);
            }
        }
        on.off().await?;
    }
    judge::gathered(bench)
}

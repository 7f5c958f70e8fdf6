//! The `log` stage: holds the voltage and logs at an even pace. A reading that
//! took too long shifts those after it: there is no burst to catch up.
//!
//! Its looks carry the number of their span under power in place of a step, from 1:
//! where a log was cut and goes on, the time between is no part of it.

use super::resume::Cut;
use super::{Bench, Gathered, judge, look};
use crate::interlock::{Halt, Request};
use crate::plan::Log;

pub(super) async fn run(bench: &mut Bench<'_>, log: &Log, cut: Cut) -> Result<(), Halt> {
    let request = Request {
        voltage: log.voltage,
        highest: log.voltage,
        limits: log.limit,
        residual_below: Some(super::AT_REST),
        patience: super::PATIENCE,
        in_limit: None,
    };
    let (logged, settled, span) = (cut.logged, log.settled(), cut.next.max(1));
    if let Gathered::Log(_, spans) = &mut bench.gathered {
        *spans = span;
    }
    if logged < log.length {
        let clock = bench.station.clock();
        let mut on = bench.station.prepare(request).await?.switch_on(None).await?;
        bench.swapped = false;
        let on_at = on.on_at();
        let end = on_at + (log.length - logged);
        let mut due = on_at;
        let hand_over = on_at + log.limit.after;
        while due < end {
            if clock.now() < hand_over && hand_over < due {
                on.wait_until(hand_over).await?;
            }
            if clock.now() >= hand_over {
                on.hand_over().await?;
            }
            on.wait_until(due).await?;
            let mut seen = look(&mut on, Some(span), &log.states, &mut *bench.watcher).await?;
            // Going on, the unit starts anew: that is in the record, and no part of the log.
            if let Gathered::Log(looks, _) = &mut bench.gathered
                && !(span > 1 && seen.at < settled)
            {
                seen.at = seen.at + logged;
                looks.push(seen);
            }
            due = (due + log.every).max(clock.now());
        }
        if clock.now() < hand_over && hand_over < end {
            on.wait_until(hand_over).await?;
        }
        if clock.now() >= hand_over {
            on.hand_over().await?;
        }
        on.wait_until(end).await?;
        on.off().await?;
    }
    judge::gathered(bench)
}

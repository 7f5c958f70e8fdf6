//! The `log` stage: holds the voltage and logs at an even pace. A reading that
//! took too long shifts those after it: there is no burst to catch up.

use super::{Bench, Gathered, look};
use crate::interlock::{Halt, Request};
use crate::plan::Log;

pub(super) async fn run(bench: &mut Bench<'_>, log: &Log) -> Result<(), Halt> {
    let request = Request {
        voltage: log.voltage,
        highest: log.voltage,
        limits: log.limit,
        residual_below: Some(super::AT_REST),
        patience: super::PATIENCE,
        in_limit: None,
    };
    bench.gathered = Gathered::Log(Vec::new());
    {
        let clock = bench.station.clock();
        let mut on = bench.station.prepare(request).await?.switch_on(None).await?;
        let on_at = on.on_at();
        let end = on_at + log.length;
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
            let seen = look(&mut on, None, &log.states, &mut *bench.watcher).await?;
            if let Gathered::Log(looks) = &mut bench.gathered {
                looks.push(seen);
            }
            due = (due + log.every).max(clock.now());
        }
        on.wait_until(end).await?;
        on.off().await?;
    }
    super::judge::gathered(bench)
}

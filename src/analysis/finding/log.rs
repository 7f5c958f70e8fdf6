//! What a log says, in sentences: mean, spread and gaps, and what happened in it.

use super::power::{Band, band, spelled};
use super::{Figure, Finding, Severity, three};
use crate::analysis::Level;
use crate::analysis::series::average::average;
use crate::analysis::series::story::{self, Bursts, Middle, Story, Told, Visit};
use crate::analysis::series::{self, Point};
use crate::units::{Amperes, Seconds, Unit, with_uncertainty};

/// Of a log: the mean and its spread, what was outside, what was missing.
pub fn log(points: &[Point], expect: Option<Band>, length: Seconds) -> Vec<Finding> {
    let summary = series::summarise(points);
    let mut made = Vec::new();
    let all = points.len();
    if summary.missing * 10 > all || all == 0 {
        let sentence = format!("{} of {all} readings of the log are missing.", summary.missing);
        made.push(
            Finding::new("log-gaps", Severity::Undecided, sentence)
                .advise("Look at traffic.log for late or garbled answers; widen the profile's gap or time-out."),
        );
    }
    let outside = expect.map_or(0, |e| series::outside(points, e));
    match (summary.mean, summary.u) {
        (Some(mean), Some(u)) if summary.values >= 2 => {
            let sd = summary.deviation.unwrap_or(Amperes(0.0));
            // Readings that hang together are worth fewer than there are.
            let values: Vec<f64> = points.iter().filter_map(|p| p.current.value()).map(|a| a.0).collect();
            let average = average(&values);
            let scatter = average.map_or(0.0, |a| a.u);
            let expanded = 2.0 * u.0.hypot(scatter);
            // For the deviation's own: s / sqrt(2 (n - 1)) (JCGM 100:2008, E.4.3).
            let worth = (average.map_or(summary.values as f64, |a| a.effective) - 1.0).max(1.0);
            let (least, most) = (summary.least.map_or(mean, |l| l.0), summary.most.map_or(mean, |m| m.0));
            let severity = if outside > 0 { Severity::Anomaly } else { Severity::Note };
            let judged = match expect {
                Some(e) if outside == 0 => format!(", all within the expected {}", band(e)),
                Some(e) => format!("; {outside} of {all} readings lie outside the expected {}", band(e)),
                None => String::new(),
            };
            let sentence = format!(
                "Over {length} the unit drew {} on average (least {}, most {}){judged}.",
                with_uncertainty(mean.0, expanded, Unit::Ampere),
                three(least.0, Unit::Ampere),
                three(most.0, Unit::Ampere)
            );
            let code = if outside > 0 { "log-outside" } else { "log-current" };
            let mut finding = Finding::new(code, severity, sentence)
                .figure(Figure::quantity("mean current", mean.0, Unit::Ampere, Some(expanded)))
                .figure(Figure::quantity("standard deviation", sd.0, Unit::Ampere, Some(2.0 * sd.0 / (2.0 * worth).sqrt())))
                .figure(Figure::quantity("charge", summary.charge.0, Unit::Coulomb, Some(expanded * summary.covered.0)))
                .figure(Figure::quantity("time covered by the charge", summary.covered.0, Unit::Second, None))
                .figure(Figure::count("readings", summary.values as u64));
            if let Some(average) = average {
                finding = finding.figure(Figure::count("readings that the mean is worth", average.effective.round() as u64));
            }
            if outside > 0 {
                finding = finding
                    .advise("Look at the plot for when: a step, a burst that repeats, or a slow rise point to different causes.");
            }
            made.push(finding);
        }
        _ if summary.below_floor * 2 > all => {
            let floor = points.iter().find_map(|p| match p.current {
                Level::BelowFloor { floor } => Some(floor),
                _ => None,
            });
            let floor = floor.map_or("its floor".into(), |f| f.to_string());
            let severity = if expect.is_some() { Severity::Anomaly } else { Severity::Undecided };
            let sentence = format!(
                "In {} of {all} readings the current is below {floor} and cannot be told from zero with this instrument: the unit may be asleep or without power.",
                summary.below_floor
            );
            made.push(Finding::new("log-below-floor", severity, sentence).advise(
                "Put a meter in series on a low range, or measure a regulator's output with the meter in volts, to tell asleep from dead. Or charge a known capacitor, take the supply away and time how fast its voltage falls; or log for two periods of a wake-up at least: pulses that come again are a unit asleep.",
            ));
        }
        _ if summary.values == 1 => {
            let sentence = format!("The log has one reading of {all}: too few to say anything of a course.");
            made.push(Finding::new("log-too-few", Severity::Undecided, sentence).advise("Log for longer, or more often."));
        }
        _ => {}
    }
    if summary.overload > 0 {
        let sentence = format!("{} of {all} readings are beyond the meter's range.", summary.overload);
        made.push(
            Finding::new("log-overload", Severity::Anomaly, sentence).figure(Figure::count("overload", summary.overload as u64)),
        );
    }
    if let Some(told) = story::tell(points) {
        made.extend(happened(points, &told, summary.mean.filter(|_| summary.below_floor == 0)));
    }
    made
}

/// Readings outside of every declared state are told from this share on.
const CONTRADICTED: f64 = 0.05;

/// Of a log: where its readings contradict the declared states, by more than their
/// expanded uncertainty.
pub fn log_states(points: &[Point], states: &[(&str, Band)]) -> Vec<Finding> {
    strayed(points, states).into_iter().chain(unvisited(points, states)).collect()
}

/// A declared state that the log never shows, three readings in a row.
fn unvisited(points: &[Point], states: &[(&str, Band)]) -> Option<Finding> {
    let inside = |p: &Point, s: Band| {
        !matches!(p.current, Level::Missing | Level::Overload) && series::outside(std::slice::from_ref(p), s) == 0
    };
    if points.len() < LEAST {
        return None;
    }
    let never: Vec<String> = states
        .iter()
        .filter(|(_, s)| !points.iter().any(|p| inside(p, *s)))
        .map(|(name, s)| format!("{name} ({})", band(*s)))
        .collect();
    let (last, first) = (points.last()?, points.first()?);
    let seen = spelled((last.at - first.at).0, Unit::Second);
    (!never.is_empty() && never.len() < states.len()).then(|| {
        let sentence = format!("In {seen} no reading lies in the declared state {}.", never.join(", nor in "));
        Finding::new("log-state-missing", Severity::Note, sentence)
            .advise("If the unit goes there at times, log for longer: over two of its periods at least. If it should have gone there, look for what keeps it.")
    })
}

/// Fewer readings say nothing of what did not come.
const LEAST: usize = 20;

fn strayed(points: &[Point], states: &[(&str, Band)]) -> Option<Finding> {
    let states: Vec<Band> = states.iter().map(|(_, s)| *s).collect();
    let judged: Vec<Point> = points.iter().filter(|p| p.current != Level::Missing).copied().collect();
    let outside: Vec<bool> =
        judged.iter().map(|p| states.iter().all(|s| series::outside(std::slice::from_ref(p), *s) > 0)).collect();
    // A single reading on the way from one state to another was part of its time in each.
    let on_its_way = |i: usize| {
        let beside = i.checked_sub(1).and_then(|before| Some((outside.get(before)?, outside.get(i + 1)?)));
        let value = |i: usize| judged.get(i).and_then(|p| p.current.value()).map(|v| v.0);
        matches!(beside, Some((false, false)))
            && i.checked_sub(1)
                .and_then(|before| Some((value(i)? - value(before)?) * (value(i + 1)? - value(i)?)))
                .is_some_and(|s| s > 0.0)
    };
    let strays: Vec<Point> =
        judged.iter().enumerate().filter(|(i, _)| outside.get(*i) == Some(&true) && !on_its_way(*i)).map(|(_, p)| *p).collect();
    let (all, out) = (judged.len(), strays.len());
    if states.is_empty() || (out as f64) <= CONTRADICTED * all as f64 {
        return None;
    }
    let bands: Vec<String> = states.iter().map(|s| band(*s)).collect();
    let count = if out == all { format!("None of {all} readings lies") } else { format!("{} of {all} readings lie", all - out) };
    let strayed = series::summarise(&strays);
    let between = strayed.least.zip(strayed.most).map_or(String::new(), |(low, high)| {
        format!("; those outside are from {} to {}", three(low.0.0, Unit::Ampere), three(high.0.0, Unit::Ampere))
    });
    let sentence = format!("{count} in a declared state ({}){between}.", bands.join(", "));
    // Where most of the log is elsewhere, the unit is not as it was declared.
    let severity = if out * 2 > all && strayed.values * 2 > all { Severity::Anomaly } else { Severity::Note };
    Some(
        Finding::new("log-states-contradicted", severity, sentence)
            .advise("Look at the plot, and declare the states anew where the unit is as it should be.")
            .figure(Figure::count("readings outside of every state", out as u64))
            .figure(Figure::count("readings judged", all as u64)),
    )
}

/// So many changes are named one by one.
const NAMED: usize = 4;

fn level(told: &Told, index: usize) -> String {
    match told.levels.get(index) {
        Some(Middle::At(middle)) => three(middle.0, Unit::Ampere),
        Some(Middle::BelowFloor(floor)) => format!("below {floor} (the floor of this instrument)"),
        None => "a level without readings".into(),
    }
}

/// By how much the current changes from one stay to the next, where both have values.
/// What shifts every reading alike cancels in the difference; what is a share of it is a
/// share of the difference (JCGM 100:2008, F.1.2).
fn size(points: &[Point], before: &Visit, after: &Visit) -> String {
    let stay = |from: Seconds, to: Seconds| {
        let own = points.iter().filter(|p| p.at >= from && p.at < to);
        let known: Vec<(f64, f64)> = own
            .filter_map(|p| match p.current {
                Level::Known { value, u } => Some((value.0, u.0)),
                _ => None,
            })
            .collect();
        let share = known.iter().map(|(v, u)| (u / v.abs()).min(1.0)).fold(0.0, f64::max);
        average(&known.iter().map(|k| k.0).collect::<Vec<_>>()).map(|a| (a.mean, a.u, share))
    };
    let (Some(a), Some(b)) = (stay(before.from, before.to), stay(after.from, after.to)) else { return String::new() };
    let by = (b.0 - a.0).abs();
    let expanded = 2.0 * a.1.hypot(b.1).hypot(by * a.2.max(b.2));
    format!(" (by {})", with_uncertainty(by, expanded, Unit::Ampere))
}

/// What happened: steps, bursts, a drift. Nothing where the current was steady.
/// `mean`: of the log, where all of it has values.
fn happened(points: &[Point], told: &Told, mean: Option<Amperes>) -> Option<Finding> {
    match &told.story {
        Story::Steady => None,
        Story::Drifts(trend) => {
            let seconds = told.visits.last()?.to.0 - told.visits.first()?.from.0;
            let way = if trend.slope > 0.0 { "rises" } else { "falls" };
            let p = if trend.p < 1e-4 { "less than 0.0001".into() } else { format!("{:.4}", trend.p) };
            let hour = 3600.0;
            let sentence = format!(
                "The current {way} slowly, by {} in an hour (95 % interval {} to {}); over this log by {}. The chance of such an order of readings without a trend is {p}.",
                three((trend.slope * hour).abs(), Unit::Ampere),
                three((trend.within.0 * hour).abs().min((trend.within.1 * hour).abs()), Unit::Ampere),
                three((trend.within.0 * hour).abs().max((trend.within.1 * hour).abs()), Unit::Ampere),
                three((trend.slope * seconds).abs(), Unit::Ampere),
            );
            Some(
                Finding::new("log-drift", Severity::Note, sentence)
                    .advise("Warming up, a capacitor that forms, or a leak that grows: log on until it settles, and again with a part at a time cooled. The instruments drift while they warm up, too.")
                    .figure(
                        Figure::quantity("change in an hour", trend.slope * hour, Unit::Ampere, None)
                            .within(trend.within.0 * hour, trend.within.1 * hour, 0.95),
                    )
                    .figure(Figure::count("points that the trend rests on", trend.points as u64)),
            )
        }
        Story::Bursts(bursts) => Some(burst(points, told, bursts, mean)),
        Story::Steps | Story::Wanders => {
            let changes: Vec<String> = told
                .visits
                .windows(2)
                .filter_map(|pair| match pair {
                    [a, b] if a.level != b.level => Some(format!(
                        "from {} to {} at {}{}",
                        level(told, a.level),
                        level(told, b.level),
                        spelled(b.from.0, Unit::Second),
                        size(points, a, b)
                    )),
                    _ => None,
                })
                .collect();
            let count = changes.len();
            let named = changes.iter().take(NAMED).cloned().collect::<Vec<_>>().join("; ");
            let more = if count > NAMED { format!("; and {} more", count - NAMED) } else { String::new() };
            let levels = told.levels.len();
            let (code, sentence, advice) = if told.story == Story::Steps {
                (
                    "log-step",
                    format!("The current steps {named}{more}."),
                    "Look for what happens at that time: a part that starts or drops out, a latch-up, a connection that moves.",
                )
            } else {
                (
                    "log-states",
                    format!("The current goes to and fro between {levels} levels, {count} changes in all: {named}{more}."),
                    "Note what goes with it (heat, touch, another load): a change without a pattern is a connection or a part that comes and goes.",
                )
            };
            Some(
                Finding::new(code, Severity::Note, sentence)
                    .advise(advice)
                    .figure(Figure::count("levels", levels as u64))
                    .figure(Figure::count("changes", count as u64)),
            )
        }
    }
}

fn burst(points: &[Point], told: &Told, bursts: &Bursts, measured: Option<Amperes>) -> Finding {
    let (duty, u) = bursts.duty;
    let (period, period_u) = bursts.period;
    let between = between(points, told, bursts);
    let rest = match (between, bursts.level) {
        (Some((rest, expanded)), 1) => with_uncertainty(rest.0, expanded.0, Unit::Ampere),
        (_, levels @ 0..=2) => (0..levels).map(|l| level(told, l)).collect::<Vec<_>>().join(" and "),
        (_, levels) => format!("{levels} levels from {} to {}", level(told, 0), level(told, levels - 1)),
    };
    let even = if bursts.even { "every" } else { "at uneven times, half of them within" };
    let sentence = format!(
        "Bursts of {} for {} {even} {} above {rest}: {} were seen whole, {} of the time.",
        level(told, bursts.level),
        with_uncertainty(bursts.lasts.0.0, 2.0 * bursts.lasts_u.0, Unit::Second),
        with_uncertainty(period.0, 2.0 * period_u.0, Unit::Second),
        bursts.count,
        with_uncertainty(duty, 2.0 * u, Unit::Percent),
    );
    // What was measured goes before what two levels and a duty make of it.
    let mean = measured.map(|m| (m.0, false)).or(
        match (told.levels.get(bursts.level), bursts.level.checked_sub(1).and_then(|l| told.levels.get(l))) {
            (Some(Middle::At(high)), Some(Middle::At(low))) => Some((high.0 * duty + low.0 * (1.0 - duty), false)),
            (Some(Middle::At(high)), Some(Middle::BelowFloor(floor))) => Some((high.0 * duty + floor.0 * (1.0 - duty), true)),
            _ => None,
        },
    );
    let alive = between.is_some_and(|(rest, expanded)| rest > expanded && rest.0 < SLEEP * peak(told, bursts));
    let mut advice = String::from(if alive {
        "Between the bursts it draws little, and more than nothing: the unit is asleep and wakes, and is not dead."
    } else if matches!(told.levels.first(), Some(Middle::BelowFloor(_))) && bursts.even {
        "Pulses that come again above a current too small to be seen: the unit is asleep and wakes, and is not dead."
    } else {
        "A unit that wakes and sleeps, or one that starts again and again: compare the period with what it should be."
    });
    if let Some((mean, most)) = mean.filter(|(m, _)| *m > 0.0) {
        let life = crate::analysis::battery::life(crate::units::AmpereHours(1.0), Amperes(mean));
        advice.push_str(&format!(
            " Each ampere-hour of a battery lasts {} {:.0} h at this duty; that is the capacity which it has at this drain, and its self-discharge is left out.",
            if most { "at least" } else { "about" },
            life.0 / 3600.0
        ));
    }
    let made = Finding::new("log-bursts", Severity::Note, sentence).advise(advice);
    let made = match between {
        Some((rest, expanded)) => {
            made.figure(Figure::quantity("current between the bursts", rest.0, Unit::Ampere, Some(expanded.0)))
        }
        None => made,
    };
    made.figure(Figure::count("bursts seen whole", bursts.count as u64))
        .figure(Figure::quantity("length of a burst", bursts.lasts.0.0, Unit::Second, Some(2.0 * bursts.lasts_u.0)))
        .figure(Figure::quantity("period", period.0, Unit::Second, Some(2.0 * period_u.0)))
        .figure(Figure::quantity("share of the time", duty, Unit::Percent, Some(2.0 * u)))
}

/// A unit that draws less than this share of its bursts between them is asleep there.
const SLEEP: f64 = 0.1;

fn peak(told: &Told, bursts: &Bursts) -> f64 {
    match told.levels.get(bursts.level) {
        Some(Middle::At(high)) => high.0,
        _ => 0.0,
    }
}

/// Mean current between the bursts with its expanded uncertainty (k = 2): the instrument's,
/// which is common to all readings, and that of the mean. The first and the last reading
/// of each stay may be part of a burst. `None` where one of the others has no value.
fn between(points: &[Point], told: &Told, bursts: &Bursts) -> Option<(Amperes, Amperes)> {
    let mut values = Vec::new();
    let mut instrument = 0.0_f64;
    for visit in told.visits.iter().filter(|v| v.level < bursts.level) {
        let own: Vec<&Point> = points.iter().filter(|p| p.at >= visit.from && p.at < visit.to).collect();
        for point in own.get(1..own.len().saturating_sub(1)).unwrap_or(&[]) {
            match point.current {
                Level::Known { value, u } => {
                    values.push(value.0);
                    instrument = instrument.max(u.0);
                }
                Level::Missing => {}
                Level::BelowFloor { .. } | Level::Overload => return None,
            }
        }
    }
    let mean = average(&values)?;
    Some((Amperes(mean.mean), Amperes(2.0 * instrument.hypot(mean.u))))
}

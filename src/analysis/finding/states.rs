//! Which states the ends of many starts show, and whether the declared ones fit.

use super::{Figure, Finding, Severity, three};
use crate::analysis::Level;
use crate::analysis::start::Band;
use crate::analysis::states::declared::{Contradiction, contradictions, merged};
use crate::analysis::states::{self, Place};
use crate::units::{Unit, with_uncertainty};

/// Of the currents at the ends of starts: where they contradict the declared
/// bands, and then how many distinct levels there are. `bands` are the declared ones with their names.
pub fn states(ends: &[Level], bands: &[(&str, Band)]) -> Vec<Finding> {
    let mut made = Vec::new();
    let Some(found) = states::find(ends) else { return made };
    let plain: Vec<Band> = bands.iter().map(|(_, band)| *band).collect();
    let found = merged(&found, &plain);
    let contradicted = contradictions(&found, &plain);
    // Declared states that fit are told by the findings on the starts themselves.
    if found.states.len() > 1 && (bands.is_empty() || !contradicted.is_empty()) {
        let told: Vec<String> = found
            .states
            .iter()
            .map(|s| {
                let share = super::power::spelled(s.share, Unit::Percent);
                match s.place {
                    Place::BelowFloor { floor } => {
                        format!("below {floor}, the floor of this instrument ({share})")
                    }
                    Place::At { middle, within, u, .. } => {
                        let scatter = (within.1.0 - within.0.0) / 2.0;
                        format!("{} ({share})", with_uncertainty(middle.0, scatter.hypot(2.0 * u.0), Unit::Ampere))
                    }
                }
            })
            .collect();
        let sentence = format!("The current at the end of a start has {} distinct levels: {}.", told.len(), told.join("; "));
        let mut finding = Finding::new("starts-levels", Severity::Note, sentence);
        for state in &found.states {
            let name = match state.place {
                Place::BelowFloor { .. } => "share below the floor".into(),
                Place::At { middle, .. } => format!("share near {}", three(middle.0, Unit::Ampere)),
            };
            finding = finding.figure(Figure::quantity(&name, state.share, Unit::Percent, None).within(
                state.share_within.0,
                state.share_within.1,
                states::CONFIDENCE,
            ));
        }
        if matches!(found.states.first().map(|s| s.place), Some(Place::BelowFloor { .. })) {
            finding = finding.advise(
                "Below the floor is asleep or dead: a meter in series on a low range, bypassed while the unit starts, tells; so does a known capacitor that feeds it and is timed as it falls, or a log over two periods of a wake-up at least.",
            );
        }
        made.push(finding);
    }
    for contradiction in contradicted {
        let sentence = match contradiction {
            Contradiction::TwoInOne { band, levels } => format!(
                "The declared state {} holds two distinct levels, {} and {}: they may be two states.",
                bands.get(band).map_or("", |(name, _)| name),
                three(levels.0.0, Unit::Ampere),
                three(levels.1.0, Unit::Ampere)
            ),
            Contradiction::Outside { level, share } => format!(
                "{} of the starts end near {}, which lies in none of the declared states.",
                super::power::spelled(share, Unit::Percent),
                three(level.0, Unit::Ampere)
            ),
        };
        made.push(
            Finding::new("starts-states-contradicted", Severity::Note, sentence)
                .advise("Look at the distribution in the report, and declare the states anew where they are known."),
        );
    }
    made
}

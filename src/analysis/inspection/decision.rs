//! A lot by what came of its parts: accepted, refused, or on hold.

/// When the taking of parts ends.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Stops {
    /// When the whole sample has been judged.
    AtTheEnd,
    /// As soon as the lot is refused, whatever the rest of the sample is.
    WhenDecided,
}

impl Stops {
    /// All, with their names in a lot file.
    pub const ALL: [(&'static str, Stops); 2] = [("at the end", Stops::AtTheEnd), ("when decided", Stops::WhenDecided)];

    /// Its name.
    pub fn name(self) -> &'static str {
        Self::ALL.iter().find(|(_, s)| *s == self).map_or("at the end", |(name, _)| name)
    }
}

/// How a lot is sampled and decided, by attributes: a sampling plan comes down to this.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Sampling {
    /// How many parts are judged; all of them in 100 % inspection.
    pub sample: u32,
    /// The lot is accepted with up to so many nonconforming parts.
    pub accept: u32,
    /// It is refused from so many on.
    pub reject: u32,
    /// When the taking of parts ends.
    pub stops: Stops,
}

/// The parts of a lot, counted. What is in none of the counts is not in the sample.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Count {
    /// Judged against their limits: pass, conditional pass, conditional fail, fail.
    pub judged: u32,
    /// Of these: fail and conditional fail.
    pub nonconforming: u32,
    /// The instrument was not adequate, or gave no reading.
    pub not_adequate: u32,
    /// Measured after the last good control before one that failed, and not again since.
    pub doubtful: u32,
    /// Left out by the operator.
    pub skipped: u32,
    /// Not yet measured.
    pub open: u32,
    /// By how many parts a sample falls short, because too many of the lot were left out.
    pub short: u32,
}

/// What came of a lot.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Decision {
    /// It is accepted.
    Accepted,
    /// It is refused.
    Refused,
    /// It cannot be decided yet.
    OnHold,
}

impl Decision {
    /// All.
    pub const ALL: [Decision; 3] = [Decision::Accepted, Decision::Refused, Decision::OnHold];

    /// As record and report name it.
    pub fn name(self) -> &'static str {
        match self {
            Decision::Accepted => "accepted",
            Decision::Refused => "refused",
            Decision::OnHold => "on hold",
        }
    }
}

impl Sampling {
    /// Every part of a lot, accepted with up to `accept` nonconforming ones.
    pub fn every(quantity: u32, accept: u32) -> Self {
        Self { sample: quantity, accept, reject: accept.saturating_add(1), stops: Stops::AtTheEnd }
    }

    /// Whether no further part can change what has been decided, and the plan stops then.
    pub fn is_over(&self, count: &Count) -> bool {
        self.stops == Stops::WhenDecided && count.nonconforming >= self.reject
    }

    /// The decision, and why, in a sentence without its full stop. Refused by what is
    /// certain, even where other parts are open; accepted only where nothing is. `held` says
    /// why the lot cannot be accepted whatever its parts are, as a control that failed.
    pub fn decide(&self, count: &Count, held: Option<&str>) -> (Decision, String) {
        let Count { judged, nonconforming, not_adequate, doubtful, skipped, open, short } = *count;
        let of = format!("{nonconforming} nonconforming of {judged} judged");
        let aside = if skipped > 0 { format!("; {skipped} left out by the operator count for nothing") } else { String::new() };
        if nonconforming >= self.reject {
            return (Decision::Refused, format!("{of}; refused from {} on{aside}", self.reject));
        }
        let mut why: Vec<String> = held.map(str::to_owned).into_iter().collect();
        let parts = |n: u32| if n == 1 { "1 part".to_owned() } else { format!("{n} parts") };
        if doubtful > 0 {
            why.push(format!("{} measured since the last good control must be measured again", parts(doubtful)));
        }
        if not_adequate > 0 {
            why.push(format!("the instrument is not adequate for {}, or gave no reading", parts(not_adequate)));
        }
        if open > 0 {
            why.push(format!("{} not measured yet", parts(open)));
        }
        if short > 0 {
            why.push(format!("the sample of {} is short by {short}", self.sample));
        }
        if judged == 0 && why.is_empty() {
            why.push("no part was judged".to_owned());
        }
        if !why.is_empty() {
            return (Decision::OnHold, format!("{}; {of}{aside}", why.join("; ")));
        }
        (Decision::Accepted, format!("{of}; accepted with up to {}{aside}", self.accept))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// NEED 3.1: lot of 1000, level II, AQL 1.5 %: 80 are taken, 3 accept, 4 refuse
    /// (ISO 2859-1, by a public table).
    #[test]
    fn a_lot_is_decided_by_its_numbers() {
        let plan = Sampling { sample: 80, accept: 3, reject: 4, stops: Stops::AtTheEnd };
        let count = |judged, nonconforming| Count { judged, nonconforming, ..Count::default() };
        assert_eq!(plan.decide(&count(80, 3), None).0, Decision::Accepted);
        assert_eq!(plan.decide(&count(80, 4), None).0, Decision::Refused);
        assert_eq!(plan.decide(&Count { open: 40, ..count(40, 4) }, None).0, Decision::Refused, "certain already");
        assert_eq!(plan.decide(&Count { open: 40, ..count(40, 0) }, None).0, Decision::OnHold);
        assert_eq!(plan.decide(&Count { doubtful: 1, ..count(79, 0) }, None).0, Decision::OnHold);
        assert_eq!(plan.decide(&Count { not_adequate: 1, ..count(79, 0) }, None).0, Decision::OnHold);
        assert_eq!(
            plan.decide(&Count { skipped: 1, short: 1, ..count(79, 0) }, None).0,
            Decision::OnHold,
            "one was not replaced"
        );
        assert_eq!(plan.decide(&Count { skipped: 1, ..count(80, 0) }, None).0, Decision::Accepted);
        assert_eq!(plan.decide(&count(80, 0), Some("the control failed")).0, Decision::OnHold);
        assert!(!plan.is_over(&count(40, 4)), "it goes to its end");
        assert!(Sampling { stops: Stops::WhenDecided, ..plan }.is_over(&count(40, 4)));
    }
}

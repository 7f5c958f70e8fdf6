//! The course that good starts take, and where another start leaves it.
//!
//! Holds always: the band holds for the whole course at once, and not for each moment
//! by itself, where one good start in twenty would leave it somewhere. Its width is set
//! by how far each good start strays from the others, left out in its turn; the tenth
//! that strays most is let go, so that one odd good start does not hide everything. Of
//! good starts to come about one in ten leaves it (Vovk, Gammerman and Shafer 2005,
//! Algorithmic Learning in a Random World, chapter 2: conformal prediction).

use crate::analysis::Level;
use crate::analysis::rank::median;
use crate::analysis::start::Look;
use crate::units::{Amperes, Seconds};

/// From where the time of a start is counted.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Alignment {
    /// From switching on.
    SwitchOn,
    /// From the first reading above half of the good starts' plateau.
    FirstRise,
}

/// Fewer good starts than this make no envelope.
pub const FEWEST: usize = 10;
/// More good starts than this make it no better.
pub const MOST: usize = 64;

/// The envelope of good starts.
#[derive(Clone, Debug, PartialEq)]
pub struct Envelope {
    /// How many good starts it rests on.
    pub starts: usize,
    /// From where its time is counted.
    pub alignment: Alignment,
    /// Moments in order.
    pub moments: Vec<Moment>,
    /// Half its width, in spreads.
    pub reach: f64,
    /// Linear below and logarithmic above this current.
    scale: f64,
    half_plateau: f64,
}

/// One moment of an envelope.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Moment {
    /// Since switching on, or since the first rise.
    pub at: Seconds,
    /// The median of the good starts.
    pub median: Amperes,
    /// The lower end.
    pub low: Amperes,
    /// The upper end.
    pub high: Amperes,
    middle: f64,
    spread: f64,
    /// The standard uncertainty of a reading there, on the scale.
    u: f64,
}

/// Where a start leaves the envelope for the first time.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Departure {
    /// The first moment outside, on the envelope's time.
    pub at: Seconds,
    /// The time from one moment to the next: so much sooner it may have been.
    pub gap: Seconds,
    /// What was read.
    pub current: Level,
    /// What good starts draw there: lower end, upper end.
    pub good: (Amperes, Amperes),
}

/// Moments of an envelope, at most.
const FINEST: f64 = 500.0;

/// What each start read about one moment: least, largest, uncertainty.
type Column = Vec<Option<(f64, f64, f64)>>;

/// A start on the scale of an envelope: time, value, its uncertainty there.
type Course = Vec<(f64, f64, f64)>;

impl Envelope {
    /// Of at most [`MOST`] of these good starts; `None` where they are fewer than
    /// [`FEWEST`], or too little of them was read.
    pub fn of(good: &[&[Look]], alignment: Alignment) -> Option<Self> {
        let good = good.get(..good.len().min(MOST))?;
        if good.len() < FEWEST {
            return None;
        }
        let known = |looks: &[Look]| -> Vec<(f64, f64)> {
            let pair = |l: &Look| match l.current {
                Level::Known { value, u } => Some((value.0, u.0)),
                _ => None,
            };
            looks.iter().filter_map(pair).collect()
        };
        let ends: Vec<f64> = good
            .iter()
            .filter_map(|looks| {
                median(&known(looks.get(looks.len() - looks.len().div_ceil(4)..)?).iter().map(|k| k.0).collect::<Vec<_>>())
            })
            .collect();
        let plateau = median(&ends).filter(|p| *p > 0.0)?;
        let least = good.iter().flat_map(|l| known(l)).map(|(_, u)| u).filter(|u| *u > 0.0).fold(f64::INFINITY, f64::min);
        // Logarithmic from where a reading is ten times its uncertainty.
        let scale = (10.0 * least).min(plateau / 10.0);
        let courses: Vec<Course> =
            good.iter().filter_map(|looks| course(looks, alignment, scale, plateau / 2.0)).filter(|c| c.len() >= 4).collect();
        let gaps: Vec<f64> = courses
            .iter()
            .flat_map(|c| c.windows(2).filter_map(|p| Some(p.last()?.0 - p.first()?.0)).collect::<Vec<_>>())
            .collect();
        let end = median(&courses.iter().filter_map(|c| c.last()).map(|l| l.0).collect::<Vec<_>>())?;
        // No finer than a picture shows, so that a long watch does not take for ever.
        let gap = median(&gaps).filter(|g| *g > 0.0 && g.is_finite())?.max(end / FINEST);
        if courses.len() < FEWEST {
            return None;
        }
        // Each course at every moment: what it reads about then, from one gap before to one after,
        // so that a reading which comes a little sooner or later is none outside.
        let moments: Vec<f64> = (0..=(end / gap).floor() as usize).map(|i| i as f64 * gap).collect();
        let columns: Vec<Column> = moments.iter().map(|at| courses.iter().map(|c| around(c, *at, gap)).collect()).collect();
        let whole = fit(&columns, None);
        let mut strays: Vec<f64> = (0..courses.len())
            .map(|left_out| {
                let others = fit(&columns, Some(left_out));
                let far = |(column, other): (&Column, &Option<(f64, f64)>)| -> f64 {
                    match (column.get(left_out).copied().flatten(), other) {
                        (Some((low, high, u)), Some((middle, spread))) => outside(low, high, *middle) / spread.hypot(u),
                        _ => 0.0,
                    }
                };
                columns.iter().zip(&others).map(far).fold(0.0, f64::max)
            })
            .collect();
        strays.sort_by(f64::total_cmp);
        let reach = strays.get(strays.len() - 1 - strays.len() / 10).copied()?.max(1.0);
        let back = |y: f64| Amperes(y.sinh() * scale);
        let moments = moments
            .iter()
            .zip(whole.iter().zip(&columns))
            .filter_map(|(at, (fitted, column))| {
                let (middle, spread) = (*fitted)?;
                let usual = median(&column.iter().flatten().map(|s| 0.5 * (s.0 + s.1)).collect::<Vec<_>>())?;
                let half = reach * spread;
                let (low, high) = (back(middle - half), back(middle + half));
                let u = median(&column.iter().flatten().map(|s| s.2).collect::<Vec<_>>())?;
                Some(Moment { at: Seconds(*at), median: back(usual), low, high, middle, spread, u })
            })
            .collect();
        Some(Self { starts: courses.len(), alignment, moments, reach, scale, half_plateau: plateau / 2.0 })
    }

    /// Whether a start ever rises above half of the good ones' plateau.
    pub fn rises(&self, looks: &[Look]) -> bool {
        zero(looks, Alignment::FirstRise, self.half_plateau).is_some()
    }

    /// Where a start leaves the envelope; `None` where it never does, as far as it was
    /// read. With [`Alignment::FirstRise`] a start that never rises has no time.
    pub fn departure(&self, looks: &[Look]) -> Option<Departure> {
        self.left(looks, |m, u| self.reach * m.spread.hypot(u))
    }

    /// The same of a start in another run, or of another unit: two instruments may be apart
    /// by their errors, which are the same in all starts of one run and so not in its spread,
    /// and two units by the share `room`.
    pub fn departure_of_another(&self, looks: &[Look], room: f64) -> Option<Departure> {
        self.left(looks, |m, u| self.reach * m.spread.hypot(u) + 2.0 * m.u.hypot(u) + room.ln_1p())
    }

    fn left(&self, looks: &[Look], reach: impl Fn(&Moment, f64) -> f64) -> Option<Departure> {
        let zero = zero(looks, self.alignment, self.half_plateau)?;
        let course = course(looks, self.alignment, self.scale, self.half_plateau)?;
        let gap = self.moments.get(1)?.at.0 - self.moments.first()?.at.0;
        // Judged moment by moment, as the good starts were.
        let left = self
            .moments
            .iter()
            .find(|m| around(&course, m.at.0, gap).is_some_and(|(low, high, u)| outside(low, high, m.middle) > reach(m, u)))?;
        let about = looks.iter().filter(|l| place(l.current, self.scale).is_some());
        let nearest = about.min_by(|a, b| {
            let far = |l: &Look| (l.at.0 - zero - left.at.0).abs();
            far(a).total_cmp(&far(b))
        })?;
        Some(Departure { at: left.at, gap: Seconds(gap), current: nearest.current, good: (left.low, left.high) })
    }
}

/// How far a span lies from a value.
fn outside(low: f64, high: f64, middle: f64) -> f64 {
    (low - middle).max(middle - high).max(0.0)
}

/// A reading on the scale, with its uncertainty there.
fn place(level: Level, scale: f64) -> Option<(f64, f64)> {
    match level {
        Level::Known { value, u } => Some(((value.0 / scale).asinh(), u.0 / scale.hypot(value.0))),
        // Anything from nought to the floor.
        Level::BelowFloor { floor } => {
            let top = (floor.0 / scale).asinh();
            Some((top / 2.0, top / 12_f64.sqrt()))
        }
        Level::Overload | Level::Missing => None,
    }
}

fn zero(looks: &[Look], alignment: Alignment, half_plateau: f64) -> Option<f64> {
    match alignment {
        Alignment::SwitchOn => Some(0.0),
        Alignment::FirstRise => looks.iter().find(|l| l.current.value().is_some_and(|v| v.0 >= half_plateau)).map(|l| l.at.0),
    }
}

fn course(looks: &[Look], alignment: Alignment, scale: f64, half_plateau: f64) -> Option<Course> {
    let zero = zero(looks, alignment, half_plateau)?;
    let seen = looks.iter().filter_map(|l| place(l.current, scale).map(|(y, u)| (l.at.0 - zero, y, u)));
    Some(seen.filter(|c| c.0 >= 0.0).collect())
}

/// The least and the largest value within one gap of a moment, and the uncertainty of
/// a reading there.
fn around(course: &Course, at: f64, gap: f64) -> Option<(f64, f64, f64)> {
    let near = course.iter().filter(|c| (c.0 - at).abs() <= gap * 1.000_1);
    near.fold(None, |made: Option<(f64, f64, f64)>, (_, y, u)| {
        Some(made.map_or((*y, *y, *u), |(low, high, v)| (low.min(*y), high.max(*y), v.max(*u))))
    })
}

/// Middle and spread at each moment, of all courses or without one of them.
fn fit(columns: &[Column], without: Option<usize>) -> Vec<Option<(f64, f64)>> {
    let of = |column: &Column| -> Option<(f64, f64)> {
        let kept = column.iter().enumerate().filter(|(i, _)| Some(*i) != without);
        let spans: Vec<(f64, f64, f64)> = kept.filter_map(|(_, s)| *s).collect();
        if spans.len() * 2 < column.len() {
            return None;
        }
        // The range and not a deviation: while some have risen and others not, there are
        // two values and nothing between.
        let least = spans.iter().map(|s| s.0).fold(f64::INFINITY, f64::min);
        let most = spans.iter().map(|s| s.1).fold(f64::NEG_INFINITY, f64::max);
        let u = median(&spans.iter().map(|s| s.2).collect::<Vec<_>>())?;
        Some((0.5 * (least + most), (0.5 * (most - least)).hypot(u).max(1e-9)))
    };
    columns.iter().map(of).collect()
}

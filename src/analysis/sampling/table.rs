//! Single sampling plans of ISO 2859-1:1999 for normal, tightened and reduced
//! inspection: tables 1, 2-A, 2-B and 2-C.
//!
//! In the tables an acceptance number depends only on the sum of the places of code
//! letter and AQL: that is how they are kept here. Levels, sizes and sequences are
//! from memory; the tests hold them to the rows that were read elsewhere.

use super::Plan;
use crate::units::Ratio;

/// How much is inspected: special levels for small samples, general ones otherwise.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[allow(missing_docs, reason = "they are the standard's names")]
pub enum Level {
    S1,
    S2,
    S3,
    S4,
    I,
    II,
    III,
}

/// Every level with its name, in the order of table 1.
pub const LEVELS: [(Level, &str); 7] = [
    (Level::S1, "S-1"),
    (Level::S2, "S-2"),
    (Level::S3, "S-3"),
    (Level::S4, "S-4"),
    (Level::I, "I"),
    (Level::II, "II"),
    (Level::III, "III"),
];

/// How strictly: the switching rules lead from one to another.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Inspection {
    /// Where a series begins.
    Normal,
    /// After bad lots.
    Tightened,
    /// After many good ones.
    Reduced,
}

impl Inspection {
    /// Its name in the standard.
    pub fn name(self) -> &'static str {
        match self {
            Self::Normal => "normal",
            Self::Tightened => "tightened",
            Self::Reduced => "reduced",
        }
    }
}

/// Code letters; S is reached by an arrow of tightened inspection alone.
const LETTERS: &[u8; 17] = b"ABCDEFGHJKLMNPQRS";

/// Sample sizes by letter, normal and tightened (tables 2-A, 2-B).
const SIZES: [u64; 17] = [2, 3, 5, 8, 13, 20, 32, 50, 80, 125, 200, 315, 500, 800, 1250, 2000, 3150];

/// Sample sizes by letter, reduced (table 2-C).
const REDUCED: [u64; 16] = [2, 2, 2, 3, 5, 8, 13, 20, 32, 50, 80, 125, 200, 315, 500, 800];

/// The preferred AQLs: bad parts in 100. Above 10 they are nonconformities in 100
/// parts, of which a part may have several, and are not used here.
pub const AQLS: [f64; 16] = [0.010, 0.015, 0.025, 0.040, 0.065, 0.10, 0.15, 0.25, 0.40, 0.65, 1.0, 1.5, 2.5, 4.0, 6.5, 10.0];

/// Table 1: the largest lot of a row, and its letters for the seven levels.
const CODES: [(u64, &[u8; 7]); 15] = [
    (8, b"AAAAAAB"),
    (15, b"AAAAABC"),
    (25, b"AABBBCD"),
    (50, b"ABBCCDE"),
    (90, b"BBCCCEF"),
    (150, b"BBCDDFG"),
    (280, b"BCDEEGH"),
    (500, b"BCDEFHJ"),
    (1200, b"CCEFGJK"),
    (3200, b"CDEGHKL"),
    (10_000, b"CDFGJLM"),
    (35_000, b"CDFHKMN"),
    (150_000, b"DEGJLNP"),
    (500_000, b"DEGJMPQ"),
    (u64::MAX, b"DEHKNQR"),
];

/// A code letter, `A` to `R`, and `S`.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Letter(usize);

impl Letter {
    /// Of a lot (table 1). `None` for a lot of fewer than two parts.
    pub fn of(lot: u64, level: Level) -> Option<Self> {
        let row = CODES.iter().find(|(most, _)| lot <= *most).filter(|_| lot >= 2)?;
        let column = LEVELS.iter().position(|(l, _)| *l == level)?;
        let letter = row.1.get(column)?;
        LETTERS.iter().position(|l| l == letter).map(Self)
    }

    /// As it is written.
    pub fn name(self) -> char {
        LETTERS.get(self.0).map_or('?', |l| char::from(*l))
    }
}

/// One of the preferred AQLs.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Aql(usize);

impl Aql {
    /// The preferred one that this is, if it is one.
    pub fn of(share: Ratio) -> Option<Self> {
        AQLS.iter().position(|percent| (share.0 * 100.0 / percent - 1.0).abs() < 1e-9).map(Self)
    }

    /// The next smaller one.
    pub fn tighter(self) -> Option<Self> {
        self.0.checked_sub(1).map(Self)
    }

    /// As a share of bad parts.
    pub fn share(self) -> Ratio {
        Ratio(AQLS.get(self.0).map_or(f64::NAN, |percent| percent / 100.0))
    }
}

/// What stands in a cell of tables 2-A to 2-C.
enum Cell {
    /// An acceptance number.
    Accept(u64),
    /// The first plan above, with its own sample.
    Up,
    /// The first plan below.
    Down,
}

/// A plan as it is found, and by which letter.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Found {
    /// Of the lot.
    pub letter: Letter,
    /// Of the plan, where the table's arrows lead to another row.
    pub by: Letter,
    /// The plan, for a lot that is larger than its sample.
    pub plan: Plan,
}

/// The single plan for a lot's letter, arrows followed with the sample of the row
/// that they lead to (ISO 2859-1, 10.3).
pub fn plan(letter: Letter, aql: Aql, inspection: Inspection) -> Option<Found> {
    let mut row = letter.0;
    // An arrow leads on in its direction until a plan stands there: fewer steps than rows.
    for _ in LETTERS {
        match cell(row, aql.0, inspection) {
            Cell::Accept(accept) => {
                let sample = match inspection {
                    Inspection::Reduced => REDUCED.get(row),
                    Inspection::Normal | Inspection::Tightened => SIZES.get(row),
                }?;
                return Some(Found { letter, by: Letter(row), plan: Plan { sample: *sample, accept } });
            }
            Cell::Up => row = row.checked_sub(1)?,
            Cell::Down => row += 1,
        }
    }
    None
}

fn cell(row: usize, column: usize, inspection: Inspection) -> Cell {
    // First the place of acceptance number 0, then the steps that hold arrows, then
    // the acceptance numbers from 1 on.
    let (zero, last, arrows, numbers): (usize, usize, &[Cell], &[u64]) = match inspection {
        Inspection::Normal => (14, 15, &[Cell::Up, Cell::Down], &[1, 2, 3, 5, 7, 10, 14, 21]),
        Inspection::Tightened => (15, 16, &[Cell::Down, Cell::Down], &[1, 2, 3, 5, 8, 12, 18]),
        Inspection::Reduced => (14, 15, &[Cell::Up, Cell::Down], &[1, 2, 3, 4, 5, 6, 8, 10]),
    };
    let Some(beyond) = (row + column).checked_sub(zero) else { return Cell::Down };
    if beyond == 0 {
        return Cell::Accept(0);
    }
    match arrows.get(beyond - 1) {
        // Where nothing stands below, or above, the arrow leads the other way. Tightened
        // inspection has one plan in its last row, and R leads to it.
        Some(Cell::Down) if row == last || (row + 1 == last && last == 16 && beyond == 1) => Cell::Up,
        Some(Cell::Up) if row == 0 => Cell::Down,
        Some(Cell::Up) => Cell::Up,
        Some(_) => Cell::Down,
        None => numbers.get(beyond - 1 - arrows.len()).map_or(Cell::Up, |accept| Cell::Accept(*accept)),
    }
}

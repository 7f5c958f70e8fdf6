//! Two texts, line by line: what one has and the other has not.

/// A line that only one of two texts has, or that both have.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Line<'t> {
    /// Both.
    Both(&'t str),
    /// The first alone.
    A(&'t str),
    /// The second alone.
    B(&'t str),
}

/// Longer texts are not compared line by line.
const LONGEST: usize = 2000;

/// The lines of two texts in order, by their longest common part; `None` where they are too
/// long for that.
pub fn lines<'t>(a: &'t str, b: &'t str) -> Option<Vec<Line<'t>>> {
    let (a, b): (Vec<&str>, Vec<&str>) = (a.lines().collect(), b.lines().collect());
    if a.len() > LONGEST || b.len() > LONGEST {
        return None;
    }
    // common[i][j]: the longest common part of a from i on and b from j on.
    let mut common = vec![vec![0_u32; b.len() + 1]; a.len() + 1];
    let at = |table: &[Vec<u32>], i: usize, j: usize| table.get(i).and_then(|r| r.get(j)).copied().unwrap_or(0);
    for (i, x) in a.iter().enumerate().rev() {
        for (j, y) in b.iter().enumerate().rev() {
            let best = if x.trim_end() == y.trim_end() {
                at(&common, i + 1, j + 1) + 1
            } else {
                at(&common, i + 1, j).max(at(&common, i, j + 1))
            };
            if let Some(cell) = common.get_mut(i).and_then(|r| r.get_mut(j)) {
                *cell = best;
            }
        }
    }
    let (mut i, mut j, mut made) = (0, 0, Vec::new());
    loop {
        match (a.get(i), b.get(j)) {
            (Some(x), Some(y)) if x.trim_end() == y.trim_end() => {
                made.push(Line::Both(x));
                (i, j) = (i + 1, j + 1);
            }
            (Some(x), y) if y.is_none() || at(&common, i + 1, j) >= at(&common, i, j + 1) => {
                made.push(Line::A(x));
                i += 1;
            }
            (_, Some(y)) => {
                made.push(Line::B(y));
                j += 1;
            }
            (_, None) => return Some(made),
        }
    }
}

//! A sparse matrix with a fixed pattern, and its triangular factors.
//!
//! Who builds the circuit asks for a slot for each place that it will ever write
//! to; the values change, the pattern does not. The order of elimination is
//! sought once (Markowitz's count among the entries that are large enough in
//! their column), and kept as long as the multipliers stay moderate.
//!
//! Holds always: no memory is taken while factors are renewed in a known order.

/// Entries of a column that are smaller than this share of its largest are no pivots.
const THRESHOLD: f64 = 1e-3;
/// A multiplier above this means that the order no longer suits the values.
const MULTIPLIER: f64 = 1e5;
/// A pivot below this is none.
const NOTHING: f64 = 1e-40;

/// A column that cannot be solved for.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Singular(pub usize);

/// The matrix and its factors.
#[derive(Clone, Debug, Default)]
pub struct Matrix {
    size: usize,
    /// Row and column of each slot.
    places: Vec<(usize, usize)>,
    /// Values by slot; the last one takes what is written to ground.
    pub values: Vec<f64>,
    order: Order,
    ordered: bool,
    factors: Vec<f64>,
    inverse: Vec<f64>,
    work: Vec<f64>,
}

/// An order of elimination, with the pattern that it fills.
#[derive(Clone, Debug, Default)]
struct Order {
    rows: Vec<usize>,
    columns: Vec<usize>,
    /// For each step, where its entries begin; one more than steps.
    starts: Vec<usize>,
    /// For each step, where its pivot stands among the entries.
    pivots: Vec<usize>,
    /// The step whose column each entry belongs to, ascending in each row.
    entries: Vec<usize>,
    /// For each step, where its sources begin; one more than steps.
    feeds: Vec<usize>,
    /// Slots, and the step of their column.
    sources: Vec<(usize, usize)>,
}

impl Matrix {
    /// An empty matrix for `size` unknowns.
    pub fn new(size: usize) -> Self {
        Self { size, work: vec![0.0; size], inverse: vec![0.0; size], values: vec![0.0], ..Self::default() }
    }

    /// The slot of a place; the one for ground where a coordinate is `size`.
    /// Only before the first values are written.
    pub fn slot(&mut self, row: usize, column: usize) -> usize {
        if row >= self.size || column >= self.size {
            return usize::MAX;
        }
        self.places.iter().position(|place| *place == (row, column)).unwrap_or_else(|| {
            self.places.push((row, column));
            self.values.push(0.0);
            self.places.len() - 1
        })
    }

    /// The slot that ground's values go to, once all slots are known.
    pub fn ground(&self) -> usize {
        self.places.len()
    }

    /// Renews the factors from the values.
    ///
    /// # Errors
    /// The unknown that no equation determines.
    pub fn factor(&mut self) -> Result<(), Singular> {
        if self.ordered && self.renew() {
            return Ok(());
        }
        self.seek_order()?;
        if self.renew() {
            return Ok(());
        }
        // The order was made for these very values: a multiplier beyond bounds means that a pivot is nothing.
        Err(Singular(self.order.columns.first().copied().unwrap_or(0)))
    }

    fn renew(&mut self) -> bool {
        let order = &self.order;
        let (work, factors) = (&mut self.work, &mut self.factors);
        for step in 0..self.size {
            let (from, to) = (order.starts[step], order.starts[step + 1]);
            let entries = &order.entries[from..to];
            for entry in entries {
                work[*entry] = 0.0;
            }
            for (slot, column) in &order.sources[order.feeds[step]..order.feeds[step + 1]] {
                work[*column] += self.values[*slot];
            }
            let pivot = order.pivots[step];
            for (place, earlier) in (from..pivot).zip(&order.entries[from..pivot]) {
                let multiplier = work[*earlier] * self.inverse[*earlier];
                if multiplier.abs() > MULTIPLIER {
                    return false;
                }
                factors[place] = multiplier;
                if multiplier != 0.0 {
                    let (begin, end) = (order.pivots[*earlier] + 1, order.starts[*earlier + 1]);
                    for (factor, column) in factors[begin..end].iter().zip(&order.entries[begin..end]) {
                        work[*column] -= multiplier * factor;
                    }
                }
            }
            for (factor, column) in factors[pivot..to].iter_mut().zip(&order.entries[pivot..to]) {
                *factor = work[*column];
            }
            let value = factors[pivot];
            if value.abs() < NOTHING || !value.is_finite() {
                return false;
            }
            self.inverse[step] = 1.0 / value;
        }
        true
    }

    /// Solves for `right`, into `found` (both of `size` or longer).
    pub fn solve(&mut self, right: &[f64], found: &mut [f64]) {
        let order = &self.order;
        let work = &mut self.work;
        for step in 0..self.size {
            let (from, pivot) = (order.starts[step], order.pivots[step]);
            let mut sum = right[order.rows[step]];
            for (factor, column) in self.factors[from..pivot].iter().zip(&order.entries[from..pivot]) {
                sum -= factor * work[*column];
            }
            work[step] = sum;
        }
        for step in (0..self.size).rev() {
            let (pivot, to) = (order.pivots[step], order.starts[step + 1]);
            let mut sum = work[step];
            for (factor, column) in self.factors[pivot + 1..to].iter().zip(&order.entries[pivot + 1..to]) {
                sum -= factor * work[*column];
            }
            work[step] = sum * self.inverse[step];
        }
        for (step, column) in order.columns.iter().enumerate() {
            found[*column] = work[step];
        }
    }

    /// Seeks an order for the present values by eliminating once in full.
    fn seek_order(&mut self) -> Result<(), Singular> {
        let n = self.size;
        let mut full = vec![0.0; n * n];
        let mut filled = vec![false; n * n];
        for (slot, (row, column)) in self.places.iter().enumerate() {
            full[row * n + column] += self.values[slot];
            filled[row * n + column] = true;
        }
        let (mut rows, mut columns) = (Vec::with_capacity(n), Vec::with_capacity(n));
        let (mut open_rows, mut open_columns): (Vec<usize>, Vec<usize>) = ((0..n).collect(), (0..n).collect());
        while !open_columns.is_empty() {
            let Some((row, column)) = best_pivot(&full, &filled, n, &open_rows, &open_columns) else {
                self.ordered = false;
                return Err(Singular(open_columns[0]));
            };
            open_rows.retain(|r| *r != row);
            open_columns.retain(|c| *c != column);
            let pivot = full[row * n + column];
            for other in &open_rows {
                if !filled[other * n + column] {
                    continue;
                }
                let multiplier = full[other * n + column] / pivot;
                for c in &open_columns {
                    if filled[row * n + c] {
                        full[other * n + c] -= multiplier * full[row * n + c];
                        filled[other * n + c] = true;
                    }
                }
            }
            rows.push(row);
            columns.push(column);
        }
        self.note_order(rows, columns, &filled);
        Ok(())
    }

    fn note_order(&mut self, rows: Vec<usize>, columns: Vec<usize>, filled: &[bool]) {
        let n = self.size;
        let mut step_of_column = vec![0; n];
        for (step, column) in columns.iter().enumerate() {
            step_of_column[*column] = step;
        }
        let mut order = Order { starts: vec![0], feeds: vec![0], ..Order::default() };
        for (step, row) in rows.iter().enumerate() {
            for (other, column) in columns.iter().enumerate() {
                if other == step {
                    order.pivots.push(order.entries.len());
                    order.entries.push(other);
                } else if filled[row * n + column] {
                    order.entries.push(other);
                }
            }
            order.starts.push(order.entries.len());
            for (slot, (r, column)) in self.places.iter().enumerate() {
                if r == row {
                    order.sources.push((slot, step_of_column[*column]));
                }
            }
            order.feeds.push(order.sources.len());
        }
        order.rows = rows;
        order.columns = columns;
        self.factors = vec![0.0; order.entries.len()];
        self.order = order;
        self.ordered = true;
    }
}

/// Among the entries that are large enough in their column, the one that fills the
/// fewest places; of equals the larger.
fn best_pivot(full: &[f64], filled: &[bool], n: usize, rows: &[usize], columns: &[usize]) -> Option<(usize, usize)> {
    let count = |row: usize| columns.iter().filter(|c| filled[row * n + **c]).count();
    let counts: Vec<usize> = rows.iter().map(|r| count(*r)).collect();
    let mut best: Option<(usize, f64, usize, usize)> = None;
    for column in columns {
        let largest = rows.iter().map(|r| full[r * n + column].abs()).fold(0.0, f64::max);
        if largest < NOTHING {
            continue;
        }
        let high = rows.iter().filter(|r| filled[**r * n + column]).count();
        for (row, wide) in rows.iter().zip(&counts) {
            let value = full[row * n + column].abs();
            if value < THRESHOLD * largest {
                continue;
            }
            let cost = (wide - 1) * (high - 1);
            if best.is_none_or(|(least, size, ..)| cost < least || (cost == least && value > size)) {
                best = Some((cost, value, *row, *column));
            }
        }
    }
    best.map(|(_, _, row, column)| (row, column))
}

#[cfg(test)]
mod tests {
    use super::*;
    use rand::{RngExt, SeedableRng};

    /// Networks of conductances over twelve decades with voltage sources between nodes,
    /// and other values after the order was found: the product with what was found gives
    /// the right side again.
    #[test]
    fn networks_are_solved_whatever_their_scale() {
        for seed in 0..300_u64 {
            let mut random = rand_chacha::ChaCha8Rng::seed_from_u64(seed);
            let (nodes, branches) = (random.random_range(2..25_usize), random.random_range(0..3_usize));
            let n = nodes + branches;
            let mut matrix = Matrix::new(n);
            let mut conductances = Vec::new();
            for a in 0..nodes {
                for b in a..nodes {
                    if a == b || random.random_bool(0.2) {
                        conductances.push([(a, a), (b, b), (a, b), (b, a)].map(|(r, c)| (matrix.slot(r, c), r, c)));
                    }
                }
            }
            let mut ones = Vec::new();
            for branch in nodes..n {
                let node = branch - nodes;
                ones.push((matrix.slot(branch, node), branch, node));
                ones.push((matrix.slot(node, branch), node, branch));
            }
            for _ in 0..4 {
                let mut entries: Vec<(usize, usize, usize, f64)> = ones.iter().map(|(s, r, c)| (*s, *r, *c, 1.0)).collect();
                for four in &conductances {
                    let siemens = 10_f64.powf(random.random_range(-9.0..3.0));
                    let grounded = four[0].1 == four[1].1;
                    for (i, (slot, row, column)) in four.iter().enumerate().take(if grounded { 1 } else { 4 }) {
                        entries.push((*slot, *row, *column, if i < 2 { siemens } else { -siemens }));
                    }
                }
                matrix.values.fill(0.0);
                let wanted: Vec<f64> = (0..n).map(|_| random.random_range(-1.0..1.0)).collect();
                let (mut right, mut sizes) = (vec![0.0; n], vec![0.0_f64; n]);
                for (slot, row, column, value) in &entries {
                    matrix.values[*slot] += value;
                    right[*row] += value * wanted[*column];
                    sizes[*row] = sizes[*row].max((value * wanted[*column]).abs());
                }
                matrix.factor().unwrap();
                let mut found = vec![0.0; n];
                matrix.solve(&right, &mut found);
                let mut again = vec![0.0; n];
                for (_, row, column, value) in &entries {
                    again[*row] += value * found[*column];
                }
                for row in 0..n {
                    let missed = (again[row] - right[row]).abs();
                    assert!(missed <= 1e-9 * sizes[row], "seed {seed}: {} for {}, {}", again[row], right[row], sizes[row]);
                }
            }
        }
    }

    #[test]
    fn an_unknown_without_an_equation_is_named() {
        let mut matrix = Matrix::new(2);
        let (a, b) = (matrix.slot(0, 0), matrix.slot(1, 0));
        matrix.values[a] = 1.0;
        matrix.values[b] = 2.0;
        assert_eq!(matrix.factor(), Err(Singular(1)));
    }
}

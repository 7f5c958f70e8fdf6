//! Small dense least squares by Householder reflections: a matrix made triangular.
//!
//! Indices run over rows and columns whose numbers the caller has checked: a few
//! columns, and not fewer rows.

/// An upper triangle with what the same reflections made of the right-hand side.
#[derive(Clone, Debug)]
pub(super) struct Triangle {
    /// Rows of the upper triangle, each as long as there are columns.
    pub r: Vec<Vec<f64>>,
    /// The leading part of the turned right-hand side.
    pub turned: Vec<f64>,
    /// Norm of the rest of it: of the residuals of the linear problem.
    pub rest: f64,
}

/// Turns `rows` (each of `n` columns, not fewer rows than columns) to a triangle
/// (Golub and Van Loan, 5.2.1).
pub(super) fn triangle(mut rows: Vec<Vec<f64>>, rhs: Vec<f64>, n: usize) -> Triangle {
    // The right-hand side goes through the same reflections as one more column.
    for (row, right) in rows.iter_mut().zip(rhs) {
        row.push(right);
    }
    for k in 0..n {
        let norm = norm(rows.iter().skip(k).map(|row| row[k]));
        if norm == 0.0 {
            continue;
        }
        let alpha = if rows[k][k] > 0.0 { -norm } else { norm };
        let mut v: Vec<f64> = rows.iter().skip(k).map(|row| row[k] / norm).collect();
        v[0] -= alpha / norm;
        let length = v.iter().map(|x| x * x).sum::<f64>();
        for j in k + 1..=n {
            let dot: f64 = v.iter().zip(rows.iter().skip(k)).map(|(x, row)| x * row[j]).sum();
            for (x, row) in v.iter().zip(rows.iter_mut().skip(k)) {
                row[j] -= 2.0 * dot / length * x;
            }
        }
        rows[k][k] = alpha;
        for row in rows.iter_mut().skip(k + 1) {
            row[k] = 0.0;
        }
    }
    let rest = norm(rows.iter().skip(n).map(|row| row[n]));
    rows.truncate(n);
    let turned = rows.iter_mut().filter_map(Vec::pop).collect();
    Triangle { r: rows, turned, rest }
}

impl Triangle {
    /// The solution of R x = `rhs`; `None` where a diagonal element is zero.
    pub fn solve(&self, rhs: &[f64]) -> Option<Vec<f64>> {
        let n = self.r.len();
        let mut x = rhs.to_vec();
        for i in (0..n).rev() {
            let above: f64 = (i + 1..n).map(|j| self.r[i][j] * x[j]).sum();
            x[i] = (x[i] - above) / self.r[i][i];
        }
        x.iter().all(|v| v.is_finite()).then_some(x)
    }

    /// The solution of R' x = `rhs`; `None` where a diagonal element is zero.
    pub fn solve_transposed(&self, rhs: &[f64]) -> Option<Vec<f64>> {
        let n = self.r.len();
        let mut x = rhs.to_vec();
        for i in 0..n {
            let left: f64 = (0..i).map(|j| self.r[j][i] * x[j]).sum();
            x[i] = (x[i] - left) / self.r[i][i];
        }
        x.iter().all(|v| v.is_finite()).then_some(x)
    }

    /// The column that depends most on those before it, and what of its length is its
    /// own: 1 where it stands upright on them, 0 where they give it.
    pub fn weakest(&self) -> (usize, f64) {
        let own = |j: usize| {
            let length = norm((0..=j).map(|i| self.r[i][j]));
            if length > 0.0 { self.r[j][j].abs() / length } else { 0.0 }
        };
        (0..self.r.len()).map(|j| (j, own(j))).fold((0, f64::INFINITY), |a, b| if b.1 < a.1 { b } else { a })
    }

    /// (R' R)^-1; `None` where a diagonal element is zero.
    pub fn inverse_normal(&self) -> Option<Vec<Vec<f64>>> {
        let n = self.r.len();
        let unit = |j: usize| (0..n).map(|i| if i == j { 1.0 } else { 0.0 }).collect::<Vec<f64>>();
        (0..n).map(|j| self.solve(&self.solve_transposed(&unit(j))?)).collect()
    }
}

/// The Euclidean norm, without overflow.
pub(super) fn norm(values: impl Iterator<Item = f64> + Clone) -> f64 {
    let largest = values.clone().fold(0.0_f64, |a, v| a.max(v.abs()));
    if largest == 0.0 || !largest.is_finite() {
        return if values.into_iter().any(f64::is_nan) { f64::NAN } else { largest };
    }
    largest * values.map(|v| (v / largest).powi(2)).sum::<f64>().sqrt()
}

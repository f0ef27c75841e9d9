//! The best of a linear problem by exchange: of all rows a·z ≥ b, the few that hold z where its
//! last part is least. One row enters at a time, one leaves (the dual simplex method).

/// A row a·z ≥ b.
pub(super) type Row<const D: usize> = ([f64; D], f64);

/// Where the exchange ended.
pub(super) struct Held<const D: usize> {
    /// The best z.
    pub(super) z: [f64; D],
    /// The rows that hold it, by their keys.
    pub(super) rows: [usize; D],
    /// With what share each of them does; none is negative, the sum is one.
    pub(super) shares: [f64; D],
}

/// Exchanges taken before the answer so far is returned: far more than a trace needs.
const EXCHANGES_MAX: usize = 400;

/// Minimises the last part of z subject to a·z ≥ b for every row.
///
/// `start`: keys of rows whose shares are none of them negative. `row` gives the row of a key;
/// `worst` the key of the row that z breaks most, and by how much. Returns `None` where `start` is
/// none such. Readings in steps tie; should the exchange go in circles, what it has stands, and the
/// caller judges it.
pub(super) fn exchange<const D: usize>(
    start: [usize; D],
    row: impl Fn(usize) -> Row<D>,
    worst: impl Fn(&[f64; D]) -> (usize, f64),
) -> Option<Held<D>> {
    let mut rows = start;
    let mut left = EXCHANGES_MAX;
    loop {
        let held = rows.map(&row);
        let across: [[f64; D]; D] = std::array::from_fn(|i| held.map(|(a, _)| a[i]));
        let mut last = [0.0; D];
        last[D - 1] = 1.0;
        let shares = solve(across, last)?;
        if shares.iter().any(|s| *s < -1e-9) {
            return None;
        }
        let z = solve(held.map(|(a, _)| a), held.map(|(_, b)| b))?;
        let (entering, broken_by) = worst(&z);
        left -= 1;
        if broken_by <= 4.0 * f64::EPSILON || rows.contains(&entering) || left == 0 {
            return Some(Held { z, rows, shares });
        }
        let parts = solve(across, row(entering).0)?;
        let leaves = (0..D)
            .filter(|&j| parts[j] > 1e-12)
            .min_by(|&a, &b| (shares[a] / parts[a]).total_cmp(&(shares[b] / parts[b])))?;
        rows[leaves] = entering;
    }
}

/// Solves a few equations by elimination, the largest pivot first; `None` if they depend on each
/// other.
fn solve<const D: usize>(mut rows: [[f64; D]; D], mut right: [f64; D]) -> Option<[f64; D]> {
    for k in 0..D {
        let pivot = (k..D).max_by(|&i, &j| rows[i][k].abs().total_cmp(&rows[j][k].abs()))?;
        rows.swap(k, pivot);
        right.swap(k, pivot);
        if rows[k][k].abs() < 1e-15 || !rows[k][k].is_finite() {
            return None;
        }
        for i in k + 1..D {
            let part = rows[i][k] / rows[k][k];
            let upper = rows[k];
            rows[i].iter_mut().zip(upper).skip(k).for_each(|(x, above)| *x -= part * above);
            right[i] -= part * right[k];
        }
    }
    for k in (0..D).rev() {
        let known: f64 = (k + 1..D).map(|j| rows[k][j] * right[j]).sum();
        right[k] = (right[k] - known) / rows[k][k];
    }
    right.iter().all(|x| x.is_finite()).then_some(right)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_small_problem_is_solved_by_hand_and_by_exchange() {
        // Least t with t ≥ x, t ≥ −x and t ≥ 3 + x/2: x = −2, t = 2.
        let rows: [Row<2>; 3] = [([-1.0, 1.0], 0.0), ([1.0, 1.0], 0.0), ([-0.5, 1.0], 3.0)];
        let worst = |z: &[f64; 2]| {
            let broken = |k: usize| rows[k].1 - rows[k].0[0] * z[0] - rows[k].0[1] * z[1];
            let k = (0..3).max_by(|&a, &b| broken(a).total_cmp(&broken(b))).unwrap();
            (k, broken(k))
        };
        let held = exchange([0, 1], |k| rows[k], worst).unwrap();
        assert!((held.z[0] + 2.0).abs() < 1e-14 && (held.z[1] - 2.0).abs() < 1e-14);
        assert!(exchange([0, 2], |k| rows[k], worst).is_none());
    }
}

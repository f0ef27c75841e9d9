//! Integrals of smooth functions over panels, by Gauss and Legendre's rule.

use std::f64::consts::PI;
use std::sync::OnceLock;

/// Points of the rule in one panel: exact for polynomials up to degree 39, and for the normal
/// curve over a panel of two standard deviations to the last digit.
const POINTS: usize = 20;

/// The integral of `f` from the first to the last of `ends`, which are sorted here, panel by
/// panel. Put an end wherever `f` has a corner or turns sharply.
pub(crate) fn integral(f: impl Fn(f64) -> f64, ends: &mut [f64]) -> f64 {
    ends.sort_by(f64::total_cmp);
    let mut total = 0.0;
    for pair in ends.windows(2) {
        let (middle, half) = (0.5 * (pair[0] + pair[1]), 0.5 * (pair[1] - pair[0]));
        if half > 0.0 {
            let panel: f64 = rule().iter().map(|&(x, w)| w * f(middle + half * x)).sum();
            total += half * panel;
        }
    }
    total
}

/// Places and weights from `from` to `to` in panels no wider than `widest`.
pub(crate) fn nodes(from: f64, to: f64, widest: f64) -> Vec<(f64, f64)> {
    let panels = ((to - from) / widest).ceil().clamp(1.0, 1000.0);
    let half = 0.5 * (to - from) / panels;
    let mut places = Vec::new();
    let mut start = 0.0;
    while start < panels {
        let middle = from + (2.0 * start + 1.0) * half;
        places.extend(rule().iter().map(|&(x, w)| (middle + half * x, half * w)));
        start += 1.0;
    }
    places
}

/// Abscissas and weights on −1…1: the roots of the Legendre polynomial by Newton's method.
fn rule() -> &'static [(f64, f64); POINTS] {
    static RULE: OnceLock<[(f64, f64); POINTS]> = OnceLock::new();
    RULE.get_or_init(|| {
        let n = POINTS as f64;
        std::array::from_fn(|i| {
            let mut x = (PI * (i as f64 + 0.75) / (n + 0.5)).cos();
            let mut slope = 1.0;
            for _ in 0..12 {
                let (mut p0, mut p1) = (1.0, x);
                for k in 2..=POINTS {
                    let k = k as f64;
                    (p0, p1) = (p1, ((2.0 * k - 1.0) * x * p1 - (k - 1.0) * p0) / k);
                }
                slope = n * (x * p1 - p0) / (x * x - 1.0);
                x -= p1 / slope;
            }
            (x, 2.0 / ((1.0 - x * x) * slope * slope))
        })
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn powers_and_the_normal_curve_come_out() {
        assert!((integral(|x| x.powi(38), &mut [-1.0, 1.0]) - 2.0 / 39.0).abs() < 1e-14);
        let mut ends = [-8.0, -6.0, -4.0, -2.0, 0.0, 2.0, 4.0, 6.0, 8.0];
        let whole = integral(crate::distribution::normal_density, &mut ends);
        assert!((whole - 1.0).abs() < 1e-14, "{whole}");
        assert_eq!(integral(|_| 1.0, &mut []), 0.0);
    }
}

//! A closed profile into its waves and back, for any number of readings.

use std::f64::consts::TAU;

/// A complex number.
pub(crate) type Wave = [f64; 2];

/// Σ valuesⱼ·exp(−2πi·jk/n) for k = 0…n/2: the other half mirrors it.
///
/// A number of readings with small factors only, such as 3600, goes fastest.
pub(crate) fn waves(values: &[f64]) -> Vec<Wave> {
    let n = values.len();
    let given: Vec<Wave> = values.iter().map(|&x| [x, 0.0]).collect();
    let mut all = transform(&given);
    all.truncate(n / 2 + 1);
    all
}

/// The profile of n readings with these waves: undoes [`waves`].
pub(crate) fn profile(half: &[Wave], n: usize) -> Vec<f64> {
    // Forward and backward differ by the sign of the angle, so the conjugate goes forward.
    let wave = |k: usize| if k < half.len() { [half[k][0], -half[k][1]] } else { half[n - k] };
    let all: Vec<Wave> = (0..n).map(wave).collect();
    transform(&all).into_iter().map(|w| w[0] / n as f64).collect()
}

fn times(a: Wave, b: Wave) -> Wave {
    [a[0] * b[0] - a[1] * b[1], a[0] * b[1] + a[1] * b[0]]
}

fn transform(given: &[Wave]) -> Vec<Wave> {
    let n = given.len();
    let turn = |j: usize| {
        let (sine, cosine) = (-TAU * j as f64 / n as f64).sin_cos();
        [cosine, sine]
    };
    let factors = factors(n);
    let mut column = vec![[0.0; 2]; factors.iter().copied().max().unwrap_or(1)];
    let turns: Vec<Wave> = (0..n).map(turn).collect();
    let mut found = vec![[0.0; 2]; n];
    match n {
        0 => {}
        1 => found[0] = given[0],
        _ => part(given, 1, &factors, &turns, &mut column, &mut found),
    }
    found
}

/// The prime factors of a number, the smallest first.
fn factors(mut n: usize) -> Vec<usize> {
    let mut found = vec![];
    let mut factor = 2;
    while n > 1 {
        while n.is_multiple_of(factor) {
            found.push(factor);
            n /= factor;
        }
        // What is left once the factor passes its root is prime.
        factor = if factor * factor > n { n } else { factor + 1 };
    }
    found
}

/// The transform of every `stride`-th value into `found`: of each residue by the first factor, then
/// joined. `turns` holds the roots of the whole, `column` room for as many as the largest factor.
fn part(
    given: &[Wave],
    stride: usize,
    factors: &[usize],
    turns: &[Wave],
    column: &mut [Wave],
    found: &mut [Wave],
) {
    let Some((&factor, further)) = factors.split_first() else { return };
    let length = found.len() / factor;
    if length == 1 {
        found.iter_mut().enumerate().for_each(|(r, f)| *f = given[r * stride]);
    } else {
        for (r, piece) in found.chunks_exact_mut(length).enumerate() {
            part(&given[r * stride..], stride * factor, further, turns, column, piece);
        }
    }
    // The roots of the small transform that joins the residues stand this far apart.
    let apart = turns.len() / factor;
    for k in 0..length {
        for (r, kept) in column[..factor].iter_mut().enumerate() {
            *kept = times(found[r * length + k], turns[r * k * stride]);
        }
        for m in 0..factor {
            let (mut sum, mut root) = (column[0], 0);
            for kept in &column[1..factor] {
                root += m;
                root -= if root >= factor { factor } else { 0 };
                let turned = times(*kept, turns[root * apart]);
                sum = [sum[0] + turned[0], sum[1] + turned[1]];
            }
            found[m * length + k] = sum;
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    proptest! {
        #[test]
        fn waves_are_those_of_the_definition_and_come_back(
            values in prop::collection::vec(-1.0f64..1.0, 1..80)
        ) {
            let (n, found) = (values.len(), waves(&values));
            prop_assert_eq!(found.len(), n / 2 + 1);
            for (k, wave) in found.iter().enumerate() {
                let angle = |j: usize| TAU * (j * k % n) as f64 / n as f64;
                let part = |f: fn(f64) -> f64| -> f64 {
                    values.iter().enumerate().map(|(j, x)| x * f(angle(j))).sum()
                };
                prop_assert!((wave[0] - part(f64::cos)).abs() < 1e-12);
                prop_assert!((wave[1] + part(f64::sin)).abs() < 1e-12);
            }
            let back = profile(&found, n);
            prop_assert!(values.iter().zip(back).all(|(a, b)| (a - b).abs() < 1e-13));
        }
    }
}

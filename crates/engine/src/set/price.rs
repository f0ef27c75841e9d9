//! What a piston of each size is worth: prices of size classes of pistons, and the share of each
//! block that could be built if blocks could be built in parts.
//!
//! The linear programme behind it, with masses left aside: find prices `λ_k ≥ 0` of the classes, of
//! `n_k` pistons each, that make
//!
//! `Σ_k n_k λ_k + Σ_b max(0, 1 − Σ_c min{λ_k : cylinder c of block b allows class k})`
//!
//! least; [`bound`](super::bound) shows why that bounds the count. The minimum over a run of
//! classes is built from minima over runs of 1, 2, 4, 8 … classes, so that the rows stay few. The
//! shares of the blocks are the prices of the rows.

use std::collections::BTreeMap;
use std::ops::Range;

use super::programme::Programme;

/// One block's cylinders: the run of piston classes that each allows, none empty.
pub(super) type Wants = Vec<Range<usize>>;

/// Answer of the linear programme.
#[derive(Debug, Clone)]
pub(super) struct Prices {
    /// Share of each block that is built, 0 to 1.
    pub(super) share: Vec<f64>,
    /// What a piston of each class is worth, engines; 0 to 1.
    pub(super) price: Vec<f64>,
}

/// Prices for classes of `supply` pistons and blocks that each stand for `weight` blocks; more of
/// the higher `favour` (about 1) is built where equally many could be.
pub(super) fn prices(supply: &[usize], blocks: &[(Wants, f64)], weight: f64) -> Prices {
    let nothing = || Prices { share: vec![0.0; blocks.len()], price: vec![0.0; supply.len()] };
    if blocks.is_empty() || supply.is_empty() {
        return nothing();
    }
    let mut programme = Programme::default();
    let class: Vec<usize> = supply.iter().map(|&n| programme.positive(n as f64)).collect();
    let mut minima = Minima { levels: vec![class.iter().map(|&x| Some(x)).collect()] };
    let mut least: BTreeMap<(usize, usize), usize> = BTreeMap::new();
    let mut rows = Vec::new();
    for (wants, favour) in blocks {
        let unbuilt = programme.positive(weight);
        let mut terms = vec![(unbuilt, -1.0)];
        for run in wants {
            let key = (run.start, run.end);
            let of_run = match least.get(&key) {
                Some(&x) => x,
                None => {
                    let x = minima.over(&mut programme, run.clone());
                    least.insert(key, x);
                    x
                }
            };
            terms.push((of_run, -1.0));
        }
        rows.push(programme.row(&terms, -favour));
    }
    let Some(solved) = programme.solve() else { return nothing() };
    Prices {
        share: rows.iter().map(|&r| (solved.price[r] / weight).clamp(0.0, 1.0)).collect(),
        price: class.iter().map(|&x| solved.value[x].clamp(0.0, 1.0)).collect(),
    }
}

/// Variables for the least price of runs of 2^level classes, made when first wanted.
struct Minima {
    levels: Vec<Vec<Option<usize>>>,
}

impl Minima {
    /// The variable for the least price of a run.
    fn over(&mut self, programme: &mut Programme, run: Range<usize>) -> usize {
        let level = run.len().ilog2();
        if run.len() == 1 << level {
            return self.at(programme, level as usize, run.start);
        }
        let x = programme.free(0.0);
        for start in [run.start, run.end - (1 << level)] {
            let part = self.at(programme, level as usize, start);
            programme.row(&[(x, 1.0), (part, -1.0)], 0.0);
        }
        x
    }

    fn at(&mut self, programme: &mut Programme, level: usize, start: usize) -> usize {
        while self.levels.len() <= level {
            self.levels.push(vec![None; self.levels[0].len()]);
        }
        if let Some(x) = self.levels[level][start] {
            return x;
        }
        let x = programme.free(0.0);
        for start in [start, start + (1 << (level - 1))] {
            let part = self.at(programme, level - 1, start);
            programme.row(&[(x, 1.0), (part, -1.0)], 0.0);
        }
        self.levels[level][start] = Some(x);
        x
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn blocks(wants: &[&[Range<usize>]]) -> Vec<(Wants, f64)> {
        wants.iter().map(|w| (w.to_vec(), 1.0)).collect()
    }

    #[test]
    #[expect(clippy::single_range_in_vec_init, reason = "one cylinder wants one run")]
    fn enough_pistons_make_every_block_whole_and_cost_nothing() {
        let answer = prices(&[1; 4], &blocks(&[&[0..3], &[0..4, 1..4]]), 1.0);
        assert!(answer.share.iter().all(|s| *s > 1.0 - 1e-6), "{answer:?}");
        assert!(answer.price.iter().all(|p| *p < 1e-6), "{answer:?}");
    }

    #[test]
    fn three_pairs_on_three_pistons_build_one_and_a_half() {
        // Three two-cylinder blocks, all six slots allow the same three pistons: LP value 3/2.
        let pair: &[Range<usize>] = &[0..3, 0..3];
        let answer = prices(&[1; 3], &blocks(&[pair, pair, pair]), 1.0);
        assert!((answer.share.iter().sum::<f64>() - 1.5).abs() < 1e-6);
        assert!(answer.price.iter().all(|p| (p - 0.5).abs() < 1e-6), "{answer:?}");
    }

    #[test]
    fn prices_and_shares_agree() {
        // Strong duality on a made-up case: value of prices equals engines built.
        let wants: [&[Range<usize>]; 3] =
            [&[0..2, 1..4, 4..6], &[1..3, 3..5, 5..7], &[0..3, 2..5, 4..6]];
        let answer = prices(&[1; 7], &blocks(&wants), 1.0);
        let mut value: f64 = answer.price.iter().sum();
        for own in wants {
            let cheapest = |run: &Range<usize>| {
                answer.price[run.clone()].iter().copied().fold(f64::INFINITY, f64::min)
            };
            value += (1.0 - own.iter().map(cheapest).sum::<f64>()).max(0.0);
        }
        let built: f64 = answer.share.iter().sum();
        assert!((value - built).abs() < 1e-6, "{value} {answer:?}");
    }
}

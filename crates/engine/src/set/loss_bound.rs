//! The least loss that any matching with at least so many engines could have.
//!
//! # Why the bound holds
//! Give every piston a price `π_p ≥ 0` and every engine a reward `θ ≥ 0`, any figures. Let `l_cp`
//! be the loss of piston `p` in cylinder `c`, and `m_b = Σ_c min{l_cp + π_p : p allowed by c}`.
//! Take a matching with at least `K` engines. No piston is used twice, and it has no fewer than
//! `K` engines, so the loss of its places is at least
//!
//! `Σ_built (m_b − θ) + θ·K − Σ_p π_p ≥ θ·K − Σ_p π_p − Σ_b max(0, θ − m_b)`.
//!
//! The minimum in `m_b` is over the exact run of pistons that a cylinder allows: as a function of
//! the bore each piston is a parabola, all of one shape, so their lower envelope is that of lines.
//!
//! The masses are bounded apart: the spreads of `K` engines are at least those of the best `K`
//! disjoint runs of as many consecutive masses as the smallest block has cylinders. (Two sets that
//! overlap in mass can be split at the middle of their pistons without adding to their spreads,
//! and a set with a gap can be closed up.) For any reward a run, one sweep gives a lower bound.
//!
//! All sums are of whole steps, each term rounded to the safe side, so that neither the prices nor
//! rounding can spoil the bound.

use std::collections::BTreeMap;
use std::ops::Range;

use super::bound::Classes;
use super::programme::Programme;
use super::rack::Rack;

/// Steps of one unit of loss.
const UNIT: f64 = (1_u64 << 30) as f64;
/// Steps that the value of a place may be off by rounding: its magnitude stays below a thousand
/// (see [`Envelope`]), a double holds that to 2⁻⁴³.
const ROUNDING: i64 = 2;
/// Share given away for the rounding of sums of losses: a few hundred thousand terms in doubles.
const GIVEN_AWAY: f64 = 1e-12;
/// Blocks in the linear programme; of more, an even sample sets the prices.
const BLOCKS_PRICED: usize = 10_000;
/// Classes of size in one width of the clearance window.
const CLASSES_IN_WINDOW: i64 = 32;
/// Largest price and reward for each cylinder, in units of loss.
const PRICE_MAX: f64 = 60.0;

/// Prices of pistons and the reward of an engine, in steps.
#[derive(Debug, Clone)]
pub(super) struct LossPrices {
    piston: Vec<i64>,
    reward: i64,
    /// Value of each block at these prices, 0 for one that cannot be built.
    over: i128,
}

/// Prices for matchings of about `engines` engines.
pub(super) fn price_losses(rack: &Rack<'_>, possible: &[bool], engines: usize) -> LossPrices {
    let (piston, reward) =
        solve(rack, possible, engines).unwrap_or_else(|| (vec![0; rack.mass.len()], 0));
    let least = Envelope::least_of_all(rack, &piston);
    let mut over = 0_i128;
    for b in (0..rack.blocks.len()).filter(|&b| possible[b]) {
        let pays: i64 = rack.slots(b).map(|slot| least[slot]).sum();
        over += i128::from((reward - pays).max(0));
    }
    LossPrices { piston, reward, over }
}

/// No matching with at least `engines` engines has a loss below this.
pub(super) fn least_loss(rack: &Rack<'_>, prices: &LossPrices, engines: usize) -> f64 {
    let paid: i128 = prices.piston.iter().map(|&p| i128::from(p)).sum();
    let places = i128::from(prices.reward) * engines as i128 - paid - prices.over;
    let places = places.max(0) as f64 / UNIT;
    (places + rack.spread_loss(least_spread(rack, engines))) * (1.0 - GIVEN_AWAY)
}

#[expect(clippy::cast_possible_truncation, reason = "a price is 0 to PRICE_MAX units")]
fn steps(units: f64) -> i64 {
    (units * UNIT).round() as i64
}

/// The linear programme over classes of size: prices of all pistons and the reward.
fn solve(rack: &Rack<'_>, possible: &[bool], engines: usize) -> Option<(Vec<i64>, i64)> {
    let half = rack.half_width();
    let (min, max) = (rack.rules.clearance_min().0, rack.rules.clearance_max().0);
    if half == 0.0 {
        return None;
    }
    let step = ((max - min) / CLASSES_IN_WINDOW).max(1);
    let classes = Classes::cut(&rack.diameter, step, 0);
    let middle = middles(&classes, &rack.diameter);
    let allowed = allowed_runs(rack, possible, step);
    let mut programme = Programme::default();
    let price: Vec<usize> = classes.count.iter().map(|&n| programme.positive(n as f64)).collect();
    let reward = programme.positive(-(engines as f64));
    let mut least: BTreeMap<i64, usize> = BTreeMap::new();
    let blocks: Vec<usize> = (0..possible.len()).filter(|&b| possible[b]).collect();
    let k = blocks.len().div_ceil(BLOCKS_PRICED).max(1);
    let sample: Vec<usize> = blocks.iter().copied().step_by(k).collect();
    let weight = blocks.len() as f64 / sample.len().max(1) as f64;
    let mut cylinders = 1;
    for &b in &sample {
        cylinders = cylinders.max(rack.cylinders(b));
        let over = programme.positive(weight);
        let mut terms = vec![(over, -1.0), (reward, 1.0)];
        for slot in rack.slots(b) {
            let number = rack.bore[slot].div_euclid(step);
            let x = *least.entry(number).or_insert_with(|| {
                let x = programme.free(0.0);
                let ideal = (number * step + step / 2 - rack.rules.clearance_target().0) as f64;
                for k in classes.touched(&allowed[&number]) {
                    let off = (ideal - middle[k]) / half;
                    programme.row(&[(x, 1.0), (price[k], -1.0)], off * off);
                }
                x
            });
            terms.push((x, -1.0));
        }
        programme.row(&terms, 0.0);
    }
    for &x in &price {
        programme.row(&[(x, 1.0)], PRICE_MAX);
    }
    let most = PRICE_MAX * cylinders as f64;
    programme.row(&[(reward, 1.0)], most);
    let solved = programme.solve()?;
    let value: Vec<f64> = price.iter().map(|&x| solved.value[x].clamp(0.0, PRICE_MAX)).collect();
    let of_piston = |&d: &i64| steps(between(&middle, &value, d as f64));
    let reward = steps(solved.value[reward].clamp(0.0, most));
    Some((rack.diameter.iter().map(of_piston).collect(), reward))
}

/// All pistons that some cylinder of a class of bore allows. Were it fewer, the programme would ask
/// for engines that it has no pistons for, and answer with prices out of all proportion.
fn allowed_runs(rack: &Rack<'_>, possible: &[bool], step: i64) -> BTreeMap<i64, Range<usize>> {
    let mut allowed: BTreeMap<i64, Range<usize>> = BTreeMap::new();
    for slot in (0..rack.bore.len()).filter(|&s| possible[rack.block_of[s]]) {
        let run = &rack.run[slot];
        let all = allowed.entry(rack.bore[slot].div_euclid(step)).or_insert(run.clone());
        *all = all.start.min(run.start)..all.end.max(run.end);
    }
    allowed
}

/// Mean diameter of each class.
fn middles(classes: &Classes, diameter: &[i64]) -> Vec<f64> {
    let first = diameter[0];
    let mut sum = vec![0.0; classes.count.len()];
    for (&class, d) in classes.of.iter().zip(diameter) {
        sum[class] += (d - first) as f64;
    }
    sum.iter().zip(&classes.count).map(|(s, &n)| first as f64 + s / n as f64).collect()
}

/// The price at a diameter, on straight lines between the middles of the classes.
fn between(middle: &[f64], value: &[f64], diameter: f64) -> f64 {
    let right = middle.partition_point(|&m| m < diameter);
    if right == 0 {
        return value[0];
    }
    if right == middle.len() {
        return value[right - 1];
    }
    let (a, b) = (middle[right - 1], middle[right]);
    let share = if b > a { (diameter - a) / (b - a) } else { 0.0 };
    value[right - 1] + share * (value[right] - value[right - 1])
}

/// Lower envelope of parabolas `(x − d)² + price`, in shares of the half width, for `d` added in
/// order. Places are counted from a piston that all the cylinders asked about allow, so that
/// magnitudes stay within two windows: |x − d| ≤ 4.
#[derive(Default)]
struct Envelope {
    /// Lines `slope·x + level` of the parabolas less `x²`, slopes falling.
    lines: Vec<(f64, f64)>,
}

impl Envelope {
    /// For each slot the least loss and price of the pistons it allows, in steps, rounded down; 0
    /// for a slot that allows none.
    fn least_of_all(rack: &Rack<'_>, price: &[i64]) -> Vec<i64> {
        let mut least = vec![f64::INFINITY; rack.bore.len()];
        let slots: Vec<usize> =
            rack.by_bore.iter().copied().filter(|&s| !rack.run[s].is_empty()).collect();
        let mut begin = 0;
        while begin < slots.len() {
            // All slots whose runs reach from before `split` to it or beyond.
            let split = rack.run[slots[begin]].end;
            let n = slots[begin..].partition_point(|&s| rack.run[s].start < split);
            let group = &slots[begin..begin + n];
            Self::sweep(rack, price, group.iter(), split, &mut least);
            Self::sweep_back(rack, price, group.iter().rev(), split, &mut least);
            begin += n;
        }
        #[expect(clippy::cast_possible_truncation, reason = "at most 16 + PRICE_MAX units")]
        let down = |v: f64| if v.is_finite() { (v * UNIT).floor() as i64 - ROUNDING } else { 0 };
        least.into_iter().map(down).collect()
    }

    /// The pistons from `split` on, for slots in order of bore.
    fn sweep<'s>(
        rack: &Rack<'_>,
        price: &[i64],
        slots: impl Iterator<Item = &'s usize>,
        split: usize,
        least: &mut [f64],
    ) {
        let (mut envelope, mut next) = (Self::default(), split);
        let from = rack.diameter[split - 1];
        for &slot in slots {
            while next < rack.run[slot].end {
                envelope.add(rack.share_of_half(rack.diameter[next] - from), in_units(price[next]));
                next += 1;
            }
            let ideal = rack.bore[slot] - rack.rules.clearance_target().0 - from;
            least[slot] = least[slot].min(envelope.at(rack.share_of_half(ideal)));
        }
    }

    /// The pistons before `split`, for slots in falling order of bore: the same, mirrored.
    fn sweep_back<'s>(
        rack: &Rack<'_>,
        price: &[i64],
        slots: impl Iterator<Item = &'s usize>,
        split: usize,
        least: &mut [f64],
    ) {
        let (mut envelope, mut next) = (Self::default(), split);
        let from = rack.diameter[split - 1];
        for &slot in slots {
            while next > rack.run[slot].start {
                next -= 1;
                envelope.add(rack.share_of_half(from - rack.diameter[next]), in_units(price[next]));
            }
            let ideal = rack.bore[slot] - rack.rules.clearance_target().0 - from;
            least[slot] = least[slot].min(envelope.at(rack.share_of_half(-ideal)));
        }
    }

    /// Adds a parabola at `d`, no smaller than those before.
    fn add(&mut self, d: f64, price: f64) {
        let new = (-2.0 * d, d * d + price);
        if let Some(last) = self.lines.last()
            && last.0 == new.0
        {
            if last.1 <= new.1 {
                return;
            }
            self.lines.pop();
        }
        // A line between two others that nowhere lies lowest is dropped.
        while let [.., a, b] = self.lines[..] {
            if meet(a, new) > meet(a, b) {
                break;
            }
            self.lines.pop();
        }
        self.lines.push(new);
    }

    /// The envelope at `x`; infinite if nothing was added.
    fn at(&self, x: f64) -> f64 {
        // Meeting points rise along the envelope.
        let (mut low, mut high) = (0, self.lines.len());
        while low + 1 < high {
            let middle = usize::midpoint(low, high);
            if meet(self.lines[middle - 1], self.lines[middle]) <= x {
                low = middle;
            } else {
                high = middle;
            }
        }
        // A neighbour may be lower by rounding of the meeting points.
        let near = low.saturating_sub(2)..(low + 3).min(self.lines.len());
        let value = |&(slope, level): &(f64, f64)| x * x + slope * x + level;
        self.lines[near].iter().map(value).fold(f64::INFINITY, f64::min)
    }
}

fn in_units(price: i64) -> f64 {
    price as f64 / UNIT
}

/// Where two lines of different slopes meet.
fn meet(a: (f64, f64), b: (f64, f64)) -> f64 {
    (b.1 - a.1) / (a.0 - b.0)
}

/// No `engines` disjoint sets have a smaller sum of spreads than this, mg.
fn least_spread(rack: &Rack<'_>, engines: usize) -> i64 {
    let size = (0..rack.blocks.len()).map(|b| rack.cylinders(b)).min().unwrap_or(1);
    let wide = |run: &[usize]| rack.mass[run[run.len() - 1]] - rack.mass[run[0]];
    let width: Vec<i64> = rack.by_mass.windows(size).map(wide).collect();
    let wanted = i64::try_from(engines).unwrap_or(i64::MAX);
    // For a reward a run: the best sum of (width − reward), and the runs it takes.
    let best = |reward: i64| {
        let mut ending = vec![(0_i64, 0_i64); rack.by_mass.len() + 1];
        for end in 1..ending.len() {
            ending[end] = ending[end - 1];
            if end >= size {
                let (sum, runs) = ending[end - size];
                let with = sum + width[end - size] - reward;
                if with < ending[end].0 {
                    ending[end] = (with, runs + 1);
                }
            }
        }
        ending[ending.len() - 1]
    };
    let (mut low, mut high) = (0, rack.spread_max() + 1);
    let mut least = 0;
    while low < high {
        let reward = i64::midpoint(low, high);
        let (sum, runs) = best(reward);
        least = least.max(sum + reward * wanted);
        if runs < wanted {
            low = reward + 1;
        } else {
            high = reward;
        }
    }
    least
}

#[cfg(test)]
mod tests {
    use super::*;

    proptest::proptest! {
        #[test]
        fn the_envelope_is_the_least_of_all_parabolas(
            mut d in proptest::collection::vec((-4.0_f64..4.0, 0.0_f64..3.0), 1..20),
            x in -4.0_f64..4.0,
        ) {
            d.sort_by(|a, b| a.0.total_cmp(&b.0));
            let mut envelope = Envelope::default();
            d.iter().for_each(|&(d, price)| envelope.add(d, price));
            let least = d.iter().map(|&(d, price)| (x - d) * (x - d) + price);
            let least = least.fold(f64::INFINITY, f64::min);
            proptest::prop_assert!((envelope.at(x) - least).abs() < 1e-12);
        }
    }
}

//! The search behind [`super::plan::plan_holes`].
//!
//! A *kind* of hole is a window (or a part of a wide one) with a drill. A *layout* says of which
//! kinds the holes of a plan are. Layouts are tried one by one, each without regard to the others,
//! so that one more window can only add layouts and never spoil a plan. Within a layout angles are
//! first tried widely spaced, then moved in smaller and smaller steps; for given angles the depths
//! follow from [`super::share`] and are rounded to the machine's step, every way of rounding tried.
//!
//! A layout is passed over when it is sure that it leaves more than the best found: along any one
//! direction the holes of a kind can pull only so far.

use super::holes::Profile;
use super::planes::{Planes, lever};
use super::rotor::{Drill, HOLES_MOST, Rotor, Site, Window};
use super::share::{Balance, Pull, component, least_share, left, worst};
use super::vector::{Phasor, Unbalance, whole_turn_deg};
use super::web::{Bore, web_left_mm};

/// A window wider than this, in degrees, is searched in parts.
const PART_DEG: f64 = 120.0;
/// Most layouts that are looked into for each number of holes.
const LAYOUTS_MOST: usize = 400;
/// Most layouts, or beginnings of layouts, that are listed for each number of holes.
const LISTED_MOST: usize = 300_000;
/// Up to this many holes every layout is tried; beyond, holes are added to the best plan found.
pub(super) const HOLES_SEARCHED: usize = 4;
/// Angles tried in each kind at first, by the number of holes.
const SPREAD: [usize; HOLES_SEARCHED] = [usize::MAX, 40, 11, 6];
/// Beginnings that are refined, by the number of holes.
const STARTS: [usize; HOLES_SEARCHED] = [1, 3, 3, 3];

/// Angles tried for a hole that is added to a plan.
const GROWN_SPREAD: usize = 9;
/// First step, in places, in which the holes of a plan are moved after one was added.
const GROWN_STRIDE: usize = 16;

/// One window of a site with one drill.
#[derive(Debug, Clone)]
struct Kind {
    site: usize,
    drill: usize,
    tool: Drill,
    profile: Profile,
    lever: [f64; 2],
    /// Least depth, in steps of the machine.
    least: u32,
    places: Vec<Place>,
}

/// An angle at which the machine can drill.
#[derive(Debug, Clone, Copy)]
struct Place {
    /// Angle, in steps of the machine.
    angle: u32,
    along: Phasor,
    /// Greatest depth here, in steps of the machine.
    most: u32,
}

const NO_PULL: Pull = Pull { along: Phasor::ZERO, lever: [0.0; 2], range: [0.0; 2] };

/// A hole of a plan in the making.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
struct Set {
    kind: usize,
    place: usize,
    depth: u32,
}

/// How good a plan is among those with as many holes: worst share, then mass.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Cost {
    pub(super) share: f64,
    pub(super) mass_g: f64,
}

impl Cost {
    /// Shares are compared to a billionth, below any rounding that matters.
    fn less_than(self, other: Self) -> bool {
        let (mine, theirs) = ((self.share * 1e9).round(), (other.share * 1e9).round());
        mine < theirs || (mine == theirs && self.mass_g < other.mass_g)
    }
}

/// Holes of a plan and how good they are.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Trial {
    sets: Vec<Set>,
    pub(super) cost: Cost,
}

/// A hole as the rest of the program knows it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Drilled {
    pub(super) site: usize,
    pub(super) drill: usize,
    pub(super) angle_deg: f64,
    pub(super) depth_mm: f64,
}

/// Everything the search needs, in the units it works in.
#[derive(Debug)]
pub(super) struct Bench<'a> {
    rotor: &'a Rotor,
    kinds: Vec<Kind>,
    /// The unbalance at both planes in shares of the limits.
    target: [Phasor; 2],
    /// Directions along which layouts are bounded before they are tried.
    directions: Vec<[Phasor; 2]>,
    /// For each kind, how far one hole of it can pull along each direction.
    reach: Vec<Vec<f64>>,
    /// Whether every layout that could be better was tried.
    pub(super) complete: bool,
}

/// Angle of so many steps, free of the noise of their product.
fn steps_deg(steps: u32, step_deg: f64) -> f64 {
    (f64::from(steps) * step_deg * 1e9).round() / 1e9
}

#[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "clamped to 0 … 1e9")]
fn whole_steps(x: f64) -> u32 {
    x.clamp(0.0, 1e9) as u32
}

impl<'a> Bench<'a> {
    /// Lays out a rotor that has been checked.
    pub(super) fn new(rotor: &'a Rotor, unbalance: &Planes<Unbalance>) -> Self {
        let limit = [rotor.limit_gmm.a, rotor.limit_gmm.b];
        let target =
            [unbalance.a.phasor() * limit[0].recip(), unbalance.b.phasor() * limit[1].recip()];
        let mut kinds = Vec::new();
        for (site_idx, site) in rotor.sites.iter().enumerate().filter(|(_, s)| s.holes_max > 0) {
            for window in site.windows.iter().flat_map(|window| parts(*window)) {
                for drill_idx in 0..site.drills.len() {
                    kinds.extend(Kind::of(rotor, site_idx, drill_idx, window));
                }
            }
        }
        let directions = directions(&target);
        let reach = kinds
            .iter()
            .map(|kind| directions.iter().map(|along| kind.reach(rotor, along)).collect())
            .collect();
        Self { rotor, kinds, target, directions, reach, complete: true }
    }

    /// Leaving the rotor as it is.
    pub(super) fn nothing(&self) -> Trial {
        Trial { sets: Vec::new(), cost: Cost { share: worst(&self.target), mass_g: 0.0 } }
    }

    /// The holes of a trial, by site and angle.
    pub(super) fn drilled(&self, trial: &Trial) -> Vec<Drilled> {
        let machine = self.rotor.machine;
        let mut holes: Vec<Drilled> = trial
            .sets
            .iter()
            .map(|set| {
                let kind = &self.kinds[set.kind];
                Drilled {
                    site: kind.site,
                    drill: kind.drill,
                    angle_deg: steps_deg(kind.places[set.place].angle, machine.angle_step_deg),
                    depth_mm: steps_deg(set.depth, machine.depth_step_mm),
                }
            })
            .collect();
        holes.sort_by(|a, b| a.site.cmp(&b.site).then(a.angle_deg.total_cmp(&b.angle_deg)));
        holes
    }

    /// The best plans of exactly `n` holes, of different layouts and up to `most` of them, best
    /// first; none whose worst share is over that of `limit`.
    pub(super) fn search(&mut self, n: usize, limit: Cost, most: usize) -> Vec<Trial> {
        let mut found: Vec<Trial> = Vec::with_capacity(most + 1);
        for (tried, (bound, layout)) in self.layouts(n, limit.share).into_iter().enumerate() {
            let worst = match found.last() {
                Some(trial) if found.len() == most => trial.cost,
                _ => limit,
            };
            if bound > worst.share * (1.0 + 1e-9) {
                break;
            }
            if tried == LAYOUTS_MOST {
                self.complete = false;
                break;
            }
            if let Some(trial) = self.best_of_layout(&layout, worst)
                && trial.cost.less_than(worst)
            {
                keep(&mut found, trial, most);
            }
        }
        found
    }

    /// Layouts of `n` holes that may leave `share` or less, most promising first, each with the
    /// share it surely leaves.
    fn layouts(&mut self, n: usize, share: f64) -> Vec<(f64, Vec<usize>)> {
        let pull: Vec<f64> =
            self.directions.iter().map(|along| component(&self.target, along)).collect();
        let top: Vec<f64> = (0..self.directions.len())
            .map(|d| self.reach.iter().map(|r| r[d]).fold(f64::NEG_INFINITY, f64::max))
            .collect();
        let mut listing = Listing {
            bench: self,
            share: share * (1.0 + 1e-9),
            top,
            layout: Vec::with_capacity(n),
            found: Vec::new(),
            visited: 0,
        };
        listing.list_after(0, n, &pull);
        let (mut found, visited) = (listing.found, listing.visited);
        if visited >= LISTED_MOST {
            self.complete = false;
        }
        found.sort_by(|a, b| a.0.total_cmp(&b.0).then_with(|| a.1.cmp(&b.1)));
        found
    }

    /// The best plan found within one layout; `known` is the best elsewhere, by which this layout
    /// may be passed over but never steered.
    fn best_of_layout(&self, layout: &[usize], known: Cost) -> Option<Trial> {
        let n = layout.len();
        if self.surely_left_by_all(layout) > known.share * (1.0 + 1e-6) {
            return None;
        }
        let mut kept = Kept { most: STARTS[n - 1], trials: Vec::new(), least: None };
        let choices: Vec<Vec<usize>> = layout
            .iter()
            .map(|kind| spread(self.kinds[*kind].places.len(), SPREAD[n - 1]))
            .collect();
        let mut places = Vec::with_capacity(n);
        self.try_spread(layout, &choices, &mut places, &mut kept);
        if let Some(least) = &kept.least
            && self.surely_left(layout, &least.pressed) > known.share * (1.0 + 1e-6)
        {
            return None;
        }
        let stride = choices.iter().map(|c| stride_of(c)).max().unwrap_or(1);
        kept.trials
            .into_iter()
            .map(|trial| if n == 1 { trial } else { self.refined(trial, stride) })
            .reduce(|a, b| if b.cost.less_than(a.cost) { b } else { a })
    }

    fn try_spread(
        &self,
        layout: &[usize],
        choices: &[Vec<usize>],
        places: &mut Vec<(usize, usize)>,
        kept: &mut Kept,
    ) {
        let at = places.len();
        let Some(kind) = layout.get(at) else {
            if let Some((trial, balance)) = self.settled(places, kept.worst_share()) {
                kept.keep(trial, balance);
            }
            return;
        };
        for place in &choices[at] {
            // Two holes of one kind are the same plan in either order.
            let after = places.last().is_none_or(|(k, p)| k != kind || p < place);
            if after && self.room_for(places, (*kind, *place)) {
                places.push((*kind, *place));
                self.try_spread(layout, choices, places, kept);
                places.pop();
            }
        }
    }

    /// Whether a hole, drilled as shallow as may be, keeps the web to the holes at `places`.
    fn room_for(&self, places: &[(usize, usize)], new: (usize, usize)) -> bool {
        let set =
            |(kind, place): (usize, usize)| Set { kind, place, depth: self.kinds[kind].least };
        places.iter().all(|there| self.keep_web(set(*there), set(new)))
    }

    fn keep_web(&self, first: Set, second: Set) -> bool {
        let kinds = [&self.kinds[first.kind], &self.kinds[second.kind]];
        if kinds[0].site != kinds[1].site {
            return true;
        }
        let site = &self.rotor.sites[kinds[0].site];
        let machine = self.rotor.machine;
        let [a, b] = [(kinds[0], first), (kinds[1], second)];
        let angle = |(kind, set): (&Kind, Set)| {
            steps_deg(kind.places[set.place].angle, machine.angle_step_deg)
        };
        let bore =
            |(kind, set): (&Kind, Set)| kind.tool.bore(steps_deg(set.depth, machine.depth_step_mm));
        let left_mm = web_left_mm(site.radius_mm, angle(a) - angle(b), [bore(a), bore(b)]);
        left_mm >= site.web_mm
    }

    fn pull(&self, (kind, place): (usize, usize)) -> Pull {
        let kind = &self.kinds[kind];
        let place = &kind.places[place];
        Pull {
            along: place.along,
            lever: kind.lever,
            range: [self.moment(kind, kind.least), self.moment(kind, place.most)],
        }
    }

    fn moment(&self, kind: &Kind, depth: u32) -> f64 {
        kind.profile.unbalance_gmm(f64::from(depth) * self.rotor.machine.depth_step_mm)
    }

    /// The best depths for holes at these places, rounded to the machine's step; `None` when they
    /// leave more than `give_up` or break a web.
    fn settled(&self, places: &[(usize, usize)], give_up: f64) -> Option<(Trial, Balance)> {
        let n = places.len();
        let mut pulls = [NO_PULL; HOLES_MOST];
        for (pull, place) in pulls.iter_mut().zip(places) {
            *pull = self.pull(*place);
        }
        let balance = least_share(&self.target, &pulls[..n], give_up)?;
        let mut shallow = [0; HOLES_MOST];
        for (i, (kind, place)) in places.iter().enumerate() {
            let (kind, most) = (&self.kinds[*kind], self.kinds[*kind].places[*place].most);
            let depth_mm = kind.profile.depth_mm(balance.moments[i]);
            let steps = (depth_mm / self.rotor.machine.depth_step_mm + 1e-9).floor();
            shallow[i] = whole_steps(steps).clamp(kind.least, most);
        }
        let (sets, cost) = self.rounded(places, &pulls[..n], &shallow);
        self.keep_webs(&sets[..n]).then(|| (Trial { sets: sets[..n].to_vec(), cost }, balance))
    }

    /// Every way of rounding the depths down or up, and the best of them.
    fn rounded(
        &self,
        places: &[(usize, usize)],
        pulls: &[Pull],
        shallow: &[u32; HOLES_MOST],
    ) -> ([Set; HOLES_MOST], Cost) {
        let n = places.len();
        let mut options = [[(0u32, 0.0, 0.0); 2]; HOLES_MOST];
        for (i, (kind, place)) in places.iter().enumerate() {
            let kind = &self.kinds[*kind];
            let most = kind.places[*place].most;
            options[i] = [shallow[i], (shallow[i] + 1).min(most)].map(|depth| {
                let depth_mm = f64::from(depth) * self.rotor.machine.depth_step_mm;
                (depth, self.moment(kind, depth), kind.profile.mass_g(depth_mm))
            });
        }
        let mut best = (0, Cost { share: f64::INFINITY, mass_g: f64::INFINITY });
        for way in 0..1usize << n {
            let mut moments = [0.0; HOLES_MOST];
            let mut mass_g = 0.0;
            for i in 0..n {
                let (_, moment, mass) = options[i][way >> i & 1];
                moments[i] = moment;
                mass_g += mass;
            }
            let cost = Cost { share: worst(&left(&self.target, pulls, &moments)), mass_g };
            if cost.less_than(best.1) {
                best = (way, cost);
            }
        }
        let mut sets = [Set { kind: 0, place: 0, depth: 0 }; HOLES_MOST];
        for (i, (kind, place)) in places.iter().enumerate() {
            let depth = options[i][best.0 >> i & 1].0;
            sets[i] = Set { kind: *kind, place: *place, depth };
        }
        (sets, best.1)
    }

    /// A plan made better by moving its holes, singly and in pairs, in smaller and smaller steps.
    fn refined(&self, trial: Trial, stride: usize) -> Trial {
        let mut best = trial;
        let mut stride = stride.div_ceil(2);
        loop {
            for _ in 0..20 {
                if !self.step_better(&mut best, stride) {
                    break;
                }
            }
            if stride <= 1 {
                return self.with_depths_tried(best);
            }
            stride = stride.div_ceil(2).min(stride - 1);
        }
    }

    /// Tries every move of one or two holes by `stride` places; `true` if one was better.
    fn step_better(&self, best: &mut Trial, stride: usize) -> bool {
        let from: Vec<(usize, usize)> = best.sets.iter().map(|s| (s.kind, s.place)).collect();
        let before = best.cost;
        for i in 0..from.len() {
            for j in i..from.len() {
                for (first, second) in moves(i == j, stride) {
                    let mut places = from.clone();
                    let moved = self.moved(&mut places[i], first)
                        && (i == j || self.moved(&mut places[j], second));
                    if moved
                        && let Some((trial, _)) = self.settled(&places, best.cost.share)
                        && trial.cost.less_than(best.cost)
                    {
                        *best = trial;
                    }
                }
            }
        }
        best.cost.less_than(before)
    }

    /// A plan with every depth up to two steps off tried against every other: the best rounding of
    /// all depths together is not always next to the best depths. Only up to four holes.
    fn with_depths_tried(&self, trial: Trial) -> Trial {
        let n = trial.sets.len();
        if n > HOLES_SEARCHED {
            return trial;
        }
        let mut pulls = [NO_PULL; HOLES_MOST];
        for (pull, set) in pulls.iter_mut().zip(&trial.sets) {
            *pull = self.pull((set.kind, set.place));
        }
        let mut best = trial.clone();
        for way in 0..5usize.pow(u32::try_from(n).unwrap_or(0)) {
            let mut sets = [Set { kind: 0, place: 0, depth: 0 }; HOLES_MOST];
            let mut moments = [0.0; HOLES_MOST];
            let mut mass_g = 0.0;
            let mut rest = way;
            for (i, set) in trial.sets.iter().enumerate() {
                let kind = &self.kinds[set.kind];
                let step = u32::try_from(rest % 5).unwrap_or(0);
                rest /= 5;
                let most = kind.places[set.place].most;
                let depth = (set.depth + step).saturating_sub(2).clamp(kind.least, most);
                sets[i] = Set { depth, ..*set };
                moments[i] = self.moment(kind, depth);
                mass_g += kind.profile.mass_g(f64::from(depth) * self.rotor.machine.depth_step_mm);
            }
            let cost = Cost { share: worst(&left(&self.target, &pulls[..n], &moments)), mass_g };
            if cost.less_than(best.cost) && self.keep_webs(&sets[..n]) {
                best = Trial { sets: sets[..n].to_vec(), cost };
            }
        }
        best
    }

    fn keep_webs(&self, sets: &[Set]) -> bool {
        (0..sets.len()).all(|i| (0..i).all(|j| self.keep_web(sets[i], sets[j])))
    }

    /// Moves a hole by so many places, unless that leaves its window.
    fn moved(&self, place: &mut (usize, usize), by: isize) -> bool {
        match place.1.checked_add_signed(by) {
            Some(to) if to < self.kinds[place.0].places.len() => {
                place.1 = to;
                true
            }
            _ => false,
        }
    }

    /// The share that holes of these kinds surely leave, seen along one direction.
    fn surely_left(&self, layout: &[usize], pressed: &[Phasor; 2]) -> f64 {
        let size = pressed[0].size() + pressed[1].size();
        if size < 1e-12 {
            return 0.0;
        }
        let along = pressed.map(|p| p * size.recip());
        let pull = component(&self.target, &along);
        layout.iter().fold(pull, |left, kind| left - self.kinds[*kind].reach(self.rotor, &along))
    }

    /// The share that holes of these kinds surely leave, seen along directions that are turned
    /// towards the one that shows most.
    fn surely_left_by_all(&self, layout: &[usize]) -> f64 {
        let mut along = self.target;
        let mut surely = self.surely_left(layout, &along);
        for _ in 0..8 {
            let mut pulls = [NO_PULL; HOLES_MOST];
            for (pull, kind) in pulls.iter_mut().zip(layout) {
                *pull = self.pull((*kind, self.kinds[*kind].most_along(&along)));
            }
            let Some(balance) = least_share(&self.target, &pulls[..layout.len()], f64::INFINITY)
            else {
                break;
            };
            let size = balance.pressed[0].size() + balance.pressed[1].size();
            if size < 1e-9 {
                break;
            }
            surely = surely.max(self.surely_left(layout, &balance.pressed));
            let old = along[0].size() + along[1].size();
            along = [0, 1].map(|p| along[p] * (0.5 / old) + balance.pressed[p] * (0.5 / size));
            surely = surely.max(self.surely_left(layout, &along));
        }
        surely
    }

    /// The best plans that add one hole to one of `bases` and then move all of them.
    pub(super) fn grown(&self, bases: &[Trial], most: usize) -> Vec<Trial> {
        let mut found: Vec<Trial> = Vec::with_capacity(most + 1);
        for base in bases {
            for kind in 0..self.kinds.len() {
                if let Some(trial) = self.with_one_more(base, kind)
                    && !found.contains(&trial)
                {
                    keep(&mut found, trial, most);
                }
            }
        }
        found.into_iter().map(|trial| self.refined(trial, GROWN_STRIDE)).collect()
    }

    /// `base` with one hole of this kind more, at the best of a few angles.
    fn with_one_more(&self, base: &Trial, kind: usize) -> Option<Trial> {
        let site = self.kinds[kind].site;
        let mut places: Vec<(usize, usize)> = base.sets.iter().map(|s| (s.kind, s.place)).collect();
        let at_site = places.iter().filter(|p| self.kinds[p.0].site == site).count();
        if at_site >= self.rotor.sites[site].holes_max {
            return None;
        }
        let mut best: Option<Trial> = None;
        for place in spread(self.kinds[kind].places.len(), GROWN_SPREAD) {
            if !self.room_for(&places, (kind, place)) {
                continue;
            }
            places.push((kind, place));
            let give_up = best.as_ref().map_or(f64::INFINITY, |b| b.cost.share);
            if let Some((trial, _)) = self.settled(&places, give_up)
                && best.as_ref().is_none_or(|b| trial.cost.less_than(b.cost))
            {
                best = Some(trial);
            }
            places.pop();
        }
        best
    }
}

/// Moves tried for one hole, or for two at once.
fn moves(alone: bool, stride: usize) -> Vec<(isize, isize)> {
    let by = isize::try_from(stride).unwrap_or(isize::MAX);
    if alone {
        return vec![(-by, 0), (by, 0)];
    }
    // At the finest step two steps are looked ahead: the rounding of depths makes hollows.
    let span: &[isize] = if stride == 1 { &[-2, -1, 1, 2] } else { &[-1, 1] };
    span.iter()
        .flat_map(|a| span.iter().map(move |b| (a.saturating_mul(by), b.saturating_mul(by))))
        .collect()
}

/// The best beginnings within a layout.
struct Kept {
    most: usize,
    trials: Vec<Trial>,
    /// The balance of least share before rounding, with the direction that presses on it.
    least: Option<Balance>,
}

impl Kept {
    fn worst_share(&self) -> f64 {
        match self.trials.last() {
            Some(trial) if self.trials.len() == self.most => trial.cost.share,
            _ => f64::INFINITY,
        }
    }

    fn keep(&mut self, trial: Trial, balance: Balance) {
        if self.least.as_ref().is_none_or(|least| balance.share < least.share) {
            self.least = Some(balance);
        }
        keep(&mut self.trials, trial, self.most);
    }
}

/// Puts `trial` among the best `most`, behind its equals.
fn keep(trials: &mut Vec<Trial>, trial: Trial, most: usize) {
    let at = trials.partition_point(|kept| !trial.cost.less_than(kept.cost));
    trials.insert(at, trial);
    trials.truncate(most);
}

/// Lists layouts depth first, passing over beginnings that no end can save.
struct Listing<'a, 'b> {
    bench: &'a Bench<'b>,
    share: f64,
    top: Vec<f64>,
    layout: Vec<usize>,
    found: Vec<(f64, Vec<usize>)>,
    visited: usize,
}

impl Listing<'_, '_> {
    fn list_after(&mut self, first: usize, more: usize, pull: &[f64]) {
        let bench = self.bench;
        if more == 0 {
            let bound = pull.iter().copied().fold(0.0, f64::max);
            self.found.push((bound, self.layout.clone()));
            return;
        }
        for kind in first..bench.kinds.len() {
            if self.visited >= LISTED_MOST {
                return;
            }
            self.visited += 1;
            let site = bench.kinds[kind].site;
            let at_site = self.layout.iter().filter(|k| bench.kinds[**k].site == site).count();
            if at_site >= bench.rotor.sites[site].holes_max {
                continue;
            }
            let rest: Vec<f64> = pull.iter().zip(&bench.reach[kind]).map(|(p, r)| p - r).collect();
            #[expect(clippy::cast_precision_loss, reason = "a count of holes is small")]
            let others = (more - 1) as f64;
            if rest.iter().zip(&self.top).all(|(left, top)| left - others * top <= self.share) {
                self.layout.push(kind);
                self.list_after(kind, more - 1, &rest);
                self.layout.pop();
            }
        }
    }
}

/// A window in parts that are each narrow enough to be searched as one.
fn parts(window: Window) -> Vec<Window> {
    let width = window.width_deg();
    let n = (width / PART_DEG).ceil().max(1.0);
    let mut parts = Vec::new();
    let mut k = 0.0;
    while k < n {
        let edge = |k: f64| window.from_deg + width * k / n;
        parts.push(Window { from_deg: edge(k), to_deg: edge(k + 1.0) });
        k += 1.0;
    }
    parts
}

/// Directions turned from those of the unbalance, in one plane and in both at once.
fn directions(target: &[Phasor; 2]) -> Vec<[Phasor; 2]> {
    let turned = |plane: usize, deg: f64| Phasor::polar(1.0, target[plane].angle_deg() + deg);
    let mut directions = Vec::new();
    for k in 0..12 {
        let deg = 30.0 * f64::from(k);
        directions.push([turned(0, deg), Phasor::ZERO]);
        directions.push([Phasor::ZERO, turned(1, deg)]);
        for m in -2..=2 {
            let both = [turned(0, deg), turned(1, deg + 30.0 * f64::from(m))];
            directions.push(both.map(|p| p * 0.5));
        }
    }
    directions
}

/// Up to `most` of `n` places, evenly spread, the first and the last among them.
fn spread(n: usize, most: usize) -> Vec<usize> {
    if n <= most {
        return (0..n).collect();
    }
    (0..most).map(|k| k * (n - 1) / (most - 1)).collect()
}

fn stride_of(choices: &[usize]) -> usize {
    choices.windows(2).map(|pair| pair[1] - pair[0]).max().unwrap_or(1)
}

impl Drill {
    const fn bore(&self, depth_mm: f64) -> Bore {
        Bore { diameter_mm: self.diameter_mm, point_deg: self.point_deg, depth_mm }
    }
}

impl Kind {
    /// `None` where the machine can set no hole of this kind.
    fn of(rotor: &Rotor, site_idx: usize, drill_idx: usize, window: Window) -> Option<Self> {
        let site = &rotor.sites[site_idx];
        let tool = site.drills[drill_idx];
        let profile = Profile::of(&site.drilling(tool.diameter_mm, tool.point_deg)).ok()?;
        let step_mm = rotor.machine.depth_step_mm;
        let shallowest_mm = tool.depth_mm_min.max(profile.least_mm);
        let least = whole_steps((shallowest_mm / step_mm - 1e-9).ceil());
        let most = whole_steps((tool.depth_mm_max / step_mm + 1e-9).floor());
        let share = lever(rotor.plane_z_mm, site.z_mm).ok()?;
        let lever = [share.a / rotor.limit_gmm.a, share.b / rotor.limit_gmm.b];
        let places: Vec<Place> = angles(window, rotor.machine.angle_step_deg)
            .into_iter()
            .filter_map(|angle| {
                let angle_deg = steps_deg(angle, rotor.machine.angle_step_deg);
                let most = deepest(site, tool, angle_deg, least..=most, step_mm)?;
                Some(Place { angle, along: Phasor::polar(1.0, angle_deg), most })
            })
            .collect();
        let kind = Self { site: site_idx, drill: drill_idx, tool, profile, lever, least, places };
        (!kind.places.is_empty()).then_some(kind)
    }

    /// The place of the hole that pulls most along a direction.
    fn most_along(&self, along: &[Phasor; 2]) -> usize {
        let pull = along[0] * self.lever[0] + along[1] * self.lever[1];
        let mut most = (f64::NEG_INFINITY, 0);
        for (idx, place) in self.places.iter().enumerate() {
            let component = place.along.re * pull.re + place.along.im * pull.im;
            if component > most.0 {
                most = (component, idx);
            }
        }
        most.1
    }

    /// How far one hole of this kind can pull along a direction: never less than it truly can.
    fn reach(&self, rotor: &Rotor, along: &[Phasor; 2]) -> f64 {
        let pull = along[0] * self.lever[0] + along[1] * self.lever[1];
        let component = |place: &Place| place.along.re * pull.re + place.along.im * pull.im;
        let (first, last) = (&self.places[0], &self.places[self.places.len() - 1]);
        let cross = |a: Phasor, b: Phasor| a.re * b.im - a.im * b.re;
        let between = cross(first.along, pull) >= 0.0 && cross(pull, last.along) >= 0.0;
        let best = if between && self.places.len() > 1 {
            pull.size()
        } else {
            component(first).max(component(last))
        };
        let step_mm = rotor.machine.depth_step_mm;
        let most = self.places.iter().map(|place| place.most).max().unwrap_or(self.least);
        let depth = if best > 0.0 { most } else { self.least };
        best * self.profile.unbalance_gmm(f64::from(depth) * step_mm)
    }
}

/// The machine's angles within a window, in its order.
fn angles(window: Window, step_deg: f64) -> Vec<u32> {
    let n = whole_steps((360.0 / step_deg - 1e-9).ceil());
    let mut angles: Vec<u32> = (0..n).filter(|k| window.holds(steps_deg(*k, step_deg))).collect();
    let past = |k: &u32| {
        let past = whole_turn_deg(steps_deg(*k, step_deg) - window.from_deg);
        if past >= 360.0 - 1e-9 { 0.0 } else { past }
    };
    angles.sort_by(|a, b| past(a).total_cmp(&past(b)));
    angles
}

/// The greatest depth, in steps, that keeps the web to the holes already there.
fn deepest(
    site: &Site,
    tool: Drill,
    angle_deg: f64,
    steps: std::ops::RangeInclusive<u32>,
    step_mm: f64,
) -> Option<u32> {
    let keeps = |depth: u32| {
        site.existing.iter().all(|hole| {
            let there = Bore {
                diameter_mm: hole.diameter_mm,
                point_deg: hole.point_deg,
                depth_mm: hole.depth_mm,
            };
            let new = tool.bore(steps_deg(depth, step_mm));
            web_left_mm(site.radius_mm, angle_deg - hole.angle_deg, [there, new]) >= site.web_mm
        })
    };
    let (mut good, mut bad) = (*steps.start(), *steps.end());
    if good > bad || !keeps(good) {
        return None;
    }
    if keeps(bad) {
        return Some(bad);
    }
    while bad - good > 1 {
        let middle = good + (bad - good) / 2;
        if keeps(middle) { good = middle } else { bad = middle }
    }
    Some(good)
}

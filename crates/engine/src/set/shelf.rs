//! A shelf: whether some cylinders can all be served from one row of pistons, kept up to date as
//! cylinders come and go.
//!
//! Pistons lie in order of diameter and each cylinder allows an unbroken run of them whose ends
//! both rise with the bore. By Hall's theorem all can be served exactly if for every row of
//! cylinders in order of bore, from `i` to `j`,
//!
//! `cylinders from i to j ≤ end of j's run − start of i's run`.
//!
//! With `D` the running count of cylinders, the worst row is the largest `(D_j − end_j) +
//! (start_i − D_before_i)`, which a tree over the places keeps with a handful of steps a change.

/// A tree over the places (distinct runs) of one row of pistons.
#[derive(Debug, Clone)]
pub(super) struct Shelf {
    leaves: usize,
    nodes: Vec<Node>,
}

#[derive(Debug, Clone, Copy)]
struct Node {
    /// Largest `D_j − end_j` below.
    demand: i32,
    /// Largest `start_i − D_before_i` below.
    supply: i32,
    /// Largest excess of a row below.
    worst: i32,
    /// Cylinders added to all places below since.
    more: i32,
}

const FAR: i32 = i32::MIN / 4;

impl Shelf {
    /// An empty shelf for the given runs, in order of bore.
    pub(super) fn new(runs: &[(i32, i32)]) -> Self {
        let leaves = runs.len().next_power_of_two().max(1);
        let none = Node { demand: FAR, supply: FAR, worst: FAR, more: 0 };
        let mut shelf = Self { leaves, nodes: vec![none; 2 * leaves] };
        for (i, &(start, end)) in runs.iter().enumerate() {
            shelf.nodes[leaves + i] =
                Node { demand: -end, supply: start, worst: start - end, more: 0 };
        }
        for at in (1..leaves).rev() {
            shelf.join(at);
        }
        shelf
    }

    /// Adds cylinders at `places` if all can still be served; otherwise changes nothing.
    pub(super) fn try_add(&mut self, places: &[usize]) -> bool {
        for (done, &place) in places.iter().enumerate() {
            self.change(place, 1);
            if self.nodes[1].worst > 0 {
                for &place in &places[..=done] {
                    self.change(place, -1);
                }
                return false;
            }
        }
        true
    }

    /// Takes a cylinder away from a place at which one was added.
    pub(super) fn remove(&mut self, place: usize) {
        self.change(place, -1);
    }

    fn change(&mut self, place: usize, by: i32) {
        let mut at = self.leaves + place;
        self.nodes[at].demand += by;
        self.nodes[at].worst += by;
        while at > 1 {
            if at & 1 == 0 {
                let right = &mut self.nodes[at + 1];
                right.demand += by;
                right.supply -= by;
                right.more += by;
            }
            at >>= 1;
            self.join(at);
        }
    }

    fn join(&mut self, at: usize) {
        let (left, right) = (self.nodes[2 * at], self.nodes[2 * at + 1]);
        let more = self.nodes[at].more;
        self.nodes[at] = Node {
            demand: left.demand.max(right.demand) + more,
            supply: left.supply.max(right.supply) - more,
            worst: left.worst.max(right.worst).max(left.supply + right.demand),
            more,
        };
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Earliest fit: each cylinder, in order of bore, the first unused piston of its run.
    fn served(runs: &[(i32, i32)], count: &[usize]) -> bool {
        let mut next = 0;
        runs.iter().zip(count).all(|(&(start, end), &n)| {
            (0..n).all(|_| {
                let piston = next.max(start);
                next = piston + 1;
                piston < end
            })
        })
    }

    proptest::proptest! {
        #[test]
        fn a_shelf_takes_what_the_earliest_fit_serves(
            steps in proptest::collection::vec((0_i32..3, 0_i32..3), 1..12),
            tried in proptest::collection::vec((0_usize..12, 0_usize..12), 0..30),
        ) {
            let (mut start, mut end) = (0, 1);
            let mut runs = Vec::new();
            for (a, b) in steps {
                end = (end + b).max(start + a);
                start += a;
                runs.push((start, end));
            }
            let mut shelf = Shelf::new(&runs);
            let mut count = vec![0; runs.len()];
            for (a, b) in tried {
                let places = [a % runs.len(), b % runs.len()];
                let mut with = count.clone();
                places.iter().for_each(|&p| with[p] += 1);
                let fits = served(&runs, &with);
                proptest::prop_assert_eq!(shelf.try_add(&places), fits);
                if fits {
                    count = with;
                }
            }
        }
    }
}

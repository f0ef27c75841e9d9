//! The daybook: everything that happened, written down as it is thought of and put in order at the
//! end.
//!
//! What falls after the last instant is left out; since nothing is used before it is there, what
//! remains is the record of a works as it stood at that instant.

use std::collections::{BTreeMap, HashMap};
use std::sync::Arc;

use bedplate_gauge::quantity::Quantity;
use bedplate_record::entry::{Entry, Event};
use bedplate_record::reading::{Context, Millis, Name, Reading};
use bedplate_record::store::Group;

use crate::calendar::{END, Shift, instant, shift_at};
use crate::drawing::Characteristic;

/// A bench with its people, one for each shift.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Bench {
    /// What readings name as their source.
    pub(crate) name: &'static str,
    /// Shift A's person.
    pub(crate) a: &'static str,
    /// Shift B's person.
    pub(crate) b: &'static str,
}

impl Bench {
    /// Who stands there at a working minute.
    pub(crate) fn person(&self, minute: f64) -> &'static str {
        match shift_at(minute) {
            Shift::A => self.a,
            Shift::B => self.b,
        }
    }
}

/// What made a feature, where it is more than the operation's own machine; any may be empty.
#[derive(Debug, Clone, Copy, Default)]
pub(crate) struct Cut<'a> {
    /// The machine, if not the one the works file names.
    pub(crate) machine: &'a str,
    /// The spindle.
    pub(crate) spindle: &'a str,
    /// The tool.
    pub(crate) tool: &'a str,
}

/// A reading before it is written down.
#[derive(Debug)]
pub(crate) struct Noted<'a> {
    /// The characteristic.
    pub(crate) of: &'a Characteristic,
    /// The position's place in the characteristic's list.
    pub(crate) position: usize,
    /// The piece or engine.
    pub(crate) piece: &'a Name,
    /// What the gauge showed.
    pub(crate) value: Quantity,
    /// Where it was taken.
    pub(crate) bench: Bench,
    /// What made the feature.
    pub(crate) cut: Cut<'a>,
}

/// Entries and readings with their instants, in any order.
#[derive(Debug)]
pub(crate) struct Daybook {
    edition: Name,
    /// By characteristic, bench and person; each list in the order of its tools.
    contexts: HashMap<(Name, &'static str, &'static str), Vec<Arc<Context>>>,
    names: HashMap<String, Name>,
    /// By the hour in which they happened.
    hours: BTreeMap<i64, Group>,
}

const HOUR_MILLIS: i64 = 3_600_000;

impl Daybook {
    /// An empty daybook under an edition of the plan.
    pub(crate) fn new(edition: &str) -> Self {
        Self {
            edition: Name::from(edition),
            contexts: HashMap::new(),
            names: HashMap::new(),
            hours: BTreeMap::new(),
        }
    }

    /// Writes down what happened.
    pub(crate) fn enter(&mut self, minute: f64, by: &str, event: Event) {
        if minute > END {
            return;
        }
        let edition = self.edition.to_string();
        let entry = Entry { at: instant(minute), by: by.to_owned(), edition, event };
        self.hour(entry.at).entries.push(entry);
    }

    /// Writes down a reading.
    pub(crate) fn read(&mut self, minute: f64, noted: &Noted<'_>) {
        if minute > END {
            return;
        }
        let context = self.context(minute, noted);
        let at = instant(minute);
        self.hour(at).readings.push(Reading {
            at,
            characteristic: Arc::clone(&noted.of.id),
            piece: Arc::clone(noted.piece),
            position: Arc::clone(&noted.of.positions[noted.position]),
            value: noted.value,
            context,
        });
    }

    /// What the readings of one characteristic share at one bench in one shift with one tool.
    fn context(&mut self, minute: f64, noted: &Noted<'_>) -> Arc<Context> {
        let (of, bench, cut) = (noted.of, noted.bench, noted.cut);
        let person = bench.person(minute);
        let machine = if cut.machine.is_empty() { &of.machine } else { cut.machine };
        let key = (Arc::clone(&of.id), bench.name, person);
        let same = |c: &&Arc<Context>| {
            &*c.machine == machine && &*c.spindle == cut.spindle && &*c.tool == cut.tool
        };
        let known = self.contexts.get(&key).and_then(|list| list.iter().rfind(same));
        if let Some(known) = known {
            return Arc::clone(known);
        }
        let context = Arc::new(Context {
            gauge: Arc::clone(&of.gauge),
            person: self.name(person),
            machine: self.name(machine),
            spindle: self.name(cut.spindle),
            tool: self.name(cut.tool),
            source: self.name(bench.name),
            edition: Arc::clone(&self.edition),
        });
        self.contexts.entry(key).or_default().push(Arc::clone(&context));
        context
    }

    /// One shared name for a text that occurs again and again.
    fn name(&mut self, text: &str) -> Name {
        if let Some(known) = self.names.get(text) {
            return Arc::clone(known);
        }
        let name = Name::from(text);
        self.names.insert(text.to_owned(), Arc::clone(&name));
        name
    }

    fn hour(&mut self, at: Millis) -> &mut Group {
        self.hours.entry(at.div_euclid(HOUR_MILLIS)).or_default()
    }

    /// Everything in order of time, a group for each hour in which something happened.
    pub(crate) fn into_groups(self, seed: u64) -> Vec<Group> {
        let in_order = |(place, mut group): (usize, Group)| {
            group.deed = deed_id(seed, place);
            group.entries.sort_by_key(|entry| entry.at);
            group.readings.sort_by_key(|reading| reading.at);
            let entry = group.entries.last().map(|e| e.at);
            let reading = group.readings.last().map(|r| r.at);
            group.closed_at = entry.max(reading).unwrap_or_default();
            group
        };
        self.hours.into_values().enumerate().map(in_order).collect()
    }
}

/// The id of the deed that writes a group: the same works gives the same ids.
fn deed_id(seed: u64, group: usize) -> [u8; 16] {
    let hash = blake3::hash(format!("quarrybeck/{seed}/{group}").as_bytes());
    let mut id = [0; 16];
    id.copy_from_slice(&hash.as_bytes()[..16]);
    id
}

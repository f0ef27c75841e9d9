//! A works that is open: its plan, its record, and the floor folded from it.

use std::any::Any;
use std::collections::HashMap;
use std::path::{Path, PathBuf};
use std::sync::{Arc, Mutex, PoisonError, RwLock};

use bedplate_record::entry::{Entry, KeptEntry};

pub use bedplate_record::entry::{Event, HoleDrilled, PlaceFilled};
use bedplate_record::reading::{Millis, Reading};
pub use bedplate_record::sqlite::SqliteStore;
pub use bedplate_record::store::Store;
use bedplate_record::store::{Appended, DeedId, Group, Head, StoreError, Verified, Wanted};

use crate::floor::Floor;
use crate::plan::Plan;
use crate::plan::read::PlanFault;
use crate::who::Doing;

/// Why a deed was not done. Each variant carries the facts; [`WorksError::kind`] sorts them.
#[derive(Debug, thiserror::Error)]
pub enum WorksError {
    /// The works file is not in order.
    #[error("the works file is not in order")]
    Plan(#[from] PlanFault),
    /// The record refused.
    #[error(transparent)]
    Store(#[from] StoreError),
    /// Nobody of this name.
    #[error("\"{person}\" is not one of the works' people{}; known are {}", did_you_mean(.nearest), list(.people))]
    UnknownPerson {
        /// As given.
        person: String,
        /// The nearest known.
        nearest: Option<String>,
        /// All known.
        people: Vec<String>,
    },
    /// Not in this person's roles.
    #[error("{person} may not {}", .doing.words())]
    NotAllowed {
        /// Who.
        person: String,
        /// What.
        doing: Doing,
    },
    /// Something that is not there.
    #[error("there is no {kind} \"{name}\"{}", did_you_mean(.nearest))]
    Unknown {
        /// `piece`, `engine`, `set`, `characteristic`, …
        kind: &'static str,
        /// As given.
        name: String,
        /// The nearest known.
        nearest: Option<String>,
    },
    /// The deed contradicts what is so.
    #[error("{what}: {reason}")]
    Refused {
        /// What was asked.
        what: String,
        /// Why not, and what would be right.
        reason: String,
    },
    /// A file could not be read or written.
    #[error("{path}: {cause}")]
    File {
        /// The file.
        path: String,
        /// What the system said.
        cause: String,
    },
}

fn did_you_mean(nearest: &Option<String>) -> String {
    nearest.as_ref().map_or_else(String::new, |n| format!("; did you mean \"{n}\"?"))
}

fn list(names: &[String]) -> String {
    if names.is_empty() { "nobody yet".to_owned() } else { names.join(", ") }
}

/// The five kinds of trouble; each has an exit code and an HTTP status in the binary.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum TroubleKind {
    /// Asked in the wrong way, or for what is not there.
    Usage,
    /// Data refused.
    Refused,
    /// The record is damaged.
    Damaged,
    /// Disk, database, network.
    Outside,
}

impl WorksError {
    /// A refusal in words.
    #[must_use]
    pub fn refused(what: impl Into<String>, reason: impl Into<String>) -> Self {
        Self::Refused { what: what.into(), reason: reason.into() }
    }

    /// Which kind of trouble it is.
    #[must_use]
    pub const fn kind(&self) -> TroubleKind {
        match self {
            Self::Plan(_) | Self::Refused { .. } => TroubleKind::Refused,
            Self::UnknownPerson { .. } | Self::NotAllowed { .. } | Self::Unknown { .. } => {
                TroubleKind::Usage
            }
            Self::Store(StoreError::Damaged { .. }) => TroubleKind::Damaged,
            Self::Store(StoreError::Unkeepable { .. } | StoreError::HeadMoved { .. }) => {
                TroubleKind::Refused
            }
            Self::Store(_) | Self::File { .. } => TroubleKind::Outside,
        }
    }
}

/// Who does something, when, under which id. The same id twice is done once.
#[derive(Debug, Clone)]
pub struct Deed {
    /// Id made by the caller.
    pub id: DeedId,
    /// Short name of the person or device.
    pub by: String,
    /// Now.
    pub at: Millis,
}

/// What has just been added to the record, for whoever listens.
#[derive(Debug, Clone)]
pub struct News {
    /// The head after it.
    pub head: Head,
    /// Entries, with their numbers.
    pub entries: Vec<KeptEntry>,
    /// Readings, with the number of the first.
    pub readings: Vec<Reading>,
    /// The number of the first reading.
    pub first_reading: u64,
}

type Listener = Box<dyn Fn(&News) + Send + Sync>;
type Remembered = (u64, Arc<dyn Any + Send + Sync>);

/// How many derived answers are remembered before all are forgotten.
const REMEMBERED_MAX: usize = 64;

/// A works that is open.
pub struct Works {
    folder: PathBuf,
    plan: RwLock<Arc<Plan>>,
    editions: RwLock<HashMap<String, Arc<Plan>>>,
    store: Box<dyn Store>,
    floor: RwLock<Floor>,
    /// Held by deeds that first look at the floor and then write, so that no piece is used twice.
    deciding: Mutex<()>,
    listeners: RwLock<Vec<Listener>>,
    remembered: Mutex<HashMap<String, Remembered>>,
}

/// Among how many of the last numbers the newest reading is looked for.
const NEWEST_LOOK: u64 = 256;
/// How many entries are folded at a time when a works is opened.
const ENTRIES_AT_ONCE: usize = 20_000;

impl Works {
    /// Opens a works from its plan and store; folds the floor; if the plan is of a new edition, an
    /// entry says so in the name of `deed`.
    ///
    /// # Errors
    /// [`WorksError::Store`].
    pub fn open(
        folder: &Path,
        plan: Plan,
        store: Box<dyn Store>,
        deed: &Deed,
    ) -> Result<Self, WorksError> {
        let works = Self::around(folder, plan, store);
        works.fold_all()?;
        works.take_edition(deed)?;
        Ok(works)
    }

    /// Opens a works that was just laid, with the floor that [`lay`] gave.
    ///
    /// # Errors
    /// [`WorksError::Store`].
    pub fn open_laid(
        folder: &Path,
        plan: Plan,
        store: Box<dyn Store>,
        floor: Floor,
        deed: &Deed,
    ) -> Result<Self, WorksError> {
        let works = Self { floor: RwLock::new(floor), ..Self::around(folder, plan, store) };
        works.take_edition(deed)?;
        Ok(works)
    }

    fn around(folder: &Path, plan: Plan, store: Box<dyn Store>) -> Self {
        let plan = Arc::new(plan);
        Self {
            folder: folder.to_owned(),
            plan: RwLock::new(Arc::clone(&plan)),
            editions: RwLock::new(HashMap::from([(plan.edition.clone(), plan)])),
            store,
            floor: RwLock::new(Floor::default()),
            deciding: Mutex::new(()),
            listeners: RwLock::new(Vec::new()),
            remembered: Mutex::new(HashMap::new()),
        }
    }

    /// Opens a works for looking only: nothing is written, not even a new edition of the plan.
    ///
    /// # Errors
    /// [`WorksError::Store`].
    pub fn look(folder: &Path, plan: Plan, store: Box<dyn Store>) -> Result<Self, WorksError> {
        let works = Self::around(folder, plan, store);
        works.fold_all()?;
        Ok(works)
    }

    fn fold_all(&self) -> Result<(), WorksError> {
        let mut floor = Floor::default();
        loop {
            let entries = self.store.entries(floor.last_number + 1, ENTRIES_AT_ONCE)?;
            let Some(last) = entries.last() else { break };
            let last_number = last.number;
            entries.iter().for_each(|kept| floor.fold(kept));
            floor.last_number = last_number;
        }
        floor.latest = floor.latest.max(self.newest_reading()?);
        *self.floor.write().unwrap_or_else(PoisonError::into_inner) = floor;
        Ok(())
    }

    /// When the newest readings were taken: those among the last numbers of the record.
    fn newest_reading(&self) -> Result<Millis, WorksError> {
        let last = self.store.head()?.last_number;
        let numbers: Vec<u64> = (last.saturating_sub(NEWEST_LOOK).max(1)..=last).collect();
        let readings = self.store.readings(&Wanted::Numbers(&numbers))?;
        Ok(readings.iter().map(|r| r.reading.at).max().unwrap_or(i64::MIN))
    }

    fn take_edition(&self, deed: &Deed) -> Result<(), WorksError> {
        let plan = self.plan();
        if self.floor(|f| f.editions.last() == Some(&plan.edition)) {
            return Ok(());
        }
        let event = Event::PlanTaken { edition: plan.edition.clone(), text: plan.text.clone() };
        self.write(deed, vec![event], vec![]).map(|_| ())
    }

    /// The works' folder.
    #[must_use]
    pub fn folder(&self) -> &Path {
        &self.folder
    }

    /// The plan in force.
    #[must_use]
    pub fn plan(&self) -> Arc<Plan> {
        Arc::clone(&self.plan.read().unwrap_or_else(PoisonError::into_inner))
    }

    /// The plan of an edition, as it stood; the plan in force if that edition can no longer be
    /// read.
    #[must_use]
    pub fn plan_of(&self, edition: &str) -> Arc<Plan> {
        if let Some(known) =
            self.editions.read().unwrap_or_else(PoisonError::into_inner).get(edition)
        {
            return Arc::clone(known);
        }
        let old = self.old_edition(edition).map_or_else(|| self.plan(), Arc::new);
        self.editions
            .write()
            .unwrap_or_else(PoisonError::into_inner)
            .insert(edition.to_owned(), Arc::clone(&old));
        old
    }

    fn old_edition(&self, wanted: &str) -> Option<Plan> {
        let mut from = 1;
        loop {
            let entries = self.store.entries(from, ENTRIES_AT_ONCE).ok()?;
            from = entries.last()?.number + 1;
            for kept in entries {
                if let Event::PlanTaken { edition, text } = kept.entry.event
                    && edition == wanted
                {
                    return crate::plan::read::parse("works.toml", &text).ok();
                }
            }
        }
    }

    /// The record.
    #[must_use]
    pub fn store(&self) -> &dyn Store {
        self.store.as_ref()
    }

    /// Looks at the floor.
    pub fn floor<T>(&self, look: impl FnOnce(&Floor) -> T) -> T {
        look(&self.floor.read().unwrap_or_else(PoisonError::into_inner))
    }

    /// Runs a deed that looks at the floor before it writes, alone.
    ///
    /// # Errors
    /// Whatever `deed` gives.
    pub fn alone<T>(&self, deed: impl FnOnce() -> Result<T, WorksError>) -> Result<T, WorksError> {
        let _alone = self.deciding.lock().unwrap_or_else(PoisonError::into_inner);
        deed()
    }

    /// Is told of everything that is added from now on.
    pub fn listen(&self, listener: impl Fn(&News) + Send + Sync + 'static) {
        self.listeners.write().unwrap_or_else(PoisonError::into_inner).push(Box::new(listener));
    }

    /// Appends events and readings as one group, durably, and folds them into the floor.
    ///
    /// # Errors
    /// [`WorksError::Store`]; then nothing was kept.
    pub fn write(
        &self,
        deed: &Deed,
        events: Vec<Event>,
        readings: Vec<Reading>,
    ) -> Result<Appended, WorksError> {
        let edition = self.plan().edition.clone();
        let entry =
            |event| Entry { at: deed.at, by: deed.by.clone(), edition: edition.clone(), event };
        let entries = events.into_iter().map(entry).collect();
        let group = Group { deed: deed.id, closed_at: deed.at, entries, readings };
        let appended = self.store.append(&group, None)?;
        if !appended.already_done {
            self.spread(group, &appended);
        }
        Ok(appended)
    }

    fn spread(&self, group: Group, appended: &Appended) {
        let kept: Vec<KeptEntry> = (appended.first_number..)
            .zip(group.entries)
            .map(|(number, entry)| KeptEntry { number, entry })
            .collect();
        let first_reading = appended.first_number + kept.len() as u64;
        {
            let mut floor = self.floor.write().unwrap_or_else(PoisonError::into_inner);
            kept.iter().for_each(|k| floor.fold(k));
            let newest = group.readings.iter().map(|r| r.at).max().unwrap_or(i64::MIN);
            floor.latest = floor.latest.max(newest);
        }
        let news =
            News { head: appended.head, entries: kept, readings: group.readings, first_reading };
        for listener in self.listeners.read().unwrap_or_else(PoisonError::into_inner).iter() {
            listener(&news);
        }
    }

    /// What `derive` gives, remembered under `key` until anything is added to the record: for
    /// answers that many pages ask for and that take long.
    ///
    /// # Errors
    /// Whatever `derive` gives; an error is not remembered.
    pub fn remembered<T: Any + Send + Sync>(
        &self,
        key: &str,
        derive: impl FnOnce() -> Result<T, WorksError>,
    ) -> Result<Arc<T>, WorksError> {
        let now = self.store.head()?.last_number;
        let found = self
            .remembered
            .lock()
            .unwrap_or_else(PoisonError::into_inner)
            .get(key)
            .filter(|(at, _)| *at == now)
            .and_then(|(_, answer)| Arc::clone(answer).downcast::<T>().ok());
        if let Some(answer) = found {
            return Ok(answer);
        }
        let answer = Arc::new(derive()?);
        let mut remembered = self.remembered.lock().unwrap_or_else(PoisonError::into_inner);
        if remembered.len() >= REMEMBERED_MAX {
            remembered.clear();
        }
        remembered.insert(key.to_owned(), (now, Arc::clone(&answer) as _));
        Ok(answer)
    }

    /// The instant the figures stand for: the newest in the record.
    #[must_use]
    pub fn as_of(&self) -> Millis {
        self.floor(|f| f.latest)
    }

    /// Recomputes every seal.
    ///
    /// # Errors
    /// [`WorksError::Store`].
    pub fn verify(&self, progress: &mut dyn FnMut(u64, u64)) -> Result<Verified, WorksError> {
        Ok(self.store.verify(progress)?)
    }
}

/// Lays whole groups into an empty store, in order, and gives the floor folded from them: for the
/// demo works. The floor is folded while the store writes, so that nothing is read twice.
///
/// # Errors
/// [`StoreError`]; then nothing was kept.
pub fn lay(store: &dyn Store, groups: Vec<Group>) -> Result<Floor, StoreError> {
    let mut first = 1;
    let mut entries = vec![];
    let mut latest = i64::MIN;
    for group in &groups {
        let numbered = (first..).zip(group.entries.iter().cloned());
        entries.extend(numbered.map(|(number, entry)| KeptEntry { number, entry }));
        latest = group.readings.iter().map(|r| r.at).fold(latest, Millis::max);
        first += (group.entries.len() + group.readings.len()) as u64;
    }
    std::thread::scope(|scope| {
        let folding = scope.spawn(|| {
            let mut floor = Floor::default();
            entries.iter().for_each(|kept| floor.fold(kept));
            floor.latest = floor.latest.max(latest);
            floor
        });
        store.append_all(groups)?;
        match folding.join() {
            Ok(floor) => Ok(floor),
            Err(fault) => std::panic::resume_unwind(fault),
        }
    })
}

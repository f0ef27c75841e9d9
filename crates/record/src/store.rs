//! The one interface behind which the record is kept.
//!
//! Six deeds: append a group given the head believed in, read entries in a range, find entries by
//! what they are about, read readings, verify, and make a backup. No method per table. Clock and
//! ids come in as arguments. Synchronous: a page calls it from a blocking pool. One writer at a
//! time, since a chain has exactly one next group.
//!
//! Acknowledged means durable: [`Store::append`] returns only after the group is on disk.

use std::path::Path;

use crate::entry::{Entry, KeptEntry, Subject};
use crate::reading::{KeptReading, Millis, Reading};

/// A seal: BLAKE3 over a group's content and the seal before it.
#[derive(Clone, Copy, PartialEq, Eq, Hash)]
pub struct Seal(pub [u8; 32]);

impl Seal {
    /// The seal before the first group.
    pub const FIRST: Self = Self([0; 32]);
}

impl std::fmt::Display for Seal {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        self.0.iter().try_for_each(|b| write!(f, "{b:02x}"))
    }
}

impl std::fmt::Debug for Seal {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        write!(f, "Seal({self})")
    }
}

/// The id of a deed, made by the caller. The same id twice is done once.
pub type DeedId = [u8; 16];

/// The end of the chain.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Head {
    /// How many groups there are.
    pub groups: u64,
    /// The number of the last reading or entry; 0 for an empty record.
    pub last_number: u64,
    /// The seal of the last group, or [`Seal::FIRST`].
    pub seal: Seal,
}

/// What one deed appends: its entries, then its readings, all or nothing.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Group {
    /// The deed's id.
    pub deed: DeedId,
    /// When the group was closed.
    pub closed_at: Millis,
    /// Typed entries.
    pub entries: Vec<Entry>,
    /// Readings.
    pub readings: Vec<Reading>,
}

/// What an append gave.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Appended {
    /// The number of the group's first entry or reading; they follow in order, entries first.
    pub first_number: u64,
    /// The head after the group.
    pub head: Head,
    /// True if the deed was in the record already and nothing was added.
    pub already_done: bool,
}

/// Which readings are wanted. They come back in order of their number, except `Newest`, which gives
/// the newest last as well.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Wanted<'a> {
    /// Those of one characteristic, taken in `from..=to`.
    Characteristic {
        /// Its name.
        name: &'a str,
        /// Earliest.
        from: Millis,
        /// Latest.
        to: Millis,
    },
    /// The newest of one characteristic: those with the highest numbers, which came into the record
    /// last.
    Newest {
        /// Its name.
        name: &'a str,
        /// Position, or empty for any.
        position: &'a str,
        /// How many at the most.
        count: usize,
    },
    /// All of one piece.
    Piece(&'a str),
    /// All taken with one gauge in `from..=to`.
    Gauge {
        /// The gauge.
        gauge: &'a str,
        /// Earliest.
        from: Millis,
        /// Latest.
        to: Millis,
    },
    /// Those with these numbers.
    Numbers(&'a [u64]),
}

/// What a verification found.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Verified {
    /// Groups whose seal agrees, from the first.
    pub groups: u64,
    /// Entries in them.
    pub entries: u64,
    /// Readings in them.
    pub readings: u64,
    /// The head as stored.
    pub head: Head,
    /// The first damage, if any.
    pub broken: Option<Broken>,
}

/// Where the chain breaks.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Broken {
    /// The group, counted from 1; 0 where every group agrees with its seal and only what was built
    /// for look-up does not.
    pub group: u64,
    /// The first number in doubt; 0 with group 0.
    pub number: u64,
    /// What was found, in words.
    pub finding: String,
}

/// Why the record could not be read or written.
#[derive(Debug, thiserror::Error)]
pub enum StoreError {
    /// Somebody else appended since the head was read.
    #[error("the record has moved on: its head is {found}, not {believed}")]
    HeadMoved {
        /// What the caller believed.
        believed: Seal,
        /// What it is.
        found: Seal,
    },
    /// What is stored contradicts itself.
    #[error("the record is damaged at number {number}: {finding}")]
    Damaged {
        /// Where; 0 where the file gives no place.
        number: u64,
        /// What was found.
        finding: String,
    },
    /// Written by a newer program.
    #[error("the record has format {found}; this program reads up to {known}")]
    Newer {
        /// The format found.
        found: u32,
        /// The newest known.
        known: u32,
    },
    /// Another process writes to the record.
    #[error("the record in {path} is in use by another process")]
    InUse {
        /// The file.
        path: String,
    },
    /// The database or the disk refused.
    #[error("the store at {path} refused: {cause}")]
    Outside {
        /// The file or address.
        path: String,
        /// What it said.
        cause: String,
    },
    /// The group cannot be kept: a text too long, or no content.
    #[error("this cannot be kept: {reason}")]
    Unkeepable {
        /// Why.
        reason: String,
    },
}

/// A record.
pub trait Store: Send + Sync {
    /// The end of the chain.
    ///
    /// # Errors
    /// [`StoreError::Outside`].
    fn head(&self) -> Result<Head, StoreError>;

    /// Appends `group`, durably, all or nothing. With `believed`, only if the head still has that
    /// seal. A deed id that is in the record already appends nothing and gives the first answer; so
    /// after a refusal, or no answer at all, the same group can be handed over again.
    ///
    /// # Errors
    /// [`StoreError::HeadMoved`], [`StoreError::Unkeepable`], [`StoreError::Outside`].
    fn append(&self, group: &Group, believed: Option<Seal>) -> Result<Appended, StoreError>;

    /// Appends many groups, each with its own seal: for bulk. A store that can keeps all or none of
    /// them; the order of the answers is that of the groups.
    ///
    /// # Errors
    /// As [`Store::append`]. Where groups are kept one by one, those before the refused one stay.
    fn append_all(&self, groups: Vec<Group>) -> Result<Vec<Appended>, StoreError> {
        groups.iter().map(|group| self.append(group, None)).collect()
    }

    /// Entries with numbers from `from` on, `limit` at the most, in order.
    ///
    /// # Errors
    /// [`StoreError::Damaged`], [`StoreError::Outside`].
    fn entries(&self, from: u64, limit: usize) -> Result<Vec<KeptEntry>, StoreError>;

    /// Entries about `subject`, in order.
    ///
    /// # Errors
    /// [`StoreError::Damaged`], [`StoreError::Outside`].
    fn about(&self, subject: &Subject) -> Result<Vec<KeptEntry>, StoreError>;

    /// Readings.
    ///
    /// # Errors
    /// [`StoreError::Damaged`], [`StoreError::Outside`].
    fn readings(&self, wanted: &Wanted<'_>) -> Result<Vec<KeptReading>, StoreError>;

    /// The group that holds `number`, with its seal: for showing what closes an engine's record.
    ///
    /// # Errors
    /// [`StoreError::Outside`].
    fn seal_of(&self, number: u64) -> Result<Option<(u64, Seal)>, StoreError>;

    /// Recomputes the chain from the first group to the head. `progress` is told how many of how
    /// many groups are done.
    ///
    /// # Errors
    /// [`StoreError::Outside`]; damage is not an error but a finding.
    fn verify(&self, progress: &mut dyn FnMut(u64, u64)) -> Result<Verified, StoreError>;

    /// As [`Store::verify`], then compares with a head that was kept outside (printed on an
    /// engine's sheet, sent to a second keeper). Only this finds an end that was cut off, or a
    /// record that was written anew from some group on.
    ///
    /// # Errors
    /// [`StoreError::Outside`]; damage is not an error but a finding.
    fn verify_against(
        &self,
        outside: &Head,
        progress: &mut dyn FnMut(u64, u64),
    ) -> Result<Verified, StoreError> {
        let mut found = self.verify(progress)?;
        if found.broken.is_none() && outside.groups > 0 {
            found.broken = match self.seal_of(outside.last_number)? {
                Some((group, seal)) if group == outside.groups && seal == outside.seal => None,
                Some((group, seal)) => Some(Broken {
                    group,
                    number: outside.last_number,
                    finding: format!(
                        "the record was written anew at or before this: group {group} closes with \
                         {seal}, the outside head says group {} with {}",
                        outside.groups, outside.seal
                    ),
                }),
                None => Some(Broken {
                    group: found.head.groups.saturating_add(1),
                    number: found.head.last_number.saturating_add(1),
                    finding: format!(
                        "the end was cut off: the record stops at group {} and number {}, the \
                         outside head says group {} and number {}",
                        found.head.groups,
                        found.head.last_number,
                        outside.groups,
                        outside.last_number
                    ),
                }),
            };
        }
        Ok(found)
    }

    /// Writes a copy to `to` while others go on writing; gives the head of the copy.
    ///
    /// # Errors
    /// [`StoreError::Outside`], also if `to` exists.
    fn backup(&self, to: &Path) -> Result<Head, StoreError>;
}

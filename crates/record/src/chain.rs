//! The chain: what is hashed, in which order.
//!
//! Every member of a group (entry or reading) has a digest over its canonical bytes, its number
//! among them. The group's seal is a hash over the group's own facts, the seal before it and the
//! digests of its members in order. Names stand in the canonical bytes as text, never as the ids
//! under which a store keeps them, so that a store's table of names cannot be altered unseen.
//!
//! Canonical bytes: integers little-endian; a text is its length in bytes as `u32`, then UTF-8.
//!
//! - entry: `E`, number `u64`, the kept JSON as a text;
//! - context: `C`, then gauge, person, machine, spindle, tool, source, edition as texts;
//! - reading: `R`, number `u64`, at `i64`, characteristic, piece, position as texts, mantissa
//!   `i64`, exponent `i8`, unit symbol as a text, digest of the context (32 bytes);
//! - group: `G`, format `u32`, group `u64`, seal before (32 bytes), deed id (16 bytes), closed at
//!   `i64`, first number `u64`, entries `u32`, readings `u32`, then each member's digest (32
//!   bytes), entries first.
//!
//! The hash is BLAKE3, 32 bytes. What the chain cannot show by itself: that its end was cut off, or
//! that all of it was written anew by somebody who can write the file. For that a head must be kept
//! outside; see [`crate::store::Store::verify_against`].

use crate::reading::{Context, Millis, Reading};
use crate::store::{DeedId, Seal};

/// The version of the canonical bytes; it is part of every seal.
pub const FORMAT: u32 = 1;

/// BLAKE3 over the canonical bytes of one entry, reading or context.
#[derive(Clone, Copy, PartialEq, Eq, Hash)]
pub struct Digest(pub [u8; 32]);

impl Digest {
    /// The first four bytes as a number (little-endian): the short word that is kept with each
    /// reading, so that damage can be traced to it. It only names; what proves is the seal.
    #[must_use]
    pub fn check_word(&self) -> u32 {
        let [a, b, c, d, ..] = self.0;
        u32::from_le_bytes([a, b, c, d])
    }
}

impl std::fmt::Debug for Digest {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        write!(f, "Digest({})", Seal(self.0))
    }
}

/// What a group's seal covers besides its members.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Closing {
    /// The group's number, from 1.
    pub group: u64,
    /// The seal of the group before it, or [`Seal::FIRST`].
    pub previous: Seal,
    /// The deed that appended it.
    pub deed: DeedId,
    /// When it was closed.
    pub closed_at: Millis,
    /// The number of its first member.
    pub first_number: u64,
    /// How many entries it has; they come first.
    pub entries: u32,
    /// How many readings it has.
    pub readings: u32,
}

/// A reading as its canonical bytes see it.
pub(crate) struct Sealed<'a> {
    pub(crate) at: Millis,
    pub(crate) characteristic: &'a str,
    pub(crate) piece: &'a str,
    pub(crate) position: &'a str,
    pub(crate) mantissa: i64,
    pub(crate) exponent: i8,
    pub(crate) unit: &'a str,
    pub(crate) context: &'a Digest,
}

/// The digest of the entry kept as `bytes` under `number`.
#[must_use]
pub fn entry_digest(number: u64, bytes: &[u8]) -> Digest {
    let mut canonical = Vec::with_capacity(bytes.len() + 16);
    canonical.push(b'E');
    canonical.extend_from_slice(&number.to_le_bytes());
    put_text(&mut canonical, bytes);
    Digest(blake3::hash(&canonical).into())
}

/// The digest of a context; readings of one bench and run share it.
#[must_use]
pub fn context_digest(context: &Context) -> Digest {
    let Context { gauge, person, machine, spindle, tool, source, edition } = context;
    let mut canonical = vec![b'C'];
    for name in [gauge, person, machine, spindle, tool, source, edition] {
        put_text(&mut canonical, name.as_bytes());
    }
    Digest(blake3::hash(&canonical).into())
}

/// The digest of `reading` under `number`; `context` is the digest of its context.
#[must_use]
pub fn reading_digest(number: u64, reading: &Reading, context: &Digest) -> Digest {
    sealed_digest(
        number,
        &Sealed {
            at: reading.at,
            characteristic: &reading.characteristic,
            piece: &reading.piece,
            position: &reading.position,
            mantissa: reading.value.mantissa(),
            exponent: reading.value.exponent(),
            unit: reading.value.unit().symbol,
            context,
        },
    )
}

/// As [`reading_digest`], for a store that has the reading's parts at hand.
pub(crate) fn sealed_digest(number: u64, reading: &Sealed<'_>) -> Digest {
    let mut canonical = Vec::with_capacity(192);
    canonical.push(b'R');
    canonical.extend_from_slice(&number.to_le_bytes());
    canonical.extend_from_slice(&reading.at.to_le_bytes());
    put_text(&mut canonical, reading.characteristic.as_bytes());
    put_text(&mut canonical, reading.piece.as_bytes());
    put_text(&mut canonical, reading.position.as_bytes());
    canonical.extend_from_slice(&reading.mantissa.to_le_bytes());
    canonical.extend_from_slice(&reading.exponent.to_le_bytes());
    put_text(&mut canonical, reading.unit.as_bytes());
    canonical.extend_from_slice(&reading.context.0);
    Digest(blake3::hash(&canonical).into())
}

/// The seal of a group: `members` are the digests of its entries, then of its readings, in order.
#[must_use]
pub fn seal<'a>(closing: &Closing, members: impl IntoIterator<Item = &'a Digest>) -> Seal {
    let mut hasher = blake3::Hasher::new();
    hasher.update(b"G");
    hasher.update(&FORMAT.to_le_bytes());
    hasher.update(&closing.group.to_le_bytes());
    hasher.update(&closing.previous.0);
    hasher.update(&closing.deed);
    hasher.update(&closing.closed_at.to_le_bytes());
    hasher.update(&closing.first_number.to_le_bytes());
    hasher.update(&closing.entries.to_le_bytes());
    hasher.update(&closing.readings.to_le_bytes());
    for member in members {
        hasher.update(&member.0);
    }
    Seal(hasher.finalize().into())
}

fn put_text(canonical: &mut Vec<u8>, text: &[u8]) {
    let length = u32::try_from(text.len()).expect("texts are refused long before 4 GB");
    canonical.extend_from_slice(&length.to_le_bytes());
    canonical.extend_from_slice(text);
}

#[cfg(test)]
mod tests {
    use std::sync::Arc;

    use bedplate_gauge::quantity::Quantity;
    use bedplate_gauge::unit::Unit;
    use proptest::prelude::*;

    use super::*;
    use crate::entry::{Entry, Event};

    fn context(texts: [&str; 7]) -> Context {
        let [gauge, person, machine, spindle, tool, source, edition] = texts.map(Arc::from);
        Context { gauge, person, machine, spindle, tool, source, edition }
    }

    fn bore_reading(mantissa: i64, exponent: i8) -> Reading {
        let mm = Unit::named("mm").unwrap();
        Reading {
            at: 1_790_000_000_123,
            characteristic: "block.bore".into(),
            piece: "B0417".into(),
            position: "3".into(),
            value: Quantity::new(mantissa, exponent, mm),
            context: Arc::new(context(["AG-2", "Ilse Brandt", "M3", "2", "", "page", "e1"])),
        }
    }

    #[test]
    fn seal_agrees_with_a_second_hand() {
        // Computed from the list at the head of this file by tests/reference/seal.py with the
        // Python package blake3 1.0.11: the layout is written a second time, the hash function is
        // the same one.
        let reference: serde_json::Value =
            serde_json::from_str(include_str!("../tests/reference/seal.json")).unwrap();
        let made = Entry {
            at: 1_790_000_000_000,
            by: "Ilse Brandt".into(),
            edition: "e1".into(),
            event: Event::PieceMade {
                piece: "B0417".into(),
                part: "block".into(),
                heat: "H77".into(),
            },
        };
        let bytes = serde_json::to_string(&made).unwrap();
        assert_eq!(bytes, reference["entry_bytes"]);
        let entry = entry_digest(1, bytes.as_bytes());
        assert_eq!(Seal(entry.0).to_string(), reference["entry"]);

        let reading = bore_reading(680_087, -4);
        let shared = context_digest(&reading.context);
        assert_eq!(Seal(shared.0).to_string(), reference["context"]);
        let digest = reading_digest(2, &reading, &shared);
        assert_eq!(Seal(digest.0).to_string(), reference["reading"]);
        assert_eq!(u64::from(digest.check_word()), reference["check_word"]);

        let closing = Closing {
            group: 1,
            previous: Seal::FIRST,
            deed: *b"deed-0000-000001",
            closed_at: 1_790_000_000_456,
            first_number: 1,
            entries: 1,
            readings: 1,
        };
        assert_eq!(seal(&closing, &[entry, digest]).to_string(), reference["seal"]);
    }

    #[test]
    fn same_size_in_other_digits_is_another_reading() {
        let (short, long) = (bore_reading(68_009, -3), bore_reading(680_090, -4));
        assert_eq!(short.value.si(), long.value.si());
        let shared = context_digest(&short.context);
        assert_ne!(reading_digest(2, &short, &shared), reading_digest(2, &long, &shared));
    }

    proptest! {
        #[test]
        fn moving_a_letter_between_names_changes_the_digest(
            left in "[a-z]{1,6}", right in "[a-z]{0,6}", cut in 0usize..6,
        ) {
            // Lengths stand before texts, so that no two lists of names share their bytes.
            let joined = format!("{left}{right}");
            let cut = cut.min(joined.len());
            let (other_left, other_right) = joined.split_at(cut);
            let one = context([&left, &right, "", "", "", "", ""]);
            let other = context([other_left, other_right, "", "", "", "", ""]);
            prop_assert_eq!(one == other, context_digest(&one) == context_digest(&other));
        }

        #[test]
        fn every_fact_of_a_group_is_in_its_seal(
            group in 1u64..9, closed_at in 0i64..9, first_number in 1u64..9, entries in 0u32..9,
        ) {
            let plain = Closing {
                group: 1, previous: Seal::FIRST, deed: [7; 16], closed_at: 0, first_number: 1,
                entries: 0, readings: 3,
            };
            let other = Closing { group, closed_at, first_number, entries, ..plain };
            let deed = Closing { deed: [8; 16], ..plain };
            let previous = Closing { previous: Seal([1; 32]), ..plain };
            let members = [Digest([1; 32]), Digest([2; 32])];
            let sealed = seal(&plain, &members);
            prop_assert_eq!(plain == other, sealed == seal(&other, &members));
            prop_assert_ne!(sealed, seal(&deed, &members));
            prop_assert_ne!(sealed, seal(&previous, &members));
            prop_assert_ne!(sealed, seal(&plain, members.iter().rev()));
        }
    }
}

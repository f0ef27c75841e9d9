//! Now, and ids for deeds: the outside world's part that the works take as arguments.

use std::sync::atomic::{AtomicU64, Ordering};
use std::time::{SystemTime, UNIX_EPOCH};

use bedplate_works::works::Deed;

/// Milliseconds since 1970 UTC.
pub(crate) fn now_ms() -> i64 {
    let since = SystemTime::now().duration_since(UNIX_EPOCH).unwrap_or_default();
    i64::try_from(since.as_millis()).unwrap_or(i64::MAX)
}

/// A new deed in the name of `by`, now.
pub(crate) fn deed(by: &str) -> Deed {
    Deed { id: fresh_id(), by: by.to_owned(), at: now_ms() }
}

/// A deed with an id made from the caller's own key, so that asking twice does it once.
pub(crate) fn deed_with_key(by: &str, key: &str) -> Deed {
    let mut id = [0; 16];
    id.copy_from_slice(&blake3::hash(key.as_bytes()).as_bytes()[..16]);
    Deed { id, by: by.to_owned(), at: now_ms() }
}

/// Sixteen bytes that no other deed of this or another process has.
fn fresh_id() -> [u8; 16] {
    static COUNT: AtomicU64 = AtomicU64::new(0);
    let nanos = SystemTime::now().duration_since(UNIX_EPOCH).unwrap_or_default().as_nanos();
    let n = COUNT.fetch_add(1, Ordering::Relaxed);
    let mut hasher = blake3::Hasher::new();
    hasher.update(&nanos.to_le_bytes());
    hasher.update(&n.to_le_bytes());
    hasher.update(&std::process::id().to_le_bytes());
    hasher.update(&std::ptr::from_ref(&COUNT).addr().to_le_bytes());
    let mut id = [0; 16];
    id.copy_from_slice(&hasher.finalize().as_bytes()[..16]);
    id
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn no_two_deeds_have_one_id() {
        let ids: std::collections::HashSet<_> = (0..10_000).map(|_| deed("x").id).collect();
        assert_eq!(ids.len(), 10_000);
    }

    #[test]
    fn the_same_key_is_the_same_deed() {
        assert_eq!(deed_with_key("x", "k").id, deed_with_key("y", "k").id);
        assert_ne!(deed_with_key("x", "k").id, deed_with_key("x", "l").id);
    }
}

//! The list of every calculation, and finding one by its name.

use std::sync::LazyLock;

use bedplate_gauge::calculation::Calculation;

/// A name that is not in the list.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error("\"{name}\" is no calculation known here{}", nearest_words(.nearest))]
pub struct UnknownName {
    /// As received, shortened.
    pub name: String,
    /// The nearest name, if one is near.
    pub nearest: Option<&'static str>,
}

fn nearest_words(nearest: &Option<&'static str>) -> String {
    nearest.map_or_else(String::new, |name| format!("; did you mean {name}?"))
}

static ALL: LazyLock<Vec<&'static Calculation>> = LazyLock::new(|| {
    let gauge = bedplate_gauge::CALCULATIONS.iter().copied();
    let shop = bedplate_shop::calculations();
    let mut all: Vec<_> = gauge.chain(shop).chain(bedplate_engine::calculations()).collect();
    all.sort_by_key(|calculation| (calculation.stage, calculation.title));
    all
});

/// Every calculation of the program, by stage in the order of the works and then by title.
#[must_use]
pub fn all() -> &'static [&'static Calculation] {
    &ALL
}

/// The calculation called `name`.
///
/// # Errors
/// [`UnknownName`] with the nearest name, if one is near.
///
/// # Example
/// ```
/// let unknown = bedplate_handbook::list::find("juge").unwrap_err();
/// assert_eq!(unknown.to_string(), "\"juge\" is no calculation known here; did you mean judge?");
/// ```
pub fn find(name: &str) -> Result<&'static Calculation, UnknownName> {
    let name = name.trim();
    all().iter().copied().find(|calculation| calculation.name == name).ok_or_else(|| UnknownName {
        name: crate::problem::shortened(name),
        nearest: nearest(name, all().iter().map(|calculation| calculation.name)),
    })
}

/// The name nearest to `text`: by a slip or two of the keys, or because it holds the same word.
pub(crate) fn nearest<'n>(
    text: &str,
    names: impl Iterator<Item = &'n str> + Clone,
) -> Option<&'n str> {
    const LONGEST_NAME: usize = 64;
    let plain = |text: &str| text.trim().to_lowercase().replace(['_', ' '], "-");
    if text.trim().is_empty() || text.len() > LONGEST_NAME {
        return None;
    }
    let text = plain(text);
    let length = text.chars().count();
    let slips = |name: &&str| strsim::damerau_levenshtein(&text, &plain(name));
    let by_slips = names.clone().min_by_key(slips).filter(|n| slips(n) <= 1 + length / 4);
    let close = by_slips.filter(|name| slips(name) < length);
    let same_word = |name: &&str| {
        let name = plain(name);
        length > 2 && (name.contains(&text) || text.contains(&name))
    };
    close.or_else(|| names.filter(same_word).min_by_key(|name| name.len()))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_list_is_in_the_order_of_the_works_and_no_name_stands_twice() {
        let order: Vec<_> = all().iter().map(|c| (c.stage, c.title)).collect();
        assert!(order.is_sorted());
        let mut names: Vec<_> = all().iter().map(|c| c.name).collect();
        names.sort_unstable();
        for pair in names.windows(2) {
            assert_ne!(pair[0], pair[1], "two calculations have one name");
        }
    }

    #[test]
    fn every_calculation_is_found_by_its_name() {
        for calculation in all() {
            assert_eq!(find(calculation.name).unwrap().title, calculation.title);
        }
    }

    #[test]
    fn the_nearest_name_is_near() {
        let near =
            |text| nearest(text, ["piston-clearance", "judge", "compression-ratio"].into_iter());
        assert_eq!(near("piston clearence"), Some("piston-clearance"));
        assert_eq!(near("clearance"), Some("piston-clearance"));
        assert_eq!(near("jugde"), Some("judge"));
        assert_eq!(near("ratio"), Some("compression-ratio"));
        assert_eq!(near("zzz"), None);
        assert_eq!(near(""), None);
        assert_eq!(near(&"x".repeat(1_000_000)), None);
    }
}

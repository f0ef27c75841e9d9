//! The nearest known name when one is mistyped.

/// The known name nearest to `text`, if one is near enough to have been meant.
pub(super) fn nearest<'n>(text: &str, known: impl Iterator<Item = &'n str>) -> Option<&'n str> {
    let folded = text.to_lowercase();
    let length = text.chars().count();
    let allowed = ((length + 2) / 4).max(1);
    known
        .map(|name| (strsim::damerau_levenshtein(&name.to_lowercase(), &folded), name))
        .filter(|(distance, name)| *distance <= allowed && *distance < name.chars().count())
        // Of two equally near, the one as long: a slip of the finger drops no letter.
        .min_by_key(|(distance, name)| (*distance, name.chars().count().abs_diff(length)))
        .map(|(_, name)| name)
}

/// What to do about a name that is not known: the nearest one, or all there are.
pub(super) fn mend_name<'n>(
    text: &str,
    known: impl Iterator<Item = &'n str> + Clone,
    kinds: &str,
) -> String {
    if let Some(name) = nearest(text, known.clone()) {
        return format!("did you mean \"{name}\"?");
    }
    let names: Vec<&str> = known.collect();
    match names.len() {
        0 => format!("there are no {kinds}"),
        1..=24 => format!("the {kinds} are {}", names.join(", ")),
        n => format!("the {n} {kinds} begin with {}", names[..6].join(", ")),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_slip_of_a_letter_is_recognised_and_another_word_is_not() {
        let known = ["positions", "nominal", "gauge"];
        assert_eq!(nearest("positon", known.into_iter()), Some("positions"));
        assert_eq!(nearest("Nominal", known.into_iter()), Some("nominal"));
        assert_eq!(nearest("guage", known.into_iter()), Some("gauge"));
        assert_eq!(nearest("torque", known.into_iter()), None);
        assert_eq!(nearest("camshaft", ["crankshaft"].into_iter()), None);
        assert_eq!(nearest("mn", ["m", "mm", "in"].into_iter()), Some("mm"));
        assert_eq!(nearest("", known.into_iter()), None);
    }
}

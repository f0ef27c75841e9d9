//! The nearest known name when one is mistyped.

/// The known name nearest to `text`, if one is near enough to have been meant.
pub(super) fn nearest<'n>(text: &str, known: impl Iterator<Item = &'n str>) -> Option<&'n str> {
    let folded = text.to_lowercase();
    let allowed = text.chars().count().div_ceil(3);
    known
        .map(|name| (strsim::damerau_levenshtein(&name.to_lowercase(), &folded), name))
        .filter(|(distance, name)| *distance <= allowed && *distance < name.chars().count())
        .min_by_key(|(distance, _)| *distance)
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
        1..=12 => format!("the {kinds} are {}", names.join(", ")),
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
        assert_eq!(nearest("", known.into_iter()), None);
    }
}

//! Who may do what.

use crate::plan::{Plan, Role};
use crate::works::WorksError;

/// What is done, for the check of roles.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Doing {
    /// Bringing readings in, withdrawing one's own.
    Gauging,
    /// Making and breaking sets, drilling, building, steps.
    Fitting,
    /// Running the bed.
    Testing,
    /// Passing and holding engines, waiving steps, calibrations, offsets, scrapping.
    Deciding,
}

impl Doing {
    /// The roles that may do it; the engineer may do all.
    #[must_use]
    pub const fn roles(self) -> &'static [Role] {
        match self {
            Self::Gauging => &[Role::Inspector, Role::Fitter, Role::Tester, Role::Engineer],
            Self::Fitting => &[Role::Fitter, Role::Engineer],
            Self::Testing => &[Role::Tester, Role::Engineer],
            Self::Deciding => &[Role::Engineer],
        }
    }

    /// In words: "bring readings in".
    #[must_use]
    pub const fn words(self) -> &'static str {
        match self {
            Self::Gauging => "bring readings in",
            Self::Fitting => "make sets, drill and build",
            Self::Testing => "run the bed",
            Self::Deciding => "pass, hold, waive, calibrate or move a machine",
        }
    }
}

/// Checks that `person` is one of the works' people and may do it.
///
/// # Errors
/// [`WorksError::UnknownPerson`] with the nearest name; [`WorksError::NotAllowed`].
pub fn allowed(plan: &Plan, person: &str, doing: Doing) -> Result<(), WorksError> {
    let Some(known) = plan.people.get(person) else {
        let nearest = nearest(person, plan.people.keys().map(String::as_str));
        let people = plan.people.keys().cloned().collect();
        return Err(WorksError::UnknownPerson { person: person.to_owned(), nearest, people });
    };
    if known.roles.iter().any(|r| doing.roles().contains(r)) {
        return Ok(());
    }
    Err(WorksError::NotAllowed { person: person.to_owned(), doing })
}

/// The name nearest to `wanted`, if one is near enough to be meant.
#[must_use]
pub fn nearest<'a>(wanted: &str, known: impl Iterator<Item = &'a str>) -> Option<String> {
    let folded = wanted.to_lowercase();
    known
        .map(|name| (strsim::damerau_levenshtein(&folded, &name.to_lowercase()), name))
        .filter(|(distance, name)| *distance <= 1 + name.chars().count() / 4)
        .min_by_key(|(distance, _)| *distance)
        .map(|(_, name)| name.to_owned())
}

//! Trouble, sorted: each kind has its exit code and its HTTP status, here and nowhere else.

use std::fmt;
use std::process::ExitCode;

use bedplate_works::works::{TroubleKind, WorksError};

/// How a command ended. The codes are part of the program's promise.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Exit {
    /// 0: done, all accepted.
    Done,
    /// 1: done, and the verdict is no: something rejected, or it cannot be told.
    No,
    /// 2: asked in the wrong way.
    Usage,
    /// 3: data refused.
    Refused,
    /// 4: the record is damaged.
    Damaged,
    /// 5: disk, database, network.
    Outside,
    /// 70: a fault of this program.
    Bug,
}

impl Exit {
    /// The code.
    pub(crate) const fn code(self) -> u8 {
        match self {
            Self::Done => 0,
            Self::No => 1,
            Self::Usage => 2,
            Self::Refused => 3,
            Self::Damaged => 4,
            Self::Outside => 5,
            Self::Bug => 70,
        }
    }

    /// The HTTP status of the same trouble.
    pub(crate) const fn status(self) -> u16 {
        match self {
            Self::Done | Self::No => 200,
            Self::Usage => 400,
            Self::Refused => 422,
            Self::Damaged | Self::Bug => 500,
            Self::Outside => 503,
        }
    }
}

impl From<Exit> for ExitCode {
    fn from(exit: Exit) -> Self {
        Self::from(exit.code())
    }
}

/// Trouble that ends a command: what happened, and what to do next.
#[derive(Debug)]
pub(crate) struct Trouble {
    /// Its kind.
    pub(crate) exit: Exit,
    /// What happened, where.
    pub(crate) what: String,
    /// What to do next, or empty.
    pub(crate) hint: String,
    /// HTTP status where it differs from the kind's: 404 for what is not there, 403 for what a
    /// person may not do.
    pub(crate) status: u16,
}

impl Trouble {
    /// Trouble of a kind.
    pub(crate) fn new(exit: Exit, what: impl Into<String>, hint: impl Into<String>) -> Self {
        Self { exit, what: what.into(), hint: hint.into(), status: exit.status() }
    }

    /// Asked in the wrong way.
    pub(crate) fn usage(what: impl Into<String>, hint: impl Into<String>) -> Self {
        Self::new(Exit::Usage, what, hint)
    }

    /// A file that cannot be read or written.
    pub(crate) fn file(path: &std::path::Path, cause: &std::io::Error) -> Self {
        Self::new(Exit::Outside, format!("{}: {cause}", path.display()), "")
    }
}

impl fmt::Display for Trouble {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}", self.what)
    }
}

impl From<WorksError> for Trouble {
    fn from(error: WorksError) -> Self {
        let exit = match error.kind() {
            TroubleKind::Usage => Exit::Usage,
            TroubleKind::Refused => Exit::Refused,
            TroubleKind::Damaged => Exit::Damaged,
            TroubleKind::Outside => Exit::Outside,
        };
        let hint = match &error {
            WorksError::UnknownPerson { .. } => {
                "name one of them with --by, or add them to the works file"
            }
            WorksError::NotAllowed { .. } => {
                "ask someone whose role allows it, or change their roles in the works file"
            }
            WorksError::Store(_) if exit == Exit::Damaged => {
                "stop, keep the files as they are, and restore the last backup beside them"
            }
            _ => "",
        };
        let status = match &error {
            WorksError::Unknown { .. } => 404,
            WorksError::UnknownPerson { .. } | WorksError::NotAllowed { .. } => 403,
            _ => exit.status(),
        };
        let what = match &error {
            WorksError::Plan(fault) => {
                let lines: Vec<String> = fault.faults.iter().map(ToString::to_string).collect();
                format!("the works file is not in order\n{}", lines.join("\n"))
            }
            other => other.to_string(),
        };
        Self { exit, what, hint: hint.to_owned(), status }
    }
}

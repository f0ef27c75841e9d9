//! Reads the works file (TOML) into a [`Plan`], or says everything that is wrong with it.
//!
//! [`read`] takes a file and what it includes, [`parse`] a text. Both look at the whole file and
//! give all its faults at once, each with its place and its mend; a plan comes out only when there
//! are none. The keys stand in `keys.md` beside this file.

use std::fmt::Write as _;
use std::ops::Range;
use std::path::Path;

use toml::de::DeTable;

use super::include::{self, Unread};
use super::place::Splice;
use super::sections::Extent;
use super::table::{Findings, Table};
use super::{Plan, sections, syntax};

/// One fault of a works file: where, what, and how to mend it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Fault {
    /// The file, as it was named to the reader; an included one by its own name.
    pub file: String,
    /// Line, from 1.
    pub line: usize,
    /// Column in characters, from 1.
    pub column: usize,
    /// The bytes of that file's text that are at fault; empty where something is missing.
    pub span: Range<usize>,
    /// What is wrong.
    pub what: String,
    /// How to mend it.
    pub mend: String,
}

impl std::fmt::Display for Fault {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        let Self { file, line, column, what, mend, .. } = self;
        write!(f, "{file}:{line}:{column}: {what}; {mend}")
    }
}

/// The text of one file that was read, so that the line at fault can be shown.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct SourceText {
    /// The file, as faults name it.
    pub name: String,
    /// Its text.
    pub text: String,
}

/// Why there is no plan: all the faults of a works file, in the order in which they stand.
#[derive(Debug, Clone, thiserror::Error)]
#[error("{}", lines(.faults))]
pub struct PlanFault {
    /// The faults; at least one.
    pub faults: Vec<Fault>,
    /// The files that were read.
    pub texts: Vec<SourceText>,
    /// Set when the works file itself could not be read from disk: trouble of the outside world,
    /// not of the file's words.
    pub unreadable: Option<std::io::ErrorKind>,
}

fn lines(faults: &[Fault]) -> String {
    faults.iter().enumerate().fold(String::new(), |mut all, (i, fault)| {
        let _ = write!(all, "{}{fault}", if i == 0 { "" } else { "\n" });
        all
    })
}

impl PlanFault {
    /// The text of the file in which `fault` stands; empty if it could not be read.
    #[must_use]
    pub fn text_of(&self, fault: &Fault) -> &str {
        self.texts.iter().find(|t| t.name == fault.file).map_or("", |t| t.text.as_str())
    }
}

/// Reads a works file and the files it includes.
///
/// The names in `include` are relative to the file's own folder. The texts are spliced in the
/// order in which they are named; the plan's `text` and edition are those of the whole, and
/// [`parse`] reads that text to the same plan again.
///
/// # Errors
/// [`PlanFault`] with every fault found.
pub fn read(path: &Path) -> Result<Plan, PlanFault> {
    let name = path.display().to_string();
    let text = include::text_of_file(path).map_err(|unread| {
        let unreadable = if let Unread::Io(error) = &unread { Some(error.kind()) } else { None };
        let (fault, text) = unread.into_fault_of(&name);
        PlanFault { faults: vec![fault], texts: vec![text], unreadable }
    })?;
    let (splice, faults) = include::spliced(path, &name, &text);
    if faults.is_empty() {
        return plan_of(&splice);
    }
    Err(PlanFault { faults, texts: splice.files, unreadable: None })
}

/// Reads the text of a works file that includes nothing. `name` is what faults call it.
///
/// # Errors
/// [`PlanFault`] with every fault found.
///
/// # Example
/// ```
/// use bedplate_works::plan::read::parse;
/// let works = "[works]\nname = \"Quarrybeck\"\nday_rate = 90\ntime_zome = \"UTC\"\n";
/// let fault = parse("works.toml", works).unwrap_err();
/// assert_eq!(
///     fault.to_string(),
///     "works.toml:4:1: \"time_zome\" is not a key of [works]; did you mean \"time_zone\"?"
/// );
/// ```
pub fn parse(name: &str, text: &str) -> Result<Plan, PlanFault> {
    plan_of(&Splice::of_one(name, text))
}

fn plan_of(splice: &Splice) -> Result<Plan, PlanFault> {
    read_splice(splice, |root, text| sections::plan(root, text, Extent::Whole))
}

/// Reads a TOML text that is no works file by the same rules. `each` notes at least one fault where
/// it gives nothing.
///
/// # Errors
/// [`PlanFault`] with every fault found.
pub(crate) fn parse_as<T>(
    name: &str,
    text: &str,
    each: impl FnOnce(&Table<'_>) -> Option<T>,
) -> Result<T, PlanFault> {
    read_splice(&Splice::of_one(name, text), |root, _| each(root))
}

/// What `each` makes of a text, if neither it nor the reader of TOML finds a fault.
pub(super) fn read_splice<T>(
    splice: &Splice,
    each: impl FnOnce(&Table<'_>, &str) -> Option<T>,
) -> Result<T, PlanFault> {
    let text = splice.text.as_str();
    let (root, errors) = DeTable::parse_recoverable(text);
    let broken = syntax::findings(text, &errors);
    let rest_can_be_read = broken.iter().all(|b| b.rest_can_be_read);
    let findings = Findings::of(text);
    broken.into_iter().for_each(|b| findings.add(b.finding));
    // After a broken table or text the rest of the file is not what its author wrote: anything
    // said of it would be noise.
    let plan =
        if rest_can_be_read { each(&Table::root(root.get_ref(), &findings), text) } else { None };
    let mut found = findings.into_list();
    if let (Some(plan), true) = (plan, found.is_empty()) {
        return Ok(plan);
    }
    found.sort_by_key(|f| (f.span.start, f.span.end));
    let faults: Vec<Fault> = found.into_iter().map(|f| splice.place(f)).collect();
    assert!(!faults.is_empty(), "a works file without faults gives a plan");
    Err(PlanFault { faults, texts: splice.files.clone(), unreadable: None })
}

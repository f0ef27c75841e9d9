//! What each column of a sheet means: guessed from its headings, or remembered.

use std::collections::HashMap;

use bedplate_gauge::unit::{Dimension, Unit};
use serde::{Deserialize, Serialize};

use crate::plan::Plan;
use crate::who::nearest;

/// The most columns a sheet may have.
const COLUMNS_MAX: usize = 4_096;

/// How many unclear columns are explained in one answer.
pub(super) const EXPLAINED_MAX: usize = 8;

/// What may follow a part's name in the heading of its pieces, folded: `block`, `block_id`.
const PIECE_ENDS: [&str; 4] = ["", "id", "no", "number"];

/// What the columns of a sheet mean, to be remembered and given back.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Mapping {
    /// Comma, semicolon or tab, as found; a file that is read again is looked at again.
    pub separator: char,
    /// The columns in order.
    pub columns: Vec<Column>,
}

/// One column.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Column {
    /// Its heading as it stands in the file.
    pub heading: String,
    /// What it means.
    pub meaning: Meaning,
}

/// What a column means.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(tag = "is", rename_all = "kebab-case")]
pub enum Meaning {
    /// When the reading was taken.
    Time,
    /// The piece's number.
    Piece,
    /// The characteristic, in a sheet of one reading a row.
    Characteristic,
    /// The position, in a sheet of one reading a row.
    Position,
    /// The value, in a sheet of one reading a row.
    Value {
        /// Unit of values that carry none, as in the heading `value (mm)`.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        unit: Option<String>,
    },
    /// The unit of the value.
    Unit,
    /// The gauge.
    Gauge,
    /// The person who took it.
    Person,
    /// The machine.
    Machine,
    /// The spindle.
    Spindle,
    /// The tool.
    Tool,
    /// The readings of one characteristic, in a sheet of one piece a row.
    Measured {
        /// The characteristic.
        characteristic: String,
        /// The position, or empty.
        #[serde(default)]
        position: String,
        /// Unit of values that carry none, as in the heading `bore 1 (mm)`.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        unit: Option<String>,
    },
    /// Not read.
    Ignored,
}

impl Meaning {
    /// In words: `time`, `piece`, `block.bore 1`.
    #[must_use]
    pub fn words(&self) -> String {
        match self {
            Self::Time => "time".to_owned(),
            Self::Piece => "piece".to_owned(),
            Self::Characteristic => "characteristic".to_owned(),
            Self::Position => "position".to_owned(),
            Self::Value { .. } => "value".to_owned(),
            Self::Unit => "unit".to_owned(),
            Self::Gauge => "gauge".to_owned(),
            Self::Person => "person".to_owned(),
            Self::Machine => "machine".to_owned(),
            Self::Spindle => "spindle".to_owned(),
            Self::Tool => "tool".to_owned(),
            Self::Measured { characteristic, position, .. } => {
                format!("{characteristic} {position}").trim_end().to_owned()
            }
            Self::Ignored => "ignored".to_owned(),
        }
    }

    /// Whether two columns say the same thing, whatever their units.
    fn same_as(&self, other: &Self) -> bool {
        *self != Self::Ignored && self.words() == other.words()
    }
}

/// A column whose meaning cannot be told.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Unclear {
    /// The column, from 1.
    pub column: usize,
    /// Its heading.
    pub heading: String,
    /// What it may mean; empty if nothing is near.
    pub candidates: Vec<String>,
    /// Why it is unclear, in words.
    pub reason: String,
}

/// Why the columns of a sheet are not understood.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum MappingFault {
    /// Some columns are unclear; the guess for the others can be mended and given back.
    #[error("{}", unclear_words(.unclear, *.n_unclear))]
    Unclear {
        /// The first of them.
        unclear: Vec<Unclear>,
        /// How many there are in all.
        n_unclear: usize,
        /// The guess, with unclear columns as ignored.
        guessed: Mapping,
    },
    /// Two columns mean the same.
    #[error(
        "columns {first} \"{first_heading}\" and {second} \"{second_heading}\" both mean \
         {meaning}; remove one of them"
    )]
    Twice {
        /// The earlier, from 1.
        first: usize,
        /// Its heading.
        first_heading: String,
        /// The later.
        second: usize,
        /// Its heading.
        second_heading: String,
        /// What both mean.
        meaning: String,
    },
    /// A column that every sheet needs is not there.
    #[error("no column says {wanted}; {mend}")]
    Missing {
        /// What is missing.
        wanted: &'static str,
        /// What to do.
        mend: String,
    },
    /// Both one reading a row and one piece a row.
    #[error(
        "column {column} \"{heading}\" holds the readings of {meaning}, but the sheet also has a \
         column of values; write either one reading a row or one piece a row"
    )]
    BothShapes {
        /// The measured column, from 1.
        column: usize,
        /// Its heading.
        heading: String,
        /// What it means.
        meaning: String,
    },
    /// The mapping is of another sheet.
    #[error(
        "the mapping is for another sheet: its column {column} is {mapped}, here it is {found}"
    )]
    OtherSheet {
        /// The column, from 1.
        column: usize,
        /// In the mapping.
        mapped: String,
        /// In the sheet.
        found: String,
    },
    /// The mapping names what the plan does not have.
    #[error("the mapping of column {column} \"{heading}\" does not fit the plan: {reason}")]
    OtherPlan {
        /// The column, from 1.
        column: usize,
        /// Its heading.
        heading: String,
        /// What does not fit.
        reason: String,
    },
    /// More columns than any sheet has.
    #[error("the heading has {found} columns; at most {COLUMNS_MAX} are read")]
    TooManyColumns {
        /// How many.
        found: usize,
    },
}

fn unclear_words(unclear: &[Unclear], n_unclear: usize) -> String {
    let each =
        |u: &Unclear| format!("column {} \"{}\" {}", u.column, shorten(&u.heading), u.reason);
    let words: Vec<String> = unclear.iter().map(each).collect();
    let rest = n_unclear.saturating_sub(unclear.len());
    let more = if rest > 0 { format!("; and {rest} more") } else { String::new() };
    format!("{}{more}", words.join("; "))
}

fn shorten(text: &str) -> String {
    text.chars().take(64).collect()
}

/// Case, spaces, underscores, hyphens and points make no difference in a heading.
fn fold(text: &str) -> String {
    text.chars()
        .filter(|c| !c.is_whitespace() && !matches!(c, '_' | '-' | '.' | '/'))
        .flat_map(char::to_lowercase)
        .map(|c| if matches!(c, 'µ' | 'μ') { 'u' } else { c })
        .collect()
}

/// The plain columns and how they may be headed, folded.
fn plain_columns() -> [(Meaning, &'static [&'static str]); 12] {
    [
        (Meaning::Time, &["time", "at", "datetime", "timestamp", "measuredat", "takenat", "when"]),
        (Meaning::Piece, &["piece", "pieceno", "piecenumber", "pieceid", "serial", "serialnumber"]),
        (Meaning::Characteristic, &["characteristic", "feature"]),
        (Meaning::Position, &["position", "pos", "place"]),
        (Meaning::Value { unit: None }, &["value", "reading", "measured", "measurement"]),
        (Meaning::Unit, &["unit", "units"]),
        (Meaning::Gauge, &["gauge", "gage"]),
        (Meaning::Person, &["person", "inspector", "operator", "measuredby"]),
        (Meaning::Machine, &["machine"]),
        (Meaning::Spindle, &["spindle"]),
        (Meaning::Tool, &["tool"]),
        // Those of a file of refused rows among them, and the empty heading of a spare separator.
        (Meaning::Ignored, &["", "line", "why", "note", "notes", "remark", "remarks", "comment"]),
    ]
}

/// Everything a heading can say in this plan, folded.
struct Known {
    meanings: HashMap<String, Vec<Meaning>>,
    /// Headings as one would write them, for suggestions: folded, then as written.
    written: HashMap<String, String>,
}

impl Known {
    fn of(plan: &Plan, part: Option<&str>) -> Self {
        let mut known = Self { meanings: HashMap::new(), written: HashMap::new() };
        for (meaning, headings) in plain_columns() {
            for heading in headings {
                known.add((*heading).to_owned(), &meaning, heading);
            }
        }
        for p in plan.parts.values().map(|p| p.name.as_str()).chain(["engine"]) {
            for end in PIECE_ENDS {
                known.add(fold(p) + end, &Meaning::Piece, p);
            }
        }
        let wanted = |p: &str| part.is_none_or(|only| only == p);
        for c in plan.characteristics.values().filter(|c| wanted(&c.part)) {
            let name = c.id.strip_prefix(&c.part).and_then(|n| n.strip_prefix('.'));
            let part_title = plan.parts.get(&c.part).map_or("", |p| p.title.as_str());
            let bases = [
                fold(name.unwrap_or(&c.id)),
                fold(&c.id),
                fold(&c.title),
                fold(&c.part) + &fold(&c.title),
                fold(part_title) + &fold(&c.title),
            ];
            for base in &bases {
                known.add_positions(&c.id, &c.positions, base);
            }
        }
        known
    }

    fn add_positions(&mut self, id: &str, positions: &[String], base: &str) {
        let measured = |position: &str| Meaning::Measured {
            characteristic: id.to_owned(),
            position: position.to_owned(),
            unit: None,
        };
        if positions.is_empty() {
            self.add(base.to_owned(), &measured(""), id);
        }
        for position in positions {
            for between in ["", "position", "pos", "cylinder", "cyl"] {
                let folded = format!("{base}{between}{}", fold(position));
                self.add(folded, &measured(position), &format!("{id} {position}"));
            }
        }
    }

    fn add(&mut self, folded: String, meaning: &Meaning, written: &str) {
        self.written.entry(folded.clone()).or_insert_with(|| written.to_owned());
        let meanings = self.meanings.entry(folded).or_default();
        if !meanings.contains(meaning) {
            meanings.push(meaning.clone());
        }
    }

    fn under(&self, heading: &str) -> &[Meaning] {
        self.meanings.get(&fold(heading)).map_or(&[], Vec::as_slice)
    }

    fn nearest(&self, heading: &str) -> Option<String> {
        let folded: String = fold(heading).chars().take(64).collect();
        let near = nearest(&folded, self.meanings.keys().map(String::as_str))?;
        self.written.get(&near).cloned().filter(|w| !w.is_empty())
    }
}

/// A heading, and the unit it ends with in brackets or as its last word, if it does.
fn parted(heading: &str) -> (&str, Option<&str>) {
    let heading = heading.trim();
    for (open, close) in [('(', ')'), ('[', ']')] {
        let bracketed = heading.strip_suffix(close).and_then(|h| h.rsplit_once(open));
        if let Some((name, unit)) = bracketed {
            return (name.trim_end(), Some(unit.trim()));
        }
    }
    let word = heading.rsplit_once([' ', '_', '-']);
    match word {
        Some((name, unit)) if is_unit_word(unit) => (name.trim_end(), Some(unit)),
        _ => (heading, None),
    }
}

fn is_unit_word(text: &str) -> bool {
    Unit::named(text).is_some() && text.chars().any(|c| !c.is_ascii_digit())
}

/// The meanings a heading can have, each with its unit.
fn meanings_of(plan: &Plan, known: &Known, heading: &str) -> Vec<Meaning> {
    let mut found: Vec<Meaning> = known.under(heading).to_vec();
    let (name, Some(unit)) = parted(heading) else { return found };
    for meaning in known.under(name) {
        if let Some(meaning) = with_unit(plan, meaning, unit)
            && !found.contains(&meaning)
        {
            found.push(meaning);
        }
    }
    found
}

/// `meaning` with the unit of its heading, if it can have that unit.
fn with_unit(plan: &Plan, meaning: &Meaning, unit: &str) -> Option<Meaning> {
    let symbol = Some(Unit::named(unit)?.symbol.to_owned());
    match meaning {
        Meaning::Value { .. } => Some(Meaning::Value { unit: symbol }),
        Meaning::Measured { characteristic, position, .. } => {
            let c = plan.characteristics.get(characteristic)?;
            unit_for(c.unit.dimension, unit)?;
            Some(Meaning::Measured {
                characteristic: characteristic.clone(),
                position: position.clone(),
                unit: symbol,
            })
        }
        _ => None,
    }
}

/// The unit of this name for values of `dimension`: kelvins are also differences.
pub(crate) fn unit_for(dimension: Dimension, name: &str) -> Option<&'static Unit> {
    let unit = Unit::named(name)?;
    let difference = dimension == Dimension::TemperatureDifference
        && unit.dimension == Dimension::Temperature
        && matches!(unit.symbol, "K" | "°C");
    let unit = if difference { Unit::named("ΔK")? } else { unit };
    (unit.dimension == dimension).then_some(unit)
}

/// Guesses what the columns mean from their headings. Nothing is guessed from a near miss, and a
/// heading that can mean two things is asked about.
///
/// # Errors
/// [`MappingFault`].
pub fn guess(plan: &Plan, headings: &[String], separator: char) -> Result<Mapping, MappingFault> {
    if headings.len() > COLUMNS_MAX {
        return Err(MappingFault::TooManyColumns { found: headings.len() });
    }
    let known = Known::of(plan, part_of_sheet(plan, headings));
    let mut unclear = Vec::new();
    let mut n_unclear = 0;
    let mut columns = Vec::new();
    for (i, heading) in headings.iter().enumerate() {
        let mut found = meanings_of(plan, &known, heading);
        let meaning = if found.len() == 1 {
            found.remove(0)
        } else {
            n_unclear += 1;
            if unclear.len() < EXPLAINED_MAX {
                unclear.push(explained(plan, &known, i + 1, heading, &found));
            }
            Meaning::Ignored
        };
        columns.push(Column { heading: heading.clone(), meaning });
    }
    let mapping = Mapping { separator, columns };
    if n_unclear > 0 {
        return Err(MappingFault::Unclear { unclear, n_unclear, guessed: mapping });
    }
    mapping.is_whole()?;
    Ok(mapping)
}

/// The part a sheet is about, where a column such as `block` or `block_id` says so.
fn part_of_sheet<'p>(plan: &'p Plan, headings: &[String]) -> Option<&'p str> {
    let folded: Vec<String> = headings.iter().map(|h| fold(h)).collect();
    let names = plan.parts.keys().map(String::as_str).chain(["engine"]);
    let mut found = names.filter(|p| {
        PIECE_ENDS.iter().any(|end| {
            let piece_heading = fold(p) + end;
            folded.contains(&piece_heading)
        })
    });
    found.next().filter(|_| found.next().is_none())
}

fn explained(
    plan: &Plan,
    known: &Known,
    column: usize,
    heading: &str,
    found: &[Meaning],
) -> Unclear {
    let unclear =
        |candidates, reason| Unclear { column, heading: heading.to_owned(), candidates, reason };
    if !found.is_empty() {
        let candidates: Vec<String> = found.iter().map(Meaning::words).collect();
        let reason = format!("can mean {}; write which", candidates.join(" or "));
        return unclear(candidates, reason);
    }
    let (name, unit) = parted(heading);
    let named = known.under(name);
    if let (Some(unit), Some(first)) = (unit, named.first()) {
        let words = first.words();
        let reason = match (Unit::named(unit), first) {
            (Some(_), Meaning::Measured { characteristic, .. }) => {
                let wanted = plan.characteristics.get(characteristic).map(|c| c.unit);
                let wanted = wanted.map_or("its own unit", |u| u.symbol);
                format!("says {words} in {unit}, but it is measured in such as {wanted}")
            }
            (Some(_), _) => format!("says {words} in {unit}, but {words} has no unit"),
            (None, _) => format!("says {words} in \"{}\", which is no unit", shorten(unit)),
        };
        return unclear(vec![words], reason);
    }
    let lacking = lacking_position(plan, name);
    if !lacking.is_empty() {
        let reason = format!("does not say which position; it may be {}", lacking.join(", "));
        return unclear(lacking, reason);
    }
    match known.nearest(heading).or_else(|| known.nearest(name)) {
        Some(near) => {
            let reason = format!("is not known; did you mean \"{near}\"?");
            unclear(vec![near], reason)
        }
        None => unclear(
            vec![],
            "is not known; name a characteristic and its position such as \"block.bore 1\", or \
             leave the column out"
                .to_owned(),
        ),
    }
}

/// The positions of a characteristic that is headed without one.
fn lacking_position(plan: &Plan, name: &str) -> Vec<String> {
    let folded = fold(name);
    let headed = plan.characteristics.values().find(|c| {
        let own = c.id.rsplit('.').next().unwrap_or(&c.id);
        !folded.is_empty() && [own, &c.id, &c.title].iter().any(|n| fold(n) == folded)
    });
    headed.map_or_else(Vec::new, |c| c.positions.iter().map(|p| format!("{} {p}", c.id)).collect())
}

impl Mapping {
    /// Whether this mapping is of a sheet with these headings, and fits the plan.
    ///
    /// # Errors
    /// [`MappingFault`] with the first column that does not fit.
    pub fn fits(&self, plan: &Plan, headings: &[String]) -> Result<(), MappingFault> {
        let n = self.columns.len().max(headings.len());
        for i in 0..n {
            let mapped = self.columns.get(i).map(|c| c.heading.as_str());
            let found = headings.get(i).map(String::as_str);
            if mapped.map(fold) != found.map(fold) {
                let shown = |h: Option<&str>| {
                    h.map_or_else(|| "not there".to_owned(), |h| format!("\"{}\"", shorten(h)))
                };
                let (mapped, found) = (shown(mapped), shown(found));
                return Err(MappingFault::OtherSheet { column: i + 1, mapped, found });
            }
        }
        for (i, column) in self.columns.iter().enumerate() {
            if let Some(reason) = misfit(plan, &column.meaning) {
                let heading = column.heading.clone();
                return Err(MappingFault::OtherPlan { column: i + 1, heading, reason });
            }
        }
        self.is_whole()
    }

    /// Whether it holds one reading a row; else one piece a row.
    #[must_use]
    pub fn one_reading_a_row(&self) -> bool {
        self.columns.iter().any(|c| matches!(c.meaning, Meaning::Value { .. }))
    }

    fn is_whole(&self) -> Result<(), MappingFault> {
        for (second, column) in self.columns.iter().enumerate() {
            let same = |c: &Column| c.meaning.same_as(&column.meaning);
            if let Some(first) = self.columns[..second].iter().position(same) {
                return Err(MappingFault::Twice {
                    first: first + 1,
                    first_heading: self.columns[first].heading.clone(),
                    second: second + 1,
                    second_heading: column.heading.clone(),
                    meaning: column.meaning.words(),
                });
            }
        }
        let has = |meaning: &Meaning| self.columns.iter().any(|c| c.meaning.same_as(meaning));
        let missing = |wanted, mend: &str| MappingFault::Missing { wanted, mend: mend.to_owned() };
        if !has(&Meaning::Piece) {
            return Err(missing("which piece was measured", "head it \"piece\""));
        }
        let measured = |c: &&Column| matches!(c.meaning, Meaning::Measured { .. });
        let first_measured = self.columns.iter().find(measured);
        let long = self.one_reading_a_row();
        match (first_measured, long || has(&Meaning::Characteristic)) {
            (Some(column), true) => Err(MappingFault::BothShapes {
                column: self.columns.iter().position(|c| c == column).map_or(0, |i| i + 1),
                heading: column.heading.clone(),
                meaning: column.meaning.words(),
            }),
            (Some(_), false) => Ok(()),
            (None, false) => Err(missing(
                "what was measured",
                "head columns \"characteristic\" and \"value\" for one reading a row, or such as \
                 \"block.bore 1\" for one piece a row",
            )),
            (None, true) if !has(&Meaning::Characteristic) => {
                Err(missing("which characteristic was measured", "head it \"characteristic\""))
            }
            (None, true) if !long => Err(missing("the value", "head it \"value\"")),
            (None, true) => Ok(()),
        }
    }
}

/// Why a meaning is none in this plan.
fn misfit(plan: &Plan, meaning: &Meaning) -> Option<String> {
    let no_unit = |u: &String| format!("there is no unit \"{}\" for it", shorten(u));
    match meaning {
        Meaning::Value { unit: Some(unit) } => Unit::named(unit).is_none().then(|| no_unit(unit)),
        Meaning::Measured { characteristic, position, unit } => {
            let Some(c) = plan.characteristics.get(characteristic) else {
                return Some(format!("there is no characteristic \"{}\"", shorten(characteristic)));
            };
            let there = if c.positions.is_empty() {
                position.is_empty()
            } else {
                c.positions.contains(position)
            };
            if !there {
                return Some(format!("{characteristic} has no position \"{}\"", shorten(position)));
            }
            unit.as_ref().filter(|u| unit_for(c.unit.dimension, u).is_none()).map(no_unit)
        }
        _ => None,
    }
}

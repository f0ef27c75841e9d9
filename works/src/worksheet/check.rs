//! One reading as it was typed, posted or read from a file, checked against the plan.

use std::collections::HashMap;
use std::sync::Arc;

use bedplate_gauge::quantity::{Quantity, QuantityError};
use bedplate_gauge::unit::{Dimension, UNITS, Unit};
use bedplate_record::reading::{Context, Millis, Name, Reading};
use jiff::Timestamp;
use jiff::civil::DateTime;
use jiff::tz::TimeZone;

use super::Defaults;
use crate::instant;
use crate::plan::{Characteristic, Kind, Plan};
use crate::who::nearest;

/// The longest piece number or other name, in characters.
pub const NAME_CHARS_MAX: usize = 64;

/// How far into the future a reading may be taken, in milliseconds: a day, for clocks that are off.
const AHEAD_MAX_MS: Millis = 86_400_000;

/// A reading in texts, as received; an empty text is one that was not given.
#[derive(Debug, Clone, Default)]
pub struct Raw<'a> {
    /// Characteristic: `block.bore`.
    pub characteristic: &'a str,
    /// Piece.
    pub piece: &'a str,
    /// Position.
    pub position: &'a str,
    /// Value, with or without its unit.
    pub value: &'a str,
    /// Unit that stands beside the value.
    pub unit: &'a str,
    /// Unit of values that carry none and have none beside them; the characteristic's if `None`.
    pub unit_default: Option<&'static Unit>,
    /// When.
    pub at: &'a str,
    /// Gauge.
    pub gauge: &'a str,
    /// Person.
    pub person: &'a str,
    /// Machine.
    pub machine: &'a str,
    /// Spindle.
    pub spindle: &'a str,
    /// Tool.
    pub tool: &'a str,
}

/// What of a reading was refused.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Field {
    /// When.
    Time,
    /// Piece.
    Piece,
    /// Characteristic.
    Characteristic,
    /// Position.
    Position,
    /// Value.
    Value,
    /// Unit.
    Unit,
    /// Gauge.
    Gauge,
    /// Person.
    Person,
    /// Machine.
    Machine,
    /// Spindle.
    Spindle,
    /// Tool.
    Tool,
}

/// Why a reading was refused: what of it, and in words what was wrong and what would be right.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error("{reason}")]
pub struct Refusal {
    /// What of it.
    pub field: Field,
    /// Why.
    pub reason: String,
}

fn refuse<T>(field: Field, reason: impl Into<String>) -> Result<T, Refusal> {
    Err(Refusal { field, reason: reason.into() })
}

/// Checks one reading against the plan. For many readings, keep an [`Intake`].
///
/// # Errors
/// [`Refusal`] with the first thing that is wrong.
pub fn check(plan: &Plan, raw: &Raw<'_>, defaults: &Defaults) -> Result<Reading, Refusal> {
    Intake::new(plan, defaults).check(raw)
}

/// Where readings come in: the plan they are checked against, what holds where a row is silent, and
/// the names seen so far, so that each is kept once.
#[derive(Debug)]
pub struct Intake<'p> {
    plan: &'p Plan,
    defaults: &'p Defaults,
    zone: TimeZone,
    names: HashMap<String, Name>,
    last: Option<Arc<Context>>,
    last_piece: Name,
}

impl<'p> Intake<'p> {
    /// An intake for `plan`.
    #[must_use]
    pub fn new(plan: &'p Plan, defaults: &'p Defaults) -> Self {
        let zone = instant::zone(&plan.works.time_zone);
        let last_piece = Name::from("");
        Self { plan, defaults, zone, names: HashMap::new(), last: None, last_piece }
    }

    /// Checks one reading.
    ///
    /// # Errors
    /// [`Refusal`] with the first thing that is wrong.
    pub fn check(&mut self, raw: &Raw<'_>) -> Result<Reading, Refusal> {
        let piece = raw.piece.trim();
        sound_piece(piece)?;
        let characteristic = known_characteristic(self.plan, raw.characteristic.trim())?;
        belongs(self.plan, characteristic, piece)?;
        let position = known_position(characteristic, raw.position.trim())?;
        let value = value_of(characteristic, raw)?;
        let context = self.context(characteristic, raw)?;
        let at = self.time(raw.at.trim())?;
        if self.last_piece.as_ref() != piece {
            self.last_piece = Name::from(piece);
        }
        Ok(Reading {
            at,
            characteristic: self.name(&characteristic.id),
            piece: Arc::clone(&self.last_piece),
            position: self.name(position),
            value,
            context,
        })
    }

    /// Every name handed in here is one of the plan's, so that the table stays small.
    fn name(&mut self, text: &str) -> Name {
        if let Some(known) = self.names.get(text) {
            return Arc::clone(known);
        }
        let name = Name::from(text);
        self.names.insert(text.to_owned(), Arc::clone(&name));
        name
    }

    fn context(&mut self, c: &Characteristic, raw: &Raw<'_>) -> Result<Arc<Context>, Refusal> {
        let d = self.defaults;
        let gauge = given(raw.gauge, d.gauge.as_deref()).unwrap_or(&c.gauge);
        if !self.plan.gauges.contains_key(gauge) {
            let gauges = self.plan.gauges.keys().map(String::as_str);
            return refuse(Field::Gauge, unknown("gauge", gauge, gauges));
        }
        let Some(person) = given(raw.person, d.person.as_deref()) else {
            return refuse(
                Field::Person,
                "it does not say who took the reading; name one of the works' people",
            );
        };
        if !self.plan.people.contains_key(person) {
            let people = self.plan.people.keys().map(String::as_str);
            return refuse(Field::Person, unknown("person", person, people));
        }
        let machine = short(Field::Machine, raw.machine, d.machine.as_deref())?;
        let spindle = short(Field::Spindle, raw.spindle, d.spindle.as_deref())?;
        let tool = short(Field::Tool, raw.tool, d.tool.as_deref())?;
        if let Some(last) = &self.last {
            let same = last.gauge.as_ref() == gauge
                && last.person.as_ref() == person
                && last.machine.as_ref() == machine
                && last.spindle.as_ref() == spindle
                && last.tool.as_ref() == tool;
            if same {
                return Ok(Arc::clone(last));
            }
        }
        let context = Arc::new(Context {
            gauge: self.name(gauge),
            person: self.name(person),
            machine: machine.into(),
            spindle: spindle.into(),
            tool: tool.into(),
            source: self.name(&d.source),
            edition: self.name(&d.edition),
        });
        self.last = Some(Arc::clone(&context));
        Ok(context)
    }

    fn time(&self, text: &str) -> Result<Millis, Refusal> {
        let now = self.defaults.now;
        let at = if text.is_empty() {
            self.defaults.at.unwrap_or(now)
        } else {
            instant_of(text, &self.zone)?
        };
        if at < 0 {
            return refuse(Field::Time, format!("\"{text}\" is before 1970"));
        }
        if at.saturating_sub(now) > AHEAD_MAX_MS {
            let shown =
                if text.is_empty() { instant::iso(at, &self.zone) } else { text.to_owned() };
            let now = instant::iso(now, &self.zone);
            return refuse(
                Field::Time,
                format!("\"{shown}\" is more than a day in the future; it is now {now}"),
            );
        }
        Ok(at)
    }
}

fn given<'a>(cell: &'a str, default: Option<&'a str>) -> Option<&'a str> {
    let cell = cell.trim();
    if cell.is_empty() { default.map(str::trim).filter(|d| !d.is_empty()) } else { Some(cell) }
}

fn short<'a>(field: Field, cell: &'a str, default: Option<&'a str>) -> Result<&'a str, Refusal> {
    let text = given(cell, default).unwrap_or("");
    sound_text(field, text)?;
    Ok(text)
}

pub(super) fn sound_text(field: Field, text: &str) -> Result<(), Refusal> {
    if let Some(c) = text.chars().find(|c| c.is_control()) {
        let code = u32::from(c);
        return refuse(field, format!("it holds the control character U+{code:04X}; remove it"));
    }
    let n_chars = text.chars().count();
    if n_chars > NAME_CHARS_MAX {
        return refuse(
            field,
            format!("it is {n_chars} characters long; at most {NAME_CHARS_MAX} are taken"),
        );
    }
    Ok(())
}

fn sound_piece(piece: &str) -> Result<(), Refusal> {
    if piece.is_empty() {
        return refuse(Field::Piece, "no piece is named; write the number of the piece measured");
    }
    sound_text(Field::Piece, piece)
}

fn unknown<'a>(kind: &str, text: &str, known: impl Iterator<Item = &'a str> + Clone) -> String {
    let shown: String = text.chars().take(NAME_CHARS_MAX).collect();
    let mend = match nearest(&shown, known.clone()) {
        Some(name) => format!("; did you mean \"{name}\"?"),
        None => {
            let names: Vec<&str> = known.take(9).collect();
            let more = if names.len() > 8 { ", …" } else { "" };
            format!("; known are {}{more}", names[..names.len().min(8)].join(", "))
        }
    };
    format!("there is no {kind} \"{shown}\" in the plan{mend}")
}

fn known_characteristic<'p>(plan: &'p Plan, text: &str) -> Result<&'p Characteristic, Refusal> {
    if text.is_empty() {
        return refuse(
            Field::Characteristic,
            "no characteristic is named; write it like \"block.bore\"",
        );
    }
    let known = plan.characteristics.get(text);
    known.map_or_else(
        || {
            let ids = plan.characteristics.keys().map(String::as_str);
            refuse(Field::Characteristic, unknown("characteristic", text, ids))
        },
        Ok,
    )
}

/// A piece is of the characteristic's part: by the prefix of its number, or an engine by digits.
fn belongs(plan: &Plan, c: &Characteristic, piece: &str) -> Result<(), Refusal> {
    if c.part == "engine" {
        if piece.bytes().all(|b| b.is_ascii_digit()) {
            return Ok(());
        }
        return refuse(
            Field::Piece,
            format!("{} is measured on an engine, whose number is digits; got \"{piece}\"", c.id),
        );
    }
    let Some(part) = plan.parts.get(&c.part).filter(|p| !p.prefix.is_empty()) else {
        return Ok(());
    };
    match plan.part_of(piece) {
        Some(own) if own.name == part.name => Ok(()),
        Some(own) => refuse(
            Field::Piece,
            format!(
                "\"{piece}\" is of the part {} by its number, but {} is measured on {}, whose \
                 numbers begin with \"{}\"",
                own.name, c.id, part.name, part.prefix
            ),
        ),
        None => refuse(
            Field::Piece,
            format!(
                "\"{piece}\" is no number of the part {}; such numbers are \"{}\" and digits",
                part.name, part.prefix
            ),
        ),
    }
}

fn known_position<'c>(c: &'c Characteristic, text: &str) -> Result<&'c str, Refusal> {
    if let Some(known) = c.positions.iter().find(|p| p.as_str() == text) {
        return Ok(known);
    }
    let reason = match (c.positions.is_empty(), text.is_empty()) {
        (true, true) => return Ok(""),
        (true, false) => format!(
            "{} is measured in one place only; leave the position empty instead of \"{}\"",
            c.id,
            text.chars().take(NAME_CHARS_MAX).collect::<String>()
        ),
        (false, true) => format!("no position is named; {} has {}", c.id, c.positions.join(", ")),
        (false, false) => format!(
            "{} has no position \"{}\"; its positions are {}",
            c.id,
            text.chars().take(NAME_CHARS_MAX).collect::<String>(),
            c.positions.join(", ")
        ),
    };
    refuse(Field::Position, reason)
}

fn value_of(c: &Characteristic, raw: &Raw<'_>) -> Result<Quantity, Refusal> {
    let text = raw.value.trim();
    let n_chars = text.chars().count();
    if n_chars > NAME_CHARS_MAX {
        return refuse(
            Field::Value,
            format!("the value is {n_chars} characters long; at most {NAME_CHARS_MAX} are taken"),
        );
    }
    let value = quantity_of(c, text, raw)?;
    if c.kind == Kind::Attribute && value.number() != 0.0 && value.number() != 1.0 {
        return refuse(
            Field::Value,
            format!("\"{text}\" is neither 1 (good) nor 0 (not good), as {} wants", c.id),
        );
    }
    if let Some(slip) = slip_of_unit(c, &value) {
        return refuse(Field::Value, slip);
    }
    Ok(value)
}

fn quantity_of(c: &Characteristic, text: &str, raw: &Raw<'_>) -> Result<Quantity, Refusal> {
    let refused = |field| move |e: QuantityError| Refusal { field, reason: e.to_string() };
    if power_of_ten_is_absurd(text) {
        return refuse(
            Field::Value,
            format!("\"{text}\" has more digits, or is larger or smaller, than a reading can be"),
        );
    }
    let beside = raw.unit.trim();
    let default = raw.unit_default.unwrap_or(c.unit);
    if beside.is_empty() {
        return Quantity::parse_in(text, default).map_err(refused(Field::Value));
    }
    let bare = Quantity::parse_in(text, default).map_err(refused(Field::Value))?;
    let beside_shown: String = beside.chars().take(NAME_CHARS_MAX).collect();
    let Some(unit) = Unit::named(&beside_shown) else {
        let nearest = match Quantity::parse(&format!("1 {beside_shown}"), c.unit.dimension) {
            Err(QuantityError::UnitUnknown { nearest: Some(near), .. }) => {
                format!("did you mean \"{near}\"?")
            }
            _ => format!("{} is measured in such as \"{}\"", c.id, c.unit.symbol),
        };
        return refuse(
            Field::Unit,
            format!("\"{beside_shown}\" is not a unit known here; {nearest}"),
        );
    };
    if text.ends_with(|c: char| c.is_ascii_digit() || c == '.' || c == ',') {
        let whole = format!("{text} {}", unit.symbol);
        return Quantity::parse(&whole, c.unit.dimension).map_err(refused(Field::Unit));
    }
    if bare.unit() != unit {
        return refuse(
            Field::Unit,
            format!("the value \"{text}\" has a unit of its own, but \"{beside_shown}\" beside it"),
        );
    }
    Ok(bare)
}

/// Powers of ten beyond any figure, refused before they are reckoned with.
pub(super) fn power_of_ten_is_absurd(text: &str) -> bool {
    text.match_indices(['e', 'E']).any(|(at, _)| {
        let digits = text[at + 1..].trim_start_matches(['+', '-', '−']);
        digits.bytes().take_while(u8::is_ascii_digit).count() > 4
    })
}

/// What a value should be near: in the characteristic's unit, and in words.
fn expected(c: &Characteristic) -> Option<(f64, String)> {
    let in_unit = |q: &Quantity| q.in_unit(c.unit).filter(|v| v.is_finite() && *v != 0.0);
    if let Some(nominal) = &c.nominal {
        return in_unit(nominal).map(|v| (v, format!("the nominal {nominal}")));
    }
    let (lower, upper) = (c.lower.as_ref()?, c.upper.as_ref()?);
    let (low, high) = (in_unit(lower)?, in_unit(upper)?);
    // Wide limits say little about what a value should be near.
    let near = low * high > 0.0 && high / low < 3.0 && low / high < 3.0;
    near.then(|| (f64::midpoint(low, high), format!("the limits {lower} to {upper}")))
}

/// A value about a thousand or 25.4 times off is one in another unit than it says.
fn slip_of_unit(c: &Characteristic, value: &Quantity) -> Option<String> {
    if c.unit.offset != 0.0 || matches!(c.kind, Kind::Attribute | Kind::Curve) {
        return None;
    }
    let got = value.in_unit(c.unit)?;
    let Some((wanted, words)) = expected(c) else { return slip_above(c, value, got) };
    let ratio = got / wanted;
    let is_about = |x: f64, times: f64, share: f64| (x / times - 1.0).abs() <= share;
    let how = if is_about(ratio, 1000.0, 0.25) {
        "a thousand times"
    } else if is_about(ratio.recip(), 1000.0, 0.25) {
        "a thousandth of"
    } else if is_about(ratio, 25.4, 0.03) {
        "25.4 times"
    } else if is_about(ratio.recip(), 25.4, 0.03) {
        "one part in 25.4 of"
    } else {
        return None;
    };
    Some(format!(
        "{value} is about {how} {words}{}",
        meant(value, c.unit.dimension, |si| {
            is_about(si / (wanted * c.unit.factor()), 1.0, 0.25)
        })
    ))
}

/// With an upper limit alone, as of form, only a value far above it can be seen to be a slip.
fn slip_above(c: &Characteristic, value: &Quantity, got: f64) -> Option<String> {
    let upper = c.upper.as_ref().filter(|_| c.lower.is_none())?;
    let times = got / upper.in_unit(c.unit)?;
    let slipped = (200.0..=1500.0).contains(&times);
    let highest_si = upper.si() * 1.5;
    slipped.then(|| {
        format!(
            "{value} is about a thousand times what the limit {upper} lets expect{}",
            meant(value, c.unit.dimension, |si| 0.1 * highest_si < si && si <= highest_si)
        )
    })
}

/// The unit in which the same digits would make sense.
fn meant(value: &Quantity, dimension: Dimension, fits: impl Fn(f64) -> bool) -> String {
    UNITS
        .iter()
        .filter(|u| u.dimension == dimension && u.offset == 0.0)
        .map(|u| Quantity::new(value.mantissa(), value.exponent(), u))
        .find(|q| fits(q.si()))
        .map_or_else(String::new, |q| format!("; was {q} meant?"))
}

/// ISO 8601 with its zone, or local in the works' zone. A local time that the clocks going back
/// make twice is the earlier of the two; one that they skip is moved on by an hour.
fn instant_of(text: &str, zone: &TimeZone) -> Result<Millis, Refusal> {
    let bad = || Refusal {
        field: Field::Time,
        reason: format!(
            "\"{}\" is not a time; write it like \"2026-11-24 14:10\" or \
             \"2026-11-24T14:10:00+00:00\"",
            text.chars().take(NAME_CHARS_MAX).collect::<String>()
        ),
    };
    // A day alone would silently become midnight.
    if !text.contains(':') && !text.contains('T') {
        return Err(bad());
    }
    if let Ok(instant) = text.parse::<Timestamp>() {
        return Ok(instant.as_millisecond());
    }
    let local: DateTime = text.parse().map_err(|_| bad())?;
    zone.to_timestamp(local).map(Timestamp::as_millisecond).map_err(|_| bad())
}

//! How figures leave the works: value, unit, digits, where they came from.
//!
//! Every view is serialisable; the JSON API sends it as it is and the page draws it, so that no
//! page can show a figure that the API does not give.

use std::collections::BTreeMap;

use bedplate_gauge::judge::Judgement;
use bedplate_gauge::quantity::Quantity;
use bedplate_gauge::unit::Unit;
use serde::Serialize;

/// One figure with its unit, as shown.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Figure {
    /// The value in `unit`.
    pub value: f64,
    /// The unit's symbol.
    pub unit: &'static str,
    /// The value as shown, to its decimals, with a true minus sign.
    pub text: String,
    /// Numbers of the readings it rests on.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub readings: Vec<u64>,
    /// The calculation it came from, filled with the figures used.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub calculation: Option<CalculationUsed>,
}

/// A handbook entry and the inputs that gave a figure.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct CalculationUsed {
    /// The handbook's name of the calculation.
    pub name: &'static str,
    /// Its inputs as text, ready to be tried again.
    pub inputs: BTreeMap<String, String>,
}

/// `value` to `decimals` places with a true minus sign (U+2212), and never `−0`.
#[must_use]
pub fn shown(value: f64, decimals: u8) -> String {
    let text = format!("{value:.*}", usize::from(decimals));
    let is_zero = text.bytes().all(|b| matches!(b, b'-' | b'0' | b'.'));
    let text = if is_zero { text.trim_start_matches('-').to_owned() } else { text };
    text.replace('-', "−")
}

/// As [`shown`], with the sign always there: deviations from nominal.
#[must_use]
pub fn shown_signed(value: f64, decimals: u8) -> String {
    let text = shown(value, decimals);
    let is_zero = !text.bytes().any(|b| (b'1'..=b'9').contains(&b));
    if text.starts_with('−') || is_zero { text } else { format!("+{text}") }
}

impl Figure {
    /// A figure of `value` in `unit`, shown to `decimals`.
    #[must_use]
    pub fn new(value: f64, unit: &'static str, decimals: u8) -> Self {
        Self { value, unit, text: shown(value, decimals), readings: vec![], calculation: None }
    }

    /// A deviation: as [`Figure::new`], its sign always shown.
    #[must_use]
    pub fn signed(value: f64, unit: &'static str, decimals: u8) -> Self {
        Self { text: shown_signed(value, decimals), ..Self::new(value, unit, decimals) }
    }

    /// A quantity in its own unit and digits.
    #[must_use]
    pub fn of(quantity: &Quantity) -> Self {
        let decimals = quantity.exponent().min(0).unsigned_abs();
        Self::new(quantity.number(), quantity.unit().symbol, decimals)
    }

    /// A quantity converted to `unit`, shown to `decimals`. A unit of another dimension leaves the
    /// quantity as it is.
    #[must_use]
    pub fn of_in(quantity: &Quantity, unit: &'static Unit, decimals: u8) -> Self {
        quantity
            .in_unit(unit)
            .map_or_else(|| Self::of(quantity), |v| Self::new(v, unit.symbol, decimals))
    }

    /// The same figure, resting on these readings.
    #[must_use]
    pub fn from_readings(mut self, numbers: impl IntoIterator<Item = u64>) -> Self {
        self.readings.extend(numbers);
        self
    }

    /// The same figure, got by the handbook calculation `name` from `inputs`.
    #[must_use]
    pub fn by<K: Into<String>, V: Into<String>>(
        mut self,
        name: &'static str,
        inputs: impl IntoIterator<Item = (K, V)>,
    ) -> Self {
        let inputs = inputs.into_iter().map(|(k, v)| (k.into(), v.into())).collect();
        self.calculation = Some(CalculationUsed { name, inputs });
        self
    }

    /// Text and unit.
    #[must_use]
    pub fn with_unit(&self) -> String {
        match self.unit {
            "" => self.text.clone(),
            "°" | "%" => format!("{}{}", self.text, self.unit),
            unit => format!("{} {unit}", self.text),
        }
    }
}

/// The word of a judgement, also its key in JSON and in style sheets.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Word {
    /// Inside, surely enough.
    Accept,
    /// Outside, surely enough.
    Reject,
    /// Too close to call.
    CannotTell,
    /// Not measured, or nothing to judge by.
    NotJudged,
}

impl From<Judgement> for Word {
    fn from(judgement: Judgement) -> Self {
        match judgement {
            Judgement::Accept => Self::Accept,
            Judgement::Reject => Self::Reject,
            Judgement::CannotTell => Self::CannotTell,
        }
    }
}

impl Word {
    /// As shown.
    #[must_use]
    pub const fn text(self) -> &'static str {
        match self {
            Self::Accept => "Accept",
            Self::Reject => "Reject",
            Self::CannotTell => "Cannot tell",
            Self::NotJudged => "Not judged",
        }
    }

    /// The graver of two: reject over cannot tell over not judged over accept.
    #[must_use]
    pub fn worse(self, other: Self) -> Self {
        let rank = |w| match w {
            Self::Accept => 0,
            Self::NotJudged => 1,
            Self::CannotTell => 2,
            Self::Reject => 3,
        };
        if rank(other) > rank(self) { other } else { self }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn minus_is_true_and_zero_has_no_sign() {
        assert_eq!(shown(-1.25, 1), "−1.2");
        assert_eq!(shown(-0.04, 1), "0.0");
        assert_eq!(shown_signed(8.7, 1), "+8.7");
        assert_eq!(shown_signed(-8.7, 1), "−8.7");
        assert_eq!(shown_signed(0.0, 1), "0.0");
    }

    #[test]
    fn the_graver_word_wins() {
        assert_eq!(Word::Accept.worse(Word::CannotTell), Word::CannotTell);
        assert_eq!(Word::Reject.worse(Word::CannotTell), Word::Reject);
    }
}

//! Figures with units, kept as they were received.
//!
//! A [`Quantity`] is a decimal number and a unit: `68.0087 mm` stays 680087 × 10⁻⁴ mm, so that the
//! record keeps the reading to its own resolution; the SI value is derived from it, rounded once.
//! Metric and inch, point or comma as the decimal sign, `µm`, `um` or `μm`, with or without a space.

use std::fmt;
use std::str::FromStr;

use crate::unit::{Dimension, UNITS, Unit, scale_by_power_of_ten};

/// A decimal number with its unit, as received.
#[derive(Clone, Copy, PartialEq, Eq)]
pub struct Quantity {
    mantissa: i64,
    exponent: i8,
    unit: &'static Unit,
}

/// Why a text is no quantity. Each variant carries the text, so that a message can show it.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum QuantityError {
    /// Nothing but white space.
    #[error("nothing is written here; expected {}", .expected.example())]
    Empty {
        /// What was expected.
        expected: Dimension,
    },
    /// The number could not be read.
    #[error("\"{text}\" is not a number with a unit, such as \"{}\"", .expected.example())]
    NotANumber {
        /// The text as received.
        text: String,
        /// What was expected.
        expected: Dimension,
    },
    /// A number without a unit where one is needed.
    #[error("\"{text}\" has no unit; write it like \"{}\"", .expected.example())]
    UnitMissing {
        /// The text as received.
        text: String,
        /// What was expected.
        expected: Dimension,
    },
    /// The unit is not known.
    #[error("\"{unit}\" in \"{text}\" is not a unit known here{}", nearest_words(.nearest))]
    UnitUnknown {
        /// The text as received.
        text: String,
        /// The unit as received.
        unit: String,
        /// The nearest known unit, if one is near.
        nearest: Option<&'static str>,
    },
    /// The unit belongs to another kind of quantity.
    #[error("\"{text}\" is {}, but {} is wanted here, such as \"{}\"", .got.words(), .expected.words(), .expected.example())]
    WrongDimension {
        /// The text as received.
        text: String,
        /// What it is.
        got: Dimension,
        /// What was expected.
        expected: Dimension,
    },
    /// More digits than can be kept exactly, or too large or small.
    #[error("\"{text}\" has more digits, or is larger or smaller, than a reading can be")]
    OutOfRange {
        /// The text as received.
        text: String,
    },
    /// Both a point and a comma: it cannot be told which is the decimal sign.
    #[error(
        "\"{text}\" has both a point and a comma; write one decimal sign and no thousands sign"
    )]
    TwoDecimalSigns {
        /// The text as received.
        text: String,
    },
}

fn nearest_words(nearest: &Option<&'static str>) -> String {
    nearest.map_or_else(String::new, |n| format!("; did you mean \"{n}\"?"))
}

impl Quantity {
    /// A quantity from its parts: `mantissa × 10^exponent` of `unit`.
    #[must_use]
    pub const fn new(mantissa: i64, exponent: i8, unit: &'static Unit) -> Self {
        Self { mantissa, exponent, unit }
    }

    /// `value` in `unit`, rounded to `decimals` places: for values that are computed or generated.
    ///
    /// # Errors
    /// [`QuantityError::OutOfRange`] if the value is not finite or needs more than 18 digits.
    pub fn rounded(value: f64, decimals: u8, unit: &'static Unit) -> Result<Self, QuantityError> {
        let scaled = (value * 10f64.powi(i32::from(decimals))).round();
        if !scaled.is_finite() || scaled.abs() >= 1e18 || decimals > 18 {
            return Err(QuantityError::OutOfRange { text: format!("{value} {}", unit.symbol) });
        }
        #[expect(clippy::cast_possible_truncation, reason = "checked just above")]
        Ok(Self { mantissa: scaled as i64, exponent: -(decimals as i8), unit })
    }

    /// Reads `text`, which must carry a unit of `expected`. A plain number is taken only where
    /// [`Dimension::Number`] is expected.
    ///
    /// # Errors
    /// Each variant of [`QuantityError`] says what was wrong and what would have been right.
    pub fn parse(text: &str, expected: Dimension) -> Result<Self, QuantityError> {
        Self::read(text, expected, None)
    }

    /// Reads `text`, taking a number without a unit as being in `default`: for columns whose unit
    /// stands in their heading.
    ///
    /// # Errors
    /// As [`Quantity::parse`], but a missing unit is none.
    pub fn parse_in(text: &str, default: &'static Unit) -> Result<Self, QuantityError> {
        Self::read(text, default.dimension, Some(default))
    }

    fn read(
        text: &str,
        expected: Dimension,
        default: Option<&'static Unit>,
    ) -> Result<Self, QuantityError> {
        let trimmed = text.trim();
        if trimmed.is_empty() {
            return Err(QuantityError::Empty { expected });
        }
        let (number, unit_text) = split_number(trimmed);
        let (mantissa, exponent) = read_decimal(number, trimmed, expected)?;
        let unit = match (unit_text.is_empty(), default) {
            (true, Some(unit)) => unit,
            (true, None) if expected == Dimension::Number => &UNITS[0],
            (true, None) => {
                return Err(QuantityError::UnitMissing { text: trimmed.to_owned(), expected });
            }
            (false, _) => Unit::named(unit_text).ok_or_else(|| QuantityError::UnitUnknown {
                text: trimmed.to_owned(),
                unit: unit_text.to_owned(),
                nearest: nearest_unit(unit_text),
            })?,
        };
        let unit = reconcile(unit, expected);
        if unit.dimension != expected {
            let got = unit.dimension;
            return Err(QuantityError::WrongDimension { text: trimmed.to_owned(), got, expected });
        }
        Ok(Self { mantissa, exponent, unit })
    }

    /// The digits as an integer.
    #[must_use]
    pub const fn mantissa(&self) -> i64 {
        self.mantissa
    }

    /// The power of ten of the last digit, in the unit.
    #[must_use]
    pub const fn exponent(&self) -> i8 {
        self.exponent
    }

    /// The unit as received.
    #[must_use]
    pub const fn unit(&self) -> &'static Unit {
        self.unit
    }

    /// The number in the quantity's own unit.
    #[must_use]
    pub fn number(&self) -> f64 {
        decimal_to_f64(self.mantissa, i32::from(self.exponent))
    }

    /// The value in the SI-coherent unit of its dimension.
    #[must_use]
    pub fn si(&self) -> f64 {
        let u = self.unit;
        if u.times_pi || u.offset != 0.0 || u.denominator != 1 {
            return (self.number() + u.offset) * u.factor();
        }
        let power = i32::from(self.exponent) + i32::from(u.power);
        match i64::try_from(i128::from(self.mantissa) * i128::from(u.numerator)) {
            Ok(exact) => decimal_to_f64(exact, power),
            Err(_) => self.number() * u.factor(),
        }
    }

    /// The value in `unit`, or `None` if that measures something else.
    #[must_use]
    pub fn in_unit(&self, unit: &'static Unit) -> Option<f64> {
        if unit.dimension != self.unit.dimension {
            return None;
        }
        if unit == self.unit {
            return Some(self.number());
        }
        let plain = |u: &Unit| !u.times_pi && u.offset == 0.0 && u.denominator == 1;
        if plain(unit) && plain(self.unit) && unit.numerator == 1 {
            let power =
                i32::from(self.exponent) + i32::from(self.unit.power) - i32::from(unit.power);
            if let Ok(exact) =
                i64::try_from(i128::from(self.mantissa) * i128::from(self.unit.numerator))
            {
                return Some(decimal_to_f64(exact, power));
            }
        }
        Some(self.si() / unit.factor() - unit.offset)
    }

    /// The value in the unit of this symbol, for callers whose unit is fixed in the source.
    ///
    /// # Panics
    /// If no such unit exists or it measures something else: a slip in the program.
    #[must_use]
    pub fn to(&self, symbol: &str) -> f64 {
        Unit::named(symbol).and_then(|u| self.in_unit(u)).expect("a unit of the same dimension")
    }

    /// Half the last digit's step, in SI: what the text itself leaves open.
    #[must_use]
    pub fn half_step_si(&self) -> f64 {
        scale_by_power_of_ten(0.5, i32::from(self.exponent)) * self.unit.factor()
    }
}

/// Unit texts that mean another unit where another dimension is wanted: 2 K or 2 °C as a
/// difference of temperature.
fn reconcile(unit: &'static Unit, expected: Dimension) -> &'static Unit {
    let as_difference =
        expected == Dimension::TemperatureDifference && (unit.symbol == "K" || unit.symbol == "°C");
    if as_difference { Unit::named("ΔK").expect("in the table") } else { unit }
}

fn decimal_to_f64(mantissa: i64, power: i32) -> f64 {
    #[expect(clippy::cast_precision_loss, reason = "the exact branch is below 2^53")]
    if mantissa.unsigned_abs() < (1 << 53) && power.abs() <= 22 {
        return scale_by_power_of_ten(mantissa as f64, power);
    }
    format!("{mantissa}e{power}").parse().expect("an integer with an exponent is a number")
}

fn split_number(text: &str) -> (&str, &str) {
    let mut end = 0;
    for (i, c) in text.char_indices() {
        let exponent = (c == 'e' || c == 'E')
            && end > 0
            && text[i + 1..]
                .trim_start_matches(['+', '-', '−'])
                .starts_with(|d: char| d.is_ascii_digit());
        let sign_after_e = matches!(c, '+' | '-' | '−') && text[..i].ends_with(['e', 'E']);
        let leading_sign = matches!(c, '+' | '-' | '−') && text[..i].trim().is_empty();
        if c.is_ascii_digit() || c == '.' || c == ',' || exponent || sign_after_e || leading_sign {
            end = i + c.len_utf8();
        } else if !(c == ' ' && text[..i].trim_matches(['+', '-', '−']).is_empty()) {
            break;
        }
    }
    (&text[..end], text[end..].trim())
}

fn read_decimal(
    number: &str,
    whole: &str,
    expected: Dimension,
) -> Result<(i64, i8), QuantityError> {
    let bad = || QuantityError::NotANumber { text: whole.to_owned(), expected };
    let far = || QuantityError::OutOfRange { text: whole.to_owned() };
    if number.contains('.') && number.contains(',') {
        return Err(QuantityError::TwoDecimalSigns { text: whole.to_owned() });
    }
    let plain: String = number
        .chars()
        .filter(|c| !c.is_whitespace())
        .map(|c| match c {
            ',' => '.',
            '−' => '-',
            'E' => 'e',
            c => c,
        })
        .collect();
    let (digits, power) = plain.split_once('e').unwrap_or((&plain, "0"));
    let power: i32 = power.parse().map_err(|_| far())?;
    let (negative, digits) = match digits.strip_prefix('-') {
        Some(rest) => (true, rest),
        None => (false, digits.strip_prefix('+').unwrap_or(digits)),
    };
    let (whole_part, fraction) = digits.split_once('.').unwrap_or((digits, ""));
    let all_digits = |s: &str| s.bytes().all(|b| b.is_ascii_digit());
    if (whole_part.is_empty() && fraction.is_empty())
        || !all_digits(whole_part)
        || !all_digits(fraction)
    {
        return Err(bad());
    }
    let joined = format!("{whole_part}{fraction}");
    let significant = joined.trim_start_matches('0');
    let mantissa: i64 =
        if significant.is_empty() { 0 } else { significant.parse().map_err(|_| far())? };
    let places = i32::try_from(fraction.len()).map_err(|_| far())?;
    let exponent = power.checked_sub(places).and_then(|e| i8::try_from(e).ok()).ok_or_else(far)?;
    if !(-30..=30).contains(&exponent) {
        return Err(far());
    }
    Ok((if negative { -mantissa } else { mantissa }, exponent))
}

fn nearest_unit(text: &str) -> Option<&'static str> {
    let squeezed: String = text.chars().filter(|c| !c.is_whitespace()).collect();
    UNITS
        .iter()
        .flat_map(|u| u.spellings.iter().chain([&u.symbol]).map(move |s| (*s, u.symbol)))
        .filter(|(s, _)| !s.is_empty())
        .map(|(s, symbol)| (strsim::damerau_levenshtein(s, &squeezed), symbol))
        .filter(|(distance, _)| *distance <= 2 && *distance < squeezed.chars().count())
        .min_by_key(|(distance, _)| *distance)
        .map(|(_, symbol)| symbol)
}

impl fmt::Display for Quantity {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let sign = if self.mantissa < 0 { "-" } else { "" };
        let digits = self.mantissa.unsigned_abs().to_string();
        if self.exponent >= 0 {
            let zeros = usize::try_from(self.exponent).expect("not negative");
            let zeros = if self.mantissa == 0 { 0 } else { zeros };
            write!(f, "{sign}{digits}{}", "0".repeat(zeros))?;
        } else {
            let places = usize::from(self.exponent.unsigned_abs());
            let padded = format!("{digits:0>width$}", width = places + 1);
            let (whole, fraction) = padded.split_at(padded.len() - places);
            write!(f, "{sign}{whole}.{fraction}")?;
        }
        match self.unit.symbol {
            "" => Ok(()),
            "°" | "′" => f.write_str(self.unit.symbol),
            symbol => write!(f, " {symbol}"),
        }
    }
}

impl fmt::Debug for Quantity {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "Quantity({self})")
    }
}

impl FromStr for Quantity {
    type Err = QuantityError;

    /// Reads a quantity of whatever dimension its unit has.
    fn from_str(text: &str) -> Result<Self, QuantityError> {
        let (_, unit_text) = split_number(text.trim());
        let dimension = Unit::named(unit_text).map_or(Dimension::Number, |u| u.dimension);
        Self::parse(text, dimension)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn length(text: &str) -> Quantity {
        Quantity::parse(text, Dimension::Length).unwrap()
    }

    #[test]
    fn every_spelling_of_the_bench_is_taken() {
        for text in [
            "68.012 mm",
            "68,012 mm",
            "68.012mm",
            "68012 um",
            "68012 µm",
            "68012μm",
            "0.068012 m",
            "+68.012 mm",
        ] {
            assert_eq!(length(text).si(), 0.068_012, "{text}");
        }
        assert_eq!(
            Quantity::parse("3600rev/min", Dimension::RotationalSpeed).unwrap().to("rev/min"),
            3600.0
        );
        assert_eq!(length("−0.5 thou").to("µm"), -12.7);
        assert_eq!(length("1e-3 m").to("mm"), 1.0);
    }

    #[test]
    fn inch_is_exactly_25_4_mm() {
        // International yard and pound agreement, 1959.
        assert_eq!(length("2.6772 in").to("mm"), 68.000_88);
        assert_eq!(length("1 in").si(), 0.0254);
    }

    #[test]
    fn degrees_convert_with_their_zero() {
        let t = |s| Quantity::parse(s, Dimension::Temperature).unwrap();
        assert_eq!(t("20 °C").si(), 293.15);
        assert!((t("68 °F").to("°C") - 20.0).abs() < 1e-12);
        assert_eq!(Quantity::parse("2 K", Dimension::TemperatureDifference).unwrap().si(), 2.0);
    }

    #[test]
    fn errors_say_what_is_wrong() {
        let e = |s| Quantity::parse(s, Dimension::Length).unwrap_err().to_string();
        assert!(e("68.000").contains("has no unit"));
        assert!(e("sixty mm").contains("not a number"));
        assert!(e("68 mmm").contains("did you mean \"mm\""));
        assert!(e("68 kg").contains("is a mass, but a length is wanted"));
        assert!(e("1,234.5 mm").contains("both a point and a comma"));
        assert!(e("1e400 mm").contains("larger or smaller"));
        assert!(e("12345678901234567890 mm").contains("more digits"));
        assert!(e("NaN mm").contains("not a number"));
        assert!(e("").contains("nothing is written"));
        assert!(e("0.001e-2147483648 mm").contains("larger or smaller"));
        assert!(e("1e99999999999 mm").contains("larger or smaller"));
    }

    #[test]
    fn text_keeps_its_resolution() {
        assert_eq!(length("68.000 mm").to_string(), "68.000 mm");
        assert_eq!(length("0.5 thou").to_string(), "0.5 thou");
        assert_eq!(length("-0.0005 in").to_string(), "-0.0005 in");
        assert_eq!(Quantity::parse("30°", Dimension::Angle).unwrap().to_string(), "30°");
    }

    proptest! {
        #[test]
        fn printing_and_reading_gives_the_same(
            m in -9_999_999_999i64..9_999_999_999,
            e in -9i8..=3,
            u in 0usize..UNITS.len(),
        ) {
            let unit = &UNITS[u];
            let q = Quantity::new(m, e, unit);
            let back = Quantity::parse(&q.to_string(), unit.dimension).unwrap();
            prop_assert_eq!(back.number(), q.number());
            prop_assert_eq!(back.unit().symbol, unit.symbol);
        }

        #[test]
        fn any_text_is_read_or_refused_without_panic(text in "\\PC{0,40}") {
            for d in [Dimension::Length, Dimension::Number, Dimension::Temperature] {
                let _ = Quantity::parse(&text, d);
            }
            let _ = text.parse::<Quantity>();
        }

        #[test]
        fn conversion_there_and_back_is_the_identity(
            m in -999_999_999i64..999_999_999,
            e in -6i8..=0,
        ) {
            let q = Quantity::new(m, e, Unit::named("in").unwrap());
            let mm = q.to("mm");
            prop_assert!((mm / 25.4 - q.number()).abs() <= 4.0 * f64::EPSILON * q.number().abs());
        }
    }
}

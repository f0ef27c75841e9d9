//! How figures are written: so many significant digits, the unit after them.

use bedplate_gauge::calculation::{Column, Value};
use serde_json::{Value as Json, json};

/// Significant digits of a figure that was computed: finer than any gauge of the works, coarser
/// than the rounding noise of the arithmetic.
pub(crate) const DIGITS: usize = 7;

/// Significant digits of a figure that was given and is only repeated.
pub(crate) const DIGITS_GIVEN: usize = 12;

/// `x` to `digits` significant digits, without trailing zeros; a power of ten only below 10⁻⁴ and
/// from 10¹⁵ on. Digits before the point are never cut to zeros.
pub(crate) fn number_text(x: f64, digits: usize) -> String {
    if x == 0.0 {
        return "0".to_owned();
    }
    let places = digits.max(1) - 1;
    let scientific = format!("{x:.places$e}");
    let Some((mantissa, power)) = scientific.split_once('e') else {
        return scientific;
    };
    let power: i32 = power.parse().unwrap_or_default();
    if !(-4..15).contains(&power) {
        return format!("{}e{power}", without_trailing_zeros(mantissa));
    }
    let decimals = i32::try_from(places).unwrap_or(i32::MAX).saturating_sub(power).max(0);
    let decimals = usize::try_from(decimals).unwrap_or_default();
    without_trailing_zeros(&format!("{x:.decimals$}")).to_owned()
}

/// `x` in the fewest digits that read back as the same number.
pub(crate) fn exact_text(x: f64) -> String {
    if x != 0.0 && !(1e-6..1e15).contains(&x.abs()) { format!("{x:e}") } else { format!("{x}") }
}

fn without_trailing_zeros(text: &str) -> &str {
    if text.contains('.') { text.trim_end_matches('0').trim_end_matches('.') } else { text }
}

/// `number` with its unit as the trade writes it: `68 mm`, `5 %`, but `30°`.
pub(crate) fn with_unit(number: &str, unit: &str) -> String {
    match unit {
        "" => number.to_owned(),
        "°" | "′" => format!("{number}{unit}"),
        // Where a difference is wanted, kelvin is read as one.
        "ΔK" => format!("{number} K"),
        _ => format!("{number} {unit}"),
    }
}

/// A column's heading with its unit: `radius [mm]`.
pub(crate) fn heading(column: &Column) -> String {
    if column.unit.is_empty() {
        column.name.to_owned()
    } else {
        format!("{} [{}]", column.name, column.unit)
    }
}

/// A value on one line, in a form that is read back as an input: lists with the unit after the last
/// number, tables as `radius [mm], angle [°]; 30, 0; 30, 180`. `number` writes each number.
pub(crate) fn value_text(value: &Value, unit: &str, number: impl Fn(f64) -> String) -> String {
    let row = |numbers: &[f64]| numbers.iter().map(|x| number(*x)).collect::<Vec<_>>().join(", ");
    match value {
        Value::Figure(x) => with_unit(&number(*x), unit),
        Value::Count(n) => n.to_string(),
        Value::Word(word) => word.clone(),
        Value::List(numbers) if numbers.is_empty() => String::new(),
        Value::List(numbers) => with_unit(&row(numbers), unit),
        Value::Table(columns, rows) => {
            let headings = columns.iter().map(heading).collect::<Vec<_>>().join(", ");
            rows.iter().fold(headings, |text, numbers| format!("{text}; {}", row(numbers)))
        }
    }
}

/// A value for JSON, each number in full.
pub(crate) fn value_json(value: &Value) -> Json {
    match value {
        Value::Figure(x) => json!(x),
        Value::Count(n) => json!(n),
        Value::Word(word) => json!(word),
        Value::List(numbers) => json!(numbers),
        Value::Table(columns, rows) => json!({
            "columns": columns.iter().map(column_json).collect::<Vec<_>>(),
            "rows": rows,
        }),
    }
}

/// A column for JSON.
pub(crate) fn column_json(column: &Column) -> Json {
    json!({ "name": column.name, "unit": column.unit, "meaning": column.meaning })
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn seven_digits_and_no_noise() {
        for (x, text) in [
            (38.500_000_000_004_77, "38.5"),
            (1.0 / 3.0, "0.3333333"),
            (-68.008_7, "-68.0087"),
            (0.0, "0"),
            (-0.0, "0"),
            (1e-4, "0.0001"),
            (1.234_567_89e-5, "1.234568e-5"),
            (123_456_789.4, "123456789"),
            (9.999_999_99, "10"),
            (999_999.999_9, "1000000"),
            (1e15, "1e15"),
            (2.0e300, "2e300"),
        ] {
            assert_eq!(number_text(x, DIGITS), text);
        }
    }

    #[test]
    fn a_table_is_one_line() {
        const COLUMNS: &[Column] = &[
            Column { name: "radius", unit: "mm", meaning: "" },
            Column { name: "angle", unit: "°", meaning: "" },
        ];
        let table = Value::Table(COLUMNS, vec![vec![30.0, 0.0], vec![30.5, 180.0]]);
        let text = value_text(&table, "", |x| number_text(x, DIGITS));
        assert_eq!(text, "radius [mm], angle [°]; 30, 0; 30.5, 180");
        assert_eq!(value_text(&Value::List(vec![1.0, 2.5]), "mm", exact_text), "1, 2.5 mm");
        assert_eq!(value_text(&Value::Figure(30.0), "°", exact_text), "30°");
    }

    proptest! {
        #[test]
        fn writing_stays_within_half_a_digit(x in prop::num::f64::NORMAL) {
            let back: f64 = number_text(x, DIGITS).parse().unwrap();
            prop_assert!((back - x).abs() <= 0.500_001e-6 * x.abs(), "{x} {back}");
            prop_assert_eq!(exact_text(x).parse::<f64>().unwrap(), x);
        }
    }
}

//! Sums of quantities in their own digits: 68.000 mm and +12 µm are 68.012 mm, not a double near
//! it.

use bedplate_gauge::quantity::{Quantity, QuantityError};
use bedplate_gauge::unit::Unit;

/// A decimal number: digits and the power of ten of the last one.
type Decimal = (i128, i32);

/// A nominal with a deviation from it, in the nominal's unit or, where that would not come out
/// even, in the deviation's; rounded to nine places only where neither does.
pub(super) fn sum(nominal: Quantity, deviation: Quantity) -> Result<Quantity, QuantityError> {
    let exact = [nominal.unit(), deviation.unit()].into_iter().find_map(|unit| {
        let (a, b) = (decimal_in(nominal, unit)?, decimal_in(deviation, unit)?);
        quantity(added(a, b)?, unit)
    });
    if let Some(sum) = exact {
        return Ok(sum);
    }
    let unit = nominal.unit();
    let number = nominal.number() + deviation.number() * deviation.unit().factor() / unit.factor();
    Quantity::rounded(number, 9, unit)
}

/// The middle between two quantities of one dimension, in the first one's unit.
pub(super) fn middle(lower: Quantity, upper: Quantity) -> Result<Quantity, QuantityError> {
    let twice = sum(lower, upper)?;
    let (mantissa, exponent) = (i128::from(twice.mantissa()), i32::from(twice.exponent()));
    let half =
        if mantissa % 2 == 0 { (mantissa / 2, exponent) } else { (mantissa * 5, exponent - 1) };
    quantity(half, twice.unit())
        .map_or_else(|| Quantity::rounded(twice.number() / 2.0, 9, twice.unit()), Ok)
}

/// `q` in `unit`, its zero apart, where that comes out even.
fn decimal_in(q: Quantity, unit: &Unit) -> Option<Decimal> {
    let from = q.unit();
    if from.times_pi != unit.times_pi || (from.offset != unit.offset && from.offset != 0.0) {
        return None;
    }
    let mut numerator = u128::from(from.numerator) * u128::from(unit.denominator);
    let mut denominator = u128::from(from.denominator) * u128::from(unit.numerator);
    let divisor = greatest_common_divisor(numerator, denominator);
    (numerator, denominator) = (numerator / divisor, denominator / divisor);
    let mut exponent = i32::from(q.exponent()) + i32::from(from.power) - i32::from(unit.power);
    for (prime, other) in [(2, 5), (5, 2)] {
        while denominator % prime == 0 {
            denominator /= prime;
            numerator = numerator.checked_mul(other)?;
            exponent -= 1;
        }
    }
    let factor = i128::try_from(numerator).ok().filter(|_| denominator == 1)?;
    let mut digits = i128::from(q.mantissa()).checked_mul(factor)?;
    // Noughts that the conversion alone brought in say nothing of the figure.
    while factor != 1 && digits != 0 && digits % 10 == 0 {
        (digits, exponent) = (digits / 10, exponent + 1);
    }
    Some((digits, exponent))
}

fn greatest_common_divisor(a: u128, b: u128) -> u128 {
    if b == 0 { a.max(1) } else { greatest_common_divisor(b, a % b) }
}

fn added((a, a_exponent): Decimal, (b, b_exponent): Decimal) -> Option<Decimal> {
    let exponent = a_exponent.min(b_exponent);
    let shifted = |digits: i128, from: i32| {
        let power = u32::try_from(from - exponent).ok()?;
        digits.checked_mul(10i128.checked_pow(power)?)
    };
    Some((shifted(a, a_exponent)?.checked_add(shifted(b, b_exponent)?)?, exponent))
}

fn quantity((digits, exponent): Decimal, unit: &'static Unit) -> Option<Quantity> {
    let exponent = i8::try_from(exponent).ok().filter(|e| (-30..=30).contains(e))?;
    Some(Quantity::new(i64::try_from(digits).ok()?, exponent, unit))
}

#[cfg(test)]
mod tests {
    use super::*;
    use bedplate_gauge::unit::Dimension;

    fn added_up(nominal: &str, deviation: &str) -> String {
        let deviation = Quantity::parse(deviation, Dimension::TemperatureDifference)
            .or_else(|_| deviation.parse());
        sum(nominal.parse().unwrap(), deviation.unwrap()).unwrap().to_string()
    }

    #[test]
    fn a_deviation_is_added_in_its_own_digits() {
        assert_eq!(added_up("68.000 mm", "+12 µm"), "68.012 mm");
        assert_eq!(added_up("68 mm", "0 µm"), "68.000 mm");
        assert_eq!(added_up("68.000 mm", "-6.5 µm"), "67.9935 mm");
        assert_eq!(added_up("2.6772 in", "0.5 thou"), "2.6777 in");
        assert_eq!(added_up("80 °C", "5 K"), "85 °C");
        assert_eq!(added_up("30°", "-5′"), "1795′");
    }

    #[test]
    fn inch_and_metric_mixed_stay_exact_where_they_can() {
        // 1 in = 25.4 mm exactly: 2.6772 in = 68 000.88 µm.
        assert_eq!(added_up("2.6772 in", "12 µm"), "68012.88 µm");
        assert_eq!(added_up("68 mm", "0.5 thou"), "68.0127 mm");
    }

    #[test]
    fn the_middle_is_halfway() {
        let between =
            |a: &str, b: &str| middle(a.parse().unwrap(), b.parse().unwrap()).unwrap().to_string();
        assert_eq!(between("30 µm", "42 µm"), "36 µm");
        assert_eq!(between("30 µm", "41 µm"), "35.5 µm");
        assert_eq!(between("-5 µm", "0.006 mm"), "0.5 µm");
    }
}

//! Quantiles against values to 20 digits, far out into both tails.
//!
//! Source: `reference/quantiles.csv`, computed with mpmath 1.3 at 40 digits by
//! `reference/gauge/quantiles.py` at the root of the project (status: computed).

use bedplate_gauge::distribution::{
    chi_square_beyond, chi_square_quantile, f_beyond, f_quantile, normal_probability,
    normal_quantile, t_beyond, t_quantile,
};

struct Row {
    distribution: String,
    dof: (f64, f64),
    probability: f64,
    quantile: f64,
}

fn rows() -> Vec<Row> {
    let text = include_str!("reference/quantiles.csv");
    let mut reader = csv::Reader::from_reader(text.as_bytes());
    reader
        .records()
        .map(|record| {
            let record = record.expect("the table is whole");
            let number = |i: usize| record[i].parse::<f64>().unwrap_or(f64::NAN);
            Row {
                distribution: record[0].to_owned(),
                dof: (number(1), number(2)),
                probability: number(3),
                quantile: number(4),
            }
        })
        .collect()
}

/// Checks every row of one distribution and says how far the worst is off.
fn check(name: &str, tolerance: f64, quantile: impl Fn(&Row) -> f64) {
    let mut worst = (0.0, String::new());
    let mut n = 0;
    for row in rows().iter().filter(|r| r.distribution == name) {
        n += 1;
        let got = quantile(row);
        let off = (got - row.quantile).abs() / row.quantile.abs().max(1e-300);
        let off = if row.quantile == 0.0 { got.abs() } else { off };
        if off > worst.0 || off.is_nan() {
            worst = (off, format!("{:?} p = {} gives {got}", row.dof, row.probability));
        }
    }
    assert!(n >= 24);
    assert!(worst.0 <= tolerance, "{name}: {} at {}", worst.0, worst.1);
}

#[test]
fn normal_quantiles_keep_fourteen_digits() {
    check("normal", 1e-14, |r| normal_quantile(r.probability).unwrap());
}

#[test]
fn t_quantiles_keep_ten_digits() {
    check("t", 1e-10, |r| t_quantile(r.probability, r.dof.0).unwrap());
}

#[test]
fn chi_square_quantiles_keep_ten_digits() {
    check("chi-square", 1e-10, |r| chi_square_quantile(r.probability, r.dof.0).unwrap());
}

#[test]
fn f_quantiles_keep_nine_digits() {
    check("f", 1e-9, |r| f_quantile(r.probability, r.dof.0, r.dof.1).unwrap());
}

#[test]
fn probabilities_beyond_the_quantiles_are_those_asked_for() {
    for row in rows() {
        let tail = 1.0 - row.probability;
        let got = match row.distribution.as_str() {
            "normal" => normal_probability(-row.quantile),
            "t" => t_beyond(row.quantile, row.dof.0).unwrap(),
            "chi-square" => chi_square_beyond(row.quantile, row.dof.0).unwrap(),
            _ => f_beyond(row.quantile, row.dof.0, row.dof.1).unwrap(),
        };
        // The quantile is read to 16 digits, which far out moves the tail by its slope.
        assert!(
            (got / tail - 1.0).abs() < 1e-8,
            "{} {:?} {}",
            row.distribution,
            row.dof,
            row.probability
        );
    }
}

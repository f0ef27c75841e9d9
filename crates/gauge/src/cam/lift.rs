//! The nominal lift of a cam: a table of angles and lifts, with a smooth curve through it.

use std::f64::consts::TAU;

/// The nominal lift over a full turn.
#[derive(Debug, Clone, PartialEq)]
pub struct LiftTable {
    angles_rad: Vec<f64>,
    lifts_mm: Vec<f64>,
    /// Second derivatives of the curve at the rows, mm/rad².
    bends: Vec<f64>,
}

/// Why rows are no lift table.
#[derive(Debug, Clone, Copy, PartialEq, thiserror::Error)]
pub enum LiftError {
    /// Too few rows.
    #[error("{got} rows; a lift table needs at least 8")]
    TooFew {
        /// How many there were.
        got: usize,
    },
    /// A row is no finite number.
    #[error("row {row}: {lift_mm} mm at {angle_deg}°; both must be finite numbers")]
    NotFinite {
        /// Which row, counted from 1.
        row: usize,
        /// Its angle, degrees.
        angle_deg: f64,
        /// Its lift, mm.
        lift_mm: f64,
    },
    /// The angles do not rise, or rise over more than a turn.
    #[error("row {row} stands at {angle_deg}°; angles must rise and span less than a turn")]
    Order {
        /// Which row, counted from 1.
        row: usize,
        /// Its angle, degrees.
        angle_deg: f64,
    },
    /// A table of part of a turn that does not start and end on the base circle.
    #[error(
        "the table covers part of a turn and ends at a lift of {lift_mm} mm; \
         it must begin and end on the base circle"
    )]
    OffBase {
        /// The lift at the end, mm.
        lift_mm: f64,
    },
    /// No lift at all.
    #[error("all lifts are {lift_mm} mm; a cam lifts")]
    NoLift {
        /// The lift, mm.
        lift_mm: f64,
    },
}

/// Lift with its first and second derivative at an angle.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Lift {
    /// Lift, mm.
    pub lift_mm: f64,
    /// Velocity for each radian of cam angle, mm/rad.
    pub velocity_mm_rad: f64,
    /// Acceleration for each radian squared, mm/rad².
    pub acceleration_mm_rad2: f64,
}

impl LiftTable {
    /// A table of (angle in degrees, lift in mm), angles rising in the direction of rotation.
    ///
    /// # Given
    /// Eight rows or more spanning less than a turn. Where they leave a gap wider than their own
    /// steps, the cam is on its base circle there, at lift 0.
    ///
    /// # Errors
    /// [`LiftError`].
    ///
    /// # Validity
    /// A closed cubic spline goes through the rows: at steps of one degree true to a thousandth of
    /// a micrometre in lift for the usual motions, less near a jump of acceleration.
    ///
    /// # Source
    /// Periodic cubic spline, textbook; checked against scipy's `CubicSpline`.
    pub fn new(rows: &[(f64, f64)]) -> Result<Self, LiftError> {
        if rows.len() < 8 {
            return Err(LiftError::TooFew { got: rows.len() });
        }
        for (i, &(angle_deg, lift_mm)) in rows.iter().enumerate() {
            let row = i + 1;
            // Beyond these figures degrees and squares lose all meaning.
            if !(angle_deg.abs() < 1e6 && lift_mm.abs() < 1e6) {
                return Err(LiftError::NotFinite { row, angle_deg, lift_mm });
            }
            let rises = i == 0 || rows[i - 1].0 < angle_deg;
            if !rises || angle_deg - rows[0].0 >= 360.0 {
                return Err(LiftError::Order { row, angle_deg });
            }
        }
        let (least, most) = rows
            .iter()
            .fold((f64::INFINITY, f64::NEG_INFINITY), |(a, b), r| (a.min(r.1), b.max(r.1)));
        if most - least <= 1e-9 {
            return Err(LiftError::NoLift { lift_mm: least });
        }
        let mut filled = rows.to_vec();
        fill_base(&mut filled, most - least)?;
        let angles_rad: Vec<f64> = filled.iter().map(|r| r.0.to_radians()).collect();
        let lifts_mm: Vec<f64> = filled.iter().map(|r| r.1).collect();
        let bends = bends(&angles_rad, &lifts_mm);
        Ok(Self { angles_rad, lifts_mm, bends })
    }

    /// Lift, velocity and acceleration at an angle of the cam, degrees.
    ///
    /// # Example
    /// ```
    /// use bedplate_gauge::cam::lift::LiftTable;
    /// // Harmonic lift of 2·4 mm over a whole turn: 4 − 4·cos θ.
    /// let rows: Vec<(f64, f64)> = (0..360).map(f64::from)
    ///     .map(|a| (a, 4.0 - 4.0 * a.to_radians().cos())).collect();
    /// let at = LiftTable::new(&rows).unwrap().at(90.5);
    /// assert_eq!(format!("{:.6} {:.5}", at.lift_mm, at.velocity_mm_rad), "4.034906 3.99985");
    /// ```
    #[must_use]
    pub fn at(&self, angle_deg: f64) -> Lift {
        let first = self.angles_rad[0];
        let angle = first + (angle_deg.to_radians() - first).rem_euclid(TAU);
        let n = self.angles_rad.len();
        let i = self.angles_rad.partition_point(|a| *a <= angle).clamp(1, n) - 1;
        let j = (i + 1) % n;
        let step = span(&self.angles_rad, i);
        let b = (angle - self.angles_rad[i]) / step;
        let a = 1.0 - b;
        let (y0, y1, m0, m1) = (self.lifts_mm[i], self.lifts_mm[j], self.bends[i], self.bends[j]);
        let (cube_a, cube_b) = (a * a * a - a, b * b * b - b);
        Lift {
            lift_mm: a * y0 + b * y1 + (cube_a * m0 + cube_b * m1) * step * step / 6.0,
            velocity_mm_rad: (y1 - y0) / step
                + ((3.0 * b * b - 1.0) * m1 - (3.0 * a * a - 1.0) * m0) * step / 6.0,
            acceleration_mm_rad2: a * m0 + b * m1,
        }
    }
}

/// Fills a gap wider than the table's own steps with the base circle.
fn fill_base(rows: &mut Vec<(f64, f64)>, stroke_mm: f64) -> Result<(), LiftError> {
    let widest = rows.windows(2).map(|w| w[1].0 - w[0].0).fold(0.0, f64::max);
    let (first, last) = (rows[0], rows[rows.len() - 1]);
    let gap = first.0 + 360.0 - last.0;
    if gap <= 1.5 * widest {
        return Ok(());
    }
    for lift_mm in [first.1, last.1] {
        if lift_mm.abs() > 1e-3 * stroke_mm {
            return Err(LiftError::OffBase { lift_mm });
        }
    }
    // At most as many as there are thousandths of a turn.
    let steps = (gap / widest).ceil().min(1000.0);
    let mut k = 1.0;
    while k < steps {
        rows.push((last.0 + gap * k / steps, 0.0));
        k += 1.0;
    }
    Ok(())
}

/// Angle from a row to the next, round the turn.
fn span(angles_rad: &[f64], i: usize) -> f64 {
    match angles_rad.get(i + 1) {
        Some(next) => next - angles_rad[i],
        None => angles_rad[0] + TAU - angles_rad[i],
    }
}

/// Second derivatives of the closed cubic spline: equations that each tie three neighbours, round
/// the turn.
fn bends(angles_rad: &[f64], lifts_mm: &[f64]) -> Vec<f64> {
    let n = lifts_mm.len();
    let step: Vec<f64> = (0..n).map(|i| span(angles_rad, i)).collect();
    let slope = |i: usize| (lifts_mm[(i + 1) % n] - lifts_mm[i]) / step[i];
    let before = |i: usize| (i + n - 1) % n;
    let middle: Vec<f64> = (0..n).map(|i| 2.0 * (step[before(i)] + step[i])).collect();
    let right: Vec<f64> = (0..n).map(|i| 6.0 * (slope(i) - slope(before(i)))).collect();
    // The corner that closes the turn is taken out and put back (Sherman and Morrison).
    let corner = step[n - 1];
    let mut open = middle.clone();
    open[0] += middle[0];
    open[n - 1] += corner * corner / middle[0];
    let mut tie = vec![0.0; n];
    tie[0] = -middle[0];
    tie[n - 1] = corner;
    let (plain, bent) = (thomas(&open, &step, &right), thomas(&open, &step, &tie));
    let seen = |v: &[f64]| v[0] - v[n - 1] * corner / middle[0];
    let share = seen(&plain) / (1.0 + seen(&bent));
    plain.iter().zip(&bent).map(|(p, b)| p - share * b).collect()
}

/// Solves equations that tie each unknown to its neighbours, the same way up and down.
fn thomas(middle: &[f64], side: &[f64], right: &[f64]) -> Vec<f64> {
    let n = middle.len();
    let (mut pivot, mut found) = (middle.to_vec(), right.to_vec());
    for i in 1..n {
        let part = side[i - 1] / pivot[i - 1];
        pivot[i] -= part * side[i - 1];
        found[i] -= part * found[i - 1];
    }
    found[n - 1] /= pivot[n - 1];
    for i in (0..n - 1).rev() {
        found[i] = (found[i] - side[i] * found[i + 1]) / pivot[i];
    }
    found
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn what_is_no_lift_table_is_refused_in_words() {
        let words = |rows: &[(f64, f64)]| LiftTable::new(rows).unwrap_err().to_string();
        let rows = |lift: fn(f64) -> f64| -> Vec<(f64, f64)> {
            (0..36).map(|i| (f64::from(i) * 10.0, lift(f64::from(i)))).collect()
        };
        assert!(words(&rows(|i| i)[..5]).contains("5 rows"));
        assert!(words(&rows(|_| 2.0)).contains("a cam lifts"));
        let mut turned = rows(|i| i);
        turned[4].0 = 20.0;
        assert!(words(&turned).contains("row 5 stands at 20°"));
        let mut lost = rows(|i| i);
        lost[7].1 = f64::NAN;
        assert!(words(&lost).contains("row 8"));
        assert!(words(&rows(|i| i)[..20]).contains("begin and end on the base circle"));
    }

    #[test]
    fn the_curve_is_that_of_a_general_library() {
        // Computed with scipy 1.17.1, CubicSpline, periodic (reference/gauge/cam_spline.py).
        let angles = [0, 20, 55, 90, 120, 150, 185, 210, 250, 275, 300, 340].map(f64::from);
        let lifts = [0.0, 0.05, 0.6, 2.4, 4.9, 7.1, 7.9, 6.2, 2.1, 0.7, 0.1, 0.02];
        let rows: Vec<(f64, f64)> = angles.into_iter().zip(lifts).collect();
        let table = LiftTable::new(&rows).unwrap();
        let wanted = [
            (10.0, [0.0107132357, 0.1404574811, 0.9380136115]),
            (137.5, [6.27803098, 4.121765804, -2.957766923]),
            (200.0, [7.079272153, -4.407103609, -8.224166843]),
            (359.0, [0.0003839794888, -0.02882833905, 0.7524472579]),
        ];
        for (angle, [lift, velocity, acceleration]) in wanted {
            let at = table.at(angle);
            assert!((at.lift_mm - lift).abs() < 1e-8, "{angle}");
            assert!((at.velocity_mm_rad - velocity).abs() < 1e-8, "{angle}");
            assert!((at.acceleration_mm_rad2 - acceleration).abs() < 1e-8, "{angle}");
        }
    }

    #[test]
    fn outside_a_short_table_the_cam_is_on_its_base_circle() {
        let lift = |a: f64| 4.0 * (1.0 + (a * std::f64::consts::PI / 60.0).cos());
        let rows: Vec<(f64, f64)> = (-60..=60).map(f64::from).map(|a| (a, lift(a))).collect();
        let table = LiftTable::new(&rows).unwrap();
        for angle in [90.0, 180.0, 270.0] {
            assert!(table.at(angle).lift_mm.abs() < 1e-12);
        }
        assert!((table.at(0.0).lift_mm - 8.0).abs() < 1e-12);
        assert!((table.at(720.0 + 30.5).lift_mm - lift(30.5)).abs() < 1e-6);
    }

    proptest! {
        #[test]
        fn the_curve_goes_through_its_rows_and_is_smooth(
            lifts in prop::collection::vec(0.0f64..8.0, 8..40), turn in -400.0f64..400.0
        ) {
            prop_assume!(lifts.iter().any(|l| (l - lifts[0]).abs() > 1e-6));
            let step = 360.0 / lifts.len() as f64;
            let rows: Vec<(f64, f64)> =
                lifts.iter().enumerate().map(|(i, l)| (turn + step * i as f64, *l)).collect();
            let table = LiftTable::new(&rows).unwrap();
            for (angle, lift) in rows {
                prop_assert!((table.at(angle).lift_mm - lift).abs() < 1e-9);
                let (left, right) = (table.at(angle - 1e-7), table.at(angle + 1e-7));
                prop_assert!((left.velocity_mm_rad - right.velocity_mm_rad).abs() < 1e-4);
                prop_assert!((left.acceleration_mm_rad2 - right.acceleration_mm_rad2).abs() < 1e-2);
            }
        }
    }
}

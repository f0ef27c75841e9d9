//! Roundness figures of a filtered trace, as a drawing limits them.

use super::circle::{Circle, CircleError, REFERENCES, Reference, reference_circle};
use super::filter::{Filter, FilterError, filtered};
use super::harmonic::{HARMONIC_COLUMNS, harmonics};
use super::proof::Proof;
use super::trace::{Trace, TraceError};
use crate::calculation::{Answer, Calculation, Given, Input, Output, Refused, Stage};

/// Roundness figures of a trace, µm.
#[derive(Debug, Clone, PartialEq)]
pub struct Roundness {
    /// RONt: highest peak to lowest valley, about the reference circle's centre.
    pub total_um: f64,
    /// RONp: highest peak above the reference circle.
    pub peak_um: f64,
    /// RONv: lowest valley below it.
    pub valley_um: f64,
    /// RONq: root mean square from it.
    pub rms_um: f64,
    /// The reference circle, mm.
    pub circle: Circle,
    /// Its proof; none for least squares.
    pub proof: Option<Proof>,
}

/// Why a trace has no roundness figures.
#[derive(Debug, Clone, Copy, PartialEq, thiserror::Error)]
pub enum RoundnessError {
    /// It is no trace, or none after the filter.
    #[error(transparent)]
    Trace(#[from] TraceError),
    /// It cannot be filtered.
    #[error(transparent)]
    Filter(#[from] FilterError),
    /// It has no reference circle.
    #[error(transparent)]
    Circle(#[from] CircleError),
}

/// The roundness of a trace after its filter.
///
/// # Formula
/// With ρ the distances of the filtered profile from the reference circle's centre and R its
/// radius: RONt = max ρ − min ρ, RONp = max ρ − R, RONv = R − min ρ, RONq = √(mean of (ρ − R)²).
///
/// # Given
/// A trace, the filter, the reference circle.
///
/// # Returns
/// [`Roundness`], µm.
///
/// # Errors
/// [`RoundnessError`].
///
/// # Validity
/// The standard defines RONp, RONv and RONq about the least-squares circle; about another they are
/// what the formula says. State filter and circle with each figure: they change it.
///
/// # Source
/// ISO 12181-1, terms; ISO 12181-2 for the filter, from memory; checked against numpy and scipy.
///
/// # Example
/// ```
/// use bedplate_gauge::form::{circle::Reference, filter::Filter};
/// use bedplate_gauge::form::{roundness::roundness, trace::Trace};
/// // An oval of amplitude 4 µm on a radius of 34 mm: 8 µm from peak to valley.
/// let oval = (0..72).map(|i| 4.0 * (f64::from(10 * i).to_radians()).cos()).collect();
/// let trace = Trace::new(34.0, oval).unwrap();
/// let found = roundness(&trace, Filter::Open, Reference::LeastSquares).unwrap();
/// assert_eq!(format!("{:.3} {:.3} {:.3}", found.total_um, found.peak_um, found.rms_um),
///     "8.000 4.000 2.828");
/// ```
pub fn roundness(
    trace: &Trace,
    filter: Filter,
    reference: Reference,
) -> Result<Roundness, RoundnessError> {
    let left = filtered(trace.deviations_um(), filter)?;
    let points = Trace::new(trace.radius_mm(), left)?.points();
    let (circle, proof) = reference_circle(&points, reference)?;
    let off = |x: f64, y: f64| (x - circle.centre.x).hypot(y - circle.centre.y) - circle.radius;
    let squares: f64 = points.iter().map(|p| off(p.x, p.y).powi(2)).sum();
    Ok(Roundness {
        total_um: circle.roundness() * 1e3,
        peak_um: (circle.outer - circle.radius) * 1e3,
        valley_um: (circle.radius - circle.inner) * 1e3,
        rms_um: (squares / points.len() as f64).sqrt() * 1e3,
        circle,
        proof,
    })
}

/// Roundness of a polar trace.
pub const ROUNDNESS_TRACE: Calculation = Calculation {
    name: "roundness-trace",
    title: "Roundness of a polar trace",
    stage: Stage::Gauge,
    question: "How round is this trace after its filter, and of what waves is its error made?",
    inputs: &[
        Input::list("deviations", "µm", "outward deviations at equal steps of angle, once round"),
        Input::quantity("radius", "mm", "radius the deviations count from").over(0.0),
        Input::quantity("to", "", "upper cut-off, undulations per revolution; 0 for none")
            .at_least(0.0)
            .or("50"),
        Input::quantity("from", "", "lower cut-off, undulations per revolution; 0 for none")
            .at_least(0.0)
            .or("0"),
        Input::choice("circle", REFERENCES, "reference circle").or("least squares"),
        Input::count("waves", "how many harmonics to list").or("15"),
    ],
    outputs: &[
        Output::figure("total", "µm", "RONt, peak to valley"),
        Output::figure("peak", "µm", "RONp, highest peak above the circle"),
        Output::figure("valley", "µm", "RONv, lowest valley below the circle"),
        Output::figure("rms", "µm", "RONq, root mean square from the circle"),
        Output::figure("eccentricity", "µm", "distance of the circle's centre from the axis"),
        Output::figure("towards", "°", "direction of that centre"),
        Output::figure("harmonics", "", "waves of the unfiltered trace"),
    ],
    formula: "RONt = max ρ − min ρ, RONp = max ρ − R, RONv = R − min ρ, RONq² = mean (ρ − R)²",
    source: "ISO 12181-1, ISO 12181-2 and ISO 16610-21, from memory",
    validity: "A whole turn at equal steps, eccentricity small beside the radius.",
    // Computed with numpy 2.4.6 and scipy 1.17.1.
    example: &[
        (
            "deviations",
            "16.75, 14.20, 11.89, 11.09, 8.69, 9.20, 8.55, 2.85, -1.22, -4.90, -8.74, -8.27, \
             -9.77, -14.38, -16.27, -18.53, -18.92, -14.64, -13.26, -13.26, -11.14, -10.56, -6.87, \
             -0.01, 2.72, 4.89, 7.11, 6.85, 10.34, 14.84, 14.91, 15.14, 13.53, 10.01, 11.09, \
             11.75, 9.35, 7.95, 3.69, -0.62, 0.23, -0.15, -1.59, -2.07, -6.15, -8.44, -6.30, \
             -6.07, -5.37, -4.99, -8.67, -9.28, -7.05, -6.75, -4.85, -4.89, -8.43, -7.91, -6.06, \
             -5.04, -1.68, -1.66, -3.75, -1.51, 0.70, 3.50, 8.23, 8.23, 7.41, 9.81, 10.88, \
             13.64 µm",
        ),
        ("radius", "34 mm"),
        ("to", "15"),
    ],
    expected: &[
        ("total", "32.73025"),
        ("peak", "14.97255"),
        ("valley", "17.75771"),
        ("rms", "9.104875"),
        ("eccentricity", "0.00042"),
    ],
    run: run_roundness_trace,
};

fn run_roundness_trace(given: &Given) -> Result<Answer, Refused> {
    let deviations = given.list("deviations");
    let refused = |e: RoundnessError| Refused::because("deviations", e.to_string());
    let trace = Trace::new(given.number("radius"), deviations.to_vec())
        .map_err(|e| refused(RoundnessError::from(e)))?;
    let filter = Filter::between(given.number("from"), given.number("to"))
        .map_err(|e| Refused::because("to", e.to_string()))?;
    let reference = Reference::named(given.word("circle")).unwrap_or(Reference::LeastSquares);
    let found = roundness(&trace, filter, reference).map_err(refused)?;
    let up_to = given.count("waves").min(deviations.len() / 2);
    let waves =
        harmonics(deviations, up_to).map_err(|e| Refused::because("waves", e.to_string()))?;
    let rows = waves.iter().map(|h| vec![h.upr as f64, h.amplitude, h.crest_deg()]).collect();
    let centre = found.circle.centre;
    Ok(Answer::new()
        .figure("total", found.total_um)
        .figure("peak", found.peak_um)
        .figure("valley", found.valley_um)
        .figure("rms", found.rms_um)
        .figure("eccentricity", centre.x.hypot(centre.y) * 1e3)
        .figure("towards", centre.y.atan2(centre.x).to_degrees().rem_euclid(360.0))
        .table("harmonics", HARMONIC_COLUMNS, rows))
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;
    use std::f64::consts::TAU;

    fn trace(n: i32, deviation: impl Fn(f64) -> f64) -> Trace {
        let at = |i: i32| deviation(TAU * f64::from(i) / f64::from(n));
        Trace::new(34.0, (0..n).map(at).collect()).unwrap()
    }

    #[test]
    fn lobes_of_known_height_are_found_about_every_circle() {
        // Lobes of amplitude a touch all circles in turn: every reference is centred, RONt = 2a.
        // But an oval's plug is held at two points and slides to where three hold it: not at 0.
        for lobes in [2.0, 3.0, 5.0] {
            let lobed = trace(360, |a| 5.0 * (lobes * a).cos());
            for reference in Reference::ALL {
                if lobes == 2.0 && reference == Reference::MaximumInscribed {
                    continue;
                }
                let found = roundness(&lobed, Filter::Open, reference).unwrap();
                assert!((found.total_um - 10.0).abs() < 1e-8, "{lobes} {reference:?} {found:?}");
            }
        }
    }

    #[test]
    fn eccentricity_is_no_roundness() {
        // A true circle set 3 µm off the axis reads e·cos θ − e²/2R·sin²θ, within e³/R²: here
        // 1e-4 µm; what is left of the plain cosine is that second term.
        let off = trace(3600, |a| 3.0 * (a - 1.0).cos());
        let found = roundness(&off, Filter::Open, Reference::LeastSquares).unwrap();
        assert!(found.total_um < 2.0e-4);
        let centre = found.circle.centre;
        assert!((centre.x.hypot(centre.y) * 1e3 - 3.0).abs() < 1e-6);
    }

    #[test]
    fn the_filter_takes_its_share_of_each_wave() {
        // At a cut-off of 15, half of fifteen lobes is left and the oval keeps 0.98775.
        let lobed = trace(3600, |a| 4.0 * (15.0 * a).cos());
        let below = Filter::Below { cutoff_upr: 15.0 };
        let found = roundness(&lobed, below, Reference::MinimumZone).unwrap();
        assert!((found.total_um - 4.0).abs() < 1e-6);
        let oval = trace(3600, |a| 4.0 * (2.0 * a).cos());
        let found = roundness(&oval, below, Reference::LeastSquares).unwrap();
        assert!((found.rms_um - 4.0 * 0.987_752_995_995_838 / 2f64.sqrt()).abs() < 1e-5);
    }

    #[test]
    fn what_cannot_be_judged_is_refused_in_words() {
        let oval = trace(24, |a| (2.0 * a).cos());
        let filter = Filter::Below { cutoff_upr: 15.0 };
        let refused = roundness(&oval, filter, Reference::LeastSquares).unwrap_err();
        assert!(refused.to_string().contains("24 readings"));
    }

    proptest! {
        #[test]
        fn the_zone_is_the_least_of_all_totals(
            deviations in prop::collection::vec(-20.0f64..20.0, 12..90)
        ) {
            let trace = Trace::new(20.0, deviations).unwrap();
            let total = |r| roundness(&trace, Filter::Open, r).unwrap().total_um;
            let zone = total(Reference::MinimumZone);
            prop_assert!(Reference::ALL.iter().all(|&r| zone <= total(r) + 1e-9));
        }

        #[test]
        fn peak_and_valley_make_the_total(
            deviations in prop::collection::vec(-20.0f64..20.0, 12..90)
        ) {
            let trace = Trace::new(20.0, deviations).unwrap();
            for reference in Reference::ALL {
                let found = roundness(&trace, Filter::Open, reference).unwrap();
                prop_assert!((found.peak_um + found.valley_um - found.total_um).abs() < 1e-9);
                prop_assert!(found.rms_um <= found.total_um);
            }
        }
    }
}

//! Face milling: run-in of the cutter, feed and time.

use bedplate_gauge::calculation::{Answer, Calculation, Input, Output, Stage};

use super::{
    CuttingError, DIAMETER, FORMULAE, SPEED, SPINDLE, SurfaceSpeed, not_negative, positive,
    spindle_speed_rpm,
};

/// How far a face mill goes over the far edge.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum MillingTravel {
    /// The whole cutter leaves the face, so that its back teeth mark it alike.
    Finish,
    /// Only until the full width has been cut.
    Rough,
}

/// A face to mill, cutter in the middle of the width.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct FaceMilling {
    /// Diameter of the cutter, mm.
    pub diameter_mm: f64,
    /// Teeth.
    pub n_teeth: u32,
    /// Cutting speed, m/min.
    pub speed_m_min: f64,
    /// Feed of each tooth, mm.
    pub tooth_feed_mm: f64,
    /// Length of the face, mm.
    pub length_mm: f64,
    /// Width of the cut, mm.
    pub width_mm: f64,
    /// Clearance before and behind, mm each.
    pub clearance_mm: f64,
    /// Finish or rough.
    pub travel: MillingTravel,
}

/// What face milling asks.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct FaceMillingTime {
    /// Spindle speed, rev/min.
    pub spindle_rpm: f64,
    /// Table feed, mm/min.
    pub table_feed_mm_min: f64,
    /// Run-in until the full width is cut, mm.
    pub run_in_mm: f64,
    /// Time, s.
    pub time_s: f64,
}

/// Speed, table feed and time of a milled face.
///
/// # Formula
/// `v_f = f_z z n`; run-in `x = D/2 − √(D²/4 − a²/4)`; travel `L + D + 2c` to finish,
/// `L + x + 2c` to rough; `t = travel/v_f`.
/// # Given
/// See [`FaceMilling`]; all but the clearance above zero, the cut no wider than the cutter.
/// # Returns
/// Spindle speed, table feed, run-in, time in s.
/// # Errors
/// [`CuttingError::NotPositive`], [`CuttingError::Negative`], [`CuttingError::WiderThanCutter`].
/// # Validity
/// Cutter in the middle of the width.
/// # Source
/// Standard machining formulae (from memory).
/// # Example
/// ```
/// use bedplate_shop::cutting::milling::{FaceMilling, MillingTravel, face_milling};
/// let face = face_milling(&FaceMilling {
///     diameter_mm: 125.0, n_teeth: 8, speed_m_min: 180.0, tooth_feed_mm: 0.15,
///     length_mm: 420.0, width_mm: 90.0, clearance_mm: 5.0, travel: MillingTravel::Finish,
/// })?;
/// // Arithmetic from the formulae.
/// assert_eq!(format!("{:.5} s", face.time_s), "60.54111 s");
/// # Ok::<(), bedplate_shop::cutting::CuttingError>(())
/// ```
pub fn face_milling(face: &FaceMilling) -> Result<FaceMillingTime, CuttingError> {
    let FaceMilling { diameter_mm, speed_m_min, width_mm, clearance_mm, .. } = *face;
    positive(&[
        ("diameter", diameter_mm),
        ("teeth", f64::from(face.n_teeth)),
        ("speed", speed_m_min),
        ("tooth_feed", face.tooth_feed_mm),
        ("length", face.length_mm),
        ("width", width_mm),
    ])?;
    not_negative(&[("clearance", clearance_mm)])?;
    if width_mm > diameter_mm {
        return Err(CuttingError::WiderThanCutter { width_mm, diameter_mm });
    }
    let spindle_rpm = spindle_speed_rpm(SurfaceSpeed { speed_m_min, diameter_mm });
    let table_feed_mm_min = face.tooth_feed_mm * f64::from(face.n_teeth) * spindle_rpm;
    let half = diameter_mm / 2.0;
    let run_in_mm = half - (half * half - width_mm * width_mm / 4.0).sqrt();
    let beyond_mm = match face.travel {
        MillingTravel::Finish => diameter_mm,
        MillingTravel::Rough => run_in_mm,
    };
    let travel_mm = face.length_mm + beyond_mm + 2.0 * clearance_mm;
    let time_s = travel_mm / table_feed_mm_min * 60.0;
    Ok(FaceMillingTime { spindle_rpm, table_feed_mm_min, run_in_mm, time_s })
}

/// Declaration of [`face_milling`].
pub const FACE_MILLING: Calculation = Calculation {
    name: "face-milling",
    title: "Milling a face",
    stage: Stage::Plan,
    question: "At what speed and table feed is this face milled, and how long does it take?",
    inputs: &[
        DIAMETER,
        Input::count("teeth", "teeth of the cutter").at_least(1.0).at_most(1000.0),
        SPEED,
        Input::quantity("tooth_feed", "mm", "feed of each tooth").over(0.0),
        Input::quantity("length", "mm", "length of the face").over(0.0),
        Input::quantity("width", "mm", "width of the cut").over(0.0),
        Input::quantity("clearance", "mm", "before and behind, each").at_least(0.0).or("0 mm"),
    ],
    outputs: &[
        SPINDLE,
        Output::figure("table_feed", "mm/min", "table feed"),
        Output::figure("run_in", "mm", "until the full width is cut"),
        Output::figure("time_finish", "s", "until the whole cutter has left the face"),
        Output::figure("time_rough", "s", "until the full width has been cut"),
    ],
    formula: "v_f = f_z z n; x = D/2 − √(D²/4 − a²/4); t = (L + D + 2c)/v_f to finish, \
              (L + x + 2c)/v_f to rough",
    source: FORMULAE,
    validity: "Cutter in the middle of the width.",
    example: &[
        ("diameter", "125 mm"),
        ("teeth", "8"),
        ("speed", "180 m/min"),
        ("tooth_feed", "0.15 mm"),
        ("length", "420 mm"),
        ("width", "90 mm"),
        ("clearance", "5 mm"),
    ],
    expected: &[
        ("spindle", "458.366236"),
        ("table_feed", "550.039483"),
        ("run_in", "19.1266211"),
        ("time_finish", "60.5411084"),
        ("time_rough", "48.9921143"),
    ],
    run: |given| {
        let at = |travel| {
            face_milling(&FaceMilling {
                diameter_mm: given.number("diameter"),
                n_teeth: u32::try_from(given.count("teeth")).unwrap_or(u32::MAX),
                speed_m_min: given.number("speed"),
                tooth_feed_mm: given.number("tooth_feed"),
                length_mm: given.number("length"),
                width_mm: given.number("width"),
                clearance_mm: given.number("clearance"),
                travel,
            })
        };
        let (finish, rough) = (at(MillingTravel::Finish)?, at(MillingTravel::Rough)?);
        Ok(Answer::new()
            .figure("spindle", finish.spindle_rpm)
            .figure("table_feed", finish.table_feed_mm_min)
            .figure("run_in", finish.run_in_mm)
            .figure("time_finish", finish.time_s)
            .figure("time_rough", rough.time_s))
    },
};

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_full_width_cut_runs_in_by_half_the_cutter() {
        let face = FaceMilling {
            diameter_mm: 100.0,
            n_teeth: 6,
            speed_m_min: 150.0,
            tooth_feed_mm: 0.1,
            length_mm: 200.0,
            width_mm: 100.0,
            clearance_mm: 0.0,
            travel: MillingTravel::Rough,
        };
        // Geometry: the widest chord is reached when the centre stands on the edge.
        assert_eq!(face_milling(&face).unwrap().run_in_mm, 50.0);
        let wider = FaceMilling { width_mm: 100.1, ..face };
        assert!(matches!(face_milling(&wider), Err(CuttingError::WiderThanCutter { .. })));
    }
}

//! Broaching: teeth, length and time of one stroke.

use bedplate_gauge::calculation::{Answer, Calculation, Input, Output, Stage};

use super::{CuttingError, FORMULAE, SPEED, positive};

/// A surface broach and its stroke.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Broaching {
    /// Stock to take, mm.
    pub stock_mm: f64,
    /// Rise of each roughing tooth over the one before, mm.
    pub rise_mm: f64,
    /// Semi-finishing teeth.
    pub n_semi_finish: u32,
    /// Finishing teeth.
    pub n_finish: u32,
    /// Pitch of the teeth, mm.
    pub pitch_mm: f64,
    /// Length of the part along the stroke, mm.
    pub part_mm: f64,
    /// Cutting speed, m/min.
    pub speed_m_min: f64,
}

/// What a broach asks.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct BroachingTime {
    /// Teeth in all.
    pub n_teeth: u32,
    /// Toothed length, mm.
    pub toothed_mm: f64,
    /// Most teeth in the cut at once.
    pub n_teeth_in_cut: u32,
    /// Time of the cutting stroke, s.
    pub time_s: f64,
}

/// Teeth, length and stroke time of a surface broach.
///
/// # Formula
/// Roughing teeth `⌈s/r⌉`; length `z p`; teeth in the cut `⌈L/p⌉`; `t = (z p + L)/v`.
/// # Given
/// See [`Broaching`]; stock, rise, pitch, part and speed above zero.
/// # Returns
/// Teeth, toothed length, most teeth in the cut, time of the stroke in s.
/// # Errors
/// [`CuttingError::NotPositive`].
/// # Validity
/// Semi-finishing and finishing teeth take what is left inside the last rise.
/// # Source
/// Standard machining formulae (from memory).
/// # Example
/// ```
/// use bedplate_shop::cutting::broaching::{Broaching, broaching};
/// let broach = broaching(&Broaching {
///     stock_mm: 2.4, rise_mm: 0.05, n_semi_finish: 4, n_finish: 6,
///     pitch_mm: 14.0, part_mm: 45.0, speed_m_min: 6.0,
/// })?;
/// // Arithmetic from the formulae.
/// assert_eq!((broach.n_teeth, broach.n_teeth_in_cut), (58, 4));
/// # Ok::<(), bedplate_shop::cutting::CuttingError>(())
/// ```
pub fn broaching(cut: &Broaching) -> Result<BroachingTime, CuttingError> {
    let Broaching { stock_mm, rise_mm, pitch_mm, part_mm, speed_m_min, .. } = *cut;
    positive(&[
        ("stock", stock_mm),
        ("rise", rise_mm),
        ("pitch", pitch_mm),
        ("part", part_mm),
        ("speed", speed_m_min),
    ])?;
    let roughing = whole_steps(stock_mm / rise_mm);
    let n_teeth = roughing.saturating_add(cut.n_semi_finish).saturating_add(cut.n_finish);
    let toothed_mm = f64::from(n_teeth) * pitch_mm;
    Ok(BroachingTime {
        n_teeth,
        toothed_mm,
        n_teeth_in_cut: whole_steps(part_mm / pitch_mm),
        time_s: (toothed_mm + part_mm) / (speed_m_min * 1e3) * 60.0,
    })
}

/// The next whole number, where 2.4/0.05 is 48 whatever binary arithmetic makes of it.
fn whole_steps(ratio: f64) -> u32 {
    let nearest = ratio.round();
    let whole = if (ratio - nearest).abs() <= 1e-9 * ratio { nearest } else { ratio.ceil() };
    #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "clamped")]
    let n = whole.clamp(0.0, f64::from(u32::MAX)) as u32;
    n
}

/// Declaration of [`broaching`].
pub const BROACHING: Calculation = Calculation {
    name: "broaching",
    title: "Surface broaching",
    stage: Stage::Plan,
    question: "How long a broach does this stock need, and how long is its stroke?",
    inputs: &[
        Input::quantity("stock", "mm", "stock to take").over(0.0),
        Input::quantity("rise", "mm", "rise of each roughing tooth").over(0.0),
        Input::count("semi_finish", "semi-finishing teeth").at_most(10_000.0).or("0"),
        Input::count("finish", "finishing teeth").at_most(10_000.0).or("0"),
        Input::quantity("pitch", "mm", "pitch of the teeth").over(0.0),
        Input::quantity("part", "mm", "length of the part along the stroke").over(0.0),
        SPEED,
    ],
    outputs: &[
        Output::figure("teeth", "", "teeth in all"),
        Output::figure("toothed_length", "mm", "toothed length"),
        Output::figure("teeth_in_cut", "", "most teeth in the cut at once"),
        Output::figure("time", "s", "time of the cutting stroke"),
    ],
    formula: "z = ⌈s/r⌉ + semi-finishing + finishing; ⌈L/p⌉ in the cut; t = (z p + L)/v",
    source: FORMULAE,
    validity: "Semi-finishing and finishing teeth take what is left inside the last rise.",
    example: &[
        ("stock", "2.4 mm"),
        ("rise", "0.05 mm"),
        ("semi_finish", "4"),
        ("finish", "6"),
        ("pitch", "14 mm"),
        ("part", "45 mm"),
        ("speed", "6 m/min"),
    ],
    expected: &[
        ("teeth", "58"),
        ("toothed_length", "812"),
        ("teeth_in_cut", "4"),
        ("time", "8.57"),
    ],
    run: |given| {
        let teeth = |name| u32::try_from(given.count(name)).unwrap_or(u32::MAX);
        let broach = broaching(&Broaching {
            stock_mm: given.number("stock"),
            rise_mm: given.number("rise"),
            n_semi_finish: teeth("semi_finish"),
            n_finish: teeth("finish"),
            pitch_mm: given.number("pitch"),
            part_mm: given.number("part"),
            speed_m_min: given.number("speed"),
        })?;
        Ok(Answer::new()
            .count("teeth", broach.n_teeth as usize)
            .figure("toothed_length", broach.toothed_mm)
            .count("teeth_in_cut", broach.n_teeth_in_cut as usize)
            .figure("time", broach.time_s))
    },
};

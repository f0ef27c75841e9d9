//! Setting a gauge by two masters, and turning its readings into sizes.
//!
//! An air gauge or a comparator has a gain and a zero; a small and a large master give both. A
//! third shows whether the gauge is straight between them.

use crate::calculation::{Answer, Calculation, Given, Input, Output, Refused, Stage};

/// A master of known size with what the gauge reads on it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Master {
    /// Size by its certificate at 20 °C, in the unit of the sizes wanted.
    pub size: f64,
    /// What the gauge reads on it, in the gauge's own unit.
    pub reading: f64,
}

/// A gauge set by two masters.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Setting {
    low: Master,
    high: Master,
}

/// Why two masters set no gauge.
#[derive(Debug, Clone, Copy, PartialEq, thiserror::Error)]
pub enum SettingError {
    /// A size or reading is no finite number.
    #[error(
        "a master of size {} read as {}; both must be finite numbers",
        .master.size, .master.reading
    )]
    NotFinite {
        /// The master at fault.
        master: Master,
    },
    /// Both masters have the same size.
    #[error("both masters have the size {size}; two different sizes are needed")]
    SameSize {
        /// The size.
        size: f64,
    },
    /// The gauge reads the same on both masters.
    #[error("the gauge reads {reading} on both masters; it does not answer to size")]
    SameReading {
        /// The reading.
        reading: f64,
    },
}

impl Setting {
    /// Sets a gauge by two masters, in either order.
    ///
    /// # Formula
    /// Gain S = (r₂ − r₁)/(d₂ − d₁); size d = d₁ + (r − r₁)/S.
    ///
    /// # Given
    /// Two masters of different size on which the gauge reads differently. The gain may be
    /// negative.
    ///
    /// # Errors
    /// [`SettingError`] for masters that give no gain.
    ///
    /// # Validity
    /// A gauge that is straight over the span of the masters and of the readings; see
    /// [`Setting::straightness_error`].
    ///
    /// # Source
    /// Linear two-point calibration; arithmetic.
    ///
    /// # Example
    /// ```
    /// use bedplate_gauge::masters::{Master, Setting};
    /// let low = Master { size: 25.000, reading: 0.35 };
    /// let high = Master { size: 25.020, reading: 1.75 };
    /// let gauge = Setting::new(low, high).unwrap();
    /// assert_eq!(format!("{:.1}", gauge.gain()), "70.0");
    /// assert_eq!(format!("{:.4}", gauge.size(1.05)), "25.0100");
    /// ```
    pub fn new(low: Master, high: Master) -> Result<Self, SettingError> {
        for master in [low, high] {
            if !master.size.is_finite() || !master.reading.is_finite() {
                return Err(SettingError::NotFinite { master });
            }
        }
        if low.size == high.size {
            return Err(SettingError::SameSize { size: low.size });
        }
        if low.reading == high.reading {
            return Err(SettingError::SameReading { reading: low.reading });
        }
        Ok(if low.size < high.size { Self { low, high } } else { Self { low: high, high: low } })
    }

    /// The smaller and the larger master.
    #[must_use]
    pub const fn masters(&self) -> (Master, Master) {
        (self.low, self.high)
    }

    /// Gain: change of the reading per unit of size.
    #[must_use]
    pub fn gain(&self) -> f64 {
        (self.high.reading - self.low.reading) / (self.high.size - self.low.size)
    }

    /// The part of the way from the smaller to the larger master at which `reading` lies.
    fn part_of_way(&self, reading: f64) -> f64 {
        (reading - self.low.reading) / (self.high.reading - self.low.reading)
    }

    /// The size that belongs to a reading, in the unit of the masters' sizes.
    #[must_use]
    pub fn size(&self, reading: f64) -> f64 {
        self.low.size + self.part_of_way(reading) * (self.high.size - self.low.size)
    }

    /// The reading that belongs to a size.
    #[must_use]
    pub fn reading(&self, size: f64) -> f64 {
        self.low.reading + (size - self.low.size) * self.gain()
    }

    /// By how much the gauge misreads a third master: the size it shows less the master's. Positive
    /// when it reads large.
    #[must_use]
    pub fn straightness_error(&self, third: Master) -> f64 {
        self.size(third.reading) - third.size
    }

    /// Standard uncertainty of a size, from those of the masters and of a reading.
    ///
    /// # Formula
    /// u² = (1 − t)²·u₁² + t²·u₂² + ((1 − t)² + t² + 1)·u_r²/S², t the part of the way between the
    /// masters.
    ///
    /// # Given
    /// `reading`; `low` and `high`: standard uncertainties of the masters' sizes, in the unit of
    /// size; `one_reading`: that of one reading, in the gauge's unit, met again at each setting.
    ///
    /// # Validity
    /// Masters calibrated independently. Outside the masters it grows, as it should.
    ///
    /// # Source
    /// Derived here: size d = (1 − t)·d₁ + t·d₂, JCGM 100:2008 equation (10).
    ///
    /// # Example
    /// ```
    /// use bedplate_gauge::masters::{Master, Setting};
    /// let low = Master { size: 25.000, reading: 0.0 };
    /// let high = Master { size: 25.020, reading: 2.0 };
    /// let gauge = Setting::new(low, high).unwrap();
    /// // At a master, with a reading that is sure, it is the master's.
    /// assert_eq!(gauge.size_uncertainty(0.0, 0.0003, 0.0004, 0.0), 0.0003);
    /// ```
    #[must_use]
    pub fn size_uncertainty(&self, reading: f64, low: f64, high: f64, one_reading: f64) -> f64 {
        let t = self.part_of_way(reading);
        let noise = one_reading / self.gain();
        let near = 1.0 - t;
        let masters = (near * low).powi(2) + (t * high).powi(2);
        (masters + (near * near + t * t + 1.0) * noise * noise).sqrt()
    }
}

/// How far the column of an air gauge travels for a deviation, in the unit of the deviation.
///
/// # Formula
/// Travel = magnification × deviation.
///
/// # Source
/// Definition of magnification.
///
/// # Example
/// ```
/// // 9000 times: a ten-thousandth of an inch moves the liquid 0.9 in (common practice).
/// let travel = bedplate_gauge::masters::column_travel(9000.0, 0.0001);
/// assert!((travel - 0.9).abs() < 1e-12);
/// ```
#[must_use]
pub fn column_travel(magnification: f64, deviation: f64) -> f64 {
    magnification * deviation
}

/// The size a gauge reads after setting by two masters.
pub const TWO_MASTERS: Calculation = Calculation {
    name: "two-master-setting",
    title: "Two-master setting",
    stage: Stage::Gauge,
    question: "What size is this reading, with the gauge set by these two masters?",
    inputs: &[
        Input::quantity("small_master", "mm", "size of the small master").over(0.0),
        Input::quantity("large_master", "mm", "size of the large master").over(0.0),
        Input::quantity("small_reading", "", "reading on the small master"),
        Input::quantity("large_reading", "", "reading on the large master"),
        Input::list("readings", "", "readings on pieces, in the gauge's own unit"),
    ],
    outputs: &[
        Output::figure("gain", "", "change of the reading per millimetre"),
        Output::figure("sizes", "mm", "sizes of the pieces"),
    ],
    formula: "S = (r₂ − r₁)/(d₂ − d₁), d = d₁ + (r − r₁)/S",
    source: "linear two-point calibration",
    validity: "A gauge that is straight over the span; a third master shows whether it is.",
    // Arithmetic.
    example: &[
        ("small_master", "25.000 mm"),
        ("large_master", "25.020 mm"),
        ("small_reading", "0.35"),
        ("large_reading", "1.75"),
        ("readings", "0.35, 1.75, 1.05, 1.2, 0.28"),
    ],
    expected: &[
        ("gain", "70.0000000"),
        ("sizes", "25.0000000, 25.0200000, 25.0100000, 25.0121429, 24.9990000"),
    ],
    run: run_two_masters,
};

fn run_two_masters(given: &Given) -> Result<Answer, Refused> {
    let master =
        |size, reading| Master { size: given.number(size), reading: given.number(reading) };
    let setting = Setting::new(
        master("small_master", "small_reading"),
        master("large_master", "large_reading"),
    )
    .map_err(|e| Refused::because("large_master", e.to_string()))?;
    let sizes = given.list("readings").iter().map(|&r| setting.size(r)).collect();
    Ok(Answer::new().figure("gain", setting.gain()).list("sizes", sizes))
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn gauge() -> Setting {
        let low = Master { size: 25.0, reading: 0.35 };
        let high = Master { size: 25.02, reading: 1.75 };
        Setting::new(low, high).unwrap()
    }

    #[test]
    fn two_masters_give_gain_and_size() {
        // Arithmetic (status: computed).
        assert!((gauge().gain() / 70.0 - 1.0).abs() < 1e-10);
        let sizes = [
            (0.35, 25.0),
            (1.75, 25.02),
            (1.05, 25.01),
            (1.2, 25.012_142_857_142_855),
            (0.28, 24.999),
        ];
        for (reading, size) in sizes {
            assert!((gauge().size(reading) - size).abs() < 1e-9, "{reading}");
        }
    }

    #[test]
    fn a_third_master_shows_the_bend() {
        let straight = Master { size: 25.01, reading: 1.05 };
        assert!(gauge().straightness_error(straight).abs() < 1e-12);
        let bent = Master { size: 25.01, reading: 1.12 };
        assert!((gauge().straightness_error(bent) - 0.001).abs() < 1e-12);
    }

    #[test]
    fn masters_that_give_no_gain_are_refused() {
        let m = |size, reading| Master { size, reading };
        let words = |a, b| Setting::new(a, b).unwrap_err().to_string();
        assert!(words(m(25.0, 1.0), m(25.0, 2.0)).contains("two different sizes"));
        assert!(words(m(25.0, 1.0), m(25.1, 1.0)).contains("does not answer to size"));
        assert!(words(m(f64::NAN, 1.0), m(25.1, 2.0)).contains("finite numbers"));
    }

    #[test]
    fn uncertainty_at_a_master_is_the_masters() {
        let u = gauge().size_uncertainty(0.35, 0.000_3, 0.000_4, 0.0);
        assert!((u - 0.000_3).abs() < 1e-15);
        let middle = gauge().size_uncertainty(1.05, 0.000_3, 0.000_4, 0.0);
        assert!((middle - 0.000_25).abs() < 1e-12); // half of the 3-4-5 triangle
    }

    proptest! {
        #[test]
        fn reading_and_size_undo_each_other(
            d1 in 1.0f64..100.0, width in 0.001f64..1.0, r1 in -5.0f64..5.0, gain in 1.0f64..1000.0,
            turned in any::<bool>(), r in -5.0f64..5.0
        ) {
            let gain = if turned { -gain } else { gain };
            let low = Master { size: d1, reading: r1 };
            let high = Master { size: d1 + width, reading: r1 + gain * width };
            let setting = Setting::new(low, high).unwrap();
            prop_assert!((setting.reading(setting.size(r)) - r).abs() < 1e-8);
            prop_assert!((setting.gain() / gain - 1.0).abs() < 1e-6);
            prop_assert_eq!(setting, Setting::new(high, low).unwrap());
        }
    }
}

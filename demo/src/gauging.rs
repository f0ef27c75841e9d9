//! Gauges as they are: what they show of a true size, and how a reading is judged.

use bedplate_gauge::judge::{DecisionRule, Judgement, judge};
use bedplate_gauge::quantity::Quantity;
use bedplate_record::entry::Event;

use crate::calendar::{self, DAYS, minute_at};
use crate::daybook::{Bench, Daybook};
use crate::drawing::{Characteristic, Drawing, Gauge};
use crate::stream::{Purpose, Stream};

/// The gauge that goes out of calibration.
pub(crate) const OUT_GAUGE: &str = "air-bore";
/// What it shows too much while it is out.
pub(crate) const OUT_BY_MM: f64 = 0.0024;
/// The day and time at which it went out: a knock on Thursday, 5 November, at 09:20.
const OUT_FROM: (usize, u32, u32) = (16, 9, 20);
/// The check that found it: Wednesday, 11 November, at 06:10.
const OUT_UNTIL: (usize, u32, u32) = (20, 6, 10);
/// When each working day's checks begin.
const CHECKS_AT: (u32, u32) = (6, 10);

/// The gauges of the works.
#[derive(Debug)]
pub(crate) struct Gauging {
    errors: Stream,
}

/// What a gauge showed, and what follows.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Shown {
    /// As it is written down.
    pub(crate) value: Quantity,
    /// The same in the characteristic's unit.
    pub(crate) number: f64,
    /// Accept, reject, cannot tell; accept where there are no limits.
    pub(crate) judgement: Judgement,
}

/// From when until when the gauge was out, in working minutes.
pub(crate) fn out_between() -> (f64, f64) {
    let at = |(day, hour, minute)| minute_at(day, hour, minute);
    (at(OUT_FROM), at(OUT_UNTIL))
}

/// What `gauge` shows too much at a working minute, in the characteristic's unit.
pub(crate) fn bias(gauge: &str, minute: f64) -> f64 {
    let (from, until) = out_between();
    let out = gauge == OUT_GAUGE && from <= minute && minute < until;
    if out { OUT_BY_MM } else { 0.0 }
}

/// Judges a figure by the works' rule: the guard band is the whole expanded uncertainty.
pub(crate) fn judged(of: &Characteristic, number: f64) -> Judgement {
    let Some(limits) = &of.limits else { return Judgement::Accept };
    judge(number, limits, of.uncertainty / 2.0, DecisionRule::default()).judgement
}

impl Gauging {
    /// The gauges under a seed.
    pub(crate) fn new(seed: u64) -> Self {
        Self { errors: Stream::new(seed, Purpose::Gauging) }
    }

    /// What the gauge of a characteristic shows of a true value. Half the standard uncertainty is
    /// scatter; the other half is what masters and temperature leave, which the demo lets be zero
    /// but for the gauge that goes out.
    pub(crate) fn show(&mut self, of: &Characteristic, truth: f64, minute: f64) -> Shown {
        let scatter = self.errors.normal(0.0, of.uncertainty / 4.0);
        let seen = truth + bias(&of.gauge, minute) + scatter;
        self.shown(of, seen)
    }

    /// A figure rounded to the gauge's step and judged.
    pub(crate) fn shown(&self, of: &Characteristic, seen: f64) -> Shown {
        let stepped = (seen / of.step).round() * of.step;
        let value = Quantity::rounded(stepped, of.decimals, of.unit).expect("a size of an engine");
        let number = value.number();
        Shown { value, number, judgement: judged(of, number) }
    }
}

/// The bench of the people who prove gauges.
const PROVING: Bench = Bench { name: "gauge room", a: "p-lorn", b: "c-yarrow" };

/// Writes down the checks of every gauge: the first on the first day, the next each time before
/// its proving time has run out.
pub(crate) fn calibrations(drawing: &Drawing, seed: u64, daybook: &mut Daybook) {
    let mut errors = Stream::new(seed, Purpose::People);
    for (place, gauge) in drawing.gauges.iter().enumerate() {
        let mut last_civil = i64::MIN;
        for day in 0..DAYS {
            let tomorrow = calendar::civil_day(day + 1);
            if last_civil != i64::MIN && tomorrow - last_civil < gauge.proving_days {
                continue;
            }
            last_civil = calendar::civil_day(day);
            let minutes = place as f64 * 4.0;
            let minute = minute_at(day, CHECKS_AT.0, CHECKS_AT.1) + minutes;
            let mut share = errors.normal(0.0, 0.12).clamp(-0.4, 0.4);
            if gauge.name == OUT_GAUGE && day == OUT_UNTIL.0 {
                found_out(gauge, daybook);
                share = 0.1;
            }
            let error = share * gauge.uncertainty.number();
            check(daybook, gauge, minute + 25.0, (error, true, ""));
        }
    }
}

/// The check that finds the air gauge out.
fn found_out(gauge: &Gauge, daybook: &mut Daybook) {
    let (_, minute) = out_between();
    let note = "shows too much over its whole range; jets knocked; set again on both rings";
    check(daybook, gauge, minute, (OUT_BY_MM * 1000.0, false, note));
}

fn check(
    daybook: &mut Daybook,
    gauge: &Gauge,
    minute: f64,
    (error, in_order, note): (f64, bool, &str),
) {
    let unit = gauge.uncertainty.unit();
    let decimals = u8::try_from(-gauge.resolution.exponent()).unwrap_or(0);
    let found = Quantity::rounded(error, decimals, unit).expect("a small error");
    let event = Event::GaugeCalibrated {
        gauge: gauge.name.clone(),
        master: gauge.master.clone(),
        error: found.to_string(),
        in_order,
        note: note.to_owned(),
    };
    daybook.enter(minute, PROVING.person(minute), event);
}

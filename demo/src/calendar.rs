//! Working time: thirty days of two shifts, and the instants they stand for.
//!
//! The works runs from 06:00 to 22:00, Monday to Friday. Its clock counts working minutes, so that
//! what is left on a bench at 22:00 goes on at 06:00 of the next working day.

use bedplate_record::reading::Millis;

/// Working days, the last of them a part day.
pub(crate) const DAYS: usize = 30;
/// Minutes worked a day, by the clock.
pub(crate) const DAY_MINUTES: f64 = 960.0;
/// The last instant, in working minutes: 14:10 of the last day.
pub(crate) const END: f64 = (DAYS - 1) as f64 * DAY_MINUTES + 490.0;

/// The last day, as days since 1970-01-01: Tuesday, 24 November 2026.
const LAST_DAY: i64 = 20_781;
/// Summer time in Europe/London ends at 01:00 UTC of this day: Sunday, 25 October 2026.
const WINTER_FROM: i64 = 20_751;

const OPENS_MINUTE: f64 = 360.0;
const DAY_MILLIS: i64 = 86_400_000;

/// One of the two shifts.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub(crate) enum Shift {
    /// 06:00 to 14:00.
    A,
    /// 14:00 to 22:00.
    B,
}

/// The shift at a working minute.
pub(crate) fn shift_at(minute: f64) -> Shift {
    if minute.rem_euclid(DAY_MINUTES) < 480.0 { Shift::A } else { Shift::B }
}

/// The working day, from 0, at a working minute.
#[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "0 to some hundreds")]
pub(crate) fn day_of(minute: f64) -> usize {
    (minute / DAY_MINUTES).max(0.0) as usize
}

/// The working minute of a time by the clock on a working day.
pub(crate) fn minute_at(day: usize, hour: u32, minute: u32) -> f64 {
    day as f64 * DAY_MINUTES + f64::from(hour * 60 + minute) - OPENS_MINUTE
}

/// Days since 1970-01-01 of each working day.
const CIVIL_DAYS: [i64; DAYS] = {
    let mut days = [LAST_DAY; DAYS];
    let mut day = DAYS - 1;
    while day > 0 {
        // 1970-01-01 was a Thursday, so a Monday leaves 4.
        days[day - 1] = days[day] - if days[day] % 7 == 4 { 3 } else { 1 };
        day -= 1;
    }
    days
};

/// Days since 1970-01-01 of a working day. What would fall after the last day is never entered; it
/// only needs to be later.
pub(crate) fn civil_day(day: usize) -> i64 {
    let beyond = i64::try_from(day.saturating_sub(DAYS - 1)).unwrap_or(0);
    CIVIL_DAYS[day.min(DAYS - 1)] + beyond
}

/// The instant of a working minute, to the second.
#[expect(clippy::cast_possible_truncation, reason = "seconds of one day")]
pub(crate) fn instant(minute: f64) -> Millis {
    let day = day_of(minute);
    let of_day = minute - day as f64 * DAY_MINUTES + OPENS_MINUTE;
    let civil = civil_day(day);
    let ahead_of_utc = if civil < WINTER_FROM { 3_600_000 } else { 0 };
    civil * DAY_MILLIS + (of_day * 60.0).round() as i64 * 1000 - ahead_of_utc
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_thirty_days_run_from_14_october_to_24_november() {
        // 14, 23 and 26 October and 24 November 2026, computed with Python 3 datetime.
        assert_eq!([0, 7, 8, 29].map(civil_day), [20_740, 20_749, 20_752, 20_781]);
        for day in 0..DAYS {
            // Monday leaves 4 and Friday 1: Saturday, 2, and Sunday, 3, are not worked.
            assert!(!matches!(civil_day(day).rem_euclid(7), 2 | 3), "day {day}");
        }
    }

    #[test]
    fn instants_follow_the_clock_of_the_works() {
        // 2026-11-24T14:10:00Z and 2026-10-14T05:00:00Z, computed with Python 3 datetime.
        assert_eq!(instant(END), 1_795_529_400_000);
        assert_eq!(instant(0.0), 1_791_954_000_000);
        assert_eq!(minute_at(29, 14, 10), END);
        assert_eq!((shift_at(END), shift_at(END - 11.0)), (Shift::B, Shift::A));
    }
}

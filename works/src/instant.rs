//! Instants as people read them: in the works' own time zone.

use bedplate_record::reading::Millis;
use jiff::tz::TimeZone;
use jiff::{Timestamp, ZonedDateTime};

/// The works' time zone; UTC if its name is not known, which the plan's reader refuses.
#[must_use]
pub fn zone(name: &str) -> TimeZone {
    TimeZone::get(name).unwrap_or(TimeZone::UTC)
}

/// The instant in a zone.
#[must_use]
pub fn zoned(at: Millis, zone: &TimeZone) -> ZonedDateTime {
    Timestamp::from_millisecond(at).unwrap_or(Timestamp::UNIX_EPOCH).to_zoned_datetime(zone.clone())
}

/// ISO 8601 with zone offset, to the second: `2026-11-24T14:10:00+00:00`.
#[must_use]
pub fn iso(at: Millis, zone: &TimeZone) -> String {
    zoned(at, zone).strftime("%Y-%m-%dT%H:%M:%S%:z").to_string()
}

/// As in a title block: `24 Nov 14:10`.
#[must_use]
pub fn short(at: Millis, zone: &TimeZone) -> String {
    zoned(at, zone).strftime("%-d %b %H:%M").to_string()
}

/// The day alone: `24 Nov 2026`.
#[must_use]
pub fn day(at: Millis, zone: &TimeZone) -> String {
    zoned(at, zone).strftime("%-d %b %Y").to_string()
}

/// The first instant of the day that `at` lies in.
#[must_use]
pub fn start_of_day(at: Millis, zone: &TimeZone) -> Millis {
    zoned(at, zone).start_of_day().map_or(at, |z| z.timestamp().as_millisecond())
}

/// An instant as people write it: ISO 8601 with its zone, or without one in `zone`; a day alone is
/// its beginning.
#[must_use]
pub fn parse(text: &str, zone: &TimeZone) -> Option<Millis> {
    let text = text.trim();
    if let Ok(instant) = text.parse::<Timestamp>() {
        return Some(instant.as_millisecond());
    }
    let local = text
        .parse::<jiff::civil::DateTime>()
        .ok()
        .or_else(|| text.parse::<jiff::civil::Date>().ok().map(|day| day.at(0, 0, 0, 0)))?;
    Some(zone.to_timestamp(local).ok()?.as_millisecond())
}

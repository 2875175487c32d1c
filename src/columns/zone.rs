//! Time zones by name.

use jiff::tz::{Offset, TimeZone, TimeZoneDatabase};

/// The time zone of that name: one of the tz database that is built in, or a
/// fixed offset such as `+01:00`.
#[must_use]
pub fn time_zone(name: &str) -> Option<TimeZone> {
    fixed_offset(name)
        .map(TimeZone::fixed)
        .or_else(|| TimeZoneDatabase::bundled().get(name).ok())
}

/// `Z`, `UTC`, `+HH:MM` or `-HH:MM`.
fn fixed_offset(text: &str) -> Option<Offset> {
    if text.eq_ignore_ascii_case("z") || text.eq_ignore_ascii_case("utc") {
        return Some(Offset::UTC);
    }
    let sign = match text.as_bytes().first()? {
        b'+' => 1,
        b'-' => -1,
        _ => return None,
    };
    let (hours, minutes) = text[1..].split_once(':')?;
    let hours: i32 = hours.parse().ok()?;
    let minutes: i32 = minutes.parse().ok()?;
    if !(0..=14).contains(&hours) || !(0..60).contains(&minutes) {
        return None;
    }
    Offset::from_seconds(sign * (hours * 3600 + minutes * 60)).ok()
}

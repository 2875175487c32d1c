//! A recorded time: an instant for ordering, a local clock time for days,
//! shifts and weeks.

use jiff::tz::{AmbiguousOffset, Offset, TimeZone};

use crate::columns::time_zone;
use crate::site::DateOrder;

/// When something happened.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub struct Moment {
    /// The instant; wall-clock times without any zone are taken as if in UTC,
    /// which keeps their order.
    pub instant: jiff::Timestamp,
    /// The clock on the site's wall.
    pub local: jiff::civil::DateTime,
}

/// A shift: the production day it belongs to and its number in it, from 1.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub struct Shift {
    /// The production day: the date on which it began.
    pub day: jiff::civil::Date,
    /// 1 = the first of the day.
    pub number: u32,
}

impl std::fmt::Display for Shift {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        write!(f, "{}.{}", self.day, self.number)
    }
}

impl Moment {
    /// The shift by the clock on the wall: days begin at `day_start` and are
    /// cut into shifts of `hours` (1..24); hours left over make the last one.
    #[must_use]
    pub fn shift(&self, day_start: jiff::civil::Time, hours: f64) -> Shift {
        let seconds = |time: jiff::civil::Time| {
            i64::from(time.hour()) * 3600 + i64::from(time.minute()) * 60 + i64::from(time.second())
        };
        let since = seconds(self.local.time()) - seconds(day_start);
        let (day, since) = if since < 0 {
            let date = self.local.date();
            (date.yesterday().unwrap_or(date), since + 24 * 3600)
        } else {
            (self.local.date(), since)
        };
        Shift {
            day,
            number: 1 + (since as f64 / (hours * 3600.0)).floor() as u32,
        }
    }
}

/// What a time as written left open.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub(super) enum Certainty {
    /// An instant: offset or zone given, here or in the site file.
    Instant,
    /// In the hour that the clock went through twice; the first is taken.
    Twice,
    /// No zone anywhere: the clock on the wall.
    WallClock,
    /// A day without a time: its start.
    DayOnly,
}

/// Why a text is no time.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum NotATime {
    /// Not understood.
    Text,
    /// A date or hour that does not exist.
    Impossible,
    /// Skipped when the clock went forward.
    Skipped,
    /// 03/04/2026.
    DayOrMonthFirst,
    /// 3/4/26.
    ShortYear,
    /// A bare number, as spreadsheets count days.
    Serial,
    /// A bare number, as computers count seconds since 1970.
    Epoch,
    /// A zone in brackets that is not known.
    UnknownZone,
}

impl NotATime {
    /// In words that say what to do.
    pub(super) fn why(self) -> &'static str {
        match self {
            NotATime::Text => "not a time; write 2026-11-23T08:15:00+01:00, or local time",
            NotATime::Impossible => "no such date or time",
            NotATime::Skipped => {
                "did not exist: the clock went forward; if the station's clock does not, give its offset as [site] time_zone in onus.toml"
            }
            NotATime::DayOrMonthFirst => {
                "day or month first? Say order = \"day-first\" or \"month-first\" under [dates] in onus.toml"
            }
            NotATime::ShortYear => "a year of two digits; write all four",
            NotATime::Serial => "a bare number, as spreadsheets count days; export it as a date",
            NotATime::Epoch => {
                "a bare number, as computers count seconds since 1970; export it as a date and time"
            }
            NotATime::UnknownZone => "the time zone is not known",
        }
    }
}

/// Reads a time: RFC 3339, local time by the zone, or a date.
///
/// `-00:00` and `Z` both mean UTC. A leap second is taken as the second
/// before it.
pub(super) fn parse(
    text: &str,
    order: DateOrder,
    zone: Option<&TimeZone>,
) -> Result<(Moment, Certainty), NotATime> {
    let text = text.trim();
    let mut rest = text;
    let date = take_date(&mut rest, order)?;
    let rest = rest
        .strip_prefix(['T', 't'])
        .unwrap_or_else(|| rest.trim_start_matches([',', ' ']));
    if rest.is_empty() {
        let (moment, _) = place(date.to_datetime(jiff::civil::Time::midnight()), zone)?;
        return Ok((moment, Certainty::DayOnly));
    }
    let mut rest = rest;
    let time = take_time(&mut rest)?;
    let local = date.to_datetime(time);
    let (rest, bracket) = match rest.split_once('[') {
        Some((rest, zone)) => (rest, Some(zone.trim_end_matches(']'))),
        None => (rest, None),
    };
    let rest = rest.trim();
    if !rest.is_empty() {
        let offset = rfc_offset(rest).ok_or(NotATime::Text)?;
        let instant = offset
            .to_timestamp(local)
            .map_err(|_| NotATime::Impossible)?;
        let local = zone.map_or(local, |zone| zone.to_datetime(instant));
        return Ok((Moment { instant, local }, Certainty::Instant));
    }
    match bracket {
        Some(name) => {
            let own = time_zone(name).ok_or(NotATime::UnknownZone)?;
            let (moment, certainty) = place(local, Some(&own))?;
            let local = zone.map_or(moment.local, |zone| zone.to_datetime(moment.instant));
            Ok((
                Moment {
                    instant: moment.instant,
                    local,
                },
                certainty,
            ))
        }
        None => place(local, zone),
    }
}

/// Finds the instant of a clock time.
fn place(
    local: jiff::civil::DateTime,
    zone: Option<&TimeZone>,
) -> Result<(Moment, Certainty), NotATime> {
    let Some(zone) = zone else {
        let instant = Offset::UTC
            .to_timestamp(local)
            .map_err(|_| NotATime::Impossible)?;
        return Ok((Moment { instant, local }, Certainty::WallClock));
    };
    let found = zone.to_ambiguous_timestamp(local);
    let certainty = match found.offset() {
        AmbiguousOffset::Unambiguous { .. } => Certainty::Instant,
        AmbiguousOffset::Fold { .. } => Certainty::Twice,
        AmbiguousOffset::Gap { .. } => return Err(NotATime::Skipped),
    };
    let instant = found.earlier().map_err(|_| NotATime::Impossible)?;
    Ok((Moment { instant, local }, certainty))
}

/// `Z`, `+01:00`, `+0100`, `+01`.
fn rfc_offset(text: &str) -> Option<Offset> {
    if matches!(text, "Z" | "z" | "UTC" | "GMT") {
        return Some(Offset::UTC);
    }
    let negative = text.starts_with('-');
    let digits = text.strip_prefix(['+', '-'])?;
    let (hours, minutes) = match digits.split_once(':') {
        Some((h, m)) if h.len() == 2 && m.len() == 2 => (h, m),
        Some(_) => return None,
        None if digits.len() == 4 && digits.is_ascii() => digits.split_at(2),
        None if digits.len() == 2 => (digits, "00"),
        None => return None,
    };
    let number = |t: &str| {
        t.bytes()
            .all(|b| b.is_ascii_digit())
            .then(|| t.parse::<i32>().ok())
            .flatten()
    };
    let (hours, minutes) = (number(hours)?, number(minutes)?);
    if hours > 23 || minutes > 59 {
        return None;
    }
    let seconds = hours * 3600 + minutes * 60;
    Offset::from_seconds(if negative { -seconds } else { seconds }).ok()
}

/// Takes leading digits, at most `most`.
fn take_digits<'a>(rest: &mut &'a str, most: usize) -> &'a str {
    let end = rest
        .bytes()
        .take(most)
        .take_while(u8::is_ascii_digit)
        .count();
    let (digits, tail) = rest.split_at(end);
    *rest = tail;
    digits
}

/// Digits of what has passed since 1970, from 1973 on: seconds, thousandths,
/// millionths, billionths.
const EPOCH_DIGITS: [usize; 7] = [9, 10, 12, 13, 15, 16, 19];

/// What the dates of a file say of the order of day and month.
#[derive(Debug, Clone, Copy, Default)]
pub(super) struct OrderClues {
    /// Whether any date leaves the order open or tells it.
    pub any: bool,
    /// Dates whose first number can be no month.
    first: usize,
    /// Dates whose second number can be no month.
    second: usize,
}

impl OrderClues {
    /// One such date may be a slip.
    const LEAST: usize = 2;

    /// Looks at a cell.
    pub(super) fn look(&mut self, text: &str) {
        let mut rest = text.trim();
        let first = take_digits(&mut rest, 3);
        let Some(mark) = rest.chars().next().filter(|c| matches!(c, '-' | '/' | '.')) else {
            return;
        };
        rest = &rest[1..];
        let second = take_digits(&mut rest, 3);
        let Some(mut rest) = rest.strip_prefix(mark) else {
            return;
        };
        if take_digits(&mut rest, 5).len() != 4 {
            return;
        }
        let day_or_month = |text: &str| text.parse::<u8>().ok().filter(|n| (1..=31).contains(n));
        if let (Some(first), Some(second)) = (day_or_month(first), day_or_month(second)) {
            self.any = true;
            self.first += usize::from(first > 12 && second <= 12);
            self.second += usize::from(second > 12 && first <= 12);
        }
    }

    /// The order, where dates prove it and none speaks against it.
    pub(super) fn order(self) -> Option<DateOrder> {
        match (self.first, self.second) {
            (days, 0) if days >= Self::LEAST => Some(DateOrder::DayFirst),
            (0, days) if days >= Self::LEAST => Some(DateOrder::MonthFirst),
            _ => None,
        }
    }
}

fn take_date(rest: &mut &str, order: DateOrder) -> Result<jiff::civil::Date, NotATime> {
    let digits = rest.bytes().take_while(u8::is_ascii_digit).count();
    let mut after = rest.bytes().skip(digits);
    if EPOCH_DIGITS.contains(&digits) && after.all(|b| b.is_ascii_digit() || b == b'.') {
        return Err(NotATime::Epoch);
    }
    let first = take_digits(rest, 9);
    if first.is_empty() {
        return Err(NotATime::Text);
    }
    if first.len() == 8 && (rest.is_empty() || rest.starts_with(['T', 't', ' '])) {
        return date(&first[..4], &first[4..6], &first[6..]);
    }
    let spelt = rest.as_bytes().get(1).is_some_and(u8::is_ascii_alphabetic);
    let Some(mark) = rest
        .chars()
        .next()
        .filter(|c| matches!(c, '-' | '/' | '.') || (*c == ' ' && spelt))
    else {
        return Err(if rest.is_empty() {
            NotATime::Serial
        } else {
            NotATime::Text
        });
    };
    *rest = &rest[1..];
    if let Some(month) = take_month(rest) {
        *rest = rest.strip_prefix(mark).ok_or(NotATime::Text)?;
        let year = take_digits(rest, 4);
        return match (first.len(), year.len()) {
            (1 | 2, 4) => date(year, month, first),
            (1 | 2, 2) => Err(NotATime::ShortYear),
            _ => Err(NotATime::Text),
        };
    }
    let second = take_digits(rest, 2);
    let Some(tail) = rest.strip_prefix(mark) else {
        let number = mark == '.' && rest.bytes().all(|b| b.is_ascii_digit());
        return Err(if number {
            NotATime::Serial
        } else {
            NotATime::Text
        });
    };
    *rest = tail;
    let third = take_digits(rest, 4);
    if first.len() == 4 {
        return date(first, second, third);
    }
    if first.len() > 2 {
        return Err(NotATime::Text);
    }
    if third.len() < 4 {
        return Err(NotATime::ShortYear);
    }
    match order {
        DateOrder::Iso => Err(NotATime::DayOrMonthFirst),
        DateOrder::DayFirst => date(third, second, first),
        DateOrder::MonthFirst => date(third, first, second),
    }
}

/// Takes an English month, whole or by its first three letters: its number.
fn take_month(rest: &mut &str) -> Option<&'static str> {
    const MONTHS: [(&str, &str); 12] = [
        ("january", "1"),
        ("february", "2"),
        ("march", "3"),
        ("april", "4"),
        ("may", "5"),
        ("june", "6"),
        ("july", "7"),
        ("august", "8"),
        ("september", "9"),
        ("october", "10"),
        ("november", "11"),
        ("december", "12"),
    ];
    let end = rest.bytes().take_while(u8::is_ascii_alphabetic).count();
    let (name, tail) = rest.split_at(end);
    let name = name.to_ascii_lowercase();
    let (_, number) = MONTHS
        .into_iter()
        .find(|(month, _)| name == *month || name == month[..3])?;
    *rest = tail;
    Some(number)
}

fn date(year: &str, month: &str, day: &str) -> Result<jiff::civil::Date, NotATime> {
    let (Ok(year), Ok(month), Ok(day)) = (year.parse(), month.parse(), day.parse()) else {
        return Err(NotATime::Text);
    };
    jiff::civil::Date::new(year, month, day).map_err(|_| NotATime::Impossible)
}

fn take_time(rest: &mut &str) -> Result<jiff::civil::Time, NotATime> {
    let hour = take_digits(rest, 6);
    // 20261123T081500 writes the time without marks.
    let (hour, minute, second) = if hour.len() == 6 || hour.len() == 4 {
        (&hour[..2], &hour[2..4], &hour[4..])
    } else {
        *rest = rest.strip_prefix(':').ok_or(NotATime::Text)?;
        let minute = take_digits(rest, 2);
        let second = match rest.strip_prefix(':') {
            Some(tail) => {
                *rest = tail;
                take_digits(rest, 2)
            }
            None => "",
        };
        (hour, minute, second)
    };
    let mut nanosecond = 0i32;
    if !second.is_empty()
        && let Some(tail) = rest.strip_prefix(['.', ','])
    {
        *rest = tail;
        let fraction = take_digits(rest, 9);
        let _beyond_nanoseconds = take_digits(rest, 99);
        nanosecond = format!("{fraction:0<9}").parse().unwrap_or(0);
    }
    let number = |t: &str| t.parse::<i8>().map_err(|_| NotATime::Text);
    let mut hour = number(hour)?;
    let minute = number(minute)?;
    let second = if second.is_empty() {
        0
    } else {
        number(second)?
    };
    let tail = rest.trim_start();
    let half = tail.get(..2).map(str::to_ascii_lowercase);
    if let Some(half @ ("am" | "pm")) = half.as_deref() {
        if !(1..=12).contains(&hour) {
            return Err(NotATime::Impossible);
        }
        hour = hour % 12 + if half == "pm" { 12 } else { 0 };
        *rest = &tail[2..];
    }
    jiff::civil::Time::new(hour, minute, second.min(59), nanosecond)
        .ok()
        .filter(|_| second <= 60)
        .ok_or(NotATime::Impossible)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn utc(text: &str) -> Result<String, NotATime> {
        parse(text, DateOrder::Iso, None).map(|(moment, _)| moment.instant.to_string())
    }

    #[test]
    fn day_and_month_are_told_apart_only_by_the_site_file() {
        assert_eq!(utc("03/04/2026"), Err(NotATime::DayOrMonthFirst));
        assert_eq!(utc("23.11.2026 08:15"), Err(NotATime::DayOrMonthFirst));
        let day = |text, order| {
            parse(text, order, None)
                .map(|(moment, _)| moment.local.to_string())
                .unwrap()
        };
        assert_eq!(
            day("03/04/2026 08:15", DateOrder::DayFirst),
            "2026-04-03T08:15:00"
        );
        assert_eq!(
            day("03/04/2026 8:15 PM", DateOrder::MonthFirst),
            "2026-03-04T20:15:00"
        );
        assert_eq!(
            day("23.11.2026, 12:05 am", DateOrder::DayFirst),
            "2026-11-23T00:05:00"
        );
    }

    #[test]
    fn days_above_the_twelfth_prove_the_order_unless_others_speak_against_it() {
        let order = |texts: &[&str]| {
            let mut clues = OrderClues::default();
            texts.iter().for_each(|text| clues.look(text));
            clues.order()
        };
        let day_first = ["07.09.2026 06:03", "13.09.2026", "14.09.2026 23:00"];
        assert_eq!(order(&day_first), Some(DateOrder::DayFirst));
        let month_first = ["9/13/2026", "09/07/2026 1:00 pm", "9/30/2026"];
        assert_eq!(order(&month_first), Some(DateOrder::MonthFirst));
        assert_eq!(order(&["07/09/2026", "08/09/2026"]), None);
        assert_eq!(order(&["07/09/2026", "13/09/2026"]), None);
        assert_eq!(order(&["13/09/2026", "14/09/2026", "09/15/2026"]), None);
        assert_eq!(order(&["13/14/2026", "14/15/2026"]), None);
        assert_eq!(
            order(&["2026-09-13", "2026-09-14", "", "13.5", "46101.5"]),
            None
        );
    }

    #[test]
    fn what_is_no_time_is_named() {
        assert_eq!(utc("46349.34"), Err(NotATime::Serial));
        assert_eq!(utc("46349"), Err(NotATime::Serial));
        assert_eq!(utc("1795421700"), Err(NotATime::Epoch));
        assert_eq!(utc("1795421700.5"), Err(NotATime::Epoch));
        assert_eq!(utc("1795421700000"), Err(NotATime::Epoch));
        assert_eq!(utc("3/4/26"), Err(NotATime::ShortYear));
        assert_eq!(utc("2026-02-30"), Err(NotATime::Impossible));
        assert_eq!(utc("2026-11-23T25:00:00Z"), Err(NotATime::Impossible));
        assert_eq!(utc("monday"), Err(NotATime::Text));
        assert_eq!(utc(""), Err(NotATime::Text));
        assert_eq!(
            utc("2026-11-23T08:15:00[Moon/Base]"),
            Err(NotATime::UnknownZone)
        );
    }

    #[test]
    fn other_ways_to_write_the_same_instant_agree() {
        let expected = Ok("2026-11-23T08:15:00Z".to_owned());
        for text in [
            "2026-11-23T08:15:00Z",
            "2026-11-23 08:15Z",
            "2026/11/23 09:15:00+01:00",
            "20261123T081500Z",
            "2026-11-23T09:15:00+0100",
            "2026-11-23T09:15:00+01:00[Europe/Berlin]",
            "2026-11-23T09:15:00[Europe/Berlin]",
            "2026-11-23T08:15:00-00:00",
            "2026-11-23 8:15",
        ] {
            assert_eq!(utc(text), expected, "{text}");
        }
    }

    /// Berlin, 2026: forward at 02:00 on 29 March, back at 03:00 on 25
    /// October (Directive 2000/84/EC: the last Sundays, at 01:00 UTC).
    #[test]
    fn the_skipped_hour_does_not_exist_and_the_doubled_hour_is_told() {
        let berlin = time_zone("Europe/Berlin").unwrap();
        let at = |text| parse(text, DateOrder::Iso, Some(&berlin));
        assert_eq!(at("2026-03-29T02:30:00"), Err(NotATime::Skipped));
        let (moment, certainty) = at("2026-10-25T02:30:00").unwrap();
        assert_eq!(certainty, Certainty::Twice);
        assert_eq!(moment.instant.to_string(), "2026-10-25T00:30:00Z");
        let (moment, certainty) = at("2026-10-25T03:30:00").unwrap();
        assert_eq!(certainty, Certainty::Instant);
        assert_eq!(moment.instant.to_string(), "2026-10-25T02:30:00Z");
        let (moment, _) = at("2026-07-01T00:30:00Z").unwrap();
        assert_eq!(moment.local.to_string(), "2026-07-01T02:30:00");
    }

    #[test]
    fn a_time_without_zone_is_the_clock_on_the_wall() {
        let (moment, certainty) = parse("2026-11-23T08:15", DateOrder::Iso, None).unwrap();
        assert_eq!(certainty, Certainty::WallClock);
        assert_eq!(moment.local.to_string(), "2026-11-23T08:15:00");
        let (_, certainty) = parse("2026-11-23", DateOrder::Iso, None).unwrap();
        assert_eq!(certainty, Certainty::DayOnly);
    }

    #[test]
    fn zones_are_names_or_fixed_offsets() {
        assert!(time_zone("America/New_York").is_some());
        assert!(time_zone("+05:30").is_some());
        assert!(time_zone("Mars/Olympus").is_none());
        assert!(time_zone("+5").is_none());
    }
}

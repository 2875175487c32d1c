//! Times that no panel of today can have, and zones that don't agree.

use std::collections::BTreeMap;

use jiff::{SignedDuration, Timestamp};

use super::super::{Column, Lost, Moment, Panel, Records, Reject, Warning, WarningCode};
use super::{counted, some, warn};
use crate::site::Site;

/// Before this year no inspection was written to a file.
const FIRST_YEAR: i16 = 1990;
/// So far ahead a clock may be, hours: a zone not recorded, a station not set.
const AHEAD_HOURS: i64 = 36;
/// So many values lost and panels without a time, and so large a share of
/// panels, are many.
const LOST: usize = 3;
const LOST_SHARE: f64 = 0.1;
/// Clocks of one place differ by an hour between summer and winter, seconds.
const SUMMER: i64 = 3600;

/// Tells of dates before 1990 and of later ones than the site's latest day or,
/// where it names none, than now.
pub(in super::super) fn dates(
    records: &Records,
    site: &Site,
    now: Option<Timestamp>,
) -> Option<Warning> {
    let day = site.dates.latest.and_then(|day| {
        jiff::tz::Offset::UTC
            .to_timestamp(day.at(23, 59, 59, 0))
            .ok()
    });
    let latest = day
        .or(now)
        .map(|now| now.saturating_add(SignedDuration::from_hours(AHEAD_HOURS)));
    let odd: Vec<String> = records
        .panels
        .iter()
        .filter(|panel| {
            [panel.sanded_at, panel.inspected_at]
                .into_iter()
                .flatten()
                .any(|at| {
                    let later = match &latest {
                        Some(Ok(latest)) => at.instant > *latest,
                        _ => false,
                    };
                    at.local.year() < FIRST_YEAR || later
                })
        })
        .map(|panel| panel.id.clone())
        .collect();
    (!odd.is_empty()).then(|| {
        warn(
            WarningCode::DateSuspect,
            format!(
                "{} dated before {FIRST_YEAR} or in the future ({}): they stand at the wrong end of the order of panels. Is a clock not set?",
                if odd.len() == 1 { "1 panel is".to_owned() } else { format!("{} are", counted(odd.len(), "panel")) },
                some(&odd)
            ),
        )
    })
}

/// Tells where times were recorded but could not be read, with the commonest
/// reason: without them nothing is seen that comes and goes, and shifts, days
/// and the order of panels rule nothing out.
pub(in super::super) fn lost(records: &Records) -> Option<Warning> {
    let headers = records
        .columns
        .iter()
        .find(|used| used.column == Column::SandedAt.name())
        .map(|used| &used.headers)?;
    let mut reasons: BTreeMap<&str, (usize, &Reject)> = BTreeMap::new();
    let lost = records.rejects.iter().filter(|reject| {
        let header = reject.column.as_deref().map(str::trim);
        reject.lost == Lost::Value && headers.iter().any(|h| Some(h.as_str()) == header)
    });
    for reject in lost {
        reasons.entry(&reject.why).or_insert((0, reject)).0 += 1;
    }
    let values: usize = reasons.values().map(|(count, _)| count).sum();
    let (count, first) = reasons.values().max_by_key(|(count, _)| *count)?;
    let panels = records.panels.len();
    let without = records.panels.iter().filter(|p| p.sanded_at.is_none());
    let without = without.count();
    if values.min(without) < LOST || (without as f64) < LOST_SHARE * panels as f64 {
        return None;
    }
    Some(warn(
        WarningCode::TimesLost,
        format!(
            "{} of {} could not be read, and {without} of {} have no time: what comes and goes, shifts and the order of panels cannot be told there. {count} such as \"{}\": {}.",
            counted(values, "value"),
            Column::SandedAt.name(),
            counted(panels, "panel"),
            first.value.as_deref().unwrap_or_default(),
            first.why
        ),
    ))
}

/// Puts all panels on one clock where the site names no zone and the offsets
/// written differ by more than summer and winter do: that of the most panels.
/// Else one night's panels would lie on two days.
pub(in super::super) fn one_clock(panels: &mut [Panel], site: &Site) -> Option<Warning> {
    if site.site.time_zone.is_some() {
        return None;
    }
    let ahead = |at: &Moment| {
        let utc = jiff::tz::Offset::UTC.to_datetime(at.instant);
        at.local.duration_since(utc).as_secs()
    };
    let mut counts: BTreeMap<i64, usize> = BTreeMap::new();
    for at in panels.iter().filter_map(|p| p.sanded_at.as_ref()) {
        *counts.entry(ahead(at)).or_default() += 1;
    }
    let (first, last) = (*counts.keys().next()?, *counts.keys().next_back()?);
    if last - first <= SUMMER {
        return None;
    }
    let (offset, _) = counts.iter().max_by_key(|(offset, n)| (**n, **offset))?;
    let clock = jiff::tz::Offset::from_seconds(i32::try_from(*offset).ok()?).ok()?;
    for panel in panels.iter_mut() {
        for at in [&mut panel.sanded_at, &mut panel.inspected_at]
            .into_iter()
            .flatten()
        {
            at.local = clock.to_datetime(at.instant);
        }
    }
    Some(warn(
        WarningCode::LocalTime,
        format!(
            "Times are written on clocks that are {} hours apart; days and shifts are those of the commonest, {clock}. Set [site] time_zone in onus.toml.",
            (last - first) / 3600
        ),
    ))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::records::ColumnUse;

    fn panel(id: &str, instant: &str, local: &str) -> Panel {
        Panel {
            id: id.into(),
            sanded_at: Some(Moment {
                instant: instant.parse().unwrap(),
                local: local.parse().unwrap(),
            }),
            ..Panel::default()
        }
    }

    #[test]
    fn one_night_stays_one_day_whatever_offset_was_written() {
        let mut panels = vec![
            panel("A", "2026-03-01T22:30:00Z", "2026-03-01T23:30:00"),
            panel("B", "2026-03-01T22:40:00Z", "2026-03-01T23:40:00"),
            panel("C", "2026-03-01T23:10:00Z", "2026-03-02T04:10:00"),
        ];
        assert!(one_clock(&mut panels, &Site::default()).is_some());
        let local = panels[2].sanded_at.unwrap().local;
        assert_eq!(local.to_string(), "2026-03-02T00:10:00");
        // Summer and winter are one clock.
        let mut year = vec![
            panel("A", "2026-01-10T08:00:00Z", "2026-01-10T09:00:00"),
            panel("B", "2026-07-10T08:00:00Z", "2026-07-10T10:00:00"),
        ];
        assert!(one_clock(&mut year, &Site::default()).is_none());
    }

    #[test]
    fn dates_of_no_inspection_are_told_and_kept() {
        let records = |at: &str| Records {
            panels: vec![panel("A", at, &at[..19])],
            ..Records::default()
        };
        let now = "2026-11-29T00:00:00Z".parse().ok();
        assert!(dates(&records("1970-01-01T00:00:00Z"), &Site::default(), now).is_some());
        assert!(dates(&records("2062-01-01T00:00:00Z"), &Site::default(), now).is_some());
        assert!(dates(&records("2062-01-01T00:00:00Z"), &Site::default(), None).is_none());
        assert!(dates(&records("2026-11-29T08:00:00Z"), &Site::default(), now).is_none());
    }

    /// Forty panels, so many of them without a time, and so many values that could not
    /// be read.
    #[test]
    fn times_that_could_not_be_read_are_told_where_panels_lack_theirs() {
        let told = |unread: usize, without: usize| {
            let reject = Reject {
                file: "a.csv".into(),
                line: Some(2),
                column: Some("when".into()),
                value: Some("yesterday".into()),
                lost: Lost::Value,
                why: "not a time".into(),
            };
            let at = "2026-03-01T22:30:00Z";
            let mut records = Records {
                panels: vec![panel("A", at, &at[..19]); 40],
                rejects: vec![reject; unread],
                columns: vec![ColumnUse {
                    column: Column::SandedAt.name().into(),
                    headers: vec!["when".into()],
                    units: Vec::new(),
                    files: 1,
                }],
                ..Records::default()
            };
            for panel in &mut records.panels[..without] {
                panel.sanded_at = None;
            }
            lost(&records).is_some()
        };
        assert_eq!(
            [told(4, 4), told(2, 4), told(4, 2), told(4, 3)],
            [true, false, false, false]
        );
    }
}

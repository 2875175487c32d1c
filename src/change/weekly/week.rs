//! An ISO week against the weeks before it in the same data.

use jiff::civil::{Date, ISOWeekDate, Weekday};
use serde::{Serialize, Serializer};

use super::{ControlChart, Stretch, control_charts};
use crate::change::assess::assess;
use crate::change::judge::judge;
use crate::change::{ChangeError, Changes, Question, Settings, Side};
use crate::records::{Panel, Records};
use crate::site::Analysis;

/// An ISO 8601 week; the year is the one that the week belongs to.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Week {
    year: i16,
    week: i8,
}

impl Week {
    /// The week of a day.
    #[must_use]
    pub fn of(day: Date) -> Self {
        let week = day.iso_week_date();
        Self {
            year: week.year(),
            week: week.week(),
        }
    }
}

impl std::fmt::Display for Week {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        write!(f, "{:04}-W{:02}", self.year, self.week)
    }
}

impl std::str::FromStr for Week {
    type Err = ChangeError;

    /// `2026-W47`.
    fn from_str(text: &str) -> Result<Self, ChangeError> {
        let parse = || -> Option<Self> {
            let (year, week) = text.split_once("-W")?;
            if year.len() != 4 || week.len() != 2 {
                return None;
            }
            let (year, week) = (year.parse().ok()?, week.parse().ok()?);
            // a week 53 that the year doesn't have is refused here
            ISOWeekDate::new(year, week, Weekday::Monday).ok()?;
            Some(Self { year, week })
        };
        parse().ok_or_else(|| ChangeError::NotAWeek {
            text: text.to_owned(),
        })
    }
}

impl Serialize for Week {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        serializer.collect_str(self)
    }
}

/// The trend: control charts, and the week against the weeks before.
#[derive(Debug, Clone, PartialEq, Default, Serialize)]
pub struct Weekly {
    /// The week reported, if one was asked for.
    pub week: Option<Week>,
    /// One chart per machine, head and kind, those with a signal first.
    pub charts: Vec<ControlChart>,
    /// The week against the weeks before it; one comparison, none where there
    /// are no weeks before it.
    pub against_before: Changes,
}

/// Control charts and, for a week, its comparison with the weeks before;
/// `stretches` say over which time findings run.
///
/// # Errors
///
/// [`ChangeError::Nothing`] if no inspected panel was sanded in the week.
pub fn weekly(
    records: &Records,
    analysis: &Analysis,
    week: Option<Week>,
    stretches: &[Stretch],
) -> Result<Weekly, ChangeError> {
    let charts = control_charts(records, analysis, week, stretches);
    let against_before = match week {
        Some(week) => against_before(records, week, &Settings::from(analysis))?,
        None => Changes::default(),
    };
    Ok(Weekly {
        week,
        charts,
        against_before,
    })
}

/// The records without panels sanded after the week, their defects and
/// readings; panels without a time stay.
#[must_use]
pub fn until_week(records: Records, week: Week) -> Records {
    kept(records, |_, panel| {
        week_of(panel).is_none_or(|own| own <= week)
    })
}

/// The week in which a panel was sanded.
#[must_use]
pub fn week_of(panel: &Panel) -> Option<Week> {
    Some(Week::of(panel.sanded_at?.local.date()))
}

/// The records of those panels that stay, by index and panel.
#[must_use]
pub fn kept(records: Records, stays: impl Fn(usize, &Panel) -> bool) -> Records {
    let mut position = vec![None; records.panels.len()];
    let mut count = 0;
    for (k, panel) in records.panels.iter().enumerate() {
        if stays(k, panel) {
            position[k] = Some(count);
            count += 1;
        }
    }
    let mut records = records;
    let mut stay = position.iter().map(Option::is_some);
    records.panels.retain(|_| stay.next().unwrap_or(false));
    if records.origins.len() == records.defects.len() {
        let mut of = records.defects.iter();
        records
            .origins
            .retain(|_| of.next().is_some_and(|d| position[d.panel].is_some()));
    }
    records.defects.retain_mut(|defect| {
        position[defect.panel].is_some_and(|place| {
            defect.panel = place;
            true
        })
    });
    records.readings.retain_mut(|reading| {
        position[reading.panel].is_some_and(|place| {
            reading.panel = place;
            true
        })
    });
    records
        .input
        .count(&records.panels, &records.defects, &records.readings);
    records
}

fn against_before(
    records: &Records,
    week: Week,
    settings: &Settings,
) -> Result<Changes, ChangeError> {
    let sides: Vec<Option<Side>> = records
        .panels
        .iter()
        .map(|panel| {
            let own = Week::of(panel.sanded_at?.local.date());
            match own.cmp(&week) {
                std::cmp::Ordering::Less => Some(Side::Before),
                std::cmp::Ordering::Equal => Some(Side::After),
                std::cmp::Ordering::Greater => None,
            }
        })
        .collect();
    if !sides.contains(&Some(Side::After)) {
        let mut weeks: Vec<Week> = records
            .panels
            .iter()
            .filter_map(|p| Some(Week::of(p.sanded_at?.local.date())))
            .collect();
        weeks.sort_unstable();
        weeks.dedup();
        return Err(ChangeError::Nothing {
            what: format!("known to be sanded in {week}"),
            found: weeks.iter().rev().take(8).map(Week::to_string).collect(),
            nearest: None,
        });
    }
    if !sides.contains(&Some(Side::Before)) {
        return Ok(Changes::default());
    }
    let question = Question::Week {
        week: week.to_string(),
    };
    Ok(judge(
        vec![assess(records, &sides, question, &[], settings)],
        settings,
    ))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn weeks_of_the_years_edges_belong_to_the_iso_year() {
        // ISO 8601: week 1 holds the year's first Thursday
        for (day, week) in [
            ((2025, 12, 29), "2026-W01"),
            ((2027, 1, 3), "2026-W53"),
            ((2027, 1, 4), "2027-W01"),
            ((2026, 11, 16), "2026-W47"),
        ] {
            let day = Date::new(day.0, day.1, day.2).unwrap();
            assert_eq!(Week::of(day).to_string(), week);
            assert_eq!(week.parse::<Week>().unwrap(), Week::of(day));
        }
        for bad in ["2026-47", "2026W47", "2025-W53", "2026-W00", "26-W01", ""] {
            assert!(bad.parse::<Week>().is_err(), "{bad}");
        }
    }
}

//! A rate beside the others' rate: which panels carry a finding without a
//! place, and how often the others show such marks.

use serde::{Deserialize, Serialize};

use super::measure::Seen;
use super::past::Remembered;
use crate::causes::{Finding, Reason, time_level};
use crate::records::{Panel, Records};

/// Which panels carry a rate where its levels do not say.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Carried {
    /// All but those of the levels named: these show less.
    Others,
    /// Those whose number lies above this, in the unit of the column.
    Above(f64),
    /// Those whose number lies below this.
    Below(f64),
}

/// Whether a panel carries the rate (true) or is one of the others (false);
/// none where it can't be told, or nothing tells panels apart.
pub(super) fn carries(old: &Remembered, carried: Option<Carried>, panel: &Panel) -> Option<bool> {
    let rival = old.rival.as_deref()?;
    match carried {
        Some(Carried::Above(at)) => return Some(number(rival, panel)? > at),
        Some(Carried::Below(at)) => return Some(number(rival, panel)? < at),
        Some(Carried::Others) | None => {}
    }
    if old.levels.is_empty() {
        return None;
    }
    let own = match rival {
        "machine" | "head" => return Some(old.of_cell(panel)),
        "lot" => panel.lot.as_deref(),
        "supplier" => panel.supplier.as_deref(),
        "part" => panel.part.as_deref(),
        "recipe" => panel.recipe.as_deref(),
        "fixture" => panel.fixture.as_deref(),
        "inspector" => panel.inspector.as_deref(),
        "abrasive_id" => panel.abrasive_id.as_deref(),
        "grit" => panel.grit.as_ref().map(|g| g.label.as_str()),
        // Days and moments do not come again.
        time => Some(time_level(time, panel)?),
    };
    let named = old.levels.iter().any(|level| own == Some(level.as_str()));
    Some(named != (carried == Some(Carried::Others)))
}

fn number(rival: &str, panel: &Panel) -> Option<f64> {
    match rival {
        "feed_mm_s" => panel.feed_mm_s,
        "passes" => panel.passes,
        "force_n" => panel.force_n,
        "abrasive_age" => panel.abrasive_age,
        _ => None,
    }
}

/// The worse side of the mean of the number that a rate follows; none where it
/// follows none.
pub(super) fn worse_side(
    finding: &Finding,
    old: &Remembered,
    records: &Records,
) -> Option<Carried> {
    let rises = finding.reasons.iter().find_map(|reason| match reason {
        Reason::RateFollows { rises, .. } => Some(*rises),
        _ => None,
    })?;
    let rival = old.rival.as_deref()?;
    let known: Vec<f64> = (records.panels.iter())
        .filter(|panel| panel.inspected && old.of_cell(panel))
        .filter_map(|panel| number(rival, panel))
        .collect();
    if known.is_empty() {
        return None;
    }
    let mean = known.iter().sum::<f64>() / known.len() as f64;
    Some(if rises {
        Carried::Above(mean)
    } else {
        Carried::Below(mean)
    })
}

/// The share of panels, 0..1, that a rate would hit now: the odds that it had
/// against the others' then, on the odds of the others now.
///
/// The others' share is taken with half a panel more on either side, so that it
/// is never 0 or 1.
pub(super) fn moved(share: f64, others_then: f64, others_now: &Seen) -> f64 {
    let now = odds(share) / odds(others_then) * odds(others_now.share());
    now / (1.0 + now)
}

/// The odds of a share, never 0 or infinite.
pub(super) fn odds(share: f64) -> f64 {
    let share = share.clamp(1e-6, 1.0 - 1e-6);
    share / (1.0 - share)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn panel(lot: &str, feed: f64) -> Panel {
        Panel {
            lot: Some(lot.into()),
            feed_mm_s: Some(feed),
            ..Panel::default()
        }
    }

    #[test]
    fn levels_numbers_and_all_but_the_named_tell_panels_apart() {
        let lot = Remembered {
            rival: Some("lot".into()),
            levels: vec!["B".into()],
            ..Remembered::default()
        };
        let others = Some(Carried::Others);
        assert_eq!(carries(&lot, None, &panel("B", 80.0)), Some(true));
        assert_eq!(carries(&lot, None, &panel("A", 80.0)), Some(false));
        assert_eq!(carries(&lot, others, &panel("A", 80.0)), Some(true));
        assert_eq!(carries(&lot, None, &Panel::default()), Some(false));
        let feed = Remembered {
            rival: Some("feed_mm_s".into()),
            ..Remembered::default()
        };
        let above = Some(Carried::Above(110.0));
        assert_eq!(carries(&feed, above, &panel("A", 140.0)), Some(true));
        assert_eq!(carries(&feed, above, &panel("A", 80.0)), Some(false));
        assert_eq!(carries(&feed, None, &panel("A", 80.0)), None);
    }

    #[test]
    fn times_that_come_round_tell_panels_apart() {
        let at = |local: &str| {
            let local: jiff::civil::DateTime = local.parse().unwrap();
            let instant = jiff::tz::TimeZone::UTC.to_timestamp(local).unwrap();
            Panel {
                sanded_at: Some(crate::records::Moment { instant, local }),
                ..Panel::default()
            }
        };
        let of = |rival: &str, level: &str| Remembered {
            rival: Some(rival.into()),
            levels: vec![level.into()],
            ..Remembered::default()
        };
        // the second of March 2026 was a Monday
        let (monday, tuesday) = (at("2026-03-02T14:59:00"), at("2026-03-03T15:00:00"));
        for (rival, level) in [
            ("weekday", "Monday"),
            ("part of the day", "12 to 15"),
            ("shift", "6 to 14"),
        ] {
            let told = [&monday, &tuesday].map(|p| carries(&of(rival, level), None, p));
            let on_monday = rival != "shift";
            assert_eq!(told, [Some(on_monday), Some(false)], "{rival}");
        }
        assert_eq!(carries(&of("day", "2026-03-02"), None, &monday), None);
        assert_eq!(
            carries(&of("shift", "6 to 14"), None, &Panel::default()),
            None
        );
    }

    #[test]
    fn odds_are_kept_where_the_others_change() {
        let now = Seen {
            hits: 29,
            panels: 59,
            last: None,
        };
        // (29 + ½) / (59 + 1) is not quite a half: odds 59 / 61.
        // Odds of 0.75 against 0.5 are 3, so the share is 177 / (177 + 61).
        let share = moved(0.75, 0.5, &now);
        assert!((share - 177.0 / 238.0).abs() < 1e-12, "{share}");
    }
}

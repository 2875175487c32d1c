//! Reasons for and against a cause, as sentences.

mod course;
mod rates;
mod sides;
mod whose;

use super::counting::{by_chance, list, of_panels};
use crate::causes::{AbrasiveEnd, Frame, LineAxis, Reason, Rival, Side, Tally};
use crate::charts::NumberStyle;
use course::course;
use rates::rates;
use sides::sides;
use whose::{control, frames, lots};

/// The reasons as sentences; rivals that vary and show nothing share one.
pub fn reasons(all: &[Reason], numbers: &NumberStyle) -> Vec<String> {
    let excluded: Vec<String> = all
        .iter()
        .filter_map(|r| rates::excluded(r, numbers))
        .collect();
    let several = excluded.len() > 1;
    let mut out: Vec<String> = all
        .iter()
        .filter(|r| !(several && matches!(r, Reason::Excluded { .. })))
        .map(|r| reason(r, numbers))
        .collect();
    if several {
        out.push(rates::all_excluded(&excluded));
    }
    out
}

/// The reason as a sentence with its numbers.
pub fn reason(reason: &Reason, numbers: &NumberStyle) -> String {
    let n = numbers;
    match reason {
        Reason::Repeats {
            hits,
            exposed,
            expected,
        } => {
            let hits = of_panels(*hits, *exposed, n);
            match expected {
                Some(expected) => format!(
                    "It is at this place on {hits}, where chance would put it on {}.",
                    by_chance(*expected, n)
                ),
                None => format!("It is near this spot on {hits}."),
            }
        }
        Reason::Bars { .. }
        | Reason::PitchFollowsFeed { .. }
        | Reason::PitchStaysAtAllFeeds { .. }
        | Reason::PitchAndFeedUntold { .. }
        | Reason::TurnsKeepDirection
        | Reason::BarsHold { .. } => super::bars::reason(reason, n),
        Reason::Broad { ring_ratio } => match ring_ratio {
            Some(ratio) => format!(
                "But the marks crowd broadly: just around that spot there are {} times as many beyond \
                 chance as at it, so there is no sharp place to look at.",
                n.significant(*ratio, 2)
            ),
            None => "But the marks crowd broadly, without a sharp place to look at.".to_owned(),
        },
        Reason::Surface(on) => super::surface::surface_reason(on, n),
        Reason::FilmThinner { .. }
        | Reason::FilmThinOnSide { .. }
        | Reason::RemovalBesideFilm { .. }
        | Reason::RemovalNotMeasured => super::film::film_reason(reason, n),
        Reason::NeverTurned => {
            "No panel was turned or laid elsewhere, so machine and part look alike.".to_owned()
        }
        Reason::StationInDoubt { inspector } => format!(
            "{inspector} saw it, whose marks agree better with the others’ when mirrored or turned: \
             until that is put right, a place of the panel can look like one of the machine."
        ),
        Reason::InspectorNotRecorded => {
            "Who inspected is not recorded: a station that writes more down \
             would look the same."
                .to_owned()
        }
        Reason::TimesLost => {
            "Many times could not be read, so what was sanded when is known of some panels only."
                .to_owned()
        }
        Reason::HeldBack(why) => format!("{why}."),
        Reason::SymmetricPlace => "Panels were turned, but the turns take this place onto itself: \
             machine and part still look alike."
            .to_owned(),
        Reason::HoldsInFrame { .. }
        | Reason::FramesNotSeparated { .. }
        | Reason::TableNotCleared { .. }
        | Reason::LayGoesWithOthers { .. }
        | Reason::TooFewToName { .. }
        | Reason::EndsOfPathToo
        | Reason::SlopeLeansTheSameWay { .. }
        | Reason::TableNotRecorded
        | Reason::TableClearedByControl => frames(reason, n),
        Reason::LotsClear { .. }
        | Reason::LotsClearByTurning { .. }
        | Reason::LotsGather { .. }
        | Reason::LotsOpen { .. }
        | Reason::OneLot
        | Reason::LotsNotRecorded => lots(reason, n),
        Reason::ControlClears { .. }
        | Reason::ControlShowsItToo { .. }
        | Reason::ControlShowsBarsToo { .. }
        | Reason::ShownElsewhere { .. }
        | Reason::ControlWritesLittle { .. }
        | Reason::SeveralParts { .. } => control(reason, n),
        Reason::FollowsLevel { .. }
        | Reason::BeganWithRecipe { .. }
        | Reason::FollowsAge { .. }
        | Reason::EveryKth { .. }
        | Reason::SetIn { .. }
        | Reason::Ended { .. }
        | Reason::Drifts { .. } => course(reason, n),
        Reason::SideVotes { .. }
        | Reason::SignsChange { .. }
        | Reason::SignFollows { .. }
        | Reason::BothEnds { .. }
        | Reason::EndsStandOut { .. }
        | Reason::SideHolds { .. }
        | Reason::OneEndOfAnEdge { .. }
        | Reason::OneCorner { .. }
        | Reason::OtherKindAcross { .. } => sides(reason, n),
        Reason::RateHigher { .. }
        | Reason::MovedWith { .. }
        | Reason::RateFollows { .. }
        | Reason::RateSteps { .. }
        | Reason::StandsAgainst { .. }
        | Reason::Excluded { .. }
        | Reason::FactorNotExcluded { .. }
        | Reason::NothingRepeats { .. }
        | Reason::TooFewToSee { .. }
        | Reason::SeenOnFewPanels { .. }
        | Reason::NoPlaces => rates(reason, n),
    }
}

fn tally(tally: Tally, n: &NumberStyle) -> String {
    of_panels(tally.hits, tally.exposed, n)
}

/// "p = 0.012", "p < 0.000001".
pub(super) fn p(value: f64, n: &NumberStyle) -> String {
    if value < 1e-6 {
        format!("p < {}", n.fixed(1e-6, 6))
    } else {
        format!("p = {}", n.significant(value, 2))
    }
}

/// A likelihood ratio in words; beyond a million nobody counts.
pub(super) fn odds(log_ratio: f64, n: &NumberStyle) -> String {
    if log_ratio > 1e6_f64.ln() {
        "more than a million times as likely".to_owned()
    } else {
        format!("{} times as likely", n.significant(log_ratio.exp(), 2))
    }
}

pub(super) fn frame(frame: Frame) -> &'static str {
    match frame {
        Frame::Machine => "in the machine",
        Frame::Panel => "on the panel",
        Frame::Path => "from the panel's edges as it lay",
        Frame::Inspection => "at the inspection table",
    }
}

/// The plain name of a column.
pub(in crate::report::words) fn column(column: &Rival) -> &str {
    match column {
        Rival::Machine => "machine",
        Rival::Head => "head",
        Rival::Panel => "panel",
        Rival::Table => "inspection table",
        Rival::Fixture => "fixture",
        Rival::Recipe => "recipe",
        Rival::Inspector => "inspector",
        Rival::Lot => "lot",
        Rival::Supplier => "supplier",
        Rival::Part => "part number",
        Rival::Size => "panel size",
        Rival::Lay => "lay in the cell",
        Rival::Feed => "feed speed",
        Rival::Passes => "number of passes",
        Rival::Force => "contact force",
        Rival::Grit => "grit",
        Rival::AbrasiveAge => "abrasive age",
        Rival::AbrasiveId => "abrasive",
        Rival::SandingDone => "sanding done",
        Rival::Film => "film thickness",
        Rival::Day => "day",
        Rival::Weekday => "weekday",
        Rival::Shift => "shift",
        Rival::Hour => "hour of the day",
        Rival::PartOfDay => "part of the day",
        Rival::FirstOfDay => "start of the day",
        Rival::Step => "step in time",
        Rival::Factor(name) => name,
    }
}

pub(super) fn abrasive(end: AbrasiveEnd) -> &'static str {
    match end {
        AbrasiveEnd::Fresh => "fresh",
        AbrasiveEnd::Worn => "worn",
    }
}

pub(super) fn side_name(side: Side) -> &'static str {
    match side {
        Side::LowX => "low x",
        Side::HighX => "high x",
        Side::LowY => "low y",
        Side::HighY => "high y",
    }
}

fn axis_name(axis: LineAxis) -> &'static str {
    match axis {
        LineAxis::X => "x",
        LineAxis::Y => "y",
    }
}

fn together(columns: &[(String, String)]) -> String {
    if columns.is_empty() {
        return String::new();
    }
    // A date says no more than that it is another day.
    let dated = |value: &str| {
        value
            .get(..10)
            .is_some_and(|d| d.parse::<jiff::civil::Date>().is_ok())
    };
    let changed = columns.iter().map(|(name, value)| {
        if dated(value) {
            name.clone()
        } else {
            format!("{name} (to {value})")
        }
    });
    format!(" What else changed there: {}.", list(changed))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::causes::LotsLack;
    use crate::site::DefectClass;

    fn say(r: &Reason) -> String {
        reason(r, &NumberStyle::default())
    }

    #[test]
    fn one_lot_and_many_are_told_in_their_number() {
        let gather = |lots: &[&str]| {
            say(&Reason::LotsGather {
                lots: lots.iter().map(|l| (*l).to_owned()).collect(),
                inside: Tally {
                    hits: 9,
                    exposed: 10,
                },
                outside: Tally {
                    hits: 0,
                    exposed: 30,
                },
                p_value: 1e-9,
            })
        };
        assert!(gather(&["A"]).starts_with("It gathers in lot A: 9 of 10 panels there"));
        assert!(gather(&["A", "B"]).starts_with("It gathers in lots A and B:"));
        assert!(gather(&["A"]).contains("p < 0.000001"));
    }

    #[test]
    fn lots_that_are_neither_to_blame_nor_cleared_say_what_is_missing() {
        let open = |lots_hit, lack| {
            say(&Reason::LotsOpen {
                lots_hit,
                lots: 8,
                lack,
            })
        };
        assert_eq!(
            open(2, LotsLack::LotsHit),
            "It is seen in 2 of 8 lots: too few to rule out that a lot brought it."
        );
        let rest = open(
            8,
            LotsLack::RestNotClear(Tally {
                hits: 3,
                exposed: 60,
            }),
        );
        assert!(
            rest.starts_with(
                "It is seen in 8 of 8 lots, but without the two most hit 3 of 60 panels are left"
            ),
            "{rest}"
        );
        assert!(open(8, LotsLack::Uneven).contains("at rates that differ from lot to lot"));
    }

    #[test]
    fn a_tilt_across_the_diagonal_names_the_other_kind() {
        assert_eq!(
            say(&Reason::OtherKindAcross {
                defect: "orange peel".into(),
                class: DefectClass::Under,
                panels: 30,
            }),
            "At the corner across orange peel leads on 30 panels, where too little is removed: together \
             that is a tilt across the diagonal, not a corner that lies high."
        );
    }

    #[test]
    fn frames_that_are_left_are_told_for_any_number_of_panels() {
        let left = |informative, left: &[Frame]| {
            say(&Reason::FramesNotSeparated {
                left: left.to_vec(),
                informative,
                log_ratio: 0.5,
            })
        };
        let all = [Frame::Machine, Frame::Panel, Frame::Inspection];
        assert_eq!(
            left(52, &all),
            "52 panels lay so that the frames differ, but they do not decide: it may still belong in \
             the machine, on the panel or at the inspection table."
        );
        assert!(
            left(1, &all).starts_with("1 panel lay so that the frames differ, but it does not")
        );
        assert_eq!(
            left(0, &all[..2]),
            "No panel lay so that the frames differ: it may still belong in the machine or on the panel."
        );
    }

    #[test]
    fn a_broad_concentration_is_no_place() {
        let text = |expected| {
            say(&Reason::Repeats {
                hits: 16,
                exposed: 120,
                expected,
            })
        };
        assert_eq!(text(None), "It is near this spot on 16 of 120 panels.");
        assert!(text(Some(1.3)).ends_with("where chance would put it on about 1.3."));
    }

    #[test]
    fn a_frame_that_held_is_told_with_its_rival() {
        let text = say(&Reason::HoldsInFrame {
            frame: Frame::Machine,
            rival: Frame::Panel,
            held: Tally {
                hits: 8,
                exposed: 20,
            },
            failed: Tally {
                hits: 0,
                exposed: 20,
            },
            log_ratio: 20.0,
        });
        assert_eq!(
            text,
            "Where the place in the machine and the place on the panel lie apart, it kept to the place in \
             the machine: 8 of 20 panels, against 0 of 20 panels at the other (more than a million \
             times as likely)."
        );
    }
}

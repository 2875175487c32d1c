//! Reasons for and against a cause, as sentences.

use crate::causes::{AbrasiveEnd, Followed, Frame, LineAxis, Reason, Side, Tally};
use crate::charts::NumberStyle;

/// The reason as a sentence with its numbers.
#[must_use]
pub fn reason(reason: &Reason, numbers: &NumberStyle) -> String {
    let n = numbers;
    match reason {
        Reason::Repeats {
            hits,
            exposed,
            expected,
        } => format!(
            "It is at this place on {} of {} panels, where chance would put it on about {}.",
            n.count(*hits),
            n.count(*exposed),
            n.significant(*expected, 2)
        ),
        Reason::Broad { ring_ratio } => match ring_ratio {
            Some(ratio) => format!(
                "The marks crowd broadly: just around the place they are {} times as dense as at it, \
                 so there is no place to look at.",
                n.significant(*ratio, 2)
            ),
            None => "The marks crowd broadly, without a place to look at.".to_owned(),
        },
        Reason::Surface(on) => super::surface::surface_reason(on, n),
        Reason::FilmThinner { .. }
        | Reason::RemovalBesideFilm { .. }
        | Reason::RemovalNotMeasured => super::film::film_reason(reason, n),
        Reason::NeverTurned => {
            "No panel was turned or laid elsewhere, so machine and part look alike.".to_owned()
        }
        Reason::SymmetricPlace => "Panels were turned, but the turns take this place onto itself: \
             machine and part still look alike."
            .to_owned(),
        Reason::HoldsInFrame { .. }
        | Reason::FramesNotSeparated { .. }
        | Reason::TableNotCleared { .. }
        | Reason::TableNotRecorded
        | Reason::TableClearedByControl => frames(reason, n),
        Reason::LotsClear { .. }
        | Reason::LotsClearByTurning { .. }
        | Reason::LotsGather { .. }
        | Reason::FewLots { .. }
        | Reason::OneLot
        | Reason::LotsNotRecorded => lots(reason, n),
        Reason::ControlClears { .. }
        | Reason::ControlShowsItToo { .. }
        | Reason::SuppliersAgree { .. }
        | Reason::DesignOnlyCleared { .. } => control(reason, n),
        Reason::FollowsLevel { .. }
        | Reason::BeganWithRecipe { .. }
        | Reason::FollowsAge { .. }
        | Reason::EveryKth { .. }
        | Reason::SetIn { .. }
        | Reason::Ended { .. }
        | Reason::Drifts { .. } => course(reason, n),
        Reason::SideVotes { .. }
        | Reason::SignsChange { .. }
        | Reason::BothEnds { .. }
        | Reason::SideHolds { .. }
        | Reason::OneEndOfAnEdge { .. }
        | Reason::OneCorner { .. } => sides(reason, n),
        Reason::RateHigher { .. }
        | Reason::MovedWith { .. }
        | Reason::DiffersFromNeighbours { .. }
        | Reason::RateFollowsAge { .. }
        | Reason::RateFollowsFactors { .. }
        | Reason::FactorNotExcluded { .. }
        | Reason::NothingRepeats { .. }
        | Reason::TooFewToSee { .. }
        | Reason::SeenOnFewPanels { .. }
        | Reason::NoPlaces => rates(reason, n),
    }
}

fn frames(reason: &Reason, n: &NumberStyle) -> String {
    match reason {
        Reason::HoldsInFrame {
            frame: held_in,
            rival,
            held,
            failed,
            log_ratio,
        } => {
            let mut text = format!(
                "Where the two lie apart, it kept its place {}: {}",
                frame(*held_in),
                tally(*held, n)
            );
            if failed.exposed > 0 {
                text.push_str(&format!(
                    ", against {} at the place {}",
                    tally(*failed, n),
                    frame(*rival)
                ));
            }
            text.push_str(&format!(" ({}).", odds(*log_ratio, n)));
            text
        }
        Reason::FramesNotSeparated {
            left, informative, ..
        } => format!(
            "Only {} panels lay so that the frames differ, and they don't decide: still possible {} {}.",
            n.count(*informative),
            if left.len() == 1 { "is" } else { "are" },
            list(left.iter().map(|f| frame(*f).to_owned()))
        ),
        Reason::TableNotCleared { informative: 0 } => {
            "Panels lay at the inspection table just as in the cell, so the \
             table, its lamp and camera are not cleared either."
                .to_owned()
        }
        Reason::TableNotCleared { informative } => format!(
            "{} panels lay otherwise at the inspection table than in the cell, but their marks \
             don’t tell the two apart, so the table, its lamp and camera are not cleared either.",
            n.count(*informative)
        ),
        Reason::TableClearedByControl => {
            "How panels lay at the inspection table does not clear it, but \
             panels of the other machine lay there too and do not show it."
                .to_owned()
        }
        _ => "How panels lay at the inspection table is not recorded, so the table, its lamp and \
             camera are taken on trust."
            .to_owned(),
    }
}

fn lots(reason: &Reason, n: &NumberStyle) -> String {
    match reason {
        Reason::LotsClear { lots_hit, lots } => format!(
            "It runs through the lots ({} of {}) at an even rate, also without the two most hit: no lot brought it.",
            n.count(*lots_hit),
            n.count(*lots)
        ),
        Reason::LotsClearByTurning { lots, log_ratio } => format!(
            "Within {} lots panels were turned and the mark stayed in the machine ({}): no lot brought it.",
            n.count(*lots),
            odds(*log_ratio, n)
        ),
        Reason::LotsGather {
            lots,
            inside,
            outside,
            p_value,
        } => format!(
            "It gathers in {} {}: {} there, {} in all others (p = {}).",
            if lots.len() == 1 { "lot" } else { "lots" },
            list(lots.iter().cloned()),
            tally(*inside, n),
            tally(*outside, n),
            p(*p_value, n)
        ),
        Reason::FewLots { lots_hit, lots } => format!(
            "It is seen in too few lots to rule the lots out: {} of {}.",
            n.count(*lots_hit),
            n.count(*lots)
        ),
        Reason::OneLot => "All panels are of one lot, which cannot be ruled out.".to_owned(),
        _ => "Lots are not recorded, so they are neither blamed nor cleared.".to_owned(),
    }
}

fn control(reason: &Reason, n: &NumberStyle) -> String {
    match reason {
        Reason::ControlClears {
            lots,
            here,
            there,
            p_value,
        } => format!(
            "Another machine or head ran the same {} without it: {} here, {} there (p = {}, lot by lot).",
            if *lots == 1 {
                "lot".to_owned()
            } else {
                format!("{} lots", n.count(*lots))
            },
            tally(*here, n),
            tally(*there, n),
            p(*p_value, n)
        ),
        Reason::ControlShowsItToo { there } => format!(
            "Another machine or head shows it at the same place of the panel ({}): that points to \
             the part, or to a programme both share.",
            tally(*there, n)
        ),
        Reason::SuppliersAgree { parts, suppliers } => format!(
            "Part numbers {} of different suppliers ({}) show it at the same machine place.",
            list(parts.iter().cloned()),
            list(suppliers.iter().cloned())
        ),
        Reason::DesignOnlyCleared { parts } => format!(
            "Part numbers {} show it at the same machine place, which clears their design but not a \
             step before this one that all of them went through.",
            list(parts.iter().cloned())
        ),
        _ => String::new(),
    }
}

fn course(reason: &Reason, n: &NumberStyle) -> String {
    match reason {
        Reason::FollowsLevel {
            column: followed,
            level,
            inside,
            outside,
            alone,
        } => format!(
            "It follows {} {level}: {} there, {} elsewhere{}.",
            column(followed),
            tally(*inside, n),
            tally(*outside, n),
            if *alone {
                ""
            } else {
                ", but it is not absent elsewhere"
            }
        ),
        Reason::BeganWithRecipe { recipe } => format!(
            "It is seen under recipe {recipe}, which ran in one stretch only: anything else that \
             began then explains it as well."
        ),
        Reason::FollowsAge {
            end,
            mean_of_hits,
            mean_of_all,
            p_value,
        } => format!(
            "It comes with {} abrasive: panels hit had an age of {} on average, all panels {} (p = {}).",
            abrasive(*end),
            n.significant(*mean_of_hits, 2),
            n.significant(*mean_of_all, 2),
            p(*p_value, n)
        ),
        Reason::EveryKth {
            every,
            slips,
            p_value,
        } => format!(
            "It comes on every {} panel in sanding order{} (p = {}).",
            ordinal(*every),
            if *slips {
                ", with slips, as when a nest is skipped"
            } else {
                ""
            },
            p(*p_value, n)
        ),
        Reason::SetIn {
            panel,
            between,
            together_with,
        } => format!(
            "It set in at panel {panel} (95 % between {} and {}).{}",
            between.0,
            between.1,
            together(together_with)
        ),
        Reason::Ended {
            panel,
            between,
            together_with,
        } => format!(
            "It ended at panel {panel} (95 % between {} and {}).{}",
            between.0,
            between.1,
            together(together_with)
        ),
        Reason::Drifts { mm_per_day } => format!(
            "The place moves by about {} mm a day.",
            n.significant(*mm_per_day, 2)
        ),
        _ => String::new(),
    }
}

fn sides(reason: &Reason, n: &NumberStyle) -> String {
    match reason {
        Reason::SideVotes {
            side,
            frame: held_in,
            votes,
            against,
            p_adjusted,
        } => format!(
            "On {} panels more of it lies at {} {}, on {} at the opposite side (p = {} for the whole report).",
            n.count(*votes),
            side_name(*side),
            frame(*held_in),
            n.count(*against),
            p(*p_adjusted, n)
        ),
        Reason::SignsChange {
            axis,
            panels,
            opposite,
            p_value,
        } => format!(
            "On {} of {} panels with marks of both kinds, too much lies on one side along {} and too \
             little on the other, but which side changes from panel to panel (p = {}).",
            n.count(*opposite),
            n.count(*panels),
            axis_name(*axis),
            p(*p_value, n)
        ),
        Reason::BothEnds {
            axis,
            panels,
            expected,
            p_value,
        } => format!(
            "On {} panels both ends along {} are marked and the middle is spared, where the number of \
             marks makes about {} expected (p = {}).",
            n.count(*panels),
            axis_name(*axis),
            n.significant(*expected, 2),
            p(*p_value, n)
        ),
        Reason::SideHolds {
            frame: held_in,
            votes,
            against,
            log_ratio,
        } => format!(
            "On panels laid the other way the side kept to the {}: {} for, {} against ({}).",
            match held_in {
                Frame::Machine | Frame::Path => "machine",
                Frame::Panel => "panel",
                Frame::Inspection => "inspection table",
            },
            n.count(*votes),
            n.count(*against),
            odds(*log_ratio, n)
        ),
        Reason::OneEndOfAnEdge {
            edge,
            end,
            frame: held_in,
            votes,
            against,
            p_adjusted,
        } => format!(
            "On {} panels more of it lies along the edge at {} {}, at its end towards {}, on {} at \
             the corner across; the rest of the edge is good (p = {} for the whole report).",
            n.count(*votes),
            side_name(*edge),
            frame(*held_in),
            side_name(*end),
            n.count(*against),
            p(*p_adjusted, n)
        ),
        Reason::OneCorner {
            sides: (x, y),
            frame: held_in,
            votes,
            against,
            p_adjusted,
        } => format!(
            "On {} panels more of it lies at the corner of {} and {} {}, on {} at the corner \
             across; the rest is good (p = {} for the whole report).",
            n.count(*votes),
            side_name(*x),
            side_name(*y),
            frame(*held_in),
            n.count(*against),
            p(*p_adjusted, n)
        ),
        _ => String::new(),
    }
}

fn rates(reason: &Reason, n: &NumberStyle) -> String {
    match reason {
        Reason::RateHigher {
            column: followed,
            level,
            panels,
            ratio,
            ratio_ci,
            units,
        } => format!(
            "{} {level} ({} panels) has {} times the rate of the rest (95 % {} to {}, {} as units).",
            capital(column(followed)),
            n.count(*panels),
            n.significant(*ratio, 2),
            n.significant(ratio_ci.0, 2),
            n.significant(ratio_ci.1, 2),
            if *units == Followed::Lot {
                "lots"
            } else {
                "panels"
            }
        ),
        Reason::MovedWith { columns } => format!(
            "It cannot be told from {}, which changed with it.",
            list(columns.iter().map(|c| column(c).to_owned()))
        ),
        Reason::DiffersFromNeighbours { ratio } => format!(
            "It ran in one stretch, at {} times the rate of the panels just before and after it.",
            n.significant(*ratio, 2)
        ),
        Reason::RateFollowsAge {
            end,
            lives,
            machines,
            ratio,
            p_adjusted,
        } => format!(
            "Over {} abrasive lives on {} {} the rate is higher with {} abrasive{} (p = {}).",
            n.count(*lives),
            n.count(*machines),
            if *machines == 1 {
                "machine"
            } else {
                "machines"
            },
            abrasive(*end),
            ratio.map_or(String::new(), |r| format!(
                ", {} times that of the rest of a life",
                n.significant(r, 2)
            )),
            p(*p_adjusted, n)
        ),
        Reason::RateFollowsFactors {
            factors,
            runs,
            p_adjusted,
        } => format!(
            "The rate moves with {} over {} runs of one setting (p = {}).",
            list(factors.iter().map(|c| column(c).to_owned())),
            n.count(*runs),
            p(*p_adjusted, n)
        ),
        Reason::FactorNotExcluded { factor } => format!(
            "{} varies, and these panels do not exclude that it doubles the rate.",
            capital(column(factor))
        ),
        Reason::NothingRepeats { smallest_seen } => format!(
            "Nothing repeats at one place; a repeat on {} of the panels would have been seen with 90 % probability.",
            n.percent(*smallest_seen, 100)
        ),
        Reason::TooFewToSee {
            smallest_seen,
            panels_needed,
        } => {
            let seen = smallest_seen.map_or(
                "No repeat, however frequent, would surely have been seen".to_owned(),
                |s| {
                    format!(
                        "Only a repeat on {} of the panels would have been seen",
                        n.percent(s, 100)
                    )
                },
            );
            let needed = panels_needed.map_or(String::new(), |p| {
                format!(
                    "; for a repeat on a fifth of them it takes about {} panels",
                    n.count(p)
                )
            });
            format!("{seen}{needed}.")
        }
        Reason::SeenOnFewPanels { panels } => format!(
            "It was seen on {} only.",
            if *panels == 1 {
                "one panel".to_owned()
            } else {
                format!("{} panels", n.count(*panels))
            }
        ),
        _ => "Its places are not recorded, so nothing can be said about places.".to_owned(),
    }
}

fn tally(tally: Tally, n: &NumberStyle) -> String {
    format!(
        "{} of {} panels",
        n.count(tally.hits),
        n.count(tally.exposed)
    )
}

pub(super) fn p(value: f64, n: &NumberStyle) -> String {
    if value < 1e-6 {
        "less than 0.000001".to_owned()
    } else {
        n.significant(value, 2)
    }
}

/// A likelihood ratio in words; beyond a million nobody counts.
fn odds(log_ratio: f64, n: &NumberStyle) -> String {
    if log_ratio > 1e6_f64.ln() {
        "more than a million times as likely".to_owned()
    } else {
        let ratio = log_ratio.exp();
        let shown = if ratio >= 10.0 {
            n.count(ratio.round() as usize)
        } else {
            n.significant(ratio, 2)
        };
        format!("{shown} times as likely")
    }
}

fn frame(frame: Frame) -> &'static str {
    match frame {
        Frame::Machine => "in the machine",
        Frame::Panel => "on the panel",
        Frame::Path => "from the panel's edges as it lay",
        Frame::Inspection => "at the inspection table",
    }
}

/// The plain name of a column.
pub(super) fn column(column: &Followed) -> &str {
    match column {
        Followed::Fixture => "fixture",
        Followed::Recipe => "recipe",
        Followed::Inspector => "inspector",
        Followed::Lot => "lot",
        Followed::Supplier => "supplier",
        Followed::Part => "part number",
        Followed::Feed => "feed speed",
        Followed::Passes => "number of passes",
        Followed::Force => "contact force",
        Followed::Grit => "grit",
        Followed::AbrasiveAge => "abrasive age",
        Followed::AbrasiveId => "abrasive",
        Followed::Factor(name) => name,
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
    let changed = columns
        .iter()
        .map(|(name, value)| format!("{name} (now {value})"));
    format!(" What else changed there: {}.", list(changed))
}

/// "a", "a and b", "a, b and c".
pub(super) fn list(items: impl Iterator<Item = String>) -> String {
    let items: Vec<String> = items.collect();
    match items.split_last() {
        None => String::new(),
        Some((last, [])) => last.clone(),
        Some((last, rest)) => format!("{} and {last}", rest.join(", ")),
    }
}

pub(super) fn ordinal(n: usize) -> String {
    let ending = match (n % 10, n % 100) {
        (_, 11..=13) => "th",
        (1, _) => "st",
        (2, _) => "nd",
        (3, _) => "rd",
        _ => "th",
    };
    format!("{n}{ending}")
}

fn capital(text: &str) -> String {
    let mut letters = text.chars();
    letters.next().map_or(String::new(), |first| {
        first.to_uppercase().collect::<String>() + letters.as_str()
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    fn say(r: &Reason) -> String {
        reason(r, &NumberStyle::default())
    }

    #[test]
    fn lists_and_ordinals_read_well() {
        let words = |w: &[&str]| list(w.iter().map(|s| (*s).to_owned()));
        assert_eq!(words(&["a"]), "a");
        assert_eq!(words(&["a", "b"]), "a and b");
        assert_eq!(words(&["a", "b", "c"]), "a, b and c");
        assert_eq!(ordinal(2), "2nd");
        assert_eq!(ordinal(12), "12th");
        assert_eq!(ordinal(23), "23rd");
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
        assert!(gather(&["A"]).contains("p = less than 0.000001"));
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
            "Where the two lie apart, it kept its place in the machine: 8 of 20 panels, against 0 of \
             20 panels at the place on the panel (more than a million times as likely)."
        );
    }
}

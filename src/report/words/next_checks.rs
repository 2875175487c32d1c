//! What to check next, as a sentence.

pub(super) mod trying;

use super::counting::{list, ordinal};
use super::reasons::{abrasive, column, side_name};
use crate::causes::NextCheck;
use crate::charts::NumberStyle;

/// What to check next, as a sentence; none where there is nothing to check.
pub fn next_check(check: &NextCheck, numbers: &NumberStyle) -> Option<String> {
    let count = |n: usize| numbers.count(n);
    Some(match check {
        NextCheck::None => return None,
        NextCheck::TurnPanels { panels } => format!(
            "Lay {} panels turned by half a turn and inspect them: what stays in the machine \
             is the machine's, what turns with the panels came with them.",
            count(*panels)
        ),
        NextCheck::ShiftPanels { panels } => format!(
            "Lay {} panels shifted or turned by a quarter and inspect them; a half turn takes this \
             place onto itself, or onto another such place, and tells nothing.",
            count(*panels)
        ),
        NextCheck::TurnAtTable { panels } => format!(
            "Lay {} panels at the inspection table otherwise than in the cell: what the table, lamp, \
             camera or gauge makes stays where it is there.",
            count(*panels)
        ),
        NextCheck::RecordTableLay => {
            "Write down how panels lie at the inspection, in inspect_lay_deg: where that differs from how \
             they lay in the machine, table, lamp, camera and gauge can be told from the machine and the \
             panel."
                .into()
        }
        NextCheck::TurnAmongAlike { panels, rival } => format!(
            "Lay {} panels turned by half a turn and as many as usual, of the same {}: so far the lay \
             went with it.",
            count(*panels),
            column(rival)
        ),
        NextCheck::CheckTable => {
            "Clean and check the inspection table, lamp and camera at this place.".into()
        }
        NextCheck::MoreLots { lots } => format!(
            "Don't adjust yet: run panels of more lots and see whether it comes in at least {} lots \
             beside the two most hit.",
            count(*lots)
        ),
        NextCheck::SecondInspector { inspector } => format!(
            "Let {inspector} and somebody else inspect the same panels, neither seeing the other's marks: \
             it shows whether they differ."
        ),
        NextCheck::CheckStation { inspector } => format!(
            "Check the origin and axes of {inspector}’s station, correct its places, and report again."
        ),
        NextCheck::CheckPlace => {
            "Look at the machine where this place lies: pad, support, stop, path.".into()
        }
        NextCheck::CheckTurning { hertz } => format!(
            "Look at what turns or vibrates {} times a second: balance, bearings, belt splice, drive, pad.",
            numbers.significant(*hertz, 3)
        ),
        NextCheck::CheckSpacing { pitch_mm } => format!(
            "Look at what is spaced {} mm apart in the machine: slats, supports, rollers, the step-over of \
             the path.",
            numbers.significant(*pitch_mm, 3)
        ),
        NextCheck::VaryFeed { panels } => format!(
            "Run {} panels at a clearly different feed, the rest alike: if the pitch grows with the feed, \
             something in the machine turns or vibrates; if it stays, something has that spacing.",
            count(*panels)
        ),
        NextCheck::TurnAcross { panels } => format!(
            "Lay {} panels turned by a quarter and inspect them: what the machine makes keeps its direction \
             in the machine, what came with the panels turns with them.",
            count(*panels)
        ),
        NextCheck::CheckEveryKth { every } => format!(
            "Look at what comes round every {} panel: nest, fixture, stop or pallet.",
            ordinal(*every)
        ),
        NextCheck::CheckFixture { fixture } => {
            format!("Look at fixture {fixture}: its stops, supports and suction cups.")
        }
        NextCheck::CheckPath => {
            "Look at the path's starts, ends and reversals at this distance from the edge: dwell, \
             touchdown, lead-in."
                .into()
        }
        NextCheck::CheckStepOver => {
            "Look at step-over, pad edge and force along this line of the path.".into()
        }
        NextCheck::CheckHeadTilt { takes_more } => format!(
            "Check the head's tilt{}.",
            takes_more.map_or(String::new(), |side| format!(
                ": it takes more at {} of the panel as it lies in the machine",
                side_name(side)
            ))
        ),
        NextCheck::CheckDiagonalTilt {
            takes_more: (x, y),
        } => format!(
            "Check the head's tilt about both axes: it takes more at the corner of {} and {} of the panel \
             as it lies in the machine, less at the corner across.",
            side_name(*x),
            side_name(*y)
        ),
        NextCheck::CheckFlatnessToo => {
            "Check flatness, thickness and support of the panels too: the head's tilt put right evens the \
             mean out, not the single panels."
                .into()
        }
        NextCheck::CheckFlatness => {
            "Check flatness, thickness and support of the panels; tilting the head would only move it.".into()
        }
        NextCheck::CheckStandOff => {
            "Check the stand-off and the travel left in the compliance at this end, not the tilt: set \
             the working height at the low spot."
                .into()
        }
        NextCheck::CheckCorner => {
            "Check the height at this corner: support, stop, warp of the panel.".into()
        }
        NextCheck::CheckLots { lots } if lots.is_empty() => {
            "Compare the incoming lots before sanding.".into()
        }
        NextCheck::CheckLots { lots } => format!(
            "Look at incoming {} {} before sanding, and at what came before.",
            if lots.len() == 1 { "lot" } else { "lots" },
            list(lots.iter().cloned())
        ),
        NextCheck::CheckSupplier { supplier } => {
            format!("Look at incoming panels of {supplier} before sanding.")
        }
        NextCheck::CheckUpstream => {
            "Look at the step before: design, press, coating, handling. Leave the machine as it is.".into()
        }
        NextCheck::CheckAbrasive { end } => format!(
            "Look at panels sanded with {} abrasive, and at when and how it is changed.",
            abrasive(*end)
        ),
        NextCheck::CheckRecipe { recipe } => format!(
            "Run recipe {recipe} and another one in turns, in blocks, on the same lot."
        ),
        NextCheck::MakeMeet {
            rival,
            levels,
            held,
        } => trying::meet(rival, levels, held),
        NextCheck::CheckMachine { machine } => format!(
            "Compare {machine} with the others: abrasive, pressure, extraction, path; they sand panels of the same lots with fewer marks."
        ),
        NextCheck::TryFactor { factor } => trying::alone(factor),
        NextCheck::SlowDownFirst => {
            "Check contact and force; with those in order slow down first, then more passes, then a \
             coarser grit, force last."
                .into()
        }
        NextCheck::CheckForceThenSpeedUp => {
            "Check the contact force first; then speed up or take a pass less, then a finer grit.".into()
        }
        NextCheck::DontAdjust { panels } => format!(
            "Don't adjust: it was seen on {}. Wait until it is seen at one place on three panels or more.",
            if *panels == 1 {
                "one panel only".to_owned()
            } else {
                format!("{} panels only", count(*panels))
            }
        ),
        NextCheck::CheckIncoming => {
            "Leave the machine as it is and inspect some panels before sanding too: what is there \
             already came in with them."
                .into()
        }
        NextCheck::MendRecords => "Put columns and units right first, in the files or in the site file (the warning says which), \
             and run the report again."
            .into(),
        NextCheck::MorePanels { panels } => format!(
            "Inspect about {} panels in all, clean ones included, before anything is concluded.",
            count(*panels)
        ),
        NextCheck::CheckFilm => {
            "Measure the film of incoming panels before they are sanded, and look at the coating step: sanding \
             harder or softer does not cure thin film."
                .into()
        }
        NextCheck::MeasureGrid { readings } => format!(
            "Measure removal at {} places a panel, evenly over it: edges, corners and middle.",
            count(*readings)
        ),
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::causes::Side;

    fn say(check: &NextCheck) -> String {
        next_check(check, &NumberStyle::default()).unwrap_or_default()
    }

    #[test]
    fn a_mark_seen_once_is_no_reason_to_adjust() {
        assert!(
            say(&NextCheck::DontAdjust { panels: 1 })
                .starts_with("Don't adjust: it was seen on one panel only.")
        );
        assert!(say(&NextCheck::DontAdjust { panels: 2 }).contains("2 panels only"));
    }

    #[test]
    fn the_tilt_says_which_side_takes_more() {
        let check = NextCheck::CheckHeadTilt {
            takes_more: Some(Side::HighX),
        };
        assert_eq!(
            say(&check),
            "Check the head's tilt: it takes more at high x of the panel as it lies in the machine."
        );
        assert_eq!(
            say(&NextCheck::CheckHeadTilt { takes_more: None }),
            "Check the head's tilt."
        );
        assert_eq!(next_check(&NextCheck::None, &NumberStyle::default()), None);
    }
}

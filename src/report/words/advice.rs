//! What to do first about a finding, in the order of the trade: look, then
//! change one thing, then check.

use super::caution::Touch;
use super::counting::{capital, count_panels, listed, uncapital};
use super::finding::{Speech, cell_name, place};
use super::next_checks::trying;
use super::reasons::column;
use crate::causes::{Cause, Finding, Kind, NextCheck, Reason, Rival, UNEVEN_REMOVAL};
use crate::charts::NumberStyle;
use crate::records::InputCounts;
use crate::stats::proportion::clopper_pearson;

/// A step in words, and what it touches.
#[derive(Debug, Clone, PartialEq)]
pub struct Advice {
    /// What to do.
    pub action: String,
    /// How to see whether it was right.
    pub check: String,
    /// What it touches; none if it only looks at panels or records.
    pub touch: Option<Touch>,
}

/// Whether the recipe page advises a lever.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Lever {
    /// It does.
    Advised,
    /// It does not: nothing may point there.
    None,
}

/// The first step for a finding, `settle` being its next check in words. Where
/// that touches the machine it is led in by the place.
pub fn first_step(
    finding: &Finding,
    settle: Option<String>,
    lever: Lever,
    speech: &Speech<'_>,
) -> Advice {
    let cell = cell_name(finding.machine.as_deref(), finding.head.as_deref());
    let at = place(finding, speech).map_or(String::new(), |place| format!(", {place}"));
    let touch = touch(&finding.next_check);
    if let Some(settle) = settle {
        let action = match (finding.cause, touch) {
            (Cause::Machine, Some(_)) => {
                format!("On {cell}{at}: {}", uncapital(settle.trim_end_matches('.')))
            }
            _ => format!(
                "{}: {}",
                capital(&finding.defect),
                uncapital(settle.trim_end_matches('.'))
            ),
        };
        let check = match finding.cause {
            Cause::Undecided => {
                "It settles who makes it; until then leave the machine alone.".to_owned()
            }
            Cause::Part => "Adjusting the machine will not cure it.".to_owned(),
            Cause::Inspection => {
                "Inspect some panels again, turned or by somebody else.".to_owned()
            }
            Cause::Machine | Cause::Recipe => after(finding, speech.numbers),
        };
        return Advice {
            action,
            check,
            touch,
        };
    }
    match finding.cause {
        Cause::Machine => Advice {
            action: format!("On {cell}{at}: look at {}", suspects(finding)),
            check: after(finding, speech.numbers),
            touch: Some(Touch::Cell),
        },
        Cause::Recipe if finding.kind == Kind::Abrasive => Advice {
            action: format!("On {cell}: change the abrasive sooner, one batch at a time"),
            check: after(finding, speech.numbers),
            touch: Some(Touch::Abrasive),
        },
        Cause::Recipe => Advice {
            action: match lever {
                Lever::Advised => {
                    format!("On {cell}: move one recipe factor, as the recipe page says")
                }
                Lever::None => {
                    format!("On {cell}: run its recipes in alternating blocks and compare them")
                }
            },
            check: after(finding, speech.numbers),
            touch: Some(Touch::Recipe),
        },
        Cause::Part => Advice {
            action: format!(
                "Show {} {} to whoever makes or coats the part{}",
                finding.defect,
                super::finding::shape(finding),
                lots(finding)
            ),
            check: "Adjusting the machine will not cure it.".to_owned(),
            touch: None,
        },
        Cause::Inspection => Advice {
            action: format!(
                "Check table, camera and lamp where {} is seen{at}",
                finding.defect
            ),
            check: "Inspect some panels again, turned or by somebody else.".to_owned(),
            touch: None,
        },
        Cause::Undecided => Advice {
            action: format!(
                "Collect more panels before touching {cell} for {}",
                finding.defect
            ),
            check: format!("Who makes {} can’t be told yet.", finding.id),
            touch: None,
        },
    }
}

/// What a check touches; none if it only looks at panels or records. Panels are
/// supported in the cell, so a look at their support goes there too.
pub fn touch(check: &NextCheck) -> Option<Touch> {
    match check {
        NextCheck::CheckPlace
        | NextCheck::CheckTurning { .. }
        | NextCheck::CheckSpacing { .. }
        | NextCheck::CheckEveryKth { .. }
        | NextCheck::CheckFixture { .. }
        | NextCheck::CheckMachine { .. }
        | NextCheck::CheckPath
        | NextCheck::CheckStepOver
        | NextCheck::CheckHeadTilt { .. }
        | NextCheck::CheckDiagonalTilt { .. }
        | NextCheck::CheckFlatness
        | NextCheck::CheckFlatnessToo
        | NextCheck::CheckStandOff
        | NextCheck::CheckCorner => Some(Touch::Cell),
        NextCheck::CheckAbrasive { .. } => Some(Touch::Abrasive),
        NextCheck::TryFactor { factor } => trying::touch(factor),
        NextCheck::MakeMeet { rival, held, .. } => trying::touch_to_meet(rival, held),
        NextCheck::CheckRecipe { .. }
        | NextCheck::VaryFeed { .. }
        | NextCheck::SlowDownFirst
        | NextCheck::CheckForceThenSpeedUp => Some(Touch::Recipe),
        NextCheck::None
        | NextCheck::TurnPanels { .. }
        | NextCheck::ShiftPanels { .. }
        | NextCheck::TurnAtTable { .. }
        | NextCheck::TurnAcross { .. }
        | NextCheck::TurnAmongAlike { .. }
        | NextCheck::RecordTableLay
        | NextCheck::CheckTable
        | NextCheck::MoreLots { .. }
        | NextCheck::SecondInspector { .. }
        | NextCheck::CheckStation { .. }
        | NextCheck::CheckLots { .. }
        | NextCheck::CheckSupplier { .. }
        | NextCheck::CheckUpstream
        | NextCheck::DontAdjust { .. }
        | NextCheck::CheckIncoming
        | NextCheck::MendRecords
        | NextCheck::MorePanels { .. }
        | NextCheck::CheckFilm
        | NextCheck::MeasureGrid { .. } => None,
    }
}

/// What to look at first, by the shape of the finding (common practice).
fn suspects(finding: &Finding) -> &'static str {
    if finding.bars.is_some() {
        return "what turns, vibrates or is spaced like these bars: bearings, belt splice, drive, slats";
    }
    match finding.kind {
        Kind::Spot => "stops, supports, suction cups and the path at this place, then the pad",
        Kind::Line => {
            "the step-over and the overlap of the path there, then the flatness of the pad"
        }
        Kind::Side => "the tilt of the head about the axis along that side",
        Kind::Dwell => "touch-down, dwell and lead-in of the path",
        Kind::Periodic => "the nest, fixture or turning part that comes round with this interval",
        _ => "contact and force of the head",
    }
}

fn lots(finding: &Finding) -> String {
    match finding.lots.as_slice() {
        [one] => format!(", lot {one}"),
        lots @ [_, ..] if finding.kind == Kind::Lot => {
            format!(", lots {}", listed(lots, 3))
        }
        _ => String::new(),
    }
}

/// Fewest panels after which anything is called gone: fewer than three panels
/// never make a repeat either.
const FEWEST_TO_CLEAR: usize = 3;

/// How many panels without a hit show that it is gone: as many as leave a
/// chance of 5 % or less if it still came at the lowest rate that the records
/// allow; of its fixture where one alone has it. A slope of removal is measured,
/// not seen, and a rate does not fall to nothing: they have no such panels.
fn after(finding: &Finding, numbers: &NumberStyle) -> String {
    if finding.defect == UNEVEN_REMOVAL {
        return "Then measure removal on some panels again: it is cured when the interval of \
                the slope holds zero."
            .to_owned();
    }
    let alone = finding.reasons.iter().find_map(|reason| match reason {
        Reason::FollowsLevel {
            column: Rival::Fixture,
            level,
            inside,
            alone: true,
            ..
        } => {
            let (hits, panels) = (inside.hits as u64, inside.exposed as u64);
            let low = clopper_pearson(hits, panels, 0.95).ok()?.low;
            Some((low, format!(" in fixture {level}")))
        }
        _ => None,
    });
    let lowest = finding.hit_rate_ci.map(|ci| ci.low).or(finding.hit_rate);
    let of_all = lowest.map(|low| (low, String::new()));
    let Some((rate, fixture)) = (alone.or(of_all)).filter(|(low, _)| *low > 0.0) else {
        return COMPARE.to_owned();
    };
    if !has_place(finding) {
        return match &finding.rival {
            Some(rival) if !finding.levels.is_empty() => format!(
                "It is cured when {} {} shows such marks no more often than the others: compare them on \
                 new panels.",
                column(rival),
                listed(&finding.levels, 3)
            ),
            _ => COMPARE.to_owned(),
        };
    }
    let panels = panels_to_clear(rate).max(FEWEST_TO_CLEAR);
    format!(
        "Then inspect {}{fixture} without one there: it is gone with 95\u{a0}% confidence.",
        count_panels(panels, numbers)
    )
}

/// What to do after a change of what has no place.
const COMPARE: &str = "Then compare the rates before and after with onus compare.";

/// Whether a panel without a mark says something about it: not where it is a
/// rate, which never is nothing.
fn has_place(finding: &Finding) -> bool {
    !matches!(
        finding.kind,
        Kind::Rate | Kind::Lot | Kind::Abrasive | Kind::Time | Kind::Wandering | Kind::ThinFilm
    )
}

/// Smallest n with (1 − rate)ⁿ ≤ 0.05.
fn panels_to_clear(rate: f64) -> usize {
    if rate >= 1.0 {
        return 1;
    }
    // A whole number of panels may come out a rounding error above itself.
    (0.05f64.ln() / (1.0 - rate).ln() - 1e-9).ceil().max(1.0) as usize
}

/// Steps about the data itself, worth more than any analysis.
pub fn data_step(input: &InputCounts) -> Option<Advice> {
    (input.inspected_panels > 0 && input.clean_panels == 0).then(|| Advice {
        action: "Export panels without a defect as well".to_owned(),
        check: "Without clean panels no rate has a denominator.".to_owned(),
        touch: None,
    })
}

/// The step after a change since which these kinds come more often.
pub fn after_harm(kinds: &[String], before: &str, after: &str) -> Advice {
    Advice {
        action: format!(
            "More {} with {after}: go back to {before}, or run the two in turns, in blocks, on the same lots",
            listed(kinds, 3)
        ),
        check: COMPARE.to_owned(),
        touch: Some(Touch::Recipe),
    }
}

/// The step for what only earlier reports found and these panels still show.
pub fn go_on(ids: &[String], report: &str) -> Advice {
    let last = match report {
        "" => "the last report".to_owned(),
        name => format!("the report of {name}"),
    };
    Advice {
        action: format!("Go on with what {last} advises on {}", listed(ids, 3)),
        check: "These panels are too few to say more of it, and still show it.".to_owned(),
        touch: Some(Touch::Cell),
    }
}

/// The step where nothing was found.
pub fn nothing_to_do() -> Advice {
    Advice {
        action: "Leave the machine as it is".to_owned(),
        check: "Adjusting after single panels adds variation; the next report looks again."
            .to_owned(),
        touch: None,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::causes::Tally;
    use crate::causes::made::spot;
    use crate::site::FeedDirection;

    #[test]
    fn panels_without_a_hit_that_show_it_is_gone() {
        // 0.95²⁰ = 0.358, so a repeat on one panel in twenty takes 59 panels
        // (the rule of three: 3 / 0.05 = 60).
        assert_eq!(panels_to_clear(0.05), 59);
        assert_eq!(panels_to_clear(0.95), 1);
        assert_eq!(panels_to_clear(1.0), 1);
    }

    #[test]
    fn who_looks_at_the_support_of_panels_goes_into_the_cell() {
        for check in [NextCheck::CheckFlatness, NextCheck::CheckFlatnessToo] {
            assert_eq!(touch(&check), Some(Touch::Cell), "{check:?}");
        }
        assert_eq!(touch(&NextCheck::CheckTable), None);
    }

    #[test]
    fn a_machine_step_carries_a_caution_and_a_part_step_says_leave_it() {
        let numbers = NumberStyle::default();
        let speech = Speech {
            numbers: &numbers,
            feed: FeedDirection::X,
        };
        let step = first_step(&spot(), None, Lever::None, &speech);
        assert_eq!(step.touch, Some(Touch::Cell));
        assert!(step.check.contains("8 panels"), "{}", step.check);
        // The lower limit, where there is one: 0.76¹⁰ = 0.064, 0.76¹¹ = 0.049.
        let mut with_limits = spot();
        with_limits.hit_rate_ci = Some(crate::stats::Interval {
            low: 0.24,
            high: 0.40,
            level: 0.95,
        });
        let step = first_step(&with_limits, None, Lever::None, &speech);
        assert!(step.check.contains("11 panels"), "{}", step.check);
        // A rate has no panels without it.
        let mut rate = with_limits.clone();
        (rate.kind, rate.x_mm, rate.y_mm) = (Kind::Rate, None, None);
        let step = first_step(&rate, None, Lever::None, &speech);
        assert!(!step.check.contains("panels without"), "{}", step.check);
        (rate.rival, rate.levels) = (Some(Rival::Machine), vec!["M1".into()]);
        let step = first_step(&rate, None, Lever::None, &speech);
        assert!(step.check.contains("machine M1"), "{}", step.check);
        // One fixture alone has it: 30 of 80 of its panels, at least 0.269 (by
        // Clopper and Pearson); 0.731⁹ = 0.060, 0.731¹⁰ = 0.044.
        with_limits.reasons = vec![Reason::FollowsLevel {
            column: Rival::Fixture,
            level: "N2".into(),
            inside: Tally {
                hits: 30,
                exposed: 80,
            },
            outside: Tally {
                hits: 0,
                exposed: 240,
            },
            alone: true,
        }];
        let step = first_step(&with_limits, None, Lever::None, &speech);
        assert!(
            step.check.contains("10 panels in fixture N2"),
            "{}",
            step.check
        );
        let mut part = spot();
        part.cause = Cause::Part;
        let step = first_step(&part, None, Lever::None, &speech);
        assert_eq!(step.touch, None);
        assert!(step.check.contains("will not cure"));
    }

    #[test]
    fn an_export_without_clean_panels_is_the_first_thing_to_mend() {
        let input = InputCounts {
            panels: 5,
            inspected_panels: 5,
            ..InputCounts::default()
        };
        assert!(data_step(&input).is_some());
        assert!(data_step(&InputCounts::default()).is_none());
    }
}

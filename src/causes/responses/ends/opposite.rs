//! Opposite sides: a warped panel. Re-tilting the head only moves it.
//!
//! Two patterns, both along the panel's own axes and pooled over machines:
//! too much on one side and too little on the other, which side changing from
//! panel to panel; and both ends marked with the middle spared, beyond what
//! the panels' numbers of marks make expected.

use crate::causes::about::About;
use crate::causes::responses::ends::votes::{Thirds, thirds};
use crate::causes::responses::place::Marks;
use crate::causes::responses::surface::{follow_levels, follow_time};
use crate::causes::tails::{binomial_at_least, sign_test};
use crate::causes::{
    Cause, Evidence, Finding, Frame, Kind, LineAxis, NextCheck, OpenRival, Reason, Rival, Side,
    Tally,
};
use crate::duel::{codes, in_order};
use crate::records::{Panel, Records};
use crate::stats::poisson_binomial_tail;

/// Signed votes more lopsided than this are a side of their own.
const UNREMARKABLE: f64 = 0.01;

/// Marks nearer to an edge than this say nothing about crown or cup: edges
/// attract marks of all kinds. At most a twelfth of the extent.
const EDGE_MM: f64 = 40.0;

/// Panels laid along and panels laid across must each show the ends at this
/// level before they are the panel's and not the path's.
pub(crate) const EITHER_WAY: f64 = 0.01;

/// Panels to lay turned where no lay was written down.
const PANELS_TURNED: usize = 12;

/// Panels to lay across the feed where none did.
const PANELS_ACROSS: usize = 12;

/// Marks of a kind of defect and those that belong to found repeats.
#[derive(Debug, Clone, Copy)]
pub(crate) struct KindMarks<'a> {
    /// Index into `Records::defect_names`.
    pub name: usize,
    /// Its marks.
    pub marks: &'a Marks,
}

/// Too much against too little on the same panel. `panels` are inspected
/// panels, those left out on which a machine's side was found on this axis.
pub(crate) fn signs_change(
    records: &Records,
    (over, under): (KindMarks<'_>, KindMarks<'_>),
    taken: &[bool],
    panels: &[usize],
    axis: LineAxis,
    (alpha, tests): (f64, usize),
) -> Option<Finding> {
    let vote = |kind: &KindMarks<'_>, panel: usize| {
        let frame = (Frame::Panel, axis);
        thirds(records, kind.marks, panel, frame, taken, 0.0).vote(axis)
    };
    let mut both = Vec::new();
    let (mut opposite, mut low) = (Vec::new(), 0);
    // Which side of the panel as it lay took more: 1 low, 0 high.
    let mut signs = Vec::new();
    for &panel in panels {
        if let (Some(o), Some(u)) = (vote(&over, panel), vote(&under, panel)) {
            both.push(panel);
            low += usize::from(o == Side::of(axis).0);
            if o != u {
                opposite.push(panel);
                let turned = records.panels[panel].lay.degrees() >= 180;
                let at_low = (o == Side::of(axis).0) != turned;
                signs.push(f64::from(u8::from(at_low)));
            }
        }
    }
    let p = binomial_at_least(opposite.len(), both.len(), 0.5);
    let p_adjusted = (2.0 * p * tests as f64).min(1.0);
    let unsigned = sign_test(low, both.len() - low) > UNREMARKABLE;
    (p_adjusted <= alpha && unsigned).then(|| {
        let found = finding(
            records,
            over.name,
            (&opposite, both.len()),
            p_adjusted,
            Reason::SignsChange {
                axis,
                panels: both.len(),
                opposite: opposite.len(),
                p_value: p,
            },
            both.len() as f64 / 2.0,
        );
        let open = signs_follow(records, &opposite, &signs);
        if open.is_empty() {
            found
        } else {
            leave(found, open)
        }
    })
}

/// Who may make the sign change beside the panels: a head that was moved, one of two
/// heads or nests, who inspected, panels turned without a word.
fn signs_follow(records: &Records, panels: &[usize], signs: &[f64]) -> Vec<(Rival, NextCheck)> {
    let each = || panels.iter().map(|&at| &records.panels[at]);
    let mut out = Vec::new();
    if each().all(|panel| !panel.lay_recorded) {
        let panels = PANELS_TURNED;
        out.push((Rival::Lay, NextCheck::TurnPanels { panels }));
    }
    type Column = fn(&Panel) -> Option<&str>;
    let columns: [(Rival, Column); 3] = [
        (Rival::Head, |p| p.head.as_deref()),
        (Rival::Fixture, |p| p.fixture.as_deref()),
        (Rival::Inspector, |p| p.inspector.as_deref()),
    ];
    let try_alone = |factor: Rival| (factor.clone(), NextCheck::TryFactor { factor });
    for (rival, of) in columns {
        if each().all(|p| of(p).is_some()) && follow_levels(signs, &in_order(each().map(of))) {
            out.push(try_alone(rival));
        }
    }
    let lots: Vec<Option<String>> = each().map(|p| p.lot.as_deref().map(String::from)).collect();
    if follow_time(signs, codes(&lots).0.into_iter()) {
        out.push(try_alone(Rival::Step));
    }
    out
}

/// The finding with these open, of nobody.
fn leave(mut found: Finding, open: Vec<(Rival, NextCheck)>) -> Finding {
    found.cause = Cause::Undecided;
    found.frame = None;
    if let Some((_, check)) = open.first() {
        found.next_check = check.clone();
    }
    let rivals = open.iter().map(|o| o.0.clone()).collect();
    found.reasons.push(Reason::SignFollows { rivals });
    found.open = (open.into_iter())
        .map(|(rival, to_settle)| OpenRival {
            rival,
            levels: Vec::new(),
            to_settle,
            panels: None,
        })
        .collect();
    found
}

/// Both ends marked, the middle spared. Expected from each panel's number of
/// marks: with a share q of marks in the outer thirds, even between them,
/// P(both | c marks) = 1 − 2(1 − q/2)^c + (1 − q)^c. q is what a flat
/// background gives away from the edges, or what the other axis shows if more.
pub(crate) fn both_ends(
    records: &Records,
    kind: KindMarks<'_>,
    taken: &[bool],
    panels: &[usize],
    axis: LineAxis,
    (alpha, tests): (f64, usize),
) -> Option<Finding> {
    let across = match axis {
        LineAxis::X => LineAxis::Y,
        LineAxis::Y => LineAxis::X,
    };
    let count = |panel: usize, axis: LineAxis| -> Thirds {
        let margin = margin_mm(&records.panels[panel]);
        let frame = (Frame::Panel, axis);
        thirds(records, kind.marks, panel, frame, taken, margin)
    };
    let (mut outer, mut all) = (0, 0);
    let mut rows = Vec::new();
    for &panel in panels {
        let other = count(panel, across);
        outer += other.low + other.high;
        all += other.low + other.middle + other.high;
        let own = count(panel, axis);
        let marks = own.low + own.middle + own.high;
        if marks >= 2 {
            rows.push((panel, own, marks));
        }
    }
    if all == 0 {
        return None;
    }
    let seen = outer as f64 / all as f64;
    let mut chances = Vec::with_capacity(rows.len());
    let mut expected = 0.0;
    let mut hit = Vec::new();
    let (mut own_outer, mut own_all) = (0, 0);
    for (panel, own, marks) in &rows {
        let p = &records.panels[*panel];
        let extent = match axis {
            LineAxis::X => p.length_mm,
            LineAxis::Y => p.width_mm,
        };
        let margin = margin_mm(p);
        let flat = (2.0 / 3.0 * extent - 2.0 * margin) / (extent - 2.0 * margin);
        let q = flat.max(seen);
        let c = i32::try_from(*marks).unwrap_or(i32::MAX);
        let chance = (1.0 - 2.0 * (1.0 - q / 2.0).powi(c) + (1.0 - q).powi(c)).clamp(0.0, 1.0);
        chances.push(chance);
        expected += chance;
        own_outer += own.low + own.high;
        own_all += marks;
        if own.low > 0 && own.high > 0 {
            hit.push(*panel);
        }
    }
    // The middle must be spared as well.
    let spared = own_all > 0 && own_outer as f64 / own_all as f64 > seen.max(0.7);
    let p = poisson_binomial_tail(&chances, hit.len());
    let p_adjusted = (p * tests as f64).min(1.0);
    // the pattern alone of the panels that lay across, and of those that didn't
    let holds = |across: bool| {
        let lay = |at: &usize| records.panels[*at].lay.swaps_axes() == across;
        let own: Vec<f64> = (rows.iter().zip(&chances))
            .filter(|((panel, ..), _)| lay(panel))
            .map(|(_, chance)| *chance)
            .collect();
        let both = hit.iter().filter(|at| lay(at)).count();
        poisson_binomial_tail(&own, both) <= EITHER_WAY
    };
    (spared && p_adjusted <= alpha).then(|| {
        let found = finding(
            records,
            kind.name,
            (&hit, rows.len()),
            p_adjusted,
            Reason::BothEnds {
                axis,
                panels: hit.len(),
                expected,
                p_value: p,
            },
            expected,
        );
        if holds(true) && holds(false) {
            found
        } else {
            ends_of_what(found)
        }
    })
}

/// See [`EDGE_MM`].
fn margin_mm(panel: &Panel) -> f64 {
    EDGE_MM.min(panel.length_mm.min(panel.width_mm) / 12.0)
}

/// A pattern at both ends of panels that did not show it lying along and across
/// the feed: the ends of the panel are the ends of the path as well.
pub(crate) fn ends_of_what(mut found: Finding) -> Finding {
    let panels = PANELS_ACROSS;
    let check = NextCheck::TurnAcross { panels };
    found.cause = Cause::Undecided;
    found.frame = None;
    found.reasons.push(Reason::EndsOfPathToo);
    found.open = [Rival::Panel, Rival::Machine]
        .map(|rival| OpenRival {
            rival,
            levels: Vec::new(),
            to_settle: check.clone(),
            panels: Some(panels),
        })
        .into();
    found
}

pub(crate) fn finding(
    records: &Records,
    name: usize,
    (hit, of): (&[usize], usize),
    p_adjusted: f64,
    reason: Reason,
    expected: f64,
) -> Finding {
    let mut machines: Vec<_> = hit.iter().map(|&i| &records.panels[i].machine).collect();
    machines.sort();
    machines.dedup();
    let about = About {
        machine: match machines.as_slice() {
            [Some(one)] => Some(one.to_string()),
            _ => None,
        },
        defect: records.defect_names[name].name.clone(),
        ..About::default()
    };
    let counted = Tally {
        hits: hit.len(),
        exposed: of,
    };
    let base = about.finding(records, hit, counted);
    Finding {
        cause: Cause::Part,
        kind: Kind::OppositeSides,
        frame: Some(Frame::Panel),
        expected_hits: Some(expected),
        p_adjusted: Some(p_adjusted),
        lots: Vec::new(),
        reasons: vec![reason],
        next_check: NextCheck::CheckFlatness,
        evidence: Evidence {
            exposed: hit.to_vec(),
            ..base.evidence
        },
        ..base
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::causes::made;
    use crate::records::{Defect, Point};
    use crate::site::DefectClass;
    use rand::{RngExt, SeedableRng};
    use rand_chacha::ChaCha8Rng;

    fn records(panels: usize) -> Records {
        Records {
            panels: (0..panels).map(|i| made::panel(i, 900.0, 500.0)).collect(),
            ..made::records(&[
                ("sand-through", Some(DefectClass::Over)),
                ("orange peel", Some(DefectClass::Under)),
            ])
        }
    }

    fn mark(panel: usize, name: usize, x: f64, y: f64) -> Defect {
        made::mark(panel, name, Some(Point { x, y }))
    }

    fn kind(name: usize, marks: &Marks) -> KindMarks<'_> {
        KindMarks { name, marks }
    }

    fn warped(seed: u64, warp: f64) -> Records {
        let mut rng = ChaCha8Rng::seed_from_u64(seed);
        let mut records = records(60);
        for panel in 0..60 {
            let flip = rng.random::<bool>();
            for name in 0..2 {
                for _ in 0..2 {
                    let towards_low = (name == 0) == flip;
                    let biased = rng.random::<f64>() < warp;
                    let u: f64 = rng.random();
                    let x = match (biased, towards_low) {
                        (true, true) => 300.0 * u,
                        (true, false) => 600.0 + 300.0 * u,
                        (false, _) => 900.0 * u,
                    };
                    records
                        .defects
                        .push(mark(panel, name, x, 500.0 * rng.random::<f64>()));
                }
            }
        }
        records
    }

    #[test]
    fn a_warp_whose_sign_changes_is_named_and_plain_marks_are_not() {
        let panels: Vec<usize> = (0..60).collect();
        let mut named = [0, 0];
        for seed in 0..50 {
            for (case, warp) in [0.0, 0.7].into_iter().enumerate() {
                let records = warped(seed, warp);
                let marks = [Marks::of(&records, 0), Marks::of(&records, 1)];
                let taken = vec![false; records.defects.len()];
                let pair = (kind(0, &marks[0]), kind(1, &marks[1]));
                let found = signs_change(&records, pair, &taken, &panels, LineAxis::X, (0.01, 2));
                named[case] += usize::from(found.is_some());
            }
        }
        // P(Bin(50, 0.005) > 2) = 0.002.
        assert!(named[0] <= 2 && named[1] >= 45, "{named:?}");
    }

    #[test]
    fn both_ends_are_named_only_with_the_middle_spared() {
        let mut rng = ChaCha8Rng::seed_from_u64(9);
        let panels: Vec<usize> = (0..60).collect();
        let mut named = [0, 0];
        for (case, count) in named.iter_mut().enumerate() {
            for _ in 0..50 {
                let mut records = records(60);
                for panel in 0..60 {
                    for _ in 0..4 {
                        let u: f64 = rng.random();
                        let x = if case == 1 && rng.random::<f64>() < 0.8 {
                            if rng.random() {
                                40.0 + 200.0 * u
                            } else {
                                660.0 + 200.0 * u
                            }
                        } else if rng.random::<f64>() < 0.5 {
                            // Edge-heavy on all sides in both cases.
                            if rng.random() {
                                30.0 * u
                            } else {
                                900.0 - 30.0 * u
                            }
                        } else {
                            900.0 * u
                        };
                        records
                            .defects
                            .push(mark(panel, 0, x, 500.0 * rng.random::<f64>()));
                    }
                }
                let marks = Marks::of(&records, 0);
                let taken = vec![false; records.defects.len()];
                let found = both_ends(
                    &records,
                    kind(0, &marks),
                    &taken,
                    &panels,
                    LineAxis::X,
                    (0.01, 8),
                );
                *count += usize::from(found.is_some());
            }
        }
        assert!(named[0] <= 2 && named[1] >= 45, "{named:?}");
    }
}

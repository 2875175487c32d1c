//! Machine, panel or table: every rival of a repeat against every other.

use std::collections::BTreeMap;

use crate::causes::levels::{FRAME_CLAIM, OTHER_LOTS};
use crate::causes::responses::place::{Holder, Place};
use crate::causes::rivals::alike::alike;
use crate::causes::rivals::frame_duel::{Meeting, Ordinary, OtherLots, Weight};
use crate::causes::rivals::frames::{FramePlace, Scene, frame_of, holders};
use crate::causes::scan::stretch;
use crate::causes::verdict::Holds;
use crate::causes::{Frame, FrameScore, LineAxis, Tally};

/// What the frames say about a repeat.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct FrameEvidence {
    /// Where it holds.
    pub holds: Holds,
    /// The rival whose place is reported.
    pub chosen: FramePlace,
    /// Its place in the machine frame; equals `chosen` unless that is another frame.
    pub machine: FramePlace,
    /// The rival on the panel, for the control.
    pub panel: Option<FramePlace>,
    /// Whether edges hold the place better than the machine's origin.
    pub dwell: bool,
    /// ln likelihood of the best machine rival over the best panel rival.
    pub machine_over_panel: f64,
    /// The counts behind it.
    pub machine_panel: Duel,
    /// The winner over all panels, machine or panel, among panels alike.
    pub within: Option<Within>,
    /// Machine over inspection table, where the lay there is recorded.
    pub machine_over_table: Option<f64>,
    /// Panels on which machine and table predict different places.
    pub table_informative: usize,
    /// Inspection table over panel, where the lay at the table is recorded.
    pub table_over_panel: Option<f64>,
    /// Whether the panel beat the machine, also among panels alike, but not the
    /// table.
    pub panel_or_table: bool,
    /// One score per frame, best first.
    pub scores: Vec<FrameScore>,
    /// Frames that nothing rules out.
    pub left: Vec<Frame>,
    /// How far a half turn of the panel moves the place, on most panels hit, mm.
    pub half_turn_moves_mm: f64,
    /// A mark within this distance of a place is a hit, mm.
    pub reach_mm: f64,
}

impl FrameEvidence {
    /// Whether the machine, or the panel, wins over all panels and not among
    /// panels alike.
    pub(crate) fn lay_goes_with_others(&self) -> bool {
        self.within
            .as_ref()
            .is_some_and(|w| w.log_ratio < FRAME_CLAIM)
    }
}

/// Two rivals on the panels where they lie apart.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub(crate) struct Duel {
    /// Hits at the first one's place.
    pub first: Tally,
    /// Hits at the second one's place.
    pub second: Tally,
    /// ln likelihood of the first over the second, whichever way the second is.
    pub log_ratio: f64,
    /// Panels on which they lie apart.
    pub informative: usize,
}

impl Duel {
    /// Whether the first is a hundred times as likely and has more hits.
    fn won(&self) -> bool {
        self.log_ratio >= FRAME_CLAIM && self.first.hits > self.second.hits
    }
}

/// The same duel within panels alike, the second's place free in each group.
#[derive(Debug, Clone, PartialEq, Default)]
pub(crate) struct Within {
    /// ln likelihood of the first over the second, groups added.
    pub log_ratio: f64,
    /// Groups whose panels lay so that the two lie apart.
    pub groups: usize,
    /// Lots that beat the second, and the ln likelihood there: those left without the
    /// two most-hit, twentyfold together, or two and more, a hundredfold each.
    pub other_lots: OtherLots,
}

/// Which side of the argument: places of the path are the machine's.
fn party(holder: Holder) -> Frame {
    match frame_of(holder) {
        Frame::Path => Frame::Machine,
        other => other,
    }
}

/// All of them.
const PARTIES: [Frame; 3] = [Frame::Machine, Frame::Panel, Frame::Inspection];

/// Rivals of a repeat found as `leader`, and all duels between parties.
pub(crate) fn weigh(scene: &Scene<'_>, leader: FramePlace) -> FrameEvidence {
    let laid = scene.laid(&leader);
    let hits: Vec<usize> = (0..scene.panels.len())
        .filter(|&at| laid[at].is_some_and(|p| scene.hit(at, &p)))
        .collect();
    let mut rivals = vec![leader];
    for holder in holders(scene.records, scene.panels) {
        if holder != leader.holder
            && let Some(rival) = scene.rival(holder, &laid, &hits)
        {
            rivals.push(rival);
        }
    }
    let n = rivals.len();
    let mut duels = vec![vec![None; n]; n];
    for i in 0..n {
        for j in 0..i {
            let fight = party(rivals[i].holder) != party(rivals[j].holder)
                || party(rivals[i].holder) == Frame::Machine;
            if fight {
                let meeting = scene.meeting(&rivals[i], &rivals[j]);
                let ordinary = scene.ordinary(&rivals[i], &rivals[j]);
                duels[i][j] = Some(duel(&meeting, ordinary));
                duels[j][i] = Some(duel(&meeting.exchanged(), ordinary.exchanged()));
            }
        }
    }
    // The best of one party against the whole other: largest smallest ratio.
    let parties: Vec<Frame> = rivals.iter().map(|r| party(r.holder)).collect();
    let parties = &parties;
    let versus = |own: Frame, other: Frame| -> Option<(usize, Duel)> {
        let of = |p: Frame| (0..n).filter(move |&r| parties[r] == p);
        first_largest(of(own).filter_map(|i| {
            of(other)
                .filter_map(|j| duels[i][j])
                .min_by(|a: &Duel, b| a.log_ratio.total_cmp(&b.log_ratio))
                .map(|d| (i, d))
        }))
    };
    let machine_panel = versus(Frame::Machine, Frame::Panel);
    let panel_machine = versus(Frame::Panel, Frame::Machine);
    let machine_table = versus(Frame::Machine, Frame::Inspection);
    let table_machine = versus(Frame::Inspection, Frame::Machine);
    let table_panel = versus(Frame::Inspection, Frame::Panel);
    let panel_table = versus(Frame::Panel, Frame::Inspection);
    let ratio = |v: &Option<(usize, Duel)>| v.as_ref().map_or(0.0, |(_, d)| d.log_ratio);
    let claims = |v: &Option<(usize, Duel)>| v.as_ref().is_some_and(|(_, d)| d.won());
    let groups = alike(scene.records, scene.panels);
    let inside = |v: &Option<(usize, Duel)>, other: Holder| {
        v.as_ref()
            .filter(|(_, d)| d.won())
            .map(|(r, _)| within(scene, &groups, &rivals[*r], other))
    };
    let machine_within = inside(&machine_panel, Holder::Panel);
    let panel_within = inside(&panel_machine, Holder::Machine);
    let stands = |w: &Option<Within>| w.as_ref().is_some_and(|w| w.log_ratio >= FRAME_CLAIM);

    let table_known = machine_table.is_some();
    let table_beaten = |v: &Option<(usize, Duel)>| !table_known || claims(v);
    let holds = if claims(&table_machine) && claims(&table_panel) {
        Holds::Inspection
    } else if stands(&machine_within) && table_beaten(&machine_table) {
        Holds::Machine
    } else if stands(&panel_within) && table_beaten(&panel_table) {
        Holds::Panel
    } else {
        Holds::Untold
    };
    let panel_or_table = holds == Holds::Untold && stands(&panel_within);
    let at = |holder: Holder| rivals.iter().position(|r| r.holder == holder);
    let own = |r: Option<usize>| r.map_or(leader, |r| rivals[r]);
    // An edge-relative place is named only where it beats the machine's origin.
    let machine_at = at(Holder::Machine);
    let paths = (0..n).filter(|&r| matches!(rivals[r].holder, Holder::Path(_)));
    let dwells = paths.filter_map(|r| {
        let m = machine_at?;
        let meeting = scene.meeting(&rivals[r], &rivals[m]);
        let ordinary = scene.ordinary(&rivals[r], &rivals[m]);
        // Over several sizes no second place of the machine fits.
        let log_ratio = Weight::of(&meeting, ordinary).over_one_place();
        let duel = Duel {
            log_ratio,
            ..duels[r][m]?
        };
        duel.won().then_some((r, duel))
    });
    let dwell_at = first_largest(dwells).map(|(r, _)| r);
    let chosen = match holds {
        Holds::Inspection => own(at(Holder::Inspection)),
        Holds::Panel => own(panel_machine.map(|(r, _)| r)),
        Holds::Untold if panel_or_table => own(panel_machine.map(|(r, _)| r)),
        Holds::Machine | Holds::Untold => own(dwell_at.or(machine_at)),
    };
    let others = |own: Frame| PARTIES.into_iter().filter(move |other| *other != own);
    let score = |own: Frame| {
        let (r, duel) = others(own)
            .filter_map(|other| versus(own, other))
            .min_by(|a, b| a.1.log_ratio.total_cmp(&b.1.log_ratio))?;
        Some(FrameScore {
            frame: frame_of(rivals[r].holder),
            log_ratio: duel.log_ratio,
            informative: duel.informative,
            hits: duel.first.hits,
        })
    };
    let mut scores: Vec<FrameScore> = PARTIES.into_iter().filter_map(score).collect();
    scores.sort_by(|a, b| b.log_ratio.total_cmp(&a.log_ratio));
    let beaten = |p: Frame| others(p).any(|other| claims(&versus(other, p)));
    let stays = |p: &Frame| parties.contains(p) && !beaten(*p);
    let left = PARTIES.into_iter().filter(stays).collect();
    FrameEvidence {
        holds,
        chosen,
        machine: own(machine_at),
        panel: at(Holder::Panel).map(|r| rivals[r]),
        dwell: dwell_at.is_some(),
        machine_over_panel: if claims(&panel_machine) {
            -ratio(&panel_machine)
        } else {
            ratio(&machine_panel)
        },
        within: machine_within.or(panel_within),
        machine_panel: machine_panel.map_or(Duel::default(), |(_, d)| d),
        machine_over_table: machine_table.map(|(_, d)| d.log_ratio),
        table_informative: machine_table.map_or(0, |(_, d)| d.informative),
        table_over_panel: table_panel.map(|(_, d)| d.log_ratio),
        panel_or_table,
        scores,
        left,
        half_turn_moves_mm: half_turn_moves(scene, &laid, &hits),
        reach_mm: scene.reach_mm,
    }
}

/// Median distance from the place to where a half turn of the panel takes it.
fn half_turn_moves(scene: &Scene<'_>, laid: &[Option<Place>], hits: &[usize]) -> f64 {
    let mut moves: Vec<f64> = hits
        .iter()
        .filter_map(|&at| {
            let rect = scene.records.panels[scene.panels[at]].machine_rect();
            let turned = |axis: LineAxis, v: f64| {
                let (low, high) = stretch(axis, rect);
                (low + high - 2.0 * v).abs()
            };
            Some(match laid[at]? {
                Place::Spot(p) => turned(LineAxis::Y, p.x).hypot(turned(LineAxis::X, p.y)),
                Place::Stripe(along, v) => turned(along, v),
            })
        })
        .collect();
    moves.sort_by(f64::total_cmp);
    moves.get(moves.len() / 2).copied().unwrap_or(0.0)
}

fn duel(meeting: &Meeting, ordinary: Ordinary) -> Duel {
    Duel {
        first: meeting.first,
        second: meeting.second,
        log_ratio: Weight::of(meeting, ordinary).ln_ratio(),
        informative: meeting.informative(),
    }
}

/// `own` against the place in `other`'s frame that suits each group of panels
/// alike best.
fn within(scene: &Scene<'_>, groups: &[Vec<usize>], own: &FramePlace, other: Holder) -> Within {
    // groups are too small to know how marks crowd
    let ordinary = Ordinary {
        first: scene.background,
        second: scene.background,
    };
    let mut sum = Weight::default();
    let mut met = 0;
    let mut lots: BTreeMap<&str, (usize, Weight)> = BTreeMap::new();
    for panels in groups {
        let group = Scene { panels, ..*scene };
        let laid = group.laid(own);
        let hits: Vec<usize> = (0..panels.len())
            .filter(|&at| laid[at].is_some_and(|p: Place| group.hit(at, &p)))
            .collect();
        let Some(rival) = group.rival(other, &laid, &hits) else {
            continue;
        };
        let meeting = group.meeting(own, &rival);
        if meeting.informative() == 0 {
            continue;
        }
        let weight = Weight::of(&meeting, ordinary);
        sum = sum.plus(weight);
        met += 1;
        if let Some(lot) = panels
            .first()
            .and_then(|&i| scene.records.panels[i].lot.as_deref())
        {
            let of_lot = lots.entry(lot).or_default();
            of_lot.0 += meeting.shared.hits + meeting.first.hits;
            of_lot.1 = of_lot.1.plus(weight);
        }
    }
    let mut by_hits: Vec<(usize, Weight)> = lots.into_values().collect();
    by_hits.sort_by_key(|(hits, _)| std::cmp::Reverse(*hits));
    let rest = by_hits
        .iter()
        .take(2)
        .fold(sum, |rest, (_, weight)| rest.minus(*weight));
    let rest = (by_hits.len() > 2).then(|| (by_hits.len() - 2, rest.ln_ratio()));
    // One lot may do so by chance; a fault of two would have turned in one of them.
    let each: Vec<f64> = (by_hits.iter().map(|(_, weight)| weight.ln_ratio()))
        .filter(|log_ratio| *log_ratio >= FRAME_CLAIM)
        .collect();
    let alone = (each.len() > 1).then(|| (each.len(), each.iter().sum()));
    Within {
        log_ratio: if met > 0 { sum.ln_ratio() } else { 0.0 },
        groups: met,
        other_lots: (rest.filter(|(_, log_ratio)| *log_ratio >= OTHER_LOTS.ln())).or(alone),
    }
}

/// The first of the largest log ratios, so that ties fall to the plainer frame.
fn first_largest(duels: impl Iterator<Item = (usize, Duel)>) -> Option<(usize, Duel)> {
    duels.reduce(|best, next| {
        if best.1.log_ratio >= next.1.log_ratio {
            best
        } else {
            next
        }
    })
}

#[cfg(test)]
mod tests {
    use std::sync::Arc;

    use crate::causes::made;
    use crate::causes::{Cause, Certainty, Finding, Rival, Settings, find};
    use crate::records::{Lay, Panel, Point};

    /// 60 panels of six lots, every other one turned in the cell, with a mark at
    /// one place of the panel on half of them; how they lay at the table is told
    /// by `table`.
    fn riding(table: impl Fn(usize) -> Option<Lay>) -> Finding {
        let mut records = made::records(&[("speck", None)]);
        for i in 0..60 {
            records.panels.push(Panel {
                id: format!("{i:02}"),
                machine: Some(Arc::from("M1")),
                lot: Some(Arc::from(format!("L{}", i / 10))),
                lay: [Lay::Deg0, Lay::Deg180][i % 2],
                lay_recorded: true,
                inspect_lay: table(i),
                ..made::panel(i, 900.0, 500.0)
            });
            let anywhere = Point::new((i * 137 % 860) as f64 + 20.0, (i * 89 % 460) as f64 + 20.0);
            let at_the_place = Point::new(300.0 + (i % 3) as f64, 120.0 + (i % 4) as f64);
            let marks = [Some(anywhere), (i / 2 % 2 == 0).then_some(at_the_place)];
            let marks = marks.into_iter().flatten();
            (records.defects).extend(marks.map(|place| made::mark(i, 0, Some(place))));
        }
        find(&records, &Settings::default()).findings.remove(0)
    }

    fn open(finding: &Finding) -> Vec<&Rival> {
        finding.open.iter().map(|o| &o.rival).collect()
    }

    #[test]
    fn what_rides_the_panel_may_be_the_tables_where_panels_always_lay_alike_there() {
        let alike = riding(|_| Some(Lay::Deg0));
        assert_eq!(alike.cause, Cause::Undecided);
        assert_eq!(open(&alike), [&Rival::Panel, &Rival::Table]);
    }

    #[test]
    fn the_panel_that_beat_the_table_too_is_named() {
        let both_ways = riding(|i| Some([Lay::Deg0, Lay::Deg180][i / 4 % 2]));
        assert_eq!(both_ways.cause, Cause::Part);
        assert_eq!(open(&both_ways), [] as [&Rival; 0]);
    }

    #[test]
    fn a_table_whose_lay_nobody_wrote_down_is_open() {
        let unknown = riding(|_| None);
        assert_eq!(
            (unknown.cause, unknown.certainty),
            (Cause::Part, Certainty::Likely)
        );
        assert_eq!(open(&unknown), [&Rival::Table]);
    }
}

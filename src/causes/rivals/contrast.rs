//! Machine, panel or table: every rival of a repeat against every other.

use std::collections::BTreeMap;

use crate::causes::levels::FRAME_CLAIM;
use crate::causes::responses::place::{Holder, Place};
use crate::causes::rivals::frame_duel::{Meeting, Ordinary, OtherLots, Weight, alike};
use crate::causes::rivals::frames::{FramePlace, Scene, frame_of, holders};
use crate::causes::verdict::Holds;
use crate::causes::{Frame, FrameScore, LineAxis, Tally};

/// What the frames say about a repeat.
#[derive(Debug, Clone, PartialEq)]
pub(in crate::causes) struct FrameEvidence {
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
    /// Whether the panel beats the machine.
    pub(in crate::causes) fn rides(&self) -> bool {
        self.machine_over_panel <= -FRAME_CLAIM && !self.lay_goes_with_others()
    }

    /// Whether the machine, or the panel, wins over all panels and not among
    /// panels alike.
    pub(in crate::causes) fn lay_goes_with_others(&self) -> bool {
        self.within
            .as_ref()
            .is_some_and(|w| w.log_ratio < FRAME_CLAIM)
    }
}

/// Two rivals on the panels where they lie apart.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub(in crate::causes) struct Duel {
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
pub(in crate::causes) struct Within {
    /// ln likelihood of the first over the second, groups added.
    pub log_ratio: f64,
    /// Groups whose panels lay so that the two lie apart.
    pub groups: usize,
    /// Lots of these groups without the two most-hit, and the ln likelihood there.
    pub other_lots: OtherLots,
}

/// Which side of the argument.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Party {
    Machine,
    Panel,
    Table,
}

fn party(holder: Holder) -> Party {
    match holder {
        Holder::Machine | Holder::Path(_) => Party::Machine,
        Holder::Panel | Holder::PanelEdge(_) => Party::Panel,
        Holder::Inspection => Party::Table,
    }
}

/// Rivals of a repeat found as `leader`, and all duels between parties.
pub(in crate::causes) fn weigh(scene: &Scene<'_>, leader: FramePlace) -> FrameEvidence {
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
                || party(rivals[i].holder) == Party::Machine;
            if fight {
                let meeting = scene.meeting(&rivals[i], &rivals[j]);
                let ordinary = scene.ordinary(&rivals[i], &rivals[j]);
                duels[i][j] = Some(duel(&meeting, ordinary));
                duels[j][i] = Some(duel(&meeting.exchanged(), ordinary.exchanged()));
            }
        }
    }
    // The best of one party against the whole other: largest smallest ratio.
    let parties: Vec<Party> = rivals.iter().map(|r| party(r.holder)).collect();
    let parties = &parties;
    let versus = |own: Party, other: Party| -> Option<(usize, Duel)> {
        let of = |p: Party| (0..n).filter(move |&r| parties[r] == p);
        of(own)
            .filter_map(|i| {
                of(other)
                    .filter_map(|j| duels[i][j])
                    .min_by(|a: &Duel, b| a.log_ratio.total_cmp(&b.log_ratio))
                    .map(|d| (i, d))
            })
            .rev_max_by_log_ratio()
    };
    let machine_panel = versus(Party::Machine, Party::Panel);
    let panel_machine = versus(Party::Panel, Party::Machine);
    let machine_table = versus(Party::Machine, Party::Table);
    let table_machine = versus(Party::Table, Party::Machine);
    let table_panel = versus(Party::Table, Party::Panel);
    let panel_table = versus(Party::Panel, Party::Table);
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

    let rides = stands(&panel_within);
    let table_known = machine_table.is_some();
    let table_beaten = |v: &Option<(usize, Duel)>| !table_known || claims(v);
    let holds = if claims(&table_machine) && claims(&table_panel) {
        Holds::Inspection
    } else if stands(&machine_within) && table_beaten(&machine_table) {
        Holds::Machine
    } else if rides && table_beaten(&panel_table) {
        Holds::Panel
    } else {
        Holds::Untold
    };
    let at = |holder: Holder| rivals.iter().position(|r| r.holder == holder);
    let own = |r: Option<usize>| r.map_or(leader, |r| rivals[r]);
    // An edge-relative place is named only where it beats the machine's origin.
    let machine_at = at(Holder::Machine);
    let dwell_at = (0..n)
        .filter(|&r| matches!(rivals[r].holder, Holder::Path(_)))
        .filter_map(|r| {
            let m = machine_at?;
            let meeting = scene.meeting(&rivals[r], &rivals[m]);
            let ordinary = scene.ordinary(&rivals[r], &rivals[m]);
            // Over several sizes no second place of the machine fits.
            let log_ratio = Weight::of(&meeting, ordinary).over_one_place();
            Some((
                r,
                Duel {
                    log_ratio,
                    ..duels[r][m]?
                },
            ))
        })
        .filter(|(_, d): &(usize, Duel)| d.won())
        .rev_max_by_log_ratio()
        .map(|(r, _)| r);
    let chosen = match holds {
        Holds::Inspection => own(at(Holder::Inspection)),
        // On the panel, or at a table where it lay alike.
        Holds::Panel => own(panel_machine.map(|(r, _)| r)),
        Holds::Untold if rides => own(panel_machine.map(|(r, _)| r)),
        Holds::Machine | Holds::Untold => own(dwell_at.or(machine_at)),
    };
    let mut scores = Vec::new();
    for (own, frame) in [
        (Party::Machine, Frame::Machine),
        (Party::Panel, Frame::Panel),
        (Party::Table, Frame::Inspection),
    ] {
        let others = [Party::Machine, Party::Panel, Party::Table];
        let worst = others
            .into_iter()
            .filter(|o| *o != own)
            .filter_map(|o| versus(own, o))
            .min_by(|a, b| a.1.log_ratio.total_cmp(&b.1.log_ratio));
        if let Some((r, duel)) = worst {
            scores.push(FrameScore {
                frame: if own == Party::Machine {
                    frame_of(rivals[r].holder)
                } else {
                    frame
                },
                log_ratio: duel.log_ratio,
                informative: duel.informative,
                hits: duel.first.hits,
            });
        }
    }
    scores.sort_by(|a, b| b.log_ratio.total_cmp(&a.log_ratio));
    let beaten = |p: Party| {
        [Party::Machine, Party::Panel, Party::Table]
            .into_iter()
            .any(|o| o != p && claims(&versus(o, p)))
    };
    let left = [
        (Party::Machine, Frame::Machine),
        (Party::Panel, Frame::Panel),
        (Party::Table, Frame::Inspection),
    ]
    .into_iter()
    .filter(|(p, _)| parties.contains(p) && !beaten(*p))
    .map(|(_, frame)| frame)
    .collect();
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
            let turned = |v: f64, low: f64, high: f64| (low + high - 2.0 * v).abs();
            Some(match laid[at]? {
                Place::Spot(p) => {
                    turned(p.x, rect.x0, rect.x1).hypot(turned(p.y, rect.y0, rect.y1))
                }
                Place::Stripe(LineAxis::Y, x) => turned(x, rect.x0, rect.x1),
                Place::Stripe(LineAxis::X, y) => turned(y, rect.y0, rect.y1),
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
    Within {
        log_ratio: if met > 0 { sum.ln_ratio() } else { 0.0 },
        groups: met,
        other_lots: (by_hits.len() > 2).then(|| (by_hits.len() - 2, rest.ln_ratio())),
    }
}

/// The first of the largest log ratios, so that ties fall to the plainer frame.
trait FirstLargest {
    fn rev_max_by_log_ratio(self) -> Option<(usize, Duel)>;
}

impl<I: Iterator<Item = (usize, Duel)>> FirstLargest for I {
    fn rev_max_by_log_ratio(self) -> Option<(usize, Duel)> {
        self.fold(None, |best: Option<(usize, Duel)>, next| match best {
            Some(b) if b.1.log_ratio >= next.1.log_ratio => Some(b),
            _ => Some(next),
        })
    }
}

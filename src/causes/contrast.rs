//! Machine, panel or table: every rival of a repeat against every other.

use super::frames::{Rival, Scene, frame_of, holders};
use super::levels::FRAME_CLAIM;
use super::place::{Holder, Place};
use super::verdict::Holds;
use super::{Frame, FrameScore, LineAxis, Tally};

/// What the frames say about a repeat.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct FrameEvidence {
    /// Where it holds.
    pub holds: Holds,
    /// The rival whose place is reported.
    pub chosen: Rival,
    /// Its place in the machine frame; equals `chosen` unless that is another frame.
    pub machine: Rival,
    /// The rival on the panel, for the control.
    pub panel: Option<Rival>,
    /// Whether edges hold the place better than the machine's origin.
    pub dwell: bool,
    /// ln likelihood of the best machine rival over the best panel rival.
    pub machine_over_panel: f64,
    /// The counts behind it.
    pub machine_panel: Duel,
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

/// Two rivals on the panels where they lie apart.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub(super) struct Duel {
    /// Hits at the first one's place.
    pub first: Tally,
    /// Hits at the second one's place.
    pub second: Tally,
    /// ln likelihood of the first over the second.
    pub log_ratio: f64,
    /// Panels on which they lie apart.
    pub informative: usize,
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
pub(super) fn weigh(scene: &Scene<'_>, leader: Rival) -> FrameEvidence {
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
        for j in 0..n {
            let fight = party(rivals[i].holder) != party(rivals[j].holder)
                || (party(rivals[i].holder) == Party::Machine && i != j);
            if fight && i < j {
                let duel = duel(scene, &rivals[i], &rivals[j]);
                duels[i][j] = Some(duel);
                duels[j][i] = Some(Duel {
                    first: duel.second,
                    second: duel.first,
                    log_ratio: -duel.log_ratio,
                    informative: duel.informative,
                });
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
    let ratio = |v: &Option<(usize, Duel)>| v.as_ref().map_or(0.0, |(_, d)| d.log_ratio);
    let claims = |v: &Option<(usize, Duel)>| ratio(v) >= FRAME_CLAIM;

    let table_known = machine_table.is_some();
    let holds = if claims(&table_machine) && claims(&table_panel) {
        Holds::Inspection
    } else if claims(&machine_panel) && (!table_known || claims(&machine_table)) {
        Holds::Machine
    } else if claims(&panel_machine) {
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
        .filter_map(|r| Some((r, machine_at.and_then(|m| duels[r][m])?)))
        .filter(|(_, d): &(usize, Duel)| d.log_ratio >= FRAME_CLAIM)
        .rev_max_by_log_ratio()
        .map(|(r, _)| r);
    let chosen = match holds {
        Holds::Inspection => own(at(Holder::Inspection)),
        Holds::Panel => own(panel_machine.map(|(r, _)| r)),
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
    let left = scores
        .iter()
        .filter(|s| s.log_ratio > -FRAME_CLAIM)
        .map(|s| s.frame)
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

fn duel(scene: &Scene<'_>, a: &Rival, b: &Rival) -> Duel {
    let contrast = scene.contrast(a, b);
    let tally = |(exposed, hits): (usize, usize)| Tally { hits, exposed };
    Duel {
        first: tally(contrast.at_a),
        second: tally(contrast.at_b),
        log_ratio: contrast.log_ratio(scene.background),
        informative: contrast.informative(),
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

/// Machine over panel within single lots, each lot with the panel place that
/// suits the part best: sums over lots. A part's fault rides its panels in
/// every lot, so a hundredfold likelihood over at least two lots clears lots.
pub(super) fn within_lots(
    scene: &Scene<'_>,
    machine: &Rival,
    lots: &[Vec<usize>],
) -> Option<(usize, f64)> {
    let mut sum = 0.0;
    let mut speak = 0;
    for panels in lots {
        let lot = Scene { panels, ..*scene };
        let laid = lot.laid(machine);
        let hits: Vec<usize> = (0..panels.len())
            .filter(|&at| laid[at].is_some_and(|p: Place| lot.hit(at, &p)))
            .collect();
        let Some(panel) = lot.rival(Holder::Panel, &laid, &hits) else {
            continue;
        };
        let duel = duel(&lot, machine, &panel);
        sum += duel.log_ratio;
        speak += usize::from(duel.log_ratio >= 10.0_f64.ln());
    }
    (speak >= 2 && sum >= FRAME_CLAIM).then_some((speak, sum))
}

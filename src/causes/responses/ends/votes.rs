//! Which side of a panel carries more marks: one vote a panel.

use std::collections::BTreeMap;

use crate::causes::responses::ends::sides::Lead;
use crate::causes::responses::place::{Holder, Marks};
use crate::causes::rivals::alike::alike;
use crate::causes::rivals::frame_duel::OtherLots;
use crate::causes::tails::bernoulli;
use crate::causes::{Frame, LineAxis, Side};
use crate::records::{Lay, Panel, Point, Records, Rect};

/// Sides as a frame names them; those of the path lie as the machine's.
impl Frame {
    /// How the panel lay in the frame; none if not recorded.
    fn lay(self, panel: &Panel) -> Option<Lay> {
        match self {
            Frame::Machine | Frame::Path => Some(panel.lay),
            Frame::Panel => Some(Lay::Deg0),
            Frame::Inspection => panel.inspect_lay,
        }
    }

    /// The side of the panel itself that lies at `side` of the frame.
    pub(crate) fn on_panel(self, panel: &Panel, side: Side) -> Option<Side> {
        let turns = usize::from(self.lay(panel)?.degrees() / 90);
        Some(turned(side, 4 - turns))
    }

    /// Where the panel's own `side` lies in the frame.
    pub(crate) fn side_of(self, panel: &Panel, side: Side) -> Option<Side> {
        let turns = usize::from(self.lay(panel)?.degrees() / 90);
        Some(turned(side, turns))
    }

    /// Extent of the panel along x and y of the frame, mm.
    pub(crate) fn extent(self, panel: &Panel) -> (f64, f64) {
        if self.lay(panel).is_some_and(Lay::swaps_axes) {
            (panel.width_mm, panel.length_mm)
        } else {
            (panel.length_mm, panel.width_mm)
        }
    }

    fn place(self, panel: &Panel, p: Point) -> Option<(Point, Rect)> {
        let holder = match self {
            Frame::Machine | Frame::Path => Holder::Machine,
            Frame::Panel => Holder::Panel,
            Frame::Inspection => Holder::Inspection,
        };
        let (rect, _) = holder.lies(panel)?;
        Some((holder.point(panel, p), rect))
    }
}

/// The side after so many counter-clockwise quarter turns of the panel.
fn turned(side: Side, quarters: usize) -> Side {
    const ROUND: [Side; 4] = [Side::LowX, Side::LowY, Side::HighX, Side::HighY];
    let at = ROUND.iter().position(|s| *s == side).unwrap_or(0);
    ROUND[(at + quarters) % 4]
}

/// Marks in the outer thirds along an axis.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub(crate) struct Thirds {
    /// In the third at the low side.
    pub low: usize,
    /// Between.
    pub middle: usize,
    /// In the third at the high side.
    pub high: usize,
}

impl Thirds {
    /// The side with more marks; none where equal.
    pub(crate) fn vote(self, axis: LineAxis) -> Option<Side> {
        let (low, high) = Side::of(axis);
        match self.low.cmp(&self.high) {
            std::cmp::Ordering::Greater => Some(low),
            std::cmp::Ordering::Less => Some(high),
            std::cmp::Ordering::Equal => None,
        }
    }
}

/// Counts a panel's marks by thirds of a frame's axis, marks of repeats left
/// out (`taken[defect]`), and those within `margin_mm` of any edge.
pub(crate) fn thirds(
    records: &Records,
    marks: &Marks,
    panel: usize,
    (frame, axis): (Frame, LineAxis),
    taken: &[bool],
    margin_mm: f64,
) -> Thirds {
    let mut out = Thirds::default();
    let about = &records.panels[panel];
    for mark in marks.on(panel) {
        if taken[mark.defect] {
            continue;
        }
        let place = records.defects[mark.defect].place;
        let Some((p, rect)) = place.and_then(|p| frame.place(about, p)) else {
            continue;
        };
        let near_edge = (p.x - rect.x0)
            .min(rect.x1 - p.x)
            .min((p.y - rect.y0).min(rect.y1 - p.y));
        if near_edge < margin_mm {
            continue;
        }
        let share = match axis {
            LineAxis::X => (p.x - rect.x0) / rect.width(),
            LineAxis::Y => (p.y - rect.y0) / rect.height(),
        };
        if share < 1.0 / 3.0 {
            out.low += 1;
        } else if share > 2.0 / 3.0 {
            out.high += 1;
        } else {
            out.middle += 1;
        }
    }
    out
}

/// A mark's place as shares 0..1 of the panel's extent along x and y of the frame.
pub(crate) fn shares(
    records: &Records,
    defect: usize,
    panel: usize,
    frame: Frame,
) -> Option<(f64, f64)> {
    let (p, rect) = frame.place(&records.panels[panel], records.defects[defect].place?)?;
    Some((
        (p.x - rect.x0) / rect.width(),
        (p.y - rect.y0) / rect.height(),
    ))
}

/// A panel that voted.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) struct Voter {
    /// Index into `Records::panels`.
    pub panel: usize,
    /// Its vote, a side of the leading frame.
    pub vote: Side,
}

/// How two frames compare as holders of a side.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub(crate) struct SideContrast {
    /// ln likelihood of the leading frame over the rival.
    pub log_ratio: f64,
    /// Panels on which the rival predicts another side, and their votes for
    /// the leading side.
    pub informative: usize,
    /// See `informative`.
    pub votes: usize,
}

/// Compares the frame in which `side` leads with a rival frame.
///
/// The rival's side is the one that the leading side has, in the rival's
/// frame, on most panels that voted for it. Where the rival predicts the
/// opposite side votes decide between them; where it predicts a side of the
/// other axis it leaves even chances.
pub(crate) fn side_contrast(
    records: &Records,
    voters: &[Voter],
    (frame, side): (Frame, Side),
    rival: Frame,
) -> SideContrast {
    let in_rival = |panel: &Panel| {
        let own = frame.on_panel(panel, side)?;
        rival.side_of(panel, own)
    };
    let mut counts: BTreeMap<u8, (usize, Side)> = BTreeMap::new();
    for v in voters.iter().filter(|v| v.vote == side) {
        if let Some(s) = in_rival(&records.panels[v.panel]) {
            counts.entry(s as u8).or_insert((0, s)).0 += 1;
        }
    }
    let Some(&(_, rival_side)) = counts.values().rev().max_by_key(|c| c.0) else {
        return SideContrast::default();
    };
    let (mut shared, mut across, mut aside) = ((0, 0), (0, 0), (0, 0));
    for v in voters {
        let panel = &records.panels[v.panel];
        let predicted = rival
            .on_panel(panel, rival_side)
            .and_then(|own| frame.side_of(panel, own));
        let Some(predicted) = predicted else { continue };
        let cell = if predicted == side {
            &mut shared
        } else if predicted == side.opposite() {
            &mut across
        } else {
            &mut aside
        };
        cell.0 += 1;
        cell.1 += usize::from(v.vote == side);
    }
    let likelihood = |k: usize, n: usize| {
        if n == 0 {
            return 0.0;
        }
        bernoulli(k as f64, n as f64, (k as f64 / n as f64).max(0.5))
    };
    let own = likelihood(shared.1 + across.1 + aside.1, shared.0 + across.0 + aside.0);
    let other = likelihood(shared.1 + across.0 - across.1, shared.0 + across.0)
        + aside.0 as f64 * 0.5_f64.ln();
    SideContrast {
        log_ratio: own - other,
        informative: across.0 + aside.0,
        votes: across.1 + aside.1,
    }
}

/// The leading frame over a rival within panels alike, the rival's side free in
/// each group: the sum, and what the two most-hit lots leave.
pub(crate) fn within(records: &Records, lead: &Lead, rival: Frame) -> (f64, OtherLots) {
    let panels: Vec<usize> = lead.voters.iter().map(|v| v.panel).collect();
    let vote: BTreeMap<usize, Voter> = lead.voters.iter().map(|v| (v.panel, *v)).collect();
    let mut sum = 0.0;
    let mut lots: BTreeMap<&str, (usize, f64)> = BTreeMap::new();
    for group in alike(records, &panels) {
        let voters: Vec<Voter> = group.iter().map(|i| vote[i]).collect();
        let c = side_contrast(records, &voters, (lead.frame, lead.side), rival);
        sum += c.log_ratio;
        if let (true, Some(lot)) = (c.informative > 0, &records.panels[group[0]].lot) {
            let of_lot = lots.entry(lot).or_default();
            of_lot.0 += voters.iter().filter(|v| v.vote == lead.side).count();
            of_lot.1 += c.log_ratio;
        }
    }
    let mut by_votes: Vec<(usize, f64)> = lots.into_values().collect();
    by_votes.sort_by_key(|(votes, _)| std::cmp::Reverse(*votes));
    let rest = by_votes.iter().skip(2).map(|(_, ratio)| ratio).sum();
    let other_lots = (by_votes.len() > 2).then(|| (by_votes.len() - 2, rest));
    (sum, other_lots)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_side_turns_with_the_panel() {
        let panel = |lay| Panel {
            length_mm: 600.0,
            width_mm: 400.0,
            lay,
            ..Panel::default()
        };
        // A point near the panel's low x edge, and where the lay takes it.
        for (lay, machine) in [
            (Lay::Deg0, Side::LowX),
            (Lay::Deg90, Side::LowY),
            (Lay::Deg180, Side::HighX),
            (Lay::Deg270, Side::HighY),
        ] {
            let panel = panel(lay);
            let p = panel.to_machine(Point::new(1.0, 200.0));
            let rect = panel.machine_rect();
            let near = [
                (p.x - rect.x0, Side::LowX),
                (rect.x1 - p.x, Side::HighX),
                (p.y - rect.y0, Side::LowY),
                (rect.y1 - p.y, Side::HighY),
            ];
            let nearest = near.iter().min_by(|a, b| a.0.total_cmp(&b.0)).unwrap().1;
            assert_eq!(nearest, machine);
            assert_eq!(Frame::Machine.side_of(&panel, Side::LowX), Some(machine));
            assert_eq!(Frame::Machine.on_panel(&panel, machine), Some(Side::LowX));
        }
    }

    #[test]
    fn votes_that_keep_to_the_machine_beat_the_panel() {
        let panels: Vec<Panel> = (0..20)
            .map(|i| Panel {
                lay: if i % 2 == 0 { Lay::Deg0 } else { Lay::Deg180 },
                length_mm: 600.0,
                width_mm: 400.0,
                ..Panel::default()
            })
            .collect();
        let records = Records {
            panels,
            ..Records::default()
        };
        let voters = |vote: &dyn Fn(usize) -> Side| -> Vec<Voter> {
            (0..20)
                .map(|panel| Voter {
                    panel,
                    vote: vote(panel),
                })
                .collect()
        };
        let machine = voters(&|_| Side::LowX);
        let lead = (Frame::Machine, Side::LowX);
        let c = side_contrast(&records, &machine, lead, Frame::Panel);
        // Machine: certain, ln 1 = 0. Panel: half for, half against, 20 ln ½.
        assert!((c.log_ratio - 20.0 * 2.0_f64.ln()).abs() < 1e-9);
        assert_eq!((c.informative, c.votes), (10, 10));
        let panel = voters(&|i| if i % 2 == 0 { Side::LowX } else { Side::HighX });
        let c = side_contrast(&records, &panel, lead, Frame::Panel);
        assert!((c.log_ratio + 20.0 * 2.0_f64.ln()).abs() < 1e-9);
    }
}

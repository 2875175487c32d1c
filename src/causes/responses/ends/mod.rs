//! Sides and ends: which side of a panel carries more marks, and whether that
//! side is the machine's, the part's or the path's.

mod corners;
mod diagonal;
mod end_bands;
mod opposite;
mod sides;
mod votes;

use std::collections::BTreeMap;

use crate::causes::about::About;
use crate::causes::plant::Plant;
use crate::causes::streams::{Cell, cell_of};
use crate::causes::{Finding, Kind, LineAxis, Reason, Settings, StreamData};
use crate::records::Records;
use crate::site::DefectClass;
use end_bands::ends_stand_out;
use opposite::{KindMarks, both_ends, signs_change};
use sides::{SideStream, sides};

/// Points that a side's marks must be spread over, counted as the reciprocal of the
/// chance that two of them share one.
const LEAST_POINTS: f64 = 5.0;

/// Defects in the zones of what the scans found: by defect whether they are, or a
/// list of those that are.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Zones<Of = Vec<bool>> {
    /// In any.
    pub all: Of,
    /// In those of places that are sharp.
    pub spots: Of,
    /// In those of places and lines that are sharp.
    pub sharp: Of,
}

impl Zones {
    /// No zones, and so many defects.
    pub(crate) fn none(defects: usize) -> Self {
        let none = || vec![false; defects];
        Self {
            all: none(),
            spots: none(),
            sharp: none(),
        }
    }

    /// With the zones of a stream.
    pub(crate) fn add(&mut self, stream: &Zones<Vec<usize>>) {
        for (own, more) in [
            (&mut self.all, &stream.all),
            (&mut self.spots, &stream.spots),
            (&mut self.sharp, &stream.sharp),
        ] {
            more.iter().for_each(|&defect| own[defect] = true);
        }
    }
}

/// Whether a broad concentration or a line is what a side, a corner or both ends
/// tell already: a broad one of the same stream always, a line where half of its
/// marks are theirs.
pub(crate) fn covers(side: &Finding, finding: &Finding) -> bool {
    let own = &side.evidence.members;
    let of = &finding.evidence.members;
    let inside = of.iter().filter(|d| own.binary_search(d).is_ok()).count();
    let stream = finding.evidence.stream;
    let pooled = stream.is_some_and(|s| side.evidence.pooled.contains(&s));
    let half = 2 * inside > of.len();
    let broad = |r: &Reason| matches!(r, Reason::Broad { .. });
    (side.evidence.stream == stream || pooled)
        && match finding.kind {
            _ if finding.reasons.iter().any(broad) => half || side.kind == Kind::Side,
            Kind::Line => half,
            _ => false,
        }
        && finding.radius_mm.is_some()
}

/// Sides of every stream, and opposite sides of the panels.
pub(crate) fn ends(
    records: &Records,
    settings: &Settings,
    plant: &Plant,
    streams: &[StreamData],
    zones: &Zones,
) -> Vec<Finding> {
    let mut out = Vec::new();
    let mut sided: Vec<(Cell, LineAxis)> = Vec::new();
    for (index, data) in streams.iter().enumerate() {
        let others = plant.others(data);
        let stream = SideStream {
            records,
            panels: &data.panels,
            others: &others,
            marks: &plant.marks[data.name],
            taken: &zones.all,
            of_spots: &zones.spots,
            about: About::stream(records, data, index),
            streams: streams.len(),
            class: records.defect_names[data.name].class,
        };
        let mut found = sides(&stream, settings.alpha);
        found.retain(|side| is_spread(records, side));
        let cell = (data.machine.clone(), data.head.clone());
        for finding in &found {
            let axes: &[LineAxis] = match finding.reasons.first() {
                Some(Reason::SideVotes { side, .. }) => &[side.axis()],
                Some(Reason::OneEndOfAnEdge { .. } | Reason::OneCorner { .. }) => {
                    &[LineAxis::X, LineAxis::Y]
                }
                _ => &[],
            };
            sided.extend(axes.iter().map(|axis| (cell.clone(), *axis)));
        }
        out.extend(found);
    }
    diagonal::tilts(&mut out, records);
    let mut opposite = opposite_sides(records, settings, plant, zones, &sided);
    for (finding, kinds) in &mut opposite {
        finding.evidence.pooled = (0..streams.len())
            .filter(|&s| kinds.contains(&streams[s].name) && shares_panels(&streams[s], finding))
            .collect();
    }
    out.extend(opposite.into_iter().map(|(finding, _)| finding));
    out
}

/// Whether a side's marks lie about it: what was written down at the middle of a
/// few fields says which field, not which side.
fn is_spread(records: &Records, side: &Finding) -> bool {
    let mut at: BTreeMap<(i64, i64), f64> = BTreeMap::new();
    for place in (side.evidence.members.iter()).filter_map(|&d| records.defects[d].place) {
        *at.entry((place.x.round() as i64, place.y.round() as i64))
            .or_default() += 1.0;
    }
    let marks: f64 = at.values().sum();
    let squares: f64 = at.values().map(|n| n * n).sum();
    marks * marks >= LEAST_POINTS * squares
}

/// Whether a panel that shows the finding was sanded in the stream.
fn shares_panels(stream: &StreamData, finding: &Finding) -> bool {
    let panels = &finding.evidence.exposed;
    panels
        .iter()
        .any(|i| stream.panels.binary_search(i).is_ok())
}

/// Opposite sides, with the kinds of defect that they are made of, machines pooled; panels of a machine with a side of its own
/// are left out.
fn opposite_sides(
    records: &Records,
    settings: &Settings,
    plant: &Plant,
    zones: &Zones,
    sided: &[(Cell, LineAxis)],
) -> Vec<(Finding, Vec<usize>)> {
    let of_class = |class: DefectClass| -> Vec<KindMarks<'_>> {
        (0..records.defect_names.len())
            .filter(|&n| records.defect_names[n].class == Some(class))
            .map(|name| KindMarks {
                name,
                marks: &plant.marks[name],
            })
            .collect()
    };
    let (over, under) = (of_class(DefectClass::Over), of_class(DefectClass::Under));
    // A sided axis lies along either panel axis where panels were turned across.
    let panels = |axis: LineAxis| -> Vec<usize> {
        let free = |i: &usize| {
            let panel = &records.panels[*i];
            let cell = cell_of(panel);
            !sided
                .iter()
                .any(|(c, a)| *c == cell && (*a == axis) != panel.lay.swaps_axes())
        };
        let inspected = (0..records.panels.len()).filter(|&i| records.panels[i].inspected);
        inspected.filter(free).collect()
    };
    let axes = [LineAxis::X, LineAxis::Y].map(|axis| (axis, panels(axis)));
    let mut out = Vec::new();
    let pairs = over.len() * under.len();
    for o in &over {
        for u in &under {
            let level = (settings.alpha, 2 * pairs);
            let best = axes
                .iter()
                .filter_map(|(axis, panels)| {
                    signs_change(records, (*o, *u), &zones.all, panels, *axis, level)
                })
                .min_by(by_p);
            out.extend(best.map(|finding| (finding, vec![o.name, u.name])));
        }
    }
    let kinds: Vec<KindMarks<'_>> = over.iter().chain(&under).copied().collect();
    for kind in &kinds {
        // half of the level is theirs, and each asks along two axes
        let level = (settings.alpha, 8 * kinds.len());
        let best = axes
            .iter()
            .flat_map(|(axis, panels)| {
                [
                    both_ends(records, *kind, &zones.all, panels, *axis, level),
                    ends_stand_out(records, *kind, &zones.sharp, panels, *axis, level),
                ]
            })
            .flatten()
            .min_by(by_p);
        out.extend(best.map(|finding| (finding, vec![kind.name])));
    }
    out
}

fn by_p(a: &Finding, b: &Finding) -> std::cmp::Ordering {
    let p = |f: &Finding| f.p_adjusted.unwrap_or(1.0);
    p(a).total_cmp(&p(b))
}

//! Maps of where the marks are, built from records and findings.

use std::collections::BTreeMap;

use super::Context;
use crate::causes::{Cause, Finding, Frame};
use crate::charts::places::{Labels, Map};
use crate::charts::rings::{Ring, Shape};
use crate::charts::{ChartError, Description, Theme, places};
use crate::records::{Panel, Point, Rect};
use crate::report::Figure;
use crate::report::words;

/// Least radius of a ring, mm.
const LEAST_RADIUS_MM: f64 = 6.0;
/// Half width of a line's band, mm, where the finding has none.
const BAND_MM: f64 = 8.0;

/// One cell: machine and head.
pub(super) type Cell<'a> = (Option<&'a str>, Option<&'a str>);

/// The cell of a panel.
pub(super) fn cell_of(panel: &Panel) -> Cell<'_> {
    (panel.machine.as_deref(), panel.head.as_deref())
}

/// The outlines of the panels in `rects`, to whole millimetres, the most
/// frequent first.
fn outlines(rects: impl Iterator<Item = Rect>) -> Vec<Rect> {
    let mut counts: BTreeMap<[i64; 4], (usize, Rect)> = BTreeMap::new();
    for r in rects {
        let key = [r.x0, r.y0, r.x1, r.y1].map(|v| v.round() as i64);
        counts.entry(key).or_insert((0, r)).0 += 1;
    }
    let mut all: Vec<(usize, Rect)> = counts.into_values().collect();
    all.sort_by_key(|outline| std::cmp::Reverse(outline.0));
    all.into_iter().map(|(_, rect)| rect).collect()
}

/// A map of the panels of a cell, with the marks that `of` tells about: where they
/// lie, and the cause of the finding that they belong to.
fn map(
    context: &Context<'_>,
    cell: Cell<'_>,
    on_panel: bool,
    rings: Vec<Ring>,
    of: impl Fn(usize) -> Option<Option<Cause>>,
) -> Map {
    let records = context.findings.records;
    let in_cell = |p: &&Panel| p.inspected && cell_of(p) == cell;
    let lies = |p: &Panel| if on_panel { p.rect() } else { p.machine_rect() };
    let mut map = Map {
        outlines: outlines(records.panels.iter().filter(in_cell).map(lies)),
        rings,
        feed: (!on_panel).then_some(context.site.frames.feed_direction),
        ..Map::default()
    };
    for (index, defect) in records.defects.iter().enumerate() {
        let panel = records.panels.get(defect.panel).filter(in_cell);
        let (Some(panel), Some(place), Some(owner)) = (panel, defect.place, of(index)) else {
            continue;
        };
        let at = if on_panel {
            place
        } else {
            panel.to_machine(place)
        };
        match owner {
            Some(cause) => map.members.push((cause, at)),
            None => map.marks.push(at),
        }
    }
    map
}

/// All marks of a cell with the findings that have a place in the machine.
pub(super) fn cell_figure(
    context: &Context<'_>,
    cell: Cell<'_>,
    number: usize,
    theme: &Theme,
) -> Result<Figure, ChartError> {
    let all = context.findings.causes.findings.iter();
    let own = |f: &&Finding| (f.machine.as_deref(), f.head.as_deref()) == cell && in_machine(f);
    let here: Vec<&Finding> = all.filter(own).collect();
    let mut member_of: BTreeMap<usize, Cause> = BTreeMap::new();
    for finding in here.iter().rev() {
        member_of.extend(finding.evidence.members.iter().map(|&m| (m, finding.cause)));
    }
    let rings = here.iter().filter_map(|f| ring(f)).collect();
    let map = map(context, cell, false, rings, |mark| {
        Some(member_of.get(&mark).copied())
    });
    let name = words::finding::cell_name(cell.0, cell.1);
    let marks = map.marks.len() + map.members.len();
    let ringed: Vec<&Finding> = here.into_iter().filter(|f| is_ringed(f)).collect();
    let caption = words::places::caption(&name, marks, &ringed, context.numbers());
    let alt = words::places::described(&name, marks, &ringed, &context.speech());
    let svg = places::svg(&map, &labels(context, alt.clone(), &name), 300.0, theme)?;
    Ok(Figure {
        name: format!("where-{number}"),
        svg,
        caption,
        alt,
    })
}

/// A finding's own kind of mark on the panels as they lay in the machine.
pub(super) fn finding_figure(
    context: &Context<'_>,
    finding: &Finding,
    theme: &Theme,
) -> Result<Figure, ChartError> {
    let records = context.findings.records;
    let on_panel = matches!(finding.frame, Some(Frame::Panel));
    let cell = (finding.machine.as_deref(), finding.head.as_deref());
    let mut members = finding.evidence.members.clone();
    members.sort_unstable();
    let kind = (records.defect_names.iter()).position(|n| n.name == finding.defect);
    let map = map(
        context,
        cell,
        on_panel,
        ring(finding).into_iter().collect(),
        |mark| {
            let own = members.binary_search(&mark).is_ok();
            (Some(records.defects[mark].name) == kind).then(|| own.then_some(finding.cause))
        },
    );
    let marks = map.marks.len() + map.members.len();
    let name = words::finding::cell_name(cell.0, cell.1);
    let caption = words::places::finding_caption(finding, marks, context.numbers());
    let alt = words::places::described(&name, marks, &[finding], &context.speech());
    let labels = labels(context, alt.clone(), &finding.id);
    Ok(Figure {
        name: format!("place-{}", finding.id.to_lowercase()),
        svg: places::svg(&map, &labels, 205.0, theme)?,
        caption,
        alt,
    })
}

fn labels(context: &Context<'_>, text: String, of: &str) -> Labels {
    Labels {
        description: Description {
            title: words::places::title(of),
            text,
        },
        ..words::places::labels(context.site.frames.feed_direction)
    }
}

/// Whether the map of its cell shows a ring for the finding.
pub(super) fn is_ringed(finding: &Finding) -> bool {
    in_machine(finding) && ring(finding).is_some()
}

fn in_machine(finding: &Finding) -> bool {
    matches!(finding.frame, None | Some(Frame::Machine))
}

/// The ring of a finding; none where it has no place in the map's frame.
fn ring(finding: &Finding) -> Option<Ring> {
    if !matches!(finding.frame, None | Some(Frame::Machine | Frame::Panel)) {
        return None;
    }
    let shape = match (finding.line_axis, finding.x_mm, finding.y_mm) {
        (Some(along), x, y) => Shape::Line {
            along,
            at_mm: x.or(y)?,
            half_width_mm: finding.radius_mm.unwrap_or(BAND_MM),
        },
        (None, Some(x), Some(y)) => Shape::Spot {
            centre: Point { x, y },
            radius_mm: finding
                .radius_mm
                .unwrap_or(LEAST_RADIUS_MM)
                .max(LEAST_RADIUS_MM),
        },
        _ => return None,
    };
    Some(Ring {
        shape,
        cause: finding.cause,
        label: finding.id.clone(),
    })
}

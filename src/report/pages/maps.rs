//! Maps of where the marks are, built from records and findings.

use std::collections::BTreeMap;

use super::Context;
use crate::causes::{Finding, Frame};
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

/// All marks of a cell with the findings that have a place in the machine.
pub(super) fn cell_figure(
    context: &Context<'_>,
    cell: Cell<'_>,
    number: usize,
    theme: &Theme,
) -> Result<Figure, ChartError> {
    let records = context.findings.records;
    let inside = |panel: usize| {
        records
            .panels
            .get(panel)
            .filter(|p| p.inspected && cell_of(p) == cell)
    };
    let here: Vec<&Finding> = context
        .findings
        .causes
        .findings
        .iter()
        .filter(|f| (f.machine.as_deref(), f.head.as_deref()) == cell && in_machine(f))
        .collect();
    let mut member_of: BTreeMap<usize, usize> = BTreeMap::new();
    for (index, finding) in here.iter().enumerate().rev() {
        for &defect in &finding.evidence.members {
            member_of.insert(defect, index);
        }
    }
    let mut map = Map {
        outlines: outlines(
            records
                .panels
                .iter()
                .filter(|p| p.inspected && cell_of(p) == cell)
                .map(Panel::machine_rect),
        ),
        marks: Vec::new(),
        members: Vec::new(),
        rings: here.iter().filter_map(|f| ring(f)).collect(),
        feed: Some(context.site.frames.feed_direction),
    };
    for (index, defect) in records.defects.iter().enumerate() {
        let (Some(panel), Some(place)) = (inside(defect.panel), defect.place) else {
            continue;
        };
        let at = panel.to_machine(place);
        match member_of.get(&index) {
            Some(&finding) => map.members.push((here[finding].cause, at)),
            None => map.marks.push(at),
        }
    }
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
    let in_cell = |p: &Panel| p.inspected && cell_of(p) == cell;
    let at = |panel: &Panel, place: Point| {
        if on_panel {
            place
        } else {
            panel.to_machine(place)
        }
    };
    let mut members = finding.evidence.members.clone();
    members.sort_unstable();
    let mut map = Map {
        outlines: outlines(
            records
                .panels
                .iter()
                .filter(|p| in_cell(p))
                .map(|p| if on_panel { p.rect() } else { p.machine_rect() }),
        ),
        marks: Vec::new(),
        members: Vec::new(),
        rings: ring(finding).into_iter().collect(),
        feed: (!on_panel).then_some(context.site.frames.feed_direction),
    };
    for (index, defect) in records.defects.iter().enumerate() {
        let (Some(panel), Some(place)) = (records.panels.get(defect.panel), defect.place) else {
            continue;
        };
        let of_kind = records
            .defect_names
            .get(defect.name)
            .is_some_and(|n| n.name == finding.defect);
        if !of_kind || !in_cell(panel) {
            continue;
        }
        if members.binary_search(&index).is_ok() {
            map.members.push((finding.cause, at(panel, place)));
        } else {
            map.marks.push(at(panel, place));
        }
    }
    let marks = map.marks.len() + map.members.len();
    let name = words::finding::cell_name(cell.0, cell.1);
    let caption = words::places::finding_caption(finding, marks, context.numbers());
    let alt = words::places::described(&name, marks, &[finding], &context.speech());
    let svg = places::svg(
        &map,
        &labels(context, alt.clone(), &finding.id),
        205.0,
        theme,
    )?;
    Ok(Figure {
        name: format!("place-{}", finding.id.to_lowercase()),
        svg,
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

//! Uneven removal: a tilted head or warped panels.

use super::Context;
use crate::causes::{
    Cause, Contrast, Finding, PanelSlope, Reason, Surface, SurfaceCause, Term, TermName,
    UNEVEN_REMOVAL,
};
use crate::charts::{ChartError, MUTED, cause_colour, surface};
use crate::report::words::caution::{self, Touch};
use crate::report::words::film as film_words;
use crate::report::words::finding::cell_name;
use crate::report::words::surface::page as words;
use crate::report::words::surface::{surface_note, term_name};
use crate::report::{Block, Figure, Page, Start, Table};

/// Most machines and heads with charts of their own; all are in `findings.json`.
const SHOWN: usize = 6;
/// Most height of the map, pt.
const MAP_HEIGHT: f64 = 230.0;

/// The page, where the data carry it.
pub(super) fn page(context: &Context<'_>) -> Result<Option<Page>, ChartError> {
    let surfaces: Vec<(usize, &Surface)> = context
        .findings
        .causes
        .surface
        .iter()
        .enumerate()
        .filter(|(_, s)| s.panels > 0 || !s.notes.is_empty())
        .collect();
    if surfaces.is_empty() && context.findings.causes.film_left.is_empty() {
        return Ok(None);
    }
    let mut blocks = Vec::new();
    if let Some(figure) = shares(context, &surfaces)? {
        blocks.push(Block::Figure(figure));
    }
    let mut advised = false;
    let ranked = ranked(&surfaces);
    for &(index, surface) in ranked.iter().take(SHOWN) {
        let drawn = finding_with_page(context, surface);
        advised |= surface.cause == SurfaceCause::Machine && drawn.is_none();
        blocks.extend(one(context, index, surface, drawn)?);
    }
    let measured = ranked.iter().take(SHOWN).map(|s| s.1);
    let rows: Vec<_> = measured.flat_map(|s| terms(context, s)).collect();
    if !rows.is_empty() {
        let table = Table::new(words::TERMS_CAPTION, words::TERM_HEADS, rows);
        blocks.push(Block::Table(table));
    }
    blocks.extend(film(context));
    if advised {
        blocks.push(Block::Caution(caution::caution(&[Touch::Cell])));
    }
    Ok(Some(Page {
        anchor: "surface".to_owned(),
        title: words::TITLE.to_owned(),
        lead: words::lead(&context.findings.causes.surface),
        start: Start::Follows,
        blocks,
    }))
}

/// The pictures of the surface that a finding on removal stands on.
pub(super) fn finding_figures(
    context: &Context<'_>,
    finding: &Finding,
) -> Result<Vec<Figure>, ChartError> {
    let surfaces = &context.findings.causes.surface;
    let Some(surface) = surfaces.iter().find(|s| of_finding(s, finding)) else {
        return Ok(Vec::new());
    };
    let cell = cell_name(surface.machine.as_deref(), surface.head.as_deref());
    let verdict = words::verdict(surface, context.numbers());
    let name = finding.id.to_lowercase();
    let mut out = vec![map_figure(context, &name, surface, &cell, &verdict)?];
    if !surface.evidence.slopes.is_empty() {
        out.push(cloud_figure(context, &name, surface, &cell, &verdict)?);
    }
    Ok(out)
}

/// Whether a finding's page draws the surface.
fn of_finding(surface: &Surface, finding: &Finding) -> bool {
    let slope = |r: &Reason| matches!(r, Reason::SlopeLeansTheSameWay { .. });
    (finding.defect == UNEVEN_REMOVAL || finding.reasons.iter().any(slope))
        && (&surface.machine, &surface.head) == (&finding.machine, &finding.head)
        && has_slopes(surface)
}

fn has_slopes(surface: &Surface) -> bool {
    surface.slope_x.machine.is_some() || surface.slope_y.machine.is_some()
}

/// Machines named first, then parts, then undecided, then even.
fn ranked<'a>(surfaces: &[(usize, &'a Surface)]) -> Vec<(usize, &'a Surface)> {
    let rank = |s: &Surface| match s.cause {
        SurfaceCause::Machine => 0,
        SurfaceCause::Part => 1,
        SurfaceCause::Undecided => 2,
        SurfaceCause::None => 3,
    };
    let mut out = surfaces.to_vec();
    out.sort_by_key(|s| rank(s.1));
    out
}

/// The finding that stands on a surface and has a page of its own, where map,
/// slopes and advice are.
fn finding_with_page<'a>(context: &Context<'a>, surface: &Surface) -> Option<&'a Finding> {
    let drawn = |f: &&Finding| of_finding(surface, f) && context.finding_anchor(f) != "findings";
    context.findings.worst_first().into_iter().find(drawn)
}

fn one(
    context: &Context<'_>,
    index: usize,
    surface: &Surface,
    drawn: Option<&Finding>,
) -> Result<Vec<Block>, ChartError> {
    let numbers = context.numbers();
    let cell = cell_name(surface.machine.as_deref(), surface.head.as_deref());
    let verdict = words::verdict(surface, numbers);
    let said = drawn.map_or(verdict.clone(), |f| words::drawn_on(&f.id));
    let mut blocks = vec![
        Block::Heading(cell.clone()),
        Block::Paragraph(if surface.panels > 0 {
            format!("{said} {}", words::measured(surface, numbers))
        } else {
            said
        }),
    ];
    if drawn.is_none() && has_slopes(surface) {
        let name = (index + 1).to_string();
        let map = map_figure(context, &name, surface, &cell, &verdict)?;
        if surface.evidence.slopes.is_empty() {
            blocks.push(Block::Figure(map));
        } else {
            let cloud = cloud_figure(context, &name, surface, &cell, &verdict)?;
            blocks.push(Block::Columns([vec![map], vec![cloud]]));
        }
    }
    let notes: Vec<String> = surface
        .notes
        .iter()
        .map(|note| surface_note(note, numbers))
        .collect();
    if !notes.is_empty() {
        blocks.push(Block::List(notes));
    }
    Ok(blocks)
}

/// What film is left, where film and removal were measured at the same places.
fn film(context: &Context<'_>) -> Vec<Block> {
    let numbers = context.numbers();
    let left = &context.findings.causes.film_left;
    let Some(first) = left.first() else {
        return Vec::new();
    };
    let caption = film_words::film_caption(first.least_um, numbers);
    let rows = left.iter().map(|left| film_words::film_row(left, numbers));
    vec![
        Block::Heading(film_words::FILM_HEADING.to_owned()),
        Block::Table(Table::new(caption, film_words::FILM_HEADS, rows)),
    ]
}

fn shares(
    context: &Context<'_>,
    surfaces: &[(usize, &Surface)],
) -> Result<Option<Figure>, ChartError> {
    let bars: Vec<surface::shares::Bar> = ranked(surfaces)
        .iter()
        .filter_map(|(_, s)| {
            Some(surface::shares::Bar {
                label: cell_name(s.machine.as_deref(), s.head.as_deref()),
                machine: s.share_machine?,
                machine_cause: if s.cause == SurfaceCause::Machine {
                    Cause::Machine
                } else {
                    Cause::Undecided
                },
                part: s.share_part?,
                gauge: s.share_gauge?,
            })
        })
        .take(SHOWN)
        .collect();
    if bars.is_empty() {
        return Ok(None);
    }
    Ok(Some(Figure {
        name: "uneven-shares".to_owned(),
        svg: surface::shares::svg(&bars, &words::shares_labels(), context.theme)?,
        caption: words::SHARES_CAPTION.to_owned(),
        alt: words::SHARES_CAPTION.to_owned(),
    }))
}

fn map_figure(
    context: &Context<'_>,
    name: &str,
    surface: &Surface,
    cell: &str,
    alt: &str,
) -> Result<Figure, ChartError> {
    let bend = |term: &Option<Term>| term.as_ref().and_then(|t| t.machine).unwrap_or(0.0);
    let feed = context.site.frames.feed_direction;
    let map = surface::map::Map {
        extent_mm: surface.evidence.extent_mm,
        terms: [
            surface.slope_x.machine.unwrap_or(0.0),
            surface.slope_y.machine.unwrap_or(0.0),
            bend(&surface.crown_x),
            bend(&surface.crown_y),
            bend(&surface.twist),
        ],
        feed,
    };
    let labels = words::map_labels(cell, feed, alt);
    Ok(Figure {
        name: format!("uneven-map-{name}"),
        svg: surface::map::svg(&map, &labels, MAP_HEIGHT, &context.theme.half())?,
        caption: words::map_caption(cell, surface),
        alt: alt.to_owned(),
    })
}

fn cloud_figure(
    context: &Context<'_>,
    name: &str,
    surface: &Surface,
    cell: &str,
    alt: &str,
) -> Result<Figure, ChartError> {
    let slopes = &surface.evidence.slopes;
    let mut by_lay = [0usize; 4];
    let lay = |s: &PanelSlope| usize::from(s.lay.degrees() / 90);
    for slope in slopes {
        by_lay[lay(slope)] += 1;
    }
    // The first of the most frequent lays counts as not turned.
    let usual = (0..4).rev().max_by_key(|&k| by_lay[k]).unwrap_or(0);
    let pick = |turned: bool| -> Vec<(f64, f64)> {
        slopes
            .iter()
            .filter(|s| (lay(s) != usual) == turned)
            .map(|s| (2.0 * s.x, 2.0 * s.y))
            .collect()
    };
    let twice = |p: (f64, f64)| (2.0 * p.0, 2.0 * p.1);
    let told = !matches!(
        surface.contrast,
        Contrast::NeverTurned | Contrast::TooFewTurned
    );
    let cloud = surface::cloud::Cloud {
        panels: pick(false),
        turned: pick(true),
        mean: surface
            .slope_x
            .machine
            .zip(surface.slope_y.machine)
            .map(twice),
        ellipse: surface.evidence.region.map(|r| surface::cloud::Ellipse {
            centre: twice(r.centre),
            half_axes: twice(r.half_axes),
            angle: r.angle,
        }),
        colour: if surface.cause == SurfaceCause::Machine {
            cause_colour(Cause::Machine)
        } else {
            MUTED
        },
    };
    let labels = words::cloud_labels(cell, cloud.turned.len(), told, alt);
    Ok(Figure {
        name: format!("uneven-slopes-{name}"),
        svg: surface::cloud::svg(&cloud, &labels, &context.theme.half())?,
        caption: words::cloud_caption(cell, surface),
        alt: alt.to_owned(),
    })
}

/// The terms of a surface as rows; none where none were measured.
fn terms(context: &Context<'_>, surface: &Surface) -> Vec<Vec<String>> {
    if !has_slopes(surface) {
        return Vec::new();
    }
    let numbers = context.numbers();
    let cell = cell_name(surface.machine.as_deref(), surface.head.as_deref());
    let um = |value: f64| numbers.fixed(value, 2);
    let dash = || "–".to_owned();
    let row = |name: TermName, term: &Term, extent: f64| {
        let range = |ci: Option<crate::stats::Interval>| {
            ci.map_or_else(dash, |ci| {
                format!("{} to {}", um(extent * ci.low), um(extent * ci.high))
            })
        };
        vec![
            cell.clone(),
            term_name(name).to_owned(),
            term.machine.map_or_else(dash, |m| um(extent * m)),
            range(term.machine_ci),
            term.part_sd.map_or_else(dash, |sd| um(extent * sd)),
            range(term.part_sd_ci),
        ]
    };
    let slopes = [
        row(TermName::SlopeX, &surface.slope_x, 2.0),
        row(TermName::SlopeY, &surface.slope_y, 2.0),
    ];
    let bends = [
        (TermName::CrownX, &surface.crown_x),
        (TermName::CrownY, &surface.crown_y),
        (TermName::Twist, &surface.twist),
    ];
    let bends = bends
        .into_iter()
        .filter_map(|(name, term)| Some(row(name, term.as_ref()?, 1.0)));
    slopes.into_iter().chain(bends).collect()
}

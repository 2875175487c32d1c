//! Charts of what stands behind a finding, beside its place and its strip.

use super::Context;
use crate::causes::{BarPitch, Cause, Finding, LevelCount, Period};
use crate::charts::bars::{self, Labels};
use crate::charts::frames_side_by_side::{self, Cloud};
use crate::charts::{ChartError, Description, cause_colour};
use crate::records::{Point, Rect};
use crate::report::Figure;
use crate::report::words::bars as bar_words;
use crate::report::words::evidence as words;

/// More lots than this are not drawn: the bars would be hairlines.
const MOST_LOTS: usize = 60;

/// The charts of a finding, drawn with [`Theme::half`](crate::charts::Theme::half):
/// two stand side by side.
pub(super) fn figures(context: &Context<'_>, finding: &Finding) -> Result<Vec<Figure>, ChartError> {
    let numbers = context.numbers();
    let evidence = &finding.evidence;
    let mut out = Vec::new();
    if let Some(figure) = frames(context, finding)? {
        out.push(figure);
    }
    if (2..=MOST_LOTS).contains(&evidence.by_lot.len()) {
        let caption = words::lots(finding, numbers);
        out.push(bars(
            context,
            finding,
            &evidence.by_lot,
            ("lots", words::LOT, caption),
        )?);
    }
    // Whose lots answer has no use for the panels' order or the abrasive's age.
    let lots_answer = finding.cause == Cause::Part && !evidence.by_lot.is_empty();
    if let Some(Period::EveryKth {
        every,
        phase,
        folded,
    }) = &evidence.period
        && !lots_answer
    {
        let caption = words::folded(finding, *every, phase.is_none());
        out.push(bars(
            context,
            finding,
            folded,
            ("folded", words::FOLDED, caption),
        )?);
    }
    if let (Some(pitch), false) = (&finding.bars, evidence.folded_distances.is_empty()) {
        out.push(folded_distances(context, finding, pitch)?);
    }
    if !evidence.by_age.is_empty() && !lots_answer {
        let caption = words::ages(finding);
        out.push(bars(
            context,
            finding,
            &evidence.by_age,
            ("ages", words::AGE, caption),
        )?);
    }
    Ok(out)
}

fn bars(
    context: &Context<'_>,
    finding: &Finding,
    levels: &[LevelCount],
    (name, x, caption): (&str, &str, String),
) -> Result<Figure, ChartError> {
    let alt = words::bars_described(levels, &caption, context.numbers());
    let labels = Labels {
        description: Description {
            title: caption.clone(),
            text: alt.clone(),
        },
        x: x.to_owned(),
        y: words::PANELS.to_owned(),
    };
    let colour = cause_colour(finding.cause);
    Ok(Figure {
        name: format!("{name}-{}", finding.id.to_lowercase()),
        svg: bars::by_level(levels, colour, &labels, &context.theme.half())?,
        caption,
        alt,
    })
}

fn folded_distances(
    context: &Context<'_>,
    finding: &Finding,
    pitch: &BarPitch,
) -> Result<Figure, ChartError> {
    let caption = bar_words::folded(&finding.id, pitch, context.numbers());
    let parts = [-0.5, -0.25, 0.0, 0.25, 0.5];
    let parts = parts.map(|part| (part, context.numbers().fixed(part, 2)));
    let labels = Labels {
        description: Description {
            title: caption.clone(),
            text: caption.clone(),
        },
        x: bar_words::PART.to_owned(),
        y: bar_words::PAIRS.to_owned(),
    };
    let classes = &finding.evidence.folded_distances;
    let colour = cause_colour(finding.cause);
    Ok(Figure {
        name: format!("pitch-{}", finding.id.to_lowercase()),
        svg: bars::by_distance(classes, &parts, colour, &labels, &context.theme.half())?,
        alt: caption.clone(),
        caption,
    })
}

/// Where no panel covered a place.
const NOWHERE: Rect = Rect {
    x0: 0.0,
    y0: 0.0,
    x1: 1.0,
    y1: 1.0,
};

/// Only where the frames differ at all: some panel was turned, laid elsewhere
/// or of another size.
fn frames(context: &Context<'_>, finding: &Finding) -> Result<Option<Figure>, ChartError> {
    let records = context.findings.records;
    let evidence = &finding.evidence;
    let machine: Vec<Point> = evidence.hits.iter().map(|h| h.machine).collect();
    let on_panel: Vec<Point> = evidence.hits.iter().map(|h| h.on_panel).collect();
    let differ = machine
        .iter()
        .zip(&on_panel)
        .any(|(m, p)| (m.x - p.x).hypot(m.y - p.y) > 1.0);
    if !differ || machine.len() < 3 || evidence.frames.is_empty() {
        return Ok(None);
    }
    let panels = || {
        evidence
            .exposed
            .iter()
            .filter_map(|&i| records.panels.get(i))
    };
    let numbers = context.numbers();
    let scatter = match finding.line_axis {
        Some(_) => most_within_across,
        None => most_within,
    };
    let spread = (scatter(&machine), scatter(&on_panel));
    let cloud = |title: &str, rects: &mut dyn Iterator<Item = Rect>, hits, mm| Cloud {
        title: title.to_owned(),
        note: words::spread(mm, numbers),
        outline: rects.reduce(|a, b| a.with(&b)).unwrap_or(NOWHERE),
        hits,
    };
    let clouds = [
        cloud(
            words::IN_MACHINE,
            &mut panels().map(crate::records::Panel::machine_rect),
            machine,
            spread.0,
        ),
        cloud(
            words::ON_PANEL,
            &mut panels().map(crate::records::Panel::rect),
            on_panel,
            spread.1,
        ),
    ];
    let caption = words::frames(finding, spread, numbers);
    let description = Description {
        title: caption.clone(),
        text: caption.clone(),
    };
    let colour = cause_colour(finding.cause);
    Ok(Some(Figure {
        name: format!("frames-{}", finding.id.to_lowercase()),
        svg: frames_side_by_side::svg(&clouds, colour, &description, &context.theme.half())?,
        alt: caption.clone(),
        caption,
    }))
}

/// Distance from the middle (medians of both coordinates) within which nine tenths
/// of the points lie: with half of the panels turned a half would lie together in
/// either frame.
fn most_within(points: &[Point]) -> f64 {
    let x = quantile(points.iter().map(|p| p.x).collect(), 0.5);
    let y = quantile(points.iter().map(|p| p.y).collect(), 0.5);
    let distances = points.iter().map(|p| (p.x - x).hypot(p.y - y));
    quantile(distances.collect(), 0.9)
}

/// The same from a line along either coordinate through the middle, whichever they
/// lie nearer to.
fn most_within_across(points: &[Point]) -> f64 {
    let off = |of: fn(&Point) -> f64| {
        let middle = quantile(points.iter().map(of).collect(), 0.5);
        quantile(points.iter().map(|p| (of(p) - middle).abs()).collect(), 0.9)
    };
    off(|p| p.x).min(off(|p| p.y))
}

/// The value that a share of the values does not exceed; 0 for none.
fn quantile(mut values: Vec<f64>, share: f64) -> f64 {
    values.sort_by(f64::total_cmp);
    let at = (share * values.len() as f64) as usize;
    let last = values.len().saturating_sub(1);
    values.get(at.min(last)).copied().unwrap_or(0.0)
}

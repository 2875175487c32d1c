//! Rates from week to week: control charts, and the week against the weeks before.

use super::Context;
use super::change::comparison_blocks;
use crate::change::ControlChart;
use crate::charts::{ChartError, Description, control_chart};
use crate::report::words::{changes, trend as words};
use crate::report::{Block, Cell, Figure, Page, Start, Table};

/// Most charts of single kinds.
const KINDS: usize = 3;
/// Most points in a chart; earlier ones are left out.
const POINTS: usize = 90;

/// The page, where the data carry it.
///
/// # Errors
///
/// [`ChartError`] if a chart could not be drawn.
pub(super) fn page(context: &Context<'_>) -> Result<Option<Page>, ChartError> {
    let weekly = &context.findings.weekly;
    let numbers = context.numbers();
    let Some((all, kinds)) = weekly.charts.split_first() else {
        return Ok(None);
    };
    if all.points.len() < 2 {
        return Ok(None);
    }
    let mut blocks = vec![Block::Figure(figure(context, all, 0)?)];
    // kinds that signal, most defects first
    let mut order: Vec<&ControlChart> = kinds.iter().filter(|c| signals(c)).collect();
    order.sort_by_key(|c| std::cmp::Reverse(c.points.iter().map(|p| p.defects).sum::<usize>()));
    for (k, chart) in order.iter().take(KINDS).enumerate() {
        blocks.push(Block::Figure(figure(context, chart, k + 1)?));
    }
    blocks.push(Block::Paragraph(words::rules(all, numbers)));
    blocks.push(Block::Table(charts_table(context)));
    for comparison in &weekly.against_before.comparisons {
        // numbered after the changes of recipe
        blocks.extend(comparison_blocks(context, comparison, 100)?);
        blocks.push(Block::Paragraph(changes::tests(
            &weekly.against_before,
            numbers,
        )));
    }
    if weekly.week.is_some() && weekly.against_before.comparisons.is_empty() {
        blocks.push(Block::Paragraph(words::NOTHING_BEFORE.to_owned()));
    }
    Ok(Some(Page {
        anchor: "trend".to_owned(),
        title: words::TITLE.to_owned(),
        lead: words::lead(weekly, numbers),
        start: Start::WhereItFits,
        blocks,
    }))
}

fn signals(chart: &ControlChart) -> bool {
    chart.points.iter().any(|p| !p.signals.is_empty())
        || chart
            .small_shift
            .as_ref()
            .is_some_and(|s| s.first_signal.is_some())
}

fn figure(
    context: &Context<'_>,
    chart: &ControlChart,
    number: usize,
) -> Result<Figure, ChartError> {
    let numbers = context.numbers();
    let shown = latest(chart);
    let caption = words::caption(chart, numbers);
    let labels = control_chart::Labels {
        description: Description {
            title: words::chart_title(chart),
            text: caption.clone(),
        },
        rate: changes::rate_axis(chart.defect.as_deref()),
        small_shift: words::SMALL_SHIFT.to_owned(),
        centre: words::CENTRE.to_owned(),
        limits: words::LIMITS.to_owned(),
        changes: shown.marks.iter().map(|m| words::mark(&m.label)).collect(),
        week: context.findings.weekly.week.map(|w| w.to_string()),
    };
    Ok(Figure {
        name: if number == 0 {
            "trend".to_owned()
        } else {
            format!("trend-{number}")
        },
        svg: control_chart::svg(&shown, &labels, context.theme)?,
        alt: caption.clone(),
        caption,
    })
}

/// The chart with its latest points only.
fn latest(chart: &ControlChart) -> ControlChart {
    let skip = chart.points.len().saturating_sub(POINTS);
    let mut shown = chart.clone();
    shown.points.drain(..skip);
    shown.marks = chart
        .marks
        .iter()
        .filter(|m| m.point >= skip)
        .cloned()
        .collect();
    for mark in &mut shown.marks {
        mark.point -= skip;
    }
    if let Some(small) = &mut shown.small_shift {
        small.values.drain(..skip);
        small.limits.drain(..skip);
    }
    shown
}

fn charts_table(context: &Context<'_>) -> Table {
    let numbers = context.numbers();
    Table {
        caption: words::CHARTS_CAPTION.to_owned(),
        columns: words::charts_columns(),
        rows: context
            .findings
            .weekly
            .charts
            .iter()
            .map(|chart| {
                words::chart_row(chart, numbers)
                    .into_iter()
                    .map(Cell::from)
                    .collect()
            })
            .collect(),
    }
}

//! Rates from week to week: control charts, and the week against the weeks before.

use super::Context;
use super::change::comparison_blocks;
use crate::change::ControlChart;
use crate::charts::{ChartError, Description, control_chart};
use crate::report::words::{changes, trend as words};
use crate::report::{Block, Figure, Page, Start, Table};

/// Most charts drawn, the first at full width.
const CHARTS: usize = 3;
/// Most points in a chart of full and of half width; earlier ones are left out.
const POINTS: [usize; 2] = [90, 40];
/// Most rows of the table of charts, or those with a signal; all are in
/// `findings.json`.
const ROWS: usize = 8;

/// The page, where the data carry it.
pub(super) fn page(context: &Context<'_>) -> Result<Option<Page>, ChartError> {
    let weekly = &context.findings.weekly;
    let numbers = context.numbers();
    if weekly.charts.iter().all(|chart| chart.points.len() < 2) {
        return Ok(None);
    }
    // Those that signal; where none does, one with limits.
    let charts = &weekly.charts;
    let signals = charts.iter().filter(|c| c.first_signal().is_some());
    let mut shown: Vec<&ControlChart> = signals.take(CHARTS).collect();
    if shown.is_empty() {
        let usual = charts.iter().find(|c| c.centre.is_some());
        shown.extend(usual.or(charts.first()));
    }
    let mut figures = (shown.iter().enumerate()).map(|(k, chart)| figure(context, chart, k));
    let mut blocks = Vec::new();
    blocks.extend(figures.next().transpose()?.map(Block::Figure));
    let small = figures.collect::<Result<Vec<_>, _>>()?;
    if !small.is_empty() {
        blocks.push(Block::columns(small));
    }
    blocks.push(Block::Paragraph(words::rules(charts, numbers)));
    blocks.push(Block::Table(charts_table(context)));
    for comparison in &weekly.against_before.comparisons {
        // numbered after the changes of recipe
        blocks.extend(comparison_blocks(context, comparison, 100)?);
        let tests = changes::tests(&weekly.against_before, numbers);
        blocks.extend(tests.map(Block::Paragraph));
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

/// The chart at that place among those drawn.
fn figure(
    context: &Context<'_>,
    chart: &ControlChart,
    number: usize,
) -> Result<Figure, ChartError> {
    let numbers = context.numbers();
    let half = usize::from(number > 0);
    let shown = latest(chart, POINTS[half]);
    let narrow = context.theme.half();
    let theme = [context.theme, &narrow][half];
    let caption = words::caption(chart, numbers);
    let labels = control_chart::Labels {
        description: Description {
            title: words::chart_title(chart),
            text: caption.clone(),
        },
        rate: changes::rate_axis(&chart.defect),
        small_shift: words::SMALL_SHIFT.to_owned(),
        centre: words::CENTRE.to_owned(),
        limits: words::LIMITS.to_owned(),
        base: words::BASE.to_owned(),
        changes: shown.marks.iter().map(|m| words::mark(&m.known)).collect(),
        week: context.findings.weekly.week.map(|w| w.to_string()),
    };
    Ok(Figure {
        name: if number == 0 {
            "trend".to_owned()
        } else {
            format!("trend-{number}")
        },
        svg: control_chart::svg(&shown, &labels, theme)?,
        alt: caption.clone(),
        caption,
    })
}

/// The chart with its latest points only.
fn latest(chart: &ControlChart, most: usize) -> ControlChart {
    let skip = chart.points.len().saturating_sub(most);
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
    let first = chart.base.map_or(0, |base| base.0);
    shown.base =
        (chart.base).map(|(first, end)| (first.saturating_sub(skip), end.saturating_sub(skip)));
    if let Some(small) = &mut shown.small_shift {
        let gone = skip.saturating_sub(first);
        small.values.drain(..gone);
        small.limits.drain(..gone);
    }
    shown
}

fn charts_table(context: &Context<'_>) -> Table {
    let numbers = context.numbers();
    let charts = &context.findings.weekly.charts;
    let signals = charts.iter().filter(|c| c.first_signal().is_some()).count();
    let shown = charts.iter().take(signals.max(ROWS));
    let rows = shown.map(|chart| words::chart_row(chart, numbers));
    let caption = words::charts_caption(charts.len(), signals.max(ROWS), numbers);
    Table::new(caption, words::CHARTS_COLUMNS, rows)
}

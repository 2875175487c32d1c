//! Before against after a change.

use super::Context;
use crate::change::{Change, Comparison, Counts, LotCounts, Question, RemovalChange, Verdict};
use crate::charts::{ChartError, Description, before_after, ratios};
use crate::report::story::differs;
use crate::report::words::changes as words;
use crate::report::words::counting::count_panels;
use crate::report::{Block, Figure, Page, Start, Table};

/// Most changes shown; all are in `findings.json`.
const MOST: usize = 4;
/// Most kinds in one chart.
const KINDS: usize = 14;
/// Most lots in one chart.
const LOTS: usize = 12;

/// The page, where the data carry it.
pub(super) fn page(context: &Context<'_>) -> Result<Option<Page>, ChartError> {
    let changes = &context.findings.changes;
    if changes.comparisons.is_empty() {
        return Ok(None);
    }
    let numbers = context.numbers();
    let mut blocks = Vec::new();
    // the latest changes first: those are what one reads this page for
    for (k, comparison) in changes.comparisons.iter().rev().take(MOST).enumerate() {
        blocks.extend(comparison_blocks(context, comparison, k + 1)?);
    }
    let more = changes.comparisons.len().saturating_sub(MOST);
    if more > 0 {
        blocks.push(Block::Paragraph(words::further(more, numbers)));
    }
    blocks.extend(words::tests(changes, numbers).map(Block::Paragraph));
    Ok(Some(Page {
        anchor: "change".to_owned(),
        title: words::TITLE.to_owned(),
        lead: words::lead(changes, numbers),
        start: Start::WhereItFits,
        blocks,
    }))
}

/// Heading, summary, charts, tables and doubts of one comparison; `number`
/// tells its charts apart.
pub(super) fn comparison_blocks(
    context: &Context<'_>,
    comparison: &Comparison,
    number: usize,
) -> Result<Vec<Block>, ChartError> {
    let numbers = context.numbers();
    let mut blocks = vec![Block::Heading(words::heading(
        &comparison.question,
        numbers,
    ))];
    if comparison.changes.is_empty() {
        blocks.push(Block::Paragraph(words::summary(comparison, numbers)));
    } else {
        // the chart's caption is the summary
        blocks.push(Block::Figure(ratio_figure(context, comparison, number)?));
        blocks.push(Block::Table(kinds_table(context, comparison)));
        // a week is no change that lots could have been sanded both ways for
        let week = matches!(comparison.question, Question::Week { .. });
        if let Some(change) = worth_a_look(comparison).filter(|_| !week) {
            blocks.push(Block::Figure(lot_figure(context, change, number)?));
        }
    }
    if !comparison.removal.is_empty() {
        blocks.push(Block::Table(removal_table(context, comparison)));
    }
    blocks.push(Block::Paragraph(words::strata(comparison, numbers)));
    let notes = words::notes(comparison, numbers);
    if !notes.is_empty() {
        blocks.push(Block::List(notes));
    }
    Ok(blocks)
}

/// Kinds by what they say: shown differences first, then by their rate.
fn ordered(comparison: &Comparison) -> Vec<&Change> {
    let mut order: Vec<&Change> = comparison.changes.iter().collect();
    let rank = |c: &Change| match c.verdict {
        Verdict::Helped => 0,
        Verdict::Hurt | Verdict::Differs => 1,
        _ => 2,
    };
    order.sort_by_key(|c| {
        let defects = c.before.defects + c.after.defects;
        (rank(c), std::cmp::Reverse(defects))
    });
    order
}

fn ratio_figure(
    context: &Context<'_>,
    comparison: &Comparison,
    number: usize,
) -> Result<Figure, ChartError> {
    let numbers = context.numbers();
    let rows: Vec<ratios::Row> = ordered(comparison)
        .into_iter()
        .take(KINDS)
        .map(|change| ratios::Row {
            label: change.defect.clone(),
            ratio: change.ratio.filter(|r| *r > 0.0),
            limits: change.ratio_ci.map(|ci| (ci.low, ci.high)),
            shown: match change.verdict {
                Verdict::Helped | Verdict::Hurt | Verdict::Differs => ratios::Shown::Difference,
                Verdict::NoDifferenceShown | Verdict::TooFewPanels => ratios::Shown::None,
                Verdict::NotIdentifiable => ratios::Shown::Refused,
            },
            written: [
                words::ratio(change.ratio, numbers),
                words::verdict_of(change).to_owned(),
            ],
        })
        .collect();
    let labels = ratios::Labels {
        description: Description {
            title: words::heading(&comparison.question, numbers),
            text: words::ratios_alt(comparison, numbers),
        },
        axis: words::ratio_axis(&comparison.question, numbers),
        halves: words::halves(&comparison.question, numbers),
        head: words::RATIO_HEAD.to_owned(),
    };
    Ok(Figure {
        name: format!("change-{number}"),
        svg: ratios::svg(&rows, &labels, context.theme)?,
        caption: words::summary(comparison, numbers),
        alt: labels.description.text,
    })
}

/// The kind whose lots are drawn: the first that differs, if some of its lots were
/// sanded both ways.
fn worth_a_look(comparison: &Comparison) -> Option<&Change> {
    let met = |l: &&LotCounts| l.lot.is_some() && !one_sided(l);
    let drawn = |c: &&Change| differs(c) && c.by_lot.iter().filter(met).count() > 1;
    ordered(comparison).into_iter().find(drawn)
}

fn one_sided(lot: &LotCounts) -> bool {
    lot.before.panels == 0 || lot.after.panels == 0
}

fn lot_figure(context: &Context<'_>, change: &Change, number: usize) -> Result<Figure, ChartError> {
    let numbers = context.numbers();
    let rate = |c: &Counts| (c.panels > 0).then(|| c.defects as f64 / c.area_m2);
    // lots on both sides say most; the rest fill up in time order
    let mut lots: Vec<_> = change.by_lot.iter().filter(|l| l.lot.is_some()).collect();
    let all = lots.len();
    lots.sort_by_key(|l| one_sided(l));
    let both = lots.iter().filter(|l| !one_sided(l)).count();
    lots.truncate(LOTS);
    let rows: Vec<before_after::Row> = lots
        .iter()
        .map(|l| before_after::Row {
            label: l.lot.clone().unwrap_or_default(),
            before: rate(&l.before),
            after: rate(&l.after),
            written: format!(
                "{} | {}",
                numbers.count(l.before.panels),
                numbers.count(l.after.panels)
            ),
        })
        .collect();
    let caption = words::lots_caption(change, all, both, lots.len(), numbers);
    let labels = before_after::Labels {
        description: Description {
            title: words::lots_title(change, numbers),
            text: caption.clone(),
        },
        axis: words::rate_axis(&change.defect),
        sides: words::side_heads(&change.question, numbers),
        panels: words::PANELS_HEAD.to_owned(),
    };
    Ok(Figure {
        name: format!("change-{number}-lots"),
        svg: before_after::svg(&rows, &labels, context.theme)?,
        alt: caption.clone(),
        caption,
    })
}

fn kinds_table(context: &Context<'_>, comparison: &Comparison) -> Table {
    let numbers = context.numbers();
    let row = |change: &Change| {
        vec![
            change.defect.clone(),
            words::defects_on_panels(&change.before, numbers),
            words::defects_on_panels(&change.after, numbers),
            words::with_interval(change.ratio, change.ratio_ci, numbers),
            words::p_value(change.p_adjusted, numbers),
            words::verdict_in_full(change, numbers),
        ]
    };
    let caption = words::kinds_caption(&comparison.question, numbers);
    let rows = ordered(comparison).into_iter().map(row);
    let heads = words::kinds_columns(&comparison.question, numbers);
    Table::new(caption, &heads, rows)
}

fn removal_table(context: &Context<'_>, comparison: &Comparison) -> Table {
    let numbers = context.numbers();
    let row = |removal: &RemovalChange| {
        let (before, after) = words::removal_values(removal, numbers);
        let ratio = removal.estimate.and_then(|e| e.ratio);
        let ratio_ci = removal.estimate.map(|e| e.ratio_ci);
        let panels = removal.panels_before + removal.panels_after;
        vec![
            words::measure(removal.measure).to_owned(),
            before,
            after,
            words::with_interval(ratio, ratio_ci, numbers),
            words::p_value(removal.p_adjusted, numbers),
            format!(
                "{} ({})",
                words::spread_in_full(removal, numbers),
                count_panels(panels, numbers)
            ),
        ]
    };
    let rows = comparison.removal.iter().map(row);
    let heads = words::removal_columns(&comparison.question, numbers);
    Table::new(words::REMOVAL_CAPTION, &heads, rows)
}

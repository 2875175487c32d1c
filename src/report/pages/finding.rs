//! One page per finding, the worst first; the rest in a table.
//!
//! Findings without a chart come after those with one, so that they can share
//! a sheet.

use super::{Context, evidence, maps, strips, surface};
use crate::causes::{Cause, Finding, Frame, Kind, Reason};
use crate::charts::ChartError;
use crate::report::words::{self, advice, caution, finding as told};
use crate::report::{Block, Cell, Figure, Page, Start, Table};

/// Most findings with a page of their own.
pub(super) const PAGES: usize = 12;
/// Most rows of the table of the rest; all are in `findings.csv`.
const ROWS: usize = 150;

/// The pages.
pub(super) fn pages(context: &Context<'_>) -> Result<Vec<Page>, ChartError> {
    let worst = context.findings.worst_first();
    let groups = groups(&worst);
    let mut out = Vec::new();
    for (i, group) in groups.iter().take(PAGES).enumerate() {
        out.push(page(context, group, i + 1)?);
    }
    out.sort_by_key(|page| page.figures().next().is_none());
    if let Some(first) = out.first_mut() {
        first.start = Start::NewSheet;
    }
    let left: Vec<&Finding> = groups.iter().skip(PAGES).flatten().copied().collect();
    if !left.is_empty() {
        out.push(rest(context, &left));
    }
    Ok(out)
}

/// A part's place seen in several cells within this distance is one, mm.
const SAME_PLACE_MM: f64 = 15.0;

/// Findings by page, worst first: what came with the part, or a rate that follows
/// one thing, has one page for all cells in which it is seen.
pub(super) fn groups<'a>(findings: &[&'a Finding]) -> Vec<Vec<&'a Finding>> {
    let mut out: Vec<Vec<&Finding>> = Vec::new();
    for &finding in findings {
        let same = |group: &&mut Vec<&Finding>| {
            same_part(group[0], finding) || same_rate(group[0], finding)
        };
        match out.iter_mut().find(same) {
            Some(group) => group.push(finding),
            None => out.push(vec![finding]),
        }
    }
    out
}

fn same_rate(a: &Finding, b: &Finding) -> bool {
    let without_place = |f: &Finding| f.evidence.hits.is_empty() && f.evidence.surface.is_none();
    without_place(a)
        && without_place(b)
        && a.rival.is_some()
        && (a.cause, a.certainty, a.kind, &a.defect) == (b.cause, b.certainty, b.kind, &b.defect)
        && (&a.rival, &a.levels, &a.next_check) == (&b.rival, &b.levels, &b.next_check)
}

fn same_part(a: &Finding, b: &Finding) -> bool {
    let near = |a: Option<f64>, b: Option<f64>| match (a, b) {
        (Some(a), Some(b)) => (a - b).abs() <= SAME_PLACE_MM,
        (a, b) => a.is_none() && b.is_none(),
    };
    a.cause == Cause::Part
        && b.cause == Cause::Part
        && (a.kind, a.frame, &a.defect) == (b.kind, b.frame, &b.defect)
        && a.frame == Some(Frame::Panel)
        && near(a.x_mm, b.x_mm)
        && near(a.y_mm, b.y_mm)
}

fn page(context: &Context<'_>, group: &[&Finding], number: usize) -> Result<Page, ChartError> {
    let finding = group[0];
    let numbers = context.numbers();
    let speech = context.speech();
    let mut blocks = Vec::new();
    let mut evidence = evidence::figures(context, finding)?;
    evidence.extend(surface::finding_figures(context, finding)?);
    let lots_in_a_table = evidence.is_empty();
    let mapped = finding.kind != Kind::Wandering && !finding.evidence.members.is_empty();
    if mapped && evidence.is_empty() {
        blocks.push(Block::Figure(maps::finding_figure(
            context,
            finding,
            context.theme,
        )?));
    } else {
        let half = context.theme.half();
        let mut small = Vec::new();
        if mapped {
            small.push(maps::finding_figure(context, finding, &half)?);
        }
        small.extend(evidence);
        blocks.extend(side_by_side(small));
    }
    if !finding.evidence.hits.is_empty() {
        let name = format!("when-{}", finding.id.to_lowercase());
        blocks.push(Block::Figure(strips::figure(context, group, &name)?));
    }
    let reasons = words::reasons(&told_reasons(finding), numbers);
    if !reasons.is_empty() {
        blocks.push(Block::Heading(told::page::WHY.to_owned()));
        blocks.push(Block::List(reasons));
    }
    if lots_in_a_table && !finding.evidence.by_lot.is_empty() {
        blocks.push(Block::Table(by_lot(context, finding)));
    }
    let done: Vec<String> = (context.findings.actions.iter())
        .filter(|d| {
            let machine = finding.machine.as_deref();
            d.action.is_about(&finding.id, machine, &finding.defect)
        })
        .map(|d| words::actions::on_page(d, &context.site.defects.cost_unit, numbers))
        .collect();
    if !done.is_empty() {
        blocks.push(Block::Heading(words::actions::DONE.to_owned()));
        blocks.push(Block::List(done));
    }
    let settle = words::next_check(&finding.next_check, numbers);
    let step = advice::first_step(finding, settle, context.lever(), &speech);
    blocks.push(Block::Heading(told::page::NEXT.to_owned()));
    blocks.push(Block::Paragraph(format!(
        "{}. {}",
        step.action.trim_end_matches('.'),
        step.check
    )));
    if let Some(touch) = step.touch {
        blocks.push(Block::Caution(caution::caution(&[touch])));
    }
    let mut lead = vec![told::lead(finding, &speech)];
    lead.extend(group[1..].iter().map(|other| told::also(other, &speech)));
    let life = context.findings.lives.of.get(&finding.id);
    lead.extend(life.and_then(|life| words::life::sentence(life, numbers)));
    Ok(Page {
        anchor: format!("finding-{number}"),
        title: told::title(group),
        lead: lead.join(" "),
        start: Start::WhereItFits,
        blocks,
    })
}

/// What is told of a finding: whose lots answer has no use for what went along with
/// them.
fn told_reasons(finding: &Finding) -> Vec<Reason> {
    let lots = finding.cause == Cause::Part
        && (finding.reasons.iter()).any(|r| matches!(r, Reason::LotsGather { .. }));
    let along =
        |r: &Reason| matches!(r, Reason::FollowsAge { .. } | Reason::EveryKth { .. }) && lots;
    let reasons = finding.reasons.iter();
    reasons.filter(|r| !along(r)).cloned().collect()
}

/// Charts of half the width in two columns; a single one stands alone.
fn side_by_side(mut figures: Vec<Figure>) -> Option<Block> {
    match figures.len() {
        0 => None,
        1 => figures.pop().map(Block::Figure),
        _ => Some(Block::columns(figures)),
    }
}

/// Most lots listed on a page.
const LOTS: usize = 4;

fn by_lot(context: &Context<'_>, finding: &Finding) -> Table {
    let numbers = context.numbers();
    let mut lots: Vec<_> = finding.evidence.by_lot.iter().collect();
    let all = lots.len();
    lots.sort_by_key(|lot| std::cmp::Reverse(lot.hits));
    let rows = lots.into_iter().take(LOTS).map(|lot| {
        let share = lot.hits as f64 / lot.exposed.max(1) as f64;
        vec![
            lot.level.clone(),
            numbers.count(lot.hits),
            numbers.count(lot.exposed),
            numbers.percent(share, lot.exposed),
        ]
    });
    let caption = told::page::lots_caption(all, LOTS, numbers);
    Table::new(caption, told::page::LOTS_COLUMNS, rows)
}

fn rest(context: &Context<'_>, findings: &[&Finding]) -> Page {
    let numbers = context.numbers();
    let rows = findings.iter().take(ROWS).map(|f| {
        vec![
            Cell::from(f.id.as_str()),
            Cell::Cause(f.cause, words::causes::cause(f.cause).to_owned()),
            Cell::from(told::statement(f, &context.speech())),
            Cell::from(words::causes::sure(f.certainty)),
        ]
    });
    let table = Table::new(told::page::REST_CAPTION, told::page::REST_COLUMNS, rows);
    Page {
        anchor: "findings".to_owned(),
        title: told::page::REST_TITLE.to_owned(),
        lead: told::page::rest_lead(findings.len(), ROWS, numbers),
        start: Start::WhereItFits,
        blocks: vec![Block::Table(table)],
    }
}

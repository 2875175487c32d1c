//! A plan as a folder: the run sheet, the page for the shop floor, plan.json.

use std::collections::BTreeMap;

use serde_json::{Value, json};

use super::document::{Block, Document, Page, Start, Table};
use super::json::rounded_json;
use super::tables::cell;
use super::words::{document, trial as words};
use super::{ReportError, SCHEMA, pdf};
use crate::charts::NumberStyle;
use crate::site::Site;
use crate::trial::{Plan, Purpose, Value as Setting, sheet_csv, shown_settings, unit_of, written};

/// What a page of the plan lists at most of anything.
const LISTED: usize = 5;

/// All files of a plan by their names in the folder.
///
/// # Errors
///
/// [`ReportError`] if the PDF could not be made.
pub fn plan_files(plan: &Plan, site: &Site) -> Result<BTreeMap<String, Vec<u8>>, ReportError> {
    Ok(BTreeMap::from([
        ("sheet.csv".to_owned(), sheet(plan, site)),
        ("plan.json".to_owned(), plan_json(plan).into_bytes()),
        ("plan.pdf".to_owned(), pdf(&page(plan, site))?),
    ]))
}

/// The text of `plan.json`: schema, what is planned, what it can and can't tell.
#[must_use]
pub fn plan_json(plan: &Plan) -> String {
    let numbers = NumberStyle::default();
    let mut all = json!({"onus": env!("CARGO_PKG_VERSION"), "schema": SCHEMA});
    let own = serde_json::to_value(plan).unwrap_or(Value::Null);
    if let (Some(all), Value::Object(own)) = (all.as_object_mut(), own) {
        all.extend(own);
        all.insert("tells".into(), json!(words::tells(plan, &numbers)));
        all.insert("does_not_tell".into(), json!(words::does_not_tell(plan)));
        all.insert("how_to_run".into(), json!(words::how_to_run(plan)));
        all.insert("caution".into(), json!(words::caution(plan)));
    }
    rounded_json(&all)
}

/// The plan in a few lines, for a terminal.
#[must_use]
pub fn plan_summary(plan: &Plan, site: &Site) -> Vec<String> {
    let numbers = NumberStyle::from(&site.report);
    let mut lines = vec![words::lead(plan, &numbers)];
    lines.extend(shortened(words::tells(plan, &numbers)));
    lines.extend(shortened(words::does_not_tell(plan)));
    lines.extend(words::notes(plan, &numbers));
    lines.push(words::caution(plan));
    lines
}

fn shortened(mut lines: Vec<String>) -> Vec<String> {
    let more = lines.len().saturating_sub(LISTED);
    lines.truncate(LISTED);
    if more > 0 {
        lines.push(words::more(more));
    }
    lines
}

/// The sheet as text; what a spreadsheet would run is marked as text.
fn sheet(plan: &Plan, site: &Site) -> Vec<u8> {
    let (rows, mark) = sheet_csv(plan, site);
    let mut writer = csv::WriterBuilder::new()
        .delimiter(mark)
        .from_writer(Vec::new());
    for row in rows {
        let cells: Vec<String> = row.iter().map(|text| cell(text)).collect();
        // Writing to memory does not fail, and all rows are of one length.
        let _ = writer.write_record(&cells);
    }
    writer.into_inner().unwrap_or_default()
}

/// The page for the shop floor.
fn page(plan: &Plan, site: &Site) -> Document {
    let numbers = NumberStyle::from(&site.report);
    let mut blocks = vec![
        Block::Heading(words::HOW.to_owned()),
        Block::List(words::how_to_run(plan)),
    ];
    if let Purpose::Recipe(design) = &plan.purpose {
        let moved = design.factors.iter().map(|f| {
            let end = |value: Option<f64>| Some(written(site, &f.name, &Setting::Number(value?)));
            let settings = match end(f.low).zip(end(f.high)) {
                Some((low, high)) => words::range(&low, &high, unit_of(site, &f.name).as_deref()),
                None => f.levels.join(", "),
            };
            format!("{} {settings}", words::factor(&f.name))
        });
        blocks.push(Block::Paragraph(words::moved(&moved.collect::<Vec<_>>())));
    }
    blocks.push(Block::Heading(words::TELLS.to_owned()));
    blocks.push(Block::List(shortened(words::tells(plan, &numbers))));
    let mut not = shortened(words::does_not_tell(plan));
    not.extend(words::notes(plan, &numbers));
    if !not.is_empty() {
        blocks.push(Block::Heading(words::DOES_NOT_TELL.to_owned()));
        blocks.push(Block::List(not));
    }
    blocks.push(Block::Caution(words::caution(plan)));
    // The order goes after what to do, where the page has room for it.
    let used: f64 = blocks.iter().map(height_pt).sum();
    blocks.splice(2..2, order(plan, site, PAGE_PT - used).map(Block::Table));
    Document {
        title: words::title(plan),
        site: site.site.name.clone(),
        author: site.site.author.clone().or_else(|| site.site.name.clone()),
        period: document::footer(),
        date: None,
        paper: site.report.paper,
        pages: vec![Page {
            anchor: "plan".to_owned(),
            title: words::title(plan),
            lead: words::lead(plan, &numbers),
            blocks,
            start: Start::Follows,
        }],
    }
}

/// Height of the page below title and lead, pt; of a heading, a line, a table's row
/// and its head and caption; letters of a line. All a little more than the template
/// takes.
const PAGE_PT: f64 = 590.0;
const HEADING_PT: f64 = 36.0;
const LINE_PT: f64 = 14.5;
const ROW_PT: f64 = 19.0;
const HEAD_PT: f64 = 70.0;
const LETTERS: usize = 92;

/// About how high a block of text is.
fn height_pt(block: &Block) -> f64 {
    let text = |text: &String| LINE_PT * text.chars().count().div_ceil(LETTERS) as f64 + 4.0;
    match block {
        Block::Heading(_) => HEADING_PT,
        Block::List(items) => items.iter().map(text).sum(),
        Block::Paragraph(words) => text(words) + LINE_PT,
        Block::Caution(words) => text(words) + 2.0 * LINE_PT,
        _ => 0.0,
    }
}

/// The order as a table, runs of one setting after the other in one row; none
/// where the page has no room for it.
fn order(plan: &Plan, site: &Site, room_pt: f64) -> Option<Table> {
    let mut rows: Vec<(usize, usize, usize, Vec<String>)> = Vec::new();
    for run in &plan.runs {
        let settings = shown_settings(plan, run, site);
        match rows.last_mut() {
            Some(last) if last.2 == run.block && last.3 == settings => last.1 = run.run,
            _ => rows.push((run.run, run.run, run.block, settings)),
        }
    }
    if HEAD_PT + ROW_PT * rows.len() as f64 > room_pt {
        return None;
    }
    let first = words::ORDER_COLUMNS.map(|(head, figures)| (head.to_owned(), figures));
    let settings = plan.columns.iter().map(|c| {
        let unit = unit_of(site, c).map_or(String::new(), |u| format!(", {u}"));
        (format!("{}{unit}", words::factor(c)), true)
    });
    let heads: Vec<(String, bool)> = first.into_iter().chain(settings).collect();
    let rows = rows.into_iter().map(|(from, to, block, settings)| {
        let runs = if from == to {
            from.to_string()
        } else {
            format!("{from}–{to}")
        };
        [vec![runs, block.to_string()], settings].concat()
    });
    Some(Table::new(words::ORDER, &heads, rows))
}

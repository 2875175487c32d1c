//! The document as the one data file that the template reads.

use serde_json::{Value, json};

use crate::causes::Cause;
use crate::charts::{CAUSES, cause_colour, cause_mark, printable};
use crate::report::document::{Block, Care, Cell, Document, Figure, Page, Start, Table};
use crate::report::words;
use crate::site::Paper;

/// The data file's value; every string passes through [`printable`].
pub(super) fn value(document: &Document) -> Value {
    let causes: serde_json::Map<String, Value> = CAUSES
        .iter()
        .map(|&cause| {
            let colour = cause_colour(cause);
            let look = json!({
                "colour": format!("#{:02x}{:02x}{:02x}", colour.0, colour.1, colour.2),
                "mark": cause_mark(cause).to_string(),
            });
            (key(cause).to_owned(), look)
        })
        .collect();
    let anchors: Vec<&str> = document.pages.iter().map(|p| p.anchor.as_str()).collect();
    let mut figures = 0;
    let pages: Vec<Value> = document
        .pages
        .iter()
        .map(|page| {
            let blocks: Vec<Value> = page
                .blocks
                .iter()
                .map(|block| block_value(block, &anchors, &mut figures))
                .collect();
            json!({
                "anchor": page.anchor,
                "joins": page.start == Start::WhereItFits,
                "appendix": page.start == Start::Follows,
                "title": printable(&page.title),
                "lead": printable(&page.lead),
                "blocks": blocks,
            })
        })
        .collect();
    let eyebrow: Vec<String> = document
        .site
        .iter()
        .chain([&document.title, &document.period])
        .filter(|text| !text.is_empty())
        .map(|text| printable(text))
        .collect();
    json!({
        "title": printable(&document.title),
        "author": document.author.as_deref().map(printable),
        "period": printable(&document.period),
        "eyebrow": eyebrow,
        "footer": printable(&words::document::footer()),
        "date": document.date.map(|d| json!({
            "year": d.year(), "month": d.month(), "day": d.day(),
        })),
        "lang": words::LANGUAGE,
        "paper": match document.paper {
            Paper::A4 => "a4",
            Paper::Letter => "us-letter",
        },
        "words": {
            "page": words::document::PAGE,
            "of": words::document::OF,
            "figure": words::document::FIGURE,
            "table": words::document::TABLE,
            "caution": words::document::CAUTION,
            "caution-tag": words::document::CAUTION_TAG,
            "statement-heads": words::document::STATEMENT_HEADS,
        },
        "causes": causes,
        "pages": pages,
    })
}

/// The name of a figure's file, counted from 1 through the document.
pub(super) fn file_name(number: usize) -> String {
    format!("figure-{number}.svg")
}

/// All figures of the document in order.
pub(super) fn figures(document: &Document) -> impl Iterator<Item = &Figure> {
    document.pages.iter().flat_map(Page::figures)
}

/// A chart with its size, by which the template fits it to the page.
fn figure_value(figure: &Figure, figures: &mut usize) -> Value {
    *figures += 1;
    let size = figure.size_pt();
    json!({
        "kind": "figure",
        "file": file_name(*figures),
        "width": size.map(|s| s.0),
        "height": size.map(|s| s.1),
        "caption": printable(&figure.caption),
        "alt": printable(&figure.alt),
    })
}

fn block_value(block: &Block, anchors: &[&str], figures: &mut usize) -> Value {
    match block {
        Block::Heading(text) => json!({"kind": "heading", "text": printable(text)}),
        Block::Paragraph(text) => json!({"kind": "paragraph", "text": printable(text)}),
        Block::Caution(text) => json!({"kind": "caution", "text": printable(text)}),
        Block::List(items) => {
            let items: Vec<String> = items.iter().map(|item| printable(item)).collect();
            json!({"kind": "list", "items": items})
        }
        Block::Numbers(items) => {
            let items: Vec<Value> = items
                .iter()
                .map(|n| json!({"value": printable(&n.value), "label": printable(&n.label)}))
                .collect();
            json!({"kind": "numbers", "items": items})
        }
        Block::Statements(items) => {
            let items: Vec<Value> = items
                .iter()
                .map(|s| {
                    json!({
                        "cause": key(s.cause),
                        "cause_word": printable(&s.cause_word),
                        "text": printable(&s.text),
                        "sure": printable(&s.sure),
                        // A page that the data do not carry has no anchor.
                        "link": s.link.as_deref().filter(|link| anchors.contains(link)),
                    })
                })
                .collect();
            json!({"kind": "statements", "items": items})
        }
        Block::Steps(items) => {
            let items: Vec<Value> = items
                .iter()
                .map(|s| {
                    json!({
                        "action": printable(&s.action),
                        "check": printable(&s.check),
                        "care": s.care == Care::Caution,
                    })
                })
                .collect();
            json!({"kind": "steps", "items": items})
        }
        Block::Figure(figure) => figure_value(figure, figures),
        Block::Columns(columns) => {
            let both: Vec<Vec<Value>> = columns
                .iter()
                .map(|column| column.iter().map(|f| figure_value(f, figures)).collect())
                .collect();
            json!({"kind": "columns", "columns": both})
        }
        Block::Table(table) => table_value(table),
    }
}

/// Characters of a table's text that fit a line, about.
const LINE: usize = 105;

/// Columns of figures take the width they need and columns of text share the rest
/// by the length of what they hold; where the figures would leave the text no
/// room, all share the width and heads wrap.
fn table_value(table: &Table) -> Value {
    let longest_cell = |column: usize| {
        table
            .rows
            .iter()
            .filter_map(|row| row.get(column))
            .map(|cell| match cell {
                Cell::Text(text) | Cell::Cause(_, text) => text.chars().count(),
            })
            .fold(0, usize::max)
    };
    let longest = |column: usize| {
        let head = table.columns.get(column).map_or(0, |c| c.0.chars().count());
        head.max(longest_cell(column))
    };
    let figures = (0..table.columns.len()).filter(|&i| table.columns[i].1);
    let figures: usize = figures.map(|i| longest(i) + 2).sum();
    let text = (0..table.columns.len()).filter(|&i| !table.columns[i].1);
    let text: usize = text.map(|i| longest(i).min(24) + 2).sum();
    let crowded = figures + text > LINE;
    let columns: Vec<Value> = table
        .columns
        .iter()
        .enumerate()
        .map(|(i, (head, figures))| {
            let word = head
                .split(' ')
                .map(|w| w.chars().count())
                .fold(0, usize::max);
            let share = match (crowded, figures) {
                (false, true) => None,
                (false, false) => Some(longest(i).clamp(6, 48)),
                (true, true) => Some((longest_cell(i).max(word) + 2).clamp(6, 48)),
                (true, false) => Some(longest_cell(i).max(word).clamp(10, 30)),
            };
            json!({"head": printable(head), "figures": figures, "share": share})
        })
        .collect();
    let rows: Vec<Vec<Value>> = table
        .rows
        .iter()
        .map(|row| {
            (0..table.columns.len())
                .map(|i| match row.get(i) {
                    Some(Cell::Text(text)) => Value::String(printable(text)),
                    Some(Cell::Cause(cause, text)) => {
                        json!({"cause": key(*cause), "text": printable(text)})
                    }
                    None => Value::String(String::new()),
                })
                .collect()
        })
        .collect();
    json!({
        "kind": "table",
        "caption": printable(&table.caption),
        "columns": columns,
        "rows": rows,
    })
}

fn key(cause: Cause) -> &'static str {
    match cause {
        Cause::Machine => "machine",
        Cause::Part => "part",
        Cause::Recipe => "recipe",
        Cause::Inspection => "inspection",
        Cause::Undecided => "undecided",
    }
}

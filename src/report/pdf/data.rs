//! The document as the one data file that the template reads.

use serde_json::{Map, Value, json};

use crate::charts::{CAUSES, cause_colour, cause_mark, printable};
use crate::report::document::{Block, Cell, Document, Figure, Page, Table};
use crate::report::words::{self, document as frame};
use crate::site::Paper;

/// The data file's value: the document as it is, every string [`printable`], with
/// what the template cannot know of figures, tables and links.
pub(super) fn value(document: &Document) -> Value {
    let mut value = plain(document);
    let anchors: Vec<&str> = document.pages.iter().map(|p| p.anchor.as_str()).collect();
    let mut figures = 0;
    for (page, own) in document.pages.iter().zip(items(&mut value["pages"])) {
        for (block, own) in page.blocks.iter().zip(items(&mut own["blocks"])) {
            let of = &mut own["of"];
            match block {
                Block::Figure(figure) => describe(figure, of, &mut figures),
                Block::Columns(columns) => {
                    for (column, own) in columns.iter().zip(items(of)) {
                        for (figure, own) in column.iter().zip(items(own)) {
                            describe(figure, own, &mut figures);
                        }
                    }
                }
                Block::Table(table) => of["shares"] = json!(shares(table)),
                Block::Statements(statements) => {
                    for (statement, own) in statements.iter().zip(items(of)) {
                        // A page that the data do not carry has no anchor.
                        let link = statement.link.as_deref();
                        own["link"] = json!(link.filter(|link| anchors.contains(link)));
                    }
                }
                _ => {}
            }
        }
    }
    let causes = CAUSES.map(|cause| {
        let colour = cause_colour(cause);
        let look = json!({
            "colour": format!("#{:02x}{:02x}{:02x}", colour.0, colour.1, colour.2),
            "mark": cause_mark(cause).to_string(),
        });
        (plain(&cause).as_str().unwrap_or_default().to_owned(), look)
    });
    value["causes"] = Value::Object(Map::from_iter(causes));
    value["footer"] = json!(frame::footer());
    value["lang"] = json!(words::LANGUAGE);
    value["paper"] = json!(match document.paper {
        Paper::A4 => "a4",
        Paper::Letter => "us-letter",
    });
    value["words"] = json!({
        "page": frame::PAGE,
        "of": frame::OF,
        "figure": frame::FIGURE,
        "table": frame::TABLE,
        "caution": frame::CAUTION,
        "caution-tag": frame::CAUTION_TAG,
        "statement-heads": frame::STATEMENT_HEADS,
    });
    print(&mut value);
    value
}

fn plain(value: &impl serde::Serialize) -> Value {
    serde_json::to_value(value).unwrap_or(Value::Null)
}

fn items(value: &mut Value) -> impl Iterator<Item = &mut Value> {
    value.as_array_mut().into_iter().flatten()
}

fn print(value: &mut Value) {
    match value {
        Value::String(text) => *text = printable(text),
        Value::Array(items) => items.iter_mut().for_each(print),
        Value::Object(fields) => fields.values_mut().for_each(print),
        _ => {}
    }
}

/// The name of a figure's file, counted from 1 through the document.
pub(super) fn file_name(number: usize) -> String {
    format!("figure-{number}.svg")
}

/// All figures of the document in order.
pub(super) fn figures(document: &Document) -> impl Iterator<Item = &Figure> {
    document.pages.iter().flat_map(Page::figures)
}

/// A chart's file with its size, by which the template fits it to the page.
fn describe(figure: &Figure, own: &mut Value, figures: &mut usize) {
    *figures += 1;
    let size = figure.size_pt();
    own["file"] = json!(file_name(*figures));
    own["width"] = json!(size.map(|s| s.0));
    own["height"] = json!(size.map(|s| s.1));
}

/// Characters of a table's text that fit a line, about.
const LINE: usize = 105;

/// Columns of figures take the width they need (none) and columns of text share
/// the rest by the length of what they hold; where the figures would leave the text
/// no room, all share the width and heads wrap.
fn shares(table: &Table) -> Vec<Option<usize>> {
    let letters = |text: &str| text.chars().count();
    let cell = |column: usize| {
        let cells = table.rows.iter().filter_map(|row| row.get(column));
        let lengths = cells.map(|cell| match cell {
            Cell::Text(text) | Cell::Cause(_, text) => letters(text),
        });
        lengths.max().unwrap_or(0)
    };
    let columns = || table.columns.iter().enumerate();
    let needs = columns().map(|(i, (head, figures))| {
        let longest = letters(head).max(cell(i));
        2 + if *figures { longest } else { longest.min(24) }
    });
    let crowded = needs.sum::<usize>() > LINE;
    let share = |(i, (head, figures)): (usize, &(String, bool))| {
        let word = head.split(' ').map(letters).max().unwrap_or(0);
        match (crowded, figures) {
            (false, true) => None,
            (false, false) => Some(letters(head).max(cell(i)).clamp(6, 48)),
            (true, true) => Some((cell(i).max(word) + 2).clamp(6, 48)),
            (true, false) => Some(cell(i).max(word).clamp(10, 30)),
        }
    };
    columns().map(share).collect()
}

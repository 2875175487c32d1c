//! The report as one self-contained page for a mail or a browser: the same
//! blocks, no script, no file beside it.

use std::fmt::Write as _;

use super::document::{Block, Care, Cell, Document, Figure, Statement, Step, Table};
use super::words;
use crate::causes::Cause;
use crate::charts::{cause_colour, cause_mark, escape};

const STYLE: &str = include_str!("page.css");

/// The page.
#[must_use]
pub fn html(document: &Document) -> String {
    let mut out = String::new();
    let title = escape(&document.title);
    let _ = write!(
        out,
        "<!DOCTYPE html>\n<html lang=\"{}\">\n<head>\n<meta charset=\"utf-8\">\n\
         <meta http-equiv=\"Content-Security-Policy\" content=\"default-src 'none'; style-src 'unsafe-inline'; img-src data:\">\n\
         <meta name=\"viewport\" content=\"width=device-width, initial-scale=1\">\n\
         <title>{title}</title>\n<style>\n{STYLE}</style>\n</head>\n<body>\n<main>\n",
        words::LANGUAGE,
    );
    let line: Vec<String> = document
        .site
        .iter()
        .chain([&document.title, &document.period])
        .filter(|text| !text.is_empty())
        .map(|text| escape(text))
        .collect();
    let _ = writeln!(out, "<p class=\"eyebrow\">{}</p>", line.join(" · "));
    let mut count = Count::default();
    for (i, page) in document.pages.iter().enumerate() {
        let level = if i == 0 { 1 } else { 2 };
        let _ = writeln!(
            out,
            "<section id=\"{}\">\n<h{level}>{}</h{level}>",
            escape(&page.anchor),
            escape(&page.title)
        );
        if !page.lead.is_empty() {
            let _ = writeln!(out, "<p class=\"lead\">{}</p>", escape(&page.lead));
        }
        for block in &page.blocks {
            write_block(&mut out, block, level + 1, &mut count);
        }
        out += "</section>\n";
    }
    let _ = write!(
        out,
        "</main>\n<footer>{}</footer>\n</body>\n</html>\n",
        escape(&words::document::footer())
    );
    out
}

/// Figures and tables so far.
#[derive(Default)]
struct Count {
    figures: usize,
    tables: usize,
}

fn write_block(out: &mut String, block: &Block, level: usize, count: &mut Count) {
    let _ = match block {
        Block::Heading(text) => writeln!(out, "<h{level}>{}</h{level}>", escape(text)),
        Block::Paragraph(text) => writeln!(out, "<p>{}</p>", escape(text)),
        Block::List(items) => {
            let items: String = items
                .iter()
                .map(|item| format!("<li>{}</li>", escape(item)))
                .collect();
            writeln!(out, "<ul>{items}</ul>")
        }
        Block::Numbers(items) => {
            let items: String = items
                .iter()
                .map(|n| {
                    format!(
                        "<div><dd>{}</dd><dt>{}</dt></div>",
                        escape(&n.value),
                        escape(&n.label)
                    )
                })
                .collect();
            writeln!(out, "<dl class=\"numbers\">{items}</dl>")
        }
        Block::Statements(items) => writeln!(out, "{}", statements(items)),
        Block::Steps(items) => writeln!(out, "{}", steps(items)),
        Block::Caution(text) => writeln!(
            out,
            "<p class=\"caution\"><strong>{}</strong> {}</p>",
            words::document::CAUTION,
            escape(text)
        ),
        Block::Figure(figure) => {
            count.figures += 1;
            writeln!(out, "{}", picture(figure, count.figures))
        }
        Block::Columns(columns) => {
            let both: String = columns
                .iter()
                .map(|column| {
                    let figures: String = column
                        .iter()
                        .map(|figure| {
                            count.figures += 1;
                            picture(figure, count.figures)
                        })
                        .collect();
                    format!("<div>{figures}</div>")
                })
                .collect();
            writeln!(out, "<div class=\"pair\">{both}</div>")
        }
        Block::Table(table) => {
            count.tables += 1;
            writeln!(out, "{}", listing(table, count.tables))
        }
    };
}

fn who(cause: Cause, word: &str) -> String {
    let colour = cause_colour(cause);
    format!(
        "<span class=\"cause\"><span aria-hidden=\"true\" style=\"color:#{:02x}{:02x}{:02x}\">{}</span> {}</span>",
        colour.0,
        colour.1,
        colour.2,
        cause_mark(cause),
        escape(word)
    )
}

fn statements(items: &[Statement]) -> String {
    let heads: String = words::document::STATEMENT_HEADS
        .iter()
        .map(|head| format!("<th scope=\"col\">{head}</th>"))
        .collect();
    let rows: String = items
        .iter()
        .map(|item| {
            let text = escape(&item.text);
            let text = match &item.link {
                Some(anchor) => format!("<a href=\"#{}\">{text}</a>", escape(anchor)),
                None => text,
            };
            format!(
                "<tr><td>{}<br><span class=\"check\">{}</span></td><td>{text}</td></tr>\n",
                // A line that only counts further findings has no cause.
                if item.cause_word.is_empty() {
                    String::new()
                } else {
                    who(item.cause, &item.cause_word)
                },
                escape(&item.sure)
            )
        })
        .collect();
    format!(
        "<table class=\"statements\"><thead><tr>{heads}</tr></thead><tbody>\n{rows}</tbody></table>"
    )
}

fn steps(items: &[Step]) -> String {
    let items: String = items
        .iter()
        .map(|item| {
            let tag = match item.care {
                Care::Caution => format!(
                    " <span class=\"tag\">{}</span>",
                    words::document::CAUTION_TAG
                ),
                Care::None => String::new(),
            };
            let check = if item.check.is_empty() {
                String::new()
            } else {
                format!("<br><span class=\"check\">{}</span>", escape(&item.check))
            };
            format!(
                "<li><strong>{}</strong>{tag}{check}</li>",
                escape(&item.action)
            )
        })
        .collect();
    format!("<ol>{items}</ol>")
}

fn picture(figure: &Figure, number: usize) -> String {
    // As an image, so that nothing in a chart can reach the page.
    format!(
        "<figure><img alt=\"{}\" src=\"data:image/svg+xml,{}\">\n<figcaption><strong>{} {number}.</strong> {}</figcaption></figure>",
        escape(&figure.alt),
        percent_encoded(&figure.svg),
        words::document::FIGURE,
        escape(&figure.caption)
    )
}

fn listing(table: &Table, number: usize) -> String {
    let class = |column: usize| match table.columns.get(column) {
        Some((_, true)) => " class=\"figures\"",
        _ => "",
    };
    let heads: String = table
        .columns
        .iter()
        .enumerate()
        .map(|(i, (head, _))| format!("<th scope=\"col\"{}>{}</th>", class(i), escape(head)))
        .collect();
    let rows: String = table
        .rows
        .iter()
        .map(|row| {
            let cells: String = row
                .iter()
                .enumerate()
                .map(|(i, cell)| {
                    let content = match cell {
                        Cell::Text(text) => escape(text),
                        Cell::Cause(cause, text) => who(*cause, text),
                    };
                    format!("<td{}>{content}</td>", class(i))
                })
                .collect();
            format!("<tr>{cells}</tr>\n")
        })
        .collect();
    format!(
        "<table><caption><strong>{} {number}.</strong> {}</caption><thead><tr>{heads}</tr></thead><tbody>\n{rows}</tbody></table>",
        words::document::TABLE,
        escape(&table.caption)
    )
}

/// Text as it may stand in a data URL inside an attribute.
fn percent_encoded(text: &str) -> String {
    let mut out = String::with_capacity(text.len() * 5 / 4);
    for byte in text.bytes() {
        match byte {
            b'A'..=b'Z'
            | b'a'..=b'z'
            | b'0'..=b'9'
            | b' '
            | b'-'
            | b'.'
            | b'_'
            | b'~'
            | b'/'
            | b'='
            | b':'
            | b';'
            | b','
            | b'('
            | b')' => out.push(char::from(byte)),
            byte => {
                let _ = write!(out, "%{byte:02X}");
            }
        }
    }
    out
}

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
        for one in &page.blocks {
            let _ = writeln!(out, "{}", block(one, level + 1, &mut count));
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

/// The HTML of several things, one after the other.
fn all<T>(items: impl IntoIterator<Item = T>, html: impl FnMut(T) -> String) -> String {
    items.into_iter().map(html).collect()
}

fn block(block: &Block, level: usize, count: &mut Count) -> String {
    match block {
        Block::Heading(text) => format!("<h{level}>{}</h{level}>", escape(text)),
        Block::Paragraph(text) => format!("<p>{}</p>", escape(text)),
        Block::List(items) => {
            let items = all(items, |item| format!("<li>{}</li>", escape(item)));
            format!("<ul>{items}</ul>")
        }
        Block::Numbers(items) => {
            let items = all(items, |n| {
                let (value, label) = (escape(&n.value), escape(&n.label));
                format!("<div><dd>{value}</dd><dt>{label}</dt></div>")
            });
            format!("<dl class=\"numbers\">{items}</dl>")
        }
        Block::Statements(items) => statements(items),
        Block::Steps(items) => format!("<ol>{}</ol>", all(items, step)),
        Block::Caution(text) => format!(
            "<p class=\"caution\"><strong>{}</strong> {}</p>",
            words::document::CAUTION,
            escape(text)
        ),
        Block::Figure(figure) => picture(figure, count),
        Block::Columns(columns) => {
            let both = all(columns, |column| {
                let figures = all(column, |figure| picture(figure, count));
                format!("<div>{figures}</div>")
            });
            format!("<div class=\"pair\">{both}</div>")
        }
        Block::Table(table) => listing(table, count),
    }
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
    let heads = all(words::document::STATEMENT_HEADS, |head| {
        format!("<th scope=\"col\">{head}</th>")
    });
    let rows = all(items, |item| {
        let text = escape(&item.text);
        let text = match &item.link {
            Some(anchor) => format!("<a href=\"#{}\">{text}</a>", escape(anchor)),
            None => text,
        };
        // A line that only counts further findings has no cause.
        let maker = match item.cause_word.as_str() {
            "" => String::new(),
            word => who(item.cause, word),
        };
        let sure = escape(&item.sure);
        format!("<tr><td>{maker}<br><span class=\"check\">{sure}</span></td><td>{text}</td></tr>\n")
    });
    format!(
        "<table class=\"statements\"><thead><tr>{heads}</tr></thead><tbody>\n{rows}</tbody></table>"
    )
}

fn step(step: &Step) -> String {
    let tag = match step.care {
        Care::Caution => format!(
            " <span class=\"tag\">{}</span>",
            words::document::CAUTION_TAG
        ),
        Care::None => String::new(),
    };
    let check = match escape(&step.check) {
        check if check.is_empty() => check,
        check => format!("<br><span class=\"check\">{check}</span>"),
    };
    let action = escape(&step.action);
    format!("<li><strong>{action}</strong>{tag}{check}</li>")
}

/// Charts wider than this keep their size on a phone and are pushed sideways, pt.
const NARROW_PT: f64 = 300.0;

fn picture(figure: &Figure, count: &mut Count) -> String {
    count.figures += 1;
    let wide = figure.size_pt().is_some_and(|size| size.0 > NARROW_PT);
    let class = if wide { " class=\"wide\"" } else { "" };
    // As an image, so that nothing in a chart can reach the page.
    format!(
        "<figure{class}><img alt=\"{}\" src=\"data:image/svg+xml,{}\">\n<figcaption><strong>{} {}.</strong> {}</figcaption></figure>",
        escape(&figure.alt),
        percent_encoded(&figure.svg),
        words::document::FIGURE,
        count.figures,
        escape(&figure.caption)
    )
}

fn listing(table: &Table, count: &mut Count) -> String {
    count.tables += 1;
    let class = |column: usize| match table.columns.get(column) {
        Some((_, true)) => " class=\"figures\"",
        _ => "",
    };
    let heads = all(table.columns.iter().enumerate(), |(i, (head, _))| {
        format!("<th scope=\"col\"{}>{}</th>", class(i), escape(head))
    });
    let rows = all(&table.rows, |row| {
        let cells = all(row.iter().enumerate(), |(i, cell)| {
            let content = match cell {
                Cell::Text(text) => escape(text),
                Cell::Cause(cause, text) => who(*cause, text),
            };
            format!("<td{}>{content}</td>", class(i))
        });
        format!("<tr>{cells}</tr>\n")
    });
    format!(
        "<table><caption><strong>{} {}.</strong> {}</caption><thead><tr>{heads}</tr></thead><tbody>\n{rows}</tbody></table>",
        words::document::TABLE,
        count.tables,
        escape(&table.caption)
    )
}

/// Text as it may stand in a data URL inside an attribute.
fn percent_encoded(text: &str) -> String {
    let mut out = String::with_capacity(text.len() * 5 / 4);
    for byte in text.bytes() {
        match byte {
            byte if byte.is_ascii_alphanumeric() || b" -._~/=:;,()".contains(&byte) => {
                out.push(char::from(byte));
            }
            byte => {
                let _ = write!(out, "%{byte:02X}");
            }
        }
    }
    out
}

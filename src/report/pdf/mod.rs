//! The report as a tagged, archivable PDF.
//!
//! Typst sets the pages from one generic template in a closed world in memory.
//! The result follows PDF/UA-1 and PDF/A-2a and is the same, byte for byte,
//! for the same document.

mod data;
mod world;

use std::collections::BTreeMap;

use typst::foundations::{Bytes, Smart};
use typst_layout::PagedDocument;
use typst_pdf::{PdfOptions, PdfStandard, PdfStandards};

use super::Document;

/// The PDF could not be made; the text says what the typesetter said.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error("the report could not be typeset: {0}")]
pub struct PdfError(String);

/// Sets the document and returns the bytes of the PDF.
///
/// # Errors
///
/// [`PdfError`] if the typesetter refuses the document.
pub fn pdf(document: &Document) -> Result<Vec<u8>, PdfError> {
    let mut files = BTreeMap::new();
    files.insert(
        "data.json".to_owned(),
        Bytes::from_string(data::value(document).to_string()),
    );
    for (i, figure) in data::figures(document).enumerate() {
        files.insert(
            data::file_name(i + 1),
            Bytes::from_string(figure.svg.clone()),
        );
    }
    let world = world::Closed::new(files).map_err(PdfError)?;
    let result = typst::compile::<PagedDocument>(&world);
    // A layout that never settles only warns, and its page numbers may be wrong:
    // no test may pass with that.
    if cfg!(debug_assertions) && !result.warnings.is_empty() {
        return Err(told(result.warnings.iter().map(|w| w.message.to_string())));
    }
    let paged =
        (result.output).map_err(|errors| told(errors.iter().map(|e| e.message.to_string())))?;

    // An archive copy must carry its date; records without any time have none.
    let standards: &[PdfStandard] = match document.date {
        Some(_) => &[PdfStandard::A_2a, PdfStandard::Ua_1],
        None => &[PdfStandard::Ua_1],
    };
    let options = PdfOptions {
        ident: Smart::Custom(format!("{} {}", document.title, document.period)),
        creator: Smart::Custom(Some(format!("onus {}", env!("CARGO_PKG_VERSION")))),
        standards: PdfStandards::new(standards)
            .map_err(|error| PdfError(error.message().to_string()))?,
        ..PdfOptions::default()
    };
    typst_pdf::pdf(&paged, &options)
        .map_err(|errors| told(errors.iter().map(|e| e.message.to_string())))
}

fn told(messages: impl Iterator<Item = String>) -> PdfError {
    PdfError(messages.collect::<Vec<_>>().join("; "))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::causes::Cause;
    use crate::report::*;
    use crate::site::Paper;

    /// A document with every kind of block and hostile text in each.
    fn sample(paper: Paper) -> Document {
        let nasty = "#import \"x\" $x$ <script> *b* `r` @ref =cmd|' \\u{41} [a](b) // c ~--- 部";
        Document {
            title: "Panels of week 47".into(),
            site: Some(nasty.into()),
            author: Some(nasty.into()),
            period: "2026-11-16 to 2026-11-22".into(),
            date: Some(jiff::civil::date(2026, 11, 22)),
            paper,
            pages: vec![
                Page {
                    anchor: "front".into(),
                    title: nasty.into(),
                    lead: "Cell A marks one panel in three at one place; the rest comes with the parts.".into(),
                    start: Start::NewSheet,
                    blocks: vec![
                        Block::Numbers(vec![
                            KeyNumber { value: "9,340".into(), label: "panels inspected".into() },
                            KeyNumber { value: "3.1 %".into(), label: "with at least one defect".into() },
                        ]),
                        Block::Heading("What we found".into()),
                        Block::Statements(vec![Statement {
                            cause: Cause::Machine,
                            cause_word: "machine".into(),
                            text: nasty.into(),
                            sure: "sure".into(),
                            link: Some("data".into()),
                        }]),
                        Block::Heading("What to do first".into()),
                        Block::Steps(vec![Step {
                            action: "Look at the pad".into(),
                            check: "Then inspect 20 panels".into(),
                            care: Care::Caution,
                        }]),
                        Block::Caution("Stop, isolate, lock out.".into()),
                    ],
                },
                Page {
                    anchor: "data".into(),
                    title: "The data".into(),
                    lead: String::new(),
                    start: Start::NewSheet,
                    blocks: vec![
                        Block::List(vec!["one".into(), "X".repeat(300)]),
                        Block::Table(Table {
                            caption: "Rows".into(),
                            columns: vec![("Part".into(), false), ("Panels".into(), true)],
                            rows: (0..120)
                                .map(|i| vec![Cell::from(format!("{nasty} {i}")), Cell::from(i.to_string())])
                                .collect(),
                        }),
                    ],
                },
            ],
        }
    }

    #[test]
    fn a_document_of_hostile_text_is_set_the_same_twice() {
        let first = pdf(&sample(Paper::A4)).unwrap();

        let second = pdf(&sample(Paper::A4)).unwrap();
        assert!(pdf(&sample(Paper::Letter)).unwrap() != first);
        assert!(first == second);
    }
}

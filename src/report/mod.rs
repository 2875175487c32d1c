//! Findings, words, the document and the folder that appears whole or not at all.

mod asked;
mod build;
mod document;
pub mod findings;
pub mod folder;
mod front;
mod html;
mod json;
pub mod pages;
mod pdf;
mod png;
pub mod ranking;
pub mod story;
mod tables;
mod trial;
pub mod words;

pub use asked::{Asked, Stage, find_asked};
pub use build::{
    Length, ReportError, Sheets, comparison_files, document, files, period_name, summary,
};
pub use document::{
    Block, Care, Cell, Document, Figure, KeyNumber, Page, Start, Statement, Step, Table,
};
pub use findings::{Findings, Levels, find};
pub use html::html;
pub use json::{SCHEMA, findings_json, rounded_json};
pub use pdf::{PdfError, pdf};
pub use png::{PngError, png};
pub use story::Story;
pub use tables::{findings_csv, panels_csv, rejects_csv};
pub use trial::{plan_files, plan_json, plan_summary};

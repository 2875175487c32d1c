//! Findings, words, the document and the folder that appears whole or not at all.

mod build;
mod document;
pub mod findings;
pub mod folder;
mod html;
mod json;
pub mod pages;
mod pdf;
pub mod ranking;
mod tables;
pub mod words;

pub use build::{ReportError, document, files, summary};
pub use document::{Block, Care, Cell, Document, Figure, KeyNumber, Page, Statement, Step, Table};
pub use findings::{Findings, Levels, find};
pub use html::html;
pub use json::{SCHEMA, findings_json, rounded_json};
pub use pdf::{PdfError, pdf};
pub use tables::{findings_csv, rejects_csv};

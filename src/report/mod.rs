//! Findings, words, the document and the folder that appears whole or not at all.

mod document;
pub mod findings;
pub mod pages;
mod pdf;
pub mod words;

pub use document::{
    Block, Care, Cell, Document, Figure, KeyNumber, Page, Statement, Step, Table,
};
pub use findings::{Findings, Options, find};
pub use pdf::{PdfError, pdf};

//! Findings, words, the document and the folder that appears whole or not at all.

mod document;
mod findings;

pub use document::{Block, Document, Figure, Page, Table};
pub use findings::Findings;

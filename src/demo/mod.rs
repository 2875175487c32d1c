//! The demo: inspection records of a made-up workshop with known truth.
//!
//! A newcomer sees the whole tool from one command; because the truth is known,
//! a test can say whether the report found it.

mod folder;
mod panels;
mod settings;
mod workshop;

pub use folder::{DemoError, INSPECTIONS, SITE_NAME, write};
pub use settings::Workshop;
pub use workshop::{DemoFile, SITE_FILE, inspection_files};

//! The room `records` up to the rows of one file.

#[path = "../../src/records/cell.rs"]
mod cell;
#[path = "../../src/records/column.rs"]
mod column;
#[path = "../../src/records/error.rs"]
mod error;
#[path = "../../src/records/file.rs"]
mod file;
#[path = "../../src/records/frames.rs"]
mod frames;
#[path = "../../src/records/grit.rs"]
mod grit;
#[path = "../../src/records/header.rs"]
mod header;
#[path = "../../src/records/inputs.rs"]
mod inputs;
#[path = "../../src/records/layout.rs"]
mod layout;
#[path = "../../src/records/load.rs"]
mod load;
#[path = "../../src/records/losses.rs"]
mod losses;
#[path = "../../src/records/moment.rs"]
mod moment;
#[path = "../../src/records/notes.rs"]
mod notes;
#[path = "../../src/records/number.rs"]
mod number;
#[path = "../../src/records/observation.rs"]
mod observation;
#[path = "../../src/records/parts.rs"]
mod parts;
#[path = "../../src/records/rows.rs"]
mod rows;
#[path = "../../src/records/text_reader.rs"]
mod text_reader;
#[path = "../../src/records/units.rs"]
mod units;

/// Parquet is decoded by polars, not here.
mod parquet {
    use super::file::Outcome;
    use super::header::Matcher;
    use super::inputs::Input;
    use super::rows::Rules;

    pub(super) fn read(
        _input: &Input,
        _bytes: Vec<u8>,
        _fingerprint: (u64, u64),
        _rules: &Rules<'_>,
        _matcher: &Matcher<'_>,
    ) -> Outcome {
        Outcome::NotOurs
    }
}

pub use column::{About, Column, Quantity};
pub use error::RecordsError;
pub use frames::{Lay, Point, Rect};
pub use grit::{Grit, GritScale};
pub use losses::{InputCounts, Lost, Reject, Warning, WarningCode};
pub use moment::{Moment, Shift, time_zone};
pub use text_reader::TextReader;
pub use units::{Conversion, Unit};

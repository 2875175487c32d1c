//! Reading inspection files into typed tables.
//!
//! Every row says something about one panel; what the rows say about a panel
//! must agree. This room ends at [`Records`]: units converted, places in mm in
//! the panel frame, grits on their scale, every loss written down.

pub mod answers;
mod assemble;
mod cell;
mod error;
mod file;
mod frames;
mod header;
mod inputs;
mod join;
mod layout;
mod load;
mod losses;
mod moment;
mod names;
mod notes;
mod number;
mod observation;
mod observed;
mod parquet;
mod parts;
mod read;
mod rows;
pub mod sample;
pub mod summary;
mod table;
mod traps;

pub use crate::columns::{About, Column, Conversion, Grit, GritScale, Quantity, Unit, time_zone};
pub use error::RecordsError;
pub use frames::{Lay, Point, Rect};
pub use losses::{InputCounts, Lost, Reject, Warning, WarningCode};
pub use moment::{Moment, Shift};
pub use parquet::hush_decoder;
pub use parts::{ByTurns, PlannedRun};
pub use read::text_reader::TextReader;
pub use read::{OnReject, ReadOptions, read};
pub use table::{
    ColumnUse, Defect, DefectName, Departure, FactorValue, HeldBack, Origin, Panel, Reading,
    Records,
};
pub(crate) use traps::{Clean, Cleans, almost_one, only_marked};

//! Planning the next trial: run sheets, what they tell, how many panels it takes;
//! and what became of them.
//!
//! [`recipe()`] lays out the settings of a recipe, [`settle()`] makes the open rivals
//! of a report meet, [`turns()`] puts old and new by turns. Sizes come from the tests
//! that read the sheets: the duel's exchange, and the comparison's own model.
//! [`read_back()`] says how a sheet was run and what its contrasts show.

mod contrast;
mod curved;
mod error;
mod factor;
mod follow;
mod left;
mod lots;
mod needed;
mod optimal;
mod order;
mod plan;
mod precision;
mod read_back;
mod recipe;
mod settle;
mod sheet;
mod terms;
mod turned;
mod turns;
mod two_level;

pub use contrast::Given;
pub use error::{TrialError, in_range};
pub use factor::{Factor, Never, Settings, Value};
pub use follow::Earlier;
pub use left::factors_left;
pub use lots::Lots;
pub use needed::Goal;
pub use plan::{Note, Plan, Purpose, Run};
pub use precision::Precision;
pub use read_back::{ReadBack, Shown, read_back};
pub use recipe::{AliasChain, Design, PlannedFactor, RecipeRequest, Shape, recipe};
pub use settle::{ALL, Open, Question, SettleRequest, Settles, settle};
pub use sheet::{sheet_csv, shown_settings, unit_of, written};
pub use terms::Model;
pub use turned::{Fixed, Parted, Place, Stays, Turned};
pub use turns::{ChangeRequest, Turns, turns};

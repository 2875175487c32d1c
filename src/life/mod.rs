//! What becomes of findings from report to report: what goes on, what is gone
//! since when, what is back, and whether what was done about it helped.
//!
//! A report remembers its findings in `findings.json`. The next one reads them,
//! recognises its own findings among them (they keep their number), and looks
//! for the others on the panels sanded since.

mod action;
mod beside;
mod follow;
mod judge;
mod lives;
mod measure;
mod past;
mod place;
mod recognise;
mod remember;
mod since;
mod tested;
mod twins;

pub use action::{Action, ActionError, Actions, Standing};
pub use beside::Carried;
pub(crate) use follow::rename;
pub use follow::{follow, without_previous};
pub use judge::State;
pub use lives::{Kept, Life, Lives, Look};
pub use measure::Seen;
pub use past::{Past, PastError, Remembered};
pub use remember::seen_in;
pub use tested::{ActionAnswer, Done, judge_actions};
pub use twins::{Twin, Why};

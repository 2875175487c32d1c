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
mod measure;
mod past;
mod place;
mod recognise;

pub use action::{Action, ActionAnswer, ActionError, Actions, Done, Standing, judge_actions};
pub use beside::Carried;
pub(crate) use follow::rename;
pub use follow::{KEPT_REPORTS, Kept, Life, Lives, Look, ended, follow, seen_in, without_previous};
pub use judge::State;
pub use measure::Seen;
pub use past::{Past, PastError};

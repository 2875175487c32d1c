//! Removal and defect risk against the recipe, and which factor to move.
//!
//! Removal follows the trade's law in logarithms (Preston 1927): mean depth
//! goes with force and passes and against feed. The law is fitted to panel
//! means on their natural scale, since zero and negative readings are honest
//! data, with lots as a random effect and with intervals that count how often
//! a factor was really set. Counts of defects are fitted against the same
//! factors. Both together give the process window and the next setting to try.

mod advice;
mod block;
mod coding;
mod depth;
mod design;
mod diagnostics;
mod doubts;
mod effects;
mod fit;
mod hour;
mod inference;
mod lever;
mod model;
mod result;
mod risk;
mod setting;
mod settings;
mod spread;
mod ties;
mod window;

pub use coding::FRESH_UP_TO;
pub use doubts::Note;
pub use fit::fit;
pub use result::{
    Advice, Aim, Alias, Basis, Diagnostics, Effect, EffectPoint, Estimate, Factor, Interaction,
    LackOfFit, LotInfluence, RateChange, Reach, Removal, Residual, Risk, Risked, Term, Together,
    Unit, Wear, Window, WindowPoint,
};
pub use setting::Value;
pub use settings::{Held, Obstacle, Settings};

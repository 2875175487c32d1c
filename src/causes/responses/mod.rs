//! What is asked about: one value per panel.

pub(super) mod bars;
pub(super) mod ends;
pub(super) mod merge;
pub(super) mod one_cause;
pub(super) mod place;
mod rate;
mod remainder;
pub(super) mod repeat;
mod stream;
pub(super) mod surface;
pub(super) mod thin_film;

pub(super) use rate::{about_rate, accounts, by_age, rate_findings};
pub(super) use remainder::Remainder;
pub(super) use stream::conclude_stream;

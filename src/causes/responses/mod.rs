//! What is asked about: one value per panel.

pub(super) mod bars;
pub(super) mod ends;
pub(super) mod merge;
pub(super) mod one_cause;
pub(super) mod place;
mod rate;
mod rate_findings;
mod remainder;
pub(super) mod repeat;
mod stream;
pub(super) mod surface;
pub(super) mod thin_film;

pub(super) use rate::accounts;
pub(super) use rate_findings::{about_rate, by_age, rate_findings};
pub(super) use remainder::Remainder;
pub(super) use stream::conclude_stream;

//! What is asked about: one value per panel.

mod rate;
mod rate_findings;
mod remainder;
mod stream;

pub(super) use rate::accounts;
pub(super) use rate_findings::{about_rate, by_age, rate_findings};
pub(super) use remainder::Remainder;
pub(super) use stream::conclude_stream;

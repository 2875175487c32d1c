//! Two rivals on one response: among panels alike in one, does it still follow
//! the other?
//!
//! A [`Response`] is one value per panel. A [`Contender`] is what may have made
//! it: levels or a number per panel, given to whole units at once (a stretch at
//! one setting, a lot, an abrasive's life), so that units and not panels are what
//! could have come otherwise. [`shown`] asks whether the response follows it,
//! [`meet`] whether it still does among panels that are alike in a rival;
//! [`bound`] what is excluded where nothing is shown.
//!
//! Panels are the rows of all slices here, in time order.

mod all_exchanges;
mod bound;
mod contender;
mod exchange;
mod follow;
mod meet;
mod omnibus;
mod stretches;

pub(crate) use bound::{Bound, bound, spread};
pub(crate) use contender::{Contender, Given, Suspect, Toward};
pub(crate) use exchange::Precision;
pub(crate) use follow::{Follows, follows, follows_at};
pub(crate) use meet::{Meeting, Shown, meet, shown};
pub(crate) use omnibus::levels_differ;
pub(crate) use stretches::{codes, in_order, stretches};

/// One value per panel, and what it would be, up to a common factor, if nothing
/// made a difference.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Response {
    /// The value: 1 for a hit, ln(1 + marks), a vote, a slope.
    pub value: Vec<f64>,
    /// Its expectation up to a factor: the panel's own chance of a hit at the
    /// place; 1 where all panels are alike. Panels at 0 say nothing.
    pub expected: Vec<f64>,
}

impl Response {
    /// Marks of panels, damped (ln(1 + marks)) so that one clump is one panel's.
    ///
    /// Rates per panel, and where areas differ per area too: half a mark over a
    /// small area looks like a high rate, so whoever is named must stand out in
    /// both.
    pub(crate) fn rates(marks: &[f64], areas: &[f64]) -> Vec<Self> {
        let expected = vec![1.0; marks.len()];
        let mut both = vec![Self {
            value: marks.iter().map(|m| m.ln_1p()).collect(),
            expected: expected.clone(),
        }];
        let mean = areas.iter().sum::<f64>() / areas.len().max(1) as f64;
        if areas.iter().any(|a| (a - mean).abs() > 0.01 * mean) {
            let scaled = marks.iter().zip(areas).map(|(m, a)| (m * mean / a).ln_1p());
            both.push(Self {
                value: scaled.collect(),
                expected,
            });
        }
        both
    }
}

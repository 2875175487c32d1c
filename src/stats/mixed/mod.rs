//! One engine for responses whose rows go together in groups: lots, days, runs.
//!
//! Linear and log-linear models with a random effect for every group of any
//! number of groupings, nested or crossed; variances by restricted maximum
//! likelihood, contrasts with Kenward and Roger's errors and degrees of freedom.

mod components;
mod fit;
mod kenward_roger;
#[cfg(test)]
mod published;
mod sums;
mod whitener;

pub(crate) use components::Variances;
pub(crate) use fit::{Fit, Problem, Response};

/// A way to gather rows into groups that share an effect.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) struct Grouping {
    /// Group of each row, 0..count.
    pub(crate) of: Vec<usize>,
    /// Groups.
    pub(crate) count: usize,
}

impl Grouping {
    /// Groups rows with equal keys, numbered in the order in which they appear.
    pub(crate) fn by_key<K: Ord>(keys: impl IntoIterator<Item = K>) -> Self {
        let mut numbers = std::collections::BTreeMap::new();
        let of: Vec<usize> = keys
            .into_iter()
            .map(|key| {
                let next = numbers.len();
                *numbers.entry(key).or_insert(next)
            })
            .collect();
        Self {
            of,
            count: numbers.len(),
        }
    }
}

//! The ratio among panels alike in everything recorded: a check beside the model.

use std::collections::BTreeMap;

use super::Side;
use super::items::Item;
use crate::stats::stratified::{Count, RateStratum};

/// Marks and area by group of items, where the group carries both sides.
pub(super) fn groups(items: &[Item], group: impl Fn(&Item) -> Option<usize>) -> Vec<RateStratum> {
    let mut groups: BTreeMap<usize, [(f64, f64); 2]> = BTreeMap::new();
    for item in items {
        let Some(group) = group(item) else { continue };
        let sums = &mut groups.entry(group).or_default()[usize::from(item.side == Side::After)];
        sums.0 += item.value;
        sums.1 += item.exposure;
    }
    let count = |(events, exposure): (f64, f64)| Count {
        events: events.round() as u64,
        exposure,
    };
    let both = groups.values().filter(|[b, a]| b.1 > 0.0 && a.1 > 0.0);
    both.map(|[b, a]| RateStratum {
        before: count(*b),
        after: count(*a),
    })
    .collect()
}

/// Rates of like panels, after over before; none where no group carries both sides
/// and marks on both.
pub(super) fn matched_ratio(items: &[Item]) -> Option<f64> {
    common_ratio(&groups(items, |i| i.alike))
}

/// Σ k₁a₀/a ÷ Σ k₀a₁/a over strata with a = a₀ + a₁.
/// Source: Rothman & Boice (1979), Epidemiologic Analysis with a Programmable
/// Calculator, after Mantel & Haenszel.
fn common_ratio(strata: &[RateStratum]) -> Option<f64> {
    let sum = |term: fn(&RateStratum) -> f64| strata.iter().map(term).sum::<f64>();
    let after =
        sum(|s| s.after.events as f64 * s.before.exposure / (s.before.exposure + s.after.exposure));
    let before =
        sum(|s| s.before.events as f64 * s.after.exposure / (s.before.exposure + s.after.exposure));
    (after > 0.0 && before > 0.0).then(|| after / before)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::stats::published::{CLOSED_FORM, published};

    /// British doctors by age, smokers against others; computed by R's metafor.
    #[test]
    fn the_common_ratio_of_the_british_doctors_agrees_with_metafor() {
        let strata: Vec<RateStratum> = published("mh_rate_ratio_doctors_data.csv")
            .iter()
            .map(|row| RateStratum {
                before: Count {
                    events: row.count("nonsmoker_deaths"),
                    exposure: row.number("nonsmoker_person_years"),
                },
                after: Count {
                    events: row.count("smoker_deaths"),
                    exposure: row.number("smoker_person_years"),
                },
            })
            .collect();
        let got = common_ratio(&strata).unwrap();
        published("mh_rate_ratio_results.csv")[0].check("mh_irr", got, CLOSED_FORM);
    }
}

//! All exchanges counted, where there are not too many different sums.
//!
//! Where one side of a group has two values, T of the group is the sum of k values
//! drawn without replacement from the other side: its distribution is built up value
//! by value, sums that are equal counted as one. The groups' distributions are
//! convolved. Hits on panels come out as products of hypergeometric distributions
//! (Fisher 1935), few stretches as a list of their arrangements.

use super::exchange::{Peers, centred};
use statrs::function::factorial::ln_binomial;

/// Different sums of one list at most: four lots with two stretches at each of two
/// levels have 1296.
const MOST_SUMS: usize = 1500;

/// Pairs of sums at most: so many are hardly few different sums.
const MOST_PAIRS: usize = 64 * MOST_SUMS;

/// A sum and its chance.
type Sums = Vec<(f64, f64)>;

/// P(T ≥ `observed`), sums within `tie` of each other taken as equal; none where the
/// sums are too many.
pub(super) fn at_least(peers: &[&Peers], observed: f64, tie: f64) -> Option<f64> {
    // Two lists hold the square of what one of them does.
    let mut lists: [Sums; 2] = [vec![(0.0, 1.0)], vec![(0.0, 1.0)]];
    let mut filling = 0;
    for group in peers {
        let own = of_group(group, tie)?;
        let mut joined = convolved(&lists[filling], &own, tie);
        if joined.is_none() && filling == 0 {
            filling = 1;
            joined = convolved(&lists[1], &own, tie);
        }
        lists[filling] = joined?;
    }
    let [first, second] = lists;
    // Both rise; the more the first has, the less the second needs.
    let (mut tail, mut from, mut above) = (0.0, second.len(), 0.0);
    for (sum, chance) in first {
        while from > 0 && sum + second[from - 1].0 >= observed - tie {
            from -= 1;
            above += second[from].1;
        }
        tail += chance * above;
    }
    Some(tail.min(1.0))
}

fn convolved(one: &Sums, other: &Sums, tie: f64) -> Option<Sums> {
    if one.len() * other.len() > MOST_PAIRS {
        return None;
    }
    let pairs = one
        .iter()
        .flat_map(|a| other.iter().map(move |b| (a.0 + b.0, a.1 * b.1)));
    merged(pairs.collect(), tie)
}

/// In order, equal sums as one; none where there are too many.
fn merged(mut sums: Sums, tie: f64) -> Option<Sums> {
    sums.sort_unstable_by(|a, b| a.0.total_cmp(&b.0));
    sums.dedup_by(|next, kept| {
        let same = next.0 - kept.0 <= tie;
        if same {
            kept.1 += next.1;
        }
        same
    });
    (sums.len() <= MOST_SUMS).then_some(sums)
}

/// The distribution of one group's T about its mean; none where both sides have more
/// than two values or the sums are too many.
fn of_group(group: &Peers, tie: f64) -> Option<Sums> {
    let (given, shows) = (centred(&group.given), centred(&group.shows));
    let (two, other) = match (values(&given), values(&shows)) {
        (two, other) if two.len() == 2 => (two, other),
        (other, two) if two.len() == 2 => (two, other),
        _ => return None,
    };
    let drawn = two[1].1;
    let step = two[1].0 - two[0].0;
    let all = given.len();
    let share = drawn as f64 / all as f64;
    // Sums by how many were drawn so far, each with its chance if every unit were
    // drawn by itself: given the number drawn in all, that is drawing without
    // replacement.
    let mut by_drawn: Vec<Sums> = vec![Vec::new(); drawn + 1];
    by_drawn[0].push((0.0, 1.0));
    let mut left = all;
    for (value, count) in other {
        left -= count;
        let mut next: Vec<Sums> = vec![Vec::new(); drawn + 1];
        for (before, sums) in by_drawn.iter().enumerate().filter(|(_, s)| !s.is_empty()) {
            // What is left must be able to make up the number.
            let least = drawn.saturating_sub(before + left);
            for more in least..=count.min(drawn - before) {
                let ln = ln_binomial(count as u64, more as u64)
                    + more as f64 * share.ln()
                    + (count - more) as f64 * (1.0 - share).ln();
                let add = step * value * more as f64;
                next[before + more].extend(sums.iter().map(|(s, p)| (s + add, p * ln.exp())));
            }
        }
        let mut held = 0;
        for sums in &mut next {
            *sums = merged(std::mem::take(sums), tie)?;
            held += sums.len();
        }
        if held > MOST_SUMS {
            return None;
        }
        by_drawn = next;
    }
    let mut sums = by_drawn.pop()?;
    let total: f64 = sums.iter().map(|s| s.1).sum();
    for sum in &mut sums {
        sum.1 /= total;
    }
    Some(sums)
}

/// Different values in order, and how often each.
fn values(values: &[f64]) -> Vec<(f64, usize)> {
    let mut sorted = values.to_vec();
    sorted.sort_unstable_by(f64::total_cmp);
    let chunks = sorted.chunk_by(|a, b| a == b);
    chunks.map(|chunk| (chunk[0], chunk.len())).collect()
}

#[cfg(test)]
mod tests {
    use super::super::exchange::{Precision, rises};
    use super::*;
    use crate::stats::distributions::hypergeometric::Draw;
    use approx::assert_relative_eq;

    /// Forty panels, ten of a level, six of them hit, four of these at the level.
    fn hits() -> Peers {
        Peers {
            given: (0..40).map(|i| f64::from(u8::from(i < 10))).collect(),
            shows: (0..40)
                .map(|i| f64::from(u8::from(i < 4 || i == 20 || i == 30)))
                .collect(),
        }
    }

    #[test]
    fn hits_of_a_level_are_fishers_tail() {
        let draw = Draw {
            size: 40,
            marked: 6,
            drawn: 10,
        };
        let p = rises(&[hits()], Precision::Full).unwrap();
        assert_relative_eq!(p, draw.at_least(4), max_relative = 1e-12);
    }

    /// Two lots: the sum of two hypergeometric counts, added up by hand.
    #[test]
    fn hits_in_two_lots_are_a_sum_of_two_counts() {
        let draw = Draw {
            size: 40,
            marked: 6,
            drawn: 10,
        };
        let chance = |k: u64| draw.ln_probability(k).exp();
        let pairs = (0..=6).flat_map(|a| (0..=6).map(move |b| (a, b)));
        let exact: f64 = pairs
            .filter(|(a, b)| a + b >= 8)
            .map(|(a, b)| chance(a) * chance(b))
            .sum();
        let p = rises(&[hits(), hits()], Precision::Full).unwrap();
        assert_relative_eq!(p, exact, max_relative = 1e-12);
    }

    /// One unit that shows everything: it is in the level by chance, m of n.
    #[test]
    fn one_unit_proves_nothing() {
        let group = Peers {
            given: (0..20).map(|i| f64::from(u8::from(i < 2))).collect(),
            shows: (0..20).map(|i| if i == 0 { 50.0 } else { 0.0 }).collect(),
        };
        assert_relative_eq!(
            rises(&[group], Precision::Full).unwrap(),
            0.1,
            max_relative = 1e-12
        );
    }

    /// Pairs, each the same way round: one of two to their number, in two lists too.
    #[test]
    fn pairs_are_a_sign_test() {
        for pairs in [7, 18] {
            let all: Vec<Peers> = (0..pairs)
                .map(|i| Peers {
                    given: vec![1.0, 0.0],
                    shows: vec![1.0 + f64::from(i).sqrt(), 0.2],
                })
                .collect();
            let p = rises(&all, Precision::Full).unwrap();
            assert_relative_eq!(p, 0.5_f64.powi(pairs), max_relative = 1e-12);
        }
        assert_eq!(rises(&[Peers::default()], Precision::Full), None);
    }

    #[test]
    fn too_many_sums_are_left_to_draws() {
        let group = Peers {
            given: (0..60).map(|i| f64::from(i % 2)).collect(),
            shows: (0..60).map(|i| f64::from(i).sqrt()).collect(),
        };
        assert_eq!(at_least(&[&group], 0.0, 1e-9), None);
    }
}

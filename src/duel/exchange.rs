//! Could units that were given something else look like this as well?
//!
//! What a unit was given is exchanged among the units that could have got it;
//! what they show stays. T = Σ given · shows. Its second and third moments over
//! all exchanges are known exactly (Pitman 1937, Supplement to the J. Royal
//! Stat. Soc. 4, 119; Mielke and Berry 2007, Permutation Methods, chapter 2) and
//! matched by a gamma distribution; where that comes near a level, all exchanges are
//! counted ([`super::all_exchanges`]) or, where they are too many, seeded draws decide,
//! ties counted against the accuser: p = (1 + as many) / (1 + draws).
//! Nothing is asked of what units show: not its distribution, nor that their
//! panels are independent.

use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;

use super::all_exchanges;
use crate::stats::distributions::{gamma, normal, student_t};

/// Above this the moments decide alone.
const FAR_FROM_ANY_LEVEL: f64 = 0.15;

/// So many times a level, or so small a part of it, is far from it.
const FAR_FROM_LEVEL: f64 = 3.0;

/// So many times the smallest p-value so far is no smaller one, by the moments of more
/// than so many units.
const FAR_FROM_BEST: f64 = 10.0;
const MANY_UNITS: usize = 500;

/// Draws of a first look, and how many at least as extreme end it.
const FIRST_DRAWS: usize = 1000;
const PLENTY: usize = 200;

/// Exchanges of one unit that all draws of a test may cost.
const WORK: usize = 400_000;

/// Draws at most.
const MOST_DRAWS: usize = 100_000;

/// Sums this near to each other, in standard deviations, are the same.
const TIE: f64 = 1e-9;

/// Where no draw is as extreme, the moments are believed this far below the
/// draws' resolution.
const BELOW_DRAWS: f64 = 100.0;

/// Units at least among peers, on either side, and degrees of freedom, for more
/// than exchanges can say.
const LEAST_PEERS: usize = 4;
const LEAST_ON_A_SIDE: usize = 3;
const LEAST_DEGREES: usize = 4;

/// Units that could have been given each other's.
#[derive(Debug, Clone, PartialEq, Default)]
pub(crate) struct Peers {
    /// What each was given: a setting, or 1 for the level accused.
    pub given: Vec<f64>,
    /// What each shows.
    pub shows: Vec<f64>,
}

impl Peers {
    /// Whether an exchange could change anything.
    pub(crate) fn differ(&self) -> bool {
        let varies = |v: &[f64]| v.iter().any(|x| *x != v[0]);
        self.given.len() > 1 && varies(&self.given) && varies(&self.shows)
    }
}

/// How closely a p-value is asked for.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) enum Precision {
    /// As it is.
    Full,
    /// Only on which side of this level it lies: moments far from it are believed where
    /// exchanges are too many to be counted.
    SideOf(f64),
    /// Only if it is below this: of many units, moments far above it are believed.
    Below(f64),
}

impl Precision {
    /// Of one of the two sides of a p-value.
    pub(super) fn one_sided(self) -> Self {
        match self {
            Self::Full => Self::Full,
            Self::SideOf(level) => Self::SideOf(level / 2.0),
            Self::Below(p) => Self::Below(p / 2.0),
        }
    }
}

/// One-sided p that units given more show more; none where no exchange changes
/// anything.
pub(crate) fn rises(peers: &[Peers], asked: Precision) -> Option<f64> {
    let peers: Vec<&Peers> = peers.iter().filter(|p| p.differ()).collect();
    if peers.is_empty() {
        return None;
    }
    let moments = Moments::of(&peers);
    let by_moments = moments.upper_tail();
    if by_moments > FAR_FROM_ANY_LEVEL {
        return Some(by_moments);
    }
    let units = || peers.iter().map(|p| p.given.len()).sum::<usize>();
    if let Precision::Below(p) = asked
        && by_moments > FAR_FROM_BEST * p
        && units() > MANY_UNITS
    {
        return Some(by_moments);
    }
    let tie = TIE * moments.variance.sqrt();
    let far =
        |level: f64| by_moments > FAR_FROM_LEVEL * level || FAR_FROM_LEVEL * by_moments < level;
    let counted = all_exchanges::at_least(&peers, moments.observed, tie);
    Some(counted.unwrap_or_else(|| match asked {
        Precision::SideOf(level) if far(level) => by_moments,
        _ => drawn(&peers, moments.observed - tie, by_moments),
    }))
}

/// What a few units say that exchanges are too few to show: where every unit of
/// the accused shows more than any of its peers, Student's t of the correlation,
/// not further below than the exchanges' share by [`BELOW_DRAWS`]; else `p`.
///
/// The exchanges' law of the squared correlation is that of normal theory to its
/// second moment (Pitman 1937).
pub(crate) fn with_distance(peers: &[Peers], p: f64) -> f64 {
    let peers: Vec<&Peers> = peers.iter().filter(|p| p.differ()).collect();
    let (mut along, mut given, mut shows) = (0.0, 0.0, 0.0);
    let (mut groups, mut units, mut more, mut exchanges) = (0, 0, 0, 1.0);
    for group in &peers {
        let high = group
            .given
            .iter()
            .copied()
            .fold(f64::NEG_INFINITY, f64::max);
        let low = group.given.iter().copied().fold(f64::INFINITY, f64::min);
        let of = |side: f64| {
            let own = group.given.iter().zip(&group.shows);
            own.filter(move |u| *u.0 == side).map(|u| *u.1)
        };
        let (n, k) = (group.given.len(), of(high).count());
        let least = of(high).fold(f64::INFINITY, f64::min);
        let most = of(low).fold(f64::NEG_INFINITY, f64::max);
        if k + of(low).count() < n || least <= most {
            return p;
        }
        if n < LEAST_PEERS {
            continue;
        }
        groups += 1;
        let (a, b) = (centred(&group.given), centred(&group.shows));
        along += a.iter().zip(&b).map(|(x, y)| x * y).sum::<f64>();
        given += a.iter().map(|x| x * x).sum::<f64>();
        shows += b.iter().map(|x| x * x).sum::<f64>();
        exchanges *= (0..k)
            .map(|i| (n - i) as f64 / (k - i) as f64)
            .product::<f64>();
        units += n;
        more += k;
    }
    let degrees = units.saturating_sub(groups + 1);
    if more.min(units - more) < LEAST_ON_A_SIDE || degrees < LEAST_DEGREES {
        return p;
    }
    let correlation = (along / (given * shows).sqrt()).min(1.0);
    let t = correlation * (degrees as f64 / (1.0 - correlation * correlation)).sqrt();
    let by_distance = student_t::upper(t, degrees as f64);
    p.min(by_distance.max(1.0 / exchanges / BELOW_DRAWS))
}

/// Moments of T about its mean, over all exchanges.
#[derive(Debug, Clone, Copy, Default)]
struct Moments {
    observed: f64,
    variance: f64,
    third: f64,
}

impl Moments {
    fn of(peers: &[&Peers]) -> Self {
        let mut sum = Self::default();
        for group in peers {
            let n = group.given.len() as f64;
            let (a, b) = (centred(&group.given), centred(&group.shows));
            let power = |v: &[f64], k: i32| v.iter().map(|x| x.powi(k)).sum::<f64>();
            sum.observed += a.iter().zip(&b).map(|(x, y)| x * y).sum::<f64>();
            sum.variance += power(&a, 2) * power(&b, 2) / (n - 1.0);
            if n > 2.0 {
                sum.third += n * power(&a, 3) * power(&b, 3) / ((n - 1.0) * (n - 2.0));
            }
        }
        sum
    }

    /// P(T ≥ observed): a gamma distribution with these moments (Pearson's third
    /// type), mirrored where the skew is negative.
    fn upper_tail(&self) -> f64 {
        if self.variance <= 0.0 {
            return 1.0;
        }
        let z = self.observed / self.variance.sqrt();
        let skew = self.third / self.variance.powf(1.5);
        if skew.abs() < 1e-3 {
            return normal::upper(z);
        }
        let shape = 4.0 / (skew * skew);
        let at = |z: f64| (shape + z * shape.sqrt()).max(0.0);
        if skew > 0.0 {
            gamma::upper(shape, at(z))
        } else {
            gamma::lower(shape, at(-z))
        }
    }
}

pub(super) fn centred(values: &[f64]) -> Vec<f64> {
    let mean = values.iter().sum::<f64>() / values.len() as f64;
    values.iter().map(|v| v - mean).collect()
}

/// One side's rare values, drawn from all of the other side's.
struct Urn {
    rare: Vec<f64>,
    others: Vec<f64>,
}

impl Urn {
    /// Only values unlike the commonest have to be drawn for: the others add the
    /// same whatever they meet.
    fn of(group: &Peers) -> Self {
        let (a, b) = (centred(&group.given), centred(&group.shows));
        let (rare_a, rare_b) = (unlike_commonest(&a), unlike_commonest(&b));
        if rare_a.len() < rare_b.len() {
            Urn {
                rare: rare_a,
                others: b,
            }
        } else {
            Urn {
                rare: rare_b,
                others: a,
            }
        }
    }

    fn draw(&mut self, rng: &mut ChaCha8Rng) -> f64 {
        let n = self.others.len();
        let mut sum = 0.0;
        for (at, value) in self.rare.iter().enumerate() {
            let other = rng.random_range(at..n);
            self.others.swap(at, other);
            sum += value * self.others[at];
        }
        sum
    }
}

/// Values less the commonest, those that are it left out.
fn unlike_commonest(values: &[f64]) -> Vec<f64> {
    let mut sorted = values.to_vec();
    sorted.sort_by(f64::total_cmp);
    let common = sorted
        .chunk_by(|a, b| a == b)
        .max_by_key(|chunk| chunk.len())
        .map_or(0.0, |chunk| chunk[0]);
    let unlike = values.iter().map(|v| v - common).filter(|v| *v != 0.0);
    unlike.collect()
}

fn drawn(peers: &[&Peers], least: f64, by_moments: f64) -> f64 {
    let mut urns: Vec<Urn> = peers.iter().map(|p| Urn::of(p)).collect();
    let cost: usize = urns.iter().map(|u| u.rare.len()).sum();
    let all = (WORK / cost.max(1)).clamp(FIRST_DRAWS, MOST_DRAWS);
    let mut rng = ChaCha8Rng::seed_from_u64(0);
    let (mut draws, mut as_many) = (0_usize, 0_usize);
    while draws < all && (draws < FIRST_DRAWS || as_many < PLENTY) {
        let sum: f64 = urns.iter_mut().map(|u| u.draw(&mut rng)).sum();
        as_many += usize::from(sum >= least);
        draws += 1;
    }
    let resolution = 1.0 / (1.0 + draws as f64);
    if as_many == 0 {
        return by_moments.clamp(resolution / BELOW_DRAWS, resolution);
    }
    (1.0 + as_many as f64) * resolution
}

#[cfg(test)]
mod tests {
    use super::*;
    use approx::assert_relative_eq;

    fn orders(n: usize) -> Vec<Vec<usize>> {
        if n == 0 {
            return vec![Vec::new()];
        }
        let shorter = orders(n - 1);
        let longer = shorter.iter().flat_map(|order| {
            (0..n).map(move |at| {
                let mut order = order.clone();
                order.insert(at, n - 1);
                order
            })
        });
        longer.collect()
    }

    /// Both moments against all 5040 exchanges of seven units, one by one.
    #[test]
    fn moments_are_those_of_all_exchanges() {
        let group = Peers {
            given: vec![1.0, 1.0, 4.0, 2.0, 1.0, 3.0, 2.0],
            shows: vec![0.3, -1.2, 2.9, 0.4, -0.8, 1.1, -0.1],
        };
        let (a, b) = (centred(&group.given), centred(&group.shows));
        let (mut second, mut third, mut count) = (0.0, 0.0, 0.0);
        for order in orders(7) {
            let t: f64 = b.iter().zip(&order).map(|(y, at)| y * a[*at]).sum();
            second += t * t;
            third += t.powi(3);
            count += 1.0;
        }
        let found = Moments::of(&[&group]);
        assert_relative_eq!(found.variance, second / count, max_relative = 1e-12);
        assert_relative_eq!(found.third, third / count, max_relative = 1e-10);
    }

    fn two_groups(high: &[f64], low: &[f64]) -> Peers {
        let given = |group: &[f64], level| vec![level; group.len()];
        Peers {
            given: [given(high, 1.0), given(low, 0.0)].concat(),
            shows: [high, low].concat(),
        }
    }

    /// The pooled t-test of scipy 1.17.1, `stats.ttest_ind(high, low,
    /// alternative="greater").pvalue`, which is the t of the correlation.
    #[test]
    fn few_units_far_apart_are_students_t() {
        let apart = two_groups(&[1.0, 1.2, 0.5, 1.1, 1.9], &[0.1, 0.4, -0.3, 0.3, 0.2]);
        let p = rises(std::slice::from_ref(&apart), Precision::Full).unwrap();
        assert_relative_eq!(p, 1.0 / 252.0, max_relative = 1e-9);
        let by_distance = with_distance(&[apart], p);
        assert_relative_eq!(by_distance, 0.0022207269, max_relative = 1e-6);
    }

    /// Never below a hundredth of what exchanges can show, and no more than they
    /// show where the groups overlap.
    #[test]
    fn distance_has_its_limits() {
        let far = two_groups(&[9.0, 9.1, 9.2, 9.0], &[0.0, 0.1, 0.2, 0.1]);
        let p = with_distance(&[far], 1.0 / 70.0);
        assert_relative_eq!(p, 1.0 / 7000.0, max_relative = 1e-9);
        let overlap = two_groups(&[9.0, 9.1, 9.2, 0.15], &[0.0, 0.1, 0.2, 0.1]);
        assert_relative_eq!(with_distance(&[overlap], 0.02), 0.02);
        let pairs = vec![two_groups(&[9.0], &[0.0]); 6];
        assert_relative_eq!(with_distance(&pairs, 0.016), 0.016);
    }

    /// Where both sides have many values, draws decide: against all 5040 exchanges.
    #[test]
    fn draws_are_a_sample_of_all_exchanges() {
        let group = Peers {
            given: vec![1.0, 1.5, 4.0, 2.0, 0.0, 3.0, 2.5],
            shows: vec![0.3, -1.2, 2.9, 0.4, -0.8, 1.1, -0.1],
        };
        let sum = |order: &[usize]| -> f64 {
            let pairs = group.shows.iter().zip(order);
            pairs.map(|(y, at)| y * group.given[*at]).sum()
        };
        let observed = sum(&[0, 1, 2, 3, 4, 5, 6]);
        let all = orders(7);
        let as_many = all.iter().filter(|o| sum(o) >= observed - 1e-9).count();
        let exact = as_many as f64 / all.len() as f64;
        let p = rises(&[group], Precision::Full).unwrap();
        // Two hundred draws as extreme end the drawing: ± 1/√200.
        let near = 4.0 / 200_f64.sqrt();
        assert!((p / exact - 1.0).abs() < near, "{p} {exact}");
    }
}

//! Tails and quantiles against 40- and 60-digit arithmetic; and where the crate
//! fails, which is why our own are here: where a newer version does better, the
//! tests that show it fail.

use crate::stats::distributions::{
    beta, binomial, chi_squared, f_ratio, gamma, hypergeometric::Draw, normal, student_t,
};
use crate::stats::published::published;
use statrs::distribution::{Beta, ContinuousCDF, FisherSnedecor, StudentsT};

/// What findings.json writes: nine digits.
const NINE_DIGITS: f64 = 5e-10;

fn misses(got: f64, wanted: f64) -> bool {
    (got - wanted).abs() > NINE_DIGITS * wanted.abs() + f64::MIN_POSITIVE
}

#[test]
fn both_tails_of_every_distribution_agree_with_mpmath() {
    let mut their_t_misses = 0;
    for row in published("distribution_tails.csv") {
        let (x, first, second) = (row.number("x"), row.text("first"), row.optional("second"));
        let one = || row.number("first");
        let two = || second.unwrap();
        let (lower, upper) = match row.text("distribution") {
            "normal" => (normal::lower(x), normal::upper(x)),
            "t" => (student_t::upper(-x, one()), student_t::upper(x, one())),
            "chi_squared" => (
                gamma::lower(one() / 2.0, x / 2.0),
                chi_squared::upper(x, one()),
            ),
            "f" => (
                f_ratio::upper(1.0 / x, two(), one()),
                f_ratio::upper(x, one(), two()),
            ),
            "binomial" => {
                let (k, n) = (x as u64, one() as u64);
                let above = binomial::at_least(k + 1, n, two());
                (binomial::at_most(k, n, two()), above)
            }
            // P(X ≤ k) is the upper tail of the gamma with shape k + 1.
            "poisson" => (gamma::upper(x + 1.0, one()), gamma::lower(x + 1.0, one())),
            "hypergeometric" => {
                let (size, marked) = first.split_once(' ').unwrap();
                let draw = |marked| Draw {
                    size: size.parse().unwrap(),
                    marked,
                    drawn: two() as u64,
                };
                let (marked, k) = (marked.parse().unwrap(), x as u64);
                let (marked, unmarked) = (draw(marked), draw(draw(marked).size - marked));
                let below = unmarked.at_least(unmarked.drawn - k);
                (below, marked.at_least(k + 1))
            }
            other => panic!("no distribution {other}"),
        };
        for (got, wanted) in [(lower, "ln_lower"), (upper, "ln_upper")] {
            let wanted = row.number(wanted).exp();
            assert!(!misses(got, wanted), "{row:?} {got:e} {wanted:e}");
        }
        if row.text("distribution") == "t" && one() >= 1e7 {
            let theirs = StudentsT::new(0.0, 1.0, one()).unwrap().sf(x);
            their_t_misses += usize::from(misses(theirs, row.number("ln_upper").exp()));
        }
    }
    assert_eq!(their_t_misses, 2);
}

#[test]
fn quantiles_agree_with_mpmath_where_the_crates_do_not() {
    let mut missed = [0; 3];
    for row in published("distribution_quantiles.csv") {
        let (p, a) = (row.number("p"), row.number("first"));
        let b = || row.number("second");
        let (got, theirs) = match row.text("distribution") {
            // From 1e8 degrees of freedom on their search does not end.
            "t" => (
                -student_t::upper_quantile(p, a),
                (a < 1e8).then(|| (0, StudentsT::new(0.0, 1.0, a).unwrap().inverse_cdf(p))),
            ),
            "chi_squared" => (chi_squared::quantile(p, a), None),
            "f" => {
                let theirs = FisherSnedecor::new(a, b()).unwrap().inverse_cdf(p);
                (f_ratio::quantile(p, a, b()), Some((1, theirs)))
            }
            "beta" => {
                let theirs = Beta::new(a, b()).unwrap().inverse_cdf(p);
                (beta::quantile(a, b(), p), Some((2, theirs)))
            }
            other => panic!("no distribution {other}"),
        };
        row.check("quantile", got, NINE_DIGITS);
        if let Some((law, theirs)) = theirs {
            missed[law] += usize::from(misses(theirs, row.number("quantile")));
        }
    }
    assert_eq!(missed, [3, 2, 2], "of t, F and beta");
}

#[test]
fn quantiles_lead_back_to_the_points_whose_tails_mpmath_gives() {
    for row in published("distribution_tails.csv") {
        let (x, upper) = (row.number("x"), row.number("ln_upper").exp());
        // Below, the upper tail is one to nine digits or underflows.
        if !(1e-290..0.9).contains(&upper) {
            continue;
        }
        let got = match row.text("distribution") {
            "normal" => normal::upper_quantile(upper),
            "t" => student_t::upper_quantile(upper, row.number("first")),
            "f" => f_ratio::upper_quantile(upper, row.number("first"), row.number("second")),
            _ => continue,
        };
        // A millionth of the spread where the point is at zero itself.
        assert!((got - x).abs() <= 5e-9 * x.abs().max(1e-2), "{row:?} {got}");
    }
}

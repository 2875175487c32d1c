//! Tails and quantiles against 60-digit arithmetic.

use crate::stats::distributions::{
    Tails, binomial, chi_squared, f_ratio, hypergeometric::Draw, normal, poisson, student_t,
};
use crate::stats::published::{ROOT_SEARCH, published};

/// Relative error of a probability, as the error of its logarithm, grows with
/// the logarithm's own size: 1e-12 + 1e-14·|ln P|.
fn close(got: f64, wanted: f64) -> bool {
    got == wanted || (got - wanted).abs() <= 1e-12 + 1e-14 * wanted.abs()
}

#[test]
fn both_tails_of_every_distribution_agree_with_mpmath() {
    for row in published("distribution_tails.csv") {
        let (x, first, second) = (row.number("x"), row.text("first"), row.optional("second"));
        let one = || row.number("first");
        let two = || second.unwrap();
        let got = match row.text("distribution") {
            "normal" => normal::tails(x),
            "t" => student_t::tails(x, one()),
            "chi_squared" => chi_squared::tails(x, one()),
            "f" => f_ratio::tails(x, one(), two()),
            "binomial" => {
                let (k, n) = (x as u64, one() as u64);
                Tails {
                    ln_lower: binomial::ln_at_most(k, n, two()),
                    ln_upper: binomial::ln_at_least(k + 1, n, two()),
                }
            }
            "poisson" => Tails {
                ln_lower: poisson::ln_at_most(x as u64, one()),
                ln_upper: poisson::ln_at_least(x as u64 + 1, one()),
            },
            "hypergeometric" => {
                let (size, marked) = first.split_once(' ').unwrap();
                let draw = Draw {
                    size: size.parse().unwrap(),
                    marked: marked.parse().unwrap(),
                    drawn: two() as u64,
                };
                Tails {
                    ln_lower: draw.ln_at_most(x as u64),
                    ln_upper: draw.ln_at_least(x as u64 + 1),
                }
            }
            other => panic!("no distribution {other}"),
        };
        let wanted = Tails {
            ln_lower: row.number("ln_lower"),
            ln_upper: row.number("ln_upper"),
        };
        assert!(close(got.ln_lower, wanted.ln_lower), "{row:?} {got:?}");
        assert!(close(got.ln_upper, wanted.ln_upper), "{row:?} {got:?}");
    }
}

#[test]
fn quantiles_lead_back_to_the_points_whose_tails_mpmath_gives() {
    for row in published("distribution_tails.csv") {
        let (x, upper) = (row.number("x"), row.number("ln_upper").exp());
        // Below, the upper tail is one to machine precision or underflows.
        if !(1e-290..0.999_999).contains(&upper) {
            continue;
        }
        let got = match row.text("distribution") {
            "normal" => normal::upper_quantile(upper),
            "t" => student_t::upper_quantile(upper, row.number("first")),
            "chi_squared" => chi_squared::upper_quantile(upper, row.number("first")),
            "f" => f_ratio::upper_quantile(upper, row.number("first"), row.number("second")),
            _ => continue,
        };
        assert!(
            (got - x).abs() <= ROOT_SEARCH * x.abs().max(1e-6),
            "{row:?} {got}"
        );
    }
}

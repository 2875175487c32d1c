//! The best that any search could do: a likelihood ratio that knows the place,
//! its spread, its share of the panels and the whole background.

use onus::causes::View;
use onus::records::Point;
use onus::stats::distributions::normal;

use crate::shops::{Background, Looks, Shop};

/// What the oracle knows of a made stream with one planted spot.
#[derive(Debug)]
pub struct Oracle {
    made: Shop,
    at: Point,
    /// SD of a planted mark along an axis, location error included, mm.
    sd: f64,
    share: f64,
}

impl Oracle {
    /// Of a stream on a flat or symmetric edge background, one size, single marks,
    /// gamma-mixed panels, whose first planted thing is a spot.
    pub fn of(made: &Shop) -> Oracle {
        let Some(spot) = made.repeaters.first().filter(|r| r.looks == Looks::Spot) else {
            panic!("no spot is planted");
        };
        assert!(made.clump_sd_mm.is_none() && made.sizes.len() == 1);
        Oracle {
            made: made.clone(),
            at: spot.at,
            sd: spot.sd_mm.hypot(made.error_mm),
            share: spot.share,
        }
    }

    /// Density of an ordinary mark's place, per mm².
    fn density(&self, at: Point) -> f64 {
        let (length, width) = self.made.sizes[0];
        let flat = 1.0 / (length * width);
        match self.made.background {
            Background::Flat => flat,
            Background::Edges {
                share,
                mean_mm,
                left: 1.0,
            } => {
                let depths = [at.x, length - at.x, at.y, width - at.y];
                let near: f64 = depths.iter().map(|d| self.depth(*d, mean_mm)).sum();
                (1.0 - share) * flat + share * near / (2.0 * (length + width))
            }
            _ => panic!("a background that the oracle does not know"),
        }
    }

    /// Density of an exponential depth with the location error on it.
    fn depth(&self, depth: f64, mean: f64) -> f64 {
        let error = self.made.error_mm;
        let below = normal::lower(depth / error - error / mean);
        (0.5 * (error / mean).powi(2) - depth / mean).exp() / mean * below
    }

    /// ln of the likelihood with the planted spot over that without.
    ///
    /// A panel's marks are the ordinary ones, negative binomial in number and
    /// independent in place, plus with chance `share` one at the spot: with n
    /// marks the ratio is 1 − h + h·Σⱼ φ(xⱼ)/f(xⱼ)·p(n−1)/(n·p(n)).
    pub fn log_ratio(&self, view: &View) -> f64 {
        let (mean, shape) = (self.made.marks, self.made.mixing);
        let mut places = vec![Vec::new(); view.panels.len()];
        for mark in &view.marks {
            places[mark.panel].push(mark.at);
        }
        let variance = self.sd * self.sd;
        let spot = |p: &Point| {
            let off = (p.x - self.at.x).powi(2) + (p.y - self.at.y).powi(2);
            (-off / (2.0 * variance)).exp() / (2.0 * std::f64::consts::PI * variance)
        };
        let panel = |marks: &Vec<Point>| {
            let n = marks.len() as f64;
            let fewer = (mean + shape) / (mean * (n + shape - 1.0));
            let ratios: f64 = marks.iter().map(|p| spot(p) / self.density(*p)).sum();
            (1.0 - self.share + self.share * fewer * ratios).ln()
        };
        places
            .iter()
            .map(|marks| {
                if marks.is_empty() {
                    (1.0 - self.share).ln()
                } else {
                    panel(marks)
                }
            })
            .sum()
    }

    /// Power at the false-alarm rate `alpha`, from the log ratios of streams
    /// with the spot: P₀(S ≥ c) = E₁[e^(−S); S ≥ c], since S is the log of the
    /// whole likelihood ratio.
    pub fn power(mut ratios: Vec<f64>, alpha: f64) -> f64 {
        ratios.sort_by(|a, b| b.total_cmp(a));
        let runs = ratios.len() as f64;
        let mut chance = 0.0;
        let mut above = 0.0;
        for s in ratios {
            chance += (-s).exp() / runs;
            if chance > alpha {
                break;
            }
            above += 1.0;
        }
        above / runs
    }
}

/// With one panel-sized decision the oracle is Neyman and Pearson's test: a
/// normal shift of d has power Φ(d − z) at level α.
#[test]
fn the_oracles_power_is_that_of_the_best_test() {
    use rand::SeedableRng;
    let mut rng = rand_chacha::ChaCha8Rng::seed_from_u64(5);
    let d: f64 = 4.0;
    let ratios: Vec<f64> = (0..40_000)
        .map(|_| d * crate::shops::draws::normal(&mut rng) + d * d / 2.0)
        .collect();
    for alpha in [1e-2, 8e-6] {
        let exact = normal::lower(d + normal::quantile(alpha));
        let got = Oracle::power(ratios.clone(), alpha);
        assert!((got - exact).abs() < 0.02, "{got} {exact}");
    }
}

//! How much film is left, and on which share of the area less than a limit.
//!
//! A sand-through is a tail event: mean removal can be right and sand-throughs
//! still rise because the film scatters more. The share is the Normal tail
//! below the limit, from the mean and the standard deviation of all places.
//! Its error is that of lots and of panels left out one at a time (jackknife;
//! Efron & Stein 1981, Annals of Statistics 9, 586–596), the wider counts, on the
//! scale of the Normal score, so that the interval stays within 0..1. Two lots
//! tell next to nothing of the lots to come, and the interval says so. The gauge's error after
//! sanding counts as scatter of the film: the share errs to the high side.

use std::collections::{BTreeMap, BTreeSet};

use serde::Serialize;

use crate::causes::streams::{Cell, cell_of};
use crate::records::Records;
use crate::site::DefectClass;
use crate::stats::Interval;
use crate::stats::distributions::{normal, student_t};

/// Level of the interval.
const LEVEL: f64 = 0.95;
/// Least panels that carry an interval.
const LEAST_PANELS: usize = 5;
/// Least lots that do.
const LEAST_LOTS: usize = 2;

/// Film left on one machine and head.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct FilmLeft {
    /// The machine, where recorded.
    #[serde(skip)]
    pub machine: Option<String>,
    /// The head, where recorded.
    #[serde(skip)]
    pub head: Option<String>,
    /// Film that must be left, µm.
    pub least_um: f64,
    /// Panels with film and removal at the same place.
    pub panels: usize,
    /// Such places.
    pub places: usize,
    /// Mean film before sanding at these places, µm.
    pub film_um: f64,
    /// Mean removal at these places, µm.
    pub removed_um: f64,
    /// Standard deviation of the film left, all places, µm; none for one place.
    pub left_sd_um: Option<f64>,
    /// Expected share of the area with less left than `least_um`, 0..1; none
    /// where all places are alike.
    pub share_below: Option<f64>,
    /// Its 95 % interval; none with fewer than 5 panels.
    pub share_ci: Option<Interval>,
    /// Places measured with less left than `least_um`.
    pub places_below: usize,
    /// Of these panels, those inspected.
    pub inspected: usize,
    /// Of the inspected, those with a mark of class "over".
    pub panels_over: usize,
}

/// Sums over the places of a lot or panel.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
struct Sums {
    n: f64,
    sum: f64,
    /// About a common origin, so that little is lost to rounding.
    squares: f64,
}

impl Sums {
    fn add(&mut self, value: f64) {
        self.n += 1.0;
        self.sum += value;
        self.squares += value * value;
    }

    fn join(&mut self, other: &Sums) {
        self.n += other.n;
        self.sum += other.sum;
        self.squares += other.squares;
    }

    fn without(&self, other: &Sums) -> Sums {
        Sums {
            n: self.n - other.n,
            sum: self.sum - other.sum,
            squares: self.squares - other.squares,
        }
    }

    fn sd(&self) -> Option<f64> {
        (self.n > 1.0).then(|| {
            let variance = (self.squares - self.sum * self.sum / self.n) / (self.n - 1.0);
            variance.max(0.0).sqrt()
        })
    }

    /// Normal score of `limit`.
    fn score(&self, limit: f64) -> Option<f64> {
        let sd = self.sd().filter(|sd| *sd > f64::EPSILON)?;
        Some((limit - self.sum / self.n) / sd)
    }
}

/// A place where film and removal were both measured.
struct Place {
    panel: usize,
    film_um: f64,
    removed_um: f64,
}

/// The film left on every machine and head with readings of film and removal at
/// the same place, in the order of their names. `least_um`: what must be left, µm.
#[must_use]
pub fn film_left(records: &Records, least_um: f64) -> Vec<FilmLeft> {
    let mut cells: BTreeMap<Cell, Vec<Place>> = BTreeMap::new();
    for reading in &records.readings {
        if let (Some(film_um), Some(removed_um)) = (reading.film_um, reading.removed_um) {
            let cell = cell_of(&records.panels[reading.panel]);
            cells.entry(cell).or_default().push(Place {
                panel: reading.panel,
                film_um,
                removed_um,
            });
        }
    }
    let over: BTreeSet<usize> = records
        .defects
        .iter()
        .filter(|d| records.defect_names[d.name].class == Some(DefectClass::Over))
        .map(|d| d.panel)
        .collect();
    cells
        .into_iter()
        .map(|((machine, head), places)| FilmLeft {
            machine: machine.map(|m| m.to_string()),
            head: head.map(|h| h.to_string()),
            ..one(records, &places, &over, least_um)
        })
        .collect()
}

fn one(records: &Records, places: &[Place], over: &BTreeSet<usize>, least_um: f64) -> FilmLeft {
    let n = places.len().max(1) as f64;
    let mean = |of: fn(&Place) -> f64| places.iter().map(of).sum::<f64>() / n;
    let (film_um, removed_um) = (mean(|p| p.film_um), mean(|p| p.removed_um));
    let origin = film_um - removed_um;
    let mut by_panel: BTreeMap<usize, Sums> = BTreeMap::new();
    for place in places {
        let left = place.film_um - place.removed_um - origin;
        by_panel.entry(place.panel).or_default().add(left);
    }
    let mut all = Sums::default();
    for sums in by_panel.values() {
        all.join(sums);
    }
    let limit = least_um - origin;
    let score = all.score(limit);
    let panels: Vec<Sums> = by_panel.values().copied().collect();
    let lots = by_lot(records, &by_panel).filter(|lots| lots.len() >= LEAST_LOTS);
    let inspected = by_panel.keys().filter(|&&p| records.panels[p].inspected);
    FilmLeft {
        machine: None,
        head: None,
        least_um,
        panels: by_panel.len(),
        places: places.len(),
        film_um,
        removed_um,
        left_sd_um: all.sd(),
        share_below: score.map(share),
        share_ci: score.and_then(|score| {
            let own = (panels.len() >= LEAST_PANELS).then_some(&panels)?;
            let mut reach = reach(&all, own, limit)?;
            if let Some(lots) = &lots {
                reach = reach.max(self::reach(&all, lots, limit)?);
            }
            Some(Interval {
                low: share(score - reach),
                high: share(score + reach),
                level: LEVEL,
            })
        }),
        places_below: places
            .iter()
            .filter(|p| p.film_um - p.removed_um < least_um)
            .count(),
        inspected: inspected.clone().count(),
        panels_over: inspected.filter(|p| over.contains(p)).count(),
    }
}

fn share(score: f64) -> f64 {
    normal::lower(score)
}

/// Sums by lot; none where a panel's lot is not recorded.
fn by_lot(records: &Records, by_panel: &BTreeMap<usize, Sums>) -> Option<Vec<Sums>> {
    let mut lots: BTreeMap<&str, Sums> = BTreeMap::new();
    for (&panel, sums) in by_panel {
        let lot = records.panels[panel].lot.as_deref()?;
        lots.entry(lot).or_default().join(sums);
    }
    Some(lots.into_values().collect())
}

/// Half the interval on the scale of the Normal score, from clusters left out
/// one at a time.
fn reach(all: &Sums, clusters: &[Sums], limit: f64) -> Option<f64> {
    let left_out: Option<Vec<f64>> = clusters
        .iter()
        .map(|own| all.without(own).score(limit))
        .collect();
    let left_out = left_out?;
    let k = left_out.len() as f64;
    let mean = left_out.iter().sum::<f64>() / k;
    let squares: f64 = left_out.iter().map(|s| (s - mean).powi(2)).sum();
    Some(student_t::two_sided_quantile(LEVEL, k - 1.0) * ((k - 1.0) / k * squares).sqrt())
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::records::{Panel, Reading};
    use approx::assert_relative_eq;

    /// Ten panels of two places, film 25 ± `sd` in all.
    fn records(sd: f64, removed_um: f64) -> Records {
        let mut records = Records::default();
        for panel in 0..10 {
            records.panels.push(Panel::default());
            for sign in [-1.0, 1.0] {
                records.readings.push(Reading {
                    panel,
                    place: None,
                    removed_um: Some(removed_um),
                    film_um: Some(25.0 + sign * sd * (19.0_f64 / 20.0).sqrt()),
                });
            }
        }
        records
    }

    #[test]
    fn the_share_is_the_normal_tail_below_the_limit() {
        // Removal 12 ± 4 on film 25 ± 5: Normal(13, √41) below 0 is 2.1 %;
        // 12 ± 2 on 25 ± 3: 0.02 % (table of the Normal distribution).
        for (sd, expected, within) in [
            (41.0_f64.sqrt(), 0.0212, 0.0001),
            (13.0_f64.sqrt(), 0.000_156, 0.000_002),
        ] {
            let left = &film_left(&records(sd, 12.0), 0.0)[0];
            let share = left.share_below.unwrap();
            assert!((share - expected).abs() < within, "{share}");
            assert_relative_eq!(left.left_sd_um.unwrap(), sd, max_relative = 1e-12);
        }
        let half = &film_left(&records(5.0, 12.0), 13.0)[0];
        assert_relative_eq!(half.share_below.unwrap(), 0.5, max_relative = 1e-12);
        assert_eq!((half.places_below, half.places, half.panels), (10, 20, 10));
    }

    #[test]
    fn places_all_alike_have_no_share_and_removal_below_zero_counts() {
        let alike = &film_left(&records(0.0, -1.0), 0.0)[0];
        assert_eq!((alike.share_below, alike.share_ci), (None, None));
        assert_relative_eq!(alike.removed_um, -1.0);
        assert_eq!(film_left(&Records::default(), 0.0), Vec::new());
    }
}

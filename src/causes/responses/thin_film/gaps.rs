//! Film and removal of panels with marks against panels without.

use crate::causes::ranks::{Count, rank_test};
use crate::stats::Interval;
use crate::stats::cluster_robust::{Cluster, fit};
use faer::Mat;

/// Level of the reported intervals.
const LEVEL: f64 = 0.95;
/// Two-sided level whose one end decides whether film outweighs removal.
const DECIDES: f64 = 0.90;

/// A panel with readings of the film.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct PanelFilm {
    /// Position among the stream's panels.
    pub(crate) at: usize,
    /// Whether it carries marks.
    pub(crate) marked: bool,
    /// Mean film before sanding, µm.
    pub(crate) film_um: f64,
    /// Mean removal, µm.
    pub(crate) removed_um: Option<f64>,
    /// Number of its lot.
    pub(crate) lot: Option<usize>,
    /// Panels of one lot and recipe that followed each other.
    pub(crate) stratum: usize,
}

/// How panels were compared.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Way {
    /// Panels of one lot and recipe with each other.
    WithinLots,
    /// All panels, their lots being the units.
    BetweenLots,
}

/// Mean of the panels with marks less that of the panels without, µm.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Gap {
    /// The estimate.
    pub(crate) estimate: f64,
    /// Its 95 % interval.
    pub(crate) ci: Interval,
    /// Upper end of the interval that decides.
    upper: f64,
    /// Two-sided, against none.
    p_value: f64,
}

impl Gap {
    /// The interval counted the other way.
    pub(crate) fn negated(&self) -> Interval {
        Interval {
            low: -self.ci.high,
            high: -self.ci.low,
            level: self.ci.level,
        }
    }
}

/// What marks go with.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Compared {
    /// The stronger way.
    pub(crate) way: Way,
    /// One-sided, against film that is no thinner; not adjusted for the two ways.
    pub(crate) p_value: f64,
    /// Of the film.
    pub(crate) film: Gap,
    /// Of the removal, where measured.
    pub(crate) removal: Option<Gap>,
    /// Whether the film fell short by more than the removal exceeded: the gap
    /// of film + removal, against which the film's own is set, lies below zero.
    pub(crate) film_outweighs: bool,
}

/// Whether panels with marks had thinner film; none where no comparison can be
/// made. Within lots panels are the units (ranks), between lots the lots are
/// (cluster-robust).
pub(crate) fn compare(panels: &[PanelFilm]) -> Option<Compared> {
    let film = |p: &PanelFilm| Some(p.film_um);
    let within = rank_test(
        &panels
            .iter()
            .map(|p| Count {
                marks: -p.film_um,
                area_m2: 1.0,
                inside: p.marked,
                stratum: p.stratum,
            })
            .collect::<Vec<_>>(),
    )
    .zip(within_lots(panels, film));
    let between = between_lots(panels, film).map(|gap| {
        let p_value = if gap.estimate < 0.0 { gap.p_value } else { 1.0 };
        (p_value, gap)
    });
    let ways = [(Way::WithinLots, within), (Way::BetweenLots, between)];
    let (way, p_value, gap) = ways
        .into_iter()
        .filter_map(|(way, found)| found.map(|(p, gap)| (way, p, gap)))
        .min_by(|a, b| a.1.total_cmp(&b.1))?;
    let of = |value: fn(&PanelFilm) -> Option<f64>| match way {
        Way::WithinLots => within_lots(panels, value),
        Way::BetweenLots => between_lots(panels, value),
    };
    let removal = of(|p| p.removed_um);
    let both = of(|p| Some(p.film_um + p.removed_um?));
    Some(Compared {
        way,
        p_value,
        film: gap,
        film_outweighs: removal.is_some() && both.is_some_and(|b| b.upper < 0.0),
        removal,
    })
}

/// Least squares with a level for every stratum, panels as clusters.
fn within_lots(panels: &[PanelFilm], value: impl Fn(&PanelFilm) -> Option<f64>) -> Option<Gap> {
    let count = panels.iter().map(|p| p.stratum + 1).max()?;
    let mut sums = vec![[0.0; 3]; count];
    for p in panels {
        if let Some(v) = value(p) {
            let own = &mut sums[p.stratum];
            own[0] += 1.0;
            own[1] += f64::from(u8::from(p.marked));
            own[2] += v;
        }
    }
    let nuisance: Vec<_> = sums
        .iter()
        .map(|s| {
            let level = if s[0] > 0.0 { 1.0 / s[0] } else { 0.0 };
            Mat::from_fn(2, 2, |a, b| if a * b == 1 { level } else { 0.0 })
        })
        .collect();
    let clusters: Vec<Cluster> = panels
        .iter()
        .filter_map(|p| {
            let own = sums[p.stratum];
            let v = value(p)? - own[2] / own[0];
            let marked = f64::from(u8::from(p.marked)) - own[1] / own[0];
            let mut cluster = Cluster::new(2, p.stratum);
            cluster.add(&[marked, 1.0], v);
            Some(cluster)
        })
        .collect();
    gap(&clusters, &nuisance, 1)
}

/// Plain difference, lots as clusters; none where lots are not recorded.
fn between_lots(panels: &[PanelFilm], value: impl Fn(&PanelFilm) -> Option<f64>) -> Option<Gap> {
    let mut clusters: Vec<Option<Cluster>> = Vec::new();
    for p in panels {
        let lot = p.lot?;
        clusters.resize(clusters.len().max(lot + 1), None);
        if let Some(v) = value(p) {
            let own = clusters[lot].get_or_insert_with(|| Cluster::new(2, 0));
            own.add(&[f64::from(u8::from(p.marked)), 1.0], v);
        }
    }
    let clusters: Vec<Cluster> = clusters.into_iter().flatten().collect();
    gap(&clusters, &[], 2)
}

fn gap(clusters: &[Cluster], nuisance: &[Mat<f64>], kept: usize) -> Option<Gap> {
    let gap = fit(clusters, nuisance, kept)?.coefficient(0)?;
    Some(Gap {
        estimate: gap.estimate,
        ci: gap.interval(LEVEL),
        upper: gap.interval(DECIDES).high,
        p_value: gap.p_value(),
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use approx::assert_relative_eq;

    fn panel(marked: bool, film_um: f64, removed_um: f64) -> PanelFilm {
        PanelFilm {
            at: 0,
            marked,
            film_um,
            removed_um: Some(removed_um),
            lot: None,
            stratum: 0,
        }
    }

    #[test]
    fn one_stratum_is_the_difference_of_two_means() {
        let panels = [
            panel(true, 20.0, 12.0),
            panel(true, 22.0, 13.0),
            panel(true, 21.0, 11.0),
            panel(false, 30.0, 12.0),
            panel(false, 31.0, 10.0),
            panel(false, 29.0, 11.0),
        ];
        let compared = compare(&panels).unwrap();
        assert_relative_eq!(compared.film.estimate, -9.0, max_relative = 1e-12);
        assert_relative_eq!(
            compared.removal.unwrap().estimate,
            1.0,
            max_relative = 1e-12
        );
        // Equal groups of three with variance 1: −9 ± t(4)·sqrt(2/3), t(4) at
        // 97.5 % = 2.776445 (any table of Student's t).
        let reach = 2.776_445 * (2.0_f64 / 3.0).sqrt();
        assert_relative_eq!(compared.film.ci.high, -9.0 + reach, max_relative = 1e-6);
        assert!(compared.film_outweighs);
    }

    #[test]
    fn removal_that_exceeds_by_as_much_as_film_falls_short_is_not_outweighed() {
        let mut panels = Vec::new();
        for k in 0..10 {
            let k = f64::from(k);
            panels.push(panel(true, 20.0 + 0.1 * k, 15.0 + 0.1 * k));
            panels.push(panel(false, 23.0 + 0.1 * k, 12.0 + 0.1 * k));
        }
        let compared = compare(&panels).unwrap();
        assert!(compared.p_value < 0.001 && !compared.film_outweighs);
    }

    #[test]
    fn one_bad_lot_carries_nothing_and_constant_film_neither() {
        let lots: Vec<PanelFilm> = (0..40)
            .map(|k| PanelFilm {
                lot: Some(k / 10),
                stratum: k / 10,
                ..panel(
                    k < 10,
                    if k < 10 { 20.0 } else { 30.0 } + (k % 3) as f64,
                    12.0,
                )
            })
            .collect();
        assert_eq!(compare(&lots), None);
        let flat: Vec<PanelFilm> = (0..40).map(|k| panel(k % 4 == 0, 30.0, 12.0)).collect();
        assert_eq!(compare(&flat), None);
    }
}

//! What every panel shares: the machine's slopes, and the taper that keeps to
//! the panel while panels are turned.
//!
//! The slopes s of a panel that lay turned by R are machine a + R·(taper b of
//! all panels + taper of its lot + its own). Three ways to a, by what was
//! turned:
//!
//! - never turned: a and b look alike; the mean is reported and accuses nobody;
//! - turned within lots: every lot's own taper is a nuisance and drops out;
//!   what is left differs from panel to panel, so panels are the clusters;
//! - lots turned as a whole, or not recorded: one b for all; clusters are
//!   panels, and lots where recorded, and the wider interval counts.

use crate::causes::responses::surface::panel_fit::{PanelFit, SLOPES};
use crate::causes::responses::surface::result::{Contrast, Estimate};
use crate::records::Lay;
use crate::stats::Interval;
use crate::stats::cluster_robust::{Cluster, ClusterRobust, fit};
use crate::stats::small_symmetric::{Square, apply, pseudo_inverse};
use faer::Mat;

/// Level of the reported intervals.
pub(in crate::causes) const LEVEL: f64 = 0.95;
/// Least share of the information of all panels that must lie within lots for
/// the comparison inside lots to be used.
const WITHIN_SHARE: f64 = 0.25;

/// Columns: machine x, machine y, taper along the panel's length, its width.
const COLUMNS: usize = 4;
/// Columns of the machine.
const MACHINE: usize = 2;

/// One row per fitted slope of a panel.
#[derive(Debug, Clone, Copy, PartialEq)]
struct Row {
    /// Machine columns and turned taper columns.
    design: [f64; COLUMNS],
    /// The slope, µm per half extent.
    slope: f64,
}

/// A panel's rows and its lot.
#[derive(Debug, Clone, PartialEq)]
struct PanelRows {
    rows: Vec<Row>,
    lot: Option<usize>,
}

/// The machine's slopes and the panels' common taper.
#[derive(Debug, Clone, PartialEq)]
pub(in crate::causes) struct FixedPart {
    /// What told them apart.
    pub(in crate::causes) contrast: Contrast,
    /// The machine's slopes along x and y: without a contrast, the mean.
    pub(in crate::causes) machine: [Option<Estimate>; 2],
    /// Point estimates where no interval can be given.
    pub(in crate::causes) points: [Option<f64>; 2],
    /// Taper along the panel's length and width; none without a contrast.
    pub(in crate::causes) taper: [Option<Estimate>; 2],
    /// Covariance of the machine's slopes in the widest clustering, and the
    /// smaller of its degrees of freedom.
    pub(in crate::causes) spread: Option<(Square<2>, f64)>,
}

/// The turn of the panel frame's slopes into the machine's, by the lay.
pub(in crate::causes) fn turn(lay: Lay) -> Square<2> {
    match lay {
        Lay::Deg0 => [[1.0, 0.0], [0.0, 1.0]],
        Lay::Deg90 => [[0.0, -1.0], [1.0, 0.0]],
        Lay::Deg180 => [[-1.0, 0.0], [0.0, -1.0]],
        Lay::Deg270 => [[0.0, 1.0], [-1.0, 0.0]],
    }
}

/// Finds the fixed part; `lots[i]` belongs to `fits[i]`.
pub(in crate::causes) fn find(fits: &[PanelFit], lots: &[Option<usize>]) -> FixedPart {
    let panels: Vec<PanelRows> = fits.iter().zip(lots).map(|(f, l)| rows_of(f, *l)).collect();
    let lots_known = !panels.is_empty() && panels.iter().all(|p| p.lot.is_some());
    let first = fits.first().map(|f| f.lay);
    if fits.iter().all(|f| Some(f.lay) == first) {
        return untold(&panels, lots_known, Contrast::NeverTurned);
    }

    let Some(pooled) = fit_panels(&panels) else {
        return untold(&panels, lots_known, Contrast::TooFewTurned);
    };
    let pooled_lots = lots_known.then(|| fit_lots(&panels)).flatten();
    let taper = [2, 3].map(|k| widest(&[Some(&pooled), pooled_lots.as_ref()], k));
    if lots_known && let Some(within) = within_lots(&panels, &pooled) {
        return told(&[Some(&within)], taper, Contrast::TurnedWithinLots);
    }
    let contrast = if lots_known {
        Contrast::TurnedLots
    } else {
        Contrast::TurnedPanels
    };
    let found = told(&[Some(&pooled), pooled_lots.as_ref()], taper, contrast);
    if found.machine.iter().any(Option::is_some) {
        return found;
    }
    untold(&panels, lots_known, Contrast::TooFewTurned)
}

fn rows_of(fit: &PanelFit, lot: Option<usize>) -> PanelRows {
    let turned = turn(fit.lay);
    let rows = (0..MACHINE)
        .filter(|&axis| fit.shape.has(SLOPES[axis]))
        .map(|axis| {
            let mut design = [0.0; COLUMNS];
            design[axis] = 1.0;
            design[MACHINE..].copy_from_slice(&turned[axis]);
            Row {
                design,
                slope: fit.coefficients[SLOPES[axis]],
            }
        })
        .collect();
    PanelRows { rows, lot }
}

fn cluster(rows: &[Row], group: usize) -> Cluster {
    let mut out = Cluster::new(COLUMNS, group);
    for row in rows {
        out.add(&row.design, row.slope);
    }
    out
}

fn fit_panels(panels: &[PanelRows]) -> Option<ClusterRobust> {
    let clusters: Vec<_> = panels.iter().map(|p| cluster(&p.rows, 0)).collect();
    fit(&clusters, &[], COLUMNS)
}

fn fit_lots(panels: &[PanelRows]) -> Option<ClusterRobust> {
    fit(&by_lot(panels), &[], COLUMNS)
}

fn by_lot(panels: &[PanelRows]) -> Vec<Cluster> {
    let count = panels
        .iter()
        .filter_map(|p| p.lot)
        .max()
        .map_or(0, |l| l + 1);
    let mut clusters = vec![cluster(&[], 0); count];
    for panel in panels {
        if let Some(lot) = panel.lot {
            for row in &panel.rows {
                clusters[lot].add(&row.design, row.slope);
            }
        }
    }
    clusters
}

/// The machine's slopes with every lot's own taper taken out; none where the
/// lots were turned as a whole, or nearly so.
fn within_lots(panels: &[PanelRows], pooled: &ClusterRobust) -> Option<ClusterRobust> {
    let lots = by_lot(panels);
    // Per lot: the inverse of the taper's cross products and what the taper
    // takes of the machine's columns and of the slopes.
    let mut nuisance = Vec::with_capacity(lots.len());
    let mut fitted = Vec::with_capacity(lots.len());
    for lot in &lots {
        let taper = [
            [lot.cross[(2, 2)], lot.cross[(2, 3)]],
            [lot.cross[(3, 2)], lot.cross[(3, 3)]],
        ];
        let (inverse, _) = pseudo_inverse(&taper);
        let on = |k: usize| apply(&inverse, &[lot.cross[(2, k)], lot.cross[(3, k)]]);
        fitted.push((
            on(0),
            on(1),
            apply(&inverse, &[lot.product[2], lot.product[3]]),
        ));
        nuisance.push(Mat::from_fn(COLUMNS, COLUMNS, |a, b| {
            if a >= MACHINE && b >= MACHINE {
                inverse[a - MACHINE][b - MACHINE]
            } else {
                0.0
            }
        }));
    }
    let clusters: Vec<_> = panels
        .iter()
        .filter_map(|panel| {
            let lot = panel.lot?;
            let (x, y, slope) = &fitted[lot];
            let rows: Vec<Row> = panel
                .rows
                .iter()
                .map(|row| {
                    let taper = [row.design[2], row.design[3]];
                    let take = |b: &[f64; 2]| taper[0] * b[0] + taper[1] * b[1];
                    let mut design = row.design;
                    design[0] -= take(x);
                    design[1] -= take(y);
                    Row {
                        design,
                        slope: row.slope - take(slope),
                    }
                })
                .collect();
            Some(cluster(&rows, lot))
        })
        .collect();
    let within = fit(&clusters, &nuisance, MACHINE)?;
    let told = |way: &ClusterRobust, k: usize| way.coefficient(k).is_some();
    let enough = (0..MACHINE).all(|k| {
        !told(pooled, k)
            || (told(&within, k) && pooled.inverse[(k, k)] >= WITHIN_SHARE * within.inverse[(k, k)])
    });
    (enough && (0..MACHINE).any(|k| told(&within, k))).then_some(within)
}

/// Only the mean: nothing tells machine and part apart.
fn untold(panels: &[PanelRows], lots_known: bool, contrast: Contrast) -> FixedPart {
    let mut alike = panels.to_vec();
    for row in alike.iter_mut().flat_map(|p| p.rows.iter_mut()) {
        row.design[MACHINE..].fill(0.0);
    }
    let plain = fit_panels(&alike);
    let lots = (lots_known && by_lot(&alike).len() > 1).then(|| fit_lots(&alike));
    told(
        &[plain.as_ref(), lots.flatten().as_ref()],
        [None, None],
        contrast,
    )
}

fn told(
    ways: &[Option<&ClusterRobust>],
    taper: [Option<Estimate>; 2],
    contrast: Contrast,
) -> FixedPart {
    let first = ways.iter().flatten().next();
    FixedPart {
        contrast,
        machine: [0, 1].map(|k| widest(ways, k)),
        points: [0, 1].map(|k| {
            let way = first?;
            (way.inverse[(k, k)] > 0.0).then_some(way.estimates[k])
        }),
        taper,
        spread: ways
            .iter()
            .flatten()
            .filter_map(|way| {
                let dof = way.coefficient(0)?.dof.min(way.coefficient(1)?.dof);
                let block = [0, 1].map(|i| [0, 1].map(|j| way.covariance(i, j)));
                Some((block, dof))
            })
            .max_by(|a, b| {
                let size = |s: &(Square<2>, f64)| s.0[0][0] + s.0[1][1];
                size(a).total_cmp(&size(b))
            }),
    }
}

/// The estimate with the wider interval and the larger p of all clusterings;
/// none where one of them cannot vouch for it.
fn widest(ways: &[Option<&ClusterRobust>], k: usize) -> Option<Estimate> {
    let mut out: Option<Estimate> = None;
    for way in ways.iter().flatten() {
        let own = way.coefficient(k)?;
        let next = Estimate {
            estimate: own.estimate,
            std_error: own.std_error,
            ci: own.interval(LEVEL),
            p_value: own.p_value(),
        };
        out = Some(match out {
            None => next,
            Some(before) => Estimate {
                estimate: before.estimate,
                std_error: before.std_error.max(next.std_error),
                ci: wider(before.ci, next.ci),
                p_value: before.p_value.max(next.p_value),
            },
        });
    }
    out
}

fn wider(a: Interval, b: Interval) -> Interval {
    if b.high - b.low > a.high - a.low {
        b
    } else {
        a
    }
}

/// The mean of one term over panels: estimate, interval and test, by panels and
/// by lots, the wider counting. `values[i]` belongs to `lots[i]`.
pub(in crate::causes) fn mean(
    values: &[f64],
    lots: &[Option<usize>],
) -> (Option<f64>, Option<Estimate>) {
    let panels: Vec<PanelRows> = values
        .iter()
        .zip(lots)
        .map(|(&slope, &lot)| PanelRows {
            rows: vec![Row {
                design: [1.0, 0.0, 0.0, 0.0],
                slope,
            }],
            lot,
        })
        .collect();
    let lots_known = !panels.is_empty() && panels.iter().all(|p| p.lot.is_some());
    let found = untold(&panels, lots_known, Contrast::NeverTurned);
    (found.points[0], found.machine[0])
}

//! What every panel shares: the machine's slopes, and the taper that keeps to
//! the panel while panels are turned.
//!
//! The slopes s of a panel that lay turned by R are machine a + R·(taper b of
//! all panels + taper of its lot + its own). Three ways to a, by what was
//! turned:
//!
//! - never turned: a and b look alike; the mean is reported and accuses nobody;
//! - turned among panels alike in lot, part number, supplier and inspector: the
//!   taper of every such stratum is a nuisance and drops out; what is left
//!   differs from panel to panel, so panels are the clusters;
//! - none of these recorded, or turned only together with one of them: one b for
//!   all; clusters are panels, and lots where recorded, and the wider interval
//!   counts. A rival that went with the lay was never met and is named.
//!
//! The gauge may lean in the frame of the inspection table. Where the lay there
//! is recorded, that slope is a nuisance of every stratum too. The taper has the
//! same rights: it is asked for among panels alike in inspector and fixture, the
//! machine's slope and the table's free in each.

use super::meeting::{Asked, Company, Meeting};
use crate::causes::Rival;
use crate::causes::responses::surface::panel_fit::{PanelFit, SLOPES};
use crate::causes::responses::surface::result::{Contrast, Estimate};
use crate::records::Lay;
use crate::stats::Interval;
use crate::stats::cluster_robust::{Cluster, ClusterRobust, fit};
use crate::stats::small_symmetric::Square;

/// Level of the reported intervals.
pub(crate) const LEVEL: f64 = 0.95;
/// Columns: machine x, machine y; taper along the panel's length, its width;
/// table x, table y.
pub(super) const COLUMNS: usize = 6;
/// Columns of the machine, and of each other frame.
pub(super) const MACHINE: usize = 2;
/// One row per fitted slope of a panel.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Row {
    /// Machine columns, turned taper columns, turned table columns.
    pub(super) design: [f64; COLUMNS],
    /// The slope, µm per half extent.
    pub(super) slope: f64,
}

/// A panel's rows and its lot.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct PanelRows {
    pub(super) rows: Vec<Row>,
    lot: Option<usize>,
}

/// The machine's slopes and the panels' common taper.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct FixedPart {
    /// What told them apart.
    pub(crate) contrast: Contrast,
    /// The machine's slopes along x and y: without a contrast, the mean.
    pub(crate) machine: [Option<Estimate>; 2],
    /// Point estimates where no interval can be given.
    pub(crate) points: [Option<f64>; 2],
    /// Taper along the panel's length and width; none without a contrast.
    pub(crate) taper: [Option<Estimate>; 2],
    /// Covariance of the machine's slopes in the widest clustering, and the
    /// smaller of its degrees of freedom.
    pub(crate) spread: Option<(Square<2>, f64)>,
    /// Recorded rivals that the machine's slopes never met, as the lay went with
    /// them.
    pub(crate) machine_open: Vec<Rival>,
    /// The same for the taper.
    pub(crate) taper_open: Vec<Rival>,
}

/// The turn of the panel frame's slopes into the machine's, by the lay.
pub(crate) fn turn(lay: Lay) -> Square<2> {
    match lay {
        Lay::Deg0 => [[1.0, 0.0], [0.0, 1.0]],
        Lay::Deg90 => [[0.0, -1.0], [1.0, 0.0]],
        Lay::Deg180 => [[-1.0, 0.0], [0.0, -1.0]],
        Lay::Deg270 => [[0.0, 1.0], [-1.0, 0.0]],
    }
}

/// Finds the fixed part; `company[i]` belongs to `fits[i]`.
pub(crate) fn find(fits: &[PanelFit], company: &[Company]) -> FixedPart {
    let panels: Vec<PanelRows> = (fits.iter().zip(company))
        .map(|(f, c)| rows_of(f, c))
        .collect();
    let lots_known = !panels.is_empty() && panels.iter().all(|p| p.lot.is_some());
    let first = fits.first().map(|f| f.lay);
    if fits.iter().all(|f| Some(f.lay) == first) {
        return untold(&panels, lots_known, Contrast::NeverTurned);
    }

    let plain = without_table(&panels);
    let Some(pooled) = fit_panels(&plain) else {
        return untold(&panels, lots_known, Contrast::TooFewTurned);
    };
    let pooled_lots = lots_known.then(|| fit_lots(&plain)).flatten();
    let meet = |asked| Meeting {
        panels: &panels,
        plain: &plain,
        company,
        pooled: &pooled,
        asked,
    };
    let of_taper = meet(Asked::Taper);
    let taper_fair = of_taper
        .recorded()
        .then(|| of_taper.among_alike())
        .flatten();
    let taper = [0, 1].map(|k| match &taper_fair {
        Some(fair) => widest(&[Some(fair)], k),
        None => widest(&[Some(&pooled), pooled_lots.as_ref()], MACHINE + k),
    });
    let taper_open = if taper_fair.is_none() {
        of_taper.never_met()
    } else {
        Vec::new()
    };
    let of_machine = meet(Asked::Machine);
    if of_machine.recorded()
        && let Some(within) = of_machine.among_alike()
    {
        return FixedPart {
            taper_open,
            ..told(&[Some(&within)], taper, Contrast::TurnedAmongAlike)
        };
    }
    let machine_open = of_machine.never_met();
    let contrast = if machine_open.is_empty() {
        Contrast::TurnedPanels
    } else {
        Contrast::TurnedWithOthers
    };
    let found = told(&[Some(&pooled), pooled_lots.as_ref()], taper, contrast);
    if found.machine.iter().any(Option::is_some) {
        return FixedPart {
            machine_open,
            taper_open,
            ..found
        };
    }
    FixedPart {
        machine_open,
        taper_open,
        ..untold(&panels, lots_known, Contrast::TooFewTurned)
    }
}

fn rows_of(fit: &PanelFit, company: &Company) -> PanelRows {
    let turned = turn(fit.lay);
    // A table whose lay was not written down is taken to lie as the cell does:
    // then it is not told from the machine.
    let there = turn(company.inspect_lay.unwrap_or(fit.lay));
    let rows = (0..MACHINE)
        .filter(|&axis| fit.shape.has(SLOPES[axis]))
        .map(|axis| {
            let mut design = [0.0; COLUMNS];
            design[axis] = 1.0;
            design[MACHINE..2 * MACHINE].copy_from_slice(&turned[axis]);
            // Out of the table's frame into the panel's, and on into the machine's.
            for (k, column) in design[2 * MACHINE..].iter_mut().enumerate() {
                *column = (0..MACHINE).map(|p| turned[axis][p] * there[k][p]).sum();
            }
            Row {
                design,
                slope: fit.coefficients[SLOPES[axis]],
            }
        })
        .collect();
    PanelRows {
        rows,
        lot: company.levels[0],
    }
}

/// The same panels as if no table leaned.
fn without_table(panels: &[PanelRows]) -> Vec<PanelRows> {
    let mut out = panels.to_vec();
    for row in out.iter_mut().flat_map(|p| p.rows.iter_mut()) {
        row.design[2 * MACHINE..].fill(0.0);
    }
    out
}

pub(super) fn cluster(rows: &[Row], group: usize) -> Cluster {
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
        machine_open: Vec::new(),
        taper_open: Vec::new(),
    }
}

/// The estimate with the wider interval and the larger p of all clusterings;
/// none where one of them cannot vouch for it.
fn widest(ways: &[Option<&ClusterRobust>], k: usize) -> Option<Estimate> {
    let width = |ci: Interval| ci.high - ci.low;
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
                ci: if width(next.ci) > width(before.ci) {
                    next.ci
                } else {
                    before.ci
                },
                p_value: before.p_value.max(next.p_value),
            },
        });
    }
    out
}

/// The mean of one term over panels: estimate, interval and test, by panels and
/// by lots, the wider counting. `values[i]` belongs to `lots[i]`.
pub(crate) fn mean(values: &[f64], lots: &[Option<usize>]) -> (Option<f64>, Option<Estimate>) {
    let panels: Vec<PanelRows> = values
        .iter()
        .zip(lots)
        .map(|(&slope, &lot)| PanelRows {
            rows: vec![Row {
                design: [1.0, 0.0, 0.0, 0.0, 0.0, 0.0],
                slope,
            }],
            lot,
        })
        .collect();
    let lots_known = !panels.is_empty() && panels.iter().all(|p| p.lot.is_some());
    let found = untold(&panels, lots_known, Contrast::NeverTurned);
    (found.points[0], found.machine[0])
}

#[cfg(test)]
mod tests {
    use std::sync::Arc;

    use crate::causes::{Contrast, Rival, Surface, SurfaceCause, surfaces};
    use crate::records::{Lay, Panel, Point, Reading, Records};

    /// 48 panels of four lots, every other one turned, with four corners read on
    /// each; `company` fills in what a panel came with. The slope is 3 µm along
    /// machine x on all, and a little else on each.
    fn leaning(company: impl Fn(usize, &mut Panel)) -> Surface {
        let mut records = Records::default();
        for i in 0..48 {
            let mut panel = Panel {
                id: format!("{i}"),
                lot: Some(Arc::from(format!("L{}", i / 12))),
                length_mm: 600.0,
                width_mm: 400.0,
                lay: [Lay::Deg0, Lay::Deg180][i % 2],
                ..Panel::default()
            };
            company(i, &mut panel);
            let own = (i * 7 % 11) as f64 / 11.0 - 0.5;
            for (x, y) in [(0.0, 0.0), (600.0, 0.0), (0.0, 400.0), (600.0, 400.0)] {
                let at = panel.to_machine(Point { x, y });
                let across = (i * 5 % 13) as f64 / 13.0 - 0.5;
                let slope = (3.0 + own) * (at.x / 300.0 - 1.0) + across * (at.y / 200.0 - 1.0);
                records.readings.push(Reading {
                    panel: i,
                    place: Some(Point { x, y }),
                    removed_um: Some(20.0 + slope),
                    film_um: None,
                });
            }
            records.panels.push(panel);
        }
        surfaces(&records, 0.01).remove(0)
    }

    fn name(i: usize) -> Option<Arc<str>> {
        Some(Arc::from(["A", "B"][i % 2]))
    }

    #[test]
    fn a_slope_among_panels_alike_in_everything_is_the_machines() {
        let fourth = |i: usize| name(i / 2);
        let surface = leaning(|i, panel| {
            (panel.part, panel.inspector) = (fourth(i), fourth(i / 2));
        });
        assert_eq!(surface.contrast, Contrast::TurnedAmongAlike);
        assert_eq!(surface.cause, SurfaceCause::Machine);
    }

    #[test]
    fn nobody_leans_where_another_column_went_with_the_lay() {
        type Fill = fn(usize, &mut Panel);
        let columns: [(Rival, Fill); 4] = [
            (Rival::Lot, |i, p| {
                p.lot = Some(Arc::from(format!("L{}{}", i / 6, i % 2)));
            }),
            (Rival::Part, |i, p| p.part = name(i)),
            (Rival::Supplier, |i, p| p.supplier = name(i)),
            (Rival::Inspector, |i, p| p.inspector = name(i)),
        ];
        for (rival, fill) in columns {
            let surface = leaning(fill);
            assert_eq!(surface.cause, SurfaceCause::Undecided, "{rival:?}");
            assert_eq!(surface.evidence.machine_open, [rival]);
        }
    }

    #[test]
    fn gauges_that_lean_each_their_way_are_not_panels_that_differ() {
        let gauges = |leans: bool| {
            let mut records = Records::default();
            for i in 0..48 {
                let lean = [-2.0, 2.0][i % 2];
                let mut panel = Panel {
                    id: format!("{i}"),
                    length_mm: 600.0,
                    width_mm: 400.0,
                    ..Panel::default()
                };
                panel.inspector = if leans { name(i) } else { None };
                for k in 0..9 {
                    let place = Point::new(300.0 * (k % 3) as f64, 200.0 * (k / 3) as f64);
                    let noise = ((i * 9 + k) * 37 % 101) as f64 / 101.0 - 0.5;
                    records.readings.push(Reading {
                        panel: i,
                        place: Some(place),
                        removed_um: Some(20.0 + lean * (place.x / 300.0 - 1.0) + noise),
                        film_um: None,
                    });
                }
                records.panels.push(panel);
            }
            surfaces(&records, 0.01).remove(0).cause
        };
        // Two values that nobody wrote down may be two gauges or two heads.
        assert_eq!(gauges(false), SurfaceCause::Undecided);
        assert_ne!(gauges(true), SurfaceCause::Part);
    }

    #[test]
    fn the_machine_beats_the_table_only_where_panels_lay_otherwise_there() {
        let as_in_the_cell = leaning(|_, panel| panel.inspect_lay = Some(panel.lay));
        assert_eq!(as_in_the_cell.cause, SurfaceCause::Undecided);
        assert_eq!(as_in_the_cell.evidence.machine_open, [Rival::Table]);
        let otherwise = leaning(|i, panel| {
            panel.inspect_lay = Some([Lay::Deg0, Lay::Deg180][i / 2 % 2]);
        });
        assert_eq!(otherwise.cause, SurfaceCause::Machine);
    }
}

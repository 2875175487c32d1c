//! A slope against all who may have gone with the lay: among panels alike in them,
//! what the other frames put on each stratum taken out.

use std::collections::BTreeMap;

use faer::Mat;

use super::fixed_part::{COLUMNS, MACHINE, PanelRows, Row, cluster};
use crate::causes::Rival;
use crate::records::Lay;
use crate::stats::cluster_robust::{ClusterRobust, fit};
use crate::stats::small_symmetric::{apply, dot, pseudo_inverse};

/// Who may go with the lay, in the order of [`Company::levels`].
const RIVALS: [Rival; 5] = [
    Rival::Lot,
    Rival::Part,
    Rival::Supplier,
    Rival::Inspector,
    Rival::Fixture,
];
/// Those that could lean as the machine does, and as a taper of the panels does.
const OF_MACHINE: std::ops::Range<usize> = 0..4;
const OF_TAPER: std::ops::Range<usize> = 3..5;

/// What a panel came with, beside its lay.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub(crate) struct Company {
    /// Lot, part number, supplier, inspector and fixture, numbered; none where
    /// not recorded.
    pub(crate) levels: [Option<usize>; RIVALS.len()],
    /// Lay at the inspection table, where recorded.
    pub(crate) inspect_lay: Option<Lay>,
}

/// Inspector and fixture of a panel.
pub(crate) fn gauge_and_nest(company: &Company) -> &[Option<usize>] {
    &company.levels[OF_TAPER]
}

/// Least share of the information of all panels that must lie among panels alike
/// for the comparison there to be used.
const WITHIN_SHARE: f64 = 0.25;

/// Columns that are free in every stratum.
const NUISANCE: usize = COLUMNS - MACHINE;

/// Whose slopes are asked for.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Asked {
    Machine,
    Taper,
}

/// The machine's slopes, or the taper, against all who may have gone with the lay.
pub(super) struct Meeting<'a> {
    pub(super) panels: &'a [PanelRows],
    /// The same without the table's columns.
    pub(super) plain: &'a [PanelRows],
    pub(super) company: &'a [Company],
    /// Over all panels, one taper for all.
    pub(super) pooled: &'a ClusterRobust,
    pub(super) asked: Asked,
}

impl Meeting<'_> {
    fn rivals(&self) -> std::ops::Range<usize> {
        match self.asked {
            Asked::Machine => OF_MACHINE,
            Asked::Taper => OF_TAPER,
        }
    }

    fn table_recorded(&self) -> bool {
        self.company.iter().any(|c| c.inspect_lay.is_some())
    }

    /// Whether any rival is recorded.
    pub(super) fn recorded(&self) -> bool {
        let known = |c: &Company| c.levels[self.rivals()].iter().any(Option::is_some);
        self.table_recorded() || self.company.iter().any(known)
    }

    /// Among panels alike in all rivals.
    pub(super) fn among_alike(&self) -> Option<ClusterRobust> {
        let panels = if self.table_recorded() {
            self.panels
        } else {
            self.plain
        };
        self.within(panels, self.rivals())
    }

    /// Rivals that varied and that no comparison among panels alike in them clears.
    pub(super) fn never_met(&self) -> Vec<Rival> {
        let varies = |r: &usize| {
            let first = self.company.first().map(|c| c.levels[*r]);
            self.company.iter().any(|c| Some(c.levels[*r]) != first)
        };
        let varied: Vec<usize> = self.rivals().filter(varies).collect();
        let mut out: Vec<Rival> = (varied.iter())
            .filter(|&&r| self.within(self.plain, r..r + 1).is_none())
            .map(|&r| RIVALS[r].clone())
            .collect();
        if self.table_recorded() && self.within(self.panels, 0..0).is_none() {
            out.push(Rival::Table);
        }
        if out.is_empty() {
            // Each was met, but never all at once.
            out.extend(varied.iter().map(|&r| RIVALS[r].clone()));
            out.extend(self.table_recorded().then_some(Rival::Table));
        }
        out
    }

    /// The slopes asked for among panels alike in some rivals, what the other
    /// frames put on each stratum taken out; none where the lay hardly varied there.
    fn within(&self, panels: &[PanelRows], alike: std::ops::Range<usize>) -> Option<ClusterRobust> {
        let mut number: BTreeMap<&[Option<usize>], usize> = BTreeMap::new();
        let strata: Vec<usize> = (self.company.iter())
            .map(|c| {
                let next = number.len();
                *number.entry(&c.levels[alike.clone()]).or_insert(next)
            })
            .collect();
        let asked_first = |row: &Row| {
            let mut row = *row;
            if self.asked == Asked::Taper {
                row.design.swap(0, MACHINE);
                row.design.swap(1, MACHINE + 1);
            }
            row
        };
        let panels: Vec<Vec<Row>> = (panels.iter())
            .map(|p| p.rows.iter().map(asked_first).collect())
            .collect();
        let within = within_strata(&panels, &strata, number.len())?;
        let place = match self.asked {
            Asked::Machine => 0,
            Asked::Taper => MACHINE,
        };
        let told = |way: &ClusterRobust, k: usize| way.coefficient(k).is_some();
        let enough = (0..MACHINE).all(|k| {
            let all = place + k;
            !told(self.pooled, all)
                || (told(&within, k)
                    && self.pooled.inverse[(all, all)] >= WITHIN_SHARE * within.inverse[(k, k)])
        });
        (enough && (0..MACHINE).any(|k| told(&within, k))).then_some(within)
    }
}

/// The first columns of the rows, with the others free in every stratum.
/// `strata[i]` belongs to `panels[i]`.
fn within_strata(panels: &[Vec<Row>], strata: &[usize], count: usize) -> Option<ClusterRobust> {
    let mut sums = vec![cluster(&[], 0); count];
    for (rows, &stratum) in panels.iter().zip(strata) {
        for row in rows {
            sums[stratum].add(&row.design, row.slope);
        }
    }
    // Per stratum: the inverse of the free columns' cross products and what these
    // take of the columns asked for and of the slopes.
    let mut nuisance = Vec::with_capacity(count);
    let mut fitted = Vec::with_capacity(count);
    for sum in &sums {
        let free: [[f64; NUISANCE]; NUISANCE] =
            std::array::from_fn(|a| std::array::from_fn(|b| sum.cross[(MACHINE + a, MACHINE + b)]));
        let (inverse, _) = pseudo_inverse(&free);
        let on = |k: usize| {
            apply(
                &inverse,
                &std::array::from_fn(|a| sum.cross[(MACHINE + a, k)]),
            )
        };
        let slopes = apply(&inverse, &std::array::from_fn(|a| sum.product[MACHINE + a]));
        fitted.push((on(0), on(1), slopes));
        nuisance.push(Mat::from_fn(COLUMNS, COLUMNS, |a, b| {
            if a >= MACHINE && b >= MACHINE {
                inverse[a - MACHINE][b - MACHINE]
            } else {
                0.0
            }
        }));
    }
    let clusters: Vec<_> = (panels.iter().zip(strata))
        .map(|(rows, &stratum)| {
            let (x, y, slope) = &fitted[stratum];
            let rows: Vec<Row> = rows
                .iter()
                .map(|row| {
                    let free: [f64; NUISANCE] = std::array::from_fn(|a| row.design[MACHINE + a]);
                    let mut design = row.design;
                    design[0] -= dot(&free, x);
                    design[1] -= dot(&free, y);
                    Row {
                        design,
                        slope: row.slope - dot(&free, slope),
                    }
                })
                .collect();
            cluster(&rows, stratum)
        })
        .collect();
    fit(&clusters, &nuisance, MACHINE)
}

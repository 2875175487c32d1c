//! A design, its fit and the questions asked of it: terms, predictions.

use std::sync::Arc;

use super::block::Block;
use super::coding::Coding;
use super::design::{Design, Recipe};
use super::doubts::Note;
use super::inference::{Inference, Judged, Shared};
use super::result::{Alias, Estimate, Factor, Term, Together, Unit};
use super::setting::{Factors, Setting, groupings};
use super::spread::{self, Spread};
use crate::records::Records;
use crate::stats::Interval;
use crate::stats::mixed::{Fit, Problem, Response, Variances};

/// What was observed on some panels.
#[derive(Debug, Clone)]
pub(super) struct Observed<'a> {
    /// Indices into `Records::panels`, in time order.
    pub(super) panels: &'a [usize],
    /// Of all panels of the records.
    pub(super) settings: &'a [Setting],
    /// Panel means or counts.
    pub(super) response: Vec<f64>,
    /// Readings per panel; empty for counts.
    pub(super) readings: Vec<f64>,
    /// ln exposure; zeros for removal.
    pub(super) offset: Vec<f64>,
}

impl Observed<'_> {
    /// The setting of an observation.
    pub(super) fn setting(&self, at: usize) -> &Setting {
        &self.settings[self.panels[at]]
    }
}

/// Panels as rows of a design: what models of several responses share.
#[derive(Debug, Clone)]
pub(super) struct Frame {
    pub(super) design: Design,
    /// The observations' panels, indices into `Records::panels`.
    pub(super) panels: Vec<usize>,
    pub(super) groupings: Vec<Shared>,
    /// Groupings whose panels share an effect, units of the fit's `ratios`.
    pub(super) shared: Vec<Shared>,
    /// The design's rows, flat.
    pub(super) x: Vec<f64>,
}

impl Frame {
    /// Lays panels out as rows; why it cannot be done, where it cannot.
    pub(super) fn new(
        records: &Records,
        factors: &Factors,
        panels: &[usize],
        settings: &[Setting],
        recipe: Recipe,
    ) -> Result<Self, Refused> {
        let of_panels: Vec<&Setting> = panels.iter().map(|&p| &settings[p]).collect();
        let design =
            Design::build(factors, &of_panels, recipe).map_err(|(why, aliases, notes)| {
                Refused {
                    why,
                    aliases,
                    notes,
                }
            })?;
        let used: Vec<usize> = design.rows.iter().map(|&i| panels[i]).collect();
        let kept: Vec<&Setting> = used.iter().map(|&p| &settings[p]).collect();
        let groupings = groupings(records, &used, &kept, factors);
        Ok(Self {
            x: rows(&design, kept.into_iter()),
            shared: shared(&groupings, used.len()),
            panels: panels.to_vec(),
            groupings,
            design,
        })
    }

    /// The same with columns for products of columns.
    pub(super) fn with_products(&self, settings: &[Setting], products: &[(usize, usize)]) -> Self {
        let mut design = self.design.clone();
        design.products = products.to_vec();
        design.vif.resize(design.width(), 1.0);
        let kept = design.rows.iter().map(|&i| &settings[self.panels[i]]);
        Self {
            x: rows(&design, kept),
            design,
            panels: self.panels.clone(),
            groupings: self.groupings.clone(),
            shared: self.shared.clone(),
        }
    }

    /// Rows of the observations used, as indices into the observations.
    pub(super) fn used(&self) -> &[usize] {
        &self.design.rows
    }
}

/// A design's rows of settings, flat.
fn rows<'s>(design: &Design, settings: impl ExactSizeIterator<Item = &'s Setting>) -> Vec<f64> {
    let mut x = Vec::with_capacity(settings.len() * design.width());
    settings.for_each(|setting| design.append(setting, &mut x));
    x
}

/// A fitted model.
#[derive(Debug, Clone)]
pub(super) struct Model {
    pub(super) frame: Arc<Frame>,
    pub(super) fit: Fit,
    /// From the coefficients' mean, of lots and days without an effect, to the
    /// mean over all panels, on the log scale.
    pub(super) shift: f64,
    /// Of counts: κ of the negative binomial of all panels, lots and days.
    pub(super) mixing: f64,
    pub(super) level: f64,
}

/// Why there is no model, with what was learnt on the way.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Refused {
    pub(super) why: Note,
    pub(super) aliases: Vec<Alias>,
    pub(super) notes: Vec<Note>,
}

impl Model {
    /// Fits the observations of a frame's panels.
    pub(super) fn fit(
        frame: &Arc<Frame>,
        observed: &Observed<'_>,
        level: f64,
    ) -> Result<Self, Refused> {
        let Frame {
            design, shared, x, ..
        } = &**frame;
        let pick =
            |values: &[f64]| -> Vec<f64> { frame.used().iter().map(|&i| values[i]).collect() };
        let y = pick(&observed.response);
        let offset = pick(&observed.offset);
        let readings = if observed.readings.is_empty() {
            Vec::new()
        } else {
            pick(&observed.readings)
        };
        let fit = Problem {
            x,
            p: design.width(),
            y: &y,
            offset: &offset,
            response: if readings.is_empty() {
                Response::Counts
            } else {
                Response::Means {
                    readings: &readings,
                }
            },
            groupings: &shared.iter().map(|g| &g.groups).collect::<Vec<_>>(),
            variances: Variances::OffZero,
        }
        .fit();
        let Some(fit) = fit else {
            let total: f64 = y.iter().sum();
            let why = if total > 0.0 {
                Note::NotConverged
            } else {
                Note::NoRemoval
            };
            return Err(Refused {
                why,
                aliases: design.aliases.clone(),
                notes: design.notes.clone(),
            });
        };
        let (shift, mixing) = if readings.is_empty() {
            over_all(&fit, x, &y, &offset)
        } else {
            // Lots and days vary by a factor; their mean lies above their median.
            (fit.shared_variance() / 2.0, 0.0)
        };
        Ok(Self {
            frame: frame.clone(),
            fit,
            shift,
            mixing,
            level,
        })
    }

    /// The judge of the model's contrasts.
    pub(super) fn inference(&self) -> Inference<'_> {
        Inference::new(&self.fit, &self.frame.groupings, self.level)
    }

    /// Judges the mean at a setting, over panels of all lots and days.
    pub(super) fn mean(&self, judge: &Inference<'_>, setting: &Setting) -> Estimate {
        exponentiate(&self.middle(judge, setting), self.shift)
    }

    /// Judges the mean at a setting on the log scale, in a lot and on a day of
    /// no effect.
    fn middle(&self, judge: &Inference<'_>, setting: &Setting) -> Judged {
        // All units count at every setting, so that no band jumps where the mean
        // begins to move mainly between lots.
        judge.judge(&self.frame.design.encode(setting), &ALL_UNITS)
    }

    /// How ln removal of panels spreads at a setting.
    pub(super) fn spread_at(&self, judge: &Inference<'_>, setting: &Setting) -> Spread {
        let judged = self.middle(judge, setting);
        // Panels, too, vary by a factor, of which `judged` is the mean.
        let own = self.fit.scale * (1.0 - self.fit.mix).max(0.0);
        let down = own.ln_1p() / 2.0;
        let (sd, sd_limits) = spread::over_panels(self);
        Spread {
            centre: judged.estimate - down,
            centre_ci: judged.ci.map(|ci| Interval {
                low: ci.low - down,
                high: ci.high - down,
                level: ci.level,
            }),
            sd,
            sd_limits,
        }
    }

    /// Judges the ratio of the means at two settings.
    pub(super) fn ratio(&self, judge: &Inference<'_>, from: &Setting, to: &Setting) -> Estimate {
        let (a, b) = (self.frame.design.encode(from), self.frame.design.encode(to));
        let contrast: Vec<f64> = a.iter().zip(&b).map(|(a, b)| b - a).collect();
        exponentiate(&judge.judge(&contrast, &[Unit::Run]), 0.0)
    }

    /// One term per coefficient that belongs to one factor.
    pub(super) fn terms(&self, judge: &Inference<'_>) -> Vec<Term> {
        let mut terms = Vec::new();
        for (index, block) in self.frame.design.blocks.iter().enumerate() {
            let Some(coding) = block.coding() else {
                continue;
            };
            let factor = &block.factors[0];
            if factor.is_allowed_for() {
                continue;
            }
            for offset in 0..coding.width() {
                let column = self.frame.design.column(index) + offset;
                let judged = self.column(judge, column, factor);
                terms.push(term(
                    factor,
                    coding,
                    offset,
                    &judged,
                    self.frame.design.vif[column],
                ));
            }
        }
        terms
    }

    /// Judges one column's coefficient.
    pub(super) fn column(&self, judge: &Inference<'_>, column: usize, factor: &Factor) -> Judged {
        let mut contrast = vec![0.0; self.frame.design.width()];
        contrast[column] = 1.0;
        judge.judge(&contrast, &[unit_of(factor)])
    }

    /// Columns whose coefficients speak of the recipe, with their factor; the
    /// common movement of tied factors goes by the first of them.
    pub(super) fn recipe_columns(&self) -> Vec<(usize, Factor)> {
        let recipe = |b: &Block| !b.factors[0].is_allowed_for();
        self.frame
            .design
            .blocks
            .iter()
            .enumerate()
            .filter(|(_, b)| recipe(b))
            .flat_map(|(index, b)| {
                let start = self.frame.design.column(index);
                (start..start + b.width()).map(|c| (c, b.factors[0].clone()))
            })
            .collect()
    }

    /// Fills in what tied factors do together: from the setting at one end of
    /// their common movement to that at the other.
    pub(super) fn together(
        &self,
        judge: &Inference<'_>,
        factors: &Factors,
        settings: &[Setting],
    ) -> Vec<Alias> {
        let mut aliases = self.frame.design.aliases.clone();
        for (index, block) in self.frame.design.blocks.iter().enumerate() {
            if !block.is_joint() {
                continue;
            }
            let (start, width) = (self.frame.design.column(index), block.width());
            let mut low: Option<(f64, &Setting)> = None;
            let mut high: Option<(f64, &Setting)> = None;
            for &i in self.frame.used() {
                let setting = &settings[self.frame.panels[i]];
                let at = self.frame.design.encode(setting)[start];
                if low.is_none_or(|l| at < l.0) {
                    low = Some((at, setting));
                }
                if high.is_none_or(|h| at > h.0) {
                    high = Some((at, setting));
                }
            }
            let (Some((_, low)), Some((_, high))) = (low, high) else {
                continue;
            };
            let (a, b) = (
                self.frame.design.encode(low),
                self.frame.design.encode(high),
            );
            let contrast: Vec<f64> = (0..a.len())
                .map(|c| {
                    if (start..start + width).contains(&c) {
                        b[c] - a[c]
                    } else {
                        0.0
                    }
                })
                .collect();
            let ratio = exponentiate(&judge.judge(&contrast, &[Unit::Run]), 0.0);
            let ends = block
                .factors
                .iter()
                .filter_map(|f| {
                    let at = factors.position(f)?;
                    Some((f.clone(), low[at].clone()?, high[at].clone()?))
                })
                .collect();
            if let Some(alias) = aliases.iter_mut().find(|a| a.factors == block.factors) {
                alias.together = Some(Together {
                    ends,
                    ratio: ratio.estimate,
                    ratio_ci: ratio.ci,
                });
            }
        }
        aliases
    }
}

/// Shift and κ of counts at which the expected total of marks and the expected
/// number of panels hit are those observed. The variances between lots and days
/// would give both as well, but a few dozen hits hardly know these, and what a
/// panel's chance is must not hang on them.
fn over_all(fit: &Fit, x: &[f64], y: &[f64], offset: &[f64]) -> (f64, f64) {
    let rows = x.chunks_exact(fit.p).zip(offset);
    let means: Vec<f64> = rows
        .map(|(row, offset)| {
            let eta: f64 = row.iter().zip(&fit.beta).map(|(x, b)| x * b).sum();
            (eta + offset).exp()
        })
        .collect();
    let ratio = y.iter().sum::<f64>() / means.iter().sum::<f64>();
    let hit = y.iter().filter(|y| **y > 0.0).count() as f64;
    let excess = |kappa: f64| {
        let chances = means.iter().map(|m| chance_of_any(m * ratio, kappa));
        chances.sum::<f64>() - hit
    };
    let (mut low, mut high) = MIXING;
    if excess(low) <= 0.0 {
        return (ratio.ln(), 0.0);
    }
    for _ in 0..60 {
        let middle = f64::sqrt(low * high);
        if excess(middle) > 0.0 {
            low = middle;
        } else {
            high = middle;
        }
    }
    (ratio.ln(), low)
}

/// Smallest and largest κ looked at; below, marks come one by one.
const MIXING: (f64, f64) = (1e-6, 1e4);

/// Chance of at least one mark of a negative binomial: 1 − (1 + κμ)^(−1/κ).
pub(super) fn chance_of_any(mean: f64, kappa: f64) -> f64 {
    if kappa > MIXING.0 {
        -(-(kappa * mean).ln_1p() / kappa).exp_m1()
    } else {
        -(-mean).exp_m1()
    }
}

const ALL_UNITS: [Unit; 4] = [Unit::Run, Unit::Life, Unit::Day, Unit::Lot];

/// Most groups beside those of the grouping with most: they cost a dense matrix.
const MOST_GROUPS: usize = 240;
/// Days beyond this are gathered into blocks of days.
const MOST_DAYS: usize = 120;

/// Groupings whose panels share an effect: lots, days, stretches of one setting
/// of more than single panels, each partition once.
fn shared(groupings: &[Shared], panels: usize) -> Vec<Shared> {
    let mut kept: Vec<Shared> = Vec::new();
    for unit in [Unit::Lot, Unit::Day, Unit::Run] {
        let Some(found) = groupings.iter().find(|g| g.unit == unit) else {
            continue;
        };
        let mut grouping = found.clone();
        if unit == Unit::Day && grouping.groups.count > MOST_DAYS {
            let blocks = grouping.groups.count.div_ceil(MOST_DAYS);
            for day in &mut grouping.groups.of {
                *day /= blocks;
            }
            grouping.groups.count = grouping.groups.count.div_ceil(blocks);
        }
        let known = kept.iter().any(|k| same(k, &grouping));
        if grouping.groups.count >= 2 && 3 * grouping.groups.count <= 2 * panels && !known {
            kept.push(grouping);
        }
    }
    let dense = |kept: &[Shared]| {
        let counts = || kept.iter().map(|g| g.groups.count);
        counts().sum::<usize>() - counts().max().unwrap_or(0)
    };
    while dense(&kept) > MOST_GROUPS {
        kept.pop();
    }
    kept
}

/// Whether two groupings part the panels alike.
fn same(a: &Shared, b: &Shared) -> bool {
    let pairs: std::collections::BTreeSet<(usize, usize)> = a
        .groups
        .of
        .iter()
        .copied()
        .zip(b.groups.of.iter().copied())
        .collect();
    a.groups.count == b.groups.count && pairs.len() == a.groups.count
}

/// What counts as one setting of a factor in any case.
pub(super) fn unit_of(factor: &Factor) -> Unit {
    match factor {
        Factor::AbrasiveAge | Factor::FreshAbrasive => Unit::Life,
        _ => Unit::Run,
    }
}

/// A judged logarithm as a ratio.
pub(super) fn exponentiate(judged: &Judged, shift: f64) -> Estimate {
    Estimate {
        estimate: (judged.estimate + shift).exp(),
        ci: judged.ci.map(|ci| Interval {
            low: (ci.low + shift).exp(),
            high: (ci.high + shift).exp(),
            level: ci.level,
        }),
    }
}

fn term(factor: &Factor, coding: &Coding, offset: usize, judged: &Judged, vif: f64) -> Term {
    let power = matches!(coding, Coding::Log { .. } | Coding::Exposure { .. });
    let ratio = (!power).then(|| exponentiate(judged, 0.0));
    let (level, against) = match coding {
        Coding::Levels { levels, .. } => {
            (Some(levels[offset + 1].clone()), Some(levels[0].clone()))
        }
        _ => (None, None),
    };
    Term {
        factor: factor.clone(),
        exponent: power.then_some(judged.estimate),
        ci: judged.ci.filter(|_| power),
        theory: factor.theory().filter(|_| power),
        level,
        against,
        ratio: ratio.map(|r| r.estimate),
        ratio_ci: ratio.and_then(|r| r.ci),
        p_value: judged.p_value,
        std_error: judged.std_error,
        dof: judged.dof,
        unit: judged.unit,
        vif: Some(vif),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::stats::mixed::Grouping;

    #[test]
    fn stretches_of_single_panels_share_nothing() {
        let kept = |groups: usize| {
            let runs = Shared {
                unit: Unit::Run,
                groups: Grouping::by_key((0..9).map(|i| i % groups)),
            };
            shared(&[runs], 9).len()
        };
        // Up to two groups of three panels.
        assert_eq!([1, 2, 6, 7, 9].map(kept), [0, 1, 1, 0, 0]);
    }
}

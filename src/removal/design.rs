//! The design: which factors get columns, and which cannot be told apart.

use faer::{Mat, Side};

use super::coding::{Coding, FRESH_UP_TO, Unused, coding};
use super::doubts::Note;
use super::result::{Alias, Factor};
use super::setting::{Factors, Setting, number};

/// Columns of one factor, or the common movement of several.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Block {
    pub(super) factors: Vec<Factor>,
    codings: Vec<Coding>,
    /// For factors that only moved together: each direction's weights over the
    /// codings' columns.
    directions: Option<Vec<Vec<f64>>>,
}

impl Block {
    pub(super) fn width(&self) -> usize {
        self.directions
            .as_ref()
            .map_or_else(|| self.codings.iter().map(Coding::width).sum(), Vec::len)
    }

    /// The coding of a block of one factor.
    pub(super) fn coding(&self) -> Option<&Coding> {
        match (&self.directions, self.codings.as_slice()) {
            (None, [one]) => Some(one),
            _ => None,
        }
    }

    pub(super) fn is_joint(&self) -> bool {
        self.directions.is_some()
    }

    fn encode(&self, setting: &Setting, row: &mut Vec<f64>) {
        let Some(directions) = &self.directions else {
            for coding in &self.codings {
                coding.encode(setting, row);
            }
            return;
        };
        let mut raw = Vec::new();
        for coding in &self.codings {
            coding.encode(setting, &mut raw);
        }
        row.extend(
            directions
                .iter()
                .map(|d| d.iter().zip(&raw).map(|(w, v)| w * v).sum::<f64>()),
        );
    }

    fn holds(&self, factor: &Factor) -> bool {
        self.factors.contains(factor)
    }

    /// Cells, parts and the like are there to be allowed for, not to be moved.
    fn is_nuisance(&self) -> bool {
        self.factors.iter().all(Factor::is_allowed_for)
    }
}

/// The columns of a model and what they leave out.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Design {
    pub(super) blocks: Vec<Block>,
    /// Products of columns (without the intercept's), for interactions.
    pub(super) products: Vec<(usize, usize)>,
    /// Rows of the caller's settings that have all factors.
    pub(super) rows: Vec<usize>,
    pub(super) aliases: Vec<Alias>,
    pub(super) notes: Vec<Note>,
    /// Variance inflation of every column, intercept first.
    pub(super) vif: Vec<f64>,
    /// Condition number of the scaled columns.
    pub(super) condition: f64,
}

/// What a design is built with.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub(super) struct Recipe {
    /// Grain size in place of grit categories.
    pub(super) grain: bool,
    /// Rate of the abrasive's decay per panel, 0 for an even one.
    pub(super) rate: f64,
}

/// R² above which two factors count as moved together (a variance inflation of
/// five), and above which one counts as tied to several, or to the machine
/// (twenty): with few settings some of the latter come by chance, and the
/// intervals are wide enough to say so. Usual limits are five to ten.
const PAIR_TIED: f64 = 0.8;
const TIED: f64 = 0.95;
/// Directions of a common movement that carry less than this share of the
/// strongest are no movement.
const FLAT: f64 = 0.12;
/// What is allowed for only as far as the panels carry it, the first to go first.
const SPARED: [Factor; 3] = [Factor::Size, Factor::Inspector, Factor::Part];
/// Days on which a setting must go with the hour: over fewer, the hour is no more
/// than the order in time.
const DAYS: usize = 5;
/// Panels this near by the clock, in hours, count as equally near: days that
/// follow each other must not be taken for the same hour.
const SAME_TIME: f64 = 0.05;
/// So many panels on either side are looked at.
const LOOKED_AT: usize = 32;
/// Exposure is a factor of its own if its logs spread at least so much.
const EXPOSURE_MOVES: f64 = 0.03;
/// Rows beyond the coefficients that a fit needs.
const SPARE_ROWS: usize = 3;
/// Fresh panels needed to set them apart, and others to set them apart from.
const FRESH_PANELS: (usize, usize) = (4, 10);

impl Design {
    /// Builds the design over the settings (in time order).
    ///
    /// Fails with the reason where nothing varies or rows are too few; the
    /// design's aliases and notes are returned in either case.
    pub(super) fn build(
        factors: &Factors,
        settings: &[&Setting],
        recipe: Recipe,
    ) -> Result<Self, (Note, Vec<Alias>, Vec<Note>)> {
        let mut notes = Vec::new();
        let mut aliases = Vec::new();
        let used = usable(factors, settings, recipe, &mut notes);
        let rows: Vec<usize> = (0..settings.len())
            .filter(|&i| used.iter().all(|&k| settings[i][k].is_some()))
            .collect();
        if rows.len() < settings.len() {
            notes.push(Note::Incomplete {
                panels: settings.len() - rows.len(),
            });
        }
        let complete: Vec<&Setting> = rows.iter().map(|&i| settings[i]).collect();
        let mut blocks = Vec::new();
        for &at in &used {
            let factor = &factors.list[at];
            match coding(factor, at, &complete, recipe.rate) {
                Ok(coded) => blocks.push(Block {
                    factors: vec![factor.clone()],
                    codings: vec![coded.centred(&complete)],
                    directions: None,
                }),
                Err(Unused::Constant) if !factor.is_allowed_for() && *factor != Factor::Recipe => {
                    aliases.push(Alias {
                        factors: vec![if *factor == Factor::Grain {
                            Factor::Grit
                        } else {
                            factor.clone()
                        }],
                        r_squared: None,
                        condition: None,
                        together: None,
                    });
                }
                Err(_) => {}
            }
        }
        // A recipe's name stands in where nothing behind it is known to vary.
        if blocks.iter().any(|b| {
            !b.is_nuisance() && !b.holds(&Factor::Recipe) && !b.holds(&Factor::AbrasiveAge)
        }) {
            blocks.retain(|b| !b.holds(&Factor::Recipe));
        }
        add_fresh(&mut blocks, &complete, factors);
        let mut design = Design {
            blocks,
            products: Vec::new(),
            rows,
            aliases,
            notes,
            vif: Vec::new(),
            condition: 1.0,
        };
        design.untie(&complete, factors);
        design.tie_to_hour(&complete, factors);
        let enough = |d: &Design| d.rows.len() >= d.width() + SPARE_ROWS;
        for spare in std::iter::once(Factor::FreshAbrasive).chain(SPARED) {
            if !enough(&design) {
                design.blocks.retain(|b| !b.holds(&spare));
            }
        }
        if design.blocks.iter().all(Block::is_nuisance) {
            let why = if complete.len() < 2 + SPARE_ROWS {
                Note::TooFewPanels {
                    panels: complete.len(),
                    needed: 2 + SPARE_ROWS,
                }
            } else {
                Note::NothingVaries
            };
            return Err((why, design.aliases, design.notes));
        }
        if !enough(&design) {
            let why = Note::TooFewPanels {
                panels: design.rows.len(),
                needed: design.width() + SPARE_ROWS,
            };
            return Err((why, design.aliases, design.notes));
        }
        design.measure(&complete);
        Ok(design)
    }

    /// Columns, intercept included.
    pub(super) fn width(&self) -> usize {
        1 + self.blocks.iter().map(Block::width).sum::<usize>() + self.products.len()
    }

    /// First column of a block.
    pub(super) fn column(&self, block: usize) -> usize {
        1 + self.blocks[..block].iter().map(Block::width).sum::<usize>()
    }

    /// The row of a setting; a missing value stands for the mean.
    pub(super) fn encode(&self, setting: &Setting) -> Vec<f64> {
        let mut row = vec![1.0];
        for block in &self.blocks {
            block.encode(setting, &mut row);
        }
        for &(a, b) in &self.products {
            row.push(row[a] * row[b]);
        }
        row
    }

    /// Positions in a [`Setting`] that the design reads, ages aside.
    pub(super) fn positions(&self) -> Vec<usize> {
        let mut all: Vec<usize> = self
            .blocks
            .iter()
            .flat_map(|b| b.codings.iter().flat_map(Coding::positions))
            .collect();
        all.sort_unstable();
        all
    }

    /// The block of a factor that has coefficients of its own.
    pub(super) fn block_of(&self, factor: &Factor) -> Option<usize> {
        self.blocks
            .iter()
            .position(|b| !b.is_joint() && b.holds(factor))
    }

    /// Replaces tied factors by what can be told of them.
    fn untie(&mut self, settings: &[&Setting], factors: &Factors) {
        // Every round removes a block or merges two.
        while let Some(tie) = worst_tie(&self.blocks, settings) {
            let mut tied: Vec<usize> = tie.blocks.clone();
            tied.sort_unstable();
            let holds = |f: &Factor| tied.iter().any(|&b| self.blocks[b].holds(f));
            if holds(&Factor::FreshAbrasive) {
                self.blocks.retain(|b| !b.holds(&Factor::FreshAbrasive));
                continue;
            }
            if tied.iter().all(|&b| self.blocks[b].is_nuisance()) {
                if let Some(spare) = SPARED.iter().find(|f| holds(f)) {
                    self.blocks.retain(|b| !b.holds(spare));
                }
                continue;
            }
            let names: Vec<Factor> = tied
                .iter()
                .flat_map(|&b| self.blocks[b].factors.clone())
                .collect();
            let nuisance = tied.iter().any(|&b| self.blocks[b].is_nuisance());
            self.aliases
                .retain(|a| !a.factors.iter().all(|f| names.contains(f)));
            self.aliases.push(Alias {
                factors: names.clone(),
                r_squared: Some(tie.r_squared),
                condition: tie.condition,
                together: None,
            });
            let taken: Vec<Block> = tied.iter().map(|&b| self.blocks[b].clone()).collect();
            let first = tied[0];
            let mut index = 0;
            self.blocks.retain(|b| {
                let drop = tied.contains(&index) && !(nuisance && b.is_nuisance());
                index += 1;
                !drop
            });
            if nuisance {
                continue;
            }
            let replacement = if names == [Factor::Feed, Factor::Passes] {
                exposure(settings, factors)
            } else {
                None
            };
            if let Some(block) = replacement.or_else(|| joint(taken, names, settings)) {
                self.blocks.insert(first.min(self.blocks.len()), block);
            }
        }
    }

    /// Marks factors that went with the hour of the day: what they did, the hour
    /// may have done.
    fn tie_to_hour(&mut self, settings: &[&Setting], factors: &Factors) {
        let Some(at) = factors.position(&Factor::Hour) else {
            return;
        };
        let known: Vec<&Setting> = (settings.iter().copied())
            .filter(|s| s[at].is_some())
            .collect();
        let hours: Vec<f64> = known.iter().filter_map(|s| number(&s[at])).collect();
        for block in &mut self.blocks {
            if block.is_nuisance() {
                continue;
            }
            let r_squared = columns(std::slice::from_ref(block), &known)
                .iter()
                .filter_map(|column| explained_by_hour(column, &hours))
                .fold(0.0, f64::max);
            if r_squared <= PAIR_TIED {
                continue;
            }
            let mut names = block.factors.clone();
            names.push(Factor::Hour);
            self.aliases.retain(|a| a.factors != block.factors);
            self.aliases.push(Alias {
                factors: names.clone(),
                r_squared: Some(r_squared),
                condition: None,
                together: None,
            });
            if block.is_joint() {
                block.factors = names;
            } else if let Some(joint) = joint(vec![block.clone()], names, settings) {
                *block = joint;
            }
        }
    }

    /// Variance inflation and condition of the final columns.
    fn measure(&mut self, settings: &[&Setting]) {
        let columns = columns(&self.blocks, settings);
        let correlation = correlations(&columns);
        let p = columns.len();
        self.vif = vec![1.0; p + 1];
        for block in 0..self.blocks.len() {
            let start = self.column(block) - 1;
            let own = start..start + self.blocks[block].width();
            let others: Vec<usize> = (0..p).filter(|c| !own.contains(c)).collect();
            for c in own {
                let free = (1.0 - r_squared(&correlation, c, &others)).max(1e-12);
                self.vif[c + 1] = 1.0 / free;
            }
        }
        self.condition = condition(&correlation).unwrap_or(f64::INFINITY);
    }
}

/// Share of a column's movement that the hour of the day explains: by how much
/// panels of one hour on different days, each with its nearest, differ less than
/// any two. None over few days.
///
/// A form of von Neumann's ratio (1941), Ann. Math. Stat. 12, 367, taken along the
/// clock.
fn explained_by_hour(column: &[f64], hours: &[f64]) -> Option<f64> {
    let day: Vec<f64> = hours.iter().map(|h| (h / 24.0).floor()).collect();
    let mut days = day.clone();
    days.sort_by(f64::total_cmp);
    days.dedup();
    if days.len() < DAYS {
        return None;
    }
    let clock: Vec<f64> = hours.iter().map(|h| h.rem_euclid(24.0)).collect();
    // panels of one time stand in no order, so that those beside each other are not
    // of days that follow each other
    let stand = |i: usize| {
        let time = (clock[i] / SAME_TIME) as usize;
        (time, (i as u64).wrapping_mul(0x9E37_79B9_7F4A_7C15))
    };
    let mut order: Vec<usize> = (0..hours.len()).collect();
    order.sort_by_key(|&i| stand(i));
    let mean = column.iter().sum::<f64>() / column.len() as f64;
    let spread: f64 = column.iter().map(|v| (v - mean).powi(2)).sum();
    let apart: f64 = (order.iter().enumerate())
        .filter_map(|(at, &i)| {
            let away = |j: &usize| (clock[*j] - clock[i]).abs();
            let other = |j: &&usize| day[**j] != day[i];
            let (before, after) = (order[..at].iter().rev(), &order[at + 1..]);
            let nearest = (before.clone().find(other).into_iter())
                .chain(after.iter().find(other))
                .map(away)
                .min_by(f64::total_cmp)?;
            let as_near = |j: &&usize| away(j) <= nearest + SAME_TIME;
            let (sum, count) = (before.take(LOOKED_AT))
                .chain(after.iter().take(LOOKED_AT))
                .filter(as_near)
                .filter(other)
                .fold((0.0, 0.0), |(sum, count), &j| {
                    (sum + (column[j] - column[i]).powi(2), count + 1.0)
                });
            (count > 0.0).then(|| sum / count)
        })
        .sum();
    (spread > 0.0).then(|| 1.0 - apart / (2.0 * spread))
}

/// Factors to be coded: recorded often enough and not standing for another.
fn usable(
    factors: &Factors,
    settings: &[&Setting],
    recipe: Recipe,
    notes: &mut Vec<Note>,
) -> Vec<usize> {
    let mut used = Vec::new();
    for (at, factor) in factors.list.iter().enumerate() {
        let other_scale = match factor {
            Factor::Grain => !recipe.grain,
            Factor::Grit => recipe.grain,
            // The hour has no columns: factors are held against it.
            Factor::Hour => true,
            _ => false,
        };
        if other_scale {
            continue;
        }
        match coding(factor, at, settings, recipe.rate) {
            Err(Unused::Absent) => {}
            Err(Unused::MostlyMissing(share)) => {
                if !factor.is_allowed_for() && *factor != Factor::Recipe {
                    notes.push(Note::MostlyMissing {
                        factor: factor.clone(),
                        share,
                    });
                }
            }
            Err(Unused::TooManyLevels(parts)) => notes.push(Note::PartsLeftOut { parts }),
            // Names may be missing here and there without costing the row.
            Err(Unused::Constant) if factor.is_allowed_for() || *factor == Factor::Recipe => {}
            Err(Unused::Constant) | Ok(_) => used.push(at),
        }
    }
    used
}

fn add_fresh(blocks: &mut Vec<Block>, settings: &[&Setting], factors: &Factors) {
    let Some(at) = factors.position(&Factor::AbrasiveAge) else {
        return;
    };
    let Some(block) = blocks.iter().position(|b| b.holds(&Factor::AbrasiveAge)) else {
        return;
    };
    let fresh = settings
        .iter()
        .filter(|s| number(&s[at]).is_some_and(|age| age <= FRESH_UP_TO))
        .count();
    if fresh >= FRESH_PANELS.0 && settings.len() - fresh >= FRESH_PANELS.1 {
        let coded = Coding::Fresh { at, mean: 0.0 }.centred(settings);
        blocks.insert(
            block + 1,
            Block {
                factors: vec![Factor::FreshAbrasive],
                codings: vec![coded],
                directions: None,
            },
        );
    }
}

/// Feed and passes as passes / feed, if that moves at all.
fn exposure(settings: &[&Setting], factors: &Factors) -> Option<Block> {
    let coded = Coding::Exposure {
        feed: factors.position(&Factor::Feed)?,
        passes: factors.position(&Factor::Passes)?,
        mean: 0.0,
    };
    let block = Block {
        factors: vec![Factor::Exposure],
        codings: vec![coded.centred(settings)],
        directions: None,
    };
    let values = columns(std::slice::from_ref(&block), settings);
    (super::setting::standard_deviation(values.first()?) >= EXPOSURE_MOVES).then_some(block)
}

/// The common movement of the blocks' factors: principal directions of their
/// scaled columns.
fn joint(taken: Vec<Block>, factors: Vec<Factor>, settings: &[&Setting]) -> Option<Block> {
    let codings: Vec<Coding> = taken.into_iter().flat_map(|b| b.codings).collect();
    let mut block = Block {
        factors,
        codings,
        directions: None,
    };
    let columns = columns(std::slice::from_ref(&block), settings);
    let deviations: Vec<f64> = columns
        .iter()
        .map(|c| super::setting::standard_deviation(c))
        .collect();
    let eigen = correlations(&columns)
        .self_adjoint_eigen(Side::Lower)
        .ok()?;
    let (vectors, values) = (eigen.U(), eigen.S());
    let k = columns.len();
    let strongest = (0..k).map(|i| values[i]).fold(0.0, f64::max);
    let directions: Vec<Vec<f64>> = (0..k)
        .rev()
        .filter(|&i| values[i] > FLAT * strongest)
        .map(|i| {
            (0..k)
                .map(|c| {
                    if deviations[c] > 0.0 {
                        vectors[(c, i)] / deviations[c]
                    } else {
                        0.0
                    }
                })
                .collect()
        })
        .collect();
    block.directions = Some(directions);
    Some(block)
}

fn columns(blocks: &[Block], settings: &[&Setting]) -> Vec<Vec<f64>> {
    let width = blocks.iter().map(Block::width).sum();
    let mut columns = vec![Vec::with_capacity(settings.len()); width];
    let mut row = Vec::with_capacity(width);
    for setting in settings {
        row.clear();
        for block in blocks {
            block.encode(setting, &mut row);
        }
        for (column, value) in columns.iter_mut().zip(&row) {
            column.push(*value);
        }
    }
    columns
}

/// Correlations; a column that does not move is correlated with nothing.
fn correlations(columns: &[Vec<f64>]) -> Mat<f64> {
    let scaled: Vec<Vec<f64>> = columns
        .iter()
        .map(|c| {
            let mean = c.iter().sum::<f64>() / c.len().max(1) as f64;
            let length = c.iter().map(|v| (v - mean).powi(2)).sum::<f64>().sqrt();
            c.iter()
                .map(|v| {
                    if length > 0.0 {
                        (v - mean) / length
                    } else {
                        0.0
                    }
                })
                .collect()
        })
        .collect();
    let k = columns.len();
    Mat::from_fn(k, k, |a, b| {
        if a == b {
            1.0
        } else {
            scaled[a].iter().zip(&scaled[b]).map(|(x, y)| x * y).sum()
        }
    })
}

/// Share of a column's movement that the others explain.
fn r_squared(correlation: &Mat<f64>, column: usize, others: &[usize]) -> f64 {
    let k = others.len();
    if k == 0 {
        return 0.0;
    }
    let inner = Mat::from_fn(k, k, |a, b| correlation[(others[a], others[b])]);
    let Ok(eigen) = inner.self_adjoint_eigen(Side::Lower) else {
        return 0.0;
    };
    let (vectors, values) = (eigen.U(), eigen.S());
    let mut explained = 0.0;
    for i in 0..k {
        if values[i] > 1e-10 {
            let along: f64 = (0..k)
                .map(|a| vectors[(a, i)] * correlation[(others[a], column)])
                .sum();
            explained += along * along / values[i];
        }
    }
    explained.clamp(0.0, 1.0)
}

/// Square root of the ratio of extreme eigenvalues; none if singular.
fn condition(correlation: &Mat<f64>) -> Option<f64> {
    let values = correlation.self_adjoint_eigenvalues(Side::Lower).ok()?;
    let low = values.iter().copied().fold(f64::INFINITY, f64::min);
    let high = values.iter().copied().fold(0.0, f64::max);
    (low > 1e-10).then(|| (high / low).sqrt())
}

struct Tie {
    /// The tied block first, then those that explain it.
    blocks: Vec<usize>,
    r_squared: f64,
    condition: Option<f64>,
}

/// The factor that the others explain best, with the fewest others that do, if
/// it is tied at all.
fn worst_tie(blocks: &[Block], settings: &[&Setting]) -> Option<Tie> {
    let columns = columns(blocks, settings);
    let correlation = correlations(&columns);
    let mut start = 0;
    let ranges: Vec<std::ops::Range<usize>> = blocks
        .iter()
        .map(|b| {
            start += b.width();
            start - b.width()..start
        })
        .collect();
    let explained = |block: usize, by: &[usize]| {
        let others: Vec<usize> = by.iter().flat_map(|&b| ranges[b].clone()).collect();
        ranges[block]
            .clone()
            .map(|c| r_squared(&correlation, c, &others))
            .fold(0.0, f64::max)
    };
    let finish = |tied: Vec<usize>, r_squared: f64| {
        let inside: Vec<usize> = tied.iter().flat_map(|&b| ranges[b].clone()).collect();
        let part = Mat::from_fn(inside.len(), inside.len(), |a, b| {
            correlation[(inside[a], inside[b])]
        });
        Some(Tie {
            blocks: tied,
            r_squared,
            condition: condition(&part),
        })
    };
    let free: Vec<usize> = (0..blocks.len())
        .filter(|&b| !blocks[b].is_nuisance())
        .collect();
    let mut pair = (0, 0, 0.0);
    for &a in &free {
        for &b in &free {
            if a != b {
                let r2 = explained(a, &[b]);
                if r2 > pair.2 {
                    pair = (a, b, r2);
                }
            }
        }
    }
    if pair.2 > PAIR_TIED {
        return finish(vec![pair.0, pair.1], pair.2);
    }
    let rest = |block: usize| -> Vec<usize> { (0..blocks.len()).filter(|&b| b != block).collect() };
    let mut worst = (0, 0.0);
    for block in 0..blocks.len() {
        let r2 = explained(block, &rest(block));
        // Cells and parts may be tied to each other as long as the fit exists.
        let limit_met = !blocks[block].is_nuisance() || r2 > 1.0 - 1e-6;
        if limit_met && r2 > worst.1 {
            worst = (block, r2);
        }
    }
    let (block, r2) = worst;
    if r2 <= TIED {
        return None;
    }
    let mut by: Vec<usize> = Vec::new();
    let mut reached = 0.0;
    while reached <= TIED {
        let next = rest(block)
            .into_iter()
            .filter(|b| !by.contains(b))
            .map(|b| {
                let with: Vec<usize> = by.iter().copied().chain([b]).collect();
                (b, explained(block, &with))
            })
            .fold(None, |best: Option<(usize, f64)>, x| match best {
                Some(b) if b.1 >= x.1 => Some(b),
                _ => Some(x),
            });
        let Some((b, r)) = next else { break };
        by.push(b);
        reached = r;
    }
    let mut tied = vec![block];
    tied.extend(by);
    finish(tied, reached)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::records::{Panel, Records};
    use std::sync::Arc;

    /// 60 panels, each with what `fill` says.
    fn built(fill: impl Fn(usize, &mut Panel)) -> Result<Design, Vec<Alias>> {
        let factors = Factors::of(&Records::default());
        let settings: Vec<Setting> = (0..60)
            .map(|i| {
                let mut panel = Panel {
                    length_mm: 1000.0,
                    width_mm: 600.0,
                    force_n: Some([20.0, 30.0][i / 3 % 2]),
                    ..Panel::default()
                };
                fill(i, &mut panel);
                factors.setting(&panel)
            })
            .collect();
        let settings: Vec<&Setting> = settings.iter().collect();
        Design::build(&factors, &settings, Recipe::default()).map_err(|(_, aliases, _)| aliases)
    }

    fn feed(fast: bool) -> Option<f64> {
        Some(if fast { 130.0 } else { 80.0 })
    }

    #[test]
    fn an_inspector_who_overlaps_with_a_factor_is_allowed_for() {
        let design = built(|i, panel| {
            let second = i % 2 == 1;
            panel.inspector = Some(Arc::from(["A", "B"][i % 2]));
            panel.feed_mm_s = feed(second != (i % 7 == 0));
        })
        .unwrap();
        assert!(design.block_of(&Factor::Inspector).is_some());
        assert!(design.block_of(&Factor::Feed).is_some());
    }

    #[test]
    fn a_factor_that_always_went_with_size_or_inspector_is_inseparable() {
        let with_size = built(|i, panel| {
            panel.length_mm = [1000.0, 1200.0][i % 2];
            panel.feed_mm_s = feed(i % 2 == 1);
        })
        .unwrap();
        let with_inspector = built(|i, panel| {
            panel.inspector = Some(Arc::from(["A", "B"][i % 2]));
            panel.feed_mm_s = feed(i % 2 == 1);
        })
        .unwrap();
        for (design, other) in [
            (with_size, Factor::Size),
            (with_inspector, Factor::Inspector),
        ] {
            assert!(design.block_of(&Factor::Feed).is_none());
            let named = |a: &Alias| a.factors == [Factor::Feed, other.clone()];
            assert!(design.aliases.iter().any(named), "{:?}", design.aliases);
        }
    }

    /// Twelve panels a day for ten days, one every half an hour.
    fn clock() -> Vec<f64> {
        (0..120)
            .map(|i| 24.0 * (i / 12) as f64 + 6.0 + 0.5 * (i % 12) as f64)
            .collect()
    }

    #[test]
    fn a_setting_of_the_second_half_of_every_day_goes_with_the_hour() {
        let hours = clock();
        let late: Vec<f64> = (0..120).map(|i| f64::from(u8::from(i % 12 >= 6))).collect();
        assert!(explained_by_hour(&late, &hours).unwrap() > PAIR_TIED);
        let by_day: Vec<f64> = (0..120).map(|i| f64::from(u8::from(i / 12 >= 5))).collect();
        assert!(explained_by_hour(&by_day, &hours).unwrap() < 0.5);
        let in_turn: Vec<f64> = (0..120).map(|i| f64::from(u8::from(i % 7 < 3))).collect();
        assert!(explained_by_hour(&in_turn, &hours).unwrap() < 0.5);
        let few = 12 * (DAYS - 1);
        assert_eq!(explained_by_hour(&late[..few], &hours[..few]), None);
    }
}

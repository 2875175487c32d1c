//! The design: which factors get columns, and which cannot be told apart.

use super::block::{Block, columns, exposure, joint};
use super::coding::{Coding, FRESH_UP_TO, Unused, coding};
use super::doubts::Note;
use super::hour::explained_by_hour;
use super::result::{Alias, Factor};
use super::setting::{Factors, Setting, number};
use super::ties::{PAIR_TIED, condition, correlations, r_squared, worst_tie};

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
    /// Of rates per area, which allow for the panel's size already.
    pub(super) per_area: bool,
}

/// What is allowed for only as far as the panels carry it, the first to go first.
const SPARED: [Factor; 3] = [Factor::Size, Factor::Inspector, Factor::Part];
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
        let mut row = Vec::with_capacity(self.width());
        self.append(setting, &mut row);
        row
    }

    /// Appends the row of a setting.
    pub(super) fn append(&self, setting: &Setting, rows: &mut Vec<f64>) {
        let start = rows.len();
        rows.push(1.0);
        for block in &self.blocks {
            block.encode(setting, rows);
        }
        for &(a, b) in &self.products {
            rows.push(rows[start + a] * rows[start + b]);
        }
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
            Factor::Size => recipe.per_area,
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

    /// Feed and force that differ on two or four of sixty panels: correlations of
    /// .933 and .867, whose squares lie on either side of .8.
    #[test]
    fn two_factors_are_inseparable_from_four_fifths_explained_on() {
        let design = |apart: usize| {
            built(|i, panel| {
                let fast = (i / 3 % 2 == 1) != (i < apart || (3..3 + apart).contains(&i));
                panel.feed_mm_s = feed(fast);
            })
        };
        let tied = design(1).unwrap();
        assert!(tied.block_of(&Factor::Feed).is_none());
        assert_eq!(tied.aliases[0].factors, [Factor::Feed, Factor::Force]);
        let r_squared = tied.aliases[0].r_squared.unwrap();
        assert!(
            (r_squared - (14.0_f64 / 15.0).powi(2)).abs() < 1e-12,
            "{r_squared}"
        );
        let apart = design(2).unwrap();
        assert!(apart.block_of(&Factor::Feed).is_some() && apart.aliases.is_empty());
    }
}

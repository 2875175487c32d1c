//! The design: which factors get columns, and which cannot be told apart.

use super::block::Block;
use super::coding::{Coding, FRESH_UP_TO, Unused, coding};
use super::doubts::Note;
use super::hour::tie_to_hour;
use super::result::{Alias, Factor};
use super::setting::{Factors, Setting, number};
use super::ties::{SPARED, inflation, untie};

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
            vif: vec![1.0],
            condition: 1.0,
        };
        untie(&mut design.blocks, &mut design.aliases, &complete, factors);
        tie_to_hour(&mut design.blocks, &mut design.aliases, &complete, factors);
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
        let (vif, condition) = inflation(&design.blocks, &complete);
        design.vif.extend(vif);
        design.condition = condition;
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
}

//! What the hits of a repeat go with, frames aside: lots, who inspected, recipe,
//! fixture, the abrasive's age, and time.

use super::follows::{self, AgeFound, LevelFound};
use super::frame_duel::OtherLots;
use super::lots::{self, Clears, LotEvidence};
use super::onset::{Change, Life};
use super::{day_of, text, together};
use crate::causes::about::About;
use crate::causes::levels::{LEAST_EXCESS, LEAST_HITS};
use crate::causes::verdict::Recipe;
use crate::causes::{ChangePoint, Evidence, Finding, LevelCount, NextCheck, Reason, Rival, Tally};
use crate::duel::codes;
use crate::records::{Panel, Records};

/// A level of a column in which hits gather.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Explained {
    /// The level.
    pub level: String,
    /// Its counts.
    pub found: LevelFound,
    /// Stretches of panels of this level in time.
    pub stretches: usize,
}

impl Explained {
    /// It as a reason.
    fn reason(&self, column: Rival) -> Reason {
        Reason::FollowsLevel {
            column,
            level: self.level.clone(),
            inside: self.found.inside,
            outside: self.found.outside,
            alone: self.found.explains,
        }
    }
}

/// Hits on panels, and what they go with.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct GoesWith {
    /// Panels exposed, indices into `Records::panels`, in time order.
    pub panels: Vec<usize>,
    /// Whether each was hit.
    pub hit: Vec<bool>,
    /// Chance of a hit without a repeat.
    pub background: f64,
    /// Onset, end and the live stretch, counted in these panels.
    pub life: Life,
    /// Lots in order of first panel, and their counts.
    pub lot_names: Vec<String>,
    pub lot_counts: Vec<Tally>,
    /// What they say.
    pub lots: LotEvidence,
    /// Lots cleared by panels turned within them: how many, ln likelihood.
    pub by_turning: OtherLots,
    /// Who inspected.
    pub inspector: Option<Explained>,
    /// The recipe's name or its factors.
    pub recipe: Option<Explained>,
    /// The nest.
    pub fixture: Option<Explained>,
    /// The abrasive's age.
    pub age: Option<AgeFound>,
}

impl GoesWith {
    /// Asks all; `life` holds unless the hits gather in lots, `clears` says when
    /// lots clear it.
    pub(crate) fn of(
        records: &Records,
        (panels, hit): (Vec<usize>, Vec<bool>),
        background: f64,
        mut life: Life,
        by_turning: OtherLots,
        clears: Clears,
    ) -> Self {
        let of = |value: &dyn Fn(&Panel) -> Option<String>| -> Vec<Option<String>> {
            panels.iter().map(|&i| value(&records.panels[i])).collect()
        };
        let (lot_of, lot_names) = codes(&of(&|p| text(&p.lot)));
        let counted = |stretch: std::ops::Range<usize>| {
            let pairs = stretch.map(|i| (lot_of[i], hit[i]));
            Tally::by_level(lot_names.len(), pairs)
        };
        let lot_counts = counted(0..hit.len());
        let recorded: Tally = lot_counts.iter().copied().sum();
        let lots = if 2 * recorded.exposed < hit.len() {
            LotEvidence::NotRecorded
        } else {
            let days: Vec<_> = panels.iter().map(|&i| day_of(&records.panels[i])).collect();
            let live = counted(life.first..life.past);
            lots::judge(&lot_counts, &live, background, clears).against_time(&lot_of, &hit, &days)
        };
        // What gathers in lots begins and ends with them: no onset, no end.
        if matches!(lots, LotEvidence::Gathered { .. }) && by_turning.is_none() {
            life = Life::whole(hit.len());
        }
        let alive = life.first..life.past;
        let explained = |value: &dyn Fn(&Panel) -> Option<String>| {
            explain(&of(value)[alive.clone()], &hit[alive.clone()], background)
        };
        let ages: Vec<Option<f64>> = (panels[alive.clone()].iter())
            .map(|&i| records.panels[i].abrasive_age)
            .collect();
        Self {
            inspector: explained(&|p| text(&p.inspector)),
            recipe: explained(&setting),
            fixture: explained(&|p| text(&p.fixture)),
            age: follows::age(&ages, &hit[alive.clone()], background),
            panels,
            hit,
            background,
            life,
            lot_names,
            lot_counts,
            lots,
            by_turning,
        }
    }

    /// All panels hit, indices into `Records::panels`.
    pub(crate) fn hits(&self) -> Vec<usize> {
        let pairs = self.panels.iter().zip(&self.hit);
        pairs.filter(|(_, hit)| **hit).map(|(&i, _)| i).collect()
    }

    /// All panels.
    pub(crate) fn all(&self) -> Tally {
        Tally::of(self.hit.iter().copied())
    }

    /// Panels while it lived.
    pub(crate) fn live(&self) -> Tally {
        Tally::of(self.hit[self.life.first..self.life.past].iter().copied())
    }

    /// Whether it is seen on panels enough, beyond chance, to name anybody.
    pub(crate) fn enough(&self) -> bool {
        let Tally { hits, exposed } = self.all();
        let expected = self.background * exposed as f64;
        hits >= LEAST_HITS && hits as f64 - expected >= LEAST_EXCESS
    }

    /// Whether one inspector only sees it.
    pub(crate) fn one_inspector(&self) -> bool {
        self.inspector.as_ref().is_some_and(|e| e.found.explains)
    }

    /// What of the recipe explains it.
    pub(crate) fn recipe_fact(&self) -> Recipe {
        match &self.recipe {
            _ if self.age.is_some_and(|a| a.explains) => Recipe::AbrasiveAge,
            Some(e) if e.found.explains && e.stretches > 1 => Recipe::Name,
            Some(e) if e.found.explains => Recipe::OneStretch,
            _ => Recipe::Nothing,
        }
    }

    /// The lots in which it gathers.
    pub(crate) fn gathered_lots(&self) -> Vec<String> {
        match &self.lots {
            LotEvidence::Gathered { lots, .. } => {
                lots.iter().map(|&l| self.lot_names[l].clone()).collect()
            }
            _ => Vec::new(),
        }
    }

    /// A finding with its counts, lots, onset and end.
    pub(crate) fn finding(&self, records: &Records, about: About) -> Finding {
        let base = about.finding(records, &self.hits(), self.live());
        let id = |c: Change| records.panels[self.panels[c.at]].id.clone();
        let change = |c: Change| ChangePoint {
            panel: self.panel_at(c.at),
            earliest: self.panel_at(c.earliest),
            latest: self.panel_at(c.latest),
            log_ratio: c.log_ratio,
            together_with: self.changed(records, c),
        };
        Finding {
            onset_panel: self.life.onset.map(id),
            end_panel: self.life.end.map(id),
            evidence: Evidence {
                exposed: self.panels.clone(),
                by_lot: LevelCount::each(self.lot_names.clone(), self.lot_counts.clone()),
                onset: self.life.onset.map(change),
                end: self.life.end.map(change),
                ..base.evidence
            },
            ..base
        }
    }

    fn panel_at(&self, at: usize) -> usize {
        self.panels[at.min(self.panels.len() - 1)]
    }

    fn changed(&self, records: &Records, c: Change) -> Vec<(String, String)> {
        let last = self.panels.len() - 1;
        together::changed(records, &self.panels, c.earliest, c.latest.min(last))
    }

    /// What one inspector alone sees.
    pub(crate) fn inspector_reason(&self) -> Option<Reason> {
        Some(self.inspector.as_ref()?.reason(Rival::Inspector))
    }

    /// What the lots say.
    pub(crate) fn lot_reasons(&self) -> Vec<Reason> {
        let mut out = vec![match &self.lots {
            LotEvidence::NotRecorded => Reason::LotsNotRecorded,
            LotEvidence::OneLot => Reason::OneLot,
            LotEvidence::Cleared { lots_hit, lots, .. } => Reason::LotsClear {
                lots_hit: *lots_hit,
                lots: *lots,
            },
            LotEvidence::Open {
                lots_hit,
                lots,
                lack,
            } => Reason::LotsOpen {
                lots_hit: *lots_hit,
                lots: *lots,
                lack: *lack,
            },
            LotEvidence::Gathered { lots, p_value } => {
                let all: Tally = self.lot_counts.iter().copied().sum();
                let inside = lots.iter().map(|&l| self.lot_counts[l]).sum();
                Reason::LotsGather {
                    lots: self.gathered_lots(),
                    inside,
                    outside: all - inside,
                    p_value: *p_value,
                }
            }
        }];
        if let Some((lots, log_ratio)) = self.by_turning
            && !matches!(self.lots, LotEvidence::Cleared { .. })
        {
            out.push(Reason::LotsClearByTurning { lots, log_ratio });
        }
        out
    }

    /// Recipe, fixture and age that the hits follow.
    pub(crate) fn setting_reasons(&self) -> Vec<Reason> {
        let mut out = Vec::new();
        out.extend(self.recipe.as_ref().map(|e| match self.recipe_fact() {
            Recipe::OneStretch => Reason::BeganWithRecipe {
                recipe: e.level.clone(),
            },
            _ => e.reason(Rival::Recipe),
        }));
        out.extend(self.fixture.as_ref().map(|e| e.reason(Rival::Fixture)));
        out.extend(self.age.as_ref().map(|age| Reason::FollowsAge {
            end: age.end(),
            mean_of_hits: age.mean_of_hits,
            mean_of_all: age.mean_of_all,
            p_value: age.p_value,
        }));
        out
    }

    /// Where it set in and where it ended.
    pub(crate) fn time_reasons(&self, records: &Records) -> Vec<Reason> {
        let id = |at: usize| records.panels[self.panel_at(at)].id.clone();
        let onset = self.life.onset.map(|c| Reason::SetIn {
            panel: id(c.at),
            between: (id(c.earliest), id(c.latest)),
            together_with: self.changed(records, c),
        });
        let end = self.life.end.map(|c| Reason::Ended {
            panel: id(c.at),
            between: (id(c.earliest), id(c.latest)),
            together_with: self.changed(records, c),
        });
        onset.into_iter().chain(end).collect()
    }

    /// Whom to look at first where the abrasive or the recipe is named.
    pub(crate) fn check_recipe(&self) -> NextCheck {
        match (&self.age, &self.recipe) {
            (Some(age), _) if age.explains => NextCheck::CheckAbrasive { end: age.end() },
            (_, Some(e)) => NextCheck::CheckRecipe {
                recipe: e.level.clone(),
            },
            _ => NextCheck::None,
        }
    }
}

/// The level in which hits gather, if the test passes.
fn explain(levels: &[Option<String>], hits: &[bool], background: f64) -> Option<Explained> {
    let (coded, names) = codes(levels);
    let found = follows::level(&coded, hits, background)?;
    let is = |i: usize| coded[i] == Some(found.level);
    let stretches = (0..coded.len())
        .filter(|&i| is(i) && (i == 0 || !is(i - 1)))
        .count();
    Some(Explained {
        level: names[found.level].clone(),
        found,
        stretches,
    })
}

/// The recipe's name, or its factors where it has none.
fn setting(panel: &Panel) -> Option<String> {
    if let Some(recipe) = &panel.recipe {
        return Some(recipe.to_string());
    }
    let numbers = [panel.feed_mm_s, panel.passes, panel.force_n];
    if numbers.iter().all(Option::is_none) {
        return None;
    }
    let shown = |v: Option<f64>| v.map_or("–".to_string(), |v| v.to_string());
    Some(numbers.map(shown).join(" / "))
}

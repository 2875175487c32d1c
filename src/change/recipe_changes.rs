//! Every change of recipe that the time order of the panels shows, and what plans
//! compared by turns.

use std::collections::{BTreeMap, BTreeSet};
use std::sync::Arc;

use super::assess::assess;
use super::judge::judge;
use super::planned::{self, is_planned};
use super::{Changes, Comparison, Old, Question, Settings, Side};
use crate::records::{Panel, Records};

/// Fewest panels on a recipe for a change to or from it to be looked at.
const FEWEST_PANELS: usize = 5;

/// Recipes that followed each other so often took turns.
pub(crate) const IN_TURNS: usize = 3;

/// Most changes looked at, those with the most panels first.
const MOST_CHANGES: usize = 12;

type Stream<'a> = (&'a Option<Arc<str>>, &'a Option<Arc<str>>);

/// A pair of recipes that followed each other on some machine.
struct Pair<'a> {
    from: &'a str,
    to: &'a str,
    first_panel: usize,
    streams: BTreeSet<Stream<'a>>,
    /// How often each stream went from one to the other or back.
    turns: BTreeMap<Stream<'a>, usize>,
    /// Panels on the first recipe, and those of them before the other one came.
    from_panels: usize,
    alone: usize,
}

impl Pair<'_> {
    fn most_turns(&self) -> usize {
        self.turns.values().copied().max().unwrap_or(0)
    }

    /// The recipe that ran first is the old one, unless they took turns from the start:
    /// most of its panels then came after the other recipe's first.
    fn old(&self) -> Old {
        if self.most_turns() < IN_TURNS || 2 * self.alone > self.from_panels {
            Old::Known
        } else {
            Old::NotKnown
        }
    }
}

/// Compares the panels on the old recipe with those on the new one, for every
/// pair of recipes that followed each other on a machine; going back and forth
/// between two recipes is one change. Machines that made the same change are
/// taken together. A pair of recipes that never made the same part is a change
/// of product, not of recipe, and is left out. Panels of a plan by turns are compared
/// by themselves, as the plan says which setting is the old one.
#[must_use]
pub fn recipe_changes(records: &Records, settings: &Settings) -> Changes {
    judge(comparisons(records, settings), settings)
}

fn comparisons(records: &Records, settings: &Settings) -> Vec<Comparison> {
    let mut all = in_time(records, settings);
    all.extend(planned::comparisons(records, settings));
    all.sort_by_key(|(first_panel, _)| *first_panel);
    all.into_iter().map(|(_, comparison)| comparison).collect()
}

/// Recipes that followed each other, with the first panel of the second one.
fn in_time(records: &Records, settings: &Settings) -> Vec<(usize, Comparison)> {
    let mut found: Vec<(usize, Pair<'_>, Vec<Option<Side>>)> = Vec::new();
    for mut pair in pairs(&records.panels) {
        let sides: Vec<Option<Side>> = records
            .panels
            .iter()
            .map(|panel| {
                let of_pair = pair.streams.contains(&(&panel.machine, &panel.head));
                if !of_pair || is_planned(panel) {
                    return None;
                }
                match panel.recipe.as_deref()? {
                    r if r == pair.from => Some(Side::Before),
                    r if r == pair.to => Some(Side::After),
                    _ => None,
                }
            })
            .collect();
        let on = |side| sides.iter().filter(|s| **s == Some(side)).count();
        let alone = sides[..pair.first_panel].iter();
        pair.alone = alone.filter(|s| **s == Some(Side::Before)).count();
        pair.from_panels = on(Side::Before);
        let fewer = on(Side::Before).min(on(Side::After));
        if fewer >= FEWEST_PANELS && !parts_apart(&records.panels, &sides) {
            found.push((fewer, pair, sides));
        }
    }
    found.sort_by_key(|(fewer, pair, _)| (std::cmp::Reverse(*fewer), pair.first_panel));
    found.truncate(MOST_CHANGES);
    found
        .into_iter()
        .map(|(_, pair, sides)| {
            let single = pair.streams.first().filter(|_| pair.streams.len() == 1);
            let name =
                |t: Option<&Option<Arc<str>>>| t.and_then(Option::as_deref).map(str::to_owned);
            let question = Question::Recipe {
                machine: name(single.map(|s| s.0)),
                head: name(single.map(|s| s.1)),
                from: pair.from.to_owned(),
                to: pair.to.to_owned(),
                first_panel: records.panels[pair.first_panel].id.clone(),
                turns: pair.most_turns(),
                old: pair.old(),
            };
            let comparison = assess(records, &sides, question, &[], settings);
            (pair.first_panel, comparison)
        })
        .collect()
}

/// Pairs in the order of their first change.
fn pairs(panels: &[Panel]) -> Vec<Pair<'_>> {
    let mut last: BTreeMap<Stream<'_>, &str> = BTreeMap::new();
    let mut index: BTreeMap<(&str, &str), usize> = BTreeMap::new();
    let mut pairs: Vec<Pair<'_>> = Vec::new();
    for (k, panel) in panels.iter().enumerate() {
        let Some(recipe) = panel.recipe.as_deref() else {
            continue;
        };
        // without a time there is no order in which anything changed
        if panel.sanded_at.is_none() || is_planned(panel) {
            continue;
        }
        let stream = (&panel.machine, &panel.head);
        let Some(before) = last.insert(stream, recipe).filter(|b| *b != recipe) else {
            continue;
        };
        let key = (before.min(recipe), before.max(recipe));
        let k = *index.entry(key).or_insert_with(|| {
            pairs.push(Pair {
                from: before,
                to: recipe,
                first_panel: k,
                streams: BTreeSet::new(),
                turns: BTreeMap::new(),
                from_panels: 0,
                alone: 0,
            });
            pairs.len() - 1
        });
        pairs[k].streams.insert(stream);
        *pairs[k].turns.entry(stream).or_default() += 1;
    }
    pairs
}

fn parts_apart(panels: &[Panel], sides: &[Option<Side>]) -> bool {
    let parts = |side: Side| -> Option<BTreeSet<&str>> {
        panels
            .iter()
            .zip(sides)
            .filter(|(_, s)| **s == Some(side))
            .map(|(p, _)| p.part.as_deref())
            .collect()
    };
    match (parts(Side::Before), parts(Side::After)) {
        (Some(before), Some(after)) => before.is_disjoint(&after),
        _ => false,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::records::Moment;

    /// Twenty panels on A, then so many on B, of these parts, a mark on every other.
    fn compared(after: usize, parts: [&str; 2]) -> usize {
        let panel = |i: usize| {
            let local = jiff::civil::date(2031, 3, 3).at(6, 0, 0, 0);
            let local = local + jiff::Span::new().minutes(i64::try_from(i).unwrap());
            let instant = jiff::tz::TimeZone::UTC.to_timestamp(local).unwrap();
            let side = usize::from(i >= 20);
            Panel {
                id: format!("P{i}"),
                sanded_at: Some(Moment { instant, local }),
                recipe: Some(["A", "B"][side].into()),
                part: Some(parts[side].into()),
                length_mm: 1000.0,
                width_mm: 1000.0,
                inspected: true,
                ..Panel::default()
            }
        };
        let records = Records {
            panels: (0..20 + after).map(panel).collect(),
            ..Records::default()
        };
        comparisons(&records, &Settings::default()).len()
    }

    #[test]
    fn five_panels_of_the_same_part_on_either_recipe_are_compared() {
        assert_eq!([4, 5].map(|after| compared(after, ["W", "W"])), [0, 1]);
        assert_eq!(compared(20, ["W", "V"]), 0, "another product");
    }
}

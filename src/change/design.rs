//! How the panels are compared: strata, units, and what else changed.

use std::collections::{BTreeMap, BTreeSet};

use super::items::Item;
use super::ratio::FEWEST_LOTS_A_SIDE;
use super::{Confounder, Note, Side, StratumUse};
use crate::records::{Panel, Records};
use crate::stats::distributions::chi_squared;

/// Lots enter as strata if what is left inside them carries at least this share
/// of the information; else lots are compared with lots.
const LEAST_INSIDE_LOTS: f64 = 0.25;

/// A further column enters the strata if that leaves at least this share of the
/// information.
const LEAST_KEPT: f64 = 0.8;

/// Share of the panels distributed differently from which a mix counts as
/// different, if chance is an unlikely reason.
const MIX_SHARE: f64 = 0.1;
const MIX_CHANCE: f64 = 0.01;

/// The columns that can be strata or change together with the change.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub(super) enum Trait {
    Stream,
    Lot,
    Supplier,
    Inspector,
    Part,
    Size,
    AbrasiveAge,
    AbrasiveId,
}

impl Trait {
    /// Names of the columns it stands for.
    fn columns(self) -> &'static [&'static str] {
        match self {
            Self::Stream => &["machine", "head"],
            Self::Lot => &["lot"],
            Self::Supplier => &["supplier"],
            Self::Inspector => &["inspector"],
            Self::Part => &["part"],
            Self::Size => &["length_mm", "width_mm"],
            Self::AbrasiveAge => &["abrasive_age"],
            Self::AbrasiveId => &["abrasive_id"],
        }
    }

    fn confounder(self) -> Option<Confounder> {
        match self {
            Self::Stream => Some(Confounder::Machine),
            Self::Lot => Some(Confounder::Lot),
            Self::Supplier => Some(Confounder::Supplier),
            Self::Inspector => Some(Confounder::Inspector),
            Self::Part | Self::Size => Some(Confounder::Part),
            Self::AbrasiveId => Some(Confounder::AbrasiveId),
            Self::AbrasiveAge => None,
        }
    }
}

/// How lots enter.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum LotRole {
    /// As strata.
    Strata,
    /// As units: few carry both sides, many carry one.
    Units,
    /// Not recorded.
    Unknown,
}

/// The design of a comparison.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Design {
    /// Positions of the panels in the records, in time order.
    pub panels: Vec<usize>,
    /// One per panel; `value` is for the caller to fill.
    pub items: Vec<Item>,
    /// What the strata are.
    pub strata: StratumUse,
    /// What changed with the change, so that nothing can be said.
    pub confounded_with: Vec<Confounder>,
    /// Doubts.
    pub notes: Vec<Note>,
    /// How lots enter.
    pub lots: LotRole,
}

/// What a design is made from.
pub(super) struct Basis<'a> {
    pub records: &'a Records,
    /// Side of every panel of the records.
    pub sides: &'a [Option<Side>],
    /// Columns that the question itself is about.
    pub asked: Vec<String>,
    /// When the production day begins.
    pub day_start: jiff::civil::Time,
}

/// Codes of a trait by panel of the design, dense; none where not recorded.
struct Codes {
    of: Vec<Option<usize>>,
    count: usize,
}

impl Basis<'_> {
    /// The design over the panels that `eligible` names.
    pub(super) fn design(&self, eligible: impl Fn(usize) -> bool) -> Design {
        let panels: Vec<usize> = (0..self.records.panels.len())
            .filter(|&k| self.sides[k].is_some() && eligible(k))
            .collect();
        let sides: Vec<Side> = panels.iter().filter_map(|&k| self.sides[k]).collect();
        let mut notes = Vec::new();
        let confounded_with = self.confounders(&panels, &sides);
        let mut by = vec![Trait::Stream];
        let stream = self.codes(Trait::Stream, &panels);
        let lot = self.codes(Trait::Lot, &panels);
        let mut key: Vec<Option<usize>> = if self.asks(Trait::Stream) {
            by.clear();
            vec![Some(0); panels.len()]
        } else {
            stream.of.clone()
        };
        let lots = self.lot_role(&mut key, &lot, &sides, &mut notes);
        if lots == LotRole::Strata {
            by.push(Trait::Lot);
        }
        let mut kept = information(&key, &sides);
        for extra in [
            Trait::Supplier,
            Trait::Inspector,
            Trait::Part,
            Trait::Size,
            Trait::AbrasiveAge,
        ] {
            if self.asks(extra) || (extra == Trait::Supplier && lots == LotRole::Strata) {
                continue;
            }
            let codes = self.codes(extra, &panels);
            if codes.count < 2 {
                continue;
            }
            let finer = crossed(&key, &codes);
            if distinct(&finer) == distinct(&key) && !finer.contains(&None) {
                // says nothing that the strata don't say already
                continue;
            }
            let left = information(&finer, &sides);
            // what is mixed differently is another explanation for any step,
            // however little is left inside it
            let differs = mix_differs(&codes, &sides);
            if left >= LEAST_KEPT * kept || (differs && left > 0.0) {
                key = finer;
                kept = left;
                by.push(extra);
            } else if differs
                && !extra
                    .confounder()
                    .is_some_and(|c| confounded_with.contains(&c))
            {
                notes.push(Note::MixDiffers {
                    column: extra.columns()[0].to_owned(),
                });
            }
        }
        self.note_inspectors(&panels, &sides, &mut notes);
        let items = self.items(&panels, &sides, &key, &stream, &lot, lots);
        if a_day_each(&items) {
            notes.push(Note::OneDayEach);
        }
        let strata = stratum_use(&items, self.recorded_columns(&by, &panels), lots);
        if lots == LotRole::Strata && strata.lots > 0 && strata.lots < 4 {
            notes.push(Note::FewLots { lots: strata.lots });
        }
        Design {
            panels,
            items,
            strata,
            confounded_with,
            notes,
            lots,
        }
    }

    /// Names of the columns that make the strata, as far as they are recorded.
    fn recorded_columns(&self, by: &[Trait], panels: &[usize]) -> Vec<String> {
        let any = |f: fn(&Panel) -> bool| panels.iter().any(|&k| f(&self.records.panels[k]));
        by.iter()
            .flat_map(|t| t.columns())
            .filter(|column| match **column {
                "machine" => any(|p| p.machine.is_some()),
                "head" => any(|p| p.head.is_some()),
                _ => true,
            })
            .map(|c| (*c).to_owned())
            .collect()
    }

    /// Whether the question is about this trait.
    fn asks(&self, what: Trait) -> bool {
        what.columns()
            .iter()
            .any(|c| self.asked.iter().any(|a| a == c))
    }

    /// Traits whose values on the two sides have nothing in common.
    fn confounders(&self, panels: &[usize], sides: &[Side]) -> Vec<Confounder> {
        let mut found = BTreeSet::new();
        for what in [
            Trait::Stream,
            Trait::Lot,
            Trait::Supplier,
            Trait::Part,
            Trait::Size,
            Trait::Inspector,
            Trait::AbrasiveId,
        ] {
            if self.asks(what) {
                continue;
            }
            let codes = self.codes(what, panels);
            let mut seen = [BTreeSet::new(), BTreeSet::new()];
            let mut recorded = [0usize; 2];
            let mut all = [0usize; 2];
            for (code, side) in codes.of.iter().zip(sides) {
                let k = usize::from(*side == Side::After);
                all[k] += 1;
                if let Some(code) = code {
                    recorded[k] += 1;
                    seen[k].insert(*code);
                }
            }
            let known = (0..2).all(|k| recorded[k] > 0 && 2 * recorded[k] >= all[k]);
            let apart = known && seen[0].is_disjoint(&seen[1]);
            // discs are used up one after the other: only one disc against one
            // disc is the disc's doing as much as the change's
            let counts = what != Trait::AbrasiveId || (seen[0].len() == 1 && seen[1].len() == 1);
            if apart && counts {
                found.extend(what.confounder());
            }
        }
        found.into_iter().collect()
    }

    fn codes(&self, what: Trait, panels: &[usize]) -> Codes {
        let text = |f: fn(&Panel) -> Option<&str>| {
            coded(panels.iter().map(|&k| f(&self.records.panels[k])))
        };
        match what {
            Trait::Stream => coded(panels.iter().map(|&k| {
                let p = &self.records.panels[k];
                Some((p.machine.as_deref(), p.head.as_deref()))
            })),
            Trait::Lot => text(|p| p.lot.as_deref()),
            Trait::Supplier => text(|p| p.supplier.as_deref()),
            Trait::Inspector => text(|p| p.inspector.as_deref()),
            Trait::Part => text(|p| p.part.as_deref()),
            Trait::AbrasiveId => text(|p| p.abrasive_id.as_deref()),
            Trait::Size => coded(panels.iter().map(|&k| {
                let p = &self.records.panels[k];
                Some((p.length_mm.round() as i64, p.width_mm.round() as i64))
            })),
            Trait::AbrasiveAge => self.age_classes(panels),
        }
    }

    /// Fresh (0–2 panels) and the two halves of the rest.
    fn age_classes(&self, panels: &[usize]) -> Codes {
        let ages: Vec<Option<f64>> = panels
            .iter()
            .map(|&k| self.records.panels[k].abrasive_age)
            .collect();
        let mut older: Vec<f64> = ages
            .iter()
            .flatten()
            .copied()
            .filter(|a| *a > 2.0)
            .collect();
        older.sort_by(f64::total_cmp);
        let middle = older.get(older.len() / 2).copied().unwrap_or(f64::INFINITY);
        coded(ages.iter().map(|age| {
            age.map(|a| match a {
                a if a <= 2.0 => 0,
                a if a < middle => 1,
                _ => 2,
            })
        }))
    }

    fn lot_role(
        &self,
        key: &mut Vec<Option<usize>>,
        lot: &Codes,
        sides: &[Side],
        notes: &mut Vec<Note>,
    ) -> LotRole {
        let missing = lot.of.iter().filter(|l| l.is_none()).count();
        if 2 * missing >= lot.of.len() || self.asks(Trait::Lot) {
            if !self.asks(Trait::Lot) {
                notes.push(Note::LotsNotRecorded);
            }
            return LotRole::Unknown;
        }
        if missing > 0 {
            notes.push(Note::LotMissing { panels: missing });
        }
        let finer = crossed(key, lot);
        let inside = information(&finer, sides);
        let all = information(key, sides);
        let on = |side: Side| -> BTreeSet<usize> {
            let pairs = lot.of.iter().zip(sides).filter(|(_, s)| **s == side);
            pairs.filter_map(|(l, _)| *l).collect()
        };
        let (before, after) = (on(Side::Before), on(Side::After));
        let both = before.intersection(&after).count();
        if inside < LEAST_INSIDE_LOTS * all
            && both > 0
            && before.len() >= FEWEST_LOTS_A_SIDE
            && after.len() >= FEWEST_LOTS_A_SIDE
        {
            // panels without a lot still stay out
            for (k, l) in key.iter_mut().zip(&lot.of) {
                if l.is_none() {
                    *k = None;
                }
            }
            notes.push(Note::LotsInTurn {
                before: before.len(),
                after: after.len(),
                both,
            });
            return LotRole::Units;
        }
        *key = finer;
        LotRole::Strata
    }

    fn note_inspectors(&self, panels: &[usize], sides: &[Side], notes: &mut Vec<Note>) {
        if self.asks(Trait::Inspector) {
            return;
        }
        let codes = self.codes(Trait::Inspector, panels);
        let known: BTreeSet<usize> = codes
            .of
            .iter()
            .zip(sides)
            .filter(|(_, s)| **s == Side::Before)
            .filter_map(|(c, _)| *c)
            .collect();
        let after: Vec<usize> = codes
            .of
            .iter()
            .zip(sides)
            .filter(|(_, s)| **s == Side::After)
            .filter_map(|(c, _)| *c)
            .collect();
        let new = after.iter().filter(|c| !known.contains(c)).count();
        if !known.is_empty() && new > 0 {
            notes.push(Note::InspectorsDiffer {
                new_share: new as f64 / after.len() as f64,
            });
        }
    }

    fn items(
        &self,
        panels: &[usize],
        sides: &[Side],
        key: &[Option<usize>],
        stream: &Codes,
        lot: &Codes,
        lots: LotRole,
    ) -> Vec<Item> {
        let days = coded(panels.iter().map(|&k| {
            let at = self.records.panels[k].sanded_at?;
            let since = jiff::civil::Time::midnight().duration_until(self.day_start);
            at.local.checked_sub(since).ok().map(|t| t.date())
        }));
        let outside = key.iter().flatten().max().map_or(0, |k| k + 1);
        let mut last: BTreeMap<usize, (Side, usize)> = BTreeMap::new();
        let mut runs = 0;
        (0..panels.len())
            .map(|k| {
                let of_stream = stream.of[k].unwrap_or(0);
                let run = match last.get(&of_stream) {
                    Some(&(side, run)) if side == sides[k] => run,
                    _ => {
                        runs += 1;
                        runs - 1
                    }
                };
                last.insert(of_stream, (sides[k], run));
                Item {
                    // panels without a key are strata of their own, which compare nothing
                    stratum: key[k].unwrap_or(outside + k),
                    stream: of_stream,
                    lot: if lots == LotRole::Unknown {
                        None
                    } else {
                        lot.of[k]
                    },
                    day: days.of[k].unwrap_or(days.count),
                    run,
                    side: sides[k],
                    value: 0.0,
                    exposure: 1.0,
                }
            })
            .collect()
    }
}

/// Codes in the order of the values.
fn coded<T: Ord>(values: impl Iterator<Item = Option<T>>) -> Codes {
    let values: Vec<Option<T>> = values.collect();
    let mut order: BTreeMap<&T, usize> = values.iter().flatten().map(|v| (v, 0)).collect();
    for (k, code) in order.values_mut().enumerate() {
        *code = k;
    }
    Codes {
        count: order.len(),
        of: values
            .iter()
            .map(|v| v.as_ref().and_then(|v| order.get(v).copied()))
            .collect(),
    }
}

/// Every combination of two codes that occurs; none where either is missing.
fn crossed(key: &[Option<usize>], codes: &Codes) -> Vec<Option<usize>> {
    let pairs = key.iter().zip(&codes.of).map(|(k, c)| Some(((*k)?, (*c)?)));
    coded(pairs).of
}

fn distinct(key: &[Option<usize>]) -> usize {
    key.iter().flatten().max().map_or(0, |k| k + 1)
}

/// Σ n₁n₀/n over strata: what an estimate inside them rests on.
fn information(key: &[Option<usize>], sides: &[Side]) -> f64 {
    let mut counts: BTreeMap<usize, [f64; 2]> = BTreeMap::new();
    for (k, side) in key.iter().zip(sides) {
        if let Some(k) = k {
            counts.entry(*k).or_default()[usize::from(*side == Side::After)] += 1.0;
        }
    }
    counts.values().map(|[b, a]| b * a / (a + b)).sum()
}

/// Whether each side is one day, and not the same.
fn a_day_each(items: &[Item]) -> bool {
    let on = |side: Side| -> BTreeSet<usize> {
        let own = items.iter().filter(|i| i.side == side);
        own.map(|i| i.day).collect()
    };
    let (before, after) = (on(Side::Before), on(Side::After));
    before.len() == 1 && after.len() == 1 && before != after
}

/// Whether the values are distributed differently on the two sides: more than a
/// tenth of the panels elsewhere, and by a chi-squared test not by chance.
fn mix_differs(codes: &Codes, sides: &[Side]) -> bool {
    let mut counts = vec![[0.0; 2]; codes.count];
    for (code, side) in codes.of.iter().zip(sides) {
        if let Some(code) = code {
            counts[*code][usize::from(*side == Side::After)] += 1.0;
        }
    }
    let total = |k: usize| counts.iter().map(|c| c[k]).sum::<f64>();
    let (before, after) = (total(0), total(1));
    if before == 0.0 || after == 0.0 || codes.count < 2 {
        return false;
    }
    let elsewhere: f64 = counts
        .iter()
        .map(|c| (c[0] / before - c[1] / after).abs() / 2.0)
        .sum();
    let statistic: f64 = counts
        .iter()
        .map(|c| {
            let all = c[0] + c[1];
            let expected = [
                all * before / (before + after),
                all * after / (before + after),
            ];
            (c[0] - expected[0]).powi(2) / expected[0] + (c[1] - expected[1]).powi(2) / expected[1]
        })
        .sum();
    let chance = chi_squared::tails(statistic, (codes.count - 1) as f64).upper();
    elsewhere > MIX_SHARE && chance <= MIX_CHANCE
}

fn stratum_use(items: &[Item], by: Vec<String>, lots: LotRole) -> StratumUse {
    let cells = super::strata::cells(items);
    let inside = |i: &&Item| cells[i.stratum].compares();
    let both: BTreeMap<usize, BTreeSet<Side>> =
        items
            .iter()
            .filter(inside)
            .fold(BTreeMap::new(), |mut map, i| {
                if let (Some(lot), true) = (i.lot, lots != LotRole::Unknown) {
                    map.entry(lot).or_default().insert(i.side);
                }
                map
            });
    let on = |side: Side| {
        items
            .iter()
            .filter(inside)
            .filter(|i| i.side == side)
            .count()
    };
    StratumUse {
        by,
        strata: cells.iter().filter(|c| c.compares()).count(),
        lots: both.values().filter(|s| s.len() == 2).count(),
        panels_before: on(Side::Before),
        panels_after: on(Side::After),
    }
}

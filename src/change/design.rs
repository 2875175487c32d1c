//! How the panels are compared: what is allowed for, and what else changed.

use std::collections::{BTreeMap, BTreeSet};

use super::confounders;
use super::items::{Item, returns};
use super::{Confounder, Note, Side, StratumUse};
use crate::records::{Panel, Records};

/// Levels of a term beyond these, the rarest, are taken together.
const MOST_LEVELS: usize = 30;

/// Old and new took turns if old came back at least so often.
const TURNS: usize = 2;

/// Lots count as having come one after the other if fewer than this share of
/// them ran both ways.
const FEW_RETURN: f64 = 0.25;

/// The columns that the estimate allows for or that can change together with the
/// change.
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
    Fixture,
    Lay,
    /// Four hours of the production day.
    DayPart,
    /// Hour of the production day.
    Hour,
    Weekday,
    Feed,
    Passes,
    Force,
    Grit,
    Recipe,
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
            Self::Fixture => &["fixture"],
            Self::Lay => &["lay_deg"],
            Self::DayPart | Self::Hour => &["time of day"],
            Self::Weekday => &["weekday"],
            Self::Recipe => &["recipe"],
            Self::Feed => &["feed_mm_s"],
            Self::Passes => &["passes"],
            Self::Force => &["force_n"],
            Self::Grit => &["grit"],
        }
    }

    pub(super) fn confounder(self) -> Option<Confounder> {
        match self {
            Self::Stream => Some(Confounder::Machine),
            Self::Lot => Some(Confounder::Lot),
            Self::Supplier => Some(Confounder::Supplier),
            Self::Inspector => Some(Confounder::Inspector),
            Self::Part | Self::Size => Some(Confounder::Part),
            Self::AbrasiveId => Some(Confounder::AbrasiveId),
            Self::Fixture => Some(Confounder::Fixture),
            Self::Lay => Some(Confounder::Lay),
            Self::DayPart | Self::Hour => Some(Confounder::TimeOfDay),
            Self::Weekday => Some(Confounder::Weekday),
            Self::Feed | Self::Passes | Self::Force | Self::Grit | Self::Recipe => {
                Some(Confounder::Settings)
            }
            Self::AbrasiveAge => None,
        }
    }
}

/// The design of a comparison.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Design {
    /// Positions of the panels in the records, in time order.
    pub panels: Vec<usize>,
    /// One per panel; `value` is for the caller to fill.
    pub items: Vec<Item>,
    /// Levels of terms that hold, by pattern.
    pub patterns: Vec<Vec<usize>>,
    /// What is allowed for.
    pub strata: StratumUse,
    /// What changed with the change, so that nothing can be said.
    pub confounded_with: Vec<Confounder>,
    /// Doubts.
    pub notes: Vec<Note>,
    /// Whether old and new took turns, so that nothing else can have come with new.
    pub by_turns: bool,
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
pub(super) struct Codes {
    pub of: Vec<Option<usize>>,
    pub count: usize,
}

impl Basis<'_> {
    /// The design over the panels that `eligible` names.
    pub(super) fn design(&self, eligible: impl Fn(usize) -> bool) -> Design {
        let panels: Vec<usize> = (0..self.records.panels.len())
            .filter(|&k| self.sides[k].is_some() && eligible(k))
            .collect();
        let sides: Vec<Side> = panels.iter().filter_map(|&k| self.sides[k]).collect();
        let mut notes = Vec::new();
        let confounded_with = confounders::never_met(self, &panels, &sides);
        notes.extend(confounders::apart_in_time(self.records, &panels, &sides));
        let stream = self.codes(Trait::Stream, &panels);
        let lot = self.lots(&panels, &sides, &mut notes);
        let mut by = Vec::new();
        if !self.asks(Trait::Stream) {
            by.push(Trait::Stream);
        }
        if lot.is_some() {
            by.push(Trait::Lot);
        }
        let mut terms: Vec<Codes> = Vec::new();
        for what in [
            Trait::Stream,
            Trait::Supplier,
            Trait::Inspector,
            Trait::Part,
            Trait::Size,
            Trait::AbrasiveAge,
            Trait::AbrasiveId,
            Trait::Fixture,
            Trait::Lay,
            Trait::DayPart,
        ] {
            let codes = self.codes(what, &panels);
            if what == Trait::AbrasiveId && !confounders::a_batch(&codes, &sides) {
                continue;
            }
            let never_met = what
                .confounder()
                .is_some_and(|c| confounded_with.contains(&c));
            if self.asks(what) || codes.count < 2 || never_met {
                continue;
            }
            // says nothing that another term does not say already
            if terms.iter().any(|t| same_groups(t, &codes)) {
                continue;
            }
            if what != Trait::Stream {
                by.push(what);
            }
            terms.push(codes);
        }
        self.note_inspectors(&panels, &sides, &mut notes);
        let (patterns, pattern_of) = patterns(&terms, panels.len());
        let days = self.days(&panels);
        // panels alike in everything: of the same pattern and lot
        let same = coded((0..panels.len()).map(|k| Some(pattern_of[k])));
        let alike = match &lot {
            Some(lot) => crossed(&same.of, lot),
            None => same.of,
        };
        let items: Vec<Item> = (0..panels.len())
            .map(|k| Item {
                alike: alike[k],
                stream: stream.of[k].unwrap_or(0),
                pattern: pattern_of[k],
                lot: lot.as_ref().and_then(|l| l.of[k]),
                day: days.of[k],
                side: sides[k],
                value: 0.0,
                exposure: 1.0,
            })
            .collect();
        if a_day_each(&items) {
            notes.push(Note::OneDayEach);
        }
        Design {
            strata: stratum_use(&items, self.recorded_columns(&by, &panels)),
            panels,
            by_turns: items.iter().all(|i| i.day.is_some()) && returns(&items) >= TURNS,
            items,
            patterns,
            confounded_with,
            notes,
        }
    }

    /// Names of the columns of these traits, as far as they are recorded.
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
    pub(super) fn asks(&self, what: Trait) -> bool {
        what.columns()
            .iter()
            .any(|c| self.asked.iter().any(|a| a == c))
    }

    /// Whether a setting is something else than what the question is about: not where
    /// it asks for a recipe, which brings all its settings, or a day, since which
    /// anything may be meant. A recipe's name stands for the settings, so that it is
    /// something else only where none of them is asked for.
    pub(super) fn is_aside(&self, setting: Trait) -> bool {
        const SETTINGS: [Trait; 4] = [Trait::Feed, Trait::Passes, Trait::Force, Trait::Grit];
        let for_settings = SETTINGS.iter().any(|s| self.asks(*s));
        let named = self.asks(Trait::Recipe) || setting == Trait::Recipe && for_settings;
        !self.asked.is_empty() && !named
    }

    pub(super) fn codes(&self, what: Trait, panels: &[usize]) -> Codes {
        let text = |f: fn(&Panel) -> Option<&str>| {
            coded(panels.iter().map(|&k| f(&self.records.panels[k])))
        };
        match what {
            Trait::Stream => coded(panels.iter().map(|&k| {
                let p = &self.records.panels[k];
                Some((p.machine.as_deref(), p.head.as_deref()))
            })),
            Trait::Recipe => text(|p| p.recipe.as_deref()),
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
            Trait::Fixture => text(|p| p.fixture.as_deref()),
            Trait::Lay => coded(panels.iter().map(|&k| {
                let p = &self.records.panels[k];
                p.lay_recorded.then(|| p.lay.degrees())
            })),
            Trait::DayPart => self.hours(panels, 4),
            Trait::Hour => self.hours(panels, 1),
            Trait::Weekday => {
                let days = self.dates(panels);
                coded(days.map(|d| d.map(|d| d.weekday().to_monday_zero_offset())))
            }
            Trait::Feed => self.numbers(panels, |p| p.feed_mm_s),
            Trait::Passes => self.numbers(panels, |p| p.passes),
            Trait::Force => self.numbers(panels, |p| p.force_n),
            Trait::Grit => text(|p| p.grit.as_ref().map(|g| g.label.as_str())),
        }
    }

    fn numbers(&self, panels: &[usize], value: fn(&Panel) -> Option<f64>) -> Codes {
        let values = panels.iter().map(|&k| value(&self.records.panels[k]));
        coded(values.map(|v| v.map(f64::to_bits)))
    }

    /// Stretches of so many hours since the production day began.
    fn hours(&self, panels: &[usize], hours: i64) -> Codes {
        let since = jiff::civil::Time::midnight().duration_until(self.day_start);
        coded(panels.iter().map(|&k| {
            let at = self.records.panels[k].sanded_at?;
            let at = at.local.checked_sub(since).ok()?;
            Some(i64::from(at.hour()) / hours)
        }))
    }

    /// Fresh (0–2 panels) and the four quarters of the rest.
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
        let quarter = |k: usize| older.get(k * older.len() / 4).copied();
        let limits: Vec<f64> = (1..4).filter_map(quarter).collect();
        coded(ages.iter().map(|age| {
            age.map(|a| match a {
                a if a <= 2.0 => 0,
                a => 1 + limits.iter().filter(|l| **l <= a).count(),
            })
        }))
    }

    /// Lots, where half of the panels or more have one and the question is not
    /// about them.
    fn lots(&self, panels: &[usize], sides: &[Side], notes: &mut Vec<Note>) -> Option<Codes> {
        if self.asks(Trait::Lot) {
            return None;
        }
        let lot = self.codes(Trait::Lot, panels);
        let missing = lot.of.iter().filter(|l| l.is_none()).count();
        if 2 * missing >= lot.of.len() {
            notes.push(Note::LotsNotRecorded);
            return None;
        }
        if missing > 0 {
            notes.push(Note::LotMissing { panels: missing });
        }
        let on = |side: Side| -> BTreeSet<usize> {
            let pairs = lot.of.iter().zip(sides).filter(|(_, s)| **s == side);
            pairs.filter_map(|(l, _)| *l).collect()
        };
        let (before, after) = (on(Side::Before), on(Side::After));
        let both = before.intersection(&after).count();
        if both > 0 && (both as f64) < FEW_RETURN * lot.count as f64 {
            notes.push(Note::LotsInTurn {
                before: before.len(),
                after: after.len(),
                both,
            });
        }
        Some(lot)
    }

    /// Production days in order; none for panels without a time.
    fn days(&self, panels: &[usize]) -> Codes {
        coded(self.dates(panels))
    }

    /// Production days.
    pub(super) fn dates(
        &self,
        panels: &[usize],
    ) -> impl Iterator<Item = Option<jiff::civil::Date>> {
        let since = jiff::civil::Time::midnight().duration_until(self.day_start);
        panels.iter().map(move |&k| {
            let at = self.records.panels[k].sanded_at?;
            at.local.checked_sub(since).ok().map(|t| t.date())
        })
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

/// Whether two codes group the panels alike.
fn same_groups(one: &Codes, two: &Codes) -> bool {
    let pairs: BTreeSet<_> = one.of.iter().zip(&two.of).collect();
    let first: BTreeSet<_> = pairs.iter().map(|p| p.0).collect();
    let second: BTreeSet<_> = pairs.iter().map(|p| p.1).collect();
    pairs.len() == first.len() && pairs.len() == second.len()
}

/// Combinations of levels that occur, and each panel's. Panels without a value
/// share a level of their own; the rarest levels beyond [`MOST_LEVELS`] too.
fn patterns(terms: &[Codes], panels: usize) -> (Vec<Vec<usize>>, Vec<usize>) {
    let mut levels_of: Vec<Vec<usize>> = vec![Vec::with_capacity(terms.len()); panels];
    let mut first = 0;
    for term in terms {
        let mut times: BTreeMap<Option<usize>, usize> = BTreeMap::new();
        for code in &term.of {
            *times.entry(*code).or_default() += 1;
        }
        let mut often: Vec<(std::cmp::Reverse<usize>, Option<usize>)> = times
            .iter()
            .map(|(c, n)| (std::cmp::Reverse(*n), *c))
            .collect();
        often.sort_unstable();
        let level: BTreeMap<Option<usize>, usize> = often
            .iter()
            .enumerate()
            .map(|(k, (_, code))| (*code, first + k.min(MOST_LEVELS - 1)))
            .collect();
        for (levels, code) in levels_of.iter_mut().zip(&term.of) {
            levels.extend(level.get(code));
        }
        first += often.len().min(MOST_LEVELS);
    }
    let mut patterns = Vec::new();
    let mut known: BTreeMap<Vec<usize>, usize> = BTreeMap::new();
    let of = levels_of
        .into_iter()
        .map(|levels| {
            *known.entry(levels).or_insert_with_key(|levels| {
                patterns.push(levels.clone());
                patterns.len() - 1
            })
        })
        .collect();
    (patterns, of)
}

/// Whether each side is one day, and not the same.
fn a_day_each(items: &[Item]) -> bool {
    let on = |side: Side| -> BTreeSet<Option<usize>> {
        let own = items.iter().filter(|i| i.side == side);
        own.map(|i| i.day).collect()
    };
    let (before, after) = (on(Side::Before), on(Side::After));
    before.len() == 1 && after.len() == 1 && before != after && !before.contains(&None)
}

fn stratum_use(items: &[Item], by: Vec<String>) -> StratumUse {
    let mut groups: BTreeMap<usize, [usize; 2]> = BTreeMap::new();
    let mut lots: BTreeMap<usize, BTreeSet<Side>> = BTreeMap::new();
    for item in items {
        if let Some(alike) = item.alike {
            groups.entry(alike).or_default()[usize::from(item.side == Side::After)] += 1;
        }
        if let Some(lot) = item.lot {
            lots.entry(lot).or_default().insert(item.side);
        }
    }
    let both = || groups.values().filter(|g| g[0] > 0 && g[1] > 0);
    StratumUse {
        by,
        strata: both().count(),
        lots: lots.values().filter(|s| s.len() == 2).count(),
        panels_before: both().map(|g| g[0]).sum(),
        panels_after: both().map(|g| g[1]).sum(),
    }
}

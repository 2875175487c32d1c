//! One comparison: every kind of defect and the removal, without verdicts.

use std::collections::BTreeSet;

use super::design::{Basis, Design, LotRole};
use super::items::Item;
use super::needed::{Plan, Rested};
use super::ratio::{FEWEST_LOTS_A_SIDE, Kind, StratifiedRatio, stratified};
use super::spell::Spell;
use super::{
    Change, Comparison, Confounder, Counts, Estimate, LotCounts, Margin, Note, Question, Settings,
    Side, Verdict, removal, spell, trend,
};
use crate::records::Records;
use crate::site::DefectClass;
use crate::stats::Interval;

/// ln of crude over stratified ratio from which a mix that moved is worth a word.
const MIX_MOVED: f64 = 0.1;

/// Compares the sides; p-values are not adjusted yet and no verdict is given.
pub(super) fn assess(
    records: &Records,
    sides: &[Option<Side>],
    question: Question,
    settings: &Settings,
) -> Comparison {
    let basis = Basis {
        records,
        sides,
        asked: asked(&question),
        day_start: settings.day_start,
    };
    let design = basis.design(|k| records.panels[k].inspected);
    let both = |side| design.items.iter().any(|i| i.side == side);
    let changes = if both(Side::Before) && both(Side::After) {
        let kinds = Kinds::new(records, &design);
        (0..records.defect_names.len())
            .map(|kind| kinds.change(kind, &question, settings))
            .collect()
    } else {
        Vec::new()
    };
    let removal = removal::assess(&basis, settings);
    let mut notes = design.notes.clone();
    let outside = sides.iter().filter(|s| s.is_none()).count();
    if outside > 0 && !matches!(question, Question::Recipe { .. } | Question::Week { .. }) {
        notes.push(Note::PanelsOutside { panels: outside });
    }
    Comparison {
        question,
        changes,
        removal,
        strata: design.strata,
        confounded_with: design.confounded_with,
        notes,
    }
}

/// Columns that the question itself moves.
fn asked(question: &Question) -> Vec<String> {
    match question {
        Question::Values { before, after } => {
            let differs = |(column, value): &&(String, String)| {
                let other = if before.iter().any(|p| p.0 == *column && p.1 == *value) {
                    after
                } else {
                    before
                };
                !other.iter().any(|p| p.0 == *column && p.1 == *value)
            };
            before
                .iter()
                .chain(after)
                .filter(differs)
                .map(|p| p.0.clone())
                .collect()
        }
        Question::Abrasive { .. } => vec!["abrasive_id".into(), "abrasive_age".into()],
        Question::Recipe { .. } => vec!["recipe".into()],
        Question::Since { .. } | Question::Week { .. } => Vec::new(),
    }
}

/// Defects of every kind on the panels of a design.
struct Kinds<'a> {
    records: &'a Records,
    design: &'a Design,
    /// Positions in the design, once per defect, by kind.
    hits: Vec<Vec<usize>>,
}

impl<'a> Kinds<'a> {
    fn new(records: &'a Records, design: &'a Design) -> Self {
        let mut position = vec![None; records.panels.len()];
        for (k, &panel) in design.panels.iter().enumerate() {
            position[panel] = Some(k);
        }
        let mut hits = vec![Vec::new(); records.defect_names.len()];
        for defect in &records.defects {
            if let Some(k) = position[defect.panel] {
                hits[defect.name].push(k);
            }
        }
        Self {
            records,
            design,
            hits,
        }
    }

    /// Items with the counts of some kinds and the panels' areas.
    fn items(&self, kinds: impl Iterator<Item = usize>) -> Vec<Item> {
        let mut items = self.design.items.clone();
        for (item, &panel) in items.iter_mut().zip(&self.design.panels) {
            item.exposure = self.records.panels[panel].area_m2();
        }
        for kind in kinds {
            for &k in &self.hits[kind] {
                items[k].value += 1.0;
            }
        }
        items
    }

    fn of_class(&self, class: DefectClass) -> Vec<usize> {
        let names = self.records.defect_names.iter().enumerate();
        names
            .filter(|(_, n)| n.class == Some(class))
            .map(|(k, _)| k)
            .collect()
    }

    fn change(&self, kind: usize, question: &Question, settings: &Settings) -> Change {
        let name = &self.records.defect_names[kind];
        let items = self.items(std::iter::once(kind));
        let before = count(items.iter().filter(|i| i.side == Side::Before));
        let after = count(items.iter().filter(|i| i.side == Side::After));
        let mut notes = Vec::new();
        let mut confounded_with = self.design.confounded_with.clone();
        // a week was not chosen for what came before it
        let chosen = !matches!(question, Question::Week { .. });
        let spell = chosen
            .then(|| spell::before_change(&items, settings.level))
            .flatten();
        let kept = spell
            .as_ref()
            .map_or_else(|| items.clone(), |spell| without(&items, spell));
        let fit = stratified(&kept, Kind::Counts, settings.level);
        let with_spell = spell
            .as_ref()
            .and_then(|_| stratified(&items, Kind::Counts, settings.level));
        notes.extend(spell.map(|spell| self.spell_note(&spell, with_spell.as_ref())));
        if let Some(memory) = fit.as_ref().and_then(StratifiedRatio::day_memory_felt) {
            notes.push(Note::DaysAlike { memory });
        }
        let ratio = fit.as_ref().and_then(StratifiedRatio::estimate);
        if chosen && let Some(trend) = trend::before_change(&kept, settings.level) {
            notes.push(Note::TrendBefore {
                factor: trend.ratio,
                p: trend.p,
            });
            if ratio.is_some_and(|r| trend.explains(r)) {
                confounded_with.push(Confounder::Trend);
            }
        }
        for (side, counts) in [(Side::Before, before), (Side::After, after)] {
            if counts.defects == 0 {
                notes.push(Note::NoDefects { side });
            }
        }
        let crude_ratio = crude(&before, &after);
        if let (Some(crude), Some(stratified)) = (crude_ratio, ratio)
            && (crude - 1.0) * (stratified - 1.0) < 0.0
            && (crude / stratified).ln().abs() > MIX_MOVED
        {
            notes.push(Note::DirectionsDiffer { crude, stratified });
        }
        if fit.is_none() && before.defects + after.defects > 0 && confounded_with.is_empty() {
            // defects, but no stratum with both sides
            confounded_with.push(if self.design.lots == LotRole::Strata {
                Confounder::Lot
            } else {
                Confounder::Machine
            });
        }
        let identifiable = confounded_with.is_empty();
        Change {
            defect: name.name.clone(),
            class: name.class,
            question: question.clone(),
            before,
            after,
            crude_ratio,
            ratio,
            ratio_ci: fit.as_ref().map(|fit| hull(fit, with_spell.as_ref())),
            p: fit
                .as_ref()
                .filter(|_| identifiable)
                .map(|fit| p_of_both(fit, with_spell.as_ref())),
            p_adjusted: None,
            method: fit.as_ref().map(StratifiedRatio::method),
            panels_hit_ratio: panels_hit(&kept, settings),
            between_lots: self.between_lots(&kept, settings),
            opposite: self.opposite(name.class, settings),
            verdict: Verdict::NotIdentifiable,
            panels_needed: None,
            needed: None,
            plan: fit
                .as_ref()
                .map(|fit| Plan::going_on(fit, &Rested::on(&kept))),
            confounded_with,
            dispersion: fit.as_ref().map(|f| f.dispersion),
            by_lot: self.by_lot(&items),
            notes,
        }
    }

    fn spell_note(&self, spell: &Spell, with: Option<&StratifiedRatio>) -> Note {
        let first = self.design.panels[spell.members[0]];
        Note::BadSpellLeftOut {
            first_panel: self.records.panels[first].id.clone(),
            panels: spell.members.len(),
            rate_ratio: spell.ratio,
            ratio_with_spell: with.and_then(StratifiedRatio::estimate),
        }
    }

    /// Whether the class at the other end of removal got worse.
    fn opposite(&self, class: Option<DefectClass>, settings: &Settings) -> Option<Margin> {
        let class = match class? {
            DefectClass::Over => DefectClass::Under,
            DefectClass::Under => DefectClass::Over,
            DefectClass::Surface | DefectClass::Incoming => return None,
        };
        let items = self.items(self.of_class(class).into_iter());
        let fit = stratified(&items, Kind::Counts, settings.level)?;
        // one-sided at the level: the two-sided interval of twice the miss
        let upper = fit.interval_at(2.0 * settings.level - 1.0).high;
        Some(Margin {
            class,
            ratio: fit.estimate(),
            upper,
            margin: settings.margin,
            holds: upper <= settings.margin,
            panels_needed: None,
            plan: Some(Plan::going_on(&fit, &Rested::on(&items))),
        })
    }

    /// Lots before against lots after, as if they had been drawn alike; only
    /// where lots make the question unanswerable inside them.
    fn between_lots(&self, kept: &[Item], settings: &Settings) -> Option<Estimate> {
        if self.design.lots != LotRole::Strata {
            return None;
        }
        let lots = |side: Side| -> BTreeSet<usize> {
            let own = kept.iter().filter(|i| i.side == side);
            own.filter_map(|i| i.lot).collect()
        };
        let (before, after) = (lots(Side::Before), lots(Side::After));
        if !before.is_disjoint(&after)
            || before.len() < FEWEST_LOTS_A_SIDE
            || after.len() < FEWEST_LOTS_A_SIDE
        {
            return None;
        }
        let items: Vec<Item> = kept
            .iter()
            .filter(|i| i.lot.is_some())
            .map(|i| Item {
                stratum: i.stream,
                ..*i
            })
            .collect();
        estimate(&stratified(&items, Kind::Counts, settings.level)?)
    }

    /// Counts by lot, in the order of the lots' first panels.
    fn by_lot(&self, items: &[Item]) -> Vec<LotCounts> {
        let mut rows: Vec<LotCounts> = Vec::new();
        let mut row_of = std::collections::BTreeMap::new();
        for (item, &panel) in items.iter().zip(&self.design.panels) {
            let lot = self.records.panels[panel].lot.as_deref();
            let row = *row_of.entry(lot).or_insert_with(|| {
                rows.push(LotCounts {
                    lot: lot.map(str::to_owned),
                    before: Counts::default(),
                    after: Counts::default(),
                });
                rows.len() - 1
            });
            let counts = match item.side {
                Side::Before => &mut rows[row].before,
                Side::After => &mut rows[row].after,
            };
            add(counts, item);
        }
        rows
    }
}

/// The items without a bad spell.
fn without(items: &[Item], spell: &Spell) -> Vec<Item> {
    let kept = items.iter().enumerate();
    kept.filter(|(k, _)| spell.members.binary_search(k).is_err())
        .map(|(_, item)| *item)
        .collect()
}

/// The interval without a bad spell, stretched to hold that with it: a stretch
/// chosen for being bad must neither make the change look good nor, left out,
/// look worse than it is.
fn hull(fit: &StratifiedRatio, with_spell: Option<&StratifiedRatio>) -> Interval {
    let own = fit.interval();
    with_spell.map_or(own, |with| {
        let other = with.interval();
        Interval {
            low: own.low.min(other.low),
            high: own.high.max(other.high),
            level: own.level,
        }
    })
}

/// The p-value that belongs to [`hull`]: the larger of the two, 1 if they point
/// in different directions.
fn p_of_both(fit: &StratifiedRatio, with_spell: Option<&StratifiedRatio>) -> f64 {
    let above = |fit: &StratifiedRatio| fit.estimate().is_none_or(|r| r > 1.0);
    match with_spell {
        Some(with) if above(with) != above(fit) => 1.0,
        Some(with) => fit.p_value().max(with.p_value()),
        None => fit.p_value(),
    }
}

fn add(counts: &mut Counts, item: &Item) {
    counts.panels += 1;
    counts.defects += item.value as usize;
    counts.panels_hit += usize::from(item.value > 0.0);
    counts.area_m2 += item.exposure;
}

fn count<'a>(items: impl Iterator<Item = &'a Item>) -> Counts {
    items.fold(Counts::default(), |mut counts, item| {
        add(&mut counts, item);
        counts
    })
}

fn crude(before: &Counts, after: &Counts) -> Option<f64> {
    (before.defects > 0)
        .then(|| (after.defects as f64 / after.area_m2) / (before.defects as f64 / before.area_m2))
}

/// The share of panels hit, after over before: counts of at most one a panel.
fn panels_hit(items: &[Item], settings: &Settings) -> Option<Estimate> {
    let hits: Vec<Item> = items
        .iter()
        .map(|i| Item {
            value: f64::from(u8::from(i.value > 0.0)),
            exposure: 1.0,
            ..*i
        })
        .collect();
    estimate(&stratified(&hits, Kind::Counts, settings.level)?)
}

pub(super) fn estimate(fit: &StratifiedRatio) -> Option<Estimate> {
    Some(Estimate {
        ratio: fit.estimate(),
        ratio_ci: fit.interval(),
        p: fit.p_value(),
    })
}

//! One comparison: every kind of defect and the removal, without verdicts.

use super::design::{Basis, Design};
use super::history::{self, Spell};
use super::items::Item;
use super::matched::matched_ratio;
use super::ratio::{Kind, Ratio, ratio};
use super::rivals::{Path, Rival};
use super::{
    Change, Comparison, Confounder, Counts, LotCounts, Margin, Note, Question, Scatter, Settings,
    Side, Verdict, removal, rivals,
};
use crate::records::Records;
use crate::site::DefectClass;
use crate::stats::Interval;

/// Memory of days, and their standard deviation, from which drift is worth a word:
/// intervals of shops whose days differ by 0.4 and resemble each other by 0.8 hold
/// the truth in 88 of 100.
const MEMORY_FELT: f64 = 0.75;
const DAYS_FELT: f64 = 0.25;

/// ln of crude over allowed ratio from which a mix that moved is worth a word.
const MIX_MOVED: f64 = 0.1;

/// Compares the sides, over the kinds named in `on` or all where none is; p-values
/// are not adjusted yet and no verdict is given.
pub(super) fn assess(
    records: &Records,
    sides: &[Option<Side>],
    question: Question,
    on: &[String],
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
            .filter(|k| on.is_empty() || on.contains(&records.defect_names[*k].name))
            .map(|kind| kinds.change(kind, &question, settings))
            .collect()
    } else {
        Vec::new()
    };
    let removal = removal::assess(&basis, settings);
    let mut notes = design.notes.clone();
    let outside = sides.iter().filter(|s| s.is_none()).count();
    let chosen = matches!(
        question,
        Question::Values { .. } | Question::Since { .. } | Question::Abrasive { .. }
    );
    if outside > 0 && chosen {
        notes.push(Note::PanelsOutside { panels: outside });
    }
    Comparison {
        question,
        changes,
        removal,
        strata: design.strata,
        confounded_with: design.confounded_with,
        notes,
        by_turns: design.by_turns,
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
        Question::Plan { column, .. } => vec![column.clone()],
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
        let patterns = &self.design.patterns;
        let spell = chosen.then(|| history::spell(&items, patterns)).flatten();
        let kept = spell
            .as_ref()
            .map_or_else(|| items.clone(), |spell| without(&items, spell));
        let with_spell = spell
            .as_ref()
            .and_then(|_| ratio(&items, patterns, Kind::Counts));
        let fits = ratio(&kept, patterns, Kind::Counts).map(|main| Fits { main, with_spell });
        if let Some(spell) = &spell {
            notes.push(self.spell_note(spell, fits.as_ref()));
        }
        let ratio = fits.as_ref().and_then(|f| f.main.estimate());
        let scatter = fits.as_ref().map(|f| f.main.scatter());
        notes.extend(scatter.and_then(days_alike));
        if chosen && let Some(trend) = history::trend(&kept, patterns) {
            notes.push(Note::TrendBefore {
                factor: trend.ratio,
                p: trend.p,
            });
            if ratio.is_some_and(|r| trend.explains(r)) {
                confounded_with.push(Confounder::Trend);
            }
        }
        let rivals = fits.as_ref().filter(|_| chosen).map_or_else(Vec::new, |f| {
            let rivals = if f.p_value() <= 1.0 - settings.level {
                rivals::in_its_place(&kept, patterns, &f.main.fit)
            } else {
                Vec::from_iter(rivals::all_along(&kept, patterns))
            };
            let told = |r: Rival| (self.told(&r, settings), r);
            rivals.into_iter().map(told).collect()
        });
        for (side, counts) in [(Side::Before, before), (Side::After, after)] {
            if counts.defects == 0 {
                notes.push(Note::NoDefects { side });
            }
        }
        let crude_ratio = crude(&before, &after);
        if let (Some(crude), Some(allowed)) = (crude_ratio, ratio)
            && (crude - 1.0) * (allowed - 1.0) < 0.0
            && (crude / allowed).ln().abs() > MIX_MOVED
        {
            notes.push(Note::DirectionsDiffer { crude, allowed });
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
            ratio_ci: fits.as_ref().map(|f| f.interval(settings.level)),
            p: fits.as_ref().filter(|_| identifiable).map(Fits::p_value),
            p_adjusted: None,
            matched_ratio: matched_ratio(&kept),
            method: fits.as_ref().map(|f| f.main.method()),
            opposite: self.opposite(name.class, settings),
            verdict: Verdict::NotIdentifiable,
            panels_needed: None,
            panels_needed_alternating: None,
            block_panels: None,
            needed: None,
            fits,
            rivals,
            confounded_with,
            scatter,
            by_lot: self.by_lot(&items),
            notes,
        }
    }

    fn spell_note(&self, spell: &Spell, fits: Option<&Fits>) -> Note {
        let first = self.design.panels[spell.members[0]];
        Note::BadSpellLeftOut {
            first_panel: self.records.panels[first].id.clone(),
            panels: spell.members.len(),
            rate_ratio: spell.ratio,
            ratio_with_spell: fits
                .and_then(|f| f.with_spell.as_ref())
                .and_then(Ratio::estimate),
        }
    }

    /// What a rival of the change says, for the reader.
    fn told(&self, rival: &Rival, settings: &Settings) -> Note {
        let (factor, beside) = (rival.factor, rival.beside.mean().exp());
        let beside_ci = rival.interval(settings.level);
        match rival.path {
            Path::Line => Note::TrendUnderWay {
                factor,
                beside,
                beside_ci,
            },
            Path::Step { day, earlier } => {
                let first = self.design.items.iter().position(|i| i.day == Some(day));
                let panel = first.map(|k| &self.records.panels[self.design.panels[k]]);
                Note::StepOnAnotherDay {
                    day: panel.and_then(|p| Some(p.sanded_at?.local.date())),
                    days_earlier: earlier,
                    factor,
                    beside,
                    beside_ci,
                }
            }
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
        let main = ratio(&items, &self.design.patterns, Kind::Counts)?;
        // one-sided at the level: the two-sided interval of twice the miss
        let upper = main.interval(2.0 * settings.level - 1.0).high;
        Some(Margin {
            class,
            ratio: main.estimate(),
            upper,
            margin: settings.margin,
            holds: upper <= settings.margin,
            panels_needed: None,
            fits: Fits::of(main),
        })
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

/// A ratio, and where a bad spell was left out, that with it: a stretch chosen for
/// being bad must neither make the change look good nor, left out, look worse than
/// it is, so interval and test hold for both.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Fits {
    pub main: Ratio,
    pub with_spell: Option<Ratio>,
}

impl Fits {
    pub(super) fn of(main: Ratio) -> Self {
        Self {
            main,
            with_spell: None,
        }
    }

    /// The interval without the spell, stretched to hold that with it.
    pub(super) fn interval(&self, level: f64) -> Interval {
        let own = self.main.interval(level);
        self.with_spell.as_ref().map_or(own, |with| {
            let other = with.interval(level);
            Interval {
                low: own.low.min(other.low),
                high: own.high.max(other.high),
                level,
            }
        })
    }

    /// The p-value that belongs to it: the larger of the two, 1 if they point in
    /// different directions.
    pub(super) fn p_value(&self) -> f64 {
        let above = |ratio: &Ratio| ratio.estimate().is_none_or(|r| r > 1.0);
        match &self.with_spell {
            Some(with) if above(with) != above(&self.main) => 1.0,
            Some(with) => self.main.p_value().max(with.p_value()),
            None => self.main.p_value(),
        }
    }
}

/// A word on days that drift, where they do.
fn days_alike(scatter: Scatter) -> Option<Note> {
    let memory = scatter.day_memory.filter(|m| *m >= MEMORY_FELT)?;
    let felt = scatter.days.is_some_and(|d| d >= DAYS_FELT);
    felt.then_some(Note::DaysAlike { memory })
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

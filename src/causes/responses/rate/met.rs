//! Whether the accused beats a recorded rival that blames somebody else, and time.

use std::collections::{BTreeMap, BTreeSet};

use super::{STEP_POSSIBLE, Table};
use crate::causes::rivals::{Recorded, StepFound, place_within};
use crate::causes::{Cause, Rival};
use crate::duel::{Contender, Follows, Given, Meeting, Shown, Suspect, in_order, meet};

/// A rival that shows nothing itself is beaten at this level, if so much of the
/// difference is left.
const AGAINST_NOBODY: f64 = 0.05;
pub(super) const DIFFERENCE_LEFT: f64 = 0.5;

/// Units that follow each other and are taken as one time.
const UNITS_OF_A_TIME: usize = 7;

/// Days, and the share of the marks that came on them, that make a level theirs.
const FEW_DAYS: usize = 2;
const MOST_MARKS: f64 = 0.75;

/// How an accused contender fared against its rivals.
#[derive(Debug, Default)]
pub(super) struct Met {
    pub beaten: Vec<Rival>,
    pub open: Vec<(Rival, Vec<String>)>,
    pub beside: Vec<(Rival, Vec<String>)>,
}

impl Met {
    pub(super) fn put(
        &mut self,
        beaten: bool,
        rival: &Rival,
        levels: impl FnOnce() -> Vec<String>,
    ) {
        if beaten {
            self.beaten.push(rival.clone());
        } else {
            self.open.push((rival.clone(), levels()));
        }
    }

    pub(super) fn leaves_open(&self, rival: &Rival) -> bool {
        self.open.iter().any(|o| o.0 == *rival)
    }
}

/// What a claim is judged by.
pub(super) struct Asked<'a> {
    pub recorded: &'a Recorded,
    pub shown: &'a Shown,
    pub step: Option<&'a StepFound>,
    pub level: f64,
}

impl Table<'_> {
    /// Whether another that blames the same part or recipe went with the accused
    /// all along: whom to blame is clear then, what of it is not. Sanding done is
    /// made of its factors, and units of the accused are no rivals.
    pub(super) fn goes_beside(&self, asked: &Asked<'_>, other: &Recorded) -> bool {
        let rival = &asked.recorded.rival;
        let blames = rival.cause();
        let whole = |r: &Rival| *r == Rival::SandingDone;
        let of_it = |r: &Rival| whole(r) || matches!(r, Rival::Feed | Rival::Passes | Rival::Force);
        let made_of = whole(rival) && of_it(&other.rival) || of_it(rival) && whole(&other.rival);
        if *rival == other.rival
            || !matches!(blames, Cause::Part | Cause::Recipe)
            || other.rival.cause() != blames
            || made_of
        {
            return false;
        }
        let (own, others) = (
            asked.recorded.contender.classes(),
            other.contender.classes(),
        );
        let many = |of: &[usize]| of.iter().collect::<BTreeSet<_>>().len();
        let both = own.iter().zip(&others).collect::<BTreeSet<_>>().len();
        let is_unit = both == many(&others) && many(&others) > many(&own);
        match self.met(asked, &others, false) {
            Meeting::Inside(f) => !asked.beats(&f, true),
            Meeting::Nested(_) | Meeting::Never => !is_unit,
        }
    }

    /// Whether a rival is beaten; none where it is no rival, or met elsewhere.
    pub(super) fn duel(&self, asked: &Asked<'_>, other: &Recorded, quiet: bool) -> Option<bool> {
        let rival = &asked.recorded.rival;
        let blames = rival.cause();
        let same = match blames {
            Cause::Undecided => other.rival == *rival || other.rival.is_met_by_all(),
            _ => other.rival.cause() == blames,
        };
        if same || other.rival.is_told_only() {
            return None;
        }
        // Lots are dealt out over the ages of many lives, unless they begin with
        // them: see below.
        let ages = *rival == Rival::AbrasiveAge;
        let dealt = ages && matches!(other.rival, Rival::Lot | Rival::Day | Rival::Weekday);
        // An hour is met on other days, and not if it came once, as a time that is
        // met below (but by machines, which are side by side or were not).
        let hour = other.rival == Rival::Hour;
        let side_by_side = matches!(rival, Rival::Machine | Rival::Head);
        let returns = hour && self.hours_return();
        if hour && !side_by_side && !returns {
            return None;
        }
        let over_days = returns && (ages || side_by_side || asked.shown.suspect.serial);
        let met = self.met(asked, &other.contender.classes(), dealt || over_days);
        // Days that hold several units are met as times, below, where marks came on
        // many; what came on a day or two is met among the panels of these.
        let inside = matches!(met, Meeting::Inside(_));
        if other.rival == Rival::Day
            && inside
            && !asked.shown.suspect.serial
            && !self.came_on_few(asked, &other.contender.classes())
        {
            return None;
        }
        let quiet = dealt || quiet;
        // Lots that each ran on one machine may be of one family, and hours and
        // weekdays come round the same: no number of them tells who was given them
        // all.
        let own_lots = blames == Cause::Machine && other.rival.cause() == Cause::Part;
        let come_round = matches!(other.rival, Rival::Hour | Rival::Weekday);
        Some(match met {
            Meeting::Inside(f) => asked.beats(&f, quiet),
            Meeting::Nested(f) => !own_lots && !come_round && asked.beats(&f, quiet),
            Meeting::Never => false,
        })
    }

    /// Whether most marks of an accused level came on one or two of the days.
    fn came_on_few(&self, asked: &Asked<'_>, days: &[usize]) -> bool {
        if asked.shown.level.is_none() {
            return false;
        }
        let mut marks: BTreeMap<usize, f64> = BTreeMap::new();
        for at in asked.shown.suspect.inside() {
            *marks.entry(days[at]).or_default() += self.marks[at];
        }
        let mut marks: Vec<f64> = marks.into_values().collect();
        marks.sort_by(|a, b| b.total_cmp(a));
        let most: f64 = marks.iter().take(FEW_DAYS).sum();
        most >= MOST_MARKS * marks.iter().sum::<f64>()
    }

    /// Whether fewer than half of the panels have a time.
    pub(super) fn without_times(&self) -> bool {
        let timed = |i: &&usize| self.records.panels[**i].sanded_at.is_some();
        2 * self.panels.iter().filter(timed).count() < self.panels.len()
    }

    /// Whether fewer than half of the panels name their lot or supplier.
    pub(super) fn without_lots(&self) -> bool {
        let panel = |i: &usize| &self.records.panels[*i];
        let named = |i: &&usize| panel(i).lot.is_some() || panel(i).supplier.is_some();
        2 * self.panels.iter().filter(named).count() < self.panels.len()
    }

    /// Whether most panels were sanded in hours that came on two days or more.
    fn hours_return(&self) -> bool {
        let time = |i: &usize| self.records.panels[*i].sanded_at.map(|t| t.local);
        let mut days: BTreeMap<i8, BTreeSet<jiff::civil::Date>> = BTreeMap::new();
        for t in self.panels.iter().filter_map(time) {
            days.entry(t.hour()).or_default().insert(t.date());
        }
        let returns = |t: &jiff::civil::DateTime| days[&t.hour()].len() > 1;
        2 * self.panels.iter().filter_map(time).filter(returns).count() > self.panels.len()
    }

    /// The machine of every panel as a number.
    fn machines(&self) -> Vec<usize> {
        let machine = |i: &usize| self.records.panels[*i].machine.as_deref();
        in_order(self.panels.iter().map(machine))
    }

    /// How the accused meets classes, compared over all its lives or days where
    /// `over_all`.
    fn met(&self, asked: &Asked<'_>, classes: &[usize], over_all: bool) -> Meeting {
        let mut suspect = asked.shown.suspect.clone();
        if over_all {
            suspect.blocks = match asked.recorded.rival {
                Rival::Machine => vec![0; self.cells.len()].into(),
                Rival::Head => self.machines().into(),
                _ => self.cells.clone(),
            };
        }
        meet(&self.responses, &suspect, classes)
    }

    /// A pallet's top and bottom differ too: where each has its own abrasive, the
    /// age is the place in the lot.
    pub(super) fn meet_place_in_lot(&self, asked: &Asked<'_>, met: &mut Met) {
        let lots = self.contenders.iter().find(|c| c.rival == Rival::Lot);
        let Some(lots) = lots.filter(|_| asked.recorded.rival == Rival::AbrasiveAge) else {
            return;
        };
        let places = Contender {
            given: Given::Scores(place_within(&lots.contender.units).into()),
            ..lots.contender.clone()
        };
        let beaten = match self.met(asked, &places.classes(), true) {
            Meeting::Inside(f) => asked.beats(&f, true),
            _ => false,
        };
        if !beaten && !met.leaves_open(&Rival::Lot) {
            met.beaten.retain(|b| *b != Rival::Lot);
            met.put(false, &Rival::Lot, Vec::new);
        }
    }

    /// Time: blocks that hold a few units each, and the clearest step; for a level
    /// against its neighbours both its borders, or machines that did not change.
    pub(super) fn meet_time(&self, asked: &Asked<'_>, met: &mut Met) {
        let Asked {
            recorded,
            shown,
            step,
            level,
        } = *asked;
        if matches!(
            recorded.rival,
            Rival::AbrasiveAge | Rival::FirstOfDay | Rival::Machine | Rival::Head
        ) {
            return;
        }
        let beaten = match shown.borders {
            Some(true) => true,
            Some(false) => {
                let whole = recorded.contender.as_two_levels();
                let control = whole.and_then(|whole| self.control(shown, &whole, level));
                if let Some(control) = &control {
                    let cleared = |o: &Rival| {
                        o.cause() == Cause::Undecided || self.had_it_too(control, shown, o)
                    };
                    let open = std::mem::take(&mut met.open);
                    let (cleared, left): (Vec<_>, Vec<_>) =
                        open.into_iter().partition(|o| cleared(&o.0));
                    met.beaten.extend(cleared.into_iter().map(|o| o.0));
                    met.beaten.retain(|b| b.cause() != Cause::Undecided);
                    met.open = left;
                }
                control.is_some()
            }
            None => {
                let no_step = step.is_none_or(|s| s.p_value > STEP_POSSIBLE);
                let against = |classes: &[usize]| match self.met(asked, classes, false) {
                    Meeting::Inside(f) => asked.beats(&f, no_step),
                    _ => false,
                };
                against(&times(&shown.suspect))
                    && step.filter(|_| !no_step).is_none_or(|s| against(&s.sides))
            }
        };
        met.put(beaten, &Rival::Step, Vec::new);
    }
}

impl Asked<'_> {
    fn beats(&self, found: &Follows, quiet: bool) -> bool {
        beats(found, &self.shown.follows, self.level, quiet)
    }
}

/// Whether a comparison is won: at its own level, or against somebody who shows
/// nothing with half of the difference left.
pub(super) fn beats(found: &Follows, alone: &Follows, level: f64, quiet: bool) -> bool {
    let left = found.difference / alone.difference;
    left > 0.0
        && (found.p_value <= level
            || (quiet && found.p_value <= AGAINST_NOBODY && left >= DIFFERENCE_LEFT))
}

/// Times that hold a few units each, cell by cell; fewer than two of them where
/// there are too few units.
fn times(suspect: &Suspect) -> Vec<usize> {
    let mut first: BTreeMap<(usize, usize), usize> = BTreeMap::new();
    for at in 0..suspect.given.len() {
        first
            .entry((suspect.blocks[at], suspect.units[at]))
            .or_insert(at);
    }
    let mut by_block: BTreeMap<usize, Vec<(usize, usize)>> = BTreeMap::new();
    for ((block, unit), at) in first {
        by_block.entry(block).or_default().push((at, unit));
    }
    let mut time_of: BTreeMap<(usize, usize), usize> = BTreeMap::new();
    let mut next = 0;
    for (block, mut units) in by_block {
        units.sort_unstable();
        let count = (units.len() / UNITS_OF_A_TIME).max(1);
        for (k, (_, unit)) in units.iter().enumerate() {
            time_of.insert((block, *unit), next + k * count / units.len());
        }
        next += count;
    }
    (0..suspect.given.len())
        .map(|at| time_of[&(suspect.blocks[at], suspect.units[at])])
        .collect()
}

#[cfg(test)]
mod tests {
    use super::super::made::table;
    use super::*;
    use crate::duel::{Toward, shown};
    use crate::records::{Moment, Panel, Records};

    #[test]
    fn half_of_the_difference_must_be_left_against_who_shows_nothing() {
        let found = |p_value: f64, difference: f64| Follows {
            p_value,
            exchanged: p_value,
            difference,
            units: 20,
            left: 1.0,
        };
        let alone = found(0.001, 0.4);
        let won = |p: f64, d: f64, quiet: bool| beats(&found(p, d), &alone, 0.01, quiet);
        assert_eq!([won(0.04, 0.2, true), won(0.04, 0.19, true)], [true, false]);
        assert_eq!(
            [won(0.04, 0.4, false), won(0.01, 0.1, false)],
            [false, true]
        );
        assert!(!won(0.001, -0.4, true), "the other way");
    }

    #[test]
    fn a_time_holds_seven_units_of_its_own_block() {
        let suspect = Suspect {
            given: vec![Some(0.0); 48].into(),
            units: (0..48).map(|i| i / 2).collect(),
            blocks: (0..48).map(|i| usize::from(i >= 28)).collect(),
            toward: Toward::Either,
            serial: false,
        };
        // 14 units and 10: two times of seven, and one of ten.
        let expected: Vec<usize> = (0..48).map(|i| if i < 28 { i / 14 } else { 2 }).collect();
        assert_eq!(times(&suspect), expected);
    }

    #[test]
    fn hours_return_where_most_panels_have_theirs_on_another_day() {
        let returns = |day_of: fn(i64) -> i64| {
            let panel = |i: i64| {
                let minutes = 1440 * day_of(i) + 60 * (i % 12);
                let local = jiff::civil::date(2031, 3, 3).at(6, 0, 0, 0);
                let local = local + jiff::Span::new().minutes(minutes);
                let instant = jiff::tz::TimeZone::UTC.to_timestamp(local).unwrap();
                Panel {
                    sanded_at: Some(Moment { instant, local }),
                    ..Panel::default()
                }
            };
            let records = Records {
                panels: (0..36).map(panel).collect(),
                ..Records::default()
            };
            table(&records, vec![0.0; 36]).hours_return()
        };
        assert!(returns(|i| i / 12));
        assert!(!returns(|_| 0));
        // Twelve panels in two hours that come on two days, the others' once.
        assert!(!returns(|i| i64::from(i % 12 < 2 && i >= 12)));
    }

    /// Sixteen lots of ten panels, each sanded on one of two machines, and as many
    /// inspectors' turns: lots may be of one family, turns are not the machine's.
    #[test]
    fn lots_that_each_kept_to_a_machine_are_not_beaten_by_their_number() {
        let given: Vec<Option<usize>> = (0..160).map(|i| Some(i / 10 % 2)).collect();
        let recorded = |rival: Rival, of: Vec<Option<usize>>, count: usize| Recorded {
            rival,
            levels: Vec::new(),
            contender: Contender {
                given: Given::Levels(of.into(), count),
                units: (0..160).collect(),
                blocks: vec![0; 160].into(),
                toward: Toward::Rises,
                by_neighbours: false,
            },
        };
        let machine = recorded(Rival::Machine, given, 2);
        let turns = |rival: Rival| recorded(rival, (0..160).map(|i| Some(i / 10)).collect(), 16);
        let marks: Vec<f64> = (0..160)
            .map(|i| f64::from(u8::from(i / 10 % 2 == 0 && i % 3 > 0 || i % 11 == 0)))
            .collect();
        let records = Records {
            panels: vec![
                Panel {
                    length_mm: 1000.0,
                    width_mm: 1000.0,
                    ..Panel::default()
                };
                160
            ],
            ..Records::default()
        };
        let table = table(&records, marks);
        assert_eq!(table.responses.len(), 1);
        let asked = Asked {
            recorded: &machine,
            shown: &shown(&table.responses, &machine.contender).unwrap(),
            step: None,
            level: 0.01,
        };
        assert_eq!(
            table.duel(&asked, &turns(Rival::Inspector), false),
            Some(true)
        );
        assert_eq!(table.duel(&asked, &turns(Rival::Lot), false), Some(false));
    }
}

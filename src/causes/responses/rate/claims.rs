//! Who is shown duels every recorded rival that blames somebody else, and time.

use std::collections::{BTreeMap, BTreeSet};

use super::least::Accused;
use super::{Claim, LEAST_HIT, Level, MOST_NAMED, STEP_POSSIBLE, TWOFOLD, Table};
use crate::causes::rivals::{Recorded, StepFound, place_within};
use crate::causes::{Cause, Rival};
use crate::duel::{
    Contender, Follows, Given, Meeting, Shown, Suspect, bound, in_order, meet, shown,
};

/// A rival that shows nothing itself is beaten at this level, if so much of the
/// difference is left.
const AGAINST_NOBODY: f64 = 0.05;
pub(super) const DIFFERENCE_LEFT: f64 = 0.5;

/// Hours beyond twofold by which panels are inspected later than others.
const LATER_HOURS: f64 = 2.0;

/// Units that follow each other and are taken as one time.
const UNITS_OF_A_TIME: usize = 7;

/// Days, and the share of the marks that came on them, that make a level theirs.
const FEW_DAYS: usize = 2;
const MOST_MARKS: f64 = 0.75;

/// How an accused contender fared against its rivals.
#[derive(Debug, Default)]
struct Met {
    beaten: Vec<Rival>,
    open: Vec<(Rival, Vec<String>)>,
    beside: Vec<(Rival, Vec<String>)>,
}

impl Met {
    fn put(&mut self, beaten: bool, rival: &Rival, levels: impl FnOnce() -> Vec<String>) {
        if beaten {
            self.beaten.push(rival.clone());
        } else {
            self.open.push((rival.clone(), levels()));
        }
    }

    fn leaves_open(&self, rival: &Rival) -> bool {
        self.open.iter().any(|o| o.0 == *rival)
    }
}

/// What all contenders show, asked alone.
#[derive(Debug, Default)]
pub(super) struct Alone {
    /// Those that may be accused.
    pub shown: Vec<Option<Shown>>,
    /// Whether each shows nothing, though it could.
    pub quiet: Vec<bool>,
    /// The clearest step in time.
    pub step: Option<StepFound>,
}

/// What a claim is judged by.
struct Asked<'a> {
    recorded: &'a Recorded,
    shown: &'a Shown,
    step: Option<&'a StepFound>,
    level: f64,
}

impl Table<'_> {
    /// The levels of one contender that are shown, each a claim, or its numbers.
    pub(super) fn claims_of(
        &self,
        at: usize,
        alone: &Alone,
        share: Level,
        others: (usize, &[&Table<'_>]),
    ) -> Option<Claim> {
        let recorded = &self.contenders[at];
        let mut found: Option<Claim> = None;
        let mut rest = recorded.contender.clone();
        let mut next = alone.shown[at].clone();
        for _ in 0..MOST_NAMED {
            let Some(now) = next.filter(|s| s.p_value <= share.own) else {
                break;
            };
            let Some(claim) = self.claim(at, &now, alone, share, others) else {
                break;
            };
            let level = now.level;
            found = Some(match found {
                None => claim,
                // Further levels stand with the first.
                Some(mut first) if claim.open.is_empty() || !first.open.is_empty() => {
                    first.levels.extend(claim.levels);
                    first.levels.dedup();
                    first.inside.extend(claim.inside);
                    first
                }
                Some(first) => first,
            });
            let Some(level) = level else { break };
            rest = rest.without(level);
            next = shown(&self.responses, &rest);
        }
        let mut claim = found?;
        claim.inside.sort_unstable();
        claim.inside.dedup();
        Some(claim)
    }

    fn claim(
        &self,
        at: usize,
        shown: &Shown,
        alone: &Alone,
        share: Level,
        others: (usize, &[&Table<'_>]),
    ) -> Option<Claim> {
        let recorded = &self.contenders[at];
        let suspect = &shown.suspect;
        let rises = shown.follows.difference > 0.0;
        let accused = match shown.level {
            Some(_) => Accused::level(rises),
            None => Accused::number(rises),
        };
        if !self.enough(suspect, accused) {
            return None;
        }
        let inside: Vec<usize> = match shown.level {
            Some(_) => suspect.inside(),
            None => (0..self.panels.len()).collect(),
        };
        // Others that write none at all of a kind are no control: it stays open.
        if recorded.rival == Rival::Machine && self.others_write_none(&inside) {
            return None;
        }
        let asked = Asked {
            recorded,
            shown,
            step: alone.step.as_ref(),
            level: share.shared(shown.asked).own,
        };
        let mut met = Met::default();
        for (other, quiet) in self.contenders.iter().zip(&alone.quiet) {
            // Weekdays are days, which are open already.
            if other.rival == Rival::Weekday && met.leaves_open(&Rival::Day) {
                continue;
            }
            if let Some(beaten) = self.duel(&asked, other, *quiet) {
                met.put(beaten, &other.rival, || self.levels_with(other, &inside));
            } else if self.goes_beside(&asked, other) {
                let levels = self.levels_with(other, &inside);
                met.beside.push((other.rival.clone(), levels));
            }
        }
        // Few units: that they are apart is told, nobody is named by them.
        if shown.follows.exchanged * shown.asked as f64 > share.own {
            let units = units_of(&recorded.rival);
            if !met.leaves_open(&units) {
                met.beaten.retain(|b| *b != units);
                met.put(false, &units, Vec::new);
            }
        }
        // What nobody wrote down is not met.
        if self.without_times() {
            met.put(false, &Rival::Day, Vec::new);
        }
        if self.without_lots() {
            // Parts of another family may all have gone to one machine; to one
            // setting, that is less likely.
            match recorded.rival {
                Rival::Machine => met.put(false, &Rival::Lot, Vec::new),
                ref rival if matches!(rival.cause(), Cause::Machine | Cause::Recipe) => {
                    met.beside.push((Rival::Lot, Vec::new()));
                }
                _ => {}
            }
        }
        self.meet_place_in_lot(&asked, &mut met);
        self.meet_time(&asked, &mut met);
        let inspector = &Rival::Inspector;
        let late = recorded.rival == Rival::Machine && self.delays_apart(&inside);
        if late {
            met.beaten.retain(|b| b != inspector);
        }
        if recorded.rival == Rival::Machine
            && !met.beaten.contains(inspector)
            && !met.leaves_open(inspector)
            && (late || !self.records_alike(&inside, others))
        {
            met.put(false, inspector, Vec::new);
        }
        let name = shown.level.and_then(|l| recorded.levels.get(l).cloned());
        Some(Claim {
            rival: recorded.rival.clone(),
            levels: name.into_iter().collect(),
            rises,
            inside,
            panels: self.panels_to_show(suspect, &shown.follows),
            suspect: suspect.clone(),
            p_adjusted: share.adjusted(shown.p_value),
            units: shown.follows.units,
            bound: bound(&self.marks, &self.areas, suspect),
            beaten: met.beaten,
            open: met.open,
            beside: met.beside,
        })
    }

    /// Whether another that blames the same part or recipe went with the accused
    /// all along: whom to blame is clear then, what of it is not. Sanding done is
    /// made of its factors, and units of the accused are no rivals.
    fn goes_beside(&self, asked: &Asked<'_>, other: &Recorded) -> bool {
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
    fn duel(&self, asked: &Asked<'_>, other: &Recorded, quiet: bool) -> Option<bool> {
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
    fn without_times(&self) -> bool {
        let timed = |i: &&usize| self.records.panels[**i].sanded_at.is_some();
        2 * self.panels.iter().filter(timed).count() < self.panels.len()
    }

    /// Whether fewer than half of the panels name their lot or supplier.
    fn without_lots(&self) -> bool {
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
    fn meet_place_in_lot(&self, asked: &Asked<'_>, met: &mut Met) {
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
    fn meet_time(&self, asked: &Asked<'_>, met: &mut Met) {
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

    /// Whether the accused panels were inspected much later, or sooner, after sanding
    /// than all others: what shows by then, or who looks, may differ.
    fn delays_apart(&self, inside: &[usize]) -> bool {
        let inside: BTreeSet<usize> = inside.iter().copied().collect();
        let mut delays = [Vec::new(), Vec::new()];
        for (at, panel) in self.panels.iter().enumerate() {
            let panel = &self.records.panels[*panel];
            if let (Some(sanded), Some(seen)) = (panel.sanded_at, panel.inspected_at) {
                let hours = seen.instant.duration_since(sanded.instant).as_secs_f64() / 3600.0;
                delays[usize::from(inside.contains(&at))].push(hours);
            }
        }
        let ends = delays.map(|mut of| {
            of.sort_by(f64::total_cmp);
            // The tenth of each end may be anything.
            let tenth = of.len() / 10;
            Some((*of.get(tenth)?, *of.get(of.len().checked_sub(tenth + 1)?)?))
        });
        let [Some(others), Some(own)] = ends else {
            return false;
        };
        own.0 > TWOFOLD * others.1 + LATER_HOURS || others.0 > TWOFOLD * own.1 + LATER_HOURS
    }

    /// Whether no other panel has a mark of the kind: whoever inspects them may not
    /// write it down.
    fn others_write_none(&self, inside: &[usize]) -> bool {
        let inside: BTreeSet<usize> = inside.iter().copied().collect();
        (self.marks.iter().enumerate()).all(|(at, marks)| *marks == 0.0 || inside.contains(&at))
    }

    /// Whether the accused machine writes other kinds down as others do, where there
    /// are any: else the station, not the machine, may differ.
    fn records_alike(&self, inside: &[usize], (own, all): (usize, &[&Table<'_>])) -> bool {
        let machine = |t: &Table<'_>, at: usize| {
            t.records.panels[t.panels[at]]
                .machine
                .as_deref()
                .map(String::from)
        };
        let Some(&first) = inside.first() else {
            return false;
        };
        let accused = machine(self, first);
        (all.iter().enumerate())
            .filter(|(k, _)| *k != own)
            .all(|(_, t)| {
                let (mut here, mut there) = ((0.0, 0.0), (0.0, 0.0));
                for at in 0..t.panels.len() {
                    let side = if machine(t, at) == accused {
                        &mut here
                    } else {
                        &mut there
                    };
                    side.0 += t.marks[at];
                    side.1 += 1.0;
                }
                if here.0 + there.0 < 2.0 * LEAST_HIT as f64 || here.1 == 0.0 || there.1 == 0.0 {
                    return true;
                }
                let ratio = (here.0 + 0.5) / here.1 / ((there.0 + 0.5) / there.1);
                (1.0 / TWOFOLD..=TWOFOLD).contains(&ratio)
            })
    }
}

impl Asked<'_> {
    fn beats(&self, found: &Follows, quiet: bool) -> bool {
        beats(found, &self.shown.follows, self.level, quiet)
    }
}

/// What whole units of a contender are.
fn units_of(rival: &Rival) -> Rival {
    match rival.cause() {
        Cause::Part if *rival != Rival::Lot => Rival::Lot,
        Cause::Part => Rival::Step,
        _ => Rival::Day,
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
    use super::*;
    use crate::records::{Moment, Panel, Records};

    /// Twenty panels; the first ten are accused and inspected so many hours after
    /// sanding, but for one at once, the others so many.
    fn apart(own: i64, others: i64) -> bool {
        let at = |hours: i64| {
            let instant = jiff::Timestamp::from_second(3600 * hours).unwrap();
            let local = jiff::tz::TimeZone::UTC.to_datetime(instant);
            Some(Moment { instant, local })
        };
        let panel = |i: i64| Panel {
            sanded_at: at(i),
            inspected_at: at(i + match i {
                0 => 0,
                1..10 => own,
                _ => others,
            }),
            ..Panel::default()
        };
        let records = Records {
            panels: (0..20).map(panel).collect(),
            ..Records::default()
        };
        let table = Table {
            streams: Vec::new(),
            records: &records,
            panels: (0..20).collect(),
            marks: Vec::new(),
            areas: Vec::new(),
            cells: Vec::new().into(),
            responses: Vec::new(),
            contenders: Vec::new(),
        };
        table.delays_apart(&(0..10).collect::<Vec<usize>>())
    }

    #[test]
    fn panels_inspected_much_later_or_sooner_are_told() {
        // Twofold and two hours more is where it begins.
        let told = [(9, 3), (8, 3), (3, 9), (3, 8), (3, 3)].map(|(own, others)| apart(own, others));
        assert_eq!(told, [true, false, true, false, false]);
    }
}

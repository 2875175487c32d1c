//! What the rate of a kind of defect follows, all its machines together.
//!
//! Every contender is asked whether the rate follows it at its share of the
//! level of whom it blames; who is shown duels every recorded rival that blames
//! somebody else, and time. Named is who stands in all duels.

use std::collections::{BTreeMap, BTreeSet};

use super::Remainder;
use crate::causes::rivals::{Recorded, Rows, StepFound, cause_of, recorded, step};
use crate::causes::{Cause, Rival};
use crate::duel::{
    Bound, Contender, Follows, Given, Meeting, Response, Shown, Suspect, Toward, bound, follows,
    in_order, meet, shown, spread,
};
use crate::records::Records;

/// Nobody is named on fewer panels with marks, or fewer beyond what the others
/// show.
const LEAST_HIT: usize = 5;
const LEAST_EXCESS: f64 = 3.0;

/// A smaller ratio is not worth naming.
const WORTH_NAMING: f64 = 1.5;

/// A rival that shows nothing itself (p above the first) is beaten at the
/// second, if half of the difference is left.
const SHOWS_NOTHING: f64 = 0.1;
const AGAINST_NOBODY: f64 = 0.05;
const DIFFERENCE_LEFT: f64 = 0.5;

/// Levels of one contender that are named at most.
const MOST_NAMED: usize = 8;

/// Units that follow each other and are taken as one time.
const UNITS_OF_A_TIME: usize = 7;

/// A step is looked for at this share of the level, and reckoned with from here.
const STEP_POSSIBLE: f64 = 0.1;

/// Fewer units than this are bounded by parts of so many panels.
const FEW_UNITS: usize = 8;
const PANELS_OF_A_PART: usize = 5;

/// More levels than this are bounded by their spread.
const MANY_LEVELS: usize = 5;

/// Twofold.
const TWOFOLD: f64 = 2.0;

/// A contender that the rate follows.
#[derive(Debug, Clone)]
pub(in crate::causes) struct Claim {
    /// Who.
    pub rival: Rival,
    /// Its levels; empty for numbers.
    pub levels: Vec<String>,
    /// Whether the rate rises with its numbers.
    pub rises: bool,
    /// Rows of the levels; all for numbers.
    pub inside: Vec<usize>,
    /// As it stands accused.
    pub suspect: Suspect,
    /// Adjusted for the report.
    pub p_adjusted: f64,
    /// Units compared.
    pub units: usize,
    /// Rate of the levels over the rest, or over the range of its numbers.
    pub bound: Option<Bound>,
    /// Rivals that it met and beat.
    pub beaten: Vec<Rival>,
    /// Rivals that it did not meet or beat.
    pub open: Vec<(Rival, Vec<String>)>,
    /// Panels that would settle it.
    pub panels: usize,
}

impl Claim {
    /// Whom it blames; nobody while rivals are open.
    pub(in crate::causes) fn cause(&self) -> Cause {
        if self.open.is_empty() {
            cause_of(&self.rival)
        } else {
            Cause::Undecided
        }
    }
}

/// A rival that shows nothing, and what is excluded.
#[derive(Debug, Clone, PartialEq)]
pub(in crate::causes) struct Quiet {
    /// Who.
    pub rival: Rival,
    /// The largest ratio that is not excluded; none if nothing is.
    pub within: Option<f64>,
}

impl Quiet {
    /// Whether it could double the rate.
    pub(in crate::causes) fn open(&self) -> bool {
        self.within.is_none_or(|w| w > TWOFOLD)
    }
}

/// What is known about the rate of one kind of defect.
pub(in crate::causes) struct Account {
    /// Its streams.
    pub streams: Vec<usize>,
    /// Panels, indices into `Records::panels`.
    pub panels: Vec<usize>,
    /// Who is shown, the strongest first; those without open rivals are named.
    pub claims: Vec<Claim>,
    /// Everyone else who might, lots, suppliers and part numbers left out.
    pub quiet: Vec<Quiet>,
}

/// The accounts of all kinds of defect.
pub(in crate::causes) fn accounts(
    records: &Records,
    streams: &[Remainder<'_>],
    alpha: f64,
) -> Vec<Account> {
    let mut kinds: BTreeMap<usize, Vec<usize>> = BTreeMap::new();
    for (at, stream) in streams.iter().enumerate() {
        kinds.entry(stream.data.name).or_default().push(at);
    }
    let tables: Vec<(usize, Table<'_>)> = (kinds.iter())
        .map(|(name, members)| (*name, Table::of(records, streams, members, *name)))
        .collect();
    let kinds = tables.len();
    let all: Vec<&Table<'_>> = tables.iter().map(|(_, t)| t).collect();
    let level = Level {
        report: alpha,
        own: alpha / kinds as f64,
    };
    (tables.iter().enumerate())
        .map(|(at, (_, table))| table.account((at, &all), level))
        .collect()
}

/// A share of the report's level.
#[derive(Debug, Clone, Copy)]
struct Level {
    report: f64,
    own: f64,
}

impl Level {
    fn shared(self, by: usize) -> Self {
        Self {
            own: self.own / by.max(1) as f64,
            ..self
        }
    }

    /// p for the whole report.
    fn adjusted(self, p: f64) -> f64 {
        (p * self.report / self.own).min(1.0)
    }
}

/// What a suspect gave its panels.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Kinds {
    Levels,
    Numbers,
}

impl Kinds {
    fn of(shown: &Shown) -> Self {
        match shown.level {
            Some(_) => Self::Levels,
            None => Self::Numbers,
        }
    }
}

/// Panels, marks and contenders of a kind of defect.
struct Table<'a> {
    streams: Vec<usize>,
    records: &'a Records,
    panels: Vec<usize>,
    marks: Vec<f64>,
    areas: Vec<f64>,
    cells: Vec<usize>,
    responses: Vec<Response>,
    contenders: Vec<Recorded>,
}

impl<'a> Table<'a> {
    fn of(
        records: &'a Records,
        streams: &'a [Remainder<'a>],
        members: &[usize],
        name: usize,
    ) -> Table<'a> {
        let mut found: Vec<(usize, f64)> = (members.iter())
            .flat_map(|&m| {
                let s = &streams[m];
                s.data.panels.iter().copied().zip(s.marks.iter().copied())
            })
            .collect();
        found.sort_by_key(|f| f.0);
        let (panels, marks): (Vec<usize>, Vec<f64>) = found.into_iter().unzip();
        let areas: Vec<f64> = panels
            .iter()
            .map(|&i| records.panels[i].area_m2())
            .collect();
        let rows = Rows {
            records,
            panels: &panels,
            class: records.defect_names[name].class,
        };
        Table {
            streams: members.to_vec(),
            records,
            cells: rows.cells(),
            contenders: recorded(&rows),
            responses: Response::rates(&marks, &areas),
            panels,
            marks,
            areas,
        }
    }

    fn account(&self, others: (usize, &[&Table<'_>]), level: Level) -> Account {
        let batches = in_order((0..self.panels.len()).map(|at| {
            let lot = &self.records.panels[self.panels[at]].lot;
            (lot.as_deref(), at / 10)
        }));
        let step = step(&self.responses[0], &self.cells, &batches);
        let shown: Vec<Option<Shown>> = (self.contenders.iter())
            .map(|c| shown(&self.responses, &c.contender, None))
            .collect();
        let mut claims = Vec::new();
        for (at, recorded) in self.contenders.iter().enumerate() {
            if recorded.rival == Rival::Day {
                continue;
            }
            let share = level.shared(self.asked_beside(&recorded.rival));
            claims.extend(self.claims_of(at, (&shown, step.as_ref()), share, others));
        }
        if let Some(step) = step.as_ref().filter(|s| s.p_value <= level.own) {
            claims.extend(self.step_claim(step, level));
        }
        let claims = self.settled(claims, level);
        let quiet = self.quiet(&claims, step.as_ref());
        Account {
            streams: self.streams.clone(),
            panels: self.panels.clone(),
            claims,
            quiet,
        }
    }

    /// Contenders that blame the same.
    fn asked_beside(&self, rival: &Rival) -> usize {
        let cause = cause_of(rival);
        let same = |c: &&Recorded| cause_of(&c.rival) == cause && c.rival != Rival::Day;
        self.contenders.iter().filter(same).count().max(1)
    }

    /// The levels of one contender that are shown, each a claim, or its numbers.
    fn claims_of(
        &self,
        at: usize,
        asked: (&[Option<Shown>], Option<&StepFound>),
        share: Level,
        others: (usize, &[&Table<'_>]),
    ) -> Option<Claim> {
        let recorded = &self.contenders[at];
        let mut found: Option<Claim> = None;
        let mut rest = recorded.contender.clone();
        let mut next = asked.0[at].clone();
        for _ in 0..MOST_NAMED {
            let Some(now) = next.filter(|s| s.p_value <= share.own) else {
                break;
            };
            let Some(claim) = self.claim(at, &now, asked, share, others) else {
                break;
            };
            let level = now.level;
            found = Some(match found {
                None => claim,
                // Further levels stand with the first.
                Some(mut first) if claim.open.is_empty() || !first.open.is_empty() => {
                    first.levels.extend(claim.levels);
                    first.inside.extend(claim.inside);
                    first
                }
                Some(first) => first,
            });
            let Some(level) = level else { break };
            rest = rest.without(level);
            next = shown(&self.responses, &rest, None);
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
        (shown_first, step): (&[Option<Shown>], Option<&StepFound>),
        share: Level,
        others: (usize, &[&Table<'_>]),
    ) -> Option<Claim> {
        let recorded = &self.contenders[at];
        let suspect = &shown.suspect;
        let inside: Vec<usize> = match shown.level {
            Some(_) => suspect.inside(),
            None => (0..self.panels.len()).collect(),
        };
        let rises = shown.follows.difference > 0.0;
        let bound = bound(&self.marks, &self.areas, suspect);
        if !self.enough(suspect, Kinds::of(shown), rises) {
            return None;
        }
        let blames = cause_of(&recorded.rival);
        let (mut beaten, mut open) = (Vec::new(), Vec::new());
        let level = share.shared(shown.asked).own;
        for (other, own) in self.contenders.iter().zip(shown_first) {
            let same = other.rival == recorded.rival
                || (cause_of(&other.rival) == blames && blames != Cause::Undecided);
            if same {
                continue;
            }
            // Lots are dealt out over the ages of many lives, unless they begin
            // with them: see below.
            let dealt = recorded.rival == Rival::AbrasiveAge && other.rival == Rival::Lot;
            let shows_nothing = |s: &Shown| s.could_show && s.p_value > SHOWS_NOTHING;
            let quiet =
                dealt || (other.rival != Rival::Day && own.as_ref().is_some_and(shows_nothing));
            let classes = other.contender.classes();
            let met = if dealt {
                meet(&self.responses, &over_lives(suspect, &self.cells), &classes)
            } else {
                meet(&self.responses, suspect, &classes)
            };
            // Days that hold several units are met as times, below.
            let as_time = matches!(met, Meeting::Inside(_)) && !suspect.serial;
            if other.rival == Rival::Day && as_time {
                continue;
            }
            // Lots that each ran on one machine may be of one family: no number of them
            // tells the machine from what it was given.
            let own_lots = blames == Cause::Machine && cause_of(&other.rival) == Cause::Part;
            match met {
                Meeting::Nested(_) if own_lots => {
                    open.push((other.rival.clone(), self.levels_with(other, &inside)));
                }
                Meeting::Never => {
                    open.push((other.rival.clone(), self.levels_with(other, &inside)));
                }
                Meeting::Inside(f) | Meeting::Nested(f) => {
                    if beats(&f, &shown.follows, level, quiet) {
                        beaten.push(other.rival.clone());
                    } else {
                        open.push((other.rival.clone(), self.levels_with(other, &inside)));
                    }
                }
            }
        }
        // A pallet's top and bottom differ too: where each has its own abrasive, the
        // age is the place in the lot.
        if recorded.rival == Rival::AbrasiveAge
            && let Some(place) = self.place_in_lot()
            && !open.iter().any(|o| o.0 == Rival::Lot)
            && !(meet(&self.responses, &over_lives(suspect, &self.cells), &place))
                .inside()
                .is_some_and(|f| beats(f, &shown.follows, level, true))
        {
            beaten.retain(|b| *b != Rival::Lot);
            open.push((Rival::Lot, Vec::new()));
        }
        // Time: blocks that hold a few units each, and the clearest step.
        if !matches!(
            recorded.rival,
            Rival::AbrasiveAge | Rival::FirstOfDay | Rival::Machine | Rival::Head
        ) {
            let no_step = step.is_none_or(|s| s.p_value > STEP_POSSIBLE);
            let in_time = match shown.borders {
                Some(true) => true,
                Some(false) => {
                    let clears = (recorded.contender.as_two_levels())
                        .is_some_and(|whole| self.control_clears(shown, &whole, level));
                    if clears {
                        let cleared = |o: &Rival| {
                            cause_of(o) == Cause::Undecided || self.control_had_it_too(shown, o)
                        };
                        let (by_control, left): (Vec<_>, Vec<_>) =
                            open.into_iter().partition(|o| cleared(&o.0));
                        beaten.extend(by_control.into_iter().map(|o| o.0));
                        beaten.retain(|b| cause_of(b) != Cause::Undecided);
                        open = left;
                    }
                    clears
                }
                None => {
                    let times = times(suspect);
                    let against = |classes: &[usize]| match meet(&self.responses, suspect, classes)
                    {
                        Meeting::Inside(f) => beats(&f, &shown.follows, level, no_step),
                        _ => false,
                    };
                    against(&times) && step.filter(|_| !no_step).is_none_or(|s| against(&s.sides))
                }
            };
            if in_time {
                beaten.push(Rival::Step);
            } else {
                open.push((Rival::Step, Vec::new()));
            }
        }
        if matches!(recorded.rival, Rival::Machine)
            && !self.records_alike(&inside, others)
            && !beaten.contains(&Rival::Inspector)
            && !open.iter().any(|o| o.0 == Rival::Inspector)
        {
            open.push((Rival::Inspector, Vec::new()));
        }
        let levels: Vec<String> = (shown.level)
            .and_then(|l| recorded.levels.get(l).cloned())
            .into_iter()
            .collect();
        Some(Claim {
            rival: recorded.rival.clone(),
            levels,
            rises,
            inside,
            panels: self.panels_to_show(suspect, &shown.follows),
            suspect: suspect.clone(),
            p_adjusted: share.adjusted(shown.p_value),
            units: shown.follows.units,
            bound,
            beaten,
            open,
        })
    }

    /// How far into its stretch of a lot each panel came, as classes; none where
    /// lots don't vary.
    fn place_in_lot(&self) -> Option<Vec<usize>> {
        let lots = self.contenders.iter().find(|c| c.rival == Rival::Lot)?;
        let mut seen: BTreeMap<usize, usize> = BTreeMap::new();
        let place = |unit: &usize| {
            let before = seen.entry(*unit).or_default();
            *before += 1;
            Some(*before as f64)
        };
        let places = Contender {
            given: Given::Scores(lots.contender.units.iter().map(place).collect()),
            ..lots.contender.clone()
        };
        Some(places.classes())
    }

    /// One change of a setting is a moment in time as well. Other machines that
    /// sanded through that moment without the change clear the time: they show no
    /// step there, and after it (or before) they differ from the machine that
    /// changed.
    fn control_clears(&self, shown: &Shown, whole: &Suspect, level: f64) -> bool {
        let given = &shown.suspect.given;
        let inside: Vec<usize> = (0..given.len()).filter(|&at| given[at].is_some()).collect();
        let changed: BTreeSet<usize> = inside.iter().map(|&at| self.cells[at]).collect();
        let (Some(&first), Some(&last)) = (inside.first(), inside.last()) else {
            return false;
        };
        let Some(moment) = inside.iter().copied().find(|&at| given[at] != given[first]) else {
            return false;
        };
        let panels = |given: &dyn Fn(usize) -> Option<f64>| Suspect {
            given: (0..self.panels.len())
                .map(|at| given(at).filter(|_| (first..=last).contains(&at)))
                .collect(),
            units: (0..self.panels.len()).collect(),
            blocks: vec![0; self.panels.len()],
            toward: Toward::Either,
            serial: true,
        };
        let after = |at: usize| f64::from(u8::from(at >= moment));
        let control = panels(&|at| (!changed.contains(&self.cells[at])).then(|| after(at)));
        let steady = |f: Follows| {
            f.p_value > SHOWS_NOTHING
                && f.difference.abs() <= DIFFERENCE_LEFT * shown.follows.difference.abs()
        };
        let across = Suspect {
            toward: whole.toward,
            ..panels(&|at| whole.given[at])
        };
        let sides: Vec<usize> = (0..self.panels.len())
            .map(|at| usize::from(at >= moment))
            .collect();
        follows(&self.responses, &control, None).is_some_and(steady)
            && follows(&self.responses, &across, Some(&sides))
                .is_some_and(|f| beats(&f, &shown.follows, level, false))
    }

    /// Whether the machines that did not change got the same of a rival, before the
    /// moment and after it, on most of their panels.
    fn control_had_it_too(&self, shown: &Shown, rival: &Rival) -> bool {
        let Some(other) = self.contenders.iter().find(|c| c.rival == *rival) else {
            return false;
        };
        let given = &shown.suspect.given;
        let inside: Vec<usize> = (0..given.len()).filter(|&at| given[at].is_some()).collect();
        let (Some(&first), Some(&last)) = (inside.first(), inside.last()) else {
            return false;
        };
        let Some(moment) = inside.iter().copied().find(|&at| given[at] != given[first]) else {
            return false;
        };
        let changed: BTreeSet<usize> = inside.iter().map(|&at| self.cells[at]).collect();
        let classes = other.contender.classes();
        [first..moment, moment..last + 1].into_iter().all(|side| {
            let own: BTreeSet<usize> = (side.clone())
                .filter(|at| given[*at].is_some())
                .map(|at| classes[at])
                .collect();
            let control = side.filter(|at| !changed.contains(&self.cells[*at]));
            let (had, all) = control.fold((0, 0), |(had, all), at| {
                (had + usize::from(own.contains(&classes[at])), all + 1)
            });
            2 * had > all
        })
    }

    /// Enough panels with marks, and enough beyond what the others show.
    fn enough(&self, suspect: &Suspect, given: Kinds, rises: bool) -> bool {
        let is_level = given == Kinds::Levels;
        let known: Vec<(usize, f64)> = (0..self.panels.len())
            .filter_map(|at| Some((at, suspect.given[at]?)))
            .collect();
        let mut sorted: Vec<f64> = known.iter().map(|k| k.1).collect();
        sorted.sort_by(f64::total_cmp);
        let Some(middle) = sorted.get(sorted.len() / 2).copied() else {
            return false;
        };
        // The accused side: the level (or all but it, where it shows less), or the
        // half of the numbers with more.
        let accused = |x: f64| {
            if is_level {
                (x > 0.5) == rises
            } else if rises {
                x >= middle && x > sorted[0]
            } else {
                x <= middle && x < sorted[sorted.len() - 1]
            }
        };
        let (mut own, mut rest) = ([0.0; 4], [0.0; 4]);
        for (at, x) in known {
            let side = if accused(x) { &mut own } else { &mut rest };
            side[0] += f64::from(u8::from(self.marks[at] > 0.0));
            side[1] += self.marks[at];
            side[2] += 1.0;
            side[3] += self.areas[at];
        }
        if own[2] == 0.0 || rest[2] == 0.0 {
            return false;
        }
        let by_panel = own[0] - rest[0] / rest[2] * own[2];
        let marks = own[1] - rest[1] / rest[3] * own[3];
        let ratio = |k: usize| (own[1] / own[k]) / ((rest[1] + 0.5) / rest[k]);
        own[0] >= LEAST_HIT as f64
            && by_panel.max(marks.min(own[0])) >= LEAST_EXCESS
            && (!is_level || ratio(2).min(ratio(3)) >= WORTH_NAMING)
    }

    /// The levels of another contender that go with the accused panels.
    fn levels_with(&self, other: &Recorded, inside: &[usize]) -> Vec<String> {
        let Given::Levels(of, count) = &other.contender.given else {
            return Vec::new();
        };
        if inside.len() == self.panels.len() || other.levels.is_empty() {
            return Vec::new();
        }
        let mut panels = vec![0_usize; *count];
        for level in inside.iter().filter_map(|&at| of[at]) {
            panels[level] += 1;
        }
        let most = panels.iter().copied().max().unwrap_or(0).max(1);
        (0..*count)
            .filter(|&l| 2 * panels[l] >= most)
            .filter_map(|l| other.levels.get(l).cloned())
            .take(MOST_NAMED)
            .collect()
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

    /// Panels, in turns, that would show the difference found at 1 % with nine
    /// tenths' certainty.
    fn panels_to_show(&self, suspect: &Suspect, follows: &Follows) -> usize {
        let value = &self.responses[0].value;
        let n = value.len() as f64;
        let mean = value.iter().sum::<f64>() / n;
        let variance = value.iter().map(|v| (v - mean).powi(2)).sum::<f64>() / n;
        let known: Vec<f64> = suspect.given.iter().flatten().copied().collect();
        let low = known.iter().copied().fold(f64::INFINITY, f64::min);
        let high = known.iter().copied().fold(f64::NEG_INFINITY, f64::max);
        let difference = follows.difference.abs() * (high - low);
        // (2.576 + 1.282)² of both halves.
        let panels = 4.0 * variance * 14.9 / (difference * difference).max(1e-6);
        (panels.ceil() as usize).clamp(14, 2000)
    }

    /// The rate steps at one moment, and what else changed there.
    fn step_claim(&self, step: &StepFound, level: Level) -> Option<Claim> {
        let given: Vec<Option<f64>> = step.sides.iter().map(|s| Some(*s as f64)).collect();
        let suspect = Suspect {
            given,
            units: (0..self.panels.len()).collect(),
            blocks: self.cells.clone(),
            toward: Toward::Either,
            serial: true,
        };
        let bound = bound(&self.marks, &self.areas, &suspect)?;
        let rises = bound.ratio > 1.0;
        if bound.ratio.max(1.0 / bound.ratio) < WORTH_NAMING
            || !self.enough(&suspect, Kinds::Levels, rises)
        {
            return None;
        }
        let mut open = Vec::new();
        for other in &self.contenders {
            if other.rival == Rival::Day {
                continue;
            }
            if meet(&self.responses, &suspect, &other.contender.classes()) == Meeting::Never
                || goes_with(&step.sides, &other.contender.classes())
            {
                let inside = suspect.inside();
                open.push((other.rival.clone(), self.levels_with(other, &inside)));
            }
        }
        Some(Claim {
            rival: Rival::Step,
            levels: Vec::new(),
            rises,
            inside: if rises {
                suspect.inside()
            } else {
                (0..step.at).collect()
            },
            p_adjusted: level.adjusted(step.p_value),
            units: self.panels.len(),
            bound: Some(bound),
            beaten: Vec::new(),
            panels: 0,
            open,
            suspect,
        })
    }

    /// Claims that stay beside each other: of one party the clearest and what it
    /// leaves, of those with open rivals what the named ones leave.
    fn settled(&self, mut claims: Vec<Claim>, level: Level) -> Vec<Claim> {
        let nobody = |c: &Claim| cause_of(&c.rival) == Cause::Undecided;
        claims.sort_by(|a, b| {
            let key = |c: &Claim| (nobody(c), !c.open.is_empty());
            (key(a).cmp(&key(b))).then(a.p_adjusted.total_cmp(&b.p_adjusted))
        });
        let mut kept: Vec<Claim> = Vec::new();
        for claim in claims {
            let stays = kept.iter().all(|k| {
                let same = cause_of(&k.rival) == cause_of(&claim.rival);
                let open = !claim.open.is_empty() || nobody(&claim);
                if !same && !open {
                    return true;
                }
                // What the one before leaves.
                match meet(&self.responses, &claim.suspect, &classes_of(&k.suspect)) {
                    Meeting::Inside(f) => f.p_value <= level.own,
                    _ => false,
                }
            });
            if stays {
                kept.push(claim);
            }
        }
        kept
    }

    /// The largest ratio left open. What was given out a few times only is bounded
    /// by small parts of it.
    fn within(&self, suspect: &Suspect) -> Option<f64> {
        let mut parts = suspect.clone();
        let mut units = in_order(suspect.units.iter().copied());
        if units.iter().max().is_some_and(|m| m + 1 < FEW_UNITS) {
            let mut seen: BTreeMap<usize, usize> = BTreeMap::new();
            let part = |unit: usize| {
                let before = seen.entry(unit).or_default();
                *before += 1;
                (unit, *before / PANELS_OF_A_PART)
            };
            units = in_order(units.into_iter().map(part));
            parts.units = units;
        }
        bound(&self.marks, &self.areas, &parts).map(|b| b.within())
    }

    /// The largest ratio left open of any level against the others, or where there
    /// are many levels of their spread. A level that got a tenth of the panels or
    /// less could not make most of the marks.
    fn within_of_levels(
        &self,
        contender: &Contender,
        of: &[Option<usize>],
        count: usize,
    ) -> Option<f64> {
        let mut panels = vec![0_usize; count];
        for level in of.iter().flatten() {
            panels[*level] += 1;
        }
        let all: usize = panels.iter().sum();
        let counting: Vec<usize> = (0..count).filter(|&l| 10 * panels[l] > all).collect();
        if counting.len() > MANY_LEVELS || counting.is_empty() {
            return spread(&self.marks, &self.areas, of);
        }
        let each = counting
            .into_iter()
            .map(|level| self.within(&contender.accuse(level)));
        each.collect::<Option<Vec<f64>>>()
            .map(|within| within.into_iter().fold(1.0, f64::max))
    }

    /// Everyone who varies and is not shown, with what is excluded.
    fn quiet(&self, claims: &[Claim], step: Option<&StepFound>) -> Vec<Quiet> {
        let mut out: Vec<Quiet> = (self.contenders.iter())
            .filter(|c| cause_of(&c.rival) != Cause::Part && c.rival != Rival::Day)
            .filter(|c| !claims.iter().any(|k| k.rival == c.rival))
            .filter_map(|c| {
                let within = match &c.contender.given {
                    Given::Scores(scores) if is_rare(scores) => return None,
                    Given::Levels(of, count) => self.within_of_levels(&c.contender, of, *count),
                    Given::Scores(_) => self.within(&c.contender.accuse(0)),
                };
                Some(Quiet {
                    rival: c.rival.clone(),
                    within,
                })
            })
            .collect();
        if let Some(step) = step.filter(|_| !claims.iter().any(|k| k.rival == Rival::Step)) {
            let given = step.sides.iter().map(|s| Some(*s as f64)).collect();
            let halves = Suspect {
                given,
                units: in_order((0..self.panels.len()).map(|at| at / 5)),
                blocks: self.cells.clone(),
                toward: Toward::Either,
                serial: false,
            };
            let within = self.within(&halves);
            if step.p_value <= STEP_POSSIBLE {
                out.push(Quiet {
                    rival: Rival::Step,
                    within,
                });
            }
        }
        out
    }
}

/// Whether a yes that a tenth of the panels or fewer got: it could not make most
/// of the marks.
fn is_rare(scores: &[Option<f64>]) -> bool {
    let known: Vec<f64> = scores.iter().flatten().copied().collect();
    let yes = known.iter().filter(|x| **x == 1.0).count();
    let no = known.iter().filter(|x| **x == 0.0).count();
    yes + no == known.len() && 10 * yes.min(no) <= known.len()
}

/// Whether a comparison is won: at its own level, or against somebody who shows
/// nothing with half of the difference left.
fn beats(found: &Follows, alone: &Follows, level: f64, quiet: bool) -> bool {
    let left = found.difference / alone.difference;
    left > 0.0
        && (found.p_value <= level
            || (quiet && found.p_value <= AGAINST_NOBODY && left >= DIFFERENCE_LEFT))
}

/// An age compared over lives as well.
fn over_lives(suspect: &Suspect, cells: &[usize]) -> Suspect {
    Suspect {
        blocks: cells.to_vec(),
        ..suspect.clone()
    }
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

/// What an accused contender gave, as classes.
fn classes_of(suspect: &Suspect) -> Vec<usize> {
    let scores = Contender {
        given: Given::Scores(suspect.given.clone()),
        units: suspect.units.clone(),
        blocks: suspect.blocks.clone(),
        toward: suspect.toward,
        by_neighbours: false,
    };
    scores.classes()
}

/// Whether nine tenths of the panels on either side have classes that the other
/// side hardly has.
fn goes_with(sides: &[usize], classes: &[usize]) -> bool {
    let count = classes.iter().max().map_or(0, |m| m + 1);
    let mut of = vec![[0_usize; 2]; count];
    for (side, class) in sides.iter().zip(classes) {
        of[*class][*side] += 1;
    }
    let apart: usize = of.iter().map(|c| c[0].max(c[1])).sum();
    let one: usize = of.iter().map(|c| c[0].min(c[1])).sum();
    apart > 0 && 10 * one < sides.len()
}

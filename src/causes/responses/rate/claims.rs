//! Who is shown duels every recorded rival that blames somebody else, and time.

use super::least::Accused;
use super::met::{Asked, Met};
use super::{Claim, Level, MOST_NAMED, Table};
use crate::causes::rivals::StepFound;
use crate::causes::{Cause, Rival};
use crate::duel::{Shown, bound, shown};

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
                    // Nests of several machines may have one name.
                    let further = |level: &String| !first.levels.contains(level);
                    let further: Vec<String> = claim.levels.into_iter().filter(further).collect();
                    first.levels.extend(further);
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
}

/// What whole units of a contender are.
fn units_of(rival: &Rival) -> Rival {
    match rival.cause() {
        Cause::Part if *rival != Rival::Lot => Rival::Lot,
        Cause::Part => Rival::Step,
        _ => Rival::Day,
    }
}

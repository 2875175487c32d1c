//! The one rule that says what became of a finding.

use serde::{Deserialize, Serialize};

use super::measure::Seen;
use crate::stats::distributions::{binomial, hypergeometric};

/// What became of a finding since the last report.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub enum State {
    /// Not in the last report.
    #[serde(rename = "new")]
    New,
    /// As in the last report.
    #[serde(rename = "goes on")]
    GoesOn,
    /// Still there, on clearly fewer panels.
    #[serde(rename = "fewer")]
    Fewer,
    /// So few hits would be unlikely if it were still there.
    #[serde(rename = "gone")]
    Gone,
    /// It was gone.
    #[serde(rename = "back")]
    Back,
    /// Too few panels since.
    #[serde(rename = "can't tell yet")]
    CannotTell,
}

/// What was known of a finding.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub(super) struct Known {
    /// Lowest rate, 0..1, at which it may have hit panels; none where unknown.
    pub low: Option<f64>,
    /// Rate, 0..1, at which panels show such marks without it.
    pub usual: f64,
    /// The others at the same time, for a rate that is told against theirs.
    pub others: Option<Seen>,
    /// The rate, 0..1, before it became fewer.
    pub before: Option<f64>,
    /// A chance below this is taken as unlikely, 0..1.
    pub unlikely: f64,
    /// Whether it was gone.
    pub was_gone: bool,
}

/// The answer with its numbers.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Answer {
    pub state: State,
    /// For what is gone or fewer: 1 − the chance of so few hits at the lowest
    /// rate it may have had, 0..1.
    pub confidence: Option<f64>,
    /// Where nothing can be told: further panels without a hit that would.
    pub panels_missing: Option<usize>,
}

impl Answer {
    /// An answer without numbers.
    pub(super) fn of(state: State) -> Self {
        Self {
            state,
            confidence: None,
            panels_missing: None,
        }
    }

    /// One with its confidence.
    pub(super) fn sure(state: State, confidence: f64) -> Self {
        Self {
            confidence: Some(confidence),
            ..Self::of(state)
        }
    }
}

/// Fewer panels never make a repeat.
const FEWEST_HITS: usize = 3;
/// A repeat that was gone is back at this chance of so many hits without it.
/// It is asked anew in every report that remembers it, so it is smaller than
/// the other.
const BACK: f64 = 0.01;

/// Says what became of a finding that was seen so often since.
pub(super) fn judge(known: &Known, seen: &Seen) -> Answer {
    let (hits, panels) = (seen.hits as u64, seen.panels as u64);
    let by_chance = match &known.others {
        _ if hits == 0 => 1.0,
        // Fisher's exact test: as many hits among these, were they like the others.
        Some(others) => hypergeometric::Draw {
            size: panels + others.panels as u64,
            marked: hits + others.hits as u64,
            drawn: panels,
        }
        .at_least(hits),
        None => binomial::at_least(hits, panels, known.usual.clamp(1e-6, 1.0)),
    };
    if known.was_gone {
        let back = seen.hits >= FEWEST_HITS && by_chance <= BACK;
        return Answer::of(if back { State::Back } else { State::Gone });
    }
    let there = by_chance <= known.unlikely;
    // 1 − the chance of so few hits at a rate, where that is unlikely.
    let below = |rate: Option<f64>| {
        let rate = rate.filter(|_| seen.panels > 0)?;
        let chance = binomial::at_most(hits, panels, rate);
        (chance <= known.unlikely).then_some(1.0 - chance)
    };
    match (below(known.low), there) {
        (Some(confidence), true) => Answer::sure(State::Fewer, confidence),
        (Some(confidence), false) => Answer::sure(State::Gone, confidence),
        // What became fewer stays so while it is fewer than it was before that.
        (None, true) => below(known.before).map_or(Answer::of(State::GoesOn), |confidence| {
            Answer::sure(State::Fewer, confidence)
        }),
        (None, false) => Answer {
            panels_missing: (known.low)
                .filter(|_| known.others.is_none())
                .and_then(|low| missing(seen, low, known.unlikely)),
            ..Answer::of(State::CannotTell)
        },
    }
}

/// Further panels without a hit after which so few hits would be unlikely;
/// none beyond a million.
fn missing(seen: &Seen, low: f64, unlikely: f64) -> Option<usize> {
    let told = |more: usize| {
        binomial::at_most(seen.hits as u64, (seen.panels + more) as u64, low) <= unlikely
    };
    let mut high = 1;
    while !told(high) {
        high *= 2;
        if high > 1_000_000 {
            return None;
        }
    }
    let mut below = high / 2;
    while high - below > 1 {
        let middle = below.midpoint(high);
        if told(middle) {
            high = middle;
        } else {
            below = middle;
        }
    }
    Some(high)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn seen(hits: usize, panels: usize) -> Seen {
        Seen {
            hits,
            panels,
            last: None,
        }
    }

    const KNOWN: Known = Known {
        low: Some(0.1),
        usual: 0.005,
        others: None,
        before: None,
        unlikely: 0.05,
        was_gone: false,
    };

    #[test]
    fn no_hit_on_enough_panels_is_gone_and_on_few_is_open() {
        // 0.9^28 = 0.0523, 0.9^29 = 0.0471: worked by hand.
        let open = judge(&KNOWN, &seen(0, 28));
        assert_eq!(
            (open.state, open.panels_missing),
            (State::CannotTell, Some(1))
        );
        let gone = judge(&KNOWN, &seen(0, 29));
        assert_eq!(gone.state, State::Gone);
        assert!((gone.confidence.unwrap() - (1.0 - 0.9f64.powi(29))).abs() < 1e-12);
        assert_eq!(judge(&KNOWN, &seen(0, 0)).panels_missing, Some(29));
    }

    #[test]
    fn hits_as_before_go_on_and_far_fewer_are_fewer() {
        assert_eq!(judge(&KNOWN, &seen(9, 60)).state, State::GoesOn);
        assert_eq!(judge(&KNOWN, &seen(6, 400)).state, State::Fewer);
        assert_eq!(
            judge(&KNOWN, &seen(1, 160)).state,
            State::Gone,
            "one by chance"
        );
    }

    #[test]
    fn what_became_fewer_stays_so_while_it_is_fewer_than_before() {
        let fewer = Known {
            low: Some(0.05),
            before: Some(0.46),
            ..KNOWN
        };
        assert_eq!(judge(&fewer, &seen(12, 120)).state, State::Fewer);
        assert_eq!(judge(&fewer, &seen(60, 120)).state, State::GoesOn);
        assert_eq!(judge(&fewer, &seen(0, 120)).state, State::Gone);
    }

    #[test]
    fn a_rate_told_against_the_others_ends_when_it_is_theirs() {
        // Σ C(42, k)·C(78, 40 − k) / C(120, 40) from k = 14 is 0.578: as the others.
        let beside = |hits: usize| Known {
            low: Some(0.7),
            usual: 0.35,
            others: Some(seen(hits, 80)),
            unlikely: 0.005,
            ..KNOWN
        };
        assert_eq!(judge(&beside(28), &seen(14, 40)).state, State::Gone);
        assert_eq!(judge(&beside(28), &seen(30, 40)).state, State::GoesOn);
        assert_eq!(judge(&beside(28), &seen(20, 40)).state, State::CannotTell);
    }

    #[test]
    fn what_was_gone_is_back_with_three_hits_and_not_with_two() {
        let gone = Known {
            was_gone: true,
            ..KNOWN
        };
        assert_eq!(judge(&gone, &seen(2, 40)).state, State::Gone);
        assert_eq!(judge(&gone, &seen(3, 40)).state, State::Back);
    }
}

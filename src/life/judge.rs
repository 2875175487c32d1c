//! The one rule that says what became of a finding.

use serde::{Deserialize, Serialize};

use super::beside::{moved, odds};
use super::measure::Seen;
use crate::stats::distributions::binomial;
use crate::stats::distributions::hypergeometric::Draw;

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
    /// The others' rate, 0..1, when `low` was known.
    pub others_then: f64,
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
    /// Where nothing can be told: further panels that would tell.
    pub panels_missing: Option<usize>,
    /// Whether the panels since tell it.
    pub told: bool,
}

impl Answer {
    /// An answer without numbers.
    pub(super) fn of(state: State) -> Self {
        Self {
            state,
            confidence: None,
            panels_missing: None,
            told: state != State::CannotTell,
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
    settled(known, seen).unwrap_or_else(|| Answer {
        panels_missing: (known.low)
            .filter(|_| known.others.is_none())
            .and_then(|low| missing(seen, low, known.unlikely)),
        ..Answer::of(State::CannotTell)
    })
}

/// The same; none where it can't be told.
fn settled(known: &Known, seen: &Seen) -> Option<Answer> {
    let (hits, panels) = (seen.hits as u64, seen.panels as u64);
    let draw = known.others.as_ref().map(|others| Draw {
        size: panels + others.panels as u64,
        marked: hits + others.hits as u64,
        drawn: panels,
    });
    let by_chance = match draw {
        _ if hits == 0 => 1.0,
        // Fisher's exact test: as many hits among these, were they like the others.
        Some(draw) => draw.at_least(hits),
        None => binomial::at_least(hits, panels, known.usual.clamp(1e-6, 1.0)),
    };
    if known.was_gone {
        let back = seen.hits >= FEWEST_HITS && by_chance <= BACK;
        return Some(Answer::of(if back { State::Back } else { State::Gone }));
    }
    let there = by_chance <= known.unlikely;
    // 1 − the chance of so few hits at a rate, where that is unlikely. The others may
    // have changed as well: a rate is what it is beside theirs.
    let below = |rate: Option<f64>| {
        let rate = rate.filter(|_| seen.panels > 0)?;
        let chance = match draw.filter(|draw| draw.marked > 0) {
            Some(draw) => at_most_by_odds(draw, hits, odds(rate) / odds(known.others_then)),
            None => binomial::at_most(hits, panels, rate),
        };
        (chance <= known.unlikely).then_some(1.0 - chance)
    };
    match (below(known.low), there) {
        (Some(confidence), true) => Some(Answer::sure(State::Fewer, confidence)),
        (Some(confidence), false) => Some(Answer::sure(State::Gone, confidence)),
        // What became fewer stays so while it is fewer than it was before that.
        (None, true) => Some(match below(known.before) {
            Some(confidence) => Answer::sure(State::Fewer, confidence),
            None => Answer::of(State::GoesOn),
        }),
        (None, false) => None,
    }
}

impl Known {
    /// The lowest rate, 0..1, that it would have now, beside the others'.
    pub(super) fn low_now(&self) -> Option<f64> {
        let beside = |low| match &self.others {
            Some(others) => moved(low, self.others_then, others),
            None => low,
        };
        self.low.map(beside)
    }
}

/// Chance of at most so many marked items in the draw where each has `ratio` times
/// the odds of being drawn: Fisher's noncentral hypergeometric law, both margins
/// taken as they are (Fisher 1935, Journal of the Royal Statistical Society 98,
/// 39–82). So the others' rate, known from few panels or many, needs no guess.
fn at_most_by_odds(draw: Draw, hits: u64, ratio: f64) -> f64 {
    let weight = |k: u64| draw.ln_probability(k) + k as f64 * ratio.ln();
    let counts = || draw.least()..=draw.most();
    let highest = counts().map(weight).fold(f64::NEG_INFINITY, f64::max);
    let sum = |most: u64| {
        let up_to = counts().take_while(|&k| k <= most);
        up_to.map(|k| (weight(k) - highest).exp()).sum::<f64>()
    };
    sum(hits) / sum(draw.most())
}

/// What became of a rate that the panels since neither show nor refute: it keeps
/// the state it had while the lowest rate it may have had explains them better than
/// the usual one.
pub(super) fn undecided(known: &Known, seen: &Seen, had: Option<State>) -> Answer {
    let (hits, misses) = (seen.hits as f64, (seen.panels - seen.hits) as f64);
    let own = known.low_now().is_some_and(|low| {
        let usual = known.usual.clamp(1e-6, 1.0 - 1e-6);
        hits * (low / usual).ln() + misses * ((1.0 - low) / (1.0 - usual)).ln() > 0.0
    });
    let kept = match had {
        Some(State::CannotTell | State::Gone) => None,
        Some(State::Fewer) => Some(State::Fewer),
        _ => Some(State::GoesOn),
    };
    Answer {
        panels_missing: missing_alike(known, seen),
        told: false,
        ..Answer::of(kept.filter(|_| own).unwrap_or(State::CannotTell))
    }
}

/// Further panels without a hit after which so few hits would be unlikely.
fn missing(seen: &Seen, low: f64, unlikely: f64) -> Option<usize> {
    fewest(|more| binomial::at_most(seen.hits as u64, (seen.panels + more) as u64, low) <= unlikely)
}

/// Further panels with hits, and others, in the shares seen so far after which the
/// rate would be shown or refuted: about as many, since shares are not known better.
fn missing_alike(known: &Known, seen: &Seen) -> Option<usize> {
    if seen.panels == 0 {
        return None;
    }
    fewest(|more| {
        let times = (seen.panels + more) as f64 / seen.panels as f64;
        let grown = |n: usize| (n as f64 * times).round() as usize;
        let grown = |seen: &Seen| Seen {
            hits: grown(seen.hits),
            panels: grown(seen.panels),
            last: None,
        };
        let others = known.others.as_ref().map(grown);
        settled(&Known { others, ..*known }, &grown(seen)).is_some()
    })
}

/// The fewest further panels with which it is told; none beyond a million.
fn fewest(told: impl Fn(usize) -> bool) -> Option<usize> {
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
        others_then: 0.0,
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
            others_then: 0.35,
            others: Some(seen(hits, 80)),
            unlikely: 0.005,
            ..KNOWN
        };
        assert_eq!(judge(&beside(28), &seen(14, 40)).state, State::Gone);
        assert_eq!(judge(&beside(28), &seen(30, 40)).state, State::GoesOn);
        assert_eq!(judge(&beside(28), &seen(20, 40)).state, State::CannotTell);
    }

    #[test]
    fn a_few_others_refute_nothing() {
        // Eight times the others' odds at least, when these were 5 of 60; now 3 of 10
        // beside 3 of 10. Summed term by term, at most 3 of these 6 has chance 0.044:
        // unlikely, but no proof at 0.005.
        let known = Known {
            low: Some(0.42),
            usual: 3.5 / 11.0,
            others_then: 5.0 / 60.0,
            others: Some(seen(3, 10)),
            unlikely: 0.005,
            ..KNOWN
        };
        assert_eq!(judge(&known, &seen(3, 10)).state, State::CannotTell);
        let draw = |hits| Draw {
            size: 20,
            marked: hits,
            drawn: 10,
        };
        // Two marked of 20, 10 drawn, odds 3: weights 45, 100·3 and 45·9 by hand.
        let none = at_most_by_odds(draw(2), 0, 3.0);
        assert!((none - 45.0 / 750.0).abs() < 1e-12, "{none}");
        let one = at_most_by_odds(draw(2), 1, 3.0);
        assert!((one - 345.0 / 750.0).abs() < 1e-12, "{one}");
    }

    #[test]
    fn a_rate_neither_shown_nor_refuted_keeps_its_state_and_says_what_would_tell() {
        // 7 of 12 against 16 of 40: odds as before, too few panels to show it.
        let known = Known {
            low: Some(0.6),
            usual: 16.5 / 41.0,
            others_then: 0.4,
            others: Some(seen(16, 40)),
            unlikely: 0.005,
            ..KNOWN
        };
        let now = seen(7, 12);
        assert_eq!(judge(&known, &now).state, State::CannotTell);
        let open = undecided(&known, &now, Some(State::GoesOn));
        assert_eq!((open.state, open.told), (State::GoesOn, false));
        let fewer = undecided(&known, &now, Some(State::Fewer));
        assert_eq!(fewer.state, State::Fewer);
        // As many more panels as it says, in the same shares, tell it; fewer do not.
        let missing = open.panels_missing.unwrap();
        let times = (12 + missing) as f64 / 12.0;
        let grown = |n: f64| (n * times).round() as usize;
        let more = Known {
            others: Some(seen(grown(16.0), grown(40.0))),
            ..known
        };
        let told = judge(&more, &seen(grown(7.0), grown(12.0)));
        assert_eq!(told.state, State::GoesOn);
        assert!(missing > 20, "{missing}");
        // Like the others: nothing speaks for its going on.
        let like = undecided(&known, &seen(5, 12), Some(State::GoesOn));
        assert_eq!((like.state, like.told), (State::CannotTell, false));
        let unknown = undecided(&known, &now, Some(State::CannotTell));
        assert_eq!(unknown.state, State::CannotTell);
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

    #[test]
    fn what_was_gone_is_not_back_by_chance() {
        let gone = Known {
            was_gone: true,
            ..KNOWN
        };
        // At .005, three of 200 or more have chance .08; two of 20 have .0045 and are
        // no repeat.
        assert_eq!(judge(&gone, &seen(3, 200)).state, State::Gone);
        assert_eq!(judge(&gone, &seen(2, 20)).state, State::Gone);
    }
}

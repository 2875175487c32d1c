//! Two places of one repeat, each fixed in its own frame: which explains the
//! hits?
//!
//! On panels where the two lie apart, the right one is hit at the repeat's
//! rate and the other as often as any ordinary place there. No rate is plugged
//! in: a repeat's rate is integrated over Beta(½, ½), an ordinary place's
//! chance over a Beta whose mean is the background and whose weight is a few
//! panels only, so the predictive likelihoods are beta-binomial. The accused
//! must also beat its rival with *two* places (a part with a hole at either
//! end looks like one machine place where half of the panels were turned).
//!
//! Lay is a setting, not a lottery: it goes with lot, part number, supplier,
//! inspector and day. So the same comparison is made within panels alike in
//! these, the rival's place free in each group, and must say the same; a group
//! that lay one way only adds nothing.

use crate::causes::Tally;
use statrs::function::beta::ln_beta;

/// Panels that the background's chance at one place is worth before any is
/// seen there: marks crowd here and there, so it is little.
const BACKGROUND_WEIGHT: f64 = 10.0;

/// Prior chance that the rival has a second place just where the accused's lies.
const SECOND_PLACE: f64 = 0.25;

/// Panels alike on which two places were compared.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub(crate) struct Meeting {
    /// Panels on which both places coincide.
    pub shared: Tally,
    /// Panels on which they lie apart, at the first's place.
    pub first: Tally,
    /// The same panels, at the second's place.
    pub second: Tally,
}

impl Meeting {
    /// The same with the two exchanged.
    pub(crate) fn exchanged(self) -> Self {
        Self {
            first: self.second,
            second: self.first,
            ..self
        }
    }

    /// Panels on which the two predict different places.
    pub(crate) fn informative(&self) -> usize {
        self.first.exposed.max(self.second.exposed)
    }
}

/// Chance of a hit at an ordinary place where the rivals' places lie.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Ordinary {
    /// Where the first's place lies, 0..1.
    pub first: f64,
    /// Where the second's place lies, 0..1.
    pub second: f64,
}

impl Ordinary {
    /// The same with the two exchanged.
    pub(crate) fn exchanged(self) -> Self {
        Self {
            first: self.second,
            second: self.first,
        }
    }
}

/// ln likelihood of the first place over the second, kept apart for a second
/// with one place and with two until all groups are added.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub(crate) struct Weight {
    one_place: f64,
    two_places: f64,
}

impl Weight {
    /// Of one group of panels.
    pub(crate) fn of(meeting: &Meeting, ordinary: Ordinary) -> Self {
        let shared = meeting.shared;
        let first = repeat(shared + meeting.first) + background(meeting.second, ordinary.second);
        let second = repeat(shared + meeting.second);
        Self {
            one_place: first - second - background(meeting.first, ordinary.first),
            two_places: first - second - repeat(meeting.first),
        }
    }

    /// With another group.
    pub(crate) fn plus(self, other: Self) -> Self {
        Self {
            one_place: self.one_place + other.one_place,
            two_places: self.two_places + other.two_places,
        }
    }

    /// Without a group that was added before.
    pub(crate) fn minus(self, other: Self) -> Self {
        Self {
            one_place: self.one_place - other.one_place,
            two_places: self.two_places - other.two_places,
        }
    }

    /// ln likelihood of the first over a second that has one place.
    pub(crate) fn over_one_place(self) -> f64 {
        self.one_place
    }

    /// ln likelihood of the first over the second, whichever way the second is.
    pub(crate) fn ln_ratio(self) -> f64 {
        let one = (1.0 - SECOND_PLACE).ln() - self.one_place;
        let two = SECOND_PLACE.ln() - self.two_places;
        let top = one.max(two);
        -(top + ((one - top).exp() + (two - top).exp()).ln())
    }
}

/// ln probability of just these hits at a repeat of unknown rate.
fn repeat(seen: Tally) -> f64 {
    beta_binomial(seen, 0.5, 0.5)
}

/// ln probability of just these hits at an ordinary place.
fn background(seen: Tally, chance: f64) -> f64 {
    let chance = chance.clamp(1e-6, 1.0 - 1e-6);
    beta_binomial(
        seen,
        BACKGROUND_WEIGHT * chance,
        BACKGROUND_WEIGHT * (1.0 - chance),
    )
}

/// ln of B(a + k, b + n − k) / B(a, b): the probability of one sequence of `k`
/// hits on `n` panels whose chance is Beta(a, b).
fn beta_binomial(seen: Tally, a: f64, b: f64) -> f64 {
    let (k, n) = (seen.hits as f64, seen.exposed as f64);
    ln_beta(a + k, b + n - k) - ln_beta(a, b)
}

/// What the two most-hit lots leave: the other lots, and the ln likelihood there.
pub(crate) type OtherLots = Option<(usize, f64)>;

#[cfg(test)]
mod tests {
    use super::*;
    use approx::assert_relative_eq;

    fn tally(exposed: usize, hits: usize) -> Tally {
        Tally { hits, exposed }
    }

    /// By hand: B(½+1, ½+1)/B(½, ½) = 1/8 for one hit on two panels,
    /// 3/8 for two on two; an ordinary place of chance .1 and weight 10 is
    /// Beta(1, 9): one hit on one panel 1/10, none on one 9/10.
    #[test]
    fn predictive_likelihoods_by_hand() {
        assert_relative_eq!(repeat(tally(2, 1)), (1.0_f64 / 8.0).ln(), epsilon = 1e-12);
        assert_relative_eq!(repeat(tally(2, 2)), (3.0_f64 / 8.0).ln(), epsilon = 1e-12);
        assert_relative_eq!(background(tally(1, 1), 0.1), 0.1_f64.ln(), epsilon = 1e-12);
        assert_relative_eq!(background(tally(1, 0), 0.1), 0.9_f64.ln(), epsilon = 1e-12);
        let meeting = Meeting {
            shared: tally(1, 1),
            first: tally(1, 1),
            second: tally(1, 0),
        };
        let chance = Ordinary {
            first: 0.1,
            second: 0.1,
        };
        let weight = Weight::of(&meeting, chance);
        let one = 0.375 * 0.9 / (0.125 * 0.1);
        let two: f64 = 0.375 * 0.9 / (0.125 * 0.5);
        assert_relative_eq!(
            weight.ln_ratio(),
            -(0.75 / one + 0.25 / two).ln(),
            epsilon = 1e-12
        );
    }

    #[test]
    fn holes_at_both_ends_convict_nobody_however_many() {
        let chance = Ordinary {
            first: 0.01,
            second: 0.01,
        };
        for n in [20, 100, 1000] {
            let meeting = Meeting {
                shared: tally(n, 3 * n / 10),
                first: tally(n, 3 * n / 10 + 3),
                second: tally(n, 3 * n / 10),
            };
            let over = Weight::of(&meeting, chance).ln_ratio();
            assert!(over < 0.0, "{n}: {over}");
        }
    }

    #[test]
    fn a_machine_place_wins_in_thin_groups_and_an_unturned_group_says_nothing() {
        let chance = Ordinary {
            first: 0.01,
            second: 0.01,
        };
        let turned = Meeting {
            shared: tally(1, 1),
            first: tally(2, 1),
            second: tally(2, 0),
        };
        let still = Meeting {
            shared: tally(8, 3),
            ..Meeting::default()
        };
        let four = (0..4).fold(Weight::default(), |sum, _| {
            sum.plus(Weight::of(&turned, chance))
        });
        assert!(four.ln_ratio() >= 100.0_f64.ln(), "{}", four.ln_ratio());
        let more = four.plus(Weight::of(&still, chance));
        assert_relative_eq!(more.ln_ratio(), four.ln_ratio(), epsilon = 1e-12);
    }
}

//! What a claim needs at least, and what would show it.

use super::{LEAST_HIT, Table};
use crate::duel::{Follows, Suspect};

/// Nobody is named on fewer panels beyond what the others show.
const LEAST_EXCESS: f64 = 3.0;

/// A smaller ratio is not worth naming.
pub(super) const WORTH_NAMING: f64 = 1.5;

/// Who is said to show more.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Accused {
    /// Panels at the level, or all others.
    Level,
    AllButLevel,
    /// Panels with high numbers, or with low ones.
    High,
    Low,
}

impl Accused {
    pub(super) fn level(rises: bool) -> Self {
        if rises {
            Self::Level
        } else {
            Self::AllButLevel
        }
    }

    pub(super) fn number(rises: bool) -> Self {
        if rises { Self::High } else { Self::Low }
    }
}

impl Table<'_> {
    /// Enough panels with marks, and enough beyond what the others show.
    pub(super) fn enough(&self, suspect: &Suspect, accused: Accused) -> bool {
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
        let is_accused = |x: f64| match accused {
            Accused::Level => x > 0.5,
            Accused::AllButLevel => x <= 0.5,
            Accused::High => x >= middle && x > sorted[0],
            Accused::Low => x <= middle && x < sorted[sorted.len() - 1],
        };
        let (mut own, mut rest) = ([0.0; 4], [0.0; 4]);
        for (at, x) in known {
            let side = if is_accused(x) { &mut own } else { &mut rest };
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
            && (matches!(accused, Accused::High | Accused::Low)
                || ratio(2).min(ratio(3)) >= WORTH_NAMING)
    }

    /// Panels, in turns, that would show the difference found at 1 % with nine
    /// tenths' certainty.
    pub(super) fn panels_to_show(&self, suspect: &Suspect, follows: &Follows) -> usize {
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
}

#[cfg(test)]
mod tests {
    use super::super::made::table;
    use super::*;
    use crate::duel::Toward;
    use crate::records::{Panel, Records};

    /// Twenty accused panels and forty others, so many of them marked once; the
    /// accused ones so many times as large.
    fn enough(own: usize, others: usize, larger: f64) -> bool {
        let panel = |i: usize| Panel {
            length_mm: 1000.0 * if i < 20 { larger } else { 1.0 },
            width_mm: 1000.0,
            ..Panel::default()
        };
        let records = Records {
            panels: (0..60).map(panel).collect(),
            ..Records::default()
        };
        let marked = |i: usize| i < own || (20..20 + others).contains(&i);
        let marks = (0..60).map(|i| f64::from(u8::from(marked(i))));
        let suspect = Suspect {
            given: (0..60).map(|i| Some(f64::from(u8::from(i < 20)))).collect(),
            units: (0..60).collect(),
            blocks: vec![0; 60].into(),
            toward: Toward::Rises,
            serial: false,
        };
        table(&records, marks.collect()).enough(&suspect, Accused::Level)
    }

    #[test]
    fn a_level_needs_three_panels_more_than_the_others_show() {
        // Of five marked ones 2 or 2.5 would be expected: 5 − 2 and 5 − 2.5.
        assert_eq!([4, 5].map(|others| enough(5, others, 1.0)), [true, false]);
    }

    #[test]
    fn a_level_shows_more_on_a_panel_and_on_an_area() {
        // .5 against 8.5/40 a panel is 2.4 times; on panels twice as large 1.2.
        assert_eq!(
            [1.0, 1.5, 2.0].map(|times| enough(10, 8, times)),
            [true, true, false]
        );
    }

    /// Half of two halves of n panels against none: n = 4·s²·(2.576 + 1.282)²/d², here
    /// 4·.1875·14.9/.25 of a variance of 3/16 and a difference of a half.
    #[test]
    fn panels_to_show_are_the_textbooks() {
        let records = Records {
            panels: vec![Panel::default(); 40],
            ..Records::default()
        };
        let mut table = table(&records, vec![0.0; 40]);
        table.responses[0].value = (0..40).map(|i| f64::from(u8::from(i % 4 == 0))).collect();
        let suspect = Suspect {
            given: (0..40)
                .map(|i| Some(f64::from(u8::from(i % 2 == 0))))
                .collect(),
            units: (0..40).collect(),
            blocks: vec![0; 40].into(),
            toward: Toward::Rises,
            serial: false,
        };
        let follows = Follows {
            p_value: 0.01,
            exchanged: 0.01,
            difference: 0.5,
            units: 40,
            left: 1.0,
        };
        assert_eq!(table.panels_to_show(&suspect, &follows), 45);
    }
}

//! A bad spell right before the change: changes are made when things look bad,
//! and after a bad spell things look better by themselves.

use super::Side;
use super::items::Item;
use super::ratio::{Kind, stratified};

/// Shortest spell looked for, panels.
const SHORTEST: usize = 5;

/// One-sided p-value up to which a spell counts as one. Liberal on purpose:
/// leaving out an ordinary stretch costs a little precision, keeping the spell
/// that triggered the change makes any change look good.
const CHANCE: f64 = 0.10;

/// The panels right before the change that ran worse than those before them.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Spell {
    /// Position of its first panel among the items.
    pub start: usize,
    /// Panels in it.
    pub panels: usize,
    /// Its rate over the rate before it, inside strata.
    pub ratio: f64,
}

/// Looks for a bad spell at the end of the before side; `items` in time order.
/// None where the sides alternate, since then no spell precedes the change.
///
/// Stretches of 5, 7, 10, 14, … panels, up to half of the before side, are
/// compared with the panels before them; the one with the smallest p-value
/// counts if that is at most 0.10 (source of the trap: Barnett, van der Pols &
/// Dobson 2005, Int. J. Epidemiol. 34, 215–220).
pub(super) fn before_change(items: &[Item], level: f64) -> Option<Spell> {
    let change = items.iter().position(|i| i.side == Side::After)?;
    if items[change..].iter().any(|i| i.side == Side::Before) {
        return None;
    }
    let before = &items[..change];
    let mut best: Option<(f64, Spell)> = None;
    let mut length = SHORTEST as f64;
    while length as usize <= before.len() / 2 {
        let panels = length as usize;
        let start = before.len() - panels;
        let mut split = before.to_vec();
        for (k, item) in split.iter_mut().enumerate() {
            item.side = if k >= start {
                Side::After
            } else {
                Side::Before
            };
        }
        if let Some(fit) = stratified(&split, Kind::Counts, level)
            && let Some(ratio) = fit.estimate().filter(|r| *r > 1.0)
        {
            let p = fit.p_value() / 2.0;
            if p <= CHANCE && best.as_ref().is_none_or(|(q, _)| p < *q) {
                best = Some((
                    p,
                    Spell {
                        start,
                        panels,
                        ratio,
                    },
                ));
            }
        }
        length *= std::f64::consts::SQRT_2;
    }
    best.map(|(_, spell)| spell)
}

//! Panels written again under other ids with their places measured anew: they
//! share all that is recorded of the sanding, to the second, and their few
//! marks lie near each other.
//!
//! One pair with one mark may be an accident, or a fault; what tells is that
//! nearly all who share a moment are alike, far more often than marks repeat
//! between panels of other moments. Counts and shares are common practice, no
//! source.

use std::collections::HashMap;

use super::near_copies::{Index, Mark, NEAR_MM, agree, by_panel};
use crate::records::{Defect, Panel};

/// So near lie two marks of one spot that were measured by hand, mm.
const BY_HAND_MM: f64 = 10.0;
/// Fewer pairs than this may be an accident.
const PAIRS: usize = 5;
/// So many times more pairs than marks that repeat on their own would bring,
/// since these do not fall on panels one by one.
const TIMES: f64 = 5.0;
/// And this is as likely at most if they did: e to the power of minus this,
/// about one in a million.
const UNLIKELY: f64 = 14.0;
/// Longest ending of an id that says "again", characters.
const SUFFIX: usize = 10;
/// More first panels of a moment than this are not compared with.
const LEADERS: usize = 32;

/// A moment: the panels that share it, and what they carry.
struct Moment {
    /// Panels with the same marks, the first of each first.
    groups: Vec<Vec<usize>>,
}

impl Moment {
    /// Whether all who share the moment carry the same.
    fn is_one(&self) -> bool {
        self.groups.len() == 1
    }
}

/// Adds the copies among panels that were sanded at the same second, if there
/// are far more of them than chance brings.
pub(super) fn add(copies: &mut Vec<(usize, usize)>, panels: &[Panel], defects: &[Defect]) {
    let marks = &by_panel(panels.len(), defects);
    let mut is_copy = vec![false; panels.len()];
    for (copy, _) in copies.iter() {
        is_copy[*copy] = true;
    }
    let moments = moments(panels, marks, defects);
    let marked: Vec<&Moment> = moments
        .iter()
        .filter(|m| m.groups.iter().any(|group| !marks[group[0]].is_empty()))
        .collect();
    let alike: Vec<Vec<usize>> = marked
        .iter()
        .filter(|moment| moment.is_one())
        .map(|moment| moment.groups[0].clone())
        .collect();
    let pairs: usize = alike.iter().map(|group| group.len() - 1).sum();
    if pairs < PAIRS || 2 * alike.len() < marked.len() {
        return;
    }
    let leaders: Vec<Vec<usize>> = marked
        .iter()
        .flat_map(|moment| moment.groups.iter().cloned())
        .filter(|group| !marks[group[0]].is_empty())
        .collect();
    let index = Index::of(&leaders, marks, defects, BY_HAND_MM);
    let expected: f64 = marked
        .iter()
        .map(|moment| {
            let others: usize = moment.groups.iter().map(Vec::len).sum::<usize>() - 1;
            let chance = |group: &Vec<usize>| {
                if marks[group[0]].is_empty() {
                    0.0
                } else {
                    index.chance(group, marks, panels.len())
                }
            };
            others as f64 * moment.groups.iter().map(chance).fold(0.0, f64::max)
        })
        .sum();
    if !is_far_beyond(pairs as f64, expected) {
        return;
    }
    for moment in &moments {
        for group in &moment.groups {
            // Two clean panels are told apart by nothing.
            if moment.is_one() || !marks[group[0]].is_empty() {
                let new = group[1..].iter().filter(|copy| !is_copy[**copy]);
                copies.extend(new.map(|copy| (*copy, group[0])));
            }
        }
    }
}

/// Adds the panels named after another, such as P12-R after P12, that were sanded at
/// the same second in the same place or carry the very marks of the other: inspected
/// again under an id of their own.
pub(super) fn add_named_after(
    copies: &mut Vec<(usize, usize)>,
    panels: &[Panel],
    defects: &[Defect],
) {
    let marks = by_panel(panels.len(), defects);
    let at: HashMap<&str, usize> = (panels.iter().enumerate())
        .map(|(nth, panel)| (panel.id.as_str(), nth))
        .collect();
    let same = |at: usize, of: usize| {
        let (a, b) = (&panels[at], &panels[of]);
        let second = |p: &Panel| p.sanded_at.map(|at| at.instant.as_second());
        let at_once = second(a).is_some() && second(a) == second(b);
        let again = !marks[of].is_empty()
            && marks[at].len() == marks[of].len()
            && agree(&marks[of], &marks[at], NEAR_MM);
        (at_once || again)
            && (&a.machine, &a.head, &a.fixture) == (&b.machine, &b.head, &b.fixture)
            && (a.length_mm, a.width_mm) == (b.length_mm, b.width_mm)
    };
    let after = |nth: usize| {
        let panel = &panels[nth];
        let cuts = panel
            .id
            .char_indices()
            .rev()
            .take(SUFFIX)
            .map(|(cut, _)| cut);
        let base = |cut: usize| {
            let (name, rest) = panel.id.split_at(cut);
            let mark = rest.trim_start_matches(|c: char| !c.is_alphanumeric());
            let words = !mark.is_empty() && mark.chars().all(char::is_alphabetic);
            let number = mark.len() < rest.len() && mark.chars().all(|c| c.is_ascii_digit());
            let base = *at
                .get(name)
                .filter(|_| words || number && !mark.is_empty())?;
            same(nth, base).then_some(base)
        };
        cuts.filter_map(base).last().map(|base| (nth, base))
    };
    let found: Vec<(usize, usize)> = (0..panels.len())
        .filter(|nth| panels[*nth].inspected)
        .filter_map(after)
        .collect();
    if found.len() >= PAIRS {
        let known: Vec<usize> = copies.iter().map(|(copy, _)| *copy).collect();
        copies.extend(found.into_iter().filter(|(copy, _)| !known.contains(copy)));
    }
}

/// Whether so many of independent events are far more than expected.
///
/// The chance of k or more where μ are expected is at most
/// exp(−(k ln(k/μ) − k + μ)) for k > μ.
///
/// Source: Chernoff (1952), Annals of Mathematical Statistics 23, 493–507; the
/// form for unequal chances from memory.
fn is_far_beyond(count: f64, expected: f64) -> bool {
    count > TIMES * expected && count * (count / expected).ln() - count + expected >= UNLIKELY
}

/// Panels that share all that is recorded of their sanding, by what they carry;
/// those alone at their moment left out.
fn moments(panels: &[Panel], marks: &[Vec<Mark>], defects: &[Defect]) -> Vec<Moment> {
    let mut unplaced = vec![0usize; panels.len()];
    for defect in defects.iter().filter(|d| d.place.is_none()) {
        unplaced[defect.panel] += 1;
    }
    let mut index = HashMap::new();
    let mut by_moment: Vec<Vec<usize>> = Vec::new();
    for (nth, panel) in panels.iter().enumerate() {
        let Some(at) = panel.sanded_at.filter(|_| panel.inspected) else {
            continue;
        };
        let sides = (panel.length_mm.to_bits(), panel.width_mm.to_bits());
        let lay = (
            panel.lay.degrees(),
            panel.lay_x_mm.to_bits(),
            panel.lay_y_mm.to_bits(),
        );
        let cell = (&panel.machine, &panel.head, &panel.fixture);
        let came = (&panel.part, &panel.supplier, &panel.lot);
        let key = (at.instant.as_second(), sides, lay, cell, came);
        let place = *index.entry(key).or_insert_with(|| {
            by_moment.push(Vec::new());
            by_moment.len() - 1
        });
        by_moment[place].push(nth);
    }
    let carry_the_same = |a: usize, b: usize| {
        unplaced[a] == unplaced[b]
            && marks[a].len() == marks[b].len()
            && agree(&marks[a], &marks[b], BY_HAND_MM)
    };
    by_moment
        .into_iter()
        .filter(|panels| panels.len() > 1)
        .map(|panels| {
            let mut groups: Vec<Vec<usize>> = Vec::new();
            for panel in panels {
                let known = groups
                    .iter_mut()
                    .take(LEADERS)
                    .find(|group| carry_the_same(group[0], panel));
                match known {
                    Some(group) => group.push(panel),
                    None => groups.push(vec![panel]),
                }
            }
            Moment { groups }
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::super::made::mark;
    use super::super::written_again as find;
    use super::*;
    use crate::records::Moment as Time;
    use rand::{RngExt, SeedableRng};
    use rand_chacha::ChaCha8Rng;

    fn panel(nth: usize, second: usize) -> Panel {
        let local = jiff::civil::datetime(2026, 11, 23, 6, 0, 0, 0)
            .saturating_add(jiff::Span::new().seconds(second as i64));
        Panel {
            id: format!("P{nth:04}"),
            sanded_at: Some(Time {
                instant: jiff::tz::Offset::UTC.to_timestamp(local).unwrap(),
                local,
            }),
            length_mm: 600.0,
            width_mm: 400.0,
            inspected: true,
            ..Panel::default()
        }
    }

    /// A shop of 60 panels, a mark on every second, written twice: the place
    /// measured anew, or that of another panel.
    fn twice(again: bool, per_moment: usize) -> (Vec<Panel>, Vec<Defect>) {
        let mut rng = ChaCha8Rng::seed_from_u64(6);
        let panels = (0..120)
            .map(|n| panel(n, n % 60 / per_moment * 90))
            .collect();
        let mut any = || (rng.random_range(5.0..595.0), rng.random_range(5.0..395.0));
        let places: Vec<(f64, f64)> = (0..120).map(|_| any()).collect();
        let defects = (0..120)
            .filter(|n| n % 2 == 0)
            .map(|n| {
                let (x, y) = places[if again { n % 60 } else { n }];
                let off = if n < 60 { 0.0 } else { 3.0 };
                mark(n, x + off, y - off)
            })
            .collect();
        (panels, defects)
    }

    #[test]
    fn panels_named_after_another_of_the_same_second_are_that_one_again() {
        let mut panels: Vec<Panel> = (0..30).map(|n| panel(n, 90 * n)).collect();
        for n in [3, 8, 12, 20, 27] {
            let mut again = panel(n, 90 * n);
            again.id += "-R";
            panels.push(again);
        }
        let defects: Vec<Defect> = (0..35)
            .map(|n| mark(n, 17.0 * n as f64 + 3.3, 50.0))
            .collect();
        let copies: Vec<usize> = find(&panels, &defects).iter().map(|c| c.1).collect();
        assert_eq!(copies, [3, 8, 12, 20, 27]);
        // Sanded again, at another time, with marks of their own, they are others.
        for (nth, panel) in panels[30..].iter_mut().enumerate() {
            let later = self::panel(100 + nth, 5_000 + 90 * nth);
            panel.sanded_at = later.sanded_at;
        }
        assert_eq!(find(&panels, &defects), []);
    }

    #[test]
    fn panels_of_the_same_second_with_one_mark_near_are_copies_and_clean_ones_too() {
        let (panels, defects) = twice(true, 1);
        let copies = find(&panels, &defects);
        let expected: Vec<(usize, usize)> = (60..120).map(|n| (n, n - 60)).collect();
        assert_eq!(copies, expected);
    }

    #[test]
    fn other_marks_at_the_same_second_are_other_panels() {
        let (panels, defects) = twice(false, 1);
        assert_eq!(find(&panels, &defects), []);
    }

    #[test]
    fn a_lot_that_shares_one_time_and_one_spot_is_no_copy() {
        let panels: Vec<Panel> = (0..120).map(|n| panel(n, n / 20 * 600)).collect();
        // Each lot has a spot of its own, on three panels in four.
        let defects: Vec<Defect> = (0..120)
            .filter(|n| n % 4 != 0)
            .map(|n| mark(n, 50.0 + 90.0 * (n / 20) as f64, 200.0))
            .collect();
        assert_eq!(find(&panels, &defects), []);
    }

    /// For scale, exact sums of Poisson's law, worked by hand: of
    /// 0.11 expected, 5 or more in 1.2e-7 of cases; of 1, 5 or more in 0.37 %.
    #[test]
    fn a_few_pairs_more_than_expected_are_not_far_beyond() {
        assert!(is_far_beyond(5.0, 0.1));
        assert!(!is_far_beyond(5.0, 0.2));
        assert!(!is_far_beyond(5.0, 1.0));
        assert!(is_far_beyond(85.0, 5.0));
        assert!(!is_far_beyond(85.0, 20.0));
    }

    #[test]
    fn a_fault_of_one_stretch_makes_no_copies_of_pairs_sanded_together() {
        let panels: Vec<Panel> = (0..800).map(|n| panel(n, n / 2 * 90)).collect();
        let defects: Vec<Defect> = (300..340).map(|n| mark(n, 300.0, 200.0)).collect();
        assert_eq!(find(&panels, &defects), []);
    }

    #[test]
    fn a_fault_on_nearly_every_panel_makes_no_copies_of_pairs_sanded_together() {
        let panels: Vec<Panel> = (0..120).map(|n| panel(n, n / 2 * 90)).collect();
        let defects: Vec<Defect> = (0..120).map(|n| mark(n, 300.0, 200.0)).collect();
        assert_eq!(find(&panels, &defects), []);
    }
}

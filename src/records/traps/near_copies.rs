//! Panels whose marks are those of another panel to a millimetre: one panel
//! written under several ids, which would make every mark on it a repeat.
//!
//! A fault that marks many panels at the same places makes panels alike too;
//! what tells them apart is that the same marks then lie on other panels, one
//! without the other. Counts and shares are common practice, no source.

use std::collections::{HashMap, HashSet};

use crate::records::{Defect, Panel, Point, Warning, WarningCode};

/// Fewer marks than this agree by accident.
const MARKS: usize = 3;
/// More marks than this on one panel are not compared one with all.
const MOST_MARKS: usize = 400;
/// So near lie the marks of a copy, mm.
pub(super) const NEAR_MM: f64 = 1.0;
/// A repeat is met within this distance of the mark, mm.
const REPEAT_MM: f64 = 2.0;
/// Fewer copies than this are expected from marks that repeat on their own.
const EXPECTED: f64 = 0.001;
/// So many copies, and so large a share of those that may be, show that all
/// panels were written again.
const ALL: usize = 10;
const ALL_SHARE: f64 = 0.8;
/// Panels before and after one, in the order of sanding, that are beside it.
const BESIDE: usize = 20;
/// Panels in one place of the index that others are compared with.
const LEADERS: usize = 32;

/// The copies that tell themselves by many marks, whenever they were sanded:
/// each panel and the first one that carries its marks.
pub(super) fn find(panels: &[Panel], defects: &[Defect]) -> Vec<(usize, usize)> {
    let marks = by_panel(panels.len(), defects);
    let groups: Vec<Vec<usize>> = groups(panels, &marks)
        .into_iter()
        .filter(|group| group.len() > 1)
        .collect();
    if groups.is_empty() {
        return Vec::new();
    }
    let index = Index::of(&groups, &marks, defects, REPEAT_MM);
    groups
        .iter()
        .filter(|group| panels.len() as f64 * index.chance(group, &marks, panels.len()) < EXPECTED)
        .flat_map(|group| group[1..].iter().map(|copy| (*copy, group[0])))
        .collect()
}

/// Adds the panels with fewer marks or none where all others were written
/// again in the same order: each lies as far behind its original as they do.
pub(super) fn add_rest(copies: &mut Vec<(usize, usize)>, panels: &[Panel], defects: &[Defect]) {
    let mut offsets: HashMap<usize, usize> = HashMap::new();
    for (copy, of) in copies.iter() {
        *offsets.entry(copy - of).or_default() += 1;
    }
    let often = offsets.into_iter().max_by_key(|(by, count)| (*count, *by));
    let Some((by, _)) = often
        .filter(|(_, count)| *count >= ALL && *count as f64 >= ALL_SHARE * copies.len() as f64)
    else {
        return;
    };
    let marks = by_panel(panels.len(), defects);
    let known: HashSet<usize> = copies.iter().map(|(copy, _)| *copy).collect();
    let alike = |copy: usize| {
        let (a, b) = (&panels[copy], &panels[copy - by]);
        let about = |p: &Panel| {
            let text = [&p.machine, &p.part, &p.lot].map(Clone::clone);
            (p.length_mm.to_bits(), p.width_mm.to_bits(), p.lay, text)
        };
        let (own, other) = (&marks[copy], &marks[copy - by]);
        about(a) == about(b) && own.len() == other.len() && agree(other, own, NEAR_MM)
    };
    let rest = (by..panels.len()).filter(|p| !known.contains(p) && !known.contains(&(p - by)));
    let (same, other): (Vec<usize>, Vec<usize>) = rest.partition(|copy| alike(*copy));
    if same.len() as f64 >= ALL_SHARE * (same.len() + other.len()) as f64 {
        copies.extend(same.into_iter().map(|copy| (copy, copy - by)));
    }
}

/// What is told of them.
pub(in crate::records) fn warning(copies: &[(usize, usize)], panels: &[Panel]) -> Option<Warning> {
    if copies.is_empty() {
        return None;
    }
    let pairs: Vec<String> = copies
        .iter()
        .map(|(copy, of)| format!("{} = {}", panels[*copy].id, panels[*of].id))
        .collect();
    Some(Warning {
        code: WarningCode::NearCopies,
        text: format!(
            "{} the marks of another panel, to a millimetre or within a centimetre and sanded at the same second, or are named after it ({}), far beyond chance: one panel written under several ids counts once. If they are different panels, set [read] copies_are_real = true in onus.toml; if they are later inspections, give them the panel's first id and an inspection number.",
            if copies.len() == 1 {
                "1 panel carries".to_owned()
            } else {
                format!("{} panels carry", copies.len())
            },
            super::some(&pairs)
        ),
        file: None,
    })
}

/// A mark: its kind and place.
pub(super) type Mark = (usize, Point);

/// The placed marks of each panel, by kind, then place.
pub(super) fn by_panel(panels: usize, defects: &[Defect]) -> Vec<Vec<Mark>> {
    let mut marks = vec![Vec::new(); panels];
    for defect in defects {
        if let Some(place) = defect.place {
            marks[defect.panel].push((defect.name, place));
        }
    }
    for marks in &mut marks {
        marks.sort_by(|a: &Mark, b| {
            (a.0, a.1.x, a.1.y)
                .partial_cmp(&(b.0, b.1.x, b.1.y))
                .unwrap_or(std::cmp::Ordering::Equal)
        });
    }
    marks
}

/// Panels with the same marks, the first of each group first. Panels alike in
/// size, kinds and count are met by the mean of their marks, so that the work
/// grows with the number of panels.
fn groups(panels: &[Panel], marks: &[Vec<Mark>]) -> Vec<Vec<usize>> {
    type Key = (u64, u64, Vec<usize>, i64, i64);
    let mut groups: Vec<Vec<usize>> = Vec::new();
    let mut index: HashMap<Key, Vec<usize>> = HashMap::new();
    for (panel, own) in marks.iter().enumerate() {
        if own.len() < MARKS || own.len() > MOST_MARKS {
            continue;
        }
        let kinds: Vec<usize> = own.iter().map(|(kind, _)| *kind).collect();
        let count = own.len() as f64;
        let mean = |of: fn(&Mark) -> f64| own.iter().map(of).sum::<f64>() / count / NEAR_MM;
        let (x, y) = (
            mean(|m| m.1.x).floor() as i64,
            mean(|m| m.1.y).floor() as i64,
        );
        let size = &panels[panel];
        let key = |x, y| {
            (
                size.length_mm.to_bits(),
                size.width_mm.to_bits(),
                kinds.clone(),
                x,
                y,
            )
        };
        let found = (-1..=1)
            .flat_map(|dx| (-1..=1).map(move |dy| (dx, dy)))
            .filter_map(|(dx, dy)| index.get(&key(x + dx, y + dy)))
            .flatten()
            .copied()
            .filter(|group| agree(&marks[groups[*group][0]], own, NEAR_MM))
            .min();
        match found {
            Some(group) => groups[group].push(panel),
            None => {
                let leaders = index.entry(key(x, y)).or_default();
                if leaders.len() < LEADERS {
                    leaders.push(groups.len());
                    groups.push(vec![panel]);
                }
            }
        }
    }
    groups
}

/// Whether each mark of one panel has one of the other by it, mm along each
/// axis.
pub(super) fn agree(a: &[Mark], b: &[Mark], near_mm: f64) -> bool {
    let mut free = vec![true; b.len()];
    a.iter().all(|(kind, at)| {
        let near = b.iter().enumerate().find(|(i, (other, p))| {
            free[*i]
                && other == kind
                && (at.x - p.x).abs() <= near_mm
                && (at.y - p.y).abs() <= near_mm
        });
        near.map(|(i, _)| i).is_some_and(|i| {
            free[i] = false;
            true
        })
    })
}

/// On which panels marks lie, in fields about the marks of the groups.
pub(super) struct Index {
    fields: HashMap<Field, Vec<(usize, Point)>>,
    /// A repeat is met within this distance, mm; the side of a field too.
    within_mm: f64,
}

/// A kind of mark and the field that it lies in.
type Field = (usize, i64, i64);

fn field(mark: &Mark, side_mm: f64) -> Field {
    (
        mark.0,
        (mark.1.x / side_mm).floor() as i64,
        (mark.1.y / side_mm).floor() as i64,
    )
}

fn around((kind, x, y): Field) -> impl Iterator<Item = Field> {
    (-1..=1).flat_map(move |dx| (-1..=1).map(move |dy| (kind, x + dx, y + dy)))
}

impl Index {
    pub(super) fn of(
        groups: &[Vec<usize>],
        marks: &[Vec<Mark>],
        defects: &[Defect],
        within_mm: f64,
    ) -> Self {
        let mut fields: HashMap<Field, Vec<(usize, Point)>> = HashMap::new();
        for mark in groups.iter().flat_map(|group| &marks[group[0]]) {
            for near in around(field(mark, within_mm)) {
                fields.entry(near).or_default();
            }
        }
        for defect in defects {
            if let Some(place) = defect.place
                && let Some(held) = fields.get_mut(&field(&(defect.name, place), within_mm))
                // Defects come by panel: one mark of each is enough.
                && held.last().is_none_or(|(panel, _)| *panel != defect.panel)
            {
                held.push((defect.panel, place));
            }
        }
        Self { fields, within_mm }
    }

    /// How likely a panel carries all marks of a group if each of them repeats
    /// on its own as often as it does on the panels outside, or on those sanded
    /// next before and after where it is more: a fault may come and go.
    pub(super) fn chance(&self, group: &[usize], marks: &[Vec<Mark>], panels: usize) -> f64 {
        let outside = (panels - group.len()) as f64;
        let mut chance = 1.0;
        for mark in &marks[group[0]] {
            let mut held: Vec<usize> = around(field(mark, self.within_mm))
                .filter_map(|near| self.fields.get(&near))
                .flatten()
                .filter(|(_, p)| (p.x - mark.1.x).hypot(p.y - mark.1.y) <= self.within_mm)
                .map(|(panel, _)| *panel)
                .filter(|panel| group.binary_search(panel).is_err())
                .collect();
            held.sort_unstable();
            held.dedup();
            let first = group.first().copied().unwrap_or(0);
            let beside = held.iter().filter(|p| p.abs_diff(first) <= BESIDE).count();
            let often = (held.len() as f64 + 0.5) / (outside + 1.0);
            chance *= often.max(beside as f64 / (2 * BESIDE) as f64).min(1.0);
        }
        chance
    }
}

#[cfg(test)]
mod tests {
    use super::super::made::mark;
    use super::*;
    use rand::{RngExt, SeedableRng};
    use rand_chacha::ChaCha8Rng;

    fn panels(count: usize) -> Vec<Panel> {
        let panel = |n: usize| Panel {
            id: format!("P{n:04}"),
            length_mm: 600.0,
            width_mm: 400.0,
            ..Panel::default()
        };
        (0..count).map(panel).collect()
    }

    #[test]
    fn panels_written_again_with_jitter_are_copies() {
        let mut rng = ChaCha8Rng::seed_from_u64(4);
        let mut defects = Vec::new();
        let places: Vec<Vec<(f64, f64)>> = (0..20)
            .map(|_| {
                let any = |rng: &mut ChaCha8Rng| {
                    (rng.random_range(5.0..595.0), rng.random_range(5.0..395.0))
                };
                (0..4).map(|_| any(&mut rng)).collect()
            })
            .collect();
        for panel in 0..100 {
            for (x, y) in &places[panel % 20] {
                let mut jitter = || rng.random_range(-0.4..0.4);
                defects.push(mark(panel, x + jitter(), y + jitter()));
            }
        }
        let copies = find(&panels(100), &defects);
        assert_eq!(copies.len(), 80, "{copies:?}");
        assert!(copies.iter().all(|(copy, of)| *of == copy % 20));
    }

    #[test]
    fn where_all_were_written_again_those_with_few_marks_are_copies_too() {
        let mut rng = ChaCha8Rng::seed_from_u64(6);
        let mut defects = Vec::new();
        for panel in 0..60 {
            for _ in 0..panel % 6 {
                let (x, y) = (rng.random_range(5.0..595.0), rng.random_range(5.0..395.0));
                defects.push(mark(panel, x, y));
            }
        }
        let again: Vec<Defect> = defects
            .iter()
            .map(|d| (d.panel + 60, d.place.unwrap()))
            .map(|(panel, p)| mark(panel, p.x.round(), p.y.round()))
            .collect();
        let copies = |defects: &[Defect], count| {
            let panels = panels(count);
            let mut copies = find(&panels, defects);
            add_rest(&mut copies, &panels, defects);
            copies
        };
        assert_eq!(copies(&[defects.clone(), again].concat(), 120).len(), 60);
        assert_eq!(copies(&defects, 60), []);
    }

    #[test]
    fn a_fault_that_repeats_at_three_places_makes_no_copies() {
        let mut rng = ChaCha8Rng::seed_from_u64(5);
        let spots = [(100.0, 80.0), (300.0, 200.0), (512.0, 333.0)];
        for share in [0.2, 0.5, 0.8] {
            let mut defects = Vec::new();
            for panel in 0..400 {
                for (x, y) in spots {
                    if rng.random_bool(share) {
                        let mut jitter = || rng.random_range(-0.3..0.3);
                        defects.push(mark(panel, x + jitter(), y + jitter()));
                    }
                }
            }
            assert_eq!(find(&panels(400), &defects), [], "{share}");
        }
    }

    #[test]
    fn the_same_places_on_every_panel_are_repeats_and_no_copies() {
        let defects: Vec<Defect> = (0..10_000)
            .flat_map(|p| {
                [
                    mark(p, 10.0, 10.0),
                    mark(p, 50.0, 60.0),
                    mark(p, 90.5, 300.5),
                ]
            })
            .collect();
        assert_eq!(find(&panels(10_000), &defects), []);
    }
}

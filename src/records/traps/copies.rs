//! Panels that carry the very same marks: probably one panel under several ids;
//! and one mark written several times over.

use std::collections::{BTreeMap, BTreeSet};

use super::super::{Point, Records, Warning, WarningCode};
use super::warn;

/// So many marks at the same places are no accident, if they are finely written.
const MARKS: usize = 2;

/// Places in steps of this are coarse: two panels may well share them, mm.
const COARSE_MM: f64 = 5.0;

/// Examples named in the warning.
const NAMED: usize = 3;

/// So many marks written again, and so large a share, are no accident: a join
/// multiplies most rows, clicks on a picture fall on one place now and then.
const AGAIN: usize = 5;
const AGAIN_SHARE: f64 = 0.2;

/// Marks of one kind and panel in two files this near each other, along both axes,
/// are one, written more coarsely in one of them, mm.
const ROUNDED_MM: f64 = 1.0;

pub(super) fn find(records: &Records, warnings: &mut Vec<Warning>) {
    warnings.extend(written_over(records));
    warnings.extend(in_two_files(records));
    same_marks(records, warnings);
}

/// Marks that stand in every detail more than once on their panel, as a join
/// that multiplies rows leaves them.
fn written_over(records: &Records) -> Option<Warning> {
    // Equal ones lie next to each other.
    let again: Vec<usize> = (1..records.defects.len())
        .filter(|nth| {
            let defect = &records.defects[*nth];
            defect.written.is_some_and(is_fine) && *defect == records.defects[*nth - 1]
        })
        .collect();
    let first = again.first().filter(|_| {
        again.len() >= AGAIN && again.len() as f64 >= AGAIN_SHARE * records.defects.len() as f64
    })?;
    let place = records.origins.get(*first).and_then(|origin| {
        let file = records.sources.get(origin.file as usize)?;
        Some(format!(" ({}, line {})", file.display(), origin.line))
    });
    Some(warn(
        WarningCode::DuplicateRecord,
        format!(
            "{} of {} defects stand in every detail already on the same panel, as rows do that a join of tables has multiplied; they count as often as they are written. Take the double rows out; the first is on panel {}{}.",
            again.len(),
            records.defects.len(),
            records.panels[records.defects[*first].panel].id,
            place.unwrap_or_default()
        ),
    ))
}

/// Marks that stand in two files, in one of them rounded, as two exports of one
/// inspection leave them.
fn in_two_files(records: &Records) -> Option<Warning> {
    let file_of = |nth: usize| records.origins.get(nth).map(|origin| origin.file);
    let mut files: BTreeMap<usize, u32> = BTreeMap::new();
    let mut shared: BTreeSet<usize> = BTreeSet::new();
    for (nth, defect) in records.defects.iter().enumerate() {
        let file = file_of(nth)?;
        if *files.entry(defect.panel).or_insert(file) != file {
            shared.insert(defect.panel);
        }
    }
    let mut known: BTreeMap<(usize, usize, i64, i64), (u32, Point)> = BTreeMap::new();
    let mut again: Vec<usize> = Vec::new();
    for (nth, defect) in records.defects.iter().enumerate() {
        let (Some(file), Some(at)) = (file_of(nth), defect.written) else {
            continue;
        };
        if !shared.contains(&defect.panel) {
            continue;
        }
        let (x, y) = (at.x.floor() as i64, at.y.floor() as i64);
        let around = (-1..=1).flat_map(|dx| (-1..=1).map(move |dy| (x + dx, y + dy)));
        let is_again = around
            .filter_map(|(x, y)| known.get(&(defect.panel, defect.name, x, y)))
            .any(|(other, there)| {
                let near = |a: f64, b: f64| (a - b).abs() <= ROUNDED_MM;
                *other != file && near(there.x, at.x) && near(there.y, at.y)
            });
        if is_again {
            again.push(nth);
        } else {
            let key = (defect.panel, defect.name, x, y);
            known.entry(key).or_insert((file, at));
        }
    }
    let first = again.first().filter(|_| {
        again.len() >= AGAIN && again.len() as f64 >= AGAIN_SHARE * records.defects.len() as f64
    })?;
    let name = |file: u32| records.sources.get(file as usize);
    let file = name(file_of(*first)?)?.display();
    Some(warn(
        WarningCode::DuplicateRecord,
        format!(
            "{} of {} defects lie within {ROUNDED_MM} mm of one of their kind on the same panel in another file, such as those of {file}: two exports of one inspection, one of them rounded? They count as often as they are written. Leave one of the files out.",
            again.len(),
            records.defects.len(),
        ),
    ))
}

/// Whether a place is written more finely than in coarse steps.
fn is_fine(at: Point) -> bool {
    at.x % COARSE_MM != 0.0 || at.y % COARSE_MM != 0.0
}

fn same_marks(records: &Records, warnings: &mut Vec<Warning>) {
    let groups = groups(records);
    let copies: usize = groups.iter().map(|g| g.len() - 1).sum();
    if copies == 0 {
        return;
    }
    let id = |panel: &usize| records.panels[*panel].id.as_ref();
    let named: Vec<String> = groups
        .iter()
        .take(NAMED)
        .map(|g| {
            let ids: Vec<&str> = g.iter().take(NAMED).map(id).collect();
            ids.join(" = ")
        })
        .collect();
    let dots = if groups.len() > NAMED { " …" } else { "" };
    warnings.push(warn(
        WarningCode::SameMarks,
        format!(
            "{} exactly the marks of another panel ({}{dots}): one panel written under several ids makes every mark on it look like a repeat. Give the later inspections the panel's first id and an inspection number, or take them out.",
            if copies == 1 { "1 panel carries".to_owned() } else { format!("{copies} panels carry") },
            named.join("; "),
        ),
    ));
}

/// Groups of panels with the same marks, each in the panels' order.
fn groups(records: &Records) -> Vec<Vec<usize>> {
    type Mark = (usize, u64, u64);
    let mut marks: BTreeMap<usize, Vec<Mark>> = BTreeMap::new();
    let mut fine: BTreeMap<usize, usize> = BTreeMap::new();
    for defect in &records.defects {
        let Some(at) = defect.written else { continue };
        let of_panel = marks.entry(defect.panel).or_default();
        of_panel.push((defect.name, at.x.to_bits(), at.y.to_bits()));
        if is_fine(at) {
            *fine.entry(defect.panel).or_default() += 1;
        }
    }
    let mut by_marks: BTreeMap<(Vec<Mark>, u64, u64), Vec<usize>> = BTreeMap::new();
    for (panel, mut of_panel) in marks {
        if fine.get(&panel).is_none_or(|count| *count < MARKS) {
            continue;
        }
        of_panel.sort_unstable();
        let size = &records.panels[panel];
        let key = (of_panel, size.length_mm.to_bits(), size.width_mm.to_bits());
        by_marks.entry(key).or_default().push(panel);
    }
    let mut groups: Vec<Vec<usize>> = by_marks.into_values().filter(|g| g.len() > 1).collect();
    groups.sort_unstable();
    groups
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::records::{Defect, Origin, Panel};

    fn mark(panel: usize, x: f64) -> Defect {
        let at = Some(Point { x, y: 40.0 });
        Defect {
            panel,
            name: 0,
            place: at,
            written: at,
            area_mm2: None,
            severity: None,
        }
    }

    #[test]
    fn two_exports_of_one_inspection_are_told_and_two_stations_are_not() {
        let told = |off_mm: f64| {
            let mut records = Records {
                panels: vec![Panel::default(); 10],
                sources: vec!["a.csv".into(), "b.csv".into()],
                ..Records::default()
            };
            for panel in 0..10 {
                for (file, off) in [(0, 0.3), (1, off_mm)] {
                    records
                        .defects
                        .push(mark(panel, 10.0 + 7.0 * panel as f64 + off));
                    records.origins.push(Origin { file, line: 2 });
                }
            }
            in_two_files(&records).map(|warning| warning.text)
        };
        assert!(told(0.0).unwrap().starts_with("10 of 20 defects"));
        assert!(told(1.25).is_some());
        assert_eq!(told(4.0), None);
    }

    #[test]
    fn rows_multiplied_by_a_join_are_told_and_equal_clicks_are_not() {
        let told = |x: f64, times: usize| {
            let defects = (0..30).map(|n| mark(n / times, x + (n / times) as f64 * 5.0));
            let records = Records {
                panels: vec![Panel::default(); 30],
                defects: defects.collect(),
                ..Records::default()
            };
            written_over(&records).map(|warning| warning.text)
        };
        assert!(told(10.3, 3).unwrap().starts_with("20 of 30 defects"));
        assert_eq!(told(10.3, 1), None);
        // Clicks in steps of 5 mm may well fall on one place twice.
        assert_eq!(told(10.0, 3), None);
    }
}

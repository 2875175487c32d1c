//! Panels that carry the very same marks: probably one panel under several ids;
//! and one mark written several times over.

use std::collections::BTreeMap;

use super::super::{Point, Records, Warning, WarningCode};
use super::warn;

/// So many marks at the same places are no accident, if they are finely written.
const MARKS: usize = 2;

/// Places in steps of this are coarse: two panels may well share them, mm.
const COARSE_MM: f64 = 5.0;

/// Marks of two kinds so near each other, mm, lie at one place.
const ONE_PLACE_MM: f64 = 0.5;
/// So many marks of one kind lie where another's do, and so large a share of
/// them, if the two are one.
const TWICE_NAMED: usize = 10;
const TWICE_NAMED_SHARE: f64 = 0.9;

/// More marks than this within reach of one are not compared with it.
const NEAR: usize = 20;

/// Examples named in the warning.
const NAMED: usize = 3;

/// So many marks written again, and so large a share, are no accident: a join
/// multiplies most rows, clicks on a picture fall on one place now and then.
const AGAIN: usize = 5;
const AGAIN_SHARE: f64 = 0.2;

pub(super) fn find(records: &Records, warnings: &mut Vec<Warning>) {
    warnings.extend(written_over(records));
    warnings.extend(under_two_names(records));
    same_marks(records, warnings);
}

/// Kinds of defect whose marks lie where those of another kind do, as an export
/// under two names or in two languages leaves them.
fn under_two_names(records: &Records) -> Option<Warning> {
    let mut marks = vec![0usize; records.defect_names.len()];
    let mut pairs: BTreeMap<(usize, usize), usize> = BTreeMap::new();
    for own in records.defects.chunk_by(|a, b| a.panel == b.panel) {
        // By place: only what follows within reach is compared.
        let placed: Vec<(Point, usize)> = own
            .iter()
            .filter_map(|defect| Some((defect.place?, defect.name)))
            .collect();
        for (nth, (at, name)) in placed.iter().enumerate() {
            marks[*name] += 1;
            let near = placed[nth + 1..]
                .iter()
                .take_while(|(other, _)| other.x - at.x <= ONE_PLACE_MM)
                .take(NEAR)
                .find(|(other, kind)| kind != name && (other.y - at.y).abs() <= ONE_PLACE_MM);
            if let Some((_, kind)) = near {
                *pairs.entry((*name.min(kind), *name.max(kind))).or_default() += 1;
            }
        }
    }
    let twice: Vec<String> = pairs
        .iter()
        .filter(|((a, b), both)| {
            let most = marks[*a].max(marks[*b]);
            **both >= TWICE_NAMED && **both as f64 >= TWICE_NAMED_SHARE * most as f64
        })
        .map(|((a, b), both)| {
            let name = |kind: usize| &records.defect_names[kind].name;
            format!("{} and {} ({both} marks)", name(*a), name(*b))
        })
        .collect();
    (!twice.is_empty()).then(|| {
        warn(
            WarningCode::NamesAlike,
            format!(
                "Nearly all marks of two kinds of defect lie at the same places: {}. If they are one kind under two names, every mark counts twice: join them under [defects.synonyms] in onus.toml and take one of the exports out.",
                super::some(&twice)
            ),
        )
    })
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
    use crate::records::{Defect, DefectName, Panel};

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
    fn one_kind_under_two_names_is_told_and_two_kinds_are_not() {
        let told = |off: f64, every: usize| {
            let mut records = Records {
                panels: vec![Panel::default(); 30],
                defect_names: ["burn", "Brandstelle"]
                    .map(|name| DefectName {
                        name: name.into(),
                        class: None,
                    })
                    .to_vec(),
                ..Records::default()
            };
            for panel in 0..30 {
                records.defects.push(mark(panel, 10.0 + panel as f64));
                if panel % every == 0 {
                    let mut again = mark(panel, 10.0 + panel as f64 + off);
                    again.name = 1;
                    records.defects.push(again);
                }
            }
            under_two_names(&records).map(|warning| warning.text)
        };
        assert!(
            told(0.2, 1)
                .unwrap()
                .contains("burn and Brandstelle (30 marks)")
        );
        assert_eq!(told(3.0, 1), None);
        // A kind that comes with another now and then.
        assert_eq!(told(0.0, 2), None);
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

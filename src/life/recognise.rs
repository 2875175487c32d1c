//! Which finding of this report is which of the last one.

use super::past::{Remembered, is_rate};
use super::place::Place;
use crate::causes::{Finding, UNEVEN_REMOVAL};
use crate::records::Records;

/// At least this share of a finding's hits lies within the old place, unless
/// the places touch.
const SHARE: f64 = 0.5;

/// For every new finding the old one that it is, by index; each old one once,
/// the best likeness first.
pub(super) fn recognise(
    old: &[Remembered],
    new: &[Finding],
    records: &Records,
    days: f64,
) -> Vec<Option<usize>> {
    let mut pairs: Vec<(f64, usize, usize)> = Vec::new();
    for (o, past) in old.iter().enumerate() {
        let place = Place::of(past, days);
        for (n, finding) in new.iter().enumerate() {
            if let Some(likeness) = likeness(past, place.as_ref(), finding, records) {
                pairs.push((likeness, o, n));
            }
        }
    }
    pairs.sort_by(|a, b| b.0.total_cmp(&a.0).then((a.1, a.2).cmp(&(b.1, b.2))));
    let mut taken = vec![false; old.len()];
    let mut out = vec![None; new.len()];
    for (_, o, n) in pairs {
        if !taken[o] && out[n].is_none() {
            taken[o] = true;
            out[n] = Some(o);
        }
    }
    out
}

/// How alike they are, 0..2; none if they are not the same.
fn likeness(
    old: &Remembered,
    place: Option<&Place>,
    new: &Finding,
    records: &Records,
) -> Option<f64> {
    if old.machine != new.machine || old.head != new.head || old.defect != new.defect {
        return None;
    }
    let placed = new.x_mm.is_some() || new.y_mm.is_some();
    match place {
        Some(place) if placed => {
            let hits = &new.evidence.hits;
            let inside = hits.iter().filter(|hit| {
                let panel = &records.panels[hit.panel];
                place.holds(panel, hit.on_panel)
            });
            let share = inside.count() as f64 / hits.len().max(1) as f64;
            (share >= SHARE || place.touches(new))
                .then(|| share + f64::from(u8::from(old.kind == code(&new.kind))))
        }
        None if !placed => without_place(old, new),
        _ => None,
    }
}

fn without_place(old: &Remembered, new: &Finding) -> Option<f64> {
    let same_kind = old.kind == code(&new.kind);
    let same_axis = old.line_axis.as_deref() == new.line_axis.as_ref().map(code).as_deref();
    let same_frame = old.frame.as_deref() == new.frame.as_ref().map(code).as_deref();
    if new.defect == UNEVEN_REMOVAL {
        return (same_kind && (same_frame || old.frame.is_none() || new.frame.is_none()))
            .then_some(1.0 + f64::from(u8::from(same_axis)) / 2.0);
    }
    if !is_rate(&old.kind) || !is_rate(&code(&new.kind)) {
        return (same_kind && same_axis).then_some(1.0);
    }
    let same_rival = old.rival.as_deref() == new.rival.as_ref().map(|r| r.code());
    let shared = new.levels.iter().any(|level| old.levels.contains(level));
    let both_named = !new.levels.is_empty() && !old.levels.is_empty();
    if same_rival && both_named && !shared {
        return None; // another lot, another nest
    }
    let add = |yes: bool, by: f64| if yes { by } else { 0.0 };
    Some(0.5 + add(same_kind, 0.4) + add(same_rival, 0.5) + add(shared, 0.5))
}

/// The word of an enum as `findings.json` writes it.
fn code(value: &impl serde::Serialize) -> String {
    match serde_json::to_value(value) {
        Ok(serde_json::Value::String(word)) => word,
        _ => String::new(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::causes::made::{panel, spot};
    use crate::causes::{Frame, Hit, Kind};
    use crate::records::Point;

    /// A place at 100, 100 mm that hit ten panels, and a new one far off with so many of
    /// ten hits at the old.
    fn same_place(at_the_old: usize) -> bool {
        let records = Records {
            panels: (0..10).map(|i| panel(i, 600.0, 400.0)).collect(),
            ..Records::default()
        };
        let old = Finding {
            frame: Some(Frame::Machine),
            x_mm: Some(100.0),
            y_mm: Some(100.0),
            ..spot()
        };
        let mut new = Finding {
            x_mm: Some(300.0),
            ..old.clone()
        };
        new.evidence.hits = (0..10)
            .map(|panel| Hit {
                panel,
                on_panel: Point {
                    x: if panel < at_the_old { 103.0 } else { 300.0 },
                    y: 100.0,
                },
                defect: 0,
                machine: Point { x: 0.0, y: 0.0 },
            })
            .collect();
        let old = Remembered::of(&old).unwrap();
        recognise(&[old], &[new], &records, 0.0) == [Some(0)]
    }

    #[test]
    fn a_place_is_known_by_half_of_its_hits() {
        assert_eq!([0, 4, 5, 10].map(same_place), [false, false, true, true]);
    }

    #[test]
    fn a_rate_of_another_lot_is_another_finding() {
        let rate = |levels: &[&str]| Finding {
            kind: Kind::Lot,
            frame: None,
            x_mm: None,
            y_mm: None,
            rival: Some(crate::causes::Rival::Lot),
            levels: levels.iter().map(|l| (*l).to_owned()).collect(),
            ..spot()
        };
        let known = |new: &[&str]| {
            let old = Remembered::of(&rate(&["A", "B"])).unwrap();
            recognise(&[old], &[rate(new)], &Records::default(), 0.0) == [Some(0)]
        };
        assert!(known(&["B", "C"]) && known(&[]));
        assert!(!known(&["C"]));
    }
}

//! Marks of one panel that are written twice, once rounded or in two files
//! within a millimetre: two exports of one inspection. Shares and distances are
//! common practice, no source.

use std::collections::HashMap;

use crate::records::{Defect, Origin, Point, Warning, WarningCode};

/// So many marks written again, and so large a share, are no accident.
const AGAIN: usize = 5;
const AGAIN_SHARE: f64 = 0.2;
/// Marks of one kind and panel in two files this near each other, along both
/// axes, are one, mm.
const NEAR_MM: f64 = 1.0;
/// To what places are rounded, mm.
const GRAINS_MM: [f64; 3] = [1.0, 0.5, 0.1];

/// The marks that are others of their panel once more, in order, if they are
/// no accident. Defects come by panel, origins in their order.
pub(super) fn find(defects: &[Defect], origins: &[Origin]) -> Vec<usize> {
    let mut again: Vec<usize> = Vec::new();
    let mut known: HashMap<(usize, i64, i64), Vec<usize>> = HashMap::new();
    let mut panel = None;
    for (nth, defect) in defects.iter().enumerate() {
        let Some(at) = defect.written else { continue };
        if panel != Some(defect.panel) {
            known.clear();
            panel = Some(defect.panel);
        }
        let (x, y) = (at.x.floor() as i64, at.y.floor() as i64);
        let around = (-1..=1).flat_map(|dx| (-1..=1).map(move |dy| (x + dx, y + dy)));
        let mut found = None;
        for (x, y) in around {
            let Some(others) = known.get_mut(&(defect.name, x, y)) else {
                continue;
            };
            let in_two = |other: usize| {
                let file = |nth: usize| origins.get(nth).map(|origin| origin.file);
                file(other) != file(nth)
            };
            let twin = others.iter().position(|other| {
                defects[*other].written.is_some_and(|there| {
                    let near = |a: f64, b: f64| (a - b).abs() <= NEAR_MM;
                    is_rounded(there, at)
                        || is_rounded(at, there)
                        || in_two(*other) && near(there.x, at.x) && near(there.y, at.y)
                })
            });
            if let Some(twin) = twin {
                found = Some(others.swap_remove(twin));
                break;
            }
        }
        match found.and_then(|other| Some((other, defects[other].written?))) {
            Some((other, there)) => {
                again.push(if is_rounded(at, there) { other } else { nth });
            }
            None => known.entry((defect.name, x, y)).or_default().push(nth),
        }
    }
    again.sort_unstable();
    let is_one = again.len() >= AGAIN && again.len() as f64 >= AGAIN_SHARE * defects.len() as f64;
    if is_one { again } else { Vec::new() }
}

/// Whether a place is another one rounded.
fn is_rounded(fine: Point, coarse: Point) -> bool {
    let on = |v: f64, grain: f64| ((v / grain).round() * grain - v).abs() <= 1e-6;
    GRAINS_MM.into_iter().any(|grain| {
        let near = |a: f64, b: f64| (a - b).abs() <= 0.5 * grain + 1e-6;
        on(coarse.x, grain)
            && on(coarse.y, grain)
            && !(on(fine.x, grain) && on(fine.y, grain))
            && near(fine.x, coarse.x)
            && near(fine.y, coarse.y)
    })
}

/// What is told of them.
pub(in crate::records) fn warning(again: usize, defects: usize) -> Option<Warning> {
    (again > 0).then(|| Warning {
        code: WarningCode::DuplicateRecord,
        text: format!(
            "{again} of {defects} defects are one of their kind on the same panel once more, rounded or within {NEAR_MM} mm in another file, as two exports of one inspection leave them: each counts once. Leave one of the exports out; if they are real, set [read] copies_are_real = true in onus.toml."
        ),
        file: None,
    })
}

#[cfg(test)]
mod tests {
    use super::super::made::mark;
    use super::*;

    /// Ten panels with three marks each, and once more as `again` writes them.
    fn twice(files: [u32; 2], again: impl Fn(f64) -> f64) -> Vec<usize> {
        let (mut defects, mut origins) = (Vec::new(), Vec::new());
        for panel in 0..10 {
            for (nth, file) in files.into_iter().enumerate() {
                for k in 0..3 {
                    let n = (3 * panel + k) as f64;
                    let (x, y) = (17.37 + 11.13 * n, 9.41 + 7.77 * n);
                    let write = |v: f64| if nth == 0 { v } else { again(v) };
                    defects.push(mark(panel, write(x), write(y)));
                    origins.push(Origin { file, line: 2 });
                }
            }
        }
        find(&defects, &origins)
    }

    #[test]
    fn the_rounded_ones_of_two_exports_count_once_in_one_file_or_two() {
        for files in [[0, 0], [0, 1]] {
            for grain in [0.1, 0.5, 1.0] {
                let again = twice(files, |v| (v / grain).round() * grain);
                assert_eq!(again.len(), 30, "{grain}");
                // Of each panel the last three are the rounded ones.
                assert!(again.iter().all(|nth| nth % 6 > 2), "{again:?}");
            }
        }
        assert_eq!(twice([0, 1], |v| v + 0.9).len(), 30);
    }

    #[test]
    fn marks_near_each_other_are_two() {
        // Beside each other in one file, or farther off in two.
        assert_eq!(twice([0, 0], |v| v + 0.93), [0usize; 0]);
        assert_eq!(twice([0, 1], |v| v + 4.0), [0usize; 0]);
    }

    /// Six marks near others: a third of eighteen marks, 3 of 100 where there are 206.
    #[test]
    fn a_few_that_are_near_others_are_no_second_export() {
        let of = |panels: usize| {
            let own = |k: usize| {
                let (x, y) = (17.37 + 2.13 * k as f64, 9.41 + 1.77 * k as f64);
                let again = (k < 6).then(|| mark(k, x.round(), y.round()));
                std::iter::once(mark(k, x, y)).chain(again)
            };
            let defects: Vec<Defect> = (0..panels).flat_map(own).collect();
            let origins = vec![Origin { file: 0, line: 2 }; defects.len()];
            find(&defects, &origins).len()
        };
        assert_eq!([12, 200].map(of), [6, 0]);
    }
}

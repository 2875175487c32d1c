//! What was seen at places: defects and readings of first inspections, each
//! once, in the panel frame.

use std::collections::{BTreeMap, HashMap};

use super::names::Names;
use super::notes::Notes;
use super::observation::{Observation, Seen as Number};
use super::parts::FileRows;
use super::{
    Defect, DefectName, Lost, Origin, Panel, Point, Reading, Reject, Warning, WarningCode, traps,
};
use crate::site::Site;

/// Everything that was seen.
pub(super) struct Seen {
    pub defects: Vec<Defect>,
    /// Where each defect was written, in the same order.
    pub origins: Vec<Origin>,
    pub readings: Vec<Reading>,
    pub defect_names: Vec<DefectName>,
    pub rejects: Vec<Reject>,
    /// Defects on panels that went with all their rows.
    pub without_panel: usize,
    /// The panel of every rejected row, and whether it named a defect.
    pub lost: Vec<(usize, bool)>,
    pub warnings: Vec<Warning>,
}

/// A defect or reading in every detail, to know it again in another file.
#[derive(Debug, Clone, PartialEq, Eq, Hash)]
struct Detail {
    panel: usize,
    name: Option<usize>,
    numbers: [Option<i64>; 4],
}

/// How often a detail was kept, and how often the file at hand carries it.
#[derive(Debug, Clone, Copy, Default)]
struct Copies {
    kept: usize,
    file: usize,
    in_file: usize,
}

/// Gathers the observations of all files.
pub(super) fn gather(
    files: &mut [FileRows],
    panel_of: &[Vec<usize>],
    place_of: &[Option<usize>],
    panels: &[Panel],
    site: &Site,
    notes: &mut Notes,
) -> Seen {
    let names = Names::of(files, site, notes);
    let mut in_files = vec![0u32; panels.len()];
    for of in panel_of {
        for panel in of.iter().filter_map(|p| place_of[*p]) {
            in_files[panel] += 1;
        }
    }
    let mut seen = Seen {
        defects: Vec::new(),
        origins: Vec::new(),
        readings: Vec::new(),
        defect_names: names.names.clone(),
        rejects: Vec::new(),
        without_panel: 0,
        lost: Vec::new(),
        warnings: Vec::new(),
    };
    let mut known: HashMap<Detail, Copies> = HashMap::new();
    let mut doubles: BTreeMap<usize, usize> = BTreeMap::new();
    for (file, rows) in files.iter_mut().enumerate() {
        let observations = std::mem::take(&mut rows.observations);
        let index = names.of_file(rows);
        for observation in observations.taken() {
            let Some(panel) = place_of[panel_of[file][observation.panel as usize]] else {
                seen.without_panel += usize::from(observation.defect.is_some());
                continue;
            };
            let place = match place(&observation, &panels[panel], rows, site) {
                Ok(place) => place,
                Err(reject) => {
                    seen.rejects.push(reject);
                    seen.lost.push((panel, observation.defect.is_some()));
                    continue;
                }
            };
            let mut is_new = |detail: Detail| {
                if in_files[panel] < 2 {
                    return true;
                }
                let copies = known.entry(detail).or_default();
                if copies.file != file {
                    copies.file = file;
                    copies.in_file = 0;
                }
                copies.in_file += 1;
                let new = copies.in_file > copies.kept;
                if new {
                    copies.kept += 1;
                } else {
                    *doubles.entry(file).or_default() += 1;
                }
                new
            };
            if let Some(at) = observation.defect {
                let name = index[at.get() as usize - 1];
                if is_new(Detail {
                    panel,
                    name: Some(name),
                    numbers: [
                        grains(observation.place().map(|p| p.0)),
                        grains(observation.place().map(|p| p.1)),
                        grains(observation.get(Number::AreaMm2)),
                        grains(observation.get(Number::Severity)),
                    ],
                }) {
                    seen.origins.push(Origin {
                        file: u32::try_from(file).unwrap_or(u32::MAX),
                        line: observation.line,
                    });
                    seen.defects.push(Defect {
                        panel,
                        name,
                        place,
                        written: observation.place().map(|(x, y)| Point { x, y }),
                        area_mm2: observation.get(Number::AreaMm2),
                        severity: observation.get(Number::Severity),
                    });
                }
            }
            if (observation.get(Number::RemovedUm).is_some()
                || observation.get(Number::FilmUm).is_some())
                && is_new(Detail {
                    panel,
                    name: None,
                    numbers: [
                        grains(observation.place().map(|p| p.0)),
                        grains(observation.place().map(|p| p.1)),
                        grains(observation.get(Number::RemovedUm)),
                        grains(observation.get(Number::FilmUm)),
                    ],
                })
            {
                seen.readings.push(Reading {
                    panel,
                    place,
                    removed_um: observation.get(Number::RemovedUm),
                    film_um: observation.get(Number::FilmUm),
                });
            }
        }
    }
    seen.sort();
    seen.forget_names_not_seen();
    seen.warnings.extend(tell_doubles(&doubles, files));
    seen.warnings
        .extend(traps::placeholders(&mut seen.defects, panels));
    seen
}

/// Numbers to a millionth: the same number converted twice is one.
fn grains(value: Option<f64>) -> Option<i64> {
    value.map(|v| (v * 1e6).round() as i64)
}

/// The place in the panel frame, mm, wherever it lies.
pub(super) fn panel_place(
    observation: &Observation,
    panel: &Panel,
    rows: &FileRows,
    site: &Site,
) -> Option<(f64, f64)> {
    let (x, y) = observation.place()?;
    let inspector = rows
        .name(observation.inspector)
        .or(panel.inspector.as_ref());
    let corner = inspector
        .and_then(|who| site.frames.inspectors.get(&**who))
        .copied()
        .unwrap_or(site.frames.origin);
    Some(corner.to_panel(x, y, panel.length_mm, panel.width_mm))
}

/// The place in the panel frame; a reject if it lies off the panel.
fn place(
    observation: &Observation,
    panel: &Panel,
    rows: &FileRows,
    site: &Site,
) -> Result<Option<Point>, Reject> {
    let Some((x, y)) = panel_place(observation, panel, rows, site) else {
        return Ok(None);
    };
    let inside_x = x.clamp(0.0, panel.length_mm);
    let inside_y = y.clamp(0.0, panel.width_mm);
    let slack = site.frames.edge_slack_mm;
    let off_x = (x - inside_x).abs() > slack;
    if !off_x && (y - inside_y).abs() <= slack {
        return Ok(Some(Point {
            x: inside_x,
            y: inside_y,
        }));
    }
    let (axis, value, side, extent) = if off_x {
        (0, x, "length", panel.length_mm)
    } else {
        (1, y, "width", panel.width_mm)
    };
    Err(Reject {
        file: rows.path.clone(),
        line: Some(u64::from(observation.line)),
        column: rows.place_headers[axis].clone(),
        value: observation
            .place()
            .map(|p| if off_x { p.0 } else { p.1 }.to_string()),
        lost: Lost::Row,
        why: format!(
            "outside the panel: {} mm along a {side} of {} mm, more than the slack of {} mm; wrong unit or origin? See [units] and [frames] in onus.toml",
            rounded(value),
            rounded(extent),
            rounded(slack)
        ),
    })
}

fn rounded(value: f64) -> f64 {
    (value * 1000.0).round() / 1000.0
}

/// Puts items in an order (old positions by new ones) without a second copy.
fn put_in_order<T>(items: &mut [T], order: &[u32]) {
    for new in 0..items.len().min(order.len()) {
        let mut old = order[new] as usize;
        // What stood there was moved on already.
        while old < new {
            old = order[old] as usize;
        }
        items.swap(new, old);
    }
}

impl Seen {
    /// By panel, then place, then the rest, so that the order of rows does not
    /// matter.
    fn sort(&mut self) {
        // Every field is compared, so equal ones are the same and their origins
        // may be told in any order: that of the files.
        let at = |place: Option<Point>| place.map(|p| (bits(p.x), bits(p.y)));
        let defects = &self.defects;
        let mut order: Vec<u32> = (0..u32::try_from(defects.len()).unwrap_or(u32::MAX)).collect();
        order.sort_unstable_by(|&first, &second| {
            let (a, b) = (&defects[first as usize], &defects[second as usize]);
            (
                a.panel,
                a.place.is_none(),
                at(a.place),
                a.name,
                a.severity.map(bits),
                a.area_mm2.map(bits),
            )
                .cmp(&(
                    b.panel,
                    b.place.is_none(),
                    at(b.place),
                    b.name,
                    b.severity.map(bits),
                    b.area_mm2.map(bits),
                ))
                .then_with(|| at(a.written).cmp(&at(b.written)))
                .then(first.cmp(&second))
        });
        self.origins = order
            .iter()
            .map(|&old| self.origins[old as usize])
            .collect();
        put_in_order(&mut self.defects, &order);
        self.readings.sort_unstable_by(|a, b| {
            (
                a.panel,
                a.place.is_none(),
                at(a.place),
                a.removed_um.map(bits),
                a.film_um.map(bits),
            )
                .cmp(&(
                    b.panel,
                    b.place.is_none(),
                    at(b.place),
                    b.removed_um.map(bits),
                    b.film_um.map(bits),
                ))
        });
    }

    /// Keeps the names that occur, in order.
    fn forget_names_not_seen(&mut self) {
        let mut used = vec![false; self.defect_names.len()];
        for defect in &self.defects {
            used[defect.name] = true;
        }
        let mut new_index = vec![0; used.len()];
        let mut next = 0;
        for (old, used) in used.iter().enumerate() {
            new_index[old] = next;
            next += usize::from(*used);
        }
        for defect in &mut self.defects {
            defect.name = new_index[defect.name];
        }
        let mut keep = used.iter();
        self.defect_names
            .retain(|_| keep.next().copied().unwrap_or(false));
    }
}

/// A number as a whole number in the same order.
fn bits(value: f64) -> i64 {
    let bits = value.to_bits() as i64;
    bits ^ (((bits >> 63) as u64) >> 1) as i64
}

fn tell_doubles(doubles: &BTreeMap<usize, usize>, files: &[FileRows]) -> Option<Warning> {
    let (first, _) = doubles.iter().next()?;
    let count: usize = doubles.values().sum();
    let whole = doubles.len();
    Some(Warning {
        code: WarningCode::DuplicateRecord,
        text: format!(
            "{count} {} in every detail in two files and {} once ({} among {}).",
            if count == 1 {
                "defect or reading stands"
            } else {
                "defects or readings stand"
            },
            if count == 1 { "counts" } else { "count" },
            files[*first].path.display(),
            if whole == 1 {
                "1 file".to_owned()
            } else {
                format!("{whole} files")
            }
        ),
        file: (whole == 1).then(|| files[*first].path.clone()),
    })
}

#[cfg(test)]
mod order_tests {
    use super::put_in_order;

    #[test]
    fn items_are_put_in_order_where_they_stand() {
        let mut items = ["c", "a", "d", "b", "e"];
        put_in_order(&mut items, &[1, 3, 0, 2, 4]);
        assert_eq!(items, ["a", "b", "c", "d", "e"]);
    }
}

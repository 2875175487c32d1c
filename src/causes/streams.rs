//! Streams: one machine (and head, if recorded) and one kind of defect.

use std::collections::BTreeMap;
use std::sync::Arc;

use super::scan::written_grain_mm;
use crate::records::{Panel, Point, Records};

/// A machine and a head.
pub(super) type Cell = (Option<Arc<str>>, Option<Arc<str>>);

/// The machine and head that sanded a panel.
pub(super) fn cell_of(panel: &Panel) -> Cell {
    (panel.machine.clone(), panel.head.clone())
}

/// A stream's panels and marks; first inspections only.
#[derive(Debug, Clone, PartialEq)]
pub struct StreamData {
    /// The machine, where recorded.
    pub machine: Option<Arc<str>>,
    /// The head, where recorded.
    pub head: Option<Arc<str>>,
    /// The kind of defect, index into `Records::defect_names`.
    pub name: usize,
    /// Inspected panels of that machine and head in time order, clean ones
    /// included; indices into `Records::panels`.
    pub panels: Vec<usize>,
    /// Its defects with a place, by panel.
    pub marks: Vec<Mark>,
    /// All its defects, also those without a place; indices into `Records::defects`.
    pub defects: Vec<usize>,
}

/// A defect with a place.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Mark {
    /// Position in [`StreamData::panels`].
    pub panel: usize,
    /// Where on the panel, panel frame, mm.
    pub place: Point,
    /// Step of the round numbers it was written in, mm; 0 if not round.
    pub grain_mm: f64,
    /// Index into `Records::defects`.
    pub defect: usize,
}

/// Sorts the records into streams, in order of machine, head and defect name.
///
/// A machine and a kind of defect that never met make no stream.
#[must_use]
pub fn streams(records: &Records) -> Vec<StreamData> {
    let mut cells: BTreeMap<Cell, Vec<usize>> = BTreeMap::new();
    let mut position = vec![None; records.panels.len()];
    for (i, panel) in records.panels.iter().enumerate().filter(|p| p.1.inspected) {
        let list = cells.entry(cell_of(panel)).or_default();
        position[i] = Some(list.len());
        list.push(i);
    }
    let mut found: BTreeMap<(Cell, usize), StreamData> = BTreeMap::new();
    for (index, defect) in records.defects.iter().enumerate() {
        let Some(at) = position[defect.panel] else {
            continue;
        };
        let cell = cell_of(&records.panels[defect.panel]);
        let stream = found
            .entry((cell.clone(), defect.name))
            .or_insert_with(|| StreamData {
                machine: cell.0.clone(),
                head: cell.1.clone(),
                name: defect.name,
                panels: cells.get(&cell).cloned().unwrap_or_default(),
                marks: Vec::new(),
                defects: Vec::new(),
            });
        stream.defects.push(index);
        if let Some(place) = defect.place {
            stream.marks.push(Mark {
                panel: at,
                place,
                grain_mm: written_grain_mm(defect.written.unwrap_or(place)),
                defect: index,
            });
        }
    }
    let mut streams: Vec<_> = found.into_values().collect();
    for stream in &mut streams {
        stream.marks.sort_by_key(|mark| (mark.panel, mark.defect));
    }
    let name = |s: &StreamData| &records.defect_names[s.name].name;
    streams.sort_by(|a, b| (&a.machine, &a.head, name(a)).cmp(&(&b.machine, &b.head, name(b))));
    streams
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::causes::made::{self, mark};

    fn panel(id: usize, machine: &str, inspected: bool) -> Panel {
        Panel {
            machine: Some(machine.into()),
            inspected,
            ..made::panel(id, 600.0, 400.0)
        }
    }

    #[test]
    fn clean_panels_count_and_measured_ones_do_not() {
        let at = |x, y| Some(Point { x, y });
        let records = Records {
            panels: vec![
                panel(1, "B", true),
                panel(2, "A", true),
                panel(3, "B", false),
                panel(4, "B", true),
            ],
            defects: vec![
                mark(0, 1, at(3.5, 7.0)),
                mark(1, 0, at(10.0, 20.0)),
                mark(2, 1, at(1.0, 1.0)),
                mark(3, 1, None),
            ],
            ..made::records(&[("scratch", None), ("burn", None)])
        };
        let streams = streams(&records);
        assert_eq!(streams.len(), 2);
        assert_eq!(streams[0].machine.as_deref(), Some("A"));
        assert_eq!(streams[0].panels, [1]);
        assert_eq!(streams[0].marks[0].grain_mm, 10.0);
        assert_eq!(streams[1].panels, [0, 3]);
        assert_eq!(streams[1].defects, [0, 3]);
        assert_eq!(streams[1].marks.len(), 1);
        assert_eq!(streams[1].marks[0].grain_mm, 0.0);
    }
}

//! Panels alike in all that came with them: these may stand in for each other.

use std::collections::BTreeMap;

use crate::records::{Panel, Records};

/// What such panels have in common.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub(crate) struct Alike<'a> {
    pub lot: Option<&'a str>,
    part: Option<&'a str>,
    supplier: Option<&'a str>,
    inspector: Option<&'a str>,
    /// Length and width to the millimetre: another size is another design even
    /// where part numbers are not recorded.
    size_mm: (i64, i64),
}

impl<'a> Alike<'a> {
    /// The panel's group.
    pub(crate) fn of(panel: &'a Panel) -> Self {
        let (length, width) = (panel.length_mm.round(), panel.width_mm.round());
        Self {
            lot: panel.lot.as_deref(),
            part: panel.part.as_deref(),
            supplier: panel.supplier.as_deref(),
            inspector: panel.inspector.as_deref(),
            size_mm: (length as i64, width as i64),
        }
    }
}

/// Panels alike in lot, part number, supplier, inspector and size, and within
/// these in time: days, joined until they hold panels that lay two ways.
/// Indices into `Records::panels`, in time order.
pub(crate) fn alike(records: &Records, panels: &[usize]) -> Vec<Vec<usize>> {
    let mut groups: BTreeMap<_, Vec<usize>> = BTreeMap::new();
    for &i in panels {
        let key = Alike::of(&records.panels[i]);
        groups.entry(key).or_default().push(i);
    }
    groups
        .into_values()
        .flat_map(|group| blocks(records, group))
        .collect()
}

/// Days of a group, each joined with the next until panels lay two ways.
fn blocks(records: &Records, group: Vec<usize>) -> Vec<Vec<usize>> {
    let panel = |i: usize| &records.panels[i];
    let lay = |p: &Panel| (p.lay, p.lay_x_mm.to_bits(), p.lay_y_mm.to_bits());
    let day = |p: &Panel| p.sanded_at.map(|at| at.local.date());
    let mut out: Vec<Vec<usize>> = Vec::new();
    let mut mixed = true;
    for i in group {
        match out.last_mut() {
            Some(block) => {
                let last = block[block.len() - 1];
                if mixed && day(panel(i)) != day(panel(last)) {
                    out.push(vec![i]);
                    mixed = false;
                } else {
                    mixed |= lay(panel(i)) != lay(panel(block[0]));
                    block.push(i);
                }
            }
            None => {
                out.push(vec![i]);
                mixed = false;
            }
        }
    }
    // what is left over lay one way: it joins the block before
    if !mixed
        && out.len() > 1
        && let Some(rest) = out.pop()
        && let Some(last) = out.last_mut()
    {
        last.extend(rest);
    }
    out
}

//! Putting the joined facts and the observations together into [`Records`].

use std::collections::{BTreeMap, BTreeSet, HashMap, HashSet};
use std::sync::Arc;

use jiff::Timestamp;

use super::header::Slot;
use super::join::{Joined, join};
use super::observed::{self, Seen};
use super::parts::{Fact, Facts, FileRows, PlannedRun};
use super::read::Sorted;
use super::read::rejected::{
    COPY, disputed, many_lost, reject_copies, reject_sizeless, reject_with_panel,
};
use super::rows::Rules;
use super::traps::axes;
use super::{
    Column, ColumnUse, Defect, Departure, FactorValue, Grit, InputCounts, Lay, Lost, Moment, Panel,
    Reading, Records, Reject, Warning, WarningCode, traps,
};
use crate::site::Site;

/// Puts everything together.
///
/// Dates after `now`, where it is given, are told.
pub(super) fn assemble(sorted: Sorted, rules: &Rules<'_>, now: Option<Timestamp>) -> Records {
    let site = rules.site;
    let Sorted {
        mut files,
        mut rejects,
        mut notes,
        mut warnings,
        skipped,
        ..
    } = sorted;
    for file in &files {
        rejects.extend(file.rejects.iter().cloned());
        for (note, times) in &file.notes {
            notes.add(note.clone(), *times, &file.path);
        }
    }
    let mut joined = join(&mut files, Facts::COLUMNS.len() + site.factors.len());
    let mut people = inspections(&files, &joined, &mut rejects, &mut warnings);

    let mut texts = Texts::default();
    let mut panels: Vec<(usize, Panel)> = Vec::with_capacity(joined.ids.len());
    let mut lost: HashSet<usize> = HashSet::new();
    let mut sizeless: HashSet<usize> = HashSet::new();
    for (index, id) in joined.ids.iter().enumerate() {
        if let Some(disputes) = joined.disputes.get(&index).filter(|d| !d.is_empty()) {
            lost.insert(index);
            rejects.extend(disputes.iter().map(|d| disputed(id, d, &files, site)));
            continue;
        }
        let facts = FactsOf {
            joined: &joined,
            panel: index,
        };
        let Some((length_mm, width_mm)) = facts
            .number(Column::LengthMm)
            .zip(facts.number(Column::WidthMm))
        else {
            lost.insert(index);
            sizeless.insert(index);
            continue;
        };
        let mut panel = panel(id, &facts, site, &mut texts);
        panel.length_mm = length_mm;
        panel.width_mm = width_mm;
        if let Some(person) = people.remove(&index) {
            panel.inspector = person.inspector.map(|who| texts.share(&who));
            panel.inspected_at = person.at;
            panel.inspect_lay = person.lay;
            panel.inspected = person.inspected;
        }
        panels.push((index, panel));
    }
    joined.forget_facts();
    reject_sizeless(&files, &joined, &sizeless, &mut rejects);
    reject_with_panel(&files, &joined, &mut rejects);
    panels.sort_by(|(_, a), (_, b)| {
        (a.sanded_at.map(|at| at.instant), &a.id).cmp(&(b.sanded_at.map(|at| at.instant), &b.id))
    });
    let mut place_of: Vec<Option<usize>> = vec![None; joined.ids.len()];
    for (new, (old, _)) in panels.iter().enumerate() {
        place_of[*old] = Some(new);
    }
    let mut panels: Vec<Panel> = panels.into_iter().map(|(_, panel)| panel).collect();

    warnings.extend(traps::one_clock(&mut panels, site));
    let doubted = axes::doubted(&files, &joined.panel_of, &place_of, &panels, site);
    let Seen {
        mut defects,
        mut origins,
        mut readings,
        defect_names,
        rejects: outside,
        without_panel,
        lost: lost_rows,
        warnings: told,
    } = observed::gather(
        &mut files,
        &joined.panel_of,
        &place_of,
        &panels,
        site,
        &mut notes,
    );
    rejects.extend(outside);
    let outside_defects: HashSet<String> = lost_rows
        .iter()
        .filter(|(_, defect)| *defect)
        .map(|(panel, _)| panels[*panel].id.clone())
        .collect();
    let read = files
        .iter()
        .map(|f| f.rows.len() + f.rejects.iter().filter(|r| r.lost == Lost::Row).count())
        .sum();
    let copies = if site.read.copies_are_real {
        Vec::new()
    } else {
        warnings.extend(traps::once(&mut defects, &mut origins));
        traps::written_again(&panels, &defects)
    };
    warnings.extend(traps::told_again(&copies, &panels));
    reject_copies(
        &copies,
        &panels,
        &files,
        &joined,
        &mut place_of,
        &mut rejects,
    );
    rejects.sort_by(|a, b| {
        (&a.file, a.line, &a.column, a.lost, &a.why)
            .cmp(&(&b.file, b.line, &b.column, b.lost, &b.why))
    });
    let is_copy = |panel: usize| {
        copies
            .binary_search_by_key(&panel, |(copy, _)| *copy)
            .is_ok()
    };
    // Rows off a copy are counted already.
    let counted = lost_rows
        .iter()
        .filter(|(panel, _)| is_copy(*panel))
        .count();
    let rows = rows_by_panel(&files, &joined, &place_of, panels.len());
    let emptied = forget_emptied(&mut panels, &mut defects, &mut readings, &rows, &lost_rows);
    let mut hit = vec![false; panels.len()];
    for defect in &defects {
        hit[defect.panel] = true;
    }
    not_clean(&mut panels, &hit, &files, &outside_defects);
    let mut input = InputCounts {
        files: files.len(),
        skipped_files: skipped,
        reinspections: files.iter().map(|f| f.reinspections).sum(),
        rejected_rows: rejects.iter().filter(|r| r.lost == Lost::Row).count(),
        rows_lost_with_panels: files
            .iter()
            .zip(&joined.panel_of)
            .flat_map(|(file, of)| file.rows.iter().map(|(part, _)| of[*part as usize]))
            .filter(|panel| place_of[*panel].is_none())
            .count()
            .saturating_sub(counted),
        rejected_panels: lost.len() + emptied + vanished(&files, &joined),
        lost_defects: without_panel
            + lost_rows.iter().filter(|(_, defect)| *defect).count()
            + files.iter().map(|f| f.lost_defects.len()).sum::<usize>(),
        names_defects: files.iter().any(|f| f.has(Column::Defect)),
        ..InputCounts::default()
    };
    input.count(&panels, &defects, &readings);
    let copied = rejects.iter().filter(|r| r.why.contains(COPY)).count();
    warnings.extend(many_lost(&input, read, (copied, copies.len()), &rejects));
    warnings.extend(doubted.warnings);
    warnings.extend(notes.warnings());
    warnings.extend(told);
    let without_place = defects.iter().filter(|d| d.written.is_none()).count();
    if without_place > 0 {
        warnings.push(Warning {
            code: WarningCode::DefectWithoutPlace,
            text: format!(
                "{without_place} of {} defects have no place: they count in rates but not in the search for repeats.",
                defects.len()
            ),
            file: None,
        });
    }
    let mut records = Records {
        panels,
        defects,
        origins,
        sources: files.iter().map(|f| f.path.clone()).collect(),
        readings,
        defect_names,
        factor_names: site.factors.iter().map(|f| f.name.clone()).collect(),
        rejects,
        warnings,
        input,
        held: doubted.held,
        columns: columns_used(&files, site),
        unrun: unrun(&files),
        departures: departures(&joined, site),
    };
    drop(files);
    let mirrored = traps::mirrored::doubted(&records);
    records.warnings.extend(mirrored.warnings);
    records.held.extend(mirrored.held);
    let traps = traps::find(&records, site);
    records.warnings.extend(traps);
    records.warnings.extend(traps::dates(&records, site, now));
    records
        .warnings
        .sort_by(|a, b| (a.code, &a.file, &a.text).cmp(&(b.code, &b.file, &b.text)));
    records
}

/// How many rows were kept about each panel.
fn rows_by_panel(
    files: &[FileRows],
    joined: &Joined,
    place_of: &[Option<usize>],
    panels: usize,
) -> Vec<usize> {
    let mut rows = vec![0; panels];
    for (file, of) in files.iter().zip(&joined.panel_of) {
        for (part, _) in &file.rows {
            if let Some(panel) = place_of[of[*part as usize]] {
                rows[panel] += 1;
            }
        }
    }
    rows
}

/// Panels of which no row was good enough to be kept.
fn vanished(files: &[FileRows], joined: &Joined) -> usize {
    let lost: BTreeSet<&str> = files
        .iter()
        .flat_map(|f| f.lost_ids.iter().map(String::as_str))
        .collect();
    if lost.is_empty() {
        return 0;
    }
    let known: HashSet<&str> = joined.ids.iter().map(|id| &**id).collect();
    lost.iter().filter(|id| !known.contains(**id)).count()
}

/// Panels all of whose rows were lost are not there; how many they were.
fn forget_emptied(
    panels: &mut Vec<Panel>,
    defects: &mut Vec<Defect>,
    readings: &mut Vec<Reading>,
    rows: &[usize],
    lost_rows: &[(usize, bool)],
) -> usize {
    let mut left = rows.to_vec();
    for (panel, _) in lost_rows {
        left[*panel] = left[*panel].saturating_sub(1);
    }
    let mut new_index = vec![0; panels.len()];
    let mut next = 0;
    for (panel, left) in left.iter().enumerate() {
        new_index[panel] = next;
        next += usize::from(*left > 0);
    }
    let emptied = panels.len() - next;
    let mut keep = left.iter();
    panels.retain(|_| keep.next().is_some_and(|left| *left > 0));
    defects.retain(|defect| left[defect.panel] > 0);
    readings.retain(|reading| left[reading.panel] > 0);
    for defect in defects {
        defect.panel = new_index[defect.panel];
    }
    for reading in readings {
        reading.panel = new_index[reading.panel];
    }
    emptied
}

/// A panel whose only defects were lost is not clean: it is left out of rates.
fn not_clean(panels: &mut [Panel], hit: &[bool], files: &[FileRows], outside: &HashSet<String>) {
    let lost: HashSet<&str> = files
        .iter()
        .flat_map(|f| f.lost_defects.iter().map(String::as_str))
        .chain(outside.iter().map(String::as_str))
        .collect();
    if lost.is_empty() {
        return;
    }
    for (panel, hit) in panels.iter_mut().zip(hit) {
        if !hit && lost.contains(panel.id.as_str()) {
            panel.inspected = false;
        }
    }
}

/// How the columns were read, over all files.
fn columns_used(files: &[FileRows], site: &Site) -> Vec<ColumnUse> {
    let mut used: BTreeMap<Slot, (BTreeSet<&str>, BTreeSet<String>, usize)> = BTreeMap::new();
    for (slot, header, conversion) in files.iter().flat_map(|f| &f.columns) {
        let (headers, units, count) = used.entry(*slot).or_default();
        headers.insert(header.trim());
        let unit = match (conversion, slot) {
            (Some(conversion), _) => conversion.to_string(),
            (None, Slot::Column(column)) => column.unit().to_owned(),
            (None, Slot::Factor(_)) => String::new(),
        };
        units.insert(unit);
        *count += 1;
    }
    used.into_iter()
        .map(|(slot, (headers, units, files))| ColumnUse {
            column: match slot {
                Slot::Column(column) => column.name().to_owned(),
                Slot::Factor(index) => site
                    .factors
                    .get(index)
                    .map_or_else(String::new, |f| f.name.clone()),
            },
            headers: headers.into_iter().map(str::to_owned).collect(),
            units: units.into_iter().filter(|u| !u.is_empty()).collect(),
            files,
        })
        .collect()
}

/// The facts of one panel by column.
struct FactsOf<'a> {
    joined: &'a Joined,
    panel: usize,
}

impl FactsOf<'_> {
    fn get(&self, column: Column) -> Option<&Fact> {
        let at = Facts::COLUMNS.iter().position(|c| *c == column)?;
        self.joined.fact(self.panel, at)
    }

    fn number(&self, column: Column) -> Option<f64> {
        match self.get(column) {
            Some(Fact::Number(value)) => Some(*value),
            _ => None,
        }
    }

    fn text(&self, column: Column) -> Option<&Arc<str>> {
        match self.get(column) {
            Some(Fact::Text(text)) => Some(text),
            _ => None,
        }
    }

    fn time(&self, column: Column) -> Option<Moment> {
        match self.get(column) {
            Some(Fact::Time(moment)) => Some(*moment),
            _ => None,
        }
    }
}

/// One copy of every text.
#[derive(Default)]
struct Texts(HashMap<Arc<str>, Arc<str>>);

impl Texts {
    fn share(&mut self, text: &Arc<str>) -> Arc<str> {
        self.0
            .entry(text.clone())
            .or_insert_with(|| text.clone())
            .clone()
    }
}

fn panel(id: &Arc<str>, facts: &FactsOf<'_>, site: &Site, texts: &mut Texts) -> Panel {
    let mut text = |column| facts.text(column).map(|t| texts.share(t));
    let lay = match facts.number(Column::LayDeg) {
        Some(90.0) => Lay::Deg90,
        Some(180.0) => Lay::Deg180,
        Some(270.0) => Lay::Deg270,
        _ => Lay::Deg0,
    };
    let mut panel = Panel {
        id: id.to_string(),
        sanded_at: facts.time(Column::SandedAt),
        machine: text(Column::Machine),
        head: text(Column::Head),
        fixture: text(Column::Fixture),
        part: text(Column::Part),
        supplier: text(Column::Supplier),
        lot: text(Column::Lot),
        lay,
        lay_x_mm: facts.number(Column::LayXMm).unwrap_or(0.0),
        lay_y_mm: facts.number(Column::LayYMm).unwrap_or(0.0),
        lay_recorded: [Column::LayDeg, Column::LayXMm, Column::LayYMm]
            .into_iter()
            .any(|c| facts.get(c).is_some()),
        recipe: text(Column::Recipe),
        feed_mm_s: facts.number(Column::FeedMmS),
        passes: facts.number(Column::Passes),
        force_n: facts.number(Column::ForceN),
        grit: text(Column::Grit).map(|label| Grit::parse(&label, site.grit_scale)),
        abrasive_age: facts.number(Column::AbrasiveAge),
        abrasive_id: text(Column::AbrasiveId),
        planned: planned(facts),
        ..Panel::default()
    };
    panel.factors = (0..site.factors.len())
        .map(|factor| {
            match facts
                .joined
                .fact(facts.panel, Facts::COLUMNS.len() + factor)
            {
                Some(Fact::Number(value)) => Some(FactorValue::Number(*value)),
                Some(Fact::Text(text)) => Some(FactorValue::Text(texts.share(text))),
                _ => None,
            }
        })
        .collect();
    panel
}

/// Runs that no panel was named for; a sheet read twice over tells each once.
fn unrun(files: &[FileRows]) -> Vec<PlannedRun> {
    let all: BTreeSet<&PlannedRun> = files.iter().flat_map(|f| &f.unrun).collect();
    all.into_iter().cloned().collect()
}

fn departures(joined: &Joined, site: &Site) -> Vec<Departure> {
    let mut all: Vec<Departure> = (joined.departures.iter())
        .map(|change| Departure {
            panel: joined.ids[change.panel].to_string(),
            column: Facts::name(change.fact, site).to_owned(),
            planned: change.planned.written(),
            done: change.done.written(),
        })
        .collect();
    all.sort_by(|a, b| (&a.panel, &a.column).cmp(&(&b.panel, &b.column)));
    all
}

/// The run of a plan that a panel was.
fn planned(facts: &FactsOf<'_>) -> Option<PlannedRun> {
    Some(PlannedRun {
        plan: facts.text(Column::Plan)?.clone(),
        block: facts.number(Column::PlanBlock).map(|n| n as u32),
        run: facts.number(Column::PlanRun)? as u32,
        change: facts.text(Column::PlanChange).cloned(),
    })
}

/// The first inspection of a panel.
#[derive(Debug, Default)]
struct Inspection {
    inspector: Option<Arc<str>>,
    at: Option<Moment>,
    lay: Option<Lay>,
    inspected: bool,
}

/// The first inspections by panel. Where a panel's rows name two inspectors or
/// two lays for it, neither is kept.
fn inspections(
    files: &[FileRows],
    joined: &Joined,
    rejects: &mut Vec<Reject>,
    warnings: &mut Vec<Warning>,
) -> HashMap<usize, Inspection> {
    let mut all: HashMap<usize, Inspection> = HashMap::new();
    let mut doubted: BTreeMap<(usize, Column), bool> = BTreeMap::new();
    for (file, rows) in files.iter().enumerate() {
        for (part, panel) in rows.panels.iter().zip(&joined.panel_of[file]) {
            for one in part.inspections.iter().filter(|i| i.number == 1) {
                let known = all.entry(*panel).or_default();
                known.inspected |= one.inspected;
                if let Some(at) = one.at {
                    known.at = Some(known.at.map_or(at, |k| k.min(at)));
                }
                let mut differ = |column: Column, line: u64, value: String| {
                    doubted.insert((*panel, column), true);
                    rejects.push(Reject {
                        file: rows.path.clone(),
                        line: Some(line),
                        column: Some(column.name().to_owned()),
                        value: Some(value),
                        lost: Lost::Value,
                        why: format!(
                            "the first inspection of panel {} has another {} elsewhere, so neither is kept; later inspections are numbered in the column inspection",
                            part.id,
                            column.name()
                        ),
                    });
                };
                for (who, line) in &one.inspectors {
                    match &known.inspector {
                        None => known.inspector = Some(who.clone()),
                        Some(other) if other == who => {}
                        Some(_) => differ(Column::Inspector, *line, who.to_string()),
                    }
                }
                for (lay, line) in &one.lays {
                    match known.lay {
                        None => known.lay = Some(*lay),
                        Some(other) if other == *lay => {}
                        Some(_) => {
                            differ(Column::InspectLayDeg, *line, lay.degrees().to_string());
                        }
                    }
                }
            }
        }
    }
    for (panel, column) in doubted.keys() {
        if let Some(inspection) = all.get_mut(panel) {
            match column {
                Column::Inspector => inspection.inspector = None,
                _ => inspection.lay = None,
            }
        }
    }
    if !doubted.is_empty() {
        let panels: HashSet<usize> = doubted.keys().map(|(panel, _)| *panel).collect();
        warnings.push(Warning {
            code: WarningCode::InspectionDisagrees,
            text: format!(
                "{} {} more than one inspector or lay for the first inspection; these values were left out. If they were inspected twice, each mark may stand twice: number the later ones in the column inspection.",
                panels.len(),
                if panels.len() == 1 { "panel has" } else { "panels have" }
            ),
            file: None,
        });
    }
    all
}

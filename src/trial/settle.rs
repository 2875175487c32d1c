//! From open questions of a report to the smallest sheet that answers them.

use std::path::{Path, PathBuf};

use rand::SeedableRng;
use rand_chacha::ChaCha8Rng;
use serde::Serialize;
use serde_json::Value as Json;

use super::contrast::{Given, MOST_IN_STRETCHES, MOST_SINGLE, deal, panels};
use super::factor::{Factor, Settings, Value, within_limits};
use super::needed::{Goal, OnSheet};
use super::plan::{Note, Plan, Purpose, Run};
use super::{Lots, TrialError};
use crate::columns::Column;
use crate::site::{Site, nearest};

/// What is asked.
#[derive(Debug, Clone, PartialEq)]
pub struct SettleRequest {
    /// Id of the plan.
    pub name: String,
    /// A finding's number, a defect, or `all`.
    pub settle: String,
    /// The two settings of columns whose settings the report does not name.
    pub factors: Vec<Factor>,
    /// Lots; none given: three, or four where something is changed in stretches.
    pub lots: Option<Lots>,
    /// Level of the test; none: the report's.
    pub alpha: Option<f64>,
    /// Chance to tell.
    pub power: f64,
    /// For what has no place: the rate without the accused over that with it.
    pub ratio: f64,
    /// Seed of the order.
    pub seed: u64,
}

/// A contrast of the sheet and the questions it settles.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Settles {
    /// The column that is changed.
    pub column: String,
    /// Its two levels.
    pub levels: Vec<String>,
    /// How it is given.
    pub given: Given,
    /// Findings or streams, with the rivals that it makes meet.
    pub questions: Vec<Question>,
    /// What is to be told, for the hardest of the questions.
    pub goal: Goal,
    /// Panels that this contrast alone needs.
    pub panels: usize,
    /// The chance to tell it by the whole sheet.
    pub power: f64,
}

/// An open question.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Question {
    /// The finding, or machine and defect of a stream.
    pub id: String,
    /// The defect.
    pub defect: String,
    /// Its machine and head, where recorded: the sheet is run there.
    pub machine: Option<String>,
    /// See `machine`.
    pub head: Option<String>,
    /// The rivals that meet.
    pub rivals: Vec<String>,
}

/// A contrast that a question needs.
struct Wanted {
    column: String,
    levels: Vec<String>,
    given: Given,
    question: Question,
    share: f64,
    without: f64,
    of_place: bool,
}

/// Takes whatever is open.
pub const ALL: &str = "all";

/// Least and most share of panels with a mark that a sheet is worked out for.
const SHARES: (f64, f64) = (0.005, 0.98);

/// What a report left open: its `findings.json`.
#[derive(Debug, Clone, PartialEq)]
pub struct Open {
    json: Json,
}

impl Open {
    /// Reads it from a report's folder.
    ///
    /// # Errors
    ///
    /// [`TrialError::NotAReport`].
    pub fn read(report: &Path) -> Result<Self, TrialError> {
        let path = report.join("findings.json");
        let text = std::fs::read(&path).map_err(|error| TrialError::NotAReport {
            path: path.clone(),
            why: error.to_string(),
        })?;
        Self::parse(&text, path)
    }

    /// Parses the text of a `findings.json`; `path` is named where it can't be read.
    ///
    /// # Errors
    ///
    /// [`TrialError::NotAReport`].
    pub fn parse(text: &[u8], path: PathBuf) -> Result<Self, TrialError> {
        let not = |why: String| TrialError::NotAReport { path, why };
        match serde_json::from_slice::<Json>(text) {
            Ok(json) if json["schema"] == 1 => Ok(Self { json }),
            Ok(_) => Err(not("its schema is not 1".to_owned())),
            Err(error) => Err(not(error.to_string())),
        }
    }

    /// Whether anything is open about a finding or stream.
    #[must_use]
    pub fn asks(&self) -> bool {
        let of = |key: &str| self.json[key].as_array().into_iter().flatten();
        of("findings").chain(of("streams")).any(is_open)
    }

    /// Factors of the recipe that could not be told apart or never changed.
    #[must_use]
    pub fn factors(&self) -> Vec<String> {
        let groups = self.json["removal"]["inseparable"].as_array();
        let names = groups.into_iter().flatten().flat_map(strings);
        let mut out: Vec<String> = names.map(str::to_owned).collect();
        out.sort_unstable();
        out.dedup();
        out
    }

    /// The scatter between panels that the recipe's model found, SD of ln removal.
    #[must_use]
    pub fn scatter(&self) -> Option<f64> {
        let found = self.json["removal"]["diagnostics"]["panel_sd"].as_f64();
        found.filter(|sd| *sd > 0.0)
    }
}

/// Settings of columns, by name: those of the request first.
fn settings_of(contrast: &mut Settles, factors: &[Factor]) -> bool {
    let given = factors.iter().find(|f| f.name == contrast.column);
    match given.map(|f| &f.settings) {
        Some(Settings::Between(low, high)) => {
            contrast.levels = [low, high].map(f64::to_string).to_vec()
        }
        Some(Settings::Named(levels)) if levels.len() == 2 => contrast.levels.clone_from(levels),
        _ => {}
    }
    contrast.levels.len() == 2
}

/// Plans the sheet for the open questions of a report.
///
/// # Errors
///
/// [`TrialError`] if the report has no such finding, or nothing is open that panels
/// could settle.
pub fn settle(request: &SettleRequest, open: &Open, site: &Site) -> Result<Plan, TrialError> {
    let json = &open.json;
    let alpha = request
        .alpha
        .or(json["levels"]["alpha"].as_f64())
        .unwrap_or(0.01);
    let mut notes = Vec::new();
    let wanted = wanted(json, request, &mut notes)?;
    let mut contrasts: Vec<Settles> = Vec::new();
    for one in wanted {
        let goal = Goal {
            share: one.share,
            without: one.without,
            alpha,
            power: request.power,
            of_place: one.of_place,
        };
        match contrasts.iter_mut().find(|c| c.column == one.column) {
            Some(known) => {
                known.questions.push(one.question);
                // The question with the smaller difference is the harder one.
                if goal.share - goal.without < known.goal.share - known.goal.without {
                    known.goal = goal;
                }
            }
            None => contrasts.push(Settles {
                column: one.column,
                levels: one.levels,
                given: one.given,
                questions: vec![one.question],
                goal,
                panels: 0,
                power: 0.0,
            }),
        }
    }
    one_sheet(&mut contrasts, &mut notes);
    let mut columns = Vec::new();
    contrasts.retain_mut(|contrast| {
        let known = settings_of(contrast, &request.factors);
        if !known {
            columns.push(contrast.column.clone());
            notes.extend(not_settled(contrast));
        }
        known
    });
    // Of all that is open, what can be planned is.
    if contrasts.is_empty() || (request.settle != ALL && !columns.is_empty()) {
        return Err(TrialError::LevelsMissing { columns });
    }
    let used = |f: &&Factor| contrasts.iter().any(|c| c.column == f.name);
    if let Some(idle) = request.factors.iter().find(|f| !used(f)) {
        let near = nearest(&idle.name, contrasts.iter().map(|c| c.column.as_str()));
        return Err(TrialError::UnknownFactor {
            name: idle.name.clone(),
            near: near.map(str::to_owned),
        });
    }
    for contrast in &contrasts {
        within_limits(site, &contrast.column, &contrast.levels)?;
    }
    let cells = cells(&contrasts);
    let tests = Tests::of(json, &contrasts, cells.len());
    for contrast in &mut contrasts {
        contrast.goal.alpha /= tests.beside(contrast) as f64;
    }
    let incoming = contrasts
        .iter()
        .any(|c| INCOMING.contains(&c.column.as_str()));
    let (lots, size) = match &request.lots {
        // Then the blocks are no lots.
        Some(Lots::Named(names)) if incoming => {
            sized(&mut contrasts, Lots::Count(names.len()), request.seed)?
        }
        Some(lots) => sized(&mut contrasts, lots.clone(), request.seed)?,
        None => usual(&mut contrasts, request.seed)?,
    };
    let mut columns: Vec<String> = Vec::new();
    columns.extend(lots.is_named().then(|| Column::Lot.name().to_owned()));
    let in_cell = [Column::Machine, Column::Head].map(|column| {
        let named = cells.iter().any(|c| c.named(column).is_some());
        named.then_some(column)
    });
    columns.extend(in_cell.iter().flatten().map(|c| c.name().to_owned()));
    columns.extend(contrasts.iter().map(|c| c.column.clone()));
    let given: Vec<Given> = contrasts.iter().map(|c| c.given).collect();
    let mut rng = ChaCha8Rng::seed_from_u64(request.seed);
    let mut runs: Vec<Run> = Vec::new();
    for (at, cell) in cells.iter().enumerate() {
        for panel in deal(&given, lots.count(), size, &mut rng) {
            let name = |column: &Column| cell.named(*column).map(Value::Text);
            let levels = contrasts.iter().zip(&panel.levels);
            runs.push(Run {
                run: runs.len() + 1,
                block: at * lots.count() + panel.lot + 1,
                centre: false,
                coded: Vec::new(),
                settings: (lots.name(panel.lot).into_iter().map(Some))
                    .chain(in_cell.iter().flatten().map(name))
                    .chain(levels.map(|(c, l)| Some(c.setting(*l))))
                    .collect(),
            });
        }
    }
    Ok(Plan {
        plan: request.name.clone(),
        seed: request.seed,
        columns,
        purpose: Purpose::Settle(contrasts),
        runs,
        notes,
    })
}

/// A machine and head on which the sheet is run.
#[derive(Debug, Clone, PartialEq, Eq)]
struct Cell {
    machine: Option<String>,
    head: Option<String>,
}

impl Cell {
    fn named(&self, column: Column) -> Option<String> {
        match column {
            Column::Machine => self.machine.clone(),
            Column::Head => self.head.clone(),
            _ => None,
        }
    }
}

/// Where the questions arose; what a contrast changes is left to it.
fn cells(contrasts: &[Settles]) -> Vec<Cell> {
    let changes = |column: Column| contrasts.iter().any(|c| c.column == column.name());
    let (machine, head) = (changes(Column::Machine), changes(Column::Head));
    let mut out: Vec<Cell> = Vec::new();
    for question in contrasts.iter().flat_map(|c| &c.questions) {
        let cell = Cell {
            machine: question.machine.clone().filter(|_| !machine),
            head: question.head.clone().filter(|_| !machine && !head),
        };
        if !out.contains(&cell) {
            out.push(cell);
        }
    }
    out
}

/// Panels of each contrast and of all, on so many lots.
fn sized(contrasts: &mut [Settles], lots: Lots, seed: u64) -> Result<(Lots, usize), TrialError> {
    if lots.count() == 0 {
        return Err(TrialError::NoPanels);
    }
    let given: Vec<Given> = contrasts.iter().map(|c| c.given).collect();
    let lays: Vec<usize> = (0..contrasts.len())
        .filter(|at| contrasts[*at].is_of_lay())
        .collect();
    let on_sheet = |at: usize| OnSheet {
        given: &given,
        at,
        beside: lays
            .iter()
            .copied()
            .find(|other| lays.contains(&at) && *other != at),
        lots: lots.count(),
        seed,
    };
    let mut size = 1;
    for (at, contrast) in contrasts.iter_mut().enumerate() {
        let own = on_sheet(at).size_needed(&contrast.goal)?;
        contrast.panels = panels(&given, lots.count(), own);
        size = size.max(own);
    }
    for (at, contrast) in contrasts.iter_mut().enumerate() {
        contrast.power = on_sheet(at).chance(size, &contrast.goal);
    }
    Ok((lots, size))
}

/// Lots where none are asked for, and the most: few stretches can't be told from
/// chance at a small level however many panels they hold.
const USUAL_LOTS: usize = 3;
const USUAL_LOTS_OF_STRETCHES: usize = 4;
const MOST_LOTS: usize = 8;

fn usual(contrasts: &mut [Settles], seed: u64) -> Result<(Lots, usize), TrialError> {
    let stretched = contrasts.iter().any(|c| c.given == Given::InStretches);
    let mut lots = if stretched {
        USUAL_LOTS_OF_STRETCHES
    } else {
        USUAL_LOTS
    };
    loop {
        match sized(contrasts, Lots::Count(lots), seed) {
            Err(TrialError::TooManyPanels { .. }) if lots < MOST_LOTS => lots += 1,
            done => return done,
        }
    }
}

/// Leaves out what one sheet can't hold, and tells it.
fn one_sheet(contrasts: &mut Vec<Settles>, notes: &mut Vec<Note>) {
    let (mut single, mut stretched) = (0, 0);
    contrasts.retain(|contrast| {
        let (count, most) = match contrast.given {
            Given::Singly => (&mut single, MOST_SINGLE),
            Given::InStretches => (&mut stretched, MOST_IN_STRETCHES),
        };
        *count += 1;
        if *count > most {
            notes.extend(not_settled(contrast));
        }
        *count <= most
    });
}

/// How many tests the reading of a sheet makes, for which it adjusts.
struct Tests {
    places: usize,
    rates: usize,
}

impl Tests {
    fn of(json: &Json, contrasts: &[Settles], cells: usize) -> Self {
        let all = |key: &str| json[key].as_array().into_iter().flatten();
        let mut defects: Vec<&str> = all("streams")
            .filter_map(|s| s["defect"].as_str())
            .collect();
        defects.sort_unstable();
        defects.dedup();
        let rates = contrasts.iter().filter(|c| !c.is_of_lay()).count();
        Self {
            places: all("findings").filter(|f| has_place(f)).count(),
            rates: rates * defects.len() * cells,
        }
    }

    fn beside(&self, contrast: &Settles) -> usize {
        if contrast.is_of_lay() {
            self.places.max(1)
        } else {
            self.rates.max(1)
        }
    }
}

impl Settles {
    fn is_of_lay(&self) -> bool {
        by_lay(&self.column)
    }

    /// A level as a run has it.
    fn setting(&self, level: usize) -> Value {
        let text = &self.levels[level];
        let is_number = Column::from_name(&self.column)
            .is_some_and(|c| c.possible().is_some() || by_lay(&self.column));
        let number = text.parse().ok().filter(|_| is_number);
        number.map_or_else(|| Value::Text(text.clone()), Value::Number)
    }
}

fn is_open(item: &Json) -> bool {
    item["open"].as_array().is_some_and(|o| !o.is_empty())
}

fn by_lay(column: &str) -> bool {
    [Column::LayDeg, Column::InspectLayDeg]
        .iter()
        .any(|c| c.name() == column)
}

fn has_place(item: &Json) -> bool {
    !item["x_mm"].is_null() || !item["y_mm"].is_null()
}

fn not_settled(contrast: &Settles) -> impl Iterator<Item = Note> {
    contrast.questions.iter().map(|q| Note::NotByPanels {
        id: q.id.clone(),
        rival: contrast.column.clone(),
    })
}

/// All contrasts that the chosen findings and streams need.
fn wanted(
    json: &Json,
    request: &SettleRequest,
    notes: &mut Vec<Note>,
) -> Result<Vec<Wanted>, TrialError> {
    let empty = Vec::new();
    let findings = json["findings"].as_array().unwrap_or(&empty);
    let streams = json["streams"].as_array().unwrap_or(&empty);
    let id_of = |item: &Json| item["id"].as_str().unwrap_or_default().to_owned();
    let all = request.settle == ALL;
    let asked = |item: &Json| {
        id_of(item).eq_ignore_ascii_case(&request.settle)
            || item["defect"] == request.settle.as_str()
    };
    // A stream's open question is its finding's, where there is one.
    let told = |stream: &Json| {
        let same = |f: &&Json| f["machine"] == stream["machine"] && f["defect"] == stream["defect"];
        findings.iter().filter(same).any(is_open)
    };
    let chosen: Vec<&Json> = (findings.iter())
        .chain(streams.iter().filter(|stream| !told(stream)))
        .filter(|item| all || asked(item))
        .collect();
    if chosen.is_empty() && !all {
        return Err(TrialError::UnknownFinding {
            id: request.settle.clone(),
            known: findings.iter().map(id_of).collect(),
        });
    }
    let mut out: Vec<Wanted> = Vec::new();
    for item in chosen.into_iter().filter(|item| is_open(item)) {
        of_item(item, request, &mut out, notes);
    }
    if out.is_empty() {
        return Err(TrialError::NothingToSettle {
            id: request.settle.clone(),
            rivals: notes.iter().filter_map(rival_of).collect(),
        });
    }
    Ok(out)
}

fn rival_of(note: &Note) -> Option<String> {
    match note {
        Note::NotByPanels { rival, .. } => Some(rival.clone()),
        _ => None,
    }
}

/// The contrasts that one finding or stream needs.
fn of_item(item: &Json, request: &SettleRequest, out: &mut Vec<Wanted>, notes: &mut Vec<Note>) {
    let text = |key: &str| item[key].as_str().unwrap_or_default();
    let number = |key: &str| item[key].as_f64();
    let owned_text = |key: &str| item[key].as_str().map(str::to_owned);
    let machine = text("machine");
    let id = match text("id") {
        "" if machine.is_empty() => text("defect").to_owned(),
        "" => format!("{machine}, {}", text("defect")),
        id => id.to_owned(),
    };
    let panels = number("panels_exposed").or(number("panels")).unwrap_or(1.0);
    let share = number("hit_rate")
        .unwrap_or(number("panels_hit").unwrap_or(0.0) / panels.max(1.0))
        .clamp(SHARES.0, SHARES.1);
    let has_place = has_place(item);
    // At a place what is missing leaves chance alone; elsewhere so many times the marks.
    let without = if has_place {
        let chance = number("expected_hits").unwrap_or(0.0) / panels.max(1.0);
        chance.min(share / 2.0)
    } else {
        1.0 - (1.0 - share).powf(request.ratio)
    };
    let accused = item["rival"].as_str();
    let own_levels: Vec<&str> = strings(&item["levels"]);
    for open in item["open"].as_array().into_iter().flatten() {
        let rival = open["rival"].as_str().unwrap_or_default();
        let levels = strings(&open["levels"]);
        let quarter = open["to_settle"]
            .as_str()
            .is_some_and(|t| t.contains("quarter"));
        let contrast = match rival {
            "panel" | "machine" if has_place => {
                let turned = if quarter { "90" } else { "180" };
                Some((
                    "lay_deg",
                    vec!["0".to_owned(), turned.to_owned()],
                    Given::Singly,
                ))
            }
            "table" if has_place => Some((
                "inspect_lay_deg",
                vec!["0".to_owned(), "180".to_owned()],
                Given::Singly,
            )),
            "inspector" => Some(("inspector", owned(&levels), Given::Singly)),
            // What is accused meets them inside lots, by turns through time.
            "lot" | "supplier" | "part" | "step in time" | "day" | "weekday" | "shift"
            | "hour of the day" | "part of the day" | "first of the day" | "panel size"
            | "lay_deg" => match accused {
                Some(accused) if changeable(accused) => {
                    Some((accused, owned(&own_levels), given(accused)))
                }
                _ if INCOMING.contains(&rival) => Some((rival, owned(&levels), Given::InStretches)),
                _ => None,
            },
            other if changeable(other) => Some((other, owned(&levels), given(other))),
            _ => None,
        };
        let Some((column, levels, given)) = contrast else {
            notes.push(Note::NotByPanels {
                id: id.clone(),
                rival: rival.to_owned(),
            });
            continue;
        };
        // A place that one level makes is gone at the other one.
        match out
            .iter_mut()
            .find(|w| w.column == column && w.question.id == id)
        {
            Some(known) => known.question.rivals.push(rival.to_owned()),
            None => out.push(Wanted {
                column: column.to_owned(),
                levels,
                given,
                question: Question {
                    id: id.clone(),
                    defect: text("defect").to_owned(),
                    machine: owned_text("machine"),
                    head: owned_text("head"),
                    rivals: vec![rival.to_owned()],
                },
                share,
                without,
                of_place: has_place && by_lay(column),
            }),
        }
    }
}

/// What comes with the panels: blocks of such a sheet are rounds, not lots.
const INCOMING: [&str; 3] = ["lot", "supplier", "part"];

fn strings(json: &Json) -> Vec<&str> {
    json.as_array()
        .into_iter()
        .flatten()
        .filter_map(Json::as_str)
        .collect()
}

fn owned(levels: &[&str]) -> Vec<String> {
    levels.iter().map(|l| (*l).to_owned()).collect()
}

/// Whether a shop can change it from panel to panel or stretch to stretch.
fn changeable(column: &str) -> bool {
    ![
        "panel",
        "table",
        "lot",
        "supplier",
        "part",
        "panel size",
        "lay_deg",
        "sanding done",
        "abrasive_age",
        "removed_um",
        "film_um",
        "day",
        "weekday",
        "shift",
        "hour of the day",
        "part of the day",
        "first of the day",
        "step in time",
        "inspector",
    ]
    .contains(&column)
}

fn given(column: &str) -> Given {
    match column {
        "fixture" | "head" | "machine" => Given::Singly,
        _ => Given::InStretches,
    }
}

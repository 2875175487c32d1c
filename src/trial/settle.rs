//! From open questions of a report to the smallest sheet that answers them.

use std::path::Path;

use rand::SeedableRng;
use rand_chacha::ChaCha8Rng;
use serde::Serialize;
use serde_json::Value as Json;

use super::contrast::{Given, MOST_IN_STRETCHES, MOST_SINGLE, deal};
use super::factor::{Factor, Settings, Value, within_limits};
use super::needed::{Goal, chance, size_needed};
use super::plan::{Note, Plan, Purpose, Run};
use super::{Lots, TrialError};
use crate::columns::Column;
use crate::site::Site;

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
}

/// Least and most share of panels with a mark that a sheet is worked out for.
const SHARES: (f64, f64) = (0.005, 0.98);

/// Kinds of finding that lie somewhere on the panel though no single place is given.
const PLACED: [&str; 3] = ["side", "opposite-sides", "periodic"];

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

/// Plans the sheet for the open questions of a report's `findings.json`.
///
/// # Errors
///
/// [`TrialError`] if the report can't be read, has no such finding, or nothing is
/// open that panels could settle.
pub fn settle(request: &SettleRequest, report: &Path, site: &Site) -> Result<Plan, TrialError> {
    let path = report.join("findings.json");
    let not = |why: String| TrialError::NotAReport {
        path: path.display().to_string(),
        why,
    };
    let text = std::fs::read(&path).map_err(|error| not(error.to_string()))?;
    let json: Json = serde_json::from_slice(&text).map_err(|error| not(error.to_string()))?;
    if json["schema"] != 1 {
        return Err(not("its schema is not 1".to_owned()));
    }
    let alpha = request
        .alpha
        .or(json["levels"]["alpha"].as_f64())
        .unwrap_or(0.01);
    let mut notes = Vec::new();
    let wanted = wanted(&json, request, &mut notes)?;
    let mut contrasts: Vec<Settles> = Vec::new();
    for one in wanted {
        let goal = Goal {
            share: one.share,
            without: one.without,
            alpha,
            power: request.power,
            one_sided: one.column == Column::LayDeg.name(),
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
    for contrast in &mut contrasts {
        if !settings_of(contrast, &request.factors) {
            columns.push(contrast.column.clone());
        }
    }
    if !columns.is_empty() {
        return Err(TrialError::LevelsMissing { columns });
    }
    for contrast in &contrasts {
        within_limits(site, &contrast.column, &contrast.levels)?;
    }
    let given: Vec<Given> = contrasts.iter().map(|c| c.given).collect();
    let stretched = given.contains(&Given::InStretches);
    let lots = request
        .lots
        .clone()
        .unwrap_or(Lots::Count(if stretched { 4 } else { 3 }));
    if lots.count() == 0 {
        return Err(TrialError::NoPanels);
    }
    let mut size = 1;
    for (at, contrast) in contrasts.iter_mut().enumerate() {
        let own = size_needed(&given, at, lots.count(), &contrast.goal, request.seed)?;
        contrast.panels = super::contrast::panels(&given, lots.count(), own);
        size = size.max(own);
    }
    for (at, contrast) in contrasts.iter_mut().enumerate() {
        contrast.power = chance(&given, at, lots.count(), size, &contrast.goal, request.seed);
    }
    let mut rng = ChaCha8Rng::seed_from_u64(request.seed);
    let dealt = deal(&given, lots.count(), size, &mut rng);
    let setting = |contrast: &Settles, level: usize| {
        let text = &contrast.levels[level];
        let number = Column::from_name(&contrast.column)
            .filter(|c| {
                c.possible().is_some() || *c == Column::LayDeg || *c == Column::InspectLayDeg
            })
            .and_then(|_| text.parse::<f64>().ok());
        Some(number.map_or_else(|| Value::Text(text.clone()), Value::Number))
    };
    let runs = dealt
        .iter()
        .enumerate()
        .map(|(i, panel)| Run {
            run: i + 1,
            block: panel.lot + 1,
            centre: false,
            coded: Vec::new(),
            settings: (lots.name(panel.lot).into_iter().map(Some))
                .chain((contrasts.iter().zip(&panel.levels)).map(|(c, l)| setting(c, *l)))
                .collect(),
        })
        .collect();
    let lot = lots.is_named().then(|| Column::Lot.name().to_owned());
    Ok(Plan {
        plan: request.name.clone(),
        seed: request.seed,
        columns: lot
            .into_iter()
            .chain(contrasts.iter().map(|c| c.column.clone()))
            .collect(),
        purpose: Purpose::Settle(contrasts),
        runs,
        notes,
    })
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
            notes.extend(contrast.questions.iter().map(|q| Note::NotByPanels {
                id: q.id.clone(),
                rival: contrast.column.clone(),
            }));
        }
        *count <= most
    });
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
    let is_open = |item: &Json| item["open"].as_array().is_some_and(|o| !o.is_empty());
    let id_of = |item: &Json| item["id"].as_str().unwrap_or_default().to_owned();
    let all = request.settle == "all";
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
        of_item(item, request.ratio, &mut out, notes);
    }
    if out.is_empty() {
        return Err(TrialError::NothingToSettle {
            id: request.settle.clone(),
        });
    }
    Ok(out)
}

/// The contrasts that one finding or stream needs.
fn of_item(item: &Json, ratio: f64, out: &mut Vec<Wanted>, notes: &mut Vec<Note>) {
    let text = |key: &str| item[key].as_str().unwrap_or_default();
    let number = |key: &str| item[key].as_f64();
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
    let has_place =
        !item["x_mm"].is_null() || !item["y_mm"].is_null() || PLACED.contains(&text("kind"));
    let chance = number("expected_hits")
        .filter(|_| has_place)
        .map(|e| e / panels.max(1.0));
    let without = chance.map_or(share * ratio, |c| c.min(share / 2.0));
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
            "table" => Some((
                "inspect_lay_deg",
                vec!["0".to_owned(), "180".to_owned()],
                Given::Singly,
            )),
            "inspector" => Some(("inspector", owned(&levels), Given::Singly)),
            // What is accused meets them inside lots, by turns through time.
            "lot" | "supplier" | "part" | "step in time" | "trend in time" | "day" | "weekday"
            | "shift" | "hour of the day" | "first of the day" | "panel size" | "lay_deg" => {
                match accused {
                    Some(accused) if changeable(accused) => {
                        Some((accused, owned(&own_levels), given(accused)))
                    }
                    _ if ["lot", "supplier", "part"].contains(&rival) => {
                        Some((rival, owned(&levels), Given::InStretches))
                    }
                    _ => None,
                }
            }
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
                    rivals: vec![rival.to_owned()],
                },
                share,
                without,
            }),
        }
    }
}

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
        "removed_um",
        "film_um",
        "day",
        "weekday",
        "shift",
        "hour of the day",
        "first of the day",
        "step in time",
        "trend in time",
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

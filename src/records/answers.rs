//! What the records can and cannot answer.

use std::collections::{BTreeMap, BTreeSet};

use serde::Serialize;

use super::{Column, Panel, Records};

/// Whether a question can be answered.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Can {
    /// Yes.
    Yes,
    /// In part.
    InPart,
    /// No.
    No,
}

/// One question and what stands in the way of its answer.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Answer {
    /// The question.
    pub question: &'static str,
    /// Whether it can be answered.
    pub can: Can,
    /// What makes it so, or what is missing.
    pub because: String,
}

pub(super) fn answers(records: &Records) -> Vec<Answer> {
    let panels = &records.panels;
    let placed = records.defects.iter().filter(|d| d.place.is_some()).count();
    let distinct = |of: fn(&Panel) -> Option<&str>| -> BTreeSet<String> {
        panels.iter().filter_map(of).map(str::to_owned).collect()
    };
    let lots = distinct(|p| p.lot.as_deref()).len();
    let machines = distinct(|p| p.machine.as_deref()).len();
    let recipes = distinct(|p| p.recipe.as_deref()).len();
    let lays: BTreeSet<(u16, i64, i64)> = panels
        .iter()
        .map(|p| {
            (
                p.lay.degrees(),
                p.lay_x_mm.round() as i64,
                p.lay_y_mm.round() as i64,
            )
        })
        .collect();
    let answer = |question, can, because: String| Answer {
        question,
        can,
        because,
    };
    let mut all = Vec::new();
    all.push(if panels.len() < 3 || placed < 3 {
        answer(
            "Which defects repeat at one place?",
            Can::No,
            "needs at least three panels and three defects with x_mm and y_mm".into(),
        )
    } else {
        answer(
            "Which defects repeat at one place?",
            Can::Yes,
            format!("{placed} defects have a place, on {} panels", panels.len()),
        )
    });
    all.push(if lays.len() > 1 {
        answer("Does a repeat belong to the machine or to the part?", Can::Yes, format!("panels lay in {} ways", lays.len()))
    } else if machines > 1 {
        answer("Does a repeat belong to the machine or to the part?", Can::InPart, format!("all panels lay the same way, but {machines} machines can be compared where they ran the same lots"))
    } else {
        answer("Does a repeat belong to the machine or to the part?", Can::No, "all panels lay the same way on one machine: turn some by 180° and record lay_deg".into())
    });
    all.push(match lots {
        0 => answer(
            "Did it come with a lot?",
            Can::No,
            "lot is not recorded".into(),
        ),
        1 => answer(
            "Did it come with a lot?",
            Can::No,
            "there is one lot only".into(),
        ),
        2 | 3 => answer(
            "Did it come with a lot?",
            Can::InPart,
            format!("{lots} lots are few"),
        ),
        _ => answer(
            "Did it come with a lot?",
            Can::Yes,
            format!("there are {lots} lots"),
        ),
    });
    let timed = panels.iter().filter(|p| p.sanded_at.is_some()).count();
    all.push(if timed == 0 {
        answer(
            "Since when, and did a change help?",
            Can::No,
            "sanded_at is not recorded".into(),
        )
    } else if timed < panels.len() {
        answer(
            "Since when, and did a change help?",
            Can::InPart,
            format!("{} panels have no sanded_at", panels.len() - timed),
        )
    } else {
        answer(
            "Since when, and did a change help?",
            Can::Yes,
            match recipes {
                0 => "all panels have sanded_at; no recipe is recorded".into(),
                1 => "all panels have sanded_at; one recipe throughout".into(),
                n => format!("all panels have sanded_at; {n} recipes"),
            },
        )
    });
    all.push(if records.input.inspected_panels == 0 {
        answer(
            "How often does a defect happen?",
            Can::No,
            "no panel was inspected for defects".into(),
        )
    } else if records.input.clean_panels > 0 {
        answer(
            "How often does a defect happen?",
            Can::Yes,
            match records.input.clean_panels {
                1 => "1 clean panel is in the data".into(),
                n => format!("{n} clean panels are in the data"),
            },
        )
    } else {
        answer(
            "How often does a defect happen?",
            Can::InPart,
            "no clean panel is in the data, so rates have no sure base".into(),
        )
    });
    let removed = records
        .readings
        .iter()
        .filter(|r| r.removed_um.is_some())
        .count();
    let varied = varied_factors(records);
    all.push(if removed == 0 {
        answer(
            "How does removal follow the recipe?",
            Can::No,
            "removed_um is not recorded".into(),
        )
    } else if varied.is_empty() {
        answer(
            "How does removal follow the recipe?",
            Can::No,
            "no recipe factor was varied".into(),
        )
    } else {
        answer(
            "How does removal follow the recipe?",
            Can::Yes,
            format!("{removed} readings; varied: {}", varied.join(", ")),
        )
    });
    let mut points: BTreeMap<usize, usize> = BTreeMap::new();
    for reading in records
        .readings
        .iter()
        .filter(|r| r.place.is_some() && r.removed_um.is_some())
    {
        *points.entry(reading.panel).or_default() += 1;
    }
    let enough = points.values().filter(|n| **n >= 4).count();
    all.push(if enough < 3 {
        answer(
            "Is removal uneven, by head or by panel?",
            Can::No,
            "needs four readings with a place on several panels".into(),
        )
    } else if lays.len() > 1 {
        answer(
            "Is removal uneven, by head or by panel?",
            Can::Yes,
            format!("{enough} panels have four readings or more"),
        )
    } else {
        answer(
            "Is removal uneven, by head or by panel?",
            Can::InPart,
            format!("{enough} panels have four readings or more, but all lay the same way"),
        )
    });
    all.push(if records.readings.iter().any(|r| r.film_um.is_some()) {
        answer(
            "Too much removed, or too little film?",
            Can::Yes,
            "film_um is recorded".into(),
        )
    } else {
        answer(
            "Too much removed, or too little film?",
            Can::No,
            "film_um is not recorded".into(),
        )
    });
    all.push(if panels.iter().any(|p| p.inspect_lay.is_some()) {
        answer(
            "Is it the inspection table?",
            Can::Yes,
            "inspect_lay_deg is recorded".into(),
        )
    } else {
        answer(
            "Is it the inspection table?",
            Can::No,
            "inspect_lay_deg is not recorded".into(),
        )
    });
    all
}

/// The recipe factors that have more than one value.
fn varied_factors(records: &Records) -> Vec<String> {
    let mut varied = Vec::new();
    type Of = fn(&Panel) -> Option<f64>;
    let number: [(Column, Of); 4] = [
        (Column::FeedMmS, |p| p.feed_mm_s),
        (Column::Passes, |p| p.passes),
        (Column::ForceN, |p| p.force_n),
        (Column::AbrasiveAge, |p| p.abrasive_age),
    ];
    for (column, of) in number {
        let values: BTreeSet<u64> = records
            .panels
            .iter()
            .filter_map(of)
            .map(f64::to_bits)
            .collect();
        if values.len() > 1 {
            varied.push(column.name().to_owned());
        }
    }
    let grits: BTreeSet<&str> = records
        .panels
        .iter()
        .filter_map(|p| p.grit.as_ref().map(|g| g.label.as_str()))
        .collect();
    if grits.len() > 1 {
        varied.push(Column::Grit.name().to_owned());
    }
    for (index, name) in records.factor_names.iter().enumerate() {
        let values: BTreeSet<String> = records
            .panels
            .iter()
            .filter_map(|p| p.factors.get(index)?.as_ref())
            .map(|v| format!("{v:?}"))
            .collect();
        if values.len() > 1 {
            varied.push(name.clone());
        }
    }
    varied
}

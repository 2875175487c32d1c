//! What to try next, or what comes before that, in words.

use super::{axis, factor, figures, range, setting};
use crate::charts::NumberStyle;
use crate::removal::{Advice, Aim, Factor, Obstacle, RateChange, Reach};
use crate::report::words::counting::{capital, listed};
use crate::report::words::finding::cell_name;
use crate::site::DefectClass;

/// Heads of the table of levers.
pub const ADVICE_COLUMNS: &[(&str, bool)] = &[
    ("Lever", false),
    ("From", true),
    ("To", true),
    ("Expected removal, µm", true),
    ("Too much", true),
    ("Too little", true),
    ("Time", true),
];

/// A row of the table of levers.
pub fn advice_row(advice: &Advice, numbers: &NumberStyle) -> Vec<String> {
    let ends = match (&advice.levels, advice.from, advice.to) {
        (Some((from, to)), _, _) => (from.clone(), to.clone()),
        (None, Some(from), Some(to)) => (figures(from, numbers), figures(to, numbers)),
        _ => ("–".into(), "–".into()),
    };
    let removed = advice.expected_removed_um.map_or_else(
        || "–".into(),
        |um| {
            format!(
                "{} ({})",
                numbers.significant(um, 3),
                range(advice.ci, |v| numbers.significant(v, 3))
            )
        },
    );
    let change = |class: DefectClass| {
        advice
            .defects
            .iter()
            .find(|d| d.class == class)
            .map_or_else(
                || "–".to_owned(),
                |d: &RateChange| {
                    if d.ci.is_some_and(|ci| ci.high > UNKNOWN * ci.low) {
                        return "not known".to_owned();
                    }
                    format!(
                        "× {} ({})",
                        numbers.significant(d.ratio, 2),
                        range(d.ci, |v| numbers.significant(v, 2))
                    )
                },
            )
    };
    let time = advice.cycle_time_ratio.map_or_else(
        || "–".into(),
        |r| {
            let percent = (r - 1.0) * 100.0;
            let sign = if percent > 0.5 { "+" } else { "" };
            format!("{sign}{}\u{a0}%", numbers.fixed(percent, 0))
        },
    );
    vec![
        axis(&advice.factor, numbers),
        ends.0,
        ends.1,
        removed,
        change(DefectClass::Over),
        change(DefectClass::Under),
        time,
    ]
}

/// A ratio of rates whose interval spans more than this factor is not known.
const UNKNOWN: f64 = 100.0;

/// What a lever's reach needs saying, if anything.
pub fn reach(advice: &Advice, numbers: &NumberStyle) -> Option<String> {
    let name = capital(&factor(&advice.factor));
    match advice.reach {
        Reach::Target | Reach::Step => None,
        Reach::Nearest if advice.factor == Factor::Grit => Some(format!(
            "{name}: of the grits used so far this one comes nearest to the target."
        )),
        Reach::Nearest => Some(format!("{name}: as near to the target as whole steps get.")),
        Reach::EdgeOfRange { needed } => Some(format!(
            "{name}: the target would need {}, outside the settings seen; these records are no evidence there, so only their edge is advised.",
            setting(&advice.factor, needed, numbers)
        )),
        Reach::SiteLimit { needed } => Some(format!(
            "{name}: the target would need {}, which the site’s limits forbid.",
            setting(&advice.factor, needed, numbers)
        )),
    }
}

/// What the levers aim at.
pub fn aim(advice: &Advice, target_um: Option<f64>, numbers: &NumberStyle) -> String {
    let present = advice.present_removed_um.map_or_else(String::new, |um| {
        format!(
            " At the present setting the model gives {} µm.",
            numbers.significant(um, 3)
        )
    });
    match (advice.aim, target_um) {
        (Aim::Target, Some(target)) => format!(
            "The target is {} µm.{present}",
            numbers.significant(target, 3)
        ),
        (Aim::Target, None) => present.trim().to_owned(),
        (Aim::Less, _) => {
            format!("Too much removed prevails, so the levers take off less.{present}")
        }
        (Aim::More, _) => {
            format!("Too little removed prevails, so the levers take off more.{present}")
        }
    }
}

/// What comes before any lever, findings of one kind in one line.
pub fn obstacles(all: &[Obstacle]) -> Vec<String> {
    let mut kinds: Vec<(&str, Vec<String>)> = Vec::new();
    let mut out = Vec::new();
    for obstacle in all {
        let Obstacle::Finding { id, defect, .. } = obstacle else {
            out.extend(uneven(obstacle));
            continue;
        };
        match kinds.iter_mut().find(|(kind, _)| kind == defect) {
            Some((_, ids)) => ids.push(id.clone()),
            None => kinds.push((defect, vec![id.clone()])),
        }
    }
    out.extend(kinds.iter().map(|(defect, ids)| {
        let (explain, them) = match ids.len() {
            1 => ("explains", "it"),
            _ => ("explain", "them"),
        };
        let ids = listed(ids, 6);
        format!("{ids} {explain} much of {defect}: settle {them} first.")
    }));
    out
}

fn uneven(obstacle: &Obstacle) -> Option<String> {
    Some(match obstacle {
        Obstacle::UnevenRemoval {
            machine,
            head,
            from_part,
        } => {
            let cell = cell_name(machine.as_deref(), head.as_deref());
            let place = if cell.is_empty() {
                String::new()
            } else {
                format!(" on {cell}")
            };
            match from_part {
                Some(true) => format!(
                    "Removal is uneven{place} and the unevenness comes with the panels: check flatness and support."
                ),
                Some(false) => format!(
                    "Removal is uneven{place}, the same way on every panel: check the head’s tilt."
                ),
                None => format!(
                    "Removal is uneven{place}, the same way on every panel as it lay; whether the head or the panels make it so is not known: turn some panels first."
                ),
            }
        }
        Obstacle::Finding { .. } => return None,
    })
}

//! Old against new by turns: how many panels, in blocks of how many.

use std::sync::Arc;

use rand::SeedableRng;
use rand::seq::SliceRandom;
use rand_chacha::ChaCha8Rng;
use serde::Serialize;

use super::error::in_range;
use super::factor::{Value, known, within_limits};
use super::plan::{Plan, Purpose, Run};
use super::{Lots, TrialError};
use crate::change::{self, Pick, Selection, Settings, Sides};
use crate::columns::Column;
use crate::records::{Defect, DefectName, Moment, Panel, Records};
use crate::site::Site;

/// What is asked.
#[derive(Debug, Clone, PartialEq)]
pub struct ChangeRequest {
    /// Id of the plan.
    pub name: String,
    /// The column that changes.
    pub column: String,
    /// Its values, old and new.
    pub values: [String; 2],
    /// The defect that should come less often.
    pub defect: String,
    /// Marks per panel as it runs now, where no records say.
    pub marks_per_panel: Option<f64>,
    /// The ratio of rates, new over old, that should be shown, 0..1.
    pub ratio: f64,
    /// Chance to show it.
    pub power: f64,
    /// Lots; none: as many as the panels call for.
    pub lots: Option<Lots>,
    /// Seed of the order.
    pub seed: u64,
}

/// A comparison by turns.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Turns {
    /// The column that changes.
    pub column: String,
    /// Old and new.
    pub values: [String; 2],
    /// The defect.
    pub defect: String,
    /// Marks per panel as it runs now.
    pub marks_per_panel: f64,
    /// The ratio that should be shown.
    pub ratio: f64,
    /// With this chance.
    pub power: f64,
    /// Level of the two-sided test.
    pub level: f64,
    /// Panels in all, as the model of the comparison counts them.
    pub panels_needed: usize,
    /// Panels of a block at one value.
    pub block_panels: usize,
    /// Lots.
    pub lots: usize,
    /// Panels whose records tell how marks, lots and days scatter; 0 where made up.
    pub panels_seen: usize,
}

/// Panels of a lot at least, and blocks.
const LEAST_BLOCKS: usize = 4;

/// The most panels that are planned by turns.
const MOST_BY_TURNS: usize = 20_000;

/// The most marks a panel that records are made up for.
const MOST_MARKS: f64 = 500.0;

/// Records that are made up where there are none: panels at least, marks expected at
/// least, lots, panels of a day.
const MADE_UP_PANELS: usize = 240;
const MADE_UP_MARKS: f64 = 60.0;
const MADE_UP_LOTS: usize = 6;
const MADE_UP_DAY: usize = 40;

/// Plans a comparison by turns from records of how it runs now, or from a rate.
///
/// The records are dealt to two sides by turns, as if half of them had been
/// sanded the new way; the model that reads comparisons then says how many panels
/// by turns show the ratio ([`change::by_turns`]).
///
/// # Errors
///
/// [`TrialError`] where no number of panels can be said.
pub fn turns(
    request: &ChangeRequest,
    records: Option<&Records>,
    site: &Site,
) -> Result<Plan, TrialError> {
    known(site, &request.column)?;
    within_limits(site, &request.column, &request.values)?;
    in_range("--ratio", 0.0, 1.0, Some(request.ratio))?;
    in_range("--power", 0.0, 1.0, Some(request.power))?;
    in_range("--rate", 0.0, MOST_MARKS, request.marks_per_panel)?;
    if request.lots.as_ref().is_some_and(|l| l.count() == 0) {
        return Err(TrialError::NoPanels);
    }
    let pilot = match (records, request.marks_per_panel) {
        (Some(records), _) => seen(records, &request.defect)?,
        (None, Some(rate)) => made_up(rate, &request.defect, request.seed),
        (None, None) => return Err(TrialError::NoPanels),
    };
    let settings = Settings {
        ratio_of_interest: request.ratio,
        power: request.power,
        ..Settings::from(&site.analysis)
    };
    let (panels_needed, block) = needed(&pilot, &request.defect, &settings)?;
    if panels_needed > MOST_BY_TURNS {
        return Err(TrialError::TooManyPanels {
            most: MOST_BY_TURNS,
        });
    }
    let block_panels = block.max(1);
    let least = 2 * LEAST_BLOCKS * block_panels;
    let lots = match &request.lots {
        Some(lots) => lots.clone(),
        // As many lots as hold turns enough each, up to those seen.
        None => Lots::Count((panels_needed / least).clamp(1, lots_of(&pilot).max(1))),
    };
    let pairs = panels_needed
        .div_ceil(2 * block_panels * lots.count())
        .max(1);
    let turns = Turns {
        column: request.column.clone(),
        values: request.values.clone(),
        defect: request.defect.clone(),
        marks_per_panel: pilot.defects.len() as f64 / pilot.panels.len().max(1) as f64,
        ratio: request.ratio,
        power: request.power,
        level: settings.level,
        panels_needed,
        block_panels,
        lots: lots.count(),
        panels_seen: records.map_or(0, |_| pilot.panels.len()),
    };
    let mut rng = ChaCha8Rng::seed_from_u64(request.seed);
    let runs = runs(&turns, &lots, pairs, &mut rng);
    let lot = lots.is_named().then(|| Column::Lot.name().to_owned());
    Ok(Plan {
        plan: request.name.clone(),
        seed: request.seed,
        columns: lot.into_iter().chain([request.column.clone()]).collect(),
        purpose: Purpose::Change(turns),
        runs,
        notes: Vec::new(),
    })
}

/// Old and new by turns inside lots; which comes first in a pair is by chance.
fn runs(turns: &Turns, lots: &Lots, pairs: usize, rng: &mut ChaCha8Rng) -> Vec<Run> {
    use rand::RngExt;
    let mut out = Vec::new();
    for lot in 0..lots.count() {
        for _ in 0..pairs {
            let first = usize::from(rng.random_bool(0.5));
            for side in [first, 1 - first] {
                for _ in 0..turns.block_panels {
                    let value = match turns.values[side].parse::<f64>() {
                        Ok(n) if is_number(&turns.column) => Value::Number(n),
                        _ => Value::Text(turns.values[side].clone()),
                    };
                    out.push(Run {
                        run: out.len() + 1,
                        block: lot + 1,
                        centre: false,
                        coded: Vec::new(),
                        settings: lots
                            .name(lot)
                            .into_iter()
                            .chain([value])
                            .map(Some)
                            .collect(),
                    });
                }
            }
        }
    }
    out
}

fn is_number(column: &str) -> bool {
    Column::from_name(column).is_some_and(|c| c.possible().is_some())
}

fn lots_of(records: &Records) -> usize {
    let mut lots: Vec<&Arc<str>> = records
        .panels
        .iter()
        .filter_map(|p| p.lot.as_ref())
        .collect();
    lots.sort_unstable();
    lots.dedup();
    lots.len()
}

/// The panels and blocks that the model asks for; records that it can't compare
/// are dealt in other turns.
fn needed(
    pilot: &Records,
    defect: &str,
    settings: &Settings,
) -> Result<(usize, usize), TrialError> {
    let pick = |value: &str| Pick {
        column: Column::Recipe.name().to_owned(),
        value: value.to_owned(),
    };
    let selection = Selection {
        sides: Sides::Values {
            before: vec![pick(SIDES[0])],
            after: vec![pick(SIDES[1])],
        },
        only: Vec::new(),
        window: change::Window::default(),
        on: vec![defect.to_owned()],
    };
    // Lengths of a turn that are no day or shift.
    for turn in [1, 3, 7] {
        let mut dealt = pilot.clone();
        for (at, panel) in dealt.panels.iter_mut().enumerate() {
            panel.recipe = Some(SIDES[at / turn % 2].into());
        }
        let Ok(changes) = change::compare(&dealt, &selection, settings) else {
            continue;
        };
        let found = changes.comparisons.iter().flat_map(|c| &c.changes);
        let needed = found
            .filter(|c| c.defect == defect)
            .find_map(|c| change::by_turns(c, settings));
        if let Some(needed) = needed {
            return Ok((needed.panels, needed.block_panels));
        }
    }
    // A rate so small that made-up panels say nothing.
    if pilot.panels.len() == MOST_BY_TURNS {
        return Err(TrialError::TooManyPanels {
            most: MOST_BY_TURNS,
        });
    }
    Err(TrialError::NoPanelsSaid {
        defect: defect.to_owned(),
        panels: pilot.panels.len(),
    })
}

/// Sides of the dealt records.
const SIDES: [&str; 2] = ["as now", "changed"];

/// Records of how it runs now: inspected panels, the one defect.
fn seen(records: &Records, defect: &str) -> Result<Records, TrialError> {
    let Some(name) = records.defect_names.iter().position(|d| d.name == defect) else {
        return Err(TrialError::NoSuchDefect {
            defect: defect.to_owned(),
            known: records
                .defect_names
                .iter()
                .map(|d| d.name.clone())
                .collect(),
        });
    };
    let mut place = vec![None; records.panels.len()];
    let mut out = Records::default();
    for (at, panel) in records
        .panels
        .iter()
        .enumerate()
        .filter(|(_, p)| p.inspected)
    {
        place[at] = Some(out.panels.len());
        out.panels.push(Panel {
            recipe: None,
            feed_mm_s: None,
            passes: None,
            force_n: None,
            grit: None,
            factors: Vec::new(),
            ..panel.clone()
        });
    }
    out.defect_names = vec![records.defect_names[name].clone()];
    let own = records.defects.iter().filter(|d| d.name == name);
    out.defects = own
        .filter_map(|d| {
            Some(Defect {
                panel: place[d.panel]?,
                name: 0,
                ..d.clone()
            })
        })
        .collect();
    Ok(out)
}

/// Poisson counts of so many panels, as its quantiles share them out, so that they
/// have the rate that was given.
fn poisson_counts(rate: f64, panels: usize) -> Vec<usize> {
    let (mut count, mut chance) = (0, (-rate).exp());
    let mut up_to = chance;
    let quantile = |at: usize| {
        let share = (at as f64 + 0.5) / panels as f64;
        while up_to < share && chance > 0.0 {
            count += 1;
            chance *= rate / count as f64;
            up_to += chance;
        }
        count
    };
    let mut counts: Vec<usize> = (0..panels).map(quantile).collect();
    // Shares of a panel cut the tail off: its marks go where most are.
    let marks = (rate * panels as f64).round() as usize;
    let missing = marks.saturating_sub(counts.iter().sum());
    counts.iter_mut().rev().take(missing).for_each(|c| *c += 1);
    counts
}

/// Records of a rate, marks coming one at a time.
fn made_up(rate: f64, defect: &str, seed: u64) -> Records {
    let enough = (MADE_UP_MARKS / rate).ceil() as usize;
    let panels = enough.clamp(MADE_UP_PANELS, MOST_BY_TURNS);
    let (lots, in_a_day) = (MADE_UP_LOTS, MADE_UP_DAY);
    let mut counts = poisson_counts(rate, panels);
    counts.shuffle(&mut ChaCha8Rng::seed_from_u64(seed));
    let start = jiff::civil::date(2026, 1, 1).at(8, 0, 0, 0);
    let mut records = Records {
        defect_names: vec![DefectName {
            name: defect.to_owned(),
            class: None,
        }],
        ..Records::default()
    };
    for (at, count) in counts.into_iter().enumerate() {
        let minutes = (at / in_a_day * 24 * 60 + at % in_a_day * 10) as i64;
        let local = start.saturating_add(jiff::Span::new().minutes(minutes));
        let instant = jiff::tz::TimeZone::UTC
            .to_timestamp(local)
            .unwrap_or_default();
        records.panels.push(Panel {
            id: format!("{at:04}"),
            sanded_at: Some(Moment { instant, local }),
            lot: Some(format!("{}", at * lots / panels + 1).into()),
            length_mm: 1000.0,
            width_mm: 1000.0,
            inspected: true,
            ..Panel::default()
        });
        for _ in 0..count {
            records.defects.push(Defect {
                panel: at,
                name: 0,
                place: None,
                written: None,
                area_mm2: None,
                severity: None,
            });
        }
    }
    records
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A comparison from so many marks a panel.
    fn planned(rate: f64) -> (Turns, Vec<Run>) {
        let request = ChangeRequest {
            name: "T1".into(),
            column: Column::FeedMmS.name().into(),
            values: ["100".into(), "80".into()],
            defect: "scratch".into(),
            marks_per_panel: Some(rate),
            ratio: 0.5,
            power: 0.8,
            lots: None,
            seed: 1,
        };
        let plan = turns(&request, None, &Site::default()).unwrap();
        let Purpose::Change(turns) = plan.purpose else {
            panic!("{:?}", plan.purpose);
        };
        (turns, plan.runs)
    }

    #[test]
    fn every_lot_has_four_blocks_of_old_and_new_by_turns() {
        let mut several = 0;
        for rate in [0.1, 0.2, 0.3, 0.5, 1.0, 2.0] {
            let (turns, runs) = planned(rate);
            let of: Vec<&Option<Value>> = runs.iter().map(|r| &r.settings[0]).collect();
            for pair in of.chunks(2 * turns.block_panels) {
                let (old, new) = pair.split_at(turns.block_panels);
                assert!(old.iter().all(|v| *v == old[0]) && new.iter().all(|v| *v == new[0]));
                assert_ne!(old[0], new[0]);
            }
            let pairs = runs.iter().filter(|r| r.block == 1).count() / (2 * turns.block_panels);
            assert!(
                turns.lots == 1 || pairs >= LEAST_BLOCKS,
                "{rate}: {turns:?}"
            );
            several += usize::from(turns.lots > 1);
        }
        assert!(several > 2, "{several} of six rates with several lots");
    }
}

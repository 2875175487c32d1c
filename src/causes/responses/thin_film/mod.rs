//! Too much removed, or too little film: what the film before sanding tells.
//!
//! Marks of class "over" are counted by eye, so their comparison with the
//! measured film carries no error that both share. Film and removal are both
//! measured, and do share the error of the reading before sanding: a slope of
//! one on the other proves nothing (Oldham 1962, Journal of Chronic Diseases
//! 15, 969–977). Neither is therefore set against the other; each is compared
//! between panels with and without marks ([`gaps`]). What was left is film less
//! removal, so the two differences add up to the one in the film left, and
//! errors of the gauge, which do not know of the marks, cancel from all three.

mod gaps;
mod left;
mod side;

use std::collections::BTreeMap;

use crate::causes::levels;
use crate::causes::responses::{Remainder, about_rate};
use crate::causes::{Cause, Finding, Kind, NextCheck, Reason, Rival};
use crate::records::Records;
use crate::site::DefectClass;
use gaps::{PanelFilm, Way, compare};

pub use left::{FilmLeft, film_left};
pub(crate) use side::thin_sides;

/// Least panels with marks, and least without: fewer say nothing.
const LEAST_PANELS: usize = 3;
/// Consecutive panels compared with each other, so that slow changes of the
/// film or of the inspection are not taken for each other.
const BLOCK: usize = 40;

/// At most one finding for every stream of class "over" with readings of the
/// film. They accuse no machine, so they have the whole level, shared by these
/// streams and two ways to compare.
pub(crate) fn findings(
    records: &Records,
    streams: &[Remainder<'_>],
    film: &MeanReadings,
    alpha: f64,
) -> Vec<Finding> {
    let asked: Vec<(usize, Vec<PanelFilm>)> = streams
        .iter()
        .enumerate()
        .filter(|(_, s)| records.defect_names[s.data.name].class == Some(DefectClass::Over))
        .filter_map(|(index, s)| Some((index, panels_of(records, s, film)?)))
        .collect();
    let tests = 2 * asked.len();
    asked
        .iter()
        .filter_map(|(index, panels)| {
            let compared = compare(panels)?;
            let p_adjusted = levels::adjusted(compared.p_value, tests, 1.0);
            if p_adjusted > alpha {
                return None;
            }
            let marked = panels.iter().filter(|p| p.marked).count();
            let mut reasons = vec![Reason::FilmThinner {
                marked,
                unmarked: panels.len() - marked,
                by_um: -compared.film.estimate,
                by_ci: compared.film.negated(),
                lots: compared.way == Way::BetweenLots,
                p_adjusted,
            }];
            reasons.push(match compared.removal {
                Some(gap) => Reason::RemovalBesideFilm {
                    more_um: gap.estimate,
                    more_ci: gap.ci,
                    film_outweighs: compared.film_outweighs,
                },
                None => Reason::RemovalNotMeasured,
            });
            let cause = if compared.film_outweighs {
                Cause::Part
            } else {
                Cause::Undecided
            };
            let inside: Vec<usize> = panels.iter().map(|p| p.at).collect();
            let mut finding = about_rate(
                records,
                *index,
                &streams[*index],
                &inside,
                (Kind::ThinFilm, cause),
                (p_adjusted, reasons),
            );
            finding.rival = Some(Rival::Film);
            finding.next_check = NextCheck::CheckFilm;
            Some(finding)
        })
        .collect()
}

/// A panel's mean film before sanding and mean removal, µm, by its index.
pub(crate) type MeanReadings = BTreeMap<usize, (Option<f64>, Option<f64>)>;

/// The mean readings of every panel that has any.
pub(crate) fn mean_readings(records: &Records) -> MeanReadings {
    let mut sums: BTreeMap<usize, [(f64, f64); 2]> = BTreeMap::new();
    for reading in &records.readings {
        let own = sums.entry(reading.panel).or_default();
        for (sum, value) in own.iter_mut().zip([reading.film_um, reading.removed_um]) {
            if let Some(value) = value {
                sum.0 += value;
                sum.1 += 1.0;
            }
        }
    }
    let mean = |(sum, n): (f64, f64)| (n > 0.0).then(|| sum / n);
    sums.into_iter()
        .map(|(panel, [film, removed])| (panel, (mean(film), mean(removed))))
        .collect()
}

/// The stream's panels with readings of the film; none where too few carry
/// marks, or too few carry none.
fn panels_of(
    records: &Records,
    stream: &Remainder<'_>,
    film: &MeanReadings,
) -> Option<Vec<PanelFilm>> {
    let mut lots: BTreeMap<&str, usize> = BTreeMap::new();
    type LotAndRecipe<'a> = (Option<usize>, Option<&'a str>);
    // the number of the last block, and its panels
    let mut strata: BTreeMap<LotAndRecipe<'_>, (usize, usize)> = BTreeMap::new();
    let mut next = 0;
    let mut out = Vec::new();
    for (at, &index) in stream.data.panels.iter().enumerate() {
        let Some(&(Some(film_um), removed_um)) = film.get(&index) else {
            continue;
        };
        let panel = &records.panels[index];
        let lot = panel.lot.as_deref().map(|lot| {
            let number = lots.len();
            *lots.entry(lot).or_insert(number)
        });
        let key = (lot, panel.recipe.as_deref());
        let (number, panels) = strata.entry(key).or_insert((0, BLOCK));
        if *panels == BLOCK {
            (*number, *panels) = (next, 0);
            next += 1;
        }
        *panels += 1;
        out.push(PanelFilm {
            at,
            marked: stream.marks[at] > 0.0,
            film_um,
            removed_um,
            lot,
            stratum: *number,
        });
    }
    let marked = out.iter().filter(|p| p.marked).count();
    (marked >= LEAST_PANELS && out.len() - marked >= LEAST_PANELS).then_some(out)
}

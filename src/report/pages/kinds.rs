//! The figure of the kinds of defect by who makes them.

use super::Context;
use crate::causes::Cause;
use crate::charts::{CAUSES, ChartError, kinds};
use crate::report::Figure;
use crate::report::ranking::{KindRow, Ranking};
use crate::report::words;

/// The heaviest kinds, at most `most`, the rest as one bar.
pub(super) fn kinds_figure(
    context: &Context<'_>,
    ranking: &Ranking,
    most: usize,
) -> Result<Figure, ChartError> {
    let numbers = context.numbers();
    let by_cost = ranking.total_cost.is_some();
    let weight = |row: &KindRow, panels: usize| match (by_cost, row.cost) {
        (false, _) => panels as f64,
        (true, Some(cost)) => cost * panels as f64 / row.panels.max(1) as f64,
        (true, None) => 0.0,
    };
    let parts = |row: &KindRow| -> Vec<(Cause, f64)> {
        row.by_cause
            .iter()
            .map(|&(cause, panels)| (cause, weight(row, panels)))
            .collect()
    };
    let written = |total: f64, priced: bool| {
        if !priced {
            words::kinds::NO_COST.to_owned()
        } else if by_cost {
            numbers.significant(total, 3)
        } else {
            numbers.count(total.round() as usize)
        }
    };
    let shown = if ranking.kinds.len() > most {
        most - 1
    } else {
        most
    };
    let mut bars: Vec<kinds::Bar> = ranking
        .kinds
        .iter()
        .take(shown)
        .map(|row| {
            let parts = parts(row);
            let total = parts.iter().map(|p| p.1).sum();
            let priced = !by_cost || row.cost.is_some();
            kinds::Bar {
                label: row.name.clone(),
                written: written(total, priced),
                parts,
            }
        })
        .collect();
    let rest = ranking.kinds.get(shown..).unwrap_or(&[]);
    if !rest.is_empty() {
        let parts: Vec<(Cause, f64)> = CAUSES
            .iter()
            .map(|&cause| {
                let sum = rest
                    .iter()
                    .flat_map(parts)
                    .filter(|p| p.0 == cause)
                    .map(|p| p.1)
                    .sum();
                (cause, sum)
            })
            .collect();
        let priced = !by_cost || rest.iter().any(|row| row.cost.is_some());
        bars.push(kinds::Bar {
            label: words::kinds::other_kinds(rest.len(), numbers),
            written: written(parts.iter().map(|p| p.1).sum(), priced),
            parts,
        });
    }
    let causes: Vec<(Cause, String)> = CAUSES
        .iter()
        .filter(|&&cause| {
            ranking
                .kinds
                .iter()
                .any(|k| k.by_cause.iter().any(|p| p.0 == cause))
        })
        .map(|&cause| (cause, words::causes::cause(cause).to_owned()))
        .collect();
    let unit = by_cost.then_some(context.site.defects.cost_unit.as_str());
    let alt = words::kinds::described(&bars, unit);
    let labels = kinds::Labels {
        description: crate::charts::Description {
            title: words::kinds::TITLE.to_owned(),
            text: alt.clone(),
        },
        measure: words::kinds::measure(unit),
        causes,
    };
    Ok(Figure {
        name: "kinds".to_owned(),
        svg: kinds::svg(&bars, &labels, context.theme)?,
        caption: words::kinds::caption(&ranking.kinds, unit, numbers),
        alt,
    })
}

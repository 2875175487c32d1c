//! Strips of panels in sanding order, built from records and findings.

use super::Context;
use super::maps::cell_of;
use crate::causes::{ChangePoint, Finding};
use crate::charts::strips::Strip;
use crate::charts::{ChartError, Description, strips};
use crate::records::Panel;
use crate::report::Figure;
use crate::report::words;

/// The strips of some findings as one chart.
pub(super) fn figure(
    context: &Context<'_>,
    findings: &[&Finding],
    name: &str,
) -> Result<Figure, ChartError> {
    let all: Vec<Strip> = findings.iter().map(|f| strip(context, f)).collect();
    let alt = words::strips::described(findings, context.numbers());
    let labels = strips::Labels {
        description: Description {
            title: words::strips::title(findings),
            text: alt.clone(),
        },
        ..words::strips::labels()
    };
    Ok(Figure {
        name: name.to_owned(),
        svg: strips::svg(&all, &labels, context.theme)?,
        caption: words::strips::caption(findings, all.iter().any(|s| !s.done.is_empty())),
        alt,
    })
}

fn strip(context: &Context<'_>, finding: &Finding) -> Strip {
    let records = context.findings.records;
    let cell = (finding.machine.as_deref(), finding.head.as_deref());
    // Panels are in time order already.
    let order: Vec<usize> = (0..records.panels.len())
        .filter(|&i| records.panels[i].inspected && cell_of(&records.panels[i]) == cell)
        .collect();
    let position = |panel: usize| order.partition_point(|&p| p < panel);
    let mut hits: Vec<usize> = finding
        .evidence
        .hits
        .iter()
        .map(|h| position(h.panel))
        .collect();
    hits.sort_unstable();
    hits.dedup();
    let change = |point: &Option<ChangePoint>| {
        point
            .as_ref()
            .map(|c| [position(c.earliest), position(c.panel), position(c.latest)])
    };
    Strip {
        label: words::strips::label(finding, context.numbers()),
        cause: finding.cause,
        panels: order.len(),
        hits,
        lots: lots(&records.panels, &order),
        onset: change(&finding.evidence.onset),
        end: change(&finding.evidence.end),
        done: done(context, finding, &order),
        ends: (
            panel_name(context, order.first().copied()),
            panel_name(context, order.last().copied()),
        ),
    }
}

/// Where something was done about the finding.
fn done(context: &Context<'_>, finding: &Finding, order: &[usize]) -> Vec<usize> {
    let panels = &context.findings.records.panels;
    let machine = finding.machine.as_deref();
    (context.findings.actions.iter())
        .filter(|d| d.action.is_about(&finding.id, machine, &finding.defect))
        .filter_map(|d| {
            order.iter().position(|&p| {
                let at = panels[p].sanded_at.or(panels[p].inspected_at);
                at.is_some_and(|at| at.local.date() > d.action.date)
            })
        })
        .collect()
}

/// Runs of panels of the same lot; none where lots are not recorded.
fn lots(panels: &[Panel], order: &[usize]) -> Vec<(usize, usize, String)> {
    let mut runs: Vec<(usize, usize, String)> = Vec::new();
    if order.iter().all(|&p| panels[p].lot.is_none()) {
        return runs;
    }
    for (position, &panel) in order.iter().enumerate() {
        let name = panels[panel].lot.as_deref().unwrap_or("–");
        match runs.last_mut() {
            Some((_, past, lot)) if lot == name => *past = position + 1,
            _ => runs.push((position, position + 1, name.to_owned())),
        }
    }
    runs
}

/// The panel's id with its day.
fn panel_name(context: &Context<'_>, panel: Option<usize>) -> String {
    let Some(panel) = panel.and_then(|p| context.findings.records.panels.get(p)) else {
        return String::new();
    };
    match panel.sanded_at {
        Some(at) => format!("{}, {}", panel.id, context.numbers().date(at.local.date())),
        None => panel.id.clone(),
    }
}

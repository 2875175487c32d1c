//! What the next report has to know to look for a finding.

use std::collections::BTreeMap;

use super::beside::{Carried, worse_side};
use super::measure::Subject;
use super::past::{Remembered, is_rate};
use super::{Look, Seen};
use crate::causes::Finding;
use crate::records::{Panel, Records};
use crate::stats::proportion::clopper_pearson;

/// What chance puts at a place where the last report does not say.
const USUAL: f64 = 0.01;

/// This report's findings as the next one will remember them.
pub(super) fn remembered(findings: &[Finding]) -> Vec<Remembered> {
    findings.iter().filter_map(Remembered::of).collect()
}

/// Chance hits at the place, as the last report expected them.
pub(super) fn usual_at_place(old: &Remembered) -> f64 {
    match (old.expected_hits, old.panels_exposed) {
        (Some(expected), Some(exposed)) if exposed > 0 => {
            (expected / exposed as f64).clamp(0.002, 1.0)
        }
        _ => USUAL,
    }
}

/// What the next report has to know to look for a finding.
pub(super) fn reference(finding: &Finding, all: &[Remembered], records: &Records) -> Look {
    let Some(own) = all.iter().find(|o| o.id == finding.id) else {
        return Look::default();
    };
    let refs: Vec<&Remembered> = all.iter().collect();
    let subject = Subject::new(own, &refs, 0.0);
    if subject.placed() || !is_rate(&own.kind) {
        return Look {
            rate_low: finding.hit_rate_ci.map(|ci| ci.low),
            usual: subject.placed().then(|| usual_at_place(own)),
            ..Look::default()
        };
    }
    if own.levels.is_empty()
        && !finding.evidence.exposed.is_empty()
        && let Some(rest) = outside_stretch(finding, own, &subject, records)
    {
        return Look {
            rate_low: finding.hit_rate_ci.map(|ci| ci.low),
            usual: Some(rest.share()),
            ..Look::default()
        };
    }
    let side = worse_side(finding, own, records);
    let of = |carried| {
        let subject = subject.clone().carried_by(carried);
        let outside = subject.outside(records, |_| true);
        (subject.count(records, |_| true), outside, carried)
    };
    let (mut seen, mut outside, mut carried) = of(side);
    // Levels that show less than the others: the others carry it.
    if side.is_none() && outside.is_some_and(|rest| rest.share() > seen.share()) {
        (seen, outside, carried) = of(Some(Carried::Others));
    }
    Look {
        rate_low: lowest(&seen),
        usual: outside.map(|rest| rest.share()),
        carried,
        ..Look::default()
    }
}

/// The stream's panels outside the stretch of a finding that names a time; none
/// where it is all of them.
fn outside_stretch(
    finding: &Finding,
    own: &Remembered,
    subject: &Subject<'_>,
    records: &Records,
) -> Option<Seen> {
    let mut outside: Vec<bool> = (records.panels.iter())
        .map(|panel| panel.inspected && own.of_cell(panel))
        .collect();
    for &panel in &finding.evidence.exposed {
        outside[panel] = false;
    }
    let seen = subject.count(records, |k| outside[k]);
    (seen.panels > 0).then_some(seen)
}

/// The lower limit of a share of panels hit.
pub(super) fn lowest(seen: &Seen) -> Option<f64> {
    let ci = clopper_pearson(seen.hits as u64, seen.panels as u64, 0.95).ok()?;
    Some(ci.low).filter(|low| *low > 0.0)
}

/// How often each finding was seen on the panels before those of a stretch, and
/// on these, by id.
#[must_use]
pub fn seen_in(
    findings: &[Finding],
    records: &Records,
    inside: impl Fn(&Panel) -> bool,
) -> BTreeMap<String, [Seen; 2]> {
    let all = remembered(findings);
    let refs: Vec<&Remembered> = all.iter().collect();
    (all.iter().zip(findings))
        .map(|(own, finding)| {
            let hits = &finding.evidence.hits;
            let seen = |within: bool| {
                let counts = |k: usize| inside(&records.panels[k]) == within;
                // Its own panels where the analysis names them.
                if hits.is_empty() {
                    let exposed = &finding.evidence.exposed;
                    return Subject::new(own, &refs, 0.0).count(records, |k| {
                        counts(k) && (exposed.is_empty() || exposed.binary_search(&k).is_ok())
                    });
                }
                Seen {
                    hits: hits.iter().filter(|h| counts(h.panel)).count(),
                    panels: (finding.evidence.exposed.iter())
                        .filter(|&&p| counts(p))
                        .count(),
                    last: None,
                }
            };
            (own.id.clone(), [seen(false), seen(true)])
        })
        .collect()
}

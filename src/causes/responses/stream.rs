//! The verdict on a stream: the cause with most of its marks; where nobody is
//! named, who wandering marks come with, or who is still open.

use super::rate::{Account, Quiet};
use crate::causes::verdict::SEEN_SHARE;
use crate::causes::{
    Cause, CauseShare, Certainty, Finding, Kind, Limit, NextCheck, OpenRival, Reason, Stream,
};
use crate::site::DefectClass;

/// From this share of panels on a kind of defect counts as being everywhere.
const EVERYWHERE: f64 = 0.5;

/// Fills in a stream's cause, its shares, what is open, reasons and next check.
/// `findings` are its own, strongest first; `places`: whether marks have places.
pub(crate) fn conclude_stream(
    stream: &mut Stream,
    limit: &Limit,
    findings: &[&Finding],
    account: &Account,
    places: bool,
) {
    if findings.is_empty() {
        wandering(stream, limit, account, places);
        return;
    }
    let machine = findings.iter().any(|f| f.cause == Cause::Machine);
    // Thin film explains a stream only where no machine place does.
    let counts = |f: &&&Finding| !(machine && f.kind == Kind::ThinFilm);
    let mut shares: Vec<(f64, &Finding)> = (findings.iter().filter(counts))
        .map(|f| (share(stream, f), *f))
        .collect();
    shares.sort_by(|a, b| b.0.total_cmp(&a.0));
    stream.causes = (shares.iter())
        .map(|(share, f)| CauseShare {
            cause: f.cause,
            finding: f.id.clone(),
            share: *share,
        })
        .collect();
    let mut open: Vec<OpenRival> = Vec::new();
    for rival in shares.iter().flat_map(|(_, f)| &f.open) {
        if !open.iter().any(|o| o.rival == rival.rival) {
            open.push(rival.clone());
        }
    }
    stream.open = open;
    if let Some((_, first)) = shares.first() {
        stream.cause = first.cause;
        stream.certainty = first.certainty;
        stream.next_check = first.next_check.clone();
    }
    if stream.cause == Cause::Undecided {
        stream.certainty = Certainty::CannotTell;
    }
}

/// The share of a stream's marks that a finding accounts for, 0..1.
fn share(stream: &Stream, finding: &Finding) -> f64 {
    let marks = match finding.evidence.marks {
        Some(marks) => marks,
        None if finding.evidence.members.is_empty() => finding.panels_hit as f64,
        None => {
            let by_chance = finding.expected_hits.unwrap_or(0.0);
            finding.evidence.members.len() as f64 - by_chance
        }
    };
    (marks / stream.defects.max(1) as f64).clamp(0.0, 1.0)
}

/// Nothing was found. "Comes with the parts" is the trade's rule for marks that
/// wander; it holds only where a repeat would have been seen and nobody on the
/// records could double the rate.
fn wandering(stream: &mut Stream, limit: &Limit, account: &Account, places: bool) {
    let (open, excluded): (Vec<&Quiet>, Vec<&Quiet>) = account.quiet.iter().partition(|q| q.open());
    let seen = limit.smallest_repeat_seen.filter(|s| *s <= SEEN_SHARE);
    let wanders = seen.is_some() && open.is_empty() && places;
    (stream.cause, stream.certainty) = if wanders {
        (Cause::Part, Certainty::Likely)
    } else {
        (Cause::Undecided, Certainty::CannotTell)
    };
    stream.reasons = match seen {
        _ if !places => vec![Reason::NoPlaces],
        Some(smallest_seen) => vec![Reason::NothingRepeats { smallest_seen }],
        None => vec![Reason::TooFewToSee {
            smallest_seen: limit.smallest_repeat_seen,
            panels_needed: limit.panels_needed,
        }],
    };
    if stream.panels_hit <= 2 {
        stream.reasons.push(Reason::SeenOnFewPanels {
            panels: stream.panels_hit,
        });
    }
    let left_open = open.iter().map(|q| Reason::FactorNotExcluded {
        factor: q.rival.clone(),
    });
    stream.reasons.extend(left_open);
    let told = excluded.iter().filter_map(|q| {
        Some(Reason::Excluded {
            rival: q.rival.clone(),
            within: q.within?,
        })
    });
    stream.reasons.extend(told);
    stream.open = (open.iter())
        .map(|q| OpenRival {
            rival: q.rival.clone(),
            levels: Vec::new(),
            to_settle: NextCheck::TryFactor {
                factor: q.rival.clone(),
            },
            panels: q.within.map(|w| {
                let wider = w.ln() / std::f64::consts::LN_2;
                (stream.panels as f64 * wider * wider).ceil() as usize
            }),
        })
        .collect();
    stream.next_check = next_check(stream, &open);
}

/// What a practitioner would do first with a kind of defect without a place.
fn next_check(stream: &Stream, open: &[&Quiet]) -> NextCheck {
    let everywhere =
        stream.panels >= 5 && stream.panels_hit as f64 >= EVERYWHERE * stream.panels as f64;
    if stream.panels_hit <= 2 {
        return NextCheck::DontAdjust {
            panels: stream.panels_hit,
        };
    }
    match (stream.class, stream.cause) {
        (Some(DefectClass::Over), _) if everywhere => NextCheck::CheckForceThenSpeedUp,
        (Some(DefectClass::Under), _) if everywhere => NextCheck::SlowDownFirst,
        (_, Cause::Part) => NextCheck::CheckIncoming,
        _ => match (open.first(), stream.panels_needed) {
            (_, Some(panels)) => NextCheck::MorePanels { panels },
            (Some(open), None) => NextCheck::TryFactor {
                factor: open.rival.clone(),
            },
            (None, None) => NextCheck::CheckIncoming,
        },
    }
}

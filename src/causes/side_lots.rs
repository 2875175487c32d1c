//! What the lots say about a side: votes as hits.

use std::collections::BTreeMap;

use super::levels::FRAME_CLAIM;
use super::lots::{LEAST_LOTS_HIT, LotCount, LotEvidence, gathered};
use super::repeat::coded;
use super::sides::Lead;
use super::tails::binomial_at_least;
use super::votes::{SideFrame, Voter, side_contrast};
use super::{LotsLack, Tally};
use crate::records::Records;

/// With the two lots with most votes left out, the sign must hold at this level.
const WITHOUT_TWO_LOTS: f64 = 0.01;

/// Lots of the voters: cleared if the sign holds without the two lots with
/// most votes, gathered as for a place, else too few.
pub(super) fn lot_evidence(
    records: &Records,
    lead: &Lead,
    for_side: &[bool],
) -> (Vec<String>, Vec<LotCount>, LotEvidence) {
    let lots: Vec<Option<String>> = (lead.voters.iter())
        .map(|v| records.panels[v.panel].lot.as_deref().map(String::from))
        .collect();
    let (codes, names) = coded(&lots);
    let none = LotCount {
        exposed: 0,
        hits: 0,
    };
    let mut counts = vec![none; names.len()];
    for (code, hit) in codes.iter().zip(for_side) {
        if let Some(l) = code {
            counts[*l].exposed += 1;
            counts[*l].hits += usize::from(*hit);
        }
    }
    let known: usize = counts.iter().map(|c| c.exposed).sum();
    let evidence = if 2 * known < codes.len() || names.is_empty() {
        LotEvidence::NotRecorded
    } else if names.len() == 1 {
        LotEvidence::OneLot
    } else {
        let mut sorted = counts.clone();
        sorted.sort_by_key(|c| std::cmp::Reverse((c.hits, c.exposed)));
        let (n, k) = sorted[2.min(sorted.len())..]
            .iter()
            .fold((0, 0), |s, c| (s.0 + c.exposed, s.1 + c.hits));
        let rest = binomial_at_least(k, n, 0.5);
        let lots_hit = counts.iter().filter(|c| c.hits > 0).count();
        if names.len() >= LEAST_LOTS_HIT && rest <= WITHOUT_TWO_LOTS {
            LotEvidence::Cleared {
                lots_hit,
                lots: names.len(),
                rest,
            }
        } else if let Some((lots, p_value)) = gathered(&counts, 0.5) {
            LotEvidence::Gathered { lots, p_value }
        } else {
            LotEvidence::Open {
                lots_hit,
                lots: names.len(),
                lack: if lots_hit < LEAST_LOTS_HIT {
                    LotsLack::LotsHit
                } else {
                    LotsLack::RestNotClear(Tally {
                        hits: k,
                        exposed: n,
                    })
                },
            }
        }
    };
    (names, counts, evidence)
}

/// Machine over panel within single lots, summed over lots.
pub(super) fn within_lots(records: &Records, lead: &Lead) -> Option<(usize, f64)> {
    let mut lots: BTreeMap<&str, Vec<Voter>> = BTreeMap::new();
    for v in &lead.voters {
        if let Some(lot) = &records.panels[v.panel].lot {
            lots.entry(lot).or_default().push(*v);
        }
    }
    let (mut speak, mut sum) = (0, 0.0);
    for voters in lots.values() {
        let c = side_contrast(records, voters, (lead.frame, lead.side), SideFrame::Panel);
        sum += c.log_ratio;
        speak += usize::from(c.log_ratio >= 10.0_f64.ln());
    }
    (lead.frame == SideFrame::Machine && speak >= 2 && sum >= FRAME_CLAIM).then_some((speak, sum))
}

/// Lots of the panels, in order of first panel.
pub(super) fn lots_in_order(records: &Records, panels: &[usize]) -> Vec<String> {
    let mut seen = std::collections::BTreeSet::new();
    (panels.iter())
        .filter_map(|&i| records.panels[i].lot.as_deref())
        .filter(|lot| seen.insert(*lot))
        .map(String::from)
        .collect()
}

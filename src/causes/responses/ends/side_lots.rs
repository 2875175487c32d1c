//! What the lots say about a side: votes as hits.

use std::collections::BTreeMap;

use crate::causes::responses::ends::sides::Lead;
use crate::causes::responses::ends::votes::{SideFrame, Voter, side_contrast};
use crate::causes::responses::repeat::coded;
use crate::causes::rivals::day_of;
use crate::causes::rivals::frame_duel::{OtherLots, alike};
use crate::causes::rivals::lots::{LEAST_LOTS_HIT, LotCount, LotEvidence, gathered};
use crate::causes::tails::binomial_at_least;
use crate::causes::{LotsLack, Tally};
use crate::records::Records;

/// With the two lots with most votes left out, the sign must hold at this level.
const WITHOUT_TWO_LOTS: f64 = 0.01;

/// Lots of the voters: cleared if the sign holds without the two lots with
/// most votes, gathered as for a place, else too few.
pub(in crate::causes) fn lot_evidence(
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
            let voters = lead.voters.iter();
            let days: Vec<Option<i64>> = voters.map(|v| day_of(&records.panels[v.panel])).collect();
            LotEvidence::Gathered { lots, p_value }.against_time(&codes, for_side, &days)
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

/// The leading frame over a rival within panels alike, the rival's side free in
/// each group: the sum, and what the two most-hit lots leave.
pub(in crate::causes) fn within(
    records: &Records,
    lead: &Lead,
    rival: SideFrame,
) -> (f64, OtherLots) {
    let panels: Vec<usize> = lead.voters.iter().map(|v| v.panel).collect();
    let vote: BTreeMap<usize, Voter> = lead.voters.iter().map(|v| (v.panel, *v)).collect();
    let mut sum = 0.0;
    let mut lots: BTreeMap<&str, (usize, f64)> = BTreeMap::new();
    for group in alike(records, &panels) {
        let voters: Vec<Voter> = group.iter().map(|i| vote[i]).collect();
        let c = side_contrast(records, &voters, (lead.frame, lead.side), rival);
        sum += c.log_ratio;
        if let (true, Some(lot)) = (c.informative > 0, &records.panels[group[0]].lot) {
            let of_lot = lots.entry(lot).or_default();
            of_lot.0 += voters.iter().filter(|v| v.vote == lead.side).count();
            of_lot.1 += c.log_ratio;
        }
    }
    let mut by_votes: Vec<(usize, f64)> = lots.into_values().collect();
    by_votes.sort_by_key(|(votes, _)| std::cmp::Reverse(*votes));
    let rest = by_votes.iter().skip(2).map(|(_, ratio)| ratio).sum();
    let other_lots = (by_votes.len() > 2).then(|| (by_votes.len() - 2, rest));
    (sum, other_lots)
}

/// Lots of the panels, in order of first panel.
pub(in crate::causes) fn lots_in_order(records: &Records, panels: &[usize]) -> Vec<String> {
    let mut seen = std::collections::BTreeSet::new();
    (panels.iter())
        .filter_map(|&i| records.panels[i].lot.as_deref())
        .filter(|lot| seen.insert(*lot))
        .map(String::from)
        .collect()
}

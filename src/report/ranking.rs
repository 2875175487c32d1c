//! Which kinds of defect weigh most, and who makes them: panels by kind and
//! cause, with the site's cost where it has one.

use std::collections::BTreeMap;

use super::Findings;
use super::story::is_of;
use crate::causes::{Cause, Causes, Finding, Frame};
use crate::change::week_of;
use crate::charts::CAUSES;
use crate::life::rename;
use crate::records::Panel;
use crate::site::{DefectClass, Site};

/// A kind of defect with its weight.
#[derive(Debug, Clone, PartialEq)]
pub struct KindRow {
    /// Its name.
    pub name: String,
    /// Its class, where known.
    pub class: Option<DefectClass>,
    /// Panels with at least one.
    pub panels: usize,
    /// Such defects.
    pub defects: usize,
    /// Panels by cause; the parts add up to `panels`. A panel with a mark at a
    /// place counts for who makes the place, the first of [`CAUSES`] where there
    /// are two. Of the other panels a rate has its share: the excess, as the
    /// share of marks that its findings account for; the rest is not known.
    pub by_cause: Vec<(Cause, usize)>,
    /// Cost of these panels, where the site file has one for the kind.
    pub cost: Option<f64>,
}

/// All kinds, the heaviest first.
#[derive(Debug, Clone, PartialEq)]
pub struct Ranking {
    /// By cost where the site has costs, else by panels.
    pub kinds: Vec<KindRow>,
    /// Sum of the costs; none without any.
    pub total_cost: Option<f64>,
}

/// Ranks the kinds of defect, over the week where one is reported.
#[must_use]
pub fn rank(findings: &Findings<'_>, site: &Site) -> Ranking {
    let week = findings.weekly.week;
    rank_of(findings, site, |panel| {
        week.is_none() || week_of(panel) == week
    })
}

/// The same over those panels that count.
#[must_use]
pub fn rank_of(findings: &Findings<'_>, site: &Site, counts: impl Fn(&Panel) -> bool) -> Ranking {
    let records = findings.records;
    let causes = &findings.causes;
    let mut of_defect: Vec<Option<Cause>> = vec![None; records.defects.len()];
    // Weakest first, so that the strongest finding has the last word.
    for finding in causes.findings.iter().rev() {
        for &member in &finding.evidence.members {
            of_defect[member] = Some(finding.cause);
        }
    }
    let stream_of: BTreeMap<_, usize> = (causes.streams.iter().enumerate())
        .map(|(index, s)| {
            let cell = (s.machine.as_deref(), s.head.as_deref());
            ((cell, s.defect.as_str()), index)
        })
        .collect();
    let rank_of = |cause: Cause| CAUSES.iter().position(|&c| c == cause).unwrap_or(0);

    // Per kind and panel: the first cause of CAUSES among its marks at places,
    // and the panels that show the kind elsewhere, with their stream.
    let mut cells: BTreeMap<(usize, usize), usize> = BTreeMap::new();
    let mut elsewhere: BTreeMap<(usize, usize), Option<usize>> = BTreeMap::new();
    let mut defects = vec![0usize; records.defect_names.len()];
    for (index, defect) in records.defects.iter().enumerate() {
        let panel = &records.panels[defect.panel];
        if !panel.inspected || !counts(panel) {
            continue;
        }
        defects[defect.name] += 1;
        let at = (defect.name, defect.panel);
        if let Some(cause) = of_defect[index] {
            let slot = cells.entry(at).or_insert(rank_of(cause));
            *slot = (*slot).min(rank_of(cause));
        } else {
            let cell = (panel.machine.as_deref(), panel.head.as_deref());
            let name = records.defect_names[defect.name].name.as_str();
            let stream = stream_of.get(&(cell, name));
            elsewhere.insert(at, stream.copied());
        }
    }
    let mut by_cause = vec![[0usize; CAUSES.len()]; records.defect_names.len()];
    for (&(name, _), &cause) in &cells {
        by_cause[name][cause] += 1;
    }
    let mut left: BTreeMap<(usize, Option<usize>), Vec<usize>> = BTreeMap::new();
    for ((name, panel), stream) in elsewhere {
        if !cells.contains_key(&(name, panel)) {
            left.entry((name, stream)).or_default().push(panel);
        }
    }
    for ((name, stream), panels) in left {
        let shares = stream.map_or_else(Vec::new, |stream| {
            shares_of_rest(findings, stream, &of_defect)
        });
        let mut unknown = panels.len();
        for share in shares {
            let about = panels.iter().filter(|panel| share.about(panel)).count();
            let own = ((about as f64 * share.excess).round() as usize).min(unknown);
            unknown -= own;
            by_cause[name][rank_of(share.cause)] += own;
        }
        by_cause[name][rank_of(Cause::Undecided)] += unknown;
    }
    let mut kinds: Vec<KindRow> = records
        .defect_names
        .iter()
        .enumerate()
        .filter(|(i, _)| defects[*i] > 0)
        .map(|(i, name)| {
            let panels: usize = by_cause[i].iter().sum();
            KindRow {
                name: name.name.clone(),
                class: name.class,
                panels,
                defects: defects[i],
                by_cause: CAUSES
                    .iter()
                    .copied()
                    .zip(by_cause[i])
                    .filter(|p| p.1 > 0)
                    .collect(),
                cost: site
                    .defects
                    .cost_of(&name.name)
                    .map(|cost| cost * panels as f64),
            }
        })
        .collect();
    kinds.sort_by(|a, b| {
        let weight = |k: &KindRow| k.cost.unwrap_or(0.0);
        weight(b)
            .total_cmp(&weight(a))
            .then(b.panels.cmp(&a.panels))
            .then(a.name.cmp(&b.name))
    });
    let costs: Vec<f64> = kinds.iter().filter_map(|k| k.cost).collect();
    Ranking {
        total_cost: (!costs.is_empty()).then(|| costs.iter().sum()),
        kinds,
    }
}

/// A cause's share in the marks outside every place.
struct Share {
    cause: Cause,
    /// The panels that its finding is about, in order; none for all.
    panels: Option<Vec<usize>>,
    /// Its share of the marks on these panels, 0..1.
    excess: f64,
}

impl Share {
    fn about(&self, panel: &usize) -> bool {
        (self.panels.as_ref()).is_none_or(|panels| panels.binary_search(panel).is_ok())
    }
}

/// Who makes the marks of a stream outside every place: where nothing was found
/// it is the stream's own account, a rate its excess on the panels that it is
/// about; where only places were found, nobody has accounted for the rest.
fn shares_of_rest(
    findings: &Findings<'_>,
    stream: usize,
    of_defect: &[Option<Cause>],
) -> Vec<Share> {
    let records = findings.records;
    let own: Vec<&Finding> = (findings.causes.findings.iter())
        .filter(|f| is_of(f, stream))
        .collect();
    let account = &findings.causes.streams[stream];
    if own.is_empty() {
        return vec![Share {
            cause: account.cause,
            panels: None,
            excess: 1.0,
        }];
    }
    let gone = |id: &str| findings.weekly.week.is_some() && findings.lives.gone(id);
    let share = |f: &&Finding| {
        let said = account.causes.iter().find(|share| share.finding == f.id)?;
        let mut panels = f.evidence.exposed.clone();
        panels.sort_unstable();
        let marks = (records.defects.iter().zip(of_defect))
            .filter(|(defect, placed)| {
                placed.is_none()
                    && records.defect_names[defect.name].name == f.defect
                    && panels.binary_search(&defect.panel).is_ok()
            })
            .count();
        let excess = said.share * account.defects as f64 / marks.max(1) as f64;
        Some(Share {
            cause: f.cause,
            panels: Some(panels),
            excess: excess.clamp(0.0, 1.0),
        })
    };
    (own.iter())
        .filter(|f| f.evidence.members.is_empty() && !gone(&f.id))
        .filter_map(share)
        .collect()
}

/// Puts the worst finding first and numbers them F1, F2, …: by cost of the
/// panels hit where the site knows the kind's cost, then by panels hit, then by
/// how clear it is. A head that leans and panels that bring their own, found
/// on the same readings, stay together, the larger share first.
pub(super) fn number_worst_first(causes: &mut Causes, site: &Site) {
    let findings = &mut causes.findings;
    let cost = |f: &Finding| site.defects.cost_of(&f.defect).unwrap_or(0.0) * f.panels_hit as f64;
    findings.sort_by(|a, b| {
        cost(b)
            .total_cmp(&cost(a))
            .then(b.panels_hit.cmp(&a.panels_hit))
    });
    for (index, surface) in causes.surface.iter().enumerate() {
        let own: Vec<usize> = (0..findings.len())
            .filter(|&f| findings[f].evidence.surface == Some(index))
            .collect();
        let [first, second] = own.as_slice() else {
            continue;
        };
        findings[first + 1..=*second].rotate_right(1);
        let of_head = |f: &Finding| f.frame != Some(Frame::Panel);
        let larger_is_head = surface.share_machine >= surface.share_part;
        if of_head(&findings[*first]) != larger_is_head
            && of_head(&findings[*first]) != of_head(&findings[first + 1])
        {
            findings.swap(*first, first + 1);
        }
    }
    rename(causes, (1..).map(|i| format!("F{i}")));
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::causes::made::{spot, stream};
    use crate::causes::{CauseShare, Evidence, Stream};
    use crate::records::{Defect, DefectName, Records};
    use crate::report::findings::bare;

    /// A nib on each of ten of twenty panels, a second one on the first, and who
    /// makes them: a place of the machine (panels 0 to 3), one of the part (panel 0)
    /// and the recipe, which accounts for three of the six elsewhere.
    fn nibs() -> (Records, Causes) {
        let panel = |id: usize| Panel {
            id: format!("P{id}"),
            machine: Some("M1".into()),
            inspected: true,
            ..Panel::default()
        };
        let nib = |panel: usize| Defect {
            panel,
            name: 0,
            place: None,
            written: None,
            area_mm2: None,
            severity: None,
        };
        let records = Records {
            panels: (0..20).map(panel).collect(),
            defects: (0..10).chain([0]).map(nib).collect(),
            defect_names: vec![DefectName {
                name: "nib".into(),
                class: None,
            }],
            ..Records::default()
        };
        let finding = |id: &str, cause: Cause, members: Vec<usize>| Finding {
            id: id.into(),
            defect: "nib".into(),
            cause,
            evidence: Evidence {
                stream: Some(0),
                members,
                exposed: (0..20).collect(),
                ..Evidence::default()
            },
            ..spot()
        };
        let causes = Causes {
            findings: vec![
                finding("F1", Cause::Part, vec![10]),
                finding("F2", Cause::Machine, vec![0, 1, 2, 3]),
                finding("F3", Cause::Recipe, Vec::new()),
            ],
            streams: vec![Stream {
                machine: Some("M1".into()),
                panels: 20,
                defects: 11,
                causes: vec![CauseShare {
                    cause: Cause::Recipe,
                    finding: "F3".into(),
                    share: 3.0 / 11.0,
                }],
                ..stream()
            }],
            ..Causes::default()
        };
        (records, causes)
    }

    #[test]
    fn the_shares_of_the_first_chart_add_up_to_its_panels() {
        let (records, mut causes) = nibs();
        let site = Site::default();
        let of = |causes: &Causes, counts: &dyn Fn(&Panel) -> bool| {
            let findings = bare(&records, causes.clone(), &site);
            let ranked = rank_of(&findings, &site, counts).kinds;
            assert_eq!(ranked.len(), 1);
            let row = &ranked[0];
            let sum: usize = row.by_cause.iter().map(|p| p.1).sum();
            assert_eq!(sum, row.panels, "{row:?}");
            (row.panels, row.by_cause.clone())
        };
        let all = |_: &Panel| true;
        // Panel 0 has a mark of both places: it is the machine's, once.
        let whole = [
            (Cause::Machine, 4),
            (Cause::Recipe, 3),
            (Cause::Undecided, 3),
        ];
        assert_eq!(of(&causes, &all), (10, whole.to_vec()));
        // A rate about panels 4 to 6 alone, with two of their three marks.
        causes.findings[2].evidence.exposed = vec![4, 5, 6];
        causes.streams[0].causes[0].share = 2.0 / 11.0;
        let some = [
            (Cause::Machine, 4),
            (Cause::Recipe, 2),
            (Cause::Undecided, 4),
        ];
        assert_eq!(of(&causes, &all), (10, some.to_vec()));
        // Of panels 2 to 5 alone: two of the place, two elsewhere, both of the rate.
        let few = |panel: &Panel| ["P2", "P3", "P4", "P5"].contains(&panel.id.as_str());
        let (panels, by_cause) = of(&causes, &few);
        assert_eq!(panels, 4);
        assert_eq!(by_cause[0], (Cause::Machine, 2));
        // Places alone account for nothing else.
        causes.findings.truncate(2);
        let rest = [(Cause::Machine, 4), (Cause::Undecided, 6)];
        assert_eq!(of(&causes, &all), (10, rest.to_vec()));
    }

    #[test]
    fn the_worst_is_numbered_first_by_cost_and_else_by_panels() {
        let finding = |defect: &str, panels_hit: usize| Finding {
            defect: defect.into(),
            panels_hit,
            ..spot()
        };
        let mut causes = Causes {
            findings: vec![finding("swirl", 9), finding("nib", 30), finding("pit", 12)],
            ..Causes::default()
        };
        let order = |causes: &Causes| -> Vec<String> {
            let findings = causes.findings.iter();
            findings.map(|f| format!("{} {}", f.id, f.defect)).collect()
        };
        let mut site = Site::default();
        number_worst_first(&mut causes, &site);
        assert_eq!(order(&causes), ["F1 nib", "F2 pit", "F3 swirl"]);
        // 9 panels at 8 cost more than 30 at 2; what has no cost comes last.
        site.defects.cost = [("swirl".to_owned(), 8.0), ("nib".to_owned(), 2.0)].into();
        number_worst_first(&mut causes, &site);
        assert_eq!(order(&causes), ["F1 swirl", "F2 nib", "F3 pit"]);
    }
}

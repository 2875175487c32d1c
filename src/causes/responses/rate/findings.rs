//! From what a rate follows to findings, one for each stream that shows it.

use std::collections::BTreeSet;

use super::{Account, Claim};
use crate::causes::about::About;
use crate::causes::responses::Remainder;
use crate::causes::{
    AbrasiveEnd, Cause, Evidence, Finding, Kind, LevelCount, NextCheck, OpenRival, RateByLevel,
    Reason, Rival, Tally,
};
use crate::duel::codes;
use crate::records::Records;
use crate::stats::Interval;

/// A stream of several must lean the same way as all together by so much, and by the
/// square root of what all together do, measured alike: else it is another one that
/// does it.
const OWN_RATIO: f64 = 1.1;

/// Findings of all streams of one kind of defect.
pub(crate) fn rate_findings(
    records: &Records,
    streams: &[Remainder<'_>],
    account: &Account,
) -> Vec<(usize, Finding, Vec<RateByLevel>)> {
    let mut out = Vec::new();
    for claim in &account.claims {
        let shares: Vec<(usize, Share)> = (account.streams.iter())
            .filter_map(|&index| Some((index, share_of(records, &streams[index], account, claim)?)))
            .collect();
        let all = claim.bound.map_or(1.0, |b| b.ratio.max(1.0 / b.ratio));
        let together = Contrast::sum(shares.iter().map(|(_, s)| &s.contrast));
        let least = OWN_RATIO.max(together.ratio().unwrap_or(all).sqrt());
        for (index, share) in shares {
            let own = share.contrast.ratio().unwrap_or(all);
            if account.streams.len() > 1 && own <= least {
                continue;
            }
            let marks = share.contrast.beyond(all);
            let finding = finding_of(
                records,
                (index, &streams[index]),
                (account, claim),
                (&share.inside, marks),
            );
            let levels = levels_of(&streams[index], claim, &share.inside);
            out.push((index, finding, levels));
        }
    }
    out
}

/// A stream's part in a claim.
struct Share {
    /// Its panels of the claim, positions among all of its panels.
    inside: Vec<usize>,
    contrast: Contrast,
}

/// Marks and area, m², of what is accused and of the rest.
#[derive(Debug, Clone, Copy, Default)]
struct Contrast {
    accused: (f64, f64),
    rest: (f64, f64),
}

impl Contrast {
    fn sum<'a>(all: impl Iterator<Item = &'a Self>) -> Self {
        let add = |a: (f64, f64), b: (f64, f64)| (a.0 + b.0, a.1 + b.1);
        all.fold(Self::default(), |sum, c| Self {
            accused: add(sum.accused, c.accused),
            rest: add(sum.rest, c.rest),
        })
    }

    /// Rate of the accused over that of the rest, half a mark added there; none where
    /// all is accused: a machine against others.
    fn ratio(&self) -> Option<f64> {
        let (accused, rest) = (self.accused, self.rest);
        (rest.1 > 0.0).then(|| accused.0 / accused.1 / ((rest.0 + 0.5) / rest.1))
    }

    /// Marks of the accused beyond the rest's rate, or at so many times it where all is
    /// accused.
    fn beyond(&self, ratio: f64) -> f64 {
        let (accused, rest) = (self.accused, self.rest);
        if rest.1 <= 0.0 {
            return accused.0 * (1.0 - 1.0 / ratio);
        }
        (accused.0 - rest.0 / rest.1 * accused.1).max(0.0)
    }
}

fn share_of(
    records: &Records,
    stream: &Remainder<'_>,
    account: &Account,
    claim: &Claim,
) -> Option<Share> {
    let position = |row: usize| stream.data.panels.binary_search(&account.panels[row]).ok();
    let own: Vec<(usize, usize, f64)> = (0..account.panels.len())
        .filter_map(|row| Some((row, position(row)?, claim.suspect.given[row]?)))
        .collect();
    let inside: Vec<usize> = claim.inside.iter().filter_map(|&r| position(r)).collect();
    let mut numbers: Vec<f64> = own.iter().map(|o| o.2).collect();
    numbers.sort_by(f64::total_cmp);
    let levels = numbers.iter().all(|x| *x == 0.0 || *x == 1.0);
    // The quiet end: all but the accused level, or the third of the numbers there.
    let cut = if levels {
        0.5
    } else if claim.rises {
        numbers[numbers.len() / 3]
    } else {
        numbers[2 * numbers.len() / 3]
    };
    let named: BTreeSet<usize> = inside.iter().copied().collect();
    let quiet = |x: f64| if claim.rises { x <= cut } else { x >= cut };
    let area = |at: usize| records.panels[stream.data.panels[at]].area_m2();
    let mut contrast = Contrast::default();
    for &(_, at, x) in &own {
        let side = if quiet(x) && !(levels && claim.rises && named.contains(&at)) {
            &mut contrast.rest
        } else {
            &mut contrast.accused
        };
        side.0 += stream.marks[at];
        side.1 += area(at);
    }
    let (marks, area) = contrast.accused;
    (!inside.is_empty() && area > 0.0 && marks > 0.0).then_some(Share { inside, contrast })
}

fn finding_of(
    records: &Records,
    (index, stream): (usize, &Remainder<'_>),
    (account, claim): (&Account, &Claim),
    (inside, marks): (&[usize], f64),
) -> Finding {
    let machine = |p: &usize| records.panels[*p].machine.as_deref();
    let machines = account.panels.iter().map(machine).collect::<BTreeSet<_>>();
    let machines = machines.len();
    let cause = claim.cause();
    let mut finding = about_rate(
        records,
        index,
        stream,
        inside,
        (kind_of(&claim.rival), cause),
        (claim.p_adjusted, reasons(records, account, claim, machines)),
    );
    finding.next_check = next_check(claim);
    finding.rival = Some(claim.rival.clone());
    finding.levels.clone_from(&claim.levels);
    finding.open = open_rivals(claim);
    finding.evidence.marks = Some(marks);
    finding
}

fn kind_of(rival: &Rival) -> Kind {
    match rival {
        Rival::Lot | Rival::Supplier => Kind::Lot,
        Rival::AbrasiveAge | Rival::AbrasiveId => Kind::Abrasive,
        _ if rival.cause() == Cause::Undecided => Kind::Time,
        _ => Kind::Rate,
    }
}

fn reasons(records: &Records, account: &Account, claim: &Claim, machines: usize) -> Vec<Reason> {
    let mut out = Vec::new();
    let ratio = claim.bound.map(|b| b.ratio.max(1.0 / b.ratio));
    let units = match claim.rival {
        Rival::Supplier | Rival::Part | Rival::Size => Rival::Lot,
        _ => Rival::Part,
    };
    if claim.rival == Rival::Step {
        let first = claim.suspect.given.iter().position(|g| *g == Some(1.0));
        out.push(Reason::RateSteps {
            panel: first.map_or(String::new(), |r| {
                records.panels[account.panels[r]].id.clone()
            }),
            ratio: claim.bound.map_or(1.0, |b| b.ratio),
            p_adjusted: claim.p_adjusted,
        });
    } else if claim.levels.is_empty() {
        out.push(Reason::RateFollows {
            rival: claim.rival.clone(),
            // Feed stands with its law's sign.
            rises: claim.rises != (claim.rival == Rival::Feed),
            ratio,
            units: claim.units,
            machines,
            p_adjusted: claim.p_adjusted,
        });
    } else if let Some(bound) = claim.bound {
        out.push(Reason::RateHigher {
            column: claim.rival.clone(),
            level: claim.levels.join(", "),
            panels: claim.inside.len(),
            ratio: bound.ratio,
            ratio_ci: (bound.low, bound.high),
            units,
            machines,
        });
    }
    if !claim.beaten.is_empty() {
        out.push(Reason::StandsAgainst {
            rivals: claim.beaten.clone(),
        });
    }
    // Who inspected is a suspect also where nobody wrote it down.
    let of_panels = |p: &usize| records.panels[*p].inspector.is_none();
    let unknown = claim.rival == Rival::Machine && account.panels.iter().all(of_panels);
    let lotless = |p: &usize| records.panels[*p].lot.is_none();
    let lotless = account.panels.iter().all(lotless);
    let untold = |rival: &Rival| match rival {
        Rival::Inspector => unknown,
        Rival::Lot => lotless,
        _ => false,
    };
    let rivals = || (claim.open.iter().chain(&claim.beside)).map(|o| &o.0);
    let moved: Vec<Rival> = rivals().filter(|r| !untold(r)).cloned().collect();
    if !moved.is_empty() {
        out.push(Reason::MovedWith { columns: moved });
    }
    if unknown {
        out.push(Reason::InspectorNotRecorded);
    }
    if lotless && rivals().any(|r| *r == Rival::Lot) {
        out.push(Reason::LotsNotRecorded);
    }
    out
}

fn open_rivals(claim: &Claim) -> Vec<OpenRival> {
    (claim.open.iter().chain(&claim.beside))
        .map(|(rival, levels)| OpenRival {
            rival: rival.clone(),
            levels: levels.clone(),
            to_settle: NextCheck::MakeMeet {
                rival: claim.rival.clone(),
                levels: claim.levels.clone(),
                held: rival.clone(),
            },
            panels: (claim.panels > 0).then_some(claim.panels),
        })
        .collect()
}

fn next_check(claim: &Claim) -> NextCheck {
    let apart = claim
        .beside
        .first()
        .filter(|_| claim.cause() == Cause::Recipe);
    if let Some((held, _)) = claim.open.first().or(apart) {
        return NextCheck::MakeMeet {
            rival: claim.rival.clone(),
            levels: claim.levels.clone(),
            held: held.clone(),
        };
    }
    let first = || claim.levels.first().cloned().unwrap_or_default();
    match &claim.rival {
        Rival::Lot => NextCheck::CheckLots {
            lots: claim.levels.clone(),
        },
        Rival::Supplier => NextCheck::CheckSupplier { supplier: first() },
        Rival::Part | Rival::Size => NextCheck::CheckUpstream,
        Rival::AbrasiveAge => NextCheck::CheckAbrasive {
            end: if claim.rises {
                AbrasiveEnd::Worn
            } else {
                AbrasiveEnd::Fresh
            },
        },
        Rival::Fixture => NextCheck::CheckFixture { fixture: first() },
        Rival::Inspector => NextCheck::SecondInspector { inspector: first() },
        Rival::Recipe => NextCheck::CheckRecipe { recipe: first() },
        Rival::Machine | Rival::Head => NextCheck::CheckMachine { machine: first() },
        other => NextCheck::TryFactor {
            factor: other.clone(),
        },
    }
}

fn levels_of(stream: &Remainder<'_>, claim: &Claim, inside: &[usize]) -> Vec<RateByLevel> {
    let Some(bound) = claim.bound else {
        return Vec::new();
    };
    let column = claim.rival.code();
    let defects = inside.iter().map(|&at| stream.marks[at]).sum::<f64>() as usize;
    let level = |level: &String| RateByLevel {
        column: column.to_owned(),
        level: level.clone(),
        panels: inside.len(),
        defects,
        ratio: bound.ratio,
        ratio_ci: Interval {
            low: bound.low,
            high: bound.high,
            level: 0.9,
        },
        p_adjusted: claim.p_adjusted,
    };
    claim.levels.iter().map(level).collect()
}

/// A finding on the rate of one stream; `inside` are positions among its panels.
pub(crate) fn about_rate(
    records: &Records,
    index: usize,
    remainder: &Remainder<'_>,
    inside: &[usize],
    (kind, cause): (Kind, Cause),
    (p_adjusted, reasons): (f64, Vec<Reason>),
) -> Finding {
    let data = remainder.data;
    let panel = |at: usize| &records.panels[data.panels[at]];
    let hit: Vec<usize> = (inside.iter().copied())
        .filter(|&at| remainder.marks[at] > 0.0)
        .collect();
    let panels = |of: &[usize]| of.iter().map(|&at| data.panels[at]).collect::<Vec<_>>();
    let counted = Tally {
        hits: hit.len(),
        exposed: inside.len(),
    };
    let base = About::stream(records, data, index).finding(records, &panels(&hit), counted);
    let (mut by_age, mut by_lot) = (Vec::new(), Vec::new());
    if kind == Kind::Abrasive {
        let aged: Vec<(f64, bool)> = (inside.iter())
            .filter_map(|&at| Some((panel(at).abrasive_age?, remainder.marks[at] > 0.0)))
            .collect();
        by_age = self::by_age(&aged);
    }
    if kind == Kind::Lot {
        by_lot = self::by_lot(remainder, records);
    }
    Finding {
        cause,
        kind,
        p_adjusted: Some(p_adjusted),
        lots: if kind == Kind::Lot {
            base.lots
        } else {
            Vec::new()
        },
        reasons,
        evidence: Evidence {
            exposed: panels(inside),
            by_age,
            by_lot,
            ..base.evidence
        },
        ..base
    }
}

/// Panels with a mark and all panels by lot, in order of first panel.
fn by_lot(remainder: &Remainder<'_>, records: &Records) -> Vec<LevelCount> {
    let panels = remainder.data.panels.iter().map(|&i| &records.panels[i]);
    let lots: Vec<Option<String>> = panels.map(|p| p.lot.as_deref().map(String::from)).collect();
    let (codes, names) = codes(&lots);
    let marked = remainder.marks.iter().map(|marks| *marks > 0.0);
    let tallies = Tally::by_level(names.len(), codes.into_iter().zip(marked));
    LevelCount::each(names, tallies)
}

/// Panels with a mark and all panels by fifths of their ages; equal ages stay
/// together.
pub(crate) fn by_age(panels: &[(f64, bool)]) -> Vec<LevelCount> {
    let mut sorted = panels.to_vec();
    sorted.sort_by(|a, b| a.0.total_cmp(&b.0));
    let n = sorted.len();
    let mut out: Vec<LevelCount> = Vec::new();
    let mut from = 0;
    for fifth in 1..=5 {
        let mut to = (n * fifth / 5).max(from);
        while to > from && to < n && sorted[to].0 == sorted[to - 1].0 {
            to += 1;
        }
        if to == from {
            continue;
        }
        let (low, high) = (sorted[from].0, sorted[to - 1].0);
        out.push(LevelCount {
            level: if low == high {
                format!("{low:.0}")
            } else {
                format!("{low:.0}–{high:.0}")
            },
            exposed: to - from,
            hits: sorted[from..to].iter().filter(|p| p.1).count(),
        });
        from = to;
    }
    out
}

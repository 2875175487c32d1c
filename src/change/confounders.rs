//! What changed with the change and never met it: no panels show it on both sides,
//! so nothing in the records tells the two apart.

use std::collections::BTreeSet;

use super::design::{Basis, Codes, Trait};
use super::{Confounder, Note, Side};
use crate::records::{Clean, Cleans, Records};

/// A disc or batch that carries more than this share of one side stands for the
/// side; discs used up one after the other carry less and come and go on both.
const MUCH: f64 = 0.5;

/// Share of the panels in common hours up to which the sides as good as never met.
const HARDLY: f64 = 0.1;

/// Days between the sides from which the gap itself is worth a word.
const LONG_GAP_DAYS: i32 = 14;

/// What has nothing in common on the two sides, each column on its own.
pub(super) fn never_met(basis: &Basis<'_>, panels: &[usize], sides: &[Side]) -> Vec<Confounder> {
    let mut found = BTreeSet::new();
    for what in [
        Trait::Stream,
        Trait::Lot,
        Trait::Supplier,
        Trait::Part,
        Trait::Size,
        Trait::Inspector,
        Trait::AbrasiveId,
        Trait::Fixture,
        Trait::Lay,
        Trait::Hour,
        Trait::Weekday,
        Trait::Feed,
        Trait::Passes,
        Trait::Force,
        Trait::Grit,
        Trait::Recipe,
    ] {
        if basis.asks(what) {
            continue;
        }
        let codes = basis.codes(what, panels);
        let apart = match what {
            Trait::AbrasiveId => one_sided_batch(&codes, sides),
            Trait::Hour => hardly_met(&codes, sides) && rounds(basis, panels, sides, |d| d) >= 3,
            Trait::Weekday => disjoint(&codes, sides) && rounds(basis, panels, sides, week_of) >= 2,
            Trait::Feed | Trait::Passes | Trait::Force | Trait::Grit | Trait::Recipe => {
                basis.is_aside(what) && disjoint(&codes, sides)
            }
            _ => disjoint(&codes, sides),
        };
        if apart {
            found.extend(what.confounder());
        }
    }
    if clean_panels_missing(basis.records, panels, sides) {
        found.insert(Confounder::CleanPanels);
    }
    found.into_iter().collect()
}

/// Days (or weeks, as `round` has it) over which each side ran at least: a part of
/// the day that comes round is more than when the change was made.
fn rounds<T: Ord>(
    basis: &Basis<'_>,
    panels: &[usize],
    sides: &[Side],
    round: impl Fn(jiff::civil::Date) -> T,
) -> usize {
    let mut seen = [BTreeSet::new(), BTreeSet::new()];
    for (day, side) in basis.dates(panels).zip(sides) {
        seen[usize::from(*side == Side::After)].extend(day.map(&round));
    }
    seen.iter().map(BTreeSet::len).min().unwrap_or(0)
}

fn week_of(day: jiff::civil::Date) -> (i16, i8) {
    let week = day.iso_week_date();
    (week.year(), week.week())
}

/// Panels of every code on either side, and panels with a code.
fn by_side(codes: &Codes, sides: &[Side]) -> (Vec<[usize; 2]>, [usize; 2]) {
    let mut counts = vec![[0; 2]; codes.count];
    let mut recorded = [0; 2];
    for (code, side) in codes.of.iter().zip(sides) {
        if let Some(code) = code {
            let side = usize::from(*side == Side::After);
            counts[*code][side] += 1;
            recorded[side] += 1;
        }
    }
    (counts, recorded)
}

fn disjoint(codes: &Codes, sides: &[Side]) -> bool {
    let (counts, recorded) = by_side(codes, sides);
    let panels = |side: Side| sides.iter().filter(|s| **s == side).count();
    let all = [panels(Side::Before), panels(Side::After)];
    let known = (0..2).all(|k| recorded[k] > 0 && 2 * recorded[k] >= all[k]);
    known && counts.iter().all(|c| c[0] == 0 || c[1] == 0)
}

/// Shares of a side's recorded panels, of every code.
fn shares(codes: &Codes, sides: &[Side]) -> Vec<[f64; 2]> {
    let (counts, recorded) = by_side(codes, sides);
    counts
        .iter()
        .map(|c| [0, 1].map(|k| c[k] as f64 / recorded[k].max(1) as f64))
        .collect()
}

/// Whether hardly a panel of either side meets one of the other's.
fn hardly_met(codes: &Codes, sides: &[Side]) -> bool {
    let (_, recorded) = by_side(codes, sides);
    let common: f64 = (shares(codes, sides).iter()).map(|[b, a]| b.min(*a)).sum();
    recorded.iter().all(|n| *n > 0) && common < HARDLY
}

/// Whether a disc or batch carries much of one side and no disc or batch met both:
/// one that met both is allowed for, as widely as the panels that it met leave open.
fn one_sided_batch(codes: &Codes, sides: &[Side]) -> bool {
    disjoint(codes, sides) && a_batch(codes, sides)
}

/// Whether some disc or batch carries much of a side, so that it is worth a term.
pub(super) fn a_batch(codes: &Codes, sides: &[Side]) -> bool {
    shares(codes, sides)
        .iter()
        .any(|[b, a]| *b > MUCH || *a > MUCH)
}

/// Whether one side's clean panels are missing and the other's are there: without
/// them a rate is too high.
fn clean_panels_missing(records: &Records, panels: &[usize], sides: &[Side]) -> bool {
    let counted = Cleans::new(records);
    let of = |side: Side| {
        let own = panels.iter().zip(sides).filter(|(_, s)| **s == side);
        counted.of(own.map(|(&panel, _)| panel))
    };
    matches!(
        (of(Side::Before), of(Side::After)),
        (Clean::Missing, Clean::There) | (Clean::There, Clean::Missing)
    )
}

/// A word on a long gap between the sides.
pub(super) fn apart_in_time(records: &Records, panels: &[usize], sides: &[Side]) -> Option<Note> {
    let dates = |side: Side| {
        let own = panels.iter().zip(sides).filter(move |(_, s)| **s == side);
        own.filter_map(|(&k, _)| Some(records.panels[k].sanded_at?.local.date()))
    };
    let gap = |last: Option<jiff::civil::Date>, first: Option<jiff::civil::Date>| {
        let span = last?.until(first?).ok()?;
        Some(span.get_days())
    };
    let days = gap(dates(Side::Before).max(), dates(Side::After).min())
        .max(gap(dates(Side::After).max(), dates(Side::Before).min()))?;
    (days >= LONG_GAP_DAYS).then_some(Note::ApartInTime {
        days: days.unsigned_abs() as usize,
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    fn codes(of: &[usize]) -> Codes {
        Codes {
            of: of.iter().map(|c| Some(*c)).collect(),
            count: of.iter().max().map_or(0, |c| c + 1),
        }
    }

    fn halves(n: usize) -> Vec<Side> {
        (0..2 * n)
            .map(|k| if k < n { Side::Before } else { Side::After })
            .collect()
    }

    #[test]
    fn a_batch_on_one_side_is_told_from_discs_that_wear_out() {
        // one batch after, two before: never met, although no disc faces a disc
        let batch = codes(&[0, 0, 0, 1, 1, 1, 2, 2, 2, 2, 2, 2]);
        assert!(one_sided_batch(&batch, &halves(6)));
        // three discs a side, worn one after the other
        let discs = codes(&[0, 0, 1, 1, 2, 2, 3, 3, 4, 4, 5, 5]);
        assert!(!one_sided_batch(&discs, &halves(6)));
        assert!(!a_batch(&discs, &halves(6)));
        // the new batch met the old recipe on a few panels
        let met = codes(&[0, 0, 0, 0, 1, 1, 1, 1, 1, 1, 1, 1]);
        assert!(!one_sided_batch(&met, &halves(6)));
        assert!(a_batch(&met, &halves(6)));
        // and one panel is enough to have met
        let once = codes(&[vec![0; 29], vec![1; 31]].concat());
        assert!(!one_sided_batch(&once, &halves(30)));
    }

    /// Of a hundred panels a side so many in each of two hours: 9 or 11 in common.
    #[test]
    fn sides_that_share_less_than_a_tenth_of_their_hours_hardly_met() {
        let sides = halves(100);
        let met = |common: usize| {
            let own = |early: usize| [vec![0; early], vec![1; 100 - early]].concat();
            hardly_met(&codes(&[own(100), own(common)].concat()), &sides)
        };
        assert_eq!([9, 11].map(met), [true, false]);
    }

    #[test]
    fn a_gap_of_two_weeks_between_the_sides_is_told() {
        let on = |day: i8| {
            let local = jiff::civil::date(2031, 3, day).at(6, 0, 0, 0);
            let instant = jiff::tz::TimeZone::UTC.to_timestamp(local).unwrap();
            crate::records::Panel {
                sanded_at: Some(crate::records::Moment { instant, local }),
                ..crate::records::Panel::default()
            }
        };
        let gap = |last: i8| {
            let records = Records {
                panels: vec![on(1), on(last)],
                ..Records::default()
            };
            apart_in_time(&records, &[0, 1], &[Side::Before, Side::After])
        };
        assert_eq!(gap(14), None);
        assert_eq!(gap(15), Some(Note::ApartInTime { days: 14 }));
    }
}

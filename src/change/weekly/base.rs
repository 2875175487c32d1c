//! The base of a chart: the points that its limits are taken from.

use std::collections::{BTreeMap, BTreeSet};
use std::ops::Range;

use super::usual::FEWEST_POINTS;

/// The time over which a finding runs: a chart of its kind takes no limits from it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Stretch {
    /// The finding.
    pub finding: String,
    /// Its machine; none for all of them.
    pub machine: Option<String>,
    /// Its head; none for all of them.
    pub head: Option<String>,
    /// Its kind of defect.
    pub defect: String,
    /// Where it set in; none if it was there from the start.
    pub onset: Option<Bound>,
    /// Where it ended; none if it is still there.
    pub end: Option<Bound>,
}

/// An end of a stretch, indices into [`Records::panels`](crate::records::Records).
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Bound {
    /// Where it most likely is.
    pub panel: usize,
    /// How far out it may be: the earliest onset, the latest end.
    pub outermost: usize,
}

/// The last run of points, long enough for limits, that no lasting change cuts
/// and no point of which is `out`.
pub(super) fn base(out: &[bool], cuts: &BTreeSet<usize>) -> Option<Range<usize>> {
    let mut found = None;
    let mut first = 0;
    for point in 0..=out.len() {
        let ends = point == out.len() || out[point] || cuts.contains(&point);
        if ends && point >= first + FEWEST_POINTS {
            found = Some(first..point);
        }
        if ends {
            first = point + usize::from(out.get(point) == Some(&true));
        }
    }
    found
}

/// Points at which a recipe comes that replaces all recipes before for good, of
/// points with their recipes in time order.
pub(super) fn lasting_changes<'a>(
    recipes: impl Iterator<Item = (usize, &'a str)> + Clone,
) -> BTreeSet<usize> {
    let places = recipes.clone().enumerate();
    let last: BTreeMap<&str, usize> = places.map(|(at, (_, recipe))| (recipe, at)).collect();
    // where the last of the recipes seen so far is over
    let mut over = None;
    let mut cuts = BTreeSet::new();
    for (at, (point, recipe)) in recipes.enumerate() {
        if over.is_some_and(|over| over < at) {
            cuts.insert(point);
        }
        over = over.max(last.get(recipe).copied());
    }
    cuts
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_base_is_the_last_run_long_enough() {
        let mut out = [false; 20];
        assert_eq!(base(&out, &BTreeSet::new()), Some(0..20));
        // a change with enough points after it starts anew, one without ends it
        assert_eq!(base(&out, &BTreeSet::from([9])), Some(9..20));
        assert_eq!(base(&out, &BTreeSet::from([17])), Some(0..17));
        // a finding ends it
        out[12..].fill(true);
        assert_eq!(base(&out, &BTreeSet::new()), Some(0..12));
        // after its end there is a base again
        out[15..].fill(false);
        assert_eq!(base(&out, &BTreeSet::new()), Some(15..20));
        out[16] = true;
        assert_eq!(base(&out, &BTreeSet::from([10])), Some(0..10));
        assert_eq!(base(&out[10..], &BTreeSet::new()), None);
    }

    #[test]
    fn a_recipe_that_returns_is_no_lasting_change() {
        let cuts = |recipes: &str| {
            let letters: Vec<&str> = recipes.split("").filter(|r| !r.is_empty()).collect();
            let points = lasting_changes(letters.into_iter().enumerate());
            points.into_iter().collect::<Vec<_>>()
        };
        assert_eq!(cuts("AAABBB"), [3]);
        assert!(cuts("AABABB").is_empty());
        assert_eq!(cuts("ABABCC"), [4]);
        assert!(cuts("AAAA").is_empty());
    }
}

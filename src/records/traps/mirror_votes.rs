//! The panels that show a place against those that show its mirror image, and
//! what parts them: an inspector, a file, a machine, a day, a stretch of time,
//! or nothing that is recorded. Shares and levels are common practice, no source.

use std::collections::{BTreeMap, BTreeSet, HashMap};
use std::sync::Arc;

use super::mirror_images::{Flip, Heap, Sides};
use crate::records::{Panel, Records};

/// As likely as this at most if the two places were honest.
const LEVEL: f64 = 1e-3;
/// The same where nothing recorded parts the panels.
const APART: f64 = 0.02;
/// From this share of panels with several marks on, a form holds more than one.
const SEVERAL: f64 = 0.1;
/// So large a share of panels may be on the wrong side of what parts them.
const WRONG: f64 = 0.1;
/// So many panels that show another place where it is on both sides clear them.
const CLEARED: usize = 4;

/// The panels that show a place, and those that show its mirror image.
pub(super) struct Votes {
    pub here: Vec<usize>,
    pub there: Vec<usize>,
    /// How many show both.
    pub both: usize,
}

/// What parts the one from the other.
pub(super) struct Parted {
    /// ln of how likely that is if both places are honest.
    pub ln_p: f64,
    /// In words, after a space; empty where nothing recorded does.
    pub whose: String,
    /// All panels on the one side of it and on the other.
    sides: [Vec<usize>; 2],
}

/// All that makes a mirror image honest: how and in what the panel lay, and
/// what part it is.
fn stratum(panel: &Panel) -> (u16, [i64; 2], [Option<&str>; 3]) {
    (
        panel.lay.degrees(),
        [panel.lay_x_mm.round() as i64, panel.lay_y_mm.round() as i64],
        [
            panel.part.as_deref(),
            panel.head.as_deref(),
            panel.fixture.as_deref(),
        ],
    )
}

impl Votes {
    /// The smaller side: those to doubt first.
    pub(super) fn few(&self) -> &[usize] {
        if self.there.len() <= self.here.len() {
            &self.there
        } else {
            &self.here
        }
    }

    /// What parts the two sides best, if anything does beyond chance.
    pub(super) fn parted(&self, kind: usize, records: &Records) -> Option<Parted> {
        let panels = &records.panels;
        let text = |value: &Option<Arc<str>>| value.as_ref().map(ToString::to_string);
        let count = self.here.len() + self.there.len();
        // ln of the ways in which the sides could fall within the strata.
        let mut strata: BTreeMap<_, (usize, usize)> = BTreeMap::new();
        for (panel, is_there) in self.each() {
            let of = strata.entry(stratum(&records.panels[panel])).or_default();
            of.0 += 1;
            of.1 += usize::from(is_there);
        }
        let ways: f64 = strata
            .values()
            .map(|(n, there)| ln_choose(*n, *there))
            .sum();
        let mut all: Vec<Parted> = Vec::new();
        if self.both as f64 <= WRONG * count as f64 {
            let files = files(records);
            let by = |what, level: &dyn Fn(usize) -> Option<String>| {
                self.by_level(what, level, ways, panels.len())
            };
            all.extend(by("inspector ", &|p| text(&panels[p].inspector)));
            all.extend(by("machine ", &|p| text(&panels[p].machine)));
            all.extend(by("file ", &|p| {
                let source = records.sources.get(files.get(&p)?.0 as usize)?;
                Some(source.display().to_string())
            }));
            all.extend(self.by_stretch(ways, records, &files));
            if all.is_empty() {
                all.extend(by("sanded on ", &|p| {
                    Some(panels[p].sanded_at?.local.date().to_string())
                }));
            }
        }
        let ln_p = self.ln_apart(kind, records);
        if ln_p <= APART.ln() {
            all.push(Parted {
                ln_p,
                whose: String::new(),
                sides: [self.here.clone(), self.there.clone()],
            });
        }
        // What is named says more than how unlikely it is.
        all.into_iter().min_by(|a, b| {
            (a.whose.is_empty())
                .cmp(&b.whose.is_empty())
                .then(a.ln_p.total_cmp(&b.ln_p))
        })
    }

    pub(super) fn each(&self) -> impl Iterator<Item = (usize, bool)> {
        let here = self.here.iter().map(|panel| (*panel, false));
        here.chain(self.there.iter().map(|panel| (*panel, true)))
    }

    /// Whether the levels of a column part the sides.
    fn by_level(
        &self,
        what: &str,
        level: &dyn Fn(usize) -> Option<String>,
        ways: f64,
        panels: usize,
    ) -> Option<Parted> {
        let mut counts: BTreeMap<Option<String>, (usize, usize)> = BTreeMap::new();
        for (panel, is_there) in self.each() {
            let of = counts.entry(level(panel)).or_default();
            of.0 += usize::from(!is_there);
            of.1 += usize::from(is_there);
        }
        let wrong = counts.values().map(|(a, b)| *a.min(b)).sum();
        let few_there = self.few() == self.there.as_slice();
        let few: BTreeSet<&Option<String>> = counts
            .iter()
            .filter(|(_, (a, b))| if few_there { b > a } else { a > b })
            .map(|(level, _)| level)
            .collect();
        let choices = counts.len() as f64 * 2f64.ln();
        let parted = self.chance(ways, wrong, choices, || {
            let name =
                |level: &Option<String>| level.as_deref().unwrap_or("not recorded").to_owned();
            let names: Vec<String> = few.iter().map(|level| name(level)).collect();
            let known = (0..panels).filter(|p| counts.contains_key(&level(*p)));
            let sides = known.partition(|p| few.contains(&level(*p)));
            (format!(" ({what}{})", super::some(&names)), sides)
        });
        parted.filter(|_| counts.len() > 1)
    }

    /// Whether a stretch of panels parts them, in the order of sanding or as
    /// they stand in the files.
    fn by_stretch(&self, ways: f64, records: &Records, files: &Files) -> Vec<Parted> {
        let by_time = |panel: usize| (0, panel as u32);
        let by_row = |panel: usize| files.get(&panel).copied().unwrap_or_default();
        let orders: [&dyn Fn(usize) -> (u32, u32); 2] = [&by_time, &by_row];
        let mut out = Vec::new();
        for place in orders {
            let each = self
                .each()
                .map(|(panel, there)| (place(panel), panel, there));
            let mut order: Vec<_> = each.collect();
            order.sort_unstable();
            let windows = 2.0 * (order.len() as f64).ln();
            for is_there in [true, false] {
                // The stretch that holds most of one side and least of the other.
                let (mut best, mut sum, mut from) = ((0i64, 0, 0), 0i64, 0);
                for (nth, (_, _, there)) in order.iter().enumerate() {
                    sum += if *there == is_there { 1 } else { -1 };
                    if sum <= 0 {
                        (sum, from) = (0, nth + 1);
                    } else if sum > best.0 {
                        best = (sum, from, nth);
                    }
                }
                let side = if is_there { &self.there } else { &self.here };
                let wrong = side.len().saturating_sub(best.0 as usize);
                let ids = [best.1, best.2].map(|nth| {
                    let panel = order.get(nth).map_or(0, |(_, panel, _)| *panel);
                    records.panels[panel].id.as_str()
                });
                let bounds = [best.1, best.2].map(|nth| order.get(nth).map(|(at, ..)| *at));
                out.extend(self.chance(ways, wrong, windows, || {
                    let is_in = |p: &usize| {
                        let at = Some(place(*p));
                        bounds[0] <= at && at <= bounds[1]
                    };
                    let sides = (0..records.panels.len()).partition(is_in);
                    (format!(" (panels {} to {})", ids[0], ids[1]), sides)
                }));
            }
        }
        out
    }

    /// How likely such a parting is by chance, of `choices` (ln) looked at.
    fn chance(
        &self,
        ways: f64,
        wrong: usize,
        choices: f64,
        whose: impl FnOnce() -> (String, (Vec<usize>, Vec<usize>)),
    ) -> Option<Parted> {
        let count = self.here.len() + self.there.len();
        let ln_p = choices + ln_choose(count, wrong) - ways;
        let is_one = ln_p <= LEVEL.ln() && wrong as f64 <= WRONG * self.few().len() as f64;
        is_one.then(|| {
            let (whose, (few, rest)) = whose();
            Parted {
                ln_p,
                whose,
                sides: [few, rest],
            }
        })
    }

    /// ln of how likely so few panels show both, if the other marks of those
    /// that show the one fell on the other as often as marks do elsewhere.
    fn ln_apart(&self, kind: usize, records: &Records) -> f64 {
        let mut marks = vec![0usize; records.panels.len()];
        for defect in records.defects.iter().filter(|d| d.name == kind) {
            marks[defect.panel] += usize::from(defect.place.is_some());
        }
        // Of a stratum: all marks; on either side, panels and their other marks.
        #[derive(Default)]
        struct Of {
            marks: usize,
            inspected: usize,
            panels: [usize; 2],
            others: [usize; 2],
        }
        let mut strata: BTreeMap<_, Of> = BTreeMap::new();
        for (panel, marks) in records.panels.iter().zip(&marks) {
            let of = strata.entry(stratum(panel)).or_default();
            of.marks += marks;
            of.inspected += usize::from(panel.inspected);
        }
        for (panel, is_there) in self.each() {
            let of = strata.entry(stratum(&records.panels[panel])).or_default();
            of.panels[usize::from(is_there)] += 1;
            of.others[usize::from(is_there)] += marks[panel] - 1;
        }
        let expected = |one: usize| -> f64 {
            let of = |of: &Of| {
                let rest = of.marks.saturating_sub(of.panels[one]).max(1);
                of.others[one] as f64 * of.panels[1 - one] as f64 / rest as f64
            };
            strata.values().map(of).sum()
        };
        // Or if each came on its own, where forms hold more than one mark.
        let alone: f64 = strata
            .values()
            .map(|of| (of.panels[0] * of.panels[1]) as f64 / of.inspected.max(1) as f64)
            .sum();
        let mut on = vec![0usize; records.panels.len()];
        for defect in &records.defects {
            on[defect.panel] += 1;
        }
        let several = on.iter().filter(|marks| **marks > 1).count();
        let is_free = several as f64 >= SEVERAL * on.len() as f64;
        let most = if is_free { alone } else { 0.0 };
        ln_at_most(self.both, expected(0).min(expected(1)).max(most))
    }
}

impl Parted {
    /// Whether another place, half as often met as the doubtful one at least,
    /// stays where it is on both sides.
    pub(super) fn is_cleared(&self, flip: Flip, votes: usize, heaps: &[Heap]) -> bool {
        let on = |side: &[usize], of: &BTreeSet<usize>| {
            side.iter().filter(|panel| of.contains(panel)).count()
        };
        heaps.iter().any(|heap| {
            heap.sides(flip).is_some_and(|Sides { here, there, .. }| {
                2 * here.len() >= votes
                    && self.sides.iter().all(|side| {
                        on(side, here) >= CLEARED && on(side, here) > 2 * on(side, there)
                    })
            })
        })
    }
}

type Files = HashMap<usize, (u32, u32)>;

/// File and line of the first mark of every panel.
fn files(records: &Records) -> Files {
    let mut files = Files::new();
    for (defect, origin) in records.defects.iter().zip(&records.origins) {
        let at = (origin.file, origin.line);
        files
            .entry(defect.panel)
            .and_modify(|first| *first = at.min(*first))
            .or_insert(at);
    }
    files
}

/// ln of the number of ways to choose k of n.
fn ln_choose(n: usize, k: usize) -> f64 {
    (1..=k.min(n - k))
        .map(|i| ((n - i + 1) as f64 / i as f64).ln())
        .sum()
}

/// ln of the chance of at most so many where so many are expected (Poisson).
fn ln_at_most(count: usize, expected: f64) -> f64 {
    let (mut term, mut sum) = (1.0, 1.0);
    for nth in 1..=count {
        term *= expected / nth as f64;
        sum += term;
    }
    f64::ln(sum) - expected
}

//! Whether some panels are written from the other end: a place then shows
//! where it is on most panels and at its mirror image on the rest, and two
//! places of the machine or the part are told where there is one.
//!
//! Mirror images alone prove nothing: a machine may well make two places alike
//! on both sides. What tells is that no panel shows both though its marks are
//! enough for it, or that one inspector, file, machine, day or stretch of time
//! shows the one and all others the other, while no other place stays where it
//! is on both. Panels are compared within one lay, part number, head and
//! fixture only: a left and a right part, or a turned one, are mirrored by
//! right. Distances, counts and shares are common practice, no source.

use std::collections::{BTreeMap, BTreeSet, HashMap};

use super::mirror_images::{Flip, Heap, Sides, heaps};
use super::{axes::Doubted, counted};
use crate::records::{Column, HeldBack, Panel, Records, Warning, WarningCode};

/// Fewer panels than this on either side are no pattern.
const PANELS: usize = 5;
/// As likely as this at most if the two places were honest.
const LEVEL: f64 = 1e-3;
/// The same where nothing recorded parts the panels.
const APART: f64 = 0.02;
/// So large a share of panels may be on the wrong side of what parts them.
const WRONG: f64 = 0.1;
/// So many panels that show another place where it is on both sides clear them.
const CLEARED: usize = 4;

/// The panels that show a place, and those that show its mirror image.
struct Votes {
    here: Vec<usize>,
    there: Vec<usize>,
    /// How many show both.
    both: usize,
}

/// What parts the one from the other.
struct Parted {
    /// ln of how likely that is if both places are honest.
    ln_p: f64,
    /// In words, after a space; empty where nothing recorded does.
    whose: String,
    /// All panels on the one side of it and on the other.
    sides: [Vec<usize>; 2],
}

/// Looks at all places that repeat.
pub(in crate::records) fn doubted(records: &Records) -> Doubted {
    let heaps = heaps(records);
    let mut all = Doubted::default();
    let mut told: BTreeSet<usize> = BTreeSet::new();
    for flip in Flip::ALL {
        let mut best: Option<(Votes, Parted, &Heap)> = None;
        for heap in &heaps {
            let Some(Sides { here, there, .. }) = heap.sides(flip).filter(|s| s.is_exact) else {
                continue;
            };
            let votes = Votes {
                here: here.difference(there).copied().collect(),
                there: there.difference(here).copied().collect(),
                both: here.intersection(there).count(),
            };
            if votes.few().len() < PANELS {
                continue;
            }
            let Some(parted) = votes.parted(heap.kind, records) else {
                continue;
            };
            let better = best.as_ref().is_none_or(|(_, b, _)| parted.ln_p < b.ln_p);
            let count = votes.each().count();
            if better && !parted.is_cleared(flip, count, &heaps) {
                best = Some((votes, parted, heap));
            }
        }
        if let Some((votes, parted, heap)) = best
            && !votes.few().iter().any(|panel| told.contains(panel))
        {
            told.extend(votes.few());
            tell(&mut all, (&votes, &parted), heap, flip, records);
        }
    }
    all
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
    fn few(&self) -> &[usize] {
        if self.there.len() <= self.here.len() {
            &self.there
        } else {
            &self.here
        }
    }

    /// What parts the two sides best, if anything does beyond chance.
    fn parted(&self, kind: usize, records: &Records) -> Option<Parted> {
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
            all.extend(self.by_level(ways, records));
            all.extend(self.by_stretch(ways, records));
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

    fn each(&self) -> impl Iterator<Item = (usize, bool)> {
        let here = self.here.iter().map(|panel| (*panel, false));
        here.chain(self.there.iter().map(|panel| (*panel, true)))
    }

    /// Whether the levels of a column part the sides.
    fn by_level(&self, ways: f64, records: &Records) -> Vec<Parted> {
        type Of<'a> = Box<dyn Fn(usize) -> Option<String> + 'a>;
        let panels = &records.panels;
        let files = files(records);
        let text = |value: &Option<std::sync::Arc<str>>| value.as_ref().map(ToString::to_string);
        let columns: [(&str, Of<'_>); 4] = [
            ("inspector ", Box::new(|p| text(&panels[p].inspector))),
            (
                "file ",
                Box::new(|p| {
                    let source = records.sources.get(files.get(&p)?.0 as usize)?;
                    Some(source.display().to_string())
                }),
            ),
            ("machine ", Box::new(|p| text(&panels[p].machine))),
            (
                "sanded on ",
                Box::new(|p| Some(panels[p].sanded_at?.local.date().to_string())),
            ),
        ];
        let mut out = Vec::new();
        for (what, level) in columns {
            let mut counts: BTreeMap<Option<String>, (usize, usize)> = BTreeMap::new();
            for (panel, is_there) in self.each() {
                let of = counts.entry(level(panel)).or_default();
                of.0 += usize::from(!is_there);
                of.1 += usize::from(is_there);
            }
            if counts.len() < 2 {
                continue;
            }
            let wrong = counts.values().map(|(a, b)| *a.min(b)).sum();
            let few_there = self.few() == self.there.as_slice();
            let few: BTreeSet<&Option<String>> = counts
                .iter()
                .filter(|(_, (a, b))| if few_there { b > a } else { a > b })
                .map(|(level, _)| level)
                .collect();
            out.extend(
                self.chance(ways, wrong, counts.len() as f64 * 2f64.ln(), || {
                    let names: Vec<String> = few
                        .iter()
                        .map(|level| {
                            format!("{what}{}", level.as_deref().unwrap_or("not recorded"))
                        })
                        .collect();
                    let known = (0..panels.len()).filter(|p| counts.contains_key(&level(*p)));
                    let sides = known.partition(|p| few.contains(&level(*p)));
                    (format!(" ({})", super::some(&names)), sides)
                }),
            );
        }
        out
    }

    /// Whether a stretch of panels parts them, in the order of sanding or as
    /// they stand in the files.
    fn by_stretch(&self, ways: f64, records: &Records) -> Vec<Parted> {
        let files = files(records);
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
            panels: [usize; 2],
            others: [usize; 2],
        }
        let mut strata: BTreeMap<_, Of> = BTreeMap::new();
        for (panel, marks) in records.panels.iter().zip(&marks) {
            strata.entry(stratum(panel)).or_default().marks += marks;
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
        ln_at_most(self.both, expected(0).min(expected(1)))
    }
}

impl Parted {
    /// Whether another place, half as often met as the doubtful one at least,
    /// stays where it is on both sides.
    fn is_cleared(&self, flip: Flip, votes: usize, heaps: &[Heap]) -> bool {
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

/// File and line of the first mark of every panel.
fn files(records: &Records) -> HashMap<usize, (u32, u32)> {
    let mut files: HashMap<usize, (u32, u32)> = HashMap::new();
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

fn tell(
    all: &mut Doubted,
    (votes, parted): (&Votes, &Parted),
    heap: &Heap,
    flip: Flip,
    records: &Records,
) {
    let few = votes.few().len();
    let what = format!(
        "{} of {} on {}{} lies where that of {} others would with {}",
        heap.shape(),
        records.defect_names[heap.kind].name,
        counted(few, "panel"),
        parted.whose,
        votes.here.len().max(votes.there.len()),
        flip.words(),
    );
    all.warnings.push(Warning {
        code: WarningCode::AxesSuspect,
        text: format!(
            "{what}, and hardly a panel shows both: are {} of some panels counted from the other end, or were some turned without lay_deg? See [frames] in onus.toml. Until then nothing that rests on these places is concluded.",
            flip.columns()
        ),
        file: None,
    });
    let mut machines: BTreeMap<Option<&str>, usize> = BTreeMap::new();
    for (panel, _) in votes.each() {
        *machines
            .entry(records.panels[panel].machine.as_deref())
            .or_default() += 1;
    }
    for (machine, _) in machines {
        all.held.push(HeldBack {
            machine: machine.map(Into::into),
            column: Column::XMm,
            reason: format!("{what}, so its places bear no verdict"),
        });
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::records::{Defect, DefectName, Lay, Origin, Point};
    use rand::{RngExt, SeedableRng};
    use rand_chacha::ChaCha8Rng;

    const COUNT: usize = 160;

    /// One panel of the made-up shop, before its marks are written.
    struct Made<'a> {
        nth: usize,
        panel: &'a mut Panel,
        /// Machine frame, true for the panel frame; kind; rate.
        places: Vec<(Point, bool, f64)>,
        file: u32,
    }

    /// Panels of two machines, every other one turned by half, with up to
    /// three marks anywhere besides the places; `make` changes a panel before
    /// its marks are drawn and says from where it is written.
    fn shop(seed: u64, make: impl Fn(&mut Made<'_>, &mut ChaCha8Rng) -> Option<Flip>) -> Records {
        let mut rng = ChaCha8Rng::seed_from_u64(seed);
        let mut records = Records {
            defect_names: vec![DefectName {
                name: "burn".into(),
                class: None,
            }],
            sources: vec!["a.csv".into(), "b.csv".into()],
            ..Records::default()
        };
        for nth in 0..COUNT {
            let mut panel = Panel {
                id: format!("P{nth:03}"),
                machine: Some(["M1", "M2"][usize::from(rng.random_bool(0.5))].into()),
                inspector: Some(["Ada", "Ben", "Cai"][rng.random_range(0..3)].into()),
                length_mm: 600.0,
                width_mm: 400.0,
                lay: [Lay::Deg0, Lay::Deg180][usize::from(rng.random_bool(0.5))],
                inspected: true,
                ..Panel::default()
            };
            let mut made = Made {
                nth,
                panel: &mut panel,
                places: Vec::new(),
                file: 0,
            };
            let flip = make(&mut made, &mut rng);
            let Made { places, file, .. } = made;
            let mut marks: Vec<Point> = (0..rng.random_range(0..4))
                .map(|_| Point::new(rng.random_range(0.0..600.0), rng.random_range(0.0..400.0)))
                .collect();
            for (place, on_panel, rate) in places {
                if rng.random_bool(rate) {
                    let mut near = |v: f64| v + rng.random_range(-4.0..4.0);
                    let at = Point::new(near(place.x), near(place.y));
                    // Half a turn is undone by another.
                    marks.push(if on_panel { at } else { panel.to_machine(at) });
                }
            }
            for at in marks {
                let at = flip.map_or(at, |flip| flip.of(at, &panel));
                records.defects.push(Defect {
                    panel: nth,
                    name: 0,
                    place: Some(at),
                    written: Some(at),
                    area_mm2: None,
                    severity: None,
                });
                records.origins.push(Origin {
                    file,
                    line: 2 + nth as u32,
                });
            }
            records.panels.push(panel);
        }
        records
    }

    const PLACE: Point = Point::new(150.0, 90.0);
    const IMAGE: Point = Point::new(450.0, 90.0);
    const SEEDS: u64 = 20;

    fn told(records: &Records) -> Vec<String> {
        let found = doubted(records);
        assert_eq!(found.warnings.is_empty(), found.held.is_empty());
        found.warnings.into_iter().map(|w| w.text).collect()
    }

    #[test]
    fn a_subset_written_from_the_other_end_is_told_with_whose_it_is() {
        type Is = fn(&Made<'_>) -> bool;
        let subsets: [(&str, Is); 5] = [
            ("inspector Ben", |m| {
                m.panel.inspector.as_deref() == Some("Ben")
            }),
            // Of two, either may be the one.
            ("machine M", |m| m.panel.machine.as_deref() == Some("M2")),
            ("panels P0", |m| m.nth >= COUNT / 2),
            ("panels P0", |m| (50..100).contains(&m.nth)),
            ("file ", |m| m.file == 1),
        ];
        for on_panel in [false, true] {
            for flip in Flip::ALL {
                for (whose, is) in &subsets {
                    for seed in 0..SEEDS / 4 {
                        let records = shop(seed, |made, rng| {
                            made.file = u32::from(rng.random_bool(0.5));
                            made.places = vec![(PLACE, on_panel, 0.35)];
                            is(made).then_some(flip)
                        });
                        let told = told(&records);
                        let says = told.len() == 1
                            && told[0].contains(whose)
                            && told[0].contains(flip.words());
                        assert!(says, "{whose} {flip:?} {on_panel} {seed}: {told:?}");
                    }
                }
            }
        }
    }

    #[test]
    fn a_subset_that_nothing_explains_is_told_where_marks_are_many() {
        let mut found = 0;
        for seed in 0..SEEDS {
            let records = shop(seed, |made, rng| {
                made.places = vec![(PLACE, false, 0.7)];
                rng.random_bool(0.5).then_some(Flip::X)
            });
            found += usize::from(told(&records).len() == 1);
        }
        assert!(found >= 18, "{found}");
    }

    #[test]
    fn honest_places_on_both_sides_hold_nothing_back() {
        type Make = fn(&mut Made<'_>);
        let shops: [(&str, Make); 7] = [
            ("one place", |m| m.places = vec![(PLACE, false, 0.4)]),
            ("a place of the part", |m| {
                m.places = vec![(PLACE, true, 0.4)];
            }),
            ("two places of the machine", |m| {
                m.places = vec![(PLACE, false, 0.4), (IMAGE, false, 0.3)];
            }),
            ("two places of the part", |m| {
                m.places = vec![(PLACE, true, 0.6), (IMAGE, true, 0.6)];
            }),
            ("left and right parts", |m| {
                let left = m.nth % 3 == 0;
                m.panel.part = Some(if left { "L" } else { "R" }.into());
                m.places = vec![(if left { PLACE } else { IMAGE }, true, 0.5)];
            }),
            ("two heads", |m| {
                let left = m.nth % 2 == 0;
                m.panel.head = Some(if left { "H1" } else { "H2" }.into());
                m.places = vec![(if left { PLACE } else { IMAGE }, false, 0.5)];
            }),
            ("two cups worn in turn, and a place of the part", |m| {
                let early = m.nth < COUNT / 2;
                let cup = if early { PLACE } else { IMAGE };
                m.places = vec![(cup, false, 0.4), (Point::new(222.0, 301.0), true, 0.4)];
            }),
        ];
        for (what, make) in shops {
            let mut wrong = 0;
            for seed in 0..2 * SEEDS {
                let records = shop(seed, |made, _| {
                    make(made);
                    None
                });
                let told = told(&records);
                wrong += told.len();
            }
            // Two places that are honest look apart in one of 50 shops.
            assert!(wrong <= 2, "{what}: {wrong}");
        }
    }
}

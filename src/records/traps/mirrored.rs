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

use std::collections::{BTreeMap, BTreeSet};

use super::mirror_images::{Flip, Heap, Sides, heaps};
use super::mirror_votes::{Parted, Votes};
use super::{axes::Doubted, counted};
use crate::records::{Column, HeldBack, Records, Warning, WarningCode};

/// Fewer panels than this on either side are no pattern.
const PANELS: usize = 5;
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
    use crate::records::{Defect, DefectName, Lay, Origin, Panel, Point};
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

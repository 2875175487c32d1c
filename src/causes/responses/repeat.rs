//! What a careful practitioner would ask about a repeat, section by section.

use std::collections::{BTreeMap, BTreeSet};

use crate::causes::Tally;
use crate::causes::responses::merge::Sighting;
use crate::causes::responses::place::{LaidMark, Place};
use crate::causes::rivals::contrast::{self, FrameEvidence};
use crate::causes::rivals::control::{Control, On, Strata, Written};
use crate::causes::rivals::frames::{FramePlace, Scene};
use crate::causes::rivals::goes_with::GoesWith;
use crate::causes::rivals::periodic::{self, Fold, Turn};
use crate::causes::rivals::{lots, onset};
use crate::causes::verdict::Holds;

/// Another machine shows the place if its hits are this improbable as
/// background.
const SHOWN_ELSEWHERE: f64 = 0.01;

/// A part number shows the machine place if its hits are this improbable as
/// background.
const PART_SHOWS: f64 = 0.001;

/// All evidence about one repeat.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Dossier {
    /// Frames.
    pub frames: FrameEvidence,
    /// Positions of exposed panels (in the scene's panels), in time order.
    pub exposed: Vec<usize>,
    /// Their hits, and what these go with.
    pub with: GoesWith,
    /// Another machine or head on the same lots.
    pub control: Option<Control>,
    /// Another machine that shows it at the same place of its own, and its hits there.
    pub elsewhere: Option<(String, Tally)>,
    /// Part numbers at the same machine place.
    pub parts: Vec<String>,
    /// Every k-th panel.
    pub fold: Option<Fold>,
}

/// What all repeats of one kind of defect share.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Ground<'a> {
    /// Panels of the stream's machine and head.
    pub scene: Scene<'a>,
    /// Inspected panels of all other machines and heads.
    pub others: &'a [usize],
    /// Number of every panel of the records in the order of its machine.
    pub numbers: &'a [usize],
}

/// Gathers the evidence about a sighting.
pub(crate) fn investigate(ground: &Ground<'_>, sighting: &Sighting) -> Dossier {
    let scene = &ground.scene;
    let leader = FramePlace {
        holder: sighting.holder,
        place: sighting.place(),
    };
    let frames = contrast::weigh(scene, leader);
    let laid = scene.laid(&frames.chosen);
    let on = |at: &usize| {
        let panel = &scene.records.panels[scene.panels[*at]];
        laid[*at].is_some_and(|p| p.on(panel))
    };
    let exposed: Vec<usize> = (0..scene.panels.len()).filter(on).collect();
    let hit: Vec<bool> = exposed
        .iter()
        .map(|&at| laid[at].is_some_and(|p| scene.hit(at, &p)))
        .collect();
    let panels: Vec<usize> = exposed.iter().map(|&at| scene.panels[at]).collect();
    let by_turning = (frames.within.as_ref())
        .filter(|_| frames.holds == Holds::Machine)
        .and_then(|w| w.other_lots);
    let turns: Vec<Turn> = (panels.iter().zip(&hit))
        .map(|(&panel, &hit)| Turn {
            number: ground.numbers[panel],
            hit,
        })
        .collect();
    let life = onset::life(&hit);
    let with = GoesWith::of(
        scene.records,
        (panels, hit),
        scene.background,
        life,
        by_turning,
        lots::hits_clear,
    );
    Dossier {
        control: frames
            .panel
            .and_then(|place| compare_with_control(ground, &frames.machine, &place)),
        elsewhere: shown_elsewhere(ground, &frames.machine, with.all()),
        parts: parts_that_show(scene, &with),
        fold: periodic::fold(&turns),
        frames,
        exposed,
        with,
    }
}

/// Hits at the same place of the panel on other machines and heads, among
/// panels that are alike.
///
/// Here only panels count on which the machine's and the panel's place
/// coincide: on turned panels the machine's mark lies elsewhere.
fn compare_with_control(
    ground: &Ground<'_>,
    machine: &FramePlace,
    panel_rival: &FramePlace,
) -> Option<Control> {
    let scene = &ground.scene;
    let records = scene.records;
    let mut strata = Strata::default();
    let mut count = |i: usize, place: &Place, on: On| {
        let panel = &records.panels[i];
        if place.on(panel) {
            let near = |m: &LaidMark| place.distance(m.at) <= scene.reach_mm;
            let own = scene.marks.on(i).iter().filter(|m| near(m)).count();
            let written = Written {
                hit: own > 0,
                elsewhere: scene.marks.recorded(i) - own,
                other_kinds: scene.marks.other_kinds(i),
            };
            strata.count(panel, on, written);
        }
    };
    for &i in scene.panels {
        let panel = &records.panels[i];
        let places = (
            machine.holder.to_machine(panel, &machine.place),
            panel_rival.holder.to_machine(panel, &panel_rival.place),
        );
        if let (Some(m), Some(p)) = places
            && m.apart(&p) <= 2.0 * scene.reach_mm
        {
            count(i, &m, On::This);
        }
    }
    for &i in ground.others {
        if let Some(place) = panel_rival
            .holder
            .to_machine(&records.panels[i], &panel_rival.place)
        {
            count(i, &place, On::Control);
        }
    }
    strata.compare(scene.background)
}

/// Another machine that shows the repeat at the same place of its own, at half
/// of this one's rate or more: what both share may make it.
fn shown_elsewhere(
    ground: &Ground<'_>,
    machine: &FramePlace,
    here: Tally,
) -> Option<(String, Tally)> {
    let scene = &ground.scene;
    let records = scene.records;
    let own = scene.panels.first().map(|&i| &records.panels[i].machine)?;
    let (first, last) = (scene.panels.first()?, scene.panels.last()?);
    let mut counts: BTreeMap<&str, Tally> = BTreeMap::new();
    let mut beside: BTreeSet<&str> = BTreeSet::new();
    for &i in ground.others {
        let panel = &records.panels[i];
        let timed = panel.sanded_at.is_some();
        if !timed || first < &i && &i < last {
            beside.extend(panel.machine.as_deref());
        }
        if let (Some(name), Some(place)) = (
            panel.machine.as_deref().filter(|_| panel.machine != *own),
            machine.holder.to_machine(panel, &machine.place),
        ) && place.on(panel)
        {
            let hit = scene.marks.nearest(i, &place, scene.reach_mm).is_some();
            counts.entry(name).or_default().count(hit);
        }
    }
    let shows = |t: &Tally| {
        t.at_least(scene.background) <= SHOWN_ELSEWHERE
            && 2 * t.hits * here.exposed >= here.hits * t.exposed
    };
    // One that begins where this one ends may be the same under another name.
    let mut counts = counts.into_iter().filter(|(name, _)| beside.contains(name));
    let found = counts.find(|(_, tally)| shows(tally));
    found.map(|(machine, there)| (machine.to_owned(), there))
}

/// Part numbers whose hits at the place are too many for background.
fn parts_that_show(scene: &Scene<'_>, with: &GoesWith) -> Vec<String> {
    let mut parts: BTreeMap<&str, Tally> = BTreeMap::new();
    for (&panel, &hit) in with.panels.iter().zip(&with.hit) {
        if let Some(part) = &scene.records.panels[panel].part {
            parts.entry(part).or_default().count(hit);
        }
    }
    let shows = |t: &Tally| t.hits >= 2 && t.at_least(scene.background) <= PART_SHOWS;
    parts.retain(|_, tally| shows(tally));
    parts.into_keys().map(String::from).collect()
}

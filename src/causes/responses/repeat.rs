//! From a repeat to a finding: everything section by section that a careful
//! practitioner would ask, then the verdict.

use std::collections::BTreeMap;
use std::sync::Arc;

use crate::causes::levels::OTHER_LOTS;
use crate::causes::reason::{Reason, Rival, Tally};
use crate::causes::responses::merge::Sighting;
use crate::causes::responses::place::{LaidMark, Place};
use crate::causes::rivals::contrast;
use crate::causes::rivals::contrast::FrameEvidence;
use crate::causes::rivals::control::{Control, On, Strata, Written};
use crate::causes::rivals::day_of;
use crate::causes::rivals::follows;
use crate::causes::rivals::follows::LevelFound;
use crate::causes::rivals::frames::{FramePlace, Scene};
use crate::causes::rivals::lots;
use crate::causes::rivals::lots::{LotCount, LotEvidence};
use crate::causes::rivals::onset;
use crate::causes::rivals::onset::Life;
use crate::causes::rivals::periodic;
use crate::causes::rivals::periodic::{Fold, Turn};
use crate::causes::tails::binomial_at_least;
use crate::causes::verdict::Holds;
use crate::records::Panel;

/// Another machine shows the place if its hits are this improbable as
/// background.
const SHOWN_ELSEWHERE: f64 = 0.01;

/// A part number shows the machine place if its hits are this improbable as
/// background.
const PART_SHOWS: f64 = 0.001;

/// A level of a column that explains a repeat.
#[derive(Debug, Clone, PartialEq)]
pub(in crate::causes) struct Explained {
    /// The level.
    pub level: String,
    /// Its counts.
    pub found: LevelFound,
    /// Stretches of panels of this level in time.
    pub stretches: usize,
}

impl Explained {
    /// It as a reason.
    pub(in crate::causes) fn reason(&self, column: Rival) -> Reason {
        Reason::FollowsLevel {
            column,
            level: self.level.clone(),
            inside: Tally {
                hits: self.found.hits,
                exposed: self.found.exposed,
            },
            outside: Tally {
                hits: self.found.rest_hits,
                exposed: self.found.rest_exposed,
            },
            alone: self.found.explains,
        }
    }
}

/// Another machine that shows the same repeat.
#[derive(Debug, Clone, PartialEq)]
pub(in crate::causes) struct Elsewhere {
    /// Which.
    pub machine: String,
    /// Its hits at the same place of its own.
    pub there: Tally,
}

/// All evidence about one repeat.
#[derive(Debug, Clone, PartialEq)]
pub(in crate::causes) struct Dossier {
    /// Frames.
    pub frames: FrameEvidence,
    /// Positions of exposed panels (in the scene's panels), in time order.
    pub exposed: Vec<usize>,
    /// Whether each exposed panel was hit.
    pub hit: Vec<bool>,
    /// Onset, end and the live stretch, counted in exposed panels.
    pub life: Life,
    /// Lots in order of first exposed panel.
    pub lot_names: Vec<String>,
    /// Exposure and hits by lot.
    pub lot_counts: Vec<LotCount>,
    /// What they say.
    pub lots: LotEvidence,
    /// Lots cleared by panels turned within them: how many, ln likelihood.
    pub lots_by_turning: Option<(usize, f64)>,
    /// Another machine or head on the same lots.
    pub control: Option<Control>,
    /// Another machine that shows it at the same place.
    pub elsewhere: Option<Elsewhere>,
    /// Part numbers at the same machine place.
    pub parts: Vec<String>,
    /// What the hits follow.
    pub inspector: Option<Explained>,
    /// See `inspector`.
    pub recipe: Option<Explained>,
    /// See `inspector`.
    pub fixture: Option<Explained>,
    /// Abrasive age.
    pub age: Option<follows::AgeFound>,
    /// Every k-th panel.
    pub fold: Option<Fold>,
}

/// What all repeats of one kind of defect share.
#[derive(Debug, Clone, Copy)]
pub(in crate::causes) struct Ground<'a> {
    /// Panels of the stream's machine and head.
    pub scene: Scene<'a>,
    /// Inspected panels of all other machines and heads.
    pub others: &'a [usize],
    /// Number of every panel of the records in the order of its machine.
    pub numbers: &'a [usize],
}

/// Gathers the evidence about a sighting.
pub(in crate::causes) fn investigate(ground: &Ground<'_>, leader: FramePlace) -> Dossier {
    let scene = &ground.scene;
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
    let panel = |i: usize| &scene.records.panels[scene.panels[exposed[i]]];
    let text = |value: &Option<Arc<str>>| value.as_deref().map(String::from);

    let lot_of: Vec<Option<String>> = (0..exposed.len()).map(|i| text(&panel(i).lot)).collect();
    let (codes, lot_names) = coded(&lot_of);
    let lot_counts = by_level(&codes, &hit, lot_names.len(), 0..hit.len());
    let mut life = onset::life(&hit);
    let live_counts = by_level(&codes, &hit, lot_names.len(), life.first..life.past);
    let recorded: usize = lot_counts.iter().map(|c| c.exposed).sum();
    let lots = if 2 * recorded < exposed.len() {
        LotEvidence::NotRecorded
    } else {
        let days: Vec<Option<i64>> = (0..hit.len()).map(|i| day_of(panel(i))).collect();
        lots::judge(&lot_counts, &live_counts, scene.background).against_time(&codes, &hit, &days)
    };
    let lots_by_turning = (frames.within.as_ref())
        .filter(|_| frames.holds == Holds::Machine)
        .and_then(|w| w.other_lots)
        .filter(|(_, log_ratio)| *log_ratio >= OTHER_LOTS.ln());
    // What gathers in lots begins and ends with them: no onset, no end.
    if matches!(lots, LotEvidence::Gathered { .. }) && lots_by_turning.is_none() {
        life = Life::whole(hit.len());
    }
    let alive = life.first..life.past;

    let explained = |value: &dyn Fn(&Panel) -> Option<String>| {
        let levels: Vec<Option<String>> = alive.clone().map(|i| value(panel(i))).collect();
        explain(&levels, &hit[alive.clone()], scene.background)
    };
    let ages: Vec<Option<f64>> = alive.clone().map(|i| panel(i).abrasive_age).collect();
    let turns: Vec<Turn> = exposed
        .iter()
        .zip(&hit)
        .map(|(&at, &hit)| Turn {
            number: ground.numbers[scene.panels[at]],
            hit,
        })
        .collect();
    Dossier {
        control: frames
            .panel
            .and_then(|place| compare_with_control(ground, &frames.machine, &place)),
        elsewhere: shown_elsewhere(
            ground,
            &frames.machine,
            (hit.iter().filter(|h| **h).count(), hit.len()),
        ),
        parts: parts_that_show(scene, &exposed, &hit),
        inspector: explained(&|p| text(&p.inspector)),
        recipe: explained(&setting),
        fixture: explained(&|p| text(&p.fixture)),
        age: follows::age(&ages, &hit[alive.clone()], scene.background),
        fold: periodic::fold(&turns),
        frames,
        exposed,
        hit,
        life,
        lot_names,
        lot_counts,
        lots,
        lots_by_turning,
    }
}

/// The recipe's name, or its factors where it has none.
pub(in crate::causes) fn setting(panel: &Panel) -> Option<String> {
    if let Some(recipe) = &panel.recipe {
        return Some(recipe.to_string());
    }
    let numbers = [panel.feed_mm_s, panel.passes, panel.force_n];
    if numbers.iter().all(Option::is_none) {
        return None;
    }
    let shown = |v: Option<f64>| v.map_or("–".to_string(), |v| v.to_string());
    Some(numbers.map(shown).join(" / "))
}

/// Levels as numbers, in order of first panel, and their names.
pub(in crate::causes) fn coded(levels: &[Option<String>]) -> (Vec<Option<usize>>, Vec<String>) {
    let mut number: BTreeMap<&str, usize> = BTreeMap::new();
    let mut names: Vec<String> = Vec::new();
    let codes = levels
        .iter()
        .map(|level| {
            let name = level.as_deref()?;
            Some(*number.entry(name).or_insert_with(|| {
                names.push(name.to_string());
                names.len() - 1
            }))
        })
        .collect();
    (codes, names)
}

/// Exposure and hits by level over a stretch of panels.
pub(in crate::causes) fn by_level(
    codes: &[Option<usize>],
    hit: &[bool],
    levels: usize,
    stretch: std::ops::Range<usize>,
) -> Vec<LotCount> {
    let none = LotCount {
        exposed: 0,
        hits: 0,
    };
    let mut counts = vec![none; levels];
    for i in stretch {
        if let Some(l) = codes[i] {
            counts[l].exposed += 1;
            counts[l].hits += usize::from(hit[i]);
        }
    }
    counts
}

/// The level in which hits gather, if the test passes.
pub(in crate::causes) fn explain(
    levels: &[Option<String>],
    hits: &[bool],
    background: f64,
) -> Option<Explained> {
    let (coded, names) = coded(levels);
    let found = follows::level(&coded, hits, background)?;
    let is = |i: usize| coded[i] == Some(found.level);
    let stretches = (0..coded.len())
        .filter(|&i| is(i) && (i == 0 || !is(i - 1)))
        .count();
    Some(Explained {
        level: names[found.level].clone(),
        found,
        stretches,
    })
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
    (here, of): (usize, usize),
) -> Option<Elsewhere> {
    let scene = &ground.scene;
    let records = scene.records;
    let own = scene.panels.first().map(|&i| &records.panels[i].machine)?;
    let mut counts: BTreeMap<&str, Tally> = BTreeMap::new();
    for &i in ground.others {
        let panel = &records.panels[i];
        let (Some(name), Some(place)) = (
            panel.machine.as_deref().filter(|_| panel.machine != *own),
            machine.holder.to_machine(panel, &machine.place),
        ) else {
            continue;
        };
        if place.on(panel) {
            let tally = counts.entry(name).or_default();
            tally.exposed += 1;
            tally.hits += usize::from(scene.marks.nearest(i, &place, scene.reach_mm).is_some());
        }
    }
    let shows = |t: &Tally| {
        binomial_at_least(t.hits, t.exposed, scene.background) <= SHOWN_ELSEWHERE
            && 2 * t.hits * of >= here * t.exposed
    };
    counts
        .into_iter()
        .find(|(_, tally)| shows(tally))
        .map(|(machine, there)| Elsewhere {
            machine: machine.to_owned(),
            there,
        })
}

/// Part numbers whose hits at the place are too many for background.
fn parts_that_show(scene: &Scene<'_>, exposed: &[usize], hit: &[bool]) -> Vec<String> {
    let mut parts: BTreeMap<&str, Tally> = BTreeMap::new();
    for (&at, &hit) in exposed.iter().zip(hit) {
        if let Some(part) = &scene.records.panels[scene.panels[at]].part {
            let tally = parts.entry(part).or_default();
            tally.exposed += 1;
            tally.hits += usize::from(hit);
        }
    }
    parts
        .into_iter()
        .filter(|(_, t)| {
            t.hits >= 2 && binomial_at_least(t.hits, t.exposed, scene.background) <= PART_SHOWS
        })
        .map(|(part, _)| part.to_owned())
        .collect()
}

/// The rival that a sighting stands for.
pub(in crate::causes) fn leader(sighting: &Sighting) -> FramePlace {
    FramePlace {
        holder: sighting.holder,
        place: sighting.place(),
    }
}

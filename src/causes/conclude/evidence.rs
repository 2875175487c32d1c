//! What the charts of a repeat draw.

use crate::causes::responses;
use crate::causes::responses::repeat::{Dossier, Ground};
use crate::causes::{Evidence, Hit, LevelCount, Period};

/// Adds to the `base` what only a place has.
pub(super) fn evidence(
    ground: &Ground<'_>,
    dossier: &Dossier,
    members: Vec<usize>,
    base: Evidence,
) -> Evidence {
    let scene = &ground.scene;
    let with = &dossier.with;
    let laid = scene.laid(&dossier.frames.chosen);
    let nearest = |(i, &panel): (usize, &usize)| {
        let place = laid[dossier.exposed[i]].filter(|_| with.hit[i])?;
        let mark = scene.marks.nearest(panel, &place, scene.reach_mm)?;
        Hit::of(scene.records, mark.defect)
    };
    let aged =
        |(&panel, &hit): (&usize, &bool)| Some((scene.records.panels[panel].abrasive_age?, hit));
    Evidence {
        hits: with.panels.iter().enumerate().filter_map(nearest).collect(),
        members,
        by_age: with.age.map_or(Vec::new(), |_| {
            let pairs = with.panels.iter().zip(&with.hit);
            responses::by_age(&pairs.filter_map(aged).collect::<Vec<_>>())
        }),
        frames: dossier.frames.scores.clone(),
        period: dossier.fold.as_ref().map(|fold| Period::EveryKth {
            every: fold.every,
            phase: fold.phase,
            folded: LevelCount::each(
                (1..=fold.every).map(|phase| phase.to_string()),
                fold.folded.iter().copied(),
            ),
        }),
        ..base
    }
}

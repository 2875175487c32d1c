//! What the charts of a repeat draw.

use super::{About, changed};
use crate::causes::responses;
use crate::causes::responses::repeat::{Dossier, Ground};
use crate::causes::rivals::onset;
use crate::causes::{ChangePoint, Evidence, Hit, LevelCount, Period};
use crate::records::Records;

pub(super) fn evidence(
    about: About<'_>,
    ground: &Ground<'_>,
    dossier: &Dossier,
    members: Vec<usize>,
) -> Evidence {
    let scene = &ground.scene;
    let records = scene.records;
    let laid = scene.laid(&dossier.frames.chosen);
    let index = |at: usize| scene.panels[dossier.exposed[at]];
    let last = dossier.exposed.len().saturating_sub(1);
    let mut hits = Vec::new();
    for (i, &at) in dossier.exposed.iter().enumerate() {
        let nearest = laid[at]
            .filter(|_| dossier.hit[i])
            .and_then(|p| scene.marks.nearest(scene.panels[at], &p, scene.reach_mm));
        if let Some(mark) = nearest
            && let Some(on_panel) = records.defects[mark.defect].place
        {
            hits.push(Hit {
                panel: scene.panels[at],
                defect: mark.defect,
                machine: records.panels[scene.panels[at]].to_machine(on_panel),
                on_panel,
            });
        }
    }
    let change = |c: onset::Change| ChangePoint {
        panel: index(c.at.min(last)),
        earliest: index(c.earliest.min(last)),
        latest: index(c.latest.min(last)),
        log_ratio: c.log_ratio,
        together_with: changed(ground, dossier, c.earliest, c.latest),
    };
    Evidence {
        stream: Some(about.stream),
        hits,
        exposed: (0..dossier.exposed.len()).map(index).collect(),
        members,
        by_lot: dossier
            .lot_names
            .iter()
            .zip(&dossier.lot_counts)
            .map(|(level, c)| LevelCount {
                level: level.clone(),
                exposed: c.exposed,
                hits: c.hits,
            })
            .collect(),
        by_age: by_age(records, ground, dossier),
        frames: dossier.frames.scores.clone(),
        onset: dossier.life.onset.map(change),
        end: dossier.life.end.map(change),
        period: dossier.fold.as_ref().map(|fold| Period::EveryKth {
            every: fold.every,
            phase: fold.phase,
            folded: fold
                .folded
                .iter()
                .enumerate()
                .map(|(phase, &(exposed, hits))| LevelCount {
                    level: (phase + 1).to_string(),
                    exposed,
                    hits,
                })
                .collect(),
        }),
        ..Evidence::default()
    }
}

/// Hits by age of the abrasive, where the hits follow it.
fn by_age(records: &Records, ground: &Ground<'_>, dossier: &Dossier) -> Vec<LevelCount> {
    if dossier.age.is_none() {
        return Vec::new();
    }
    let aged: Vec<(f64, bool)> = (dossier.exposed.iter().zip(&dossier.hit))
        .filter_map(|(&at, &hit)| {
            Some((records.panels[ground.scene.panels[at]].abrasive_age?, hit))
        })
        .collect();
    responses::by_age(&aged)
}

//! What the recipe analysis is told: target, limits, and what stands in the way
//! of advice.

use std::collections::BTreeMap;

use crate::causes::{Cause, Causes, Finding, Kind, Surface, SurfaceCause};
use crate::site::{DefectClass, Limits, Site};

/// Target, limits and levels of the recipe analysis.
#[derive(Debug, Clone, PartialEq)]
pub struct Settings {
    /// Chance, 0..1, that a report on records without any effect of the recipe
    /// on defects calls a stream's rate recipe-driven.
    pub alpha: f64,
    /// Coverage of the intervals, 0..1.
    pub level: f64,
    /// Removal that the site aims at, µm.
    pub target_um: Option<f64>,
    /// Below the low limit too little is removed, above the high one too much, µm.
    pub removed_um: Limits,
    /// Contact force that is never exceeded, N.
    pub force_cap_n: Option<f64>,
    /// Allowed settings by column or factor name.
    pub limits: BTreeMap<String, Limits>,
    /// Path length of one pass over one panel, mm, where the site gives it.
    pub path_length_mm: Option<f64>,
    /// Line pitch, mm, where the site gives it.
    pub line_pitch_mm: Option<f64>,
    /// Time per panel beside sanding, s, where the site gives it.
    pub handling_s: Option<f64>,
    /// Share of panels with too much or with too little that is accepted,
    /// 0..1; the process window is where neither is exceeded.
    pub accepted_share: f64,
}

impl Default for Settings {
    fn default() -> Self {
        Self::from_site(&Site::default())
    }
}

impl Settings {
    /// The settings that the site file gives.
    #[must_use]
    pub fn from_site(site: &Site) -> Self {
        let recipe = &site.recipe;
        Self {
            alpha: site.analysis.alpha,
            level: site.analysis.confidence,
            target_um: recipe.target_removed_um,
            removed_um: Limits {
                low: recipe.min_removed_um,
                high: recipe.max_removed_um,
            },
            force_cap_n: recipe.force_cap_n,
            limits: recipe.limits.clone(),
            path_length_mm: recipe.path_length_mm,
            line_pitch_mm: recipe.line_pitch_mm,
            handling_s: recipe.handling_s,
            accepted_share: 0.05,
        }
    }

    /// The allowed settings of a factor; the force cap counts as the high limit.
    #[must_use]
    pub fn limits_of(&self, factor: &super::Factor) -> Limits {
        let mut limits = self.limits.get(factor.name()).copied().unwrap_or_default();
        if *factor == super::Factor::Force
            && let Some(cap) = self.force_cap_n
        {
            limits.high = Some(limits.high.map_or(cap, |high| high.min(cap)));
        }
        limits
    }
}

/// A finding that no lever of the recipe cures and that comes first.
#[derive(Debug, Clone, PartialEq, serde::Serialize)]
#[serde(tag = "what", rename_all = "kebab-case")]
pub enum Obstacle {
    /// Removal is uneven over the panel: feed, passes and force move the mean
    /// and leave one end too deep or the other too shallow.
    UnevenRemoval {
        /// The machine, where recorded.
        machine: Option<String>,
        /// The head, where recorded.
        head: Option<String>,
        /// Whether the panels bring it, or the machine does; none where that is
        /// not known yet.
        from_part: Option<bool>,
    },
    /// A finding explains most of a kind of defect.
    Finding {
        /// Its id.
        id: String,
        /// The kind of defect.
        defect: String,
        /// Who makes it.
        cause: Cause,
        /// What it looks like.
        kind: Kind,
        /// Its marks over all marks of the stream, 0..1.
        share: f64,
    },
}

/// The obstacles found; empty where nothing stands in the way of advice.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Held {
    /// In the order of the findings.
    pub obstacles: Vec<Obstacle>,
}

/// A finding holds advice back when it owns at least this share of its
/// stream's marks.
const MOST: f64 = 0.5;
/// A tilt that nobody is known to make holds advice back from this share of the
/// mean removal on, edge to edge: the scatter that removal has at best (common
/// practice, no source: 10–20 %).
const TILTED: f64 = 0.1;

/// Whether one side surely takes more by an amount that matters.
fn tilts(surface: &Surface) -> bool {
    let mean = surface.removed_um.unwrap_or(0.0).abs();
    let sides = surface.lean.sides();
    sides
        .first()
        .is_some_and(|side| side.by_um >= TILTED * mean)
}

impl Held {
    /// Collects what the findings say against moving a lever: uneven removal
    /// (while nobody is known to make it, a tilt that matters), opposite sides
    /// and thin film always; any other part or machine finding when it owns at
    /// least half of the marks of an over or under stream.
    #[must_use]
    pub fn from_causes(causes: &Causes) -> Self {
        let mut obstacles = Vec::new();
        for (index, surface) in causes.surface.iter().enumerate() {
            // a spread too small to be a finding moves nothing
            let listed = |f: &Finding| f.evidence.surface == Some(index);
            if !causes.findings.iter().any(listed) {
                continue;
            }
            let from_part = match surface.cause {
                SurfaceCause::Machine => Some(false),
                SurfaceCause::Part => Some(true),
                SurfaceCause::Undecided if tilts(surface) => None,
                SurfaceCause::None | SurfaceCause::Undecided => continue,
            };
            obstacles.push(Obstacle::UnevenRemoval {
                machine: surface.machine.clone(),
                head: surface.head.clone(),
                from_part,
            });
        }
        for finding in &causes.findings {
            let Some(stream) = finding.evidence.stream.and_then(|s| causes.streams.get(s)) else {
                continue;
            };
            if !matches!(
                stream.class,
                Some(DefectClass::Over | DefectClass::Under) | None
            ) {
                continue;
            }
            let share = if stream.defects == 0 {
                0.0
            } else {
                finding.evidence.members.len() as f64 / stream.defects as f64
            };
            let uneven = matches!(
                finding.kind,
                Kind::OppositeSides | Kind::ThinFilm | Kind::Side
            );
            let owned = matches!(finding.cause, Cause::Part | Cause::Machine) && share >= MOST;
            if uneven || owned {
                obstacles.push(Obstacle::Finding {
                    id: finding.id.clone(),
                    defect: finding.defect.clone(),
                    cause: finding.cause,
                    kind: finding.kind,
                    share,
                });
            }
        }
        Self { obstacles }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::causes::Stream;
    use crate::causes::made::{spot, stream};

    /// A machine's place with so many of a hundred marks of a kind.
    fn held(of_hundred: usize, class: Option<DefectClass>) -> usize {
        let mut finding = spot();
        finding.evidence.stream = Some(0);
        finding.evidence.members = (0..of_hundred).collect();
        let causes = Causes {
            findings: vec![finding],
            streams: vec![Stream {
                class,
                defects: 100,
                ..stream()
            }],
            ..Causes::default()
        };
        Held::from_causes(&causes).obstacles.len()
    }

    #[test]
    fn a_place_with_half_of_the_marks_holds_advice_back() {
        let over = Some(DefectClass::Over);
        assert_eq!([49, 50].map(|marks| held(marks, over)), [0, 1]);
        assert_eq!(
            held(80, Some(DefectClass::Incoming)),
            0,
            "no lever moves it"
        );
    }
}

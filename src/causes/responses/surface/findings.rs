//! Findings from removal readings: a side that takes more, panels that bring
//! their own tilt.

use crate::causes::responses::surface::verdict::{Levels, told};
use crate::causes::responses::surface::{
    DifferBy, EdgeToEdge, PartSign, Surface, SurfaceCause, SurfaceNote, SurfaceReason, TermName,
};
use crate::causes::{
    Cause, Evidence, Finding, Frame, Kind, NextCheck, OpenRival, Reason, Rival, Tally, about,
};
use crate::records::Records;

/// The name under which findings on removal readings are listed.
pub const UNEVEN_REMOVAL: &str = "uneven removal";

/// Panels to lay turned where machine and part look alike: enough, with the
/// panels already measured, for a tilt as large as the panels' own spread.
const TURN: usize = 10;
/// Readings that carry the whole surface with one to spare for every slope.
const GRID: usize = 9;

/// Standard deviation of the panels' own removal at an edge, as a share of the
/// mean removal, below which their spread is listed but is no finding: the
/// scatter that removal has at best (common practice, no source: 10–20 %).
const SPREAD_THAT_MATTERS: f64 = 0.1;

/// At most two findings for every surface: on its slopes, and on what comes with
/// the panels. Ids are left empty.
pub(crate) fn findings(surfaces: &[Surface], records: &Records) -> Vec<Finding> {
    let mut out = Vec::new();
    for (index, surface) in surfaces.iter().enumerate() {
        let about = About {
            surface,
            index,
            records,
            levels: Levels {
                alpha: 1.0,
                groups: surfaces.len(),
            },
        };
        out.extend(about.side());
        out.extend(about.with_panels());
    }
    out
}

fn open(rival: &Rival, to_settle: NextCheck) -> OpenRival {
    let panels = match &to_settle {
        NextCheck::TurnPanels { panels }
        | NextCheck::TurnAtTable { panels }
        | NextCheck::TurnAmongAlike { panels, .. } => Some(*panels),
        _ => None,
    };
    OpenRival {
        rival: rival.clone(),
        levels: Vec::new(),
        to_settle,
        panels,
    }
}

/// What would tell whether differences follow it.
fn settles(follows: &DifferBy) -> NextCheck {
    match follows {
        DifferBy::TwoStates { .. } => NextCheck::TurnPanels { panels: TURN },
        other => NextCheck::TryFactor {
            factor: other.rival(),
        },
    }
}

/// What would part a rival from the lay.
fn meet(rival: &Rival) -> NextCheck {
    match rival {
        Rival::Table => NextCheck::TurnAtTable { panels: TURN },
        _ => NextCheck::TurnAmongAlike {
            panels: TURN,
            rival: rival.clone(),
        },
    }
}

struct About<'a> {
    surface: &'a Surface,
    index: usize,
    levels: Levels,
    records: &'a Records,
}

impl About<'_> {
    /// A slope that all panels share, as they lay.
    fn side(&self) -> Option<Finding> {
        let surface = self.surface;
        let sides = surface.lean.sides();
        let strongest = sides.first()?;
        let machine = surface.cause == SurfaceCause::Machine;
        let crown = surface.notes.contains(&SurfaceNote::CrownReadsAsSlope);
        let went_with = &surface.evidence.machine_open;
        let open = if machine {
            self.table_on_trust()
        } else if !went_with.is_empty() {
            went_with.iter().map(|r| open(r, meet(r))).collect()
        } else {
            let settles = if told(surface.contrast) && crown {
                NextCheck::MeasureGrid { readings: GRID }
            } else {
                NextCheck::TurnPanels { panels: TURN }
            };
            [Rival::Panel, Rival::Machine]
                .map(|r| open(&r, settles.clone()))
                .into()
        };
        let next_check = match open.first() {
            Some(first) if !machine => first.to_settle.clone(),
            _ => NextCheck::CheckHeadTilt {
                takes_more: Some(strongest.more),
            },
        };
        let mut reasons: Vec<SurfaceReason> = sides
            .iter()
            .map(|&side| SurfaceReason::TakesMore {
                side,
                panels: surface.panels,
            })
            .collect();
        reasons.push(self.contrast());
        if !went_with.is_empty() {
            reasons.push(SurfaceReason::LayGoesWith(went_with.clone()));
        }
        if crown {
            reasons.push(SurfaceReason::CrownReadsAsSlope);
        }
        reasons.extend(self.shares());
        let leaning = self.leaning(&sides);
        Some(Finding {
            cause: if machine {
                Cause::Machine
            } else {
                Cause::Undecided
            },
            kind: Kind::Side,
            open,
            frame: machine.then_some(Frame::Machine),
            p_adjusted: surface.p_adjusted,
            reasons: reasons.into_iter().map(Reason::Surface).collect(),
            next_check,
            ..self.blank(&leaning)
        })
    }

    /// What comes with the panels, or may.
    fn with_panels(&self) -> Option<Finding> {
        let surface = self.surface;
        let crown = surface.notes.contains(&SurfaceNote::CrownReadsAsSlope);
        let taper = |s: &PartSign| {
            matches!(
                s,
                PartSign::TaperAlongLength { .. } | PartSign::TaperAlongWidth { .. }
            )
        };
        let signs: Vec<PartSign> = surface
            .signs
            .iter()
            .filter(|s| !(crown && taper(s)) && self.worth_finding(s))
            .copied()
            .collect();
        let first = signs.first()?;
        let differ = (signs.iter()).any(|s| matches!(s, PartSign::PanelsDiffer { .. }));
        let tapers = signs.iter().any(taper);
        let went_with = &surface.evidence.taper_open;
        let follows = &surface.evidence.differ_follow;
        let own = differ && follows.is_empty();
        let part = own || (tapers && !differ && went_with.is_empty());
        let mut reasons: Vec<SurfaceReason> = signs
            .iter()
            .map(|&sign| SurfaceReason::Sign(sign))
            .collect();
        // How the panels lay bears on what they share, not on how they differ.
        if tapers {
            reasons.push(self.contrast());
            if !went_with.is_empty() {
                reasons.push(SurfaceReason::LayGoesWith(went_with.clone()));
            }
        }
        if differ {
            let follows = follows.iter().cloned();
            reasons.extend(follows.map(SurfaceReason::DifferBy));
        }
        reasons.extend(self.shares());
        let open = match (part, tapers) {
            (true, _) if differ => Vec::new(),
            _ if differ && !own => (follows.iter())
                .map(|f| open(&f.rival(), settles(f)))
                .collect(),
            (true, _) => self.table_on_trust(),
            (false, true) => went_with.iter().map(|r| open(r, meet(r))).collect(),
            (false, false) => [Rival::Panel, Rival::Machine]
                .map(|r| open(&r, NextCheck::CheckFlatness))
                .into(),
        };
        let hit = self.off_the_shared(&signs);
        Some(Finding {
            cause: if part { Cause::Part } else { Cause::Undecided },
            open,
            kind: if taper(first) {
                Kind::Side
            } else {
                Kind::OppositeSides
            },
            frame: part.then_some(Frame::Panel),
            p_adjusted: signs
                .iter()
                .map(|s| self.levels.part(s.p_value()))
                .reduce(f64::min),
            reasons: reasons.into_iter().map(Reason::Surface).collect(),
            next_check: if let Some(first) = follows.first().filter(|_| differ) {
                settles(first)
            } else if surface.cause == SurfaceCause::Machine {
                NextCheck::CheckFlatnessToo
            } else {
                NextCheck::CheckFlatness
            },
            ..self.blank(&hit)
        })
    }

    /// Panels always differ a little, and with enough readings that is beyond
    /// doubt; a finding it is only where it matters.
    fn worth_finding(&self, sign: &PartSign) -> bool {
        match sign {
            PartSign::PanelsDiffer { term, sd_um, .. } => {
                let at_an_edge = match term {
                    TermName::SlopeX | TermName::SlopeY => sd_um / 2.0,
                    TermName::CrownX | TermName::CrownY | TermName::Twist => *sd_um,
                };
                let removed = self.surface.removed_um.unwrap_or(0.0).abs();
                at_an_edge >= SPREAD_THAT_MATTERS * removed
            }
            _ => true,
        }
    }

    /// Panels that show the signs: where only slopes differ, those whose own slope,
    /// less what all share, matters at an edge; else all.
    fn off_the_shared(&self, signs: &[PartSign]) -> Vec<usize> {
        let surface = self.surface;
        let slopes_only = signs.iter().all(|s| {
            matches!(
                s,
                PartSign::PanelsDiffer {
                    term: TermName::SlopeX | TermName::SlopeY,
                    ..
                }
            )
        });
        let least = SPREAD_THAT_MATTERS * surface.removed_um.unwrap_or(0.0).abs();
        let shared = |value: Option<f64>| value.unwrap_or(0.0);
        let (x, y) = (
            shared(surface.slope_x.machine),
            shared(surface.slope_y.machine),
        );
        (surface.evidence.slopes.iter())
            .filter(|s| !slopes_only || (s.x - x).abs().max((s.y - y).abs()) >= least)
            .map(|s| s.panel)
            .collect()
    }

    /// The inspection table, where nobody wrote down how panels lay there.
    fn table_on_trust(&self) -> Vec<OpenRival> {
        if self.surface.evidence.table_recorded {
            return Vec::new();
        }
        vec![open(&Rival::Table, NextCheck::RecordTableLay)]
    }

    fn contrast(&self) -> SurfaceReason {
        let slopes = &self.surface.evidence.slopes;
        let mut by_lay = [0usize; 4];
        for slope in slopes {
            by_lay[usize::from(slope.lay.degrees() / 90)] += 1;
        }
        let most = by_lay.iter().copied().max().unwrap_or(0);
        SurfaceReason::Contrast {
            contrast: self.surface.contrast,
            turned: slopes.len() - most,
            panels: slopes.len(),
        }
    }

    fn shares(&self) -> Option<SurfaceReason> {
        Some(SurfaceReason::Shares {
            machine: self.surface.share_machine?,
            part: self.surface.share_part?,
            gauge: self.surface.share_gauge?,
        })
    }

    /// Panels whose own slope leans the way all do together.
    fn leaning(&self, sides: &[EdgeToEdge]) -> Vec<usize> {
        let surface = self.surface;
        let (x, y) = (surface.lean.along_x, surface.lean.along_y);
        let direction = (
            x.and(surface.slope_x.machine).unwrap_or(0.0),
            y.and(surface.slope_y.machine).unwrap_or(0.0),
        );
        if sides.is_empty() {
            return Vec::new();
        }
        let slopes = &surface.evidence.slopes;
        slopes
            .iter()
            .filter(|s| s.x * direction.0 + s.y * direction.1 > 0.0)
            .map(|s| s.panel)
            .collect()
    }

    fn blank(&self, hits: &[usize]) -> Finding {
        let surface = self.surface;
        let exposed: Vec<usize> = surface.evidence.slopes.iter().map(|s| s.panel).collect();
        let about = about::About {
            machine: surface.machine.clone(),
            head: surface.head.clone(),
            defect: UNEVEN_REMOVAL.to_owned(),
            stream: None,
        };
        let counted = Tally {
            hits: hits.len(),
            exposed: exposed.len(),
        };
        let base = about.finding(self.records, hits, counted);
        Finding {
            evidence: Evidence {
                surface: Some(self.index),
                exposed,
                ..base.evidence
            },
            ..base
        }
    }
}

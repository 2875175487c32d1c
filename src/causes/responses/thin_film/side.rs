//! Too much on one side where the film is thinner on that side: what the part
//! brought, unless the readings show that more is removed there.

use std::collections::BTreeMap;

use crate::causes::{
    Cause, Finding, Frame, Kind, NextCheck, OpenRival, Reason, Rival, Side, Surface, UNEVEN_REMOVAL,
};
use crate::records::Records;
use crate::site::DefectClass;
use crate::stats::Interval;
use crate::stats::distributions::student_t;

/// Panels with the film on both sides from which their difference is asked.
const LEAST_PANELS: usize = 8;
/// The film is thinner there at this level.
const THINNER: f64 = 0.001;
/// It matters from this share of the mean film on (common practice, no source).
const MATTERS: f64 = 0.1;

/// Film near a side less film across it, over panels.
struct Gap {
    by_um: f64,
    by_ci: Interval,
    panels: usize,
}

/// Sides of too much that nobody or the machine has been named for, where the film
/// was thinner on that side: the film's where removal leans no such way, open
/// where it was not measured.
pub(crate) fn thin_sides(findings: &mut [Finding], surfaces: &[Surface], records: &Records) {
    for finding in findings.iter_mut() {
        let may = matches!(finding.cause, Cause::Undecided | Cause::Machine);
        if finding.kind != Kind::Side || finding.defect == UNEVEN_REMOVAL || !may {
            continue;
        }
        let Some(side) = side_of(finding, records) else {
            continue;
        };
        let Some(gap) = gap(finding, side, records) else {
            continue;
        };
        let surface = (surfaces.iter())
            .find(|s| (&s.machine, &s.head) == (&finding.machine, &finding.head))
            .filter(|s| s.panels >= LEAST_PANELS);
        let leans = |s: &Surface| s.lean.sides().iter().any(|lean| lean.more == side);
        finding.reasons.push(Reason::FilmThinOnSide {
            by_um: gap.by_um,
            by_ci: gap.by_ci,
            panels: gap.panels,
            even: surface.map(|s| !leans(s)),
        });
        match surface.map(leans) {
            // Both: the slope tells the rest.
            Some(true) => continue,
            Some(false) => {
                finding.cause = Cause::Part;
                finding.frame = None;
                finding.open.clear();
            }
            None => {
                finding.cause = Cause::Undecided;
                finding.frame = None;
                finding.open = [Rival::Film, Rival::Machine]
                    .map(|rival| OpenRival {
                        rival,
                        levels: Vec::new(),
                        to_settle: NextCheck::MeasureGrid { readings: 9 },
                        panels: None,
                    })
                    .into();
            }
        }
        finding.next_check = NextCheck::CheckFilm;
    }
}

/// The side of the machine with too many marks of too much.
fn side_of(finding: &Finding, records: &Records) -> Option<Side> {
    let Some(Reason::SideVotes {
        side,
        frame: Frame::Machine | Frame::Panel,
        ..
    }) = finding.reasons.first()
    else {
        return None;
    };
    let name = records
        .defect_names
        .iter()
        .find(|n| n.name == finding.defect)?;
    (name.class == Some(DefectClass::Over)).then_some(*side)
}

/// How much thinner the film is in the half of the panels near a side, as they lay
/// in the frame in which the marks lead; none where it is not, or not known.
fn gap(finding: &Finding, side: Side, records: &Records) -> Option<Gap> {
    let of_panel = matches!(
        finding.reasons.first(),
        Some(Reason::SideVotes {
            frame: Frame::Panel,
            ..
        })
    );
    let mut films: BTreeMap<usize, [(f64, f64); 2]> = BTreeMap::new();
    for reading in &records.readings {
        let (Some(film), Some(at)) = (reading.film_um, reading.place) else {
            continue;
        };
        let panel = &records.panels[reading.panel];
        let own = |wanted: &Option<String>, is: Option<&str>| {
            (wanted.as_deref()).is_none_or(|wanted| is == Some(wanted))
        };
        if !own(&finding.machine, panel.machine.as_deref())
            || !own(&finding.head, panel.head.as_deref())
        {
            continue;
        }
        let (at, rect) = if of_panel {
            (at, panel.rect())
        } else {
            (panel.to_machine(at), panel.machine_rect())
        };
        let low = match side {
            Side::LowX | Side::HighX => at.x < f64::midpoint(rect.x0, rect.x1),
            Side::LowY | Side::HighY => at.y < f64::midpoint(rect.y0, rect.y1),
        };
        let near = low == matches!(side, Side::LowX | Side::LowY);
        let sum = &mut films.entry(reading.panel).or_default()[usize::from(!near)];
        sum.0 += film;
        sum.1 += 1.0;
    }
    let both = films.values().filter(|f| f[0].1 > 0.0 && f[1].1 > 0.0);
    let means: Vec<[f64; 2]> = both.map(|f| f.map(|(sum, n)| sum / n)).collect();
    let panels = means.len();
    if panels < LEAST_PANELS {
        return None;
    }
    let n = panels as f64;
    let gaps = || means.iter().map(|m| m[1] - m[0]);
    let by_um = gaps().sum::<f64>() / n;
    let film = means.iter().map(|m| f64::midpoint(m[0], m[1])).sum::<f64>() / n;
    let variance = gaps().map(|g| (g - by_um).powi(2)).sum::<f64>() / (n - 1.0);
    let error = (variance / n).sqrt();
    let p = student_t::upper(by_um / error, n - 1.0);
    if by_um < MATTERS * film || !(error == 0.0 || p <= THINNER) {
        return None;
    }
    let half = student_t::two_sided_quantile(0.95, n - 1.0) * error;
    Some(Gap {
        by_um,
        by_ci: Interval {
            low: by_um - half,
            high: by_um + half,
            level: 0.95,
        },
        panels,
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::causes::about::About;
    use crate::causes::{Tally, made};
    use crate::records::{Point, Reading};

    /// What becomes of a side of sand-through at low x where the film is so much thinner
    /// there, µm, beside an even surface where `measured`.
    fn side(thinner: f64, measured: bool) -> Finding {
        let mut records = made::records(&[("sand-through", Some(DefectClass::Over))]);
        for i in 0..20 {
            records.panels.push(made::panel(i, 600.0, 400.0));
            for (x, film) in [(100.0, 30.0 - thinner), (500.0, 30.0)] {
                records.readings.push(Reading {
                    panel: i,
                    place: Some(Point { x, y: 200.0 }),
                    removed_um: None,
                    film_um: Some(film + [0.5, -0.5, 0.2][(i + x as usize / 100) % 3]),
                });
            }
        }
        let about = About {
            defect: "sand-through".into(),
            ..About::default()
        };
        let counted = Tally {
            hits: 20,
            exposed: 20,
        };
        let mut found = about.finding(&records, &[0], counted);
        (found.kind, found.cause) = (Kind::Side, Cause::Undecided);
        found.reasons = vec![Reason::SideVotes {
            side: Side::LowX,
            frame: Frame::Machine,
            votes: 20,
            against: 0,
            p_adjusted: 1e-5,
        }];
        let surfaces = Vec::from_iter(measured.then(|| Surface {
            panels: 20,
            ..crate::causes::surfaces(&even(), 0.01).remove(0)
        }));
        let mut findings = [found];
        thin_sides(&mut findings, &surfaces, &records);
        let [found] = findings;
        found
    }

    /// Two panels with even removal.
    fn even() -> Records {
        let mut records = made::records(&[]);
        for i in 0..2 {
            records.panels.push(made::panel(i, 600.0, 400.0));
            for k in 0..9 {
                records.readings.push(Reading {
                    panel: i,
                    place: Some(Point {
                        x: 300.0 * f64::from(k % 3),
                        y: 200.0 * f64::from(k / 3),
                    }),
                    removed_um: Some(20.0 + 0.1 * f64::from((7 * k + i as i32) % 5)),
                    film_um: None,
                });
            }
        }
        records
    }

    #[test]
    fn thin_film_under_even_removal_is_the_parts_and_open_where_nobody_measured() {
        assert_eq!(side(8.0, true).cause, Cause::Part);
        let open: Vec<Rival> = side(8.0, false).open.into_iter().map(|o| o.rival).collect();
        assert_eq!(open, [Rival::Film, Rival::Machine]);
        // One µm of thirty does not matter.
        assert_eq!(side(1.0, true).cause, Cause::Undecided);
        assert!(side(1.0, true).open.is_empty());
    }
}

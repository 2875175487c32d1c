//! The next setting to try: one lever at a time, in the trade's order.
//!
//! Contact and force are checked first (that is the report's sentence, not a
//! number); then feed, passes, grit; force is raised last and never above the
//! site's cap. Order: common practice, no source.

use super::doubts::Note;
use super::lever::Bench;
use super::result::{Advice, Aim, Estimate, Factor, RateChange, Reach};
use super::setting::{Setting, Value, level, number};
use crate::site::DefectClass;

/// A step where no target is set: feed and force move by this share.
const STEP: f64 = 0.15;
/// Means this close to the target, as a log ratio, are on target: panels scatter by
/// more, and whoever follows every panel's reading adds to the scatter.
const ON_TARGET: f64 = 0.05;
/// A setting this close to the one needed, as a log ratio, reaches the target.
const REACHED: f64 = 0.03;
/// A whole number of passes, or a grit, reaches the target within this log ratio.
const NEAR_TARGET: f64 = 0.10;
/// A move must change mean removal by so much, as a log ratio.
const WORTH: f64 = 0.02;
/// One class prevails if it hits so many times the panels of the other.
const PREVAILS: f64 = 1.5;

/// Levers to move, or why none is.
pub(super) fn advise(bench: &Bench<'_>) -> (Vec<Advice>, Option<Note>) {
    let goal = match goal(bench) {
        Ok(goal) => goal,
        Err(note) => return (Vec::new(), note),
    };
    let levers = [
        number_lever(bench, &Factor::Feed, goal),
        passes_lever(bench, goal),
        grit_lever(bench, goal),
        number_lever(bench, &Factor::Force, goal),
    ];
    let advice: Vec<Advice> = levers.into_iter().flatten().collect();
    let note = advice.is_empty().then_some(Note::NoLever);
    (advice, note)
}

#[derive(Debug, Clone, Copy)]
enum Goal {
    Target(f64),
    Less,
    More,
}

fn goal(bench: &Bench<'_>) -> Result<Goal, Option<Note>> {
    if let (Some(target), Some(now)) = (bench.settings.target_um, bench.removed(&bench.now)) {
        let off = (target / now.estimate).ln();
        if off.abs() < ON_TARGET {
            return Err(Some(Note::OnTarget {
                target_um: target,
                present_um: now.estimate,
            }));
        }
        return match against(bench, off > 0.0) {
            Some((class, share)) => Err(Some(Note::TargetAgainstDefects {
                class,
                share,
                target_um: target,
                present_um: now.estimate,
            })),
            None => Ok(Goal::Target(target)),
        };
    }
    let (over, under) = (bench.share_over, bench.share_under);
    if over == 0.0 && under == 0.0 {
        Err(None)
    } else if over > PREVAILS * under {
        Ok(Goal::Less)
    } else if under > PREVAILS * over {
        Ok(Goal::More)
    } else {
        Err(Some(Note::BothClasses { over, under }))
    }
}

/// The class of defects, with its share of panels, that prevails beyond what is
/// accepted and that more (or less) removal would feed.
fn against(bench: &Bench<'_>, more: bool) -> Option<(DefectClass, f64)> {
    let (class, share, other) = if more {
        (DefectClass::Over, bench.share_over, bench.share_under)
    } else {
        (DefectClass::Under, bench.share_under, bench.share_over)
    };
    let prevails = share > PREVAILS * other && share > bench.settings.accepted_share;
    prevails.then_some((class, share))
}

/// Which way, as a factor on removal.
fn wanted(bench: &Bench<'_>, goal: Goal) -> f64 {
    match goal {
        Goal::Target(target) => bench
            .removed(&bench.now)
            .map_or(1.0, |now| target / now.estimate),
        Goal::Less => 1.0 - STEP,
        Goal::More => 1.0 + STEP,
    }
}

/// Change of removal per unit of ln lever that the models support: the removal
/// model's where there is one; else the trade's law, provided a risk model
/// holds the lever. None where the effect's sign is not known or is against the law.
fn exponent(bench: &Bench<'_>, lever: &Factor) -> Option<f64> {
    let theory = lever.theory()?;
    let Some((model, judge)) = &bench.depth else {
        let held = [DefectClass::Over, DefectClass::Under]
            .iter()
            .any(|c| bench.risk(*c).is_some_and(|(m, _)| Bench::moves(m, lever)));
        return held.then_some(theory);
    };
    if !Bench::moves(model, lever) {
        return None;
    }
    let value = bench.value(lever)?;
    let to = bench.with(lever, Value::Number(value * std::f64::consts::E));
    let ratio = model.ratio(judge, &bench.now, &to);
    let ci = ratio.ci?;
    let known = ci.low > 1.0 || ci.high < 1.0;
    let slope = ratio.estimate.ln();
    (known && slope * theory > 0.0).then_some(slope)
}

/// Lowest and highest setting allowed: seen on panels and within the site's
/// limits; which of the two binds at either end.
fn bounds(bench: &Bench<'_>, lever: &Factor) -> Option<[(f64, bool); 2]> {
    let (low, high) = bench.range(lever)?;
    let limits = bench.limits(lever);
    let low = limits
        .low
        .filter(|l| *l > low)
        .map_or((low, false), |l| (l, true));
    let high = limits
        .high
        .filter(|h| *h < high)
        .map_or((high, false), |h| (h, true));
    (low.0 <= high.0).then_some([low, high])
}

fn number_lever(bench: &Bench<'_>, lever: &Factor, goal: Goal) -> Option<Advice> {
    let from = bench.value(lever)?;
    let slope = exponent(bench, lever)?;
    let needed = from * wanted(bench, goal).powf(1.0 / slope);
    let [low, high] = bounds(bench, lever)?;
    // a bound is taken as it is: rounded it might be exceeded
    let (to, by_site) = if needed < low.0 {
        low
    } else if needed > high.0 {
        high
    } else {
        (three_figures(needed).clamp(low.0, high.0), false)
    };
    let reach = match goal {
        Goal::Target(_) if (needed / to).ln().abs() < REACHED => Reach::Target,
        Goal::Target(_) if by_site => Reach::SiteLimit { needed },
        Goal::Target(_) => Reach::EdgeOfRange { needed },
        _ => Reach::Step,
    };
    // A bound may lie on the other side of the present setting.
    if (to / from).ln() * (needed / from).ln() <= 0.0 || (slope * (to / from).ln()).abs() < WORTH {
        return None;
    }
    let setting = bench.with(lever, Value::Number(to));
    Some(advice(bench, lever, goal, &setting, reach))
}

/// Three figures, as one would set it.
fn three_figures(value: f64) -> f64 {
    let unit = 10f64.powf(value.abs().log10().floor() - 2.0);
    tidy((value / unit).round() * unit)
}

/// Drops the last binary digits that a division leaves behind.
fn tidy(value: f64) -> f64 {
    (value * 1e9).round() / 1e9
}

fn passes_lever(bench: &Bench<'_>, goal: Goal) -> Option<Advice> {
    let lever = &Factor::Passes;
    let from = bench.value(lever)?;
    let slope = exponent(bench, lever)?;
    let needed = from * wanted(bench, goal).powf(1.0 / slope);
    let [low, high] = bounds(bench, lever)?;
    let to = match goal {
        Goal::Target(_) => {
            let whole = [needed.floor(), needed.ceil()];
            let off = |n: f64| (n / needed).ln().abs();
            let best = if whole[0] >= 1.0 && off(whole[0]) <= off(whole[1]) {
                whole[0]
            } else {
                whole[1]
            };
            best.clamp(low.0.ceil(), high.0.floor().max(low.0.ceil()))
        }
        Goal::Less => from - 1.0,
        Goal::More => from + 1.0,
    };
    let inside = (low.0..=high.0).contains(&to) && to >= 1.0;
    if !inside || (to / from).ln() * (needed / from).ln() <= 0.0 {
        return None;
    }
    let reach = match goal {
        Goal::Target(_) if (slope * (needed / to).ln()).abs() <= NEAR_TARGET => Reach::Target,
        Goal::Target(_) if needed > high.0 && high.1 || needed < low.0 && low.1 => {
            Reach::SiteLimit { needed }
        }
        Goal::Target(_) if needed > high.0 || needed < low.0 => Reach::EdgeOfRange { needed },
        Goal::Target(_) => Reach::Nearest,
        _ => Reach::Step,
    };
    if let Goal::Target(_) = goal
        && !helps(slope * (needed / from).ln(), slope * (to / from).ln())
    {
        return None;
    }
    let setting = bench.with(lever, Value::Number(to));
    Some(advice(bench, lever, goal, &setting, reach))
}

/// Whether a whole step helps: it falls short of the wanted one, or passes it by
/// no more than half of what was wrong. Both are log ratios of removal.
fn helps(wanted: f64, step: f64) -> bool {
    let off = (wanted - step).abs();
    off < wanted.abs() && (step.abs() <= wanted.abs() || 2.0 * off <= wanted.abs())
}

fn grit_lever(bench: &Bench<'_>, goal: Goal) -> Option<Advice> {
    let (model, judge) = bench.depth.as_ref()?;
    if !Bench::moves(model, &Factor::Grit) {
        return None;
    }
    let at = bench.factors.position(&Factor::Grit)?;
    let from = level(&bench.now[at])?.to_owned();
    let grits: std::collections::BTreeSet<&str> =
        bench.seen.iter().filter_map(|s| level(&s[at])).collect();
    let wanted = wanted(bench, goal).ln();
    let mut best: Option<(f64, &str)> = None;
    for grit in grits.into_iter().filter(|g| *g != from) {
        let ratio = model.ratio(judge, &bench.now, &bench.with_grit(grit));
        let step = ratio.estimate.ln();
        let known = ratio.ci.is_some_and(|ci| ci.low > 1.0 || ci.high < 1.0);
        let off = match goal {
            Goal::Target(_) => (wanted - step).abs(),
            // The smallest step in the right direction: the next grit.
            Goal::Less | Goal::More => step.abs(),
        };
        if known
            && step * wanted > 0.0
            && (helps(wanted, step) || !matches!(goal, Goal::Target(_)))
            && best.is_none_or(|b| off < b.0)
        {
            best = Some((off, grit));
        }
    }
    let (off, to) = best?;
    let reach = match goal {
        Goal::Target(_) if off <= NEAR_TARGET => Reach::Target,
        Goal::Target(_) => Reach::Nearest,
        _ => Reach::Step,
    };
    let setting = bench.with_grit(to);
    let mut found = advice(bench, &Factor::Grit, goal, &setting, reach);
    found.levels = Some((from, to.to_owned()));
    Some(found)
}

fn advice(bench: &Bench<'_>, lever: &Factor, goal: Goal, to: &Setting, reach: Reach) -> Advice {
    let at = bench.factors.position(lever);
    let value = |s: &Setting| at.and_then(|at| number(&s[at]));
    let removed = bench.removed(to);
    Advice {
        factor: lever.clone(),
        from: value(&bench.now),
        to: value(to),
        levels: None,
        expected_removed_um: removed.map(|r| r.estimate),
        ci: removed.and_then(|r| r.ci),
        present_removed_um: bench.removed(&bench.now).map(|r| r.estimate),
        reach,
        defects: [DefectClass::Over, DefectClass::Under]
            .into_iter()
            .filter_map(|class| rate_change(bench, class, lever, to))
            .collect(),
        cycle_time_ratio: cycle_time(bench, to),
        aim: match goal {
            Goal::Target(_) => Aim::Target,
            Goal::Less => Aim::Less,
            Goal::More => Aim::More,
        },
    }
}

fn rate_change(
    bench: &Bench<'_>,
    class: DefectClass,
    lever: &Factor,
    to: &Setting,
) -> Option<RateChange> {
    let (model, judge) = bench.risk(class)?;
    if !Bench::moves(model, lever) {
        return None;
    }
    let Estimate { estimate, ci } = model.ratio(judge, &bench.now, to);
    Some(RateChange {
        class,
        ratio: estimate,
        ci,
    })
}

/// Time per panel after over before: sanding goes with passes × path / feed;
/// the rest of the cycle counts where the site file gives it.
fn cycle_time(bench: &Bench<'_>, to: &Setting) -> Option<f64> {
    let feed = bench.factors.position(&Factor::Feed)?;
    let passes = bench.factors.position(&Factor::Passes)?;
    let sanding = |s: &Setting| {
        let feed = number(&s[feed])?;
        Some(number(&s[passes]).unwrap_or(1.0) / feed)
    };
    let (before, after) = (sanding(&bench.now)?, sanding(to)?);
    let settings = bench.settings;
    let path = settings.path_length_mm.or_else(|| {
        settings
            .line_pitch_mm
            .filter(|p| *p > 0.0)
            .map(|p| bench.area_m2 * 1e6 / p)
    });
    match (path, settings.handling_s) {
        (Some(path), Some(rest)) => Some((path * after + rest) / (path * before + rest)),
        _ => Some(after / before),
    }
}

#[cfg(test)]
mod tests {
    use super::super::setting::Factors;
    use super::super::settings::Settings;
    use super::*;
    use crate::site::Limits;

    #[test]
    fn a_step_that_overshoots_must_halve_the_error() {
        for (wanted, step, good) in [
            (0.3, 0.1, true),
            (0.3, 0.44, true),
            (0.3, 0.46, false),
            (-0.3, -0.44, true),
            (-0.3, -0.46, false),
            (0.3, -0.1, false),
        ] {
            assert_eq!(helps(wanted, step), good, "{wanted} {step}");
        }
    }

    #[test]
    fn settings_are_given_in_three_figures() {
        for (value, rounded) in [
            (21.964, 22.0),
            (0.123_45, 0.123),
            (1234.0, 1230.0),
            (9.996, 10.0),
        ] {
            assert_eq!(three_figures(value), rounded);
        }
    }

    /// Feed and passes alone, at 100 mm/s and two passes, seen from 80 to 125 mm/s.
    fn bench<'a>(
        factors: &'a Factors,
        settings: &'a Settings,
        seen: &'a [Setting; 3],
    ) -> Bench<'a> {
        Bench {
            factors,
            settings,
            now: seen[1].clone(),
            seen: seen.iter().collect(),
            area_m2: 0.5,
            depth: None,
            over: None,
            under: None,
            share_over: 0.1,
            share_under: 0.0,
        }
    }

    #[test]
    fn the_sites_rules_bind_the_advice() {
        let factors = Factors {
            list: vec![Factor::Feed, Factor::Passes],
        };
        let feeds = [80.0, 100.0, 125.0]
            .map(|feed| vec![Some(Value::Number(feed)), Some(Value::Number(2.0))]);
        let mut settings = Settings {
            accepted_share: 0.05,
            path_length_mm: Some(1000.0),
            handling_s: Some(10.0),
            ..Settings::default()
        };
        let over = Some((DefectClass::Over, 0.1));
        assert_eq!(against(&bench(&factors, &settings, &feeds), true), over);
        assert_eq!(against(&bench(&factors, &settings, &feeds), false), None);
        // 10 s a pass and 10 s of handling; half of the feed doubles the passes alone.
        let slow = vec![Some(Value::Number(50.0)), Some(Value::Number(2.0))];
        let ratio = cycle_time(&bench(&factors, &settings, &feeds), &slow).unwrap();
        assert!((ratio - 50.0 / 30.0).abs() < 1e-12, "{ratio}");
        settings.accepted_share = 0.2;
        assert_eq!(against(&bench(&factors, &settings, &feeds), true), None);
        let seen = Some([(80.0, false), (125.0, false)]);
        assert_eq!(
            bounds(&bench(&factors, &settings, &feeds), &Factor::Feed),
            seen
        );
        let high = |high| Limits {
            low: None,
            high: Some(high),
        };
        settings.limits.insert("feed_mm_s".into(), high(110.0));
        let capped = Some([(80.0, false), (110.0, true)]);
        assert_eq!(
            bounds(&bench(&factors, &settings, &feeds), &Factor::Feed),
            capped
        );
    }
}

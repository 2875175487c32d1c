//! Words of the recipe page: factors, exponents, windows, levers.

mod charts;
pub mod notes;

use crate::causes::Cause;
use crate::charts::NumberStyle;
use crate::records::Unit;
use crate::removal::{
    Advice, Aim, Alias, Basis, Diagnostics, Factor, Interaction, Obstacle, RateChange, Reach,
    Removal, Risk, Risked, Term, Together, Value, Wear, Window,
};
use crate::site::DefectClass;
use crate::stats::Interval;

use super::causes;
use super::counting::{capital, counted, listed};
use crate::report::story::RecipeWord;
pub use charts::{
    AGE_AXIS, EFFECTS_TITLE, FRESH, INSIDE, NOW, OUTSIDE_LIMITS, PANELS_AXIS, REMOVAL_AXIS,
    RISKS_CAPTION, TRY, WEAR_TITLE, WINDOW_TITLE, WITH_DEFECTS, accepted, effect_found,
    effects_alt,
};

/// Title of the page.
pub const TITLE: &str = "The recipe";
/// Heading over the levers.
pub const LEVERS: &str = "What to try next";
/// Heading over the defects.
pub const DEFECTS: &str = "Defects against the recipe";
/// Heading over the doubts.
pub const DOUBTS: &str = "How far this can be trusted";
/// Caption of the effects.
pub const EFFECTS_CAPTION: &str = "Mean removal against each factor, the rest as it is (large dot; an arrow is the move to try first). Small dots: \
     panels brought to that setting and to the mean lot. Bands on this page are 95 % intervals.";
/// Caption of the table of exponents.
pub const TERMS_CAPTION: &str = "What removal goes with. Exponent −1: doubling the factor halves removal; +1: doubles it. Few degrees of freedom: \
     it was set too seldom, or under too few lots and days; more panels at the same settings add little.";
/// Caption of the table of levers.
pub const LEVERS_CAPTION: &str =
    "One lever at a time, the gentlest first. Expected removal is the mean over panels and lots.";
/// What comes before any number.
pub const CONTACT_FIRST: &str = "Before any lever is moved: check that the head touches the whole panel and that the contact force is what the \
     recipe says, measured at the pad and not read from the regulator. Then change one thing, run it in blocks, and compare.";
/// Said where no advice is given because something comes first.
pub const HELD: &str = "No lever is advised yet: feed, passes and force move removal everywhere alike and can’t cure what sits at a place \
     or came with the part. First:";

/// A factor in words.
#[must_use]
pub fn factor(factor: &Factor) -> String {
    match factor {
        Factor::Feed => "feed speed".into(),
        Factor::Passes => "passes".into(),
        Factor::Exposure => "exposure (passes / feed)".into(),
        Factor::Force => "contact force".into(),
        Factor::Grit => "grit".into(),
        Factor::Grain => "grain size".into(),
        Factor::AbrasiveAge => "abrasive age".into(),
        Factor::FreshAbrasive => "fresh abrasive".into(),
        Factor::Recipe => "recipe".into(),
        Factor::Cell => "machine".into(),
        Factor::Part => "part number".into(),
        Factor::Size => "panel size".into(),
        Factor::Inspector => "inspector".into(),
        Factor::Hour => "hour of the day".into(),
        Factor::Site(name) => name.clone(),
    }
}

/// A factor's unit, with a space before it; empty where it has none.
#[must_use]
pub fn unit(factor: &Factor, numbers: &NumberStyle) -> String {
    match factor {
        Factor::Feed => format!(" {}", numbers.feed.map_or("mm/s", Unit::name)),
        Factor::Force => format!(" {}", numbers.force.map_or("N", Unit::name)),
        Factor::Grain => " µm".into(),
        _ => String::new(),
    }
}

/// Label of a factor's axis.
#[must_use]
pub fn axis(of: &Factor, numbers: &NumberStyle) -> String {
    let name = capital(&factor(of));
    match unit(of, numbers).trim() {
        "" => name,
        unit => format!("{name} ({unit})"),
    }
}

/// A setting with its unit.
#[must_use]
pub fn setting(of: &Factor, value: f64, numbers: &NumberStyle) -> String {
    format!("{}{}", figures(value, numbers), unit(of, numbers))
}

/// A number of a setting without its unit.
#[must_use]
pub fn figures(value: f64, numbers: &NumberStyle) -> String {
    if value.fract() == 0.0 && value.abs() < 1e6 {
        numbers.fixed(value, 0)
    } else {
        numbers.significant(value, 3)
    }
}

fn several(factors: &[Factor]) -> String {
    listed(&factors.iter().map(factor).collect::<Vec<_>>(), usize::MAX)
}

/// An interval in figures.
#[must_use]
pub fn interval(ci: Option<Interval>, figures: usize, numbers: &NumberStyle) -> String {
    ci.map_or_else(
        || "–".to_owned(),
        |ci| {
            format!(
                "{} to {}",
                numbers.significant(ci.low, figures),
                numbers.significant(ci.high, figures)
            )
        },
    )
}

fn fixed(ci: Option<Interval>, numbers: &NumberStyle) -> String {
    ci.map_or_else(
        || "–".to_owned(),
        |ci| {
            format!(
                "{} to {}",
                numbers.fixed(ci.low, 2),
                numbers.fixed(ci.high, 2)
            )
        },
    )
}

/// The sentence under the heading.
#[must_use]
pub fn lead(removal: &Removal, numbers: &NumberStyle) -> String {
    let known: Vec<String> = removal
        .terms
        .iter()
        .filter(|t| t.ci.is_some_and(|ci| ci.low > 0.0 || ci.high < 0.0))
        .filter_map(|t| {
            let exponent = numbers.fixed(t.exponent?, 2);
            Some(format!("{} (exponent {exponent})", factor(&t.factor)))
        })
        .collect();
    match (&removal.diagnostics, known.is_empty()) {
        (Some(found), false) => format!(
            "Over {}, removal goes with {}.",
            counted(
                found.panels,
                "panel with readings",
                "panels with readings",
                numbers
            ),
            listed(&known, usize::MAX)
        ),
        (Some(found), true) => format!(
            "Over {}, no factor of the recipe shows an effect on removal that is told from chance.",
            counted(
                found.panels,
                "panel with readings",
                "panels with readings",
                numbers
            )
        ),
        (None, _) => {
            "How the defects go with the recipe; removal itself could not be modelled.".into()
        }
    }
}

/// Heads of the table of exponents.
#[must_use]
pub fn term_columns() -> Vec<(String, bool)> {
    [
        ("Factor", false),
        ("Exponent or ratio", true),
        ("95 % interval", true),
        ("Trade’s law", true),
        ("Degrees of freedom", true),
    ]
    .map(|(name, figures)| (name.to_owned(), figures))
    .to_vec()
}

/// A row of the table of exponents.
#[must_use]
pub fn term_row(term: &Term, numbers: &NumberStyle) -> Vec<String> {
    let name = match (&term.level, &term.against) {
        (Some(level), Some(against)) => {
            format!(
                "{} {level} against {against}",
                capital(&factor(&term.factor))
            )
        }
        _ => capital(&match term.factor {
            Factor::AbrasiveAge => "worn abrasive against a run-in one".into(),
            Factor::FreshAbrasive => "fresh abrasive against a run-in one".into(),
            ref f => factor(f),
        }),
    };
    let (value, ci) = match (term.exponent, term.ratio) {
        (Some(exponent), _) => (numbers.fixed(exponent, 2), fixed(term.ci, numbers)),
        (None, Some(ratio)) => (
            format!("× {}", numbers.fixed(ratio, 2)),
            fixed(term.ratio_ci, numbers),
        ),
        _ => ("–".into(), "–".into()),
    };
    let theory = term
        .theory
        .map_or_else(String::new, |t| numbers.fixed(t, 0));
    let dof = term
        .dof
        .map_or_else(|| "–".into(), |dof| numbers.fixed(dof, 0));
    vec![name, value, ci, theory, dof]
}

fn value(of: &Factor, value: &Value, numbers: &NumberStyle) -> String {
    match value {
        Value::Number(v) => setting(of, *v, numbers),
        Value::Level(name) => name.to_string(),
    }
}

/// What cannot be told apart: what never changed, what moved together, what
/// depends on each other.
#[must_use]
pub fn tied(removal: &Removal, numbers: &NumberStyle) -> Vec<String> {
    let (still, together): (Vec<&Alias>, Vec<&Alias>) =
        (removal.aliases.iter()).partition(|a| a.factors.len() == 1);
    let still: Vec<Factor> = still.iter().flat_map(|a| a.factors.clone()).collect();
    let mut out = Vec::new();
    if !still.is_empty() {
        let them = if still.len() == 1 { "it" } else { "them" };
        let names = capital(&several(&still));
        out.push(format!(
            "{names} never changed, so nothing can be said about {them}."
        ));
    }
    out.extend(together.iter().map(|a| alias(a, numbers)));
    out.extend(removal.interactions.iter().map(interaction));
    out
}

fn alias(alias: &Alias, numbers: &NumberStyle) -> String {
    let mut text = format!(
        "{} moved together{}: their effects can’t be told apart.",
        capital(&several(&alias.factors)),
        alias.r_squared.map_or_else(String::new, |r2| format!(
            " ({} of one explained by the rest)",
            numbers.percent(r2, 100)
        ))
    );
    if alias.factors == [Factor::Feed, Factor::Passes] {
        text += " Where they count only as passes / feed, that is given instead.";
    }
    if let Some(together) = &alias.together {
        text += &format!(" {}", common(together, numbers));
    }
    text
}

fn common(together: &Together, numbers: &NumberStyle) -> String {
    let moves: Vec<String> = together
        .ends
        .iter()
        .map(|(f, from, to)| {
            format!(
                "{} from {} to {}",
                factor(f),
                value(f, from, numbers),
                value(f, to, numbers)
            )
        })
        .collect();
    format!(
        "Together, {}, they change removal by a factor of {} ({}).",
        listed(&moves, usize::MAX),
        numbers.fixed(together.ratio, 2),
        fixed(together.ratio_ci, numbers)
    )
}

fn interaction(found: &Interaction) -> String {
    let [a, b] = &found.factors;
    let level = found
        .level
        .as_ref()
        .map_or_else(String::new, |l| format!(" ({l})"));
    format!(
        "The effect of {} depends on {}{level}; the exponents above hold at the middle of the settings seen.",
        factor(a),
        factor(b)
    )
}

/// How abrasives wear, in a sentence.
#[must_use]
pub fn wear(found: &Wear, numbers: &NumberStyle) -> String {
    let mut text = format!(
        "After {} panels an abrasive removes {} of what a run-in one does ({})",
        numbers.fixed(found.oldest, 0),
        numbers.percent(found.ratio, 100),
        fixed(found.ratio_ci, numbers)
    );
    if let Some(half) = found.half_life_panels {
        text += &format!(
            "; half of that fall is done after about {} panels",
            numbers.significant(half, 2)
        );
    }
    text.push('.');
    if let Some(fresh) = found.fresh_ratio {
        text += &format!(
            " Its first panels (ages 0 to 2) get {} times what the curve gives ({}).",
            numbers.fixed(fresh, 2),
            fixed(found.fresh_ci, numbers)
        );
    }
    text
}

/// What a risk is about.
#[must_use]
pub fn risked(of: &Risked) -> String {
    match of {
        Risked::Class(class) => match class {
            DefectClass::Over => "all: too much removed".into(),
            DefectClass::Under => "all: too little removed".into(),
            DefectClass::Surface => "all: marks of the abrasive".into(),
            DefectClass::Incoming => "all: came with the part".into(),
        },
        Risked::Defect(name) => name.clone(),
    }
}

/// What moves a risk, in a cell, as far as the account of who makes it goes.
#[must_use]
pub fn movers(risk: &Risk, word: &RecipeWord, numbers: &NumberStyle) -> String {
    let found = shown_movers(risk, numbers);
    match word {
        RecipeWord::Others(..) => String::new(),
        RecipeWord::Follows(ids) if found.is_empty() => {
            format!("{}{}", causes::consistent_with(Cause::Recipe), see(ids))
        }
        RecipeWord::Follows(ids) => format!("{}{}", listed(&found, usize::MAX), see(ids)),
        RecipeWord::Open if found.is_empty() => "nothing shown".into(),
        RecipeWord::Open => format!(
            "goes along with {}; who makes it is not known yet",
            listed(&found, usize::MAX)
        ),
    }
}

/// The risks that others than the recipe make, in a sentence; none without any.
#[must_use]
pub fn others(risks: &[(&Risk, RecipeWord)], numbers: &NumberStyle) -> Option<String> {
    let told = |(risk, word): &(&Risk, RecipeWord)| match word {
        RecipeWord::Others(cause, ids) => Some(format!(
            "{} ({}: {}{})",
            risked(&risk.of),
            counted(risk.panels_hit, "panel", "panels", numbers),
            causes::cause(*cause),
            see(ids).replace(": ", ", ")
        )),
        _ => None,
    };
    let all: Vec<String> = risks.iter().filter_map(told).collect();
    (!all.is_empty()).then(|| format!("Not the recipe’s: {}.", listed(&all, usize::MAX)))
}

/// ": see F2".
fn see(ids: &[String]) -> String {
    if ids.is_empty() {
        String::new()
    } else {
        format!(": see {}", listed(ids, 3))
    }
}

fn shown_movers(risk: &Risk, numbers: &NumberStyle) -> Vec<String> {
    let terms = risk.terms.len().max(1) as f64;
    (risk.terms.iter())
        .filter(|t| t.p_value.is_some_and(|p| p * terms <= 0.05))
        .map(|t| match (t.exponent, &t.level, t.ratio) {
            (Some(e), _, _) => {
                format!(
                    "{} (exponent {}, {})",
                    factor(&t.factor),
                    numbers.fixed(e, 1),
                    tenths(t.ci, numbers)
                )
            }
            (None, Some(level), Some(r)) => {
                format!("{} {level} (× {})", factor(&t.factor), numbers.fixed(r, 1))
            }
            (None, None, Some(r)) => format!("{} (× {})", factor(&t.factor), numbers.fixed(r, 1)),
            _ => factor(&t.factor),
        })
        .collect()
}

fn tenths(ci: Option<Interval>, numbers: &NumberStyle) -> String {
    ci.map_or_else(
        || "–".to_owned(),
        |ci| {
            format!(
                "{} to {}",
                numbers.fixed(ci.low, 1),
                numbers.fixed(ci.high, 1)
            )
        },
    )
}

/// Heads of the table of defects.
#[must_use]
pub fn risk_columns() -> Vec<(String, bool)> {
    [
        ("Defect", false),
        ("Panels hit", true),
        ("Its rate moves with", false),
    ]
    .map(|(name, figures)| (name.to_owned(), figures))
    .to_vec()
}

/// Caption of a window.
#[must_use]
pub fn window(window: &Window, numbers: &NumberStyle) -> String {
    let basis = match window.basis {
        Basis::Limits => "Panels whose mean removal lies outside the site’s limits",
        Basis::Defects => "Panels with a defect of either class",
    };
    let accepted = numbers.percent(window.accepted_share, 100);
    let at = |v: f64| setting(&window.lever, v, numbers);
    let inside = match (window.inside, window.surely_inside, window.best) {
        (Some((low, high)), Some((a, b)), _) => format!(
            "Neither share exceeds {accepted} from {} to {}, and surely not from {} to {}.",
            at(low),
            at(high),
            at(a),
            at(b)
        ),
        (Some((low, high)), None, _) => format!(
            "Neither share exceeds {accepted} from {} to {}, but the intervals allow that either does.",
            at(low),
            at(high)
        ),
        (None, _, Some(best)) => format!(
            "No setting seen keeps both within {accepted}; the larger of the two is least near {}.",
            at(best)
        ),
        _ => String::new(),
    };
    format!(
        "{basis}, against {}, the rest as it is. {inside}",
        factor(&window.lever)
    )
}

/// Heads of the table of levers.
#[must_use]
pub fn advice_columns() -> Vec<(String, bool)> {
    [
        ("Lever", false),
        ("From", true),
        ("To", true),
        ("Expected removal, µm", true),
        ("Too much", true),
        ("Too little", true),
        ("Time", true),
    ]
    .map(|(name, figures)| (name.to_owned(), figures))
    .to_vec()
}

/// A row of the table of levers.
#[must_use]
pub fn advice_row(advice: &Advice, numbers: &NumberStyle) -> Vec<String> {
    let ends = match (&advice.levels, advice.from, advice.to) {
        (Some((from, to)), _, _) => (from.clone(), to.clone()),
        (None, Some(from), Some(to)) => (figures(from, numbers), figures(to, numbers)),
        _ => ("–".into(), "–".into()),
    };
    let removed = advice.expected_removed_um.map_or_else(
        || "–".into(),
        |um| {
            format!(
                "{} ({})",
                numbers.significant(um, 3),
                interval(advice.ci, 3, numbers)
            )
        },
    );
    let change = |class: DefectClass| {
        advice
            .defects
            .iter()
            .find(|d| d.class == class)
            .map_or_else(
                || "–".to_owned(),
                |d: &RateChange| {
                    if d.ci.is_some_and(|ci| ci.high > UNKNOWN * ci.low) {
                        return "not known".to_owned();
                    }
                    format!(
                        "× {} ({})",
                        numbers.significant(d.ratio, 2),
                        interval(d.ci, 2, numbers)
                    )
                },
            )
    };
    let time = advice.cycle_time_ratio.map_or_else(
        || "–".into(),
        |r| {
            let percent = (r - 1.0) * 100.0;
            let sign = if percent > 0.5 { "+" } else { "" };
            format!("{sign}{}\u{a0}%", numbers.fixed(percent, 0))
        },
    );
    vec![
        axis(&advice.factor, numbers),
        ends.0,
        ends.1,
        removed,
        change(DefectClass::Over),
        change(DefectClass::Under),
        time,
    ]
}

/// A ratio of rates whose interval spans more than this factor is not known.
const UNKNOWN: f64 = 100.0;

/// What a lever's reach needs saying, if anything.
#[must_use]
pub fn reach(advice: &Advice, numbers: &NumberStyle) -> Option<String> {
    let name = capital(&factor(&advice.factor));
    match advice.reach {
        Reach::Target | Reach::Step => None,
        Reach::Nearest if advice.factor == Factor::Grit => Some(format!(
            "{name}: of the grits used so far this one comes nearest to the target."
        )),
        Reach::Nearest => Some(format!("{name}: as near to the target as whole steps get.")),
        Reach::EdgeOfRange { needed } => Some(format!(
            "{name}: the target would need {}, outside the settings seen; these records are no evidence there, so only their edge is advised.",
            setting(&advice.factor, needed, numbers)
        )),
        Reach::SiteLimit { needed } => Some(format!(
            "{name}: the target would need {}, which the site’s limits forbid.",
            setting(&advice.factor, needed, numbers)
        )),
    }
}

/// What the levers aim at.
#[must_use]
pub fn aim(advice: &Advice, target_um: Option<f64>, numbers: &NumberStyle) -> String {
    let present = advice.present_removed_um.map_or_else(String::new, |um| {
        format!(
            " At the present setting the model gives {} µm.",
            numbers.significant(um, 3)
        )
    });
    match (advice.aim, target_um) {
        (Aim::Target, Some(target)) => format!(
            "The target is {} µm.{present}",
            numbers.significant(target, 3)
        ),
        (Aim::Target, None) => present.trim().to_owned(),
        (Aim::Less, _) => {
            format!("Too much removed prevails, so the levers take off less.{present}")
        }
        (Aim::More, _) => {
            format!("Too little removed prevails, so the levers take off more.{present}")
        }
    }
}

/// Something that comes before any lever.
#[must_use]
pub fn obstacle(obstacle: &Obstacle) -> String {
    match obstacle {
        Obstacle::UnevenRemoval {
            machine,
            head,
            from_part,
        } => {
            let cell = super::finding::cell_name(machine.as_deref(), head.as_deref());
            let place = if cell.is_empty() {
                String::new()
            } else {
                format!(" on {cell}")
            };
            match from_part {
                Some(true) => format!(
                    "Removal is uneven{place} and the unevenness comes with the panels: check flatness and support."
                ),
                Some(false) => format!(
                    "Removal is uneven{place}, the same way on every panel: check the head’s tilt."
                ),
                None => format!(
                    "Removal is uneven{place}, the same way on every panel as it lay; whether the head or the panels make it so is not known: turn some panels first."
                ),
            }
        }
        Obstacle::Finding { id, defect, .. } => {
            format!("{id} explains much of {defect}: settle it first.")
        }
    }
}

/// The model's figures in a sentence.
#[must_use]
pub fn diagnostics(found: &Diagnostics, numbers: &NumberStyle) -> String {
    let lots: String = [
        (found.lot_sd, "lots"),
        (found.day_sd, "days"),
        (found.run_sd, "stretches at one setting"),
    ]
    .into_iter()
    .filter_map(|(sd, of)| Some(format!(", {of} by {}", numbers.percent(sd?, 100))))
    .collect();
    let misfit = found.lack_of_fit.as_ref().map_or_else(String::new, |m| {
        format!(
            " Against runs that repeat a setting the misfit has F = {} on {} and {} degrees of freedom (p = {}).",
            numbers.fixed(m.statistic, 2),
            numbers.fixed(m.dof.0, 0),
            numbers.fixed(m.dof.1, 0),
            numbers.significant(m.p_value, 2)
        )
    });
    format!(
        "{} coefficients over {}; panels scatter by {} of the mean{lots}; the recipe explains {} of the variance of ln removal; condition number of the factors {}.{misfit}",
        numbers.count(found.coefficients),
        counted(found.panels, "panel", "panels", numbers),
        numbers.percent(found.panel_sd, 100),
        numbers.percent(found.r_squared, 100),
        numbers.significant(found.condition, 2)
    )
}

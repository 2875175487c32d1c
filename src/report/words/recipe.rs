//! Words of the recipe page: factors, exponents, windows, levers.

mod charts;
mod levers;
pub mod notes;
mod risks;

use crate::charts::NumberStyle;
use crate::records::Unit;
use crate::removal::{
    Alias, Basis, Diagnostics, Factor, Interaction, Removal, Term, Together, Value, Wear, Window,
};
use crate::stats::Interval;

use super::counting::{capital, count_panels, list};
pub use charts::{
    AGE_AXIS, EFFECTS_TITLE, FRESH, INSIDE, NOW, OUTSIDE_LIMITS, PANELS_AXIS, REMOVAL_AXIS,
    RISKS_CAPTION, TRY, WEAR_TITLE, WINDOW_TITLE, WITH_DEFECTS, accepted, effect_found,
    effects_alt,
};
pub use levers::{ADVICE_COLUMNS, advice_row, aim, obstacles, reach};
pub use risks::{RISK_COLUMNS, movers, others, risked};

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
pub fn unit(factor: &Factor, numbers: &NumberStyle) -> String {
    match factor {
        Factor::Feed => format!(" {}", numbers.feed.map_or("mm/s", Unit::name)),
        Factor::Force => format!(" {}", numbers.force.map_or("N", Unit::name)),
        Factor::Grain => " µm".into(),
        _ => String::new(),
    }
}

/// Label of a factor's axis.
pub fn axis(of: &Factor, numbers: &NumberStyle) -> String {
    let name = capital(&factor(of));
    match unit(of, numbers).trim() {
        "" => name,
        unit => format!("{name} ({unit})"),
    }
}

/// A setting with its unit.
pub fn setting(of: &Factor, value: f64, numbers: &NumberStyle) -> String {
    format!("{}{}", figures(value, numbers), unit(of, numbers))
}

/// A number of a setting without its unit.
pub fn figures(value: f64, numbers: &NumberStyle) -> String {
    if value.fract() == 0.0 && value.abs() < 1e6 {
        numbers.fixed(value, 0)
    } else {
        numbers.significant(value, 3)
    }
}

fn several(factors: &[Factor]) -> String {
    list(factors.iter().map(factor))
}

/// An interval, its limits written so; "–" where there is none.
fn range(ci: Option<Interval>, written: impl Fn(f64) -> String) -> String {
    ci.map_or("–".to_owned(), |ci| {
        format!("{} to {}", written(ci.low), written(ci.high))
    })
}

fn fixed(ci: Option<Interval>, numbers: &NumberStyle) -> String {
    range(ci, |v| numbers.fixed(v, 2))
}

/// The sentence under the heading.
pub fn lead(removal: &Removal, numbers: &NumberStyle) -> String {
    let shown = |t: &&Term| t.ci.is_some_and(|ci| ci.low > 0.0 || ci.high < 0.0);
    let known = removal.terms.iter().filter(shown).filter_map(|t| {
        let exponent = numbers.fixed(t.exponent?, 2);
        Some(format!("{} (exponent {exponent})", factor(&t.factor)))
    });
    let Some(found) = &removal.diagnostics else {
        return "How the defects go with the recipe; removal itself could not be modelled.".into();
    };
    let over = format!("{} with readings", count_panels(found.panels, numbers));
    match list(known) {
        none if none.is_empty() => format!(
            "Over {over}, no factor of the recipe shows an effect on removal that is told from chance."
        ),
        known => format!("Over {over}, removal goes with {known}."),
    }
}

/// Heads of the table of exponents.
pub const TERM_COLUMNS: &[(&str, bool)] = &[
    ("Factor", false),
    ("Exponent or ratio", true),
    ("95 % interval", true),
    ("Trade’s law", true),
    ("Degrees of freedom", true),
];

/// A row of the table of exponents.
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
    let moves = together.ends.iter().map(|(f, from, to)| {
        let (from, to) = (value(f, from, numbers), value(f, to, numbers));
        format!("{} from {from} to {to}", factor(f))
    });
    format!(
        "Together, {}, they change removal by a factor of {} ({}).",
        list(moves),
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

/// Caption of a window.
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

/// The model's figures in a sentence.
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
        count_panels(found.panels, numbers),
        numbers.percent(found.panel_sd, 100),
        numbers.percent(found.r_squared, 100),
        numbers.significant(found.condition, 2)
    )
}

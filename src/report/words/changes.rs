//! Before against after, in words.

mod notes;
mod page;

use super::counting::{capital, counted, listed};
use crate::change::{
    Change, Changes, Comparison, Confounder, FROM, Measure, Method, Needed, Note, Question,
    RemovalChange, Spread, UNTIL, Unit, Verdict,
};
use crate::charts::NumberStyle;
use crate::report::Story;
use crate::report::story::differs;
use crate::site::DefectClass;
use crate::stats::Interval;
pub use notes::{note, notes};
pub use page::{
    FEWER, MORE, PANELS_HEAD, RATIO_AXIS, RATIO_HEAD, REMOVAL_CAPTION, SIDES, TITLE,
    defects_on_panels, further, kinds_caption, kinds_columns, lead, lots_caption, lots_title,
    rate_axis, ratios_alt, removal_columns,
};

/// Heading over the latest change on page one.
pub const LATEST: &str = "Did the latest change help?";

/// The latest change and its answer in a few sentences: what is shown first,
/// then what is open.
#[must_use]
pub fn latest(story: &Story<'_>, numbers: &NumberStyle) -> Option<String> {
    let (comparison, kinds) = story.latest_change()?;
    if kinds.is_empty() {
        return None;
    }
    let shown: Vec<String> = (kinds.iter())
        .filter(|c| differs(c) && c.verdict != Verdict::NotIdentifiable)
        .map(|c| shown_and_open(c, numbers))
        .collect();
    let rest = if shown.is_empty() {
        let refused = kinds.iter().all(|c| c.verdict == Verdict::NotIdentifiable);
        if refused {
            format!(
                "can’t be told: {}",
                kinds.first().map_or(String::new(), |c| why_not(c))
            )
        } else {
            "no kind of defect is shown to have changed".to_owned()
        }
    } else {
        listed_sentences(&shown, 3)
    };
    Some(format!(
        "{}: {rest}.",
        heading(&comparison.question, numbers)
    ))
}

fn listed_sentences(items: &[String], most: usize) -> String {
    let mut text = items[..items.len().min(most)].join("; ");
    if items.len() > most {
        text += &format!("; and {} more", items.len() - most);
    }
    text
}

/// What is shown of a kind, and what is open about it.
#[must_use]
pub fn shown_and_open(change: &Change, numbers: &NumberStyle) -> String {
    let Some(ratio_now) = change.ratio else {
        return format!("{}: {}", change.defect, verdict_of(change));
    };
    let word = match (differs(change), ratio_now < 1.0) {
        (true, true) => "fewer",
        (true, false) => "more",
        (false, _) => "no difference shown",
    };
    let mut text = format!(
        "{} {word}, {} of before ({})",
        change.defect,
        ratio(Some(ratio_now), numbers),
        interval(change, numbers)
    );
    if let Some(margin) = change.opposite.as_ref().filter(|m| !m.holds) {
        text += &format!(
            ", but more {} is not excluded (up to {} of before)",
            opposite(margin.class),
            ratio(Some(margin.upper), numbers)
        );
    }
    text
}

fn opposite(of: DefectClass) -> &'static str {
    match of {
        DefectClass::Over => "where too much is removed",
        DefectClass::Under => "where too little is removed",
        DefectClass::Surface => "surface marks",
        DefectClass::Incoming => "of what came with the part",
    }
}

/// The verdict as it is printed and as `findings.json` spells it.
#[must_use]
pub fn verdict(verdict: Verdict) -> &'static str {
    match verdict {
        Verdict::Helped => "helped",
        Verdict::Hurt => "hurt",
        Verdict::NoDifferenceShown => "no difference shown",
        Verdict::TooFewPanels => "too few panels",
        Verdict::NotIdentifiable => "not identifiable",
    }
}

/// The verdict on a kind: one that fell while the opposite end got worse is not
/// left with the bare word.
#[must_use]
pub fn verdict_of(change: &Change) -> &'static str {
    let fell = change
        .notes
        .iter()
        .any(|n| matches!(n, Note::OppositeClass { .. }));
    let week = matches!(change.question, Question::Week { .. });
    match change.verdict {
        Verdict::NoDifferenceShown if fell => "fewer, but not helped",
        // nobody helped or hurt: a week is no change
        Verdict::Helped if week => "fewer",
        Verdict::Hurt if week => "more",
        other => verdict(other),
    }
}

/// What can be said of removal.
#[must_use]
pub fn spread(spread: Spread) -> &'static str {
    match spread {
        Spread::Less => "less",
        Spread::More => "more",
        Spread::NoDifferenceShown => "no difference shown",
        Spread::TooFewPanels => "too few panels",
        Spread::NotIdentifiable => "not identifiable",
    }
}

/// The same with how many panels it takes where there are too few.
#[must_use]
pub fn spread_in_full(removal: &RemovalChange, numbers: &NumberStyle) -> String {
    let word = spread(removal.verdict);
    match removal.needed {
        Some(n) => format!("{word}: {}", needed(&n, numbers)),
        None if removal.verdict == Spread::NotIdentifiable
            && !removal.confounded_with.is_empty() =>
        {
            format!(
                "{word}: {} changed too",
                confounders(&removal.confounded_with)
            )
        }
        None => word.to_owned(),
    }
}

/// What of the removal is compared.
#[must_use]
pub fn measure(measure: Measure) -> &'static str {
    match measure {
        Measure::Mean => "removal, mean",
        Measure::BetweenPanels => "removal, spread between panels",
        Measure::WithinPanel => "removal, spread within panels",
    }
}

/// The class in words.
#[must_use]
pub fn class(class: DefectClass) -> &'static str {
    match class {
        DefectClass::Over => "too much removed",
        DefectClass::Under => "too little removed",
        DefectClass::Surface => "surface marks",
        DefectClass::Incoming => "came with the part",
    }
}

/// Before and after, in words.
#[must_use]
pub fn sides(question: &Question, numbers: &NumberStyle) -> (String, String) {
    let date = |day: &str| (day.parse()).map_or_else(|_| day.to_owned(), |day| numbers.date(day));
    let pairs = |pairs: &[(String, String)]| {
        let told = |(column, value): &(String, String)| match column.as_str() {
            FROM | UNTIL => format!("{column} {}", date(value)),
            _ => format!("{column}={value}"),
        };
        pairs.iter().map(told).collect::<Vec<_>>().join(", ")
    };
    let with = |text: String, only: &[(String, String)]| {
        if only.is_empty() {
            text
        } else {
            format!("{text}, {}", pairs(only))
        }
    };
    match question {
        Question::Values { before, after } => (pairs(before), pairs(after)),
        Question::Since { day, only } => (
            with(format!("before {}", date(day)), only),
            with(format!("since {}", date(day)), only),
        ),
        Question::Abrasive { id, only } => (
            with(format!("before abrasive {id}"), only),
            with(format!("since abrasive {id}"), only),
        ),
        Question::Recipe { from, to, .. } => (format!("recipe {from}"), format!("recipe {to}")),
        Question::Week { week } => (format!("weeks before {week}"), week.clone()),
    }
}

/// The change as a heading.
#[must_use]
pub fn heading(question: &Question, numbers: &NumberStyle) -> String {
    let (before, after) = sides(question, numbers);
    match question {
        Question::Recipe {
            machine,
            first_panel,
            ..
        } => {
            let at = machine
                .as_ref()
                .map_or(String::new(), |m| format!(" on {m}"));
            format!("From {before} to {after}{at}, first on panel {first_panel}")
        }
        Question::Week { week } => format!("{week} against the weeks before"),
        Question::Since { .. } => {
            let both = after.strip_prefix("since ").unwrap_or(&after);
            format!("Before and since {both}")
        }
        Question::Abrasive { id, .. } => format!("Before and since abrasive {id}"),
        _ => format!("From {before} to {after}"),
    }
}

/// What else changed, as a list.
#[must_use]
pub fn confounders(all: &[Confounder]) -> String {
    let words: Vec<String> = all.iter().map(|c| confounder(*c).to_owned()).collect();
    listed(&words, 6)
}

fn confounder(what: Confounder) -> &'static str {
    match what {
        Confounder::Lot => "the lots",
        Confounder::Supplier => "the supplier",
        Confounder::Part => "the part or its size",
        Confounder::Machine => "the machine",
        Confounder::Inspector => "the inspection",
        Confounder::AbrasiveId => "the abrasive",
        Confounder::Fixture => "the nest or stop",
        Confounder::Lay => "how the panels lay",
        Confounder::TimeOfDay => "the hours of the day",
        Confounder::Weekday => "the days of the week",
        Confounder::Settings => "another setting of the recipe",
        Confounder::CleanPanels => "whether clean panels are exported",
        Confounder::Trend => "a trend already under way",
    }
}

/// How interval and test came about, in a few words.
#[must_use]
pub fn method(method: Method) -> &'static str {
    match method {
        Method::ExactConditional => "exact",
        Method::Mixed => "a model in which lots, days and panels differ",
    }
}

/// A ratio to two figures; "–" where there is none.
#[must_use]
pub fn ratio(value: Option<f64>, numbers: &NumberStyle) -> String {
    match value {
        Some(x) if x.is_finite() => numbers.significant(x, 2),
        _ => "–".to_owned(),
    }
}

/// "0.25 (0.1 to 0.58)".
#[must_use]
pub fn with_interval(value: Option<f64>, interval: Option<Interval>, n: &NumberStyle) -> String {
    match interval {
        Some(ci) => format!(
            "{} ({})",
            ratio(value, n),
            ratio_interval(ci.low, ci.high, n)
        ),
        None => ratio(value, n),
    }
}

/// An interval of a ratio; an open upper end is said so.
#[must_use]
pub fn interval(change: &Change, numbers: &NumberStyle) -> String {
    change.ratio_ci.map_or("–".to_owned(), |ci| {
        ratio_interval(ci.low, ci.high, numbers)
    })
}

/// Limits of a ratio.
#[must_use]
pub fn ratio_interval(low: f64, high: f64, numbers: &NumberStyle) -> String {
    match (low > 0.0, high.is_finite()) {
        (true, true) => format!("{} to {}", limit(low, numbers), limit(high, numbers)),
        (false, true) => format!("up to {}", limit(high, numbers)),
        (true, false) => format!("{} or more", limit(low, numbers)),
        (false, false) => "any".to_owned(),
    }
}

/// A limit of a ratio with two figures, or so many more that rounding does not
/// move it onto 1 or past it: whether an interval holds 1 is the verdict.
fn limit(at: f64, numbers: &NumberStyle) -> String {
    let written = |figures: usize| format!("{at:.*e}", figures - 1).parse().unwrap_or(at);
    let same_side = |rounded: f64| rounded.partial_cmp(&1.0) == at.partial_cmp(&1.0);
    match (2..=5).find(|&figures| same_side(written(figures))) {
        Some(figures) => numbers.significant(at, figures),
        None if at < 1.0 => format!("just under {}", numbers.fixed(1.0, 1)),
        None => format!("just over {}", numbers.fixed(1.0, 1)),
    }
}

/// A p-value: two figures, or "< 0.001".
#[must_use]
pub fn p_value(p: Option<f64>, numbers: &NumberStyle) -> String {
    match p {
        None => "–".to_owned(),
        Some(p) if p < 0.001 => format!("< {}", numbers.fixed(0.001, 3)),
        Some(p) => numbers.significant(p, 2),
    }
}

/// The verdict with what belongs to it: how many panels, or what else changed.
#[must_use]
pub fn verdict_in_full(change: &Change, numbers: &NumberStyle) -> String {
    let word = verdict_of(change);
    match (change.verdict, change.needed) {
        (Verdict::NotIdentifiable, _) => format!("{word}: {}", why_not(change)),
        // a week cannot be made longer
        (Verdict::TooFewPanels, _) if matches!(change.question, Question::Week { .. }) => {
            word.to_owned()
        }
        (Verdict::TooFewPanels, Some(n)) => format!("{word}: {}", needed(&n, numbers)),
        _ => word.to_owned(),
    }
}

/// Why nothing is said of a kind.
fn why_not(change: &Change) -> String {
    let incoming = |n: &Note| matches!(n, Note::IncomingMoved { .. });
    if change.notes.iter().any(incoming) && change.confounded_with == [Confounder::Inspector] {
        return "the inspection is in doubt".to_owned();
    }
    format!("{} changed too", confounders(&change.confounded_with))
}

/// How many panels it takes in all, over how many lots or days.
#[must_use]
pub fn needed(n: &Needed, numbers: &NumberStyle) -> String {
    let about = |n: usize| numbers.significant(n as f64, 2);
    let over = match (n.short_of, n.lots) {
        (Unit::Lots, Some(lots)) => format!(" from {} lots", about(lots)),
        (Unit::Days, _) => format!(" over {} days", about(n.days)),
        _ => String::new(),
    };
    let turns = n.alternating.filter(|a| a.panels < n.panels);
    let instead = match turns {
        Some(a) if out_of_reach(n) => format!(
            "; alternate in blocks of {} within days instead: about {}",
            a.block_panels,
            about(a.panels)
        ),
        Some(a) => format!(
            ", or about {} alternating in blocks of {}",
            about(a.panels),
            a.block_panels
        ),
        None => String::new(),
    };
    format!("about {} in all{over}{instead}", about(n.panels))
}

/// Working days, a quarter of a year, beyond which a number of panels is no advice.
const MOST_DAYS: usize = 60;

/// Whether days differ so much that running on as before would take too long.
/// Old and new in turn within each day would not meet what days bring.
const fn out_of_reach(needed: &Needed) -> bool {
    matches!(needed.short_of, Unit::Days) && needed.days > MOST_DAYS
}

/// What is short where it is not panels, for kinds with too few.
pub(super) fn short_of(comparison: &Comparison) -> Vec<String> {
    if matches!(comparison.question, Question::Week { .. }) {
        return Vec::new();
    }
    let kinds = |unit: Unit| -> Vec<String> {
        let all = comparison.changes.iter();
        all.filter(|c| c.needed.is_some_and(|n| n.short_of == unit))
            .map(|c| c.defect.clone())
            .collect()
    };
    [
        (Unit::Lots, "lots", "of the same lots"),
        (Unit::Days, "days", "on the same days"),
    ]
    .into_iter()
    .filter_map(|(unit, what, same)| {
        let kinds = kinds(unit);
        (!kinds.is_empty()).then(|| {
            format!(
                "{}: it is {what} that are short; more panels {same} would not do instead.",
                listed(&kinds, 3)
            )
        })
    })
    .collect()
}

/// One or two sentences on the whole comparison.
#[must_use]
pub fn summary(comparison: &Comparison) -> String {
    if comparison.changes.is_empty() && comparison.removal.is_empty() {
        return "Nothing was inspected or measured on both sides.".to_owned();
    }
    if !comparison.confounded_with.is_empty() {
        return format!(
            "What the change did can’t be told: {} changed with it. {ALTERNATE}",
            confounders(&comparison.confounded_with)
        );
    }
    let of = |v: Verdict| -> Vec<&Change> {
        let all = comparison.changes.iter();
        all.filter(|c| c.verdict == v).collect()
    };
    let names = |all: &[&Change]| {
        let names: Vec<String> = all.iter().map(|c| c.defect.clone()).collect();
        listed(&names, 4)
    };
    let (helped, hurt) = (of(Verdict::Helped), of(Verdict::Hurt));
    let doubtful = of(Verdict::NotIdentifiable);
    let mut parts = Vec::new();
    if !helped.is_empty() {
        parts.push(format!("less {}", names(&helped)));
    }
    if !hurt.is_empty() {
        parts.push(format!("more {}", names(&hurt)));
    }
    for removal in &comparison.removal {
        match removal.verdict {
            Spread::Less => parts.push(format!("less {}", measure(removal.measure))),
            Spread::More => parts.push(format!("more {}", measure(removal.measure))),
            _ => {}
        }
    }
    let when = match &comparison.question {
        Question::Week { week } => format!("in {week}"),
        _ => "after the change".to_owned(),
    };
    let mut text = if !parts.is_empty() {
        format!("{} {when}.", capital(&parts.join("; ")))
    } else if !of(Verdict::TooFewPanels).is_empty() {
        "Nothing is shown yet; some kinds need more panels.".to_owned()
    } else if doubtful.is_empty() || doubtful.len() < comparison.changes.len() {
        "No kind of defect is shown to have changed.".to_owned()
    } else {
        String::new()
    };
    text += &fell_only(comparison);
    if !doubtful.is_empty() {
        text += &format!(
            " Of {} nothing can be told: {}.",
            names(&doubtful),
            why_not(doubtful[0])
        );
    }
    text.trim().to_owned()
}

/// Of kinds that fell while the opposite end is not shown to be no worse.
fn fell_only(comparison: &Comparison) -> String {
    let mut kinds = Vec::new();
    let mut opposite = None;
    for change in &comparison.changes {
        for doubt in &change.notes {
            if let Note::OppositeClass { class } = doubt {
                kinds.push(change.defect.clone());
                opposite = Some((*class, change.verdict));
            }
        }
    }
    match opposite {
        Some((other, Verdict::TooFewPanels)) => format!(
            " Less {}, but whether {} stayed as it was can’t be told yet.",
            listed(&kinds, 4),
            class(other)
        ),
        Some((other, _)) => format!(
            " Less {}, which does not count as helped: {} is not shown to be no worse.",
            listed(&kinds, 4),
            class(other)
        ),
        None => String::new(),
    }
}

/// What to do where something else changed too.
const ALTERNATE: &str = "To tell, run old and new in alternating blocks on the same lots, with the \
    same inspectors, and compare again.";

/// What was allowed for, and what like panels say beside it.
#[must_use]
pub fn strata(comparison: &Comparison, numbers: &NumberStyle) -> String {
    let use_ = &comparison.strata;
    let allowed = if use_.by.is_empty() {
        "Days that differ are allowed for.".to_owned()
    } else {
        format!(
            "Allowed for: days that differ, and {}.",
            listed(&use_.by, 8)
        )
    };
    if use_.strata == 0 {
        return format!("{allowed} No panels alike in all of it were sanded both ways.");
    }
    let check: Vec<String> = comparison
        .changes
        .iter()
        .filter_map(|c| {
            let matched = ratio(Some(c.matched_ratio?), numbers);
            Some(format!("{} {matched}", c.defect))
        })
        .collect();
    let said = if check.is_empty() {
        String::new()
    } else {
        format!("; among these alone the ratio is {}", listed(&check, 6))
    };
    format!(
        "{allowed} As a check, {} of panels alike in all of it carried both sides, with {} before \
         and {} after{said}.",
        counted(use_.strata, "group", "groups", numbers),
        counted(use_.panels_before, "panel", "panels", numbers),
        numbers.count(use_.panels_after),
    )
}

/// How many tests the adjustment stands for.
#[must_use]
pub fn tests(changes: &Changes, numbers: &NumberStyle) -> String {
    format!(
        "{}; p and interval hold jointly for the kinds of a comparison (Holm).",
        capital(&counted(
            changes.tests,
            "test was made",
            "tests were made",
            numbers
        ))
    )
}

/// "21.3 to 18.9 µm".
#[must_use]
pub fn removal_values(removal: &RemovalChange, numbers: &NumberStyle) -> (String, String) {
    let um = |x: f64| format!("{} µm", numbers.significant(x, 3));
    (um(removal.before_um), um(removal.after_um))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_limit_is_not_rounded_onto_one() {
        let numbers = NumberStyle::default();
        assert_eq!(ratio_interval(0.28, 0.998, &numbers), "0.28 to 0.998");
        assert_eq!(ratio_interval(1.0004, 2.34, &numbers), "1.0004 to 2.3");
        assert_eq!(
            ratio_interval(0.5, 0.999_999_9, &numbers),
            "0.50 to just under 1.0"
        );
        assert_eq!(ratio_interval(0.5, 1.04, &numbers), "0.50 to 1.04");
    }

    #[test]
    fn more_of_the_same_is_no_advice_where_days_would_take_months() {
        let needed = |days, short_of| Needed {
            panels: 20 * days,
            lots: None,
            days,
            short_of,
            alternating: None,
        };
        assert!(out_of_reach(&needed(480, Unit::Days)));
        assert!(!out_of_reach(&needed(60, Unit::Days)));
        assert!(!out_of_reach(&needed(480, Unit::Panels)));
    }
}

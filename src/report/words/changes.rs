//! Before against after, in words.

mod needed;
mod notes;
mod page;
mod question;
mod ratio;

use super::counting::{capital, count_panels, counted, listed};
use crate::change::{
    Change, Changes, Comparison, Confounder, Measure, Method, Note, Question, RemovalChange,
    Spread, Verdict,
};
use crate::charts::NumberStyle;
use crate::report::Story;
use crate::report::story::differs;
use crate::site::DefectClass;
pub use needed::needed;
use needed::short_of;
pub use notes::{note, notes};
pub use page::{
    PANELS_HEAD, RATIO_HEAD, REMOVAL_CAPTION, TITLE, defects_on_panels, further, halves,
    kinds_caption, kinds_columns, lead, lots_caption, lots_title, rate_axis, ratio_axis,
    ratios_alt, removal_columns,
};
pub use question::{confounders, heading, side_heads, sides};
use question::{of_first, when};
pub use ratio::{interval, of_before, p_value, ratio, ratio_interval, with_interval};

/// Heading over the latest change on page one.
pub const LATEST: &str = "Did the latest change help?";

/// The latest change and its answer in a few sentences: what is shown first,
/// then what is open.
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
        "{} {word}, {} ({})",
        change.defect,
        of_first(&change.question, ratio_now, numbers),
        interval(change, numbers)
    );
    if let Some(margin) = change.opposite.as_ref().filter(|m| !m.holds) {
        text += &format!(
            ", but more {} is not excluded (up to {})",
            opposite(margin.class),
            of_first(&change.question, margin.upper, numbers)
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
pub fn verdict(verdict: Verdict) -> &'static str {
    match verdict {
        Verdict::Helped => "helped",
        Verdict::Hurt => "hurt",
        Verdict::NoDifferenceShown => "no difference shown",
        Verdict::Differs => "differs",
        Verdict::TooFewPanels => "too few panels",
        Verdict::NotIdentifiable => "not identifiable",
    }
}

/// The verdict on a kind: one that fell while the opposite end got worse is not
/// left with the bare word.
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
pub fn measure(measure: Measure) -> &'static str {
    match measure {
        Measure::Mean => "removal, mean",
        Measure::BetweenPanels => "removal, spread between panels",
        Measure::WithinPanel => "removal, spread within panels",
    }
}

/// The class in words.
pub fn class(class: DefectClass) -> &'static str {
    match class {
        DefectClass::Over => "too much removed",
        DefectClass::Under => "too little removed",
        DefectClass::Surface => "surface marks",
        DefectClass::Incoming => "came with the part",
    }
}

/// How interval and test came about, in a few words.
pub fn method(method: Method) -> &'static str {
    match method {
        Method::ExactConditional => "exact",
        Method::Mixed => "a model in which lots, days and panels differ",
    }
}

/// The verdict with what belongs to it: how many panels, or what else changed.
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
    match change.confounded_with[..] {
        [Confounder::Trend] => "the rate was moving already".to_owned(),
        [Confounder::Step] => "the rate stepped by itself".to_owned(),
        _ => format!("{} changed too", confounders(&change.confounded_with)),
    }
}

/// One or two sentences on the whole comparison.
pub fn summary(comparison: &Comparison, numbers: &NumberStyle) -> String {
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
    let (mut less, mut more) = (of(Verdict::Helped), of(Verdict::Hurt));
    for change in of(Verdict::Differs) {
        let side = if change.ratio.is_some_and(|r| r < 1.0) {
            &mut less
        } else {
            &mut more
        };
        side.push(change);
    }
    let doubtful = of(Verdict::NotIdentifiable);
    let mut parts = Vec::new();
    if !less.is_empty() {
        parts.push(format!("less {}", names(&less)));
    }
    if !more.is_empty() {
        parts.push(format!("more {}", names(&more)));
    }
    for removal in &comparison.removal {
        match removal.verdict {
            Spread::Less => parts.push(format!("less {}", measure(removal.measure))),
            Spread::More => parts.push(format!("more {}", measure(removal.measure))),
            _ => {}
        }
    }
    let mut text = if !parts.is_empty() {
        let when = when(&comparison.question, numbers);
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
        count_panels(use_.panels_before, numbers),
        numbers.count(use_.panels_after),
    )
}

/// How many tests the adjustment stands for; none without any.
pub fn tests(changes: &Changes, numbers: &NumberStyle) -> Option<String> {
    let made = counted(changes.tests, "test was made", "tests were made", numbers);
    (changes.tests > 0).then(|| {
        format!("{made}; p and interval hold jointly for the kinds of a comparison (Holm).")
    })
}

/// "21.3 to 18.9 µm".
pub fn removal_values(removal: &RemovalChange, numbers: &NumberStyle) -> (String, String) {
    let um = |x: f64| format!("{} µm", numbers.significant(x, 3));
    (um(removal.before_um), um(removal.after_um))
}

//! Control charts and the week, in words.

use super::counting::{capital, counted, listed};
use crate::change::{ControlChart, Signal, Verdict, Weekly};
use crate::charts::NumberStyle;

/// Title of the page.
pub const TITLE: &str = "The trend";
/// Caption of the table of charts.
pub const CHARTS_CAPTION: &str = "All kinds: what their control charts show";
/// Axis of the chart for small shifts.
pub const SMALL_SHIFT: &str = "weighted mean (EWMA)";
/// Name of the centre line.
pub const CENTRE: &str = "centre";
/// Name of the limits.
pub const LIMITS: &str = "limit";
/// Where the data begin with the week.
pub const NOTHING_BEFORE: &str =
    "The data hold no earlier week, so there is nothing to compare this week with.";

/// Label of a change of recipe.
#[must_use]
pub fn mark(recipe: &str) -> String {
    format!("recipe {recipe}")
}

/// Name of a chart.
#[must_use]
pub fn chart_title(chart: &ControlChart) -> String {
    format!("{} by {}", capital(kind(chart)), chart.subgroup)
}

fn kind(chart: &ControlChart) -> &str {
    chart.defect.as_deref().unwrap_or("all kinds")
}

/// Points outside the limits, and points in long runs.
fn outside(chart: &ControlChart) -> (usize, usize) {
    let with = |wanted: fn(&Signal) -> bool| {
        chart
            .points
            .iter()
            .filter(|p| p.signals.iter().any(wanted))
            .count()
    };
    (with(|s| *s != Signal::Run), with(|s| *s == Signal::Run))
}

/// What is seen in a chart.
#[must_use]
pub fn caption(chart: &ControlChart, numbers: &NumberStyle) -> String {
    let Some(centre) = chart.centre else {
        return format!(
            "{}: too few {}s or defects for limits.",
            capital(kind(chart)),
            chart.subgroup
        );
    };
    let (out, runs) = outside(chart);
    let mut text = format!(
        "{}, {} a m² on average: ",
        capital(kind(chart)),
        numbers.significant(centre, 2)
    );
    text += &match out {
        0 => format!("every {} is within its limits", chart.subgroup),
        n => format!(
            "{} outside the limits",
            counted(
                n,
                &format!("{} lies", chart.subgroup),
                &format!("{}s lie", chart.subgroup),
                numbers
            )
        ),
    };
    if runs > 0 {
        text += "; nine or more in a row lie on one side (ticks)";
    }
    match chart.small_shift.as_ref().and_then(|s| s.first_signal) {
        Some(k) => {
            text += &format!(
                "; below, the weighted mean of late points (EWMA) shows a shift from {} on.",
                chart.points[k].label
            );
        }
        None => text += "; below, the weighted mean shows no small shift.",
    }
    text
}

/// The rules and how often they cry wolf.
#[must_use]
pub fn rules(chart: &ControlChart, numbers: &NumberStyle) -> String {
    let shift = chart.subgroup;
    let Some(alarm) = chart.false_alarm else {
        return format!(
            "Limits need at least eight {shift}s with panels and some defects; until then the points \
             stand alone."
        );
    };
    let mut text = format!(
        "Each point holds the panels of one {shift}. Limits hold what a steady process would count \
         on that area on all but at most 0.27 % of the {shift}s; counts are whole numbers, so here it \
         is {}.{}",
        share(alarm, numbers),
        steady(chart, numbers)
    );
    text += if chart.run_rule {
        " Nine in a row on one side also count."
    } else {
        " Runs on one side do not count here: they would come about by themselves too often."
    };
    if let Some(points) = chart.points_to_false_alarm {
        text += &format!(
            " A steady process gives a false alarm no more often than every {} {shift}s on average",
            numbers.significant(points, 2)
        );
        if let Some(small) = &chart.small_shift {
            text += &format!(
                ", the weighted mean below one every {}",
                numbers.significant(small.points_to_false_alarm, 2)
            );
        }
        text += "; with several charts, alarms add up.";
    }
    if let Some(points) = chart.points_to_doubling {
        text += &format!(
            " Twice the rate would be signalled within about {} on average.",
            counted(points.ceil() as usize, shift, &format!("{shift}s"), numbers)
        );
    }
    text
}

/// What a steady process is taken to do.
fn steady(chart: &ControlChart, numbers: &NumberStyle) -> String {
    let shift = chart.subgroup;
    let Some(dispersion) = chart.dispersion else {
        return String::new();
    };
    let mut text = format!(
        " Steady means that {shift}s, days and lots differ as far as neighbours usually do; a drift \
         over days is not steady. Here counts of a {shift} spread {} times as much as single \
         independent marks would",
        spread(dispersion, numbers)
    );
    let apart: Vec<String> = [("days", chart.days_sd), ("lots", chart.lots_sd)]
        .into_iter()
        .filter_map(|(unit, sd)| {
            let factor = sd.filter(|sd| *sd >= WORTH_A_WORD)?.exp();
            Some(format!(
                "{unit} by a factor of {}",
                numbers.significant(factor, 2)
            ))
        })
        .collect();
    if !apart.is_empty() {
        text += &format!(", {} either way", listed(&apart, 2));
    }
    text + ", and the limits allow for it."
}

/// Standard deviation of ln rate between days or lots that is told.
const WORTH_A_WORD: f64 = 0.1;

/// What page one says of the week.
#[must_use]
pub fn on_page_one(weekly: &Weekly) -> Vec<String> {
    let mut out = Vec::new();
    if let (Some(week), Some(comparison)) = (weekly.week, weekly.against_before.comparisons.first())
    {
        let of = |verdict: Verdict, word: &str| {
            let all = comparison.changes.iter().filter(|c| c.verdict == verdict);
            let kinds: Vec<String> = all.map(|c| c.defect.clone()).collect();
            (!kinds.is_empty()).then(|| format!("{word} {}", listed(&kinds, 3)))
        };
        let parts: Vec<String> = [of(Verdict::Hurt, "more"), of(Verdict::Helped, "less")]
            .into_iter()
            .flatten()
            .collect();
        out.push(if parts.is_empty() {
            format!("{week} is not shown to differ from the weeks before.")
        } else {
            format!(
                "In {week} there was {} than in the weeks before.",
                listed(&parts, 2)
            )
        });
    }
    out
}

fn share(x: f64, numbers: &NumberStyle) -> String {
    if x < 0.0001 {
        return format!("less than {}\u{a0}%", numbers.significant(0.01, 1));
    }
    format!("{}\u{a0}%", numbers.significant(100.0 * x, 2))
}

/// One sentence on the page.
#[must_use]
pub fn lead(weekly: &Weekly, numbers: &NumberStyle) -> String {
    let signalling = weekly
        .charts
        .iter()
        .skip(1)
        .filter(|c| outside(c) != (0, 0))
        .count();
    let what = match signalling {
        0 => "no kind of defect leaves its usual spread".to_owned(),
        n => format!(
            "{} its usual spread",
            counted(n, "kind of defect leaves", "kinds of defect leave", numbers)
        ),
    };
    match weekly.week {
        Some(week) => format!("{week} against the weeks before it: {what}."),
        None => format!("Defects per area over time: {what}."),
    }
}

/// Heads of the table of charts.
#[must_use]
pub fn charts_columns() -> Vec<(String, bool)> {
    [
        ("Kind", false),
        ("Defects", true),
        ("Per m²", true),
        ("Spread (overdispersion)", true),
        ("Outside limits", true),
        ("Small shift (EWMA)", false),
    ]
    .map(|(head, figures)| (head.to_owned(), figures))
    .to_vec()
}

/// Factors above this say no more than that a kind comes and goes as a whole.
const MOST_SPREAD: f64 = 50.0;

/// How many times more counts spread than single independent marks would.
fn spread(factor: f64, numbers: &NumberStyle) -> String {
    if factor > MOST_SPREAD {
        format!("over {}", numbers.count(MOST_SPREAD as usize))
    } else {
        numbers.significant(factor, 2)
    }
}

/// A chart as a row.
#[must_use]
pub fn chart_row(chart: &ControlChart, numbers: &NumberStyle) -> Vec<String> {
    let number = |x: Option<f64>| x.map_or("–".to_owned(), |x| numbers.significant(x, 2));
    let defects: usize = chart.points.iter().map(|p| p.defects).sum();
    let first = chart
        .small_shift
        .as_ref()
        .and_then(|s| s.first_signal)
        .map(|k| format!("from {}", chart.points[k].label));
    vec![
        capital(kind(chart)),
        numbers.count(defects),
        number(chart.centre),
        chart
            .dispersion
            .map_or("–".to_owned(), |factor| spread(factor, numbers)),
        if chart.centre.is_some() {
            numbers.count(outside(chart).0)
        } else {
            "–".to_owned()
        },
        first.unwrap_or_else(|| {
            if chart.centre.is_some() {
                "none"
            } else {
                "–"
            }
            .to_owned()
        }),
    ]
}

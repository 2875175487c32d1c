//! Control charts and the week, in words.

use super::counting::{capital, counted, listed};
use super::finding::cell_name;
use crate::change::{ControlChart, Known, Mark, Signal, Verdict, Weekly, false_signals};
use crate::charts::NumberStyle;

/// Title of the page.
pub const TITLE: &str = "The trend";
/// Above the chart for small shifts.
pub const SMALL_SHIFT: &str = "weighted mean (EWMA)";
/// Name of the centre line.
pub const CENTRE: &str = "centre";
/// Name of the limits.
pub const LIMITS: &str = "limit";
/// Where the data begin with the week.
pub const NOTHING_BEFORE: &str =
    "The data hold no earlier week, so there is nothing to compare this week with.";

/// Name of the points that the limits are taken from.
pub const BASE: &str = "base";

/// Label of what is known to have changed.
pub fn mark(known: &Known) -> String {
    match known {
        Known::Recipe(recipe) => format!("recipe {recipe}"),
        Known::Onset(finding) => format!("{finding} sets in"),
        Known::End(finding) => format!("{finding} ends"),
    }
}

/// Name of a chart.
pub fn chart_title(chart: &ControlChart) -> String {
    format!("{} by {}", subject(chart), chart.subgroup)
}

/// "Sand-through on M1, head A".
fn subject(chart: &ControlChart) -> String {
    let kind = capital(&chart.defect);
    match (&chart.machine, &chart.head) {
        (None, None) => kind,
        (machine, head) => {
            format!(
                "{kind} on {}",
                cell_name(machine.as_deref(), head.as_deref())
            )
        }
    }
}

/// A point by its day and shift.
fn point(chart: &ControlChart, at: usize, numbers: &NumberStyle) -> String {
    let point = &chart.points[at];
    let (written, day) = (numbers.date(point.day), point.day.to_string());
    point.label.replace(&day, &written)
}

fn points(n: usize, chart: &ControlChart, numbers: &NumberStyle) -> String {
    let shift = chart.subgroup;
    counted(n, shift, &format!("{shift}s"), numbers)
}

/// What is seen in a chart.
pub fn caption(chart: &ControlChart, numbers: &NumberStyle) -> String {
    let mut sentences = vec![format!("{}: {}.", subject(chart), seen(chart, numbers))];
    sentences.extend(findings(chart, numbers));
    sentences.join(" ")
}

fn seen(chart: &ControlChart, numbers: &NumberStyle) -> String {
    let (Some((first, end)), Some(centre)) = (chart.base, chart.centre) else {
        return format!("too few {}s alike in a row for limits", chart.subgroup);
    };
    let base = &chart.points[first..end];
    let mut text = match base.iter().map(|p| p.defects).sum::<usize>() {
        0 => "none".to_owned(),
        _ => format!("{} a m² on average", numbers.significant(centre, 2)),
    };
    text += &format!(
        " in the base ({} from {} to {})",
        points(base.len(), chart, numbers),
        point(chart, first, numbers),
        point(chart, end - 1, numbers)
    );
    let with = |wanted: fn(&Signal) -> bool| {
        let all = chart.points.iter();
        all.filter(|p| p.signals.iter().any(wanted)).count()
    };
    text += &match (with(|s| *s == Signal::Above), with(|s| *s == Signal::Below)) {
        (0, 0) => format!(", every {} within its limits", chart.subgroup),
        (above, 0) => format!(", {} above the limits", points(above, chart, numbers)),
        (0, below) => format!(", {} below the limits", points(below, chart, numbers)),
        (above, below) => format!(
            ", {} above and {} below the limits",
            points(above, chart, numbers),
            numbers.count(below)
        ),
    };
    if with(|s| *s == Signal::Run) > 0 {
        text += "; nine or more in a row lie on one side (ticks)";
    }
    text += &match chart.small_shift.as_ref().and_then(|s| s.first_signal) {
        Some(k) => format!(
            "; below, the weighted mean (EWMA) is off from {} on",
            point(chart, k, numbers)
        ),
        None => "; below, the weighted mean (EWMA) shows no small shift".to_owned(),
    };
    text
}

/// How the signals go with the findings that set in or end here.
fn findings(chart: &ControlChart, numbers: &NumberStyle) -> Vec<String> {
    let base_end = chart.base.map_or(0, |base| base.1);
    let told = |mark: &Mark| {
        let Known::Onset(finding) = &mark.known else {
            return None;
        };
        let at = point(chart, mark.point, numbers);
        Some(match chart.first_signal() {
            _ if chart.centre.is_none() => {
                format!("{finding} sets in at {at}, too early for limits.")
            }
            Some(first) if first >= base_end => {
                format!("{finding} sets in at {at}: that is what signals.")
            }
            Some(_) => format!("{finding} sets in at {at}, after the first signal."),
            None => format!(
                "{finding} sets in at {at}; counts of whole {}s do not show it by themselves.",
                chart.subgroup
            ),
        })
    };
    chart.marks.iter().filter_map(told).collect()
}

/// The rules, and how often they cry wolf, each chart and all together.
pub fn rules(charts: &[ControlChart], numbers: &NumberStyle) -> String {
    let Some(any) = charts.first() else {
        return String::new();
    };
    let shift = any.subgroup;
    let base = format!(
        "The base is the last run of five {shift}s or more that no finding of the kind, no lasting change \
         of recipe and no week reported runs through."
    );
    let judged: Vec<&ControlChart> = charts.iter().filter(|c| c.centre.is_some()).collect();
    if judged.is_empty() {
        return format!("Limits need a base. {base} Until there is one the points stand alone.");
    }
    let least = |of: fn(&ControlChart) -> Option<f64>| {
        let all = judged.iter().filter_map(|c| of(c));
        all.fold(f64::INFINITY, f64::min)
    };
    let mut text = format!(
        "Each point holds the panels of one {shift} of one machine. {base} Limits hold what a process as \
         steady as the base would count on that area on all but at most 0.27 % of the {shift}s; {shift}s, \
         days and lots may differ as far as neighbours in the base do, a drift over days is not steady."
    );
    text += " Spread (overdispersion) is how many times more counts vary than single independent marks would.";
    text += if judged.iter().any(|c| c.run_rule) {
        " Nine in a row on one side also count where that is rare enough."
    } else {
        " Runs on one side do not count here: they would come about by themselves too often."
    };
    let every = least(|c| c.points_to_false_alarm);
    let small = least(|c| Some(c.small_shift.as_ref()?.points_to_false_alarm));
    if every.is_finite() && small.is_finite() {
        text += &format!(
            " A steady process gives a false alarm no more often than every {} {shift}s on average in any \
             chart, the weighted mean below one every {}.",
            numbers.significant(every, 2),
            numbers.significant(small, 2)
        );
    }
    text += &format!(
        " {} with limits: if all were steady, {} of them would signal by themselves on average.",
        capital(&counted(judged.len(), "chart", "charts", numbers)),
        numbers.significant(false_signals(charts), 2)
    );
    let doubling = judged.iter().filter_map(|c| c.points_to_doubling);
    let slowest = doubling.fold(0.0, f64::max);
    let soonest = least(|c| c.points_to_doubling);
    if soonest.is_finite() {
        let [soonest, slowest] = [soonest, slowest].map(|n| n.ceil() as usize);
        text += " Twice the rate would be signalled within about ";
        if slowest > soonest {
            text += &format!("{} to ", numbers.count(soonest));
        }
        text += &format!("{} on average.", points(slowest, any, numbers));
    }
    text
}

/// What page one says of the week.
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

/// One sentence on the page.
pub fn lead(weekly: &Weekly, numbers: &NumberStyle) -> String {
    let all = weekly.charts.iter();
    let signalling = all.filter(|c| c.first_signal().is_some()).count();
    let of = counted(weekly.charts.len(), "chart", "charts", numbers);
    let what = match signalling {
        0 => format!("none of {of} signals"),
        n => format!(
            "{} of {of} {}",
            numbers.count(n),
            if n == 1 { "signals" } else { "signal" }
        ),
    };
    match weekly.week {
        Some(week) => format!("{week} against the weeks before it: {what}."),
        None => format!("Defects per area over time, machine by machine: {what}."),
    }
}

/// Caption of the table of charts.
pub fn charts_caption(all: usize, shown: usize, numbers: &NumberStyle) -> String {
    if all > shown {
        format!(
            "The control charts: the first {} of {}; findings.json has all.",
            numbers.count(shown),
            numbers.count(all)
        )
    } else {
        "The control charts, those with a signal first.".to_owned()
    }
}

/// Heads of the table of charts.
pub const CHARTS_COLUMNS: &[(&str, bool)] = &[
    ("Chart", false),
    ("Defects", true),
    ("Points in the base", false),
    ("Per m²", true),
    ("Spread", true),
    ("First signal", false),
];

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
pub fn chart_row(chart: &ControlChart, numbers: &NumberStyle) -> Vec<String> {
    let dash = || "–".to_owned();
    let base = chart.base.map(|(first, end)| {
        let long = numbers.count(end - first);
        format!("{long} from {}", numbers.date(chart.points[first].day))
    });
    let signal = match (chart.centre, chart.first_signal()) {
        (None, _) => (chart.marks.iter())
            .find_map(|mark| match &mark.known {
                Known::Onset(finding) => Some(format!("{finding} sets in too early")),
                _ => None,
            })
            .unwrap_or_else(dash),
        (_, None) => "none".to_owned(),
        (_, Some(at)) => {
            let signals = &chart.points[at].signals;
            let how = match signals.first() {
                Some(Signal::Above) => "above",
                Some(Signal::Below) => "below",
                Some(Signal::Run) => "run",
                None => "weighted mean",
            };
            format!("{}, {how}", point(chart, at, numbers))
        }
    };
    vec![
        subject(chart),
        numbers.count(chart.defects()),
        base.unwrap_or_else(dash),
        (chart.centre).map_or_else(dash, |centre| numbers.significant(centre, 2)),
        (chart.dispersion).map_or_else(dash, |factor| spread(factor, numbers)),
        signal,
    ]
}

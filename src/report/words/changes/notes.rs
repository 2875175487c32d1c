//! The doubts of a comparison, in words.

use crate::change::{Change, Comparison, Confounder, Note, Side};
use crate::charts::NumberStyle;
use crate::report::words::changes::{ALTERNATE, class, method, ratio, ratio_interval, short_of};
use crate::report::words::counting::{capital, count_panels, counted, listed};

/// A doubt as a sentence.
pub fn note(note: &Note, numbers: &NumberStyle) -> String {
    let panels = |n: usize| count_panels(n, numbers);
    match note {
        Note::DirectionsDiffer { crude, allowed } => format!(
            "Over all panels the ratio is {}, with lots, machines and parts allowed for {}: their \
             mix moved. The second number is the change’s.",
            ratio(Some(*crude), numbers),
            ratio(Some(*allowed), numbers)
        ),
        Note::BadSpellLeftOut {
            first_panel,
            panels: n,
            rate_ratio,
            ratio_with_spell,
        } => format!(
            "The last {} before the change, from {first_panel} on, ran {} times the rate before \
             them. Changes are made after bad spells, and after a bad spell things get better by \
             themselves, so it is left out; with it the ratio would be {}. The interval holds both.",
            panels(*n),
            numbers.significant(*rate_ratio, 2),
            ratio(*ratio_with_spell, numbers)
        ),
        Note::TrendBefore { factor, .. } => format!(
            "The rate was already {} before the change: at the end of that time it was {} times \
             what it was at its start. A rate that moves by itself may account for {}.",
            if *factor > 1.0 { "rising" } else { "falling" },
            numbers.significant(*factor, 2),
            if *factor > 1.0 {
                "more marks after the change, not for fewer"
            } else {
                "fewer marks after the change, not for more"
            }
        ),
        Note::TrendUnderWay {
            factor,
            beside,
            beside_ci,
        } => format!(
            "The rate {} all along, to {} times at the end what it was at the start. With that \
             allowed for, the ratio would be {} ({}). {ALTERNATE}",
            if *factor > 1.0 { "rose" } else { "fell" },
            numbers.significant(*factor, 2),
            ratio(Some(*beside), numbers),
            ratio_interval(beside_ci.low, beside_ci.high, numbers)
        ),
        Note::StepOnAnotherDay {
            days_earlier: 0,
            factor,
            beside,
            beside_ci,
            ..
        } => format!(
            "Where nothing was changed the rate stepped on the day of the change too, to {} times. That \
             accounts for the counts better than the change does; with it allowed for, the ratio would be \
             {} ({}). Look for what else was done that day. {ALTERNATE}",
            numbers.significant(*factor, 2),
            ratio(Some(*beside), numbers),
            ratio_interval(beside_ci.low, beside_ci.high, numbers)
        ),
        Note::StepOnAnotherDay {
            day,
            days_earlier,
            factor,
            beside,
            beside_ci,
        } => format!(
            "The rate stepped to {} times{}, {} with panels {} the change. That accounts for the \
             counts better than the change does; with it allowed for, the ratio would be {} ({}). \
             Look for what else was done that day. {ALTERNATE}",
            numbers.significant(*factor, 2),
            day.map_or(String::new(), |day| format!(" on {}", numbers.date(day))),
            counted(
                days_earlier.unsigned_abs() as usize,
                "day",
                "days",
                numbers
            ),
            if *days_earlier > 0 { "before" } else { "after" },
            ratio(Some(*beside), numbers),
            ratio_interval(beside_ci.low, beside_ci.high, numbers)
        ),
        Note::IncomingMoved { ratio: r, .. } => format!(
            "Defects that came with the part moved too (ratio {}), which sanding does not do. \
             Look at the inspection first: lamp, camera, inspector.",
            ratio(Some(*r), numbers)
        ),
        Note::InspectorsDiffer { new_share } => format!(
            "{} of the panels after were inspected by somebody who had inspected none before.",
            numbers.percent(*new_share, 100)
        ),
        Note::LotMissing { panels: n } => format!(
            "{} no lot, so what their lots did is not allowed for.",
            capital(&counted(*n, "panel has", "panels have", numbers))
        ),
        Note::LotsInTurn {
            before,
            after,
            both,
        } => format!(
            "Lots came one after the other: {} before, {} after, {} on both sides. So mostly lots \
             are compared with lots, and this holds only if they came alike.",
            numbers.count(*before),
            numbers.count(*after),
            numbers.count(*both)
        ),
        Note::LotsNotRecorded => {
            "Lots are not recorded: if the incoming panels changed as well, this can’t be seen."
                .to_owned()
        }
        Note::OneDayEach => {
            "Each side is one day, so how far days differ can’t be seen here: the interval takes \
             them to differ as days usually do. Going back and forth within days would tell more."
                .to_owned()
        }
        Note::ApartInTime { days } => format!(
            "{} lie between the two sides: anything else may have changed in between.",
            capital(&counted(*days, "day", "days", numbers))
        ),
        Note::NoDefects { side } => match side {
            Side::Before => "None was counted before the change.".to_owned(),
            Side::After => {
                "None was counted after the change; the upper limit still holds.".to_owned()
            }
        },
        Note::OppositeClass { class: c } => format!(
            "It fell, but the other end ({}) is not shown to be no worse, so this does not count \
             as helped yet.",
            class(*c)
        ),
        Note::DaysAlike { .. } => "Days resemble the days before them, so a slow drift can pass \
             for the change. The interval is wider for it, and the panels asked for may still be too \
             few; going back and forth between the two sides would tell more."
            .to_owned(),
        Note::PanelsOutside { panels: n } => format!(
            "{} on neither side.",
            capital(&counted(*n, "panel is", "panels are", numbers))
        ),
    }
}

/// All doubts of a comparison: those of all kinds, then those of one kind with
/// its name; a doubt of several kinds once.
pub fn notes(comparison: &Comparison, numbers: &NumberStyle) -> Vec<String> {
    let mut out: Vec<String> = comparison.notes.iter().map(|n| note(n, numbers)).collect();
    let mut shared: Vec<(String, Vec<String>)> = Vec::new();
    for change in &comparison.changes {
        for n in &change.notes {
            let text = note_of(change, n, numbers);
            match shared.iter_mut().find(|(t, _)| *t == text) {
                Some((_, kinds)) => kinds.push(change.defect.clone()),
                None => shared.push((text, vec![change.defect.clone()])),
            }
        }
    }
    out.extend(between_lots(comparison, numbers));
    out.extend(short_of(comparison));
    out.extend(intervals(comparison));
    out.extend(
        shared
            .into_iter()
            .map(|(text, kinds)| format!("{}: {text}", listed(&kinds, 3))),
    );
    out
}

/// Lots against lots where no lot was sanded both ways.
fn between_lots(comparison: &Comparison, numbers: &NumberStyle) -> Option<String> {
    let each: Vec<String> = comparison
        .changes
        .iter()
        .filter(|change| change.confounded_with.contains(&Confounder::Lot))
        .filter_map(|change| {
            let ci = change.ratio_ci?;
            Some(format!(
                "{} {} ({})",
                change.defect,
                ratio(change.ratio, numbers),
                ratio_interval(ci.low, ci.high, numbers)
            ))
        })
        .collect();
    (!each.is_empty()).then(|| {
        format!(
            "Lots after against lots before, which says something of the change only if both came \
             alike: {}.",
            listed(&each, 6)
        )
    })
}

/// How the intervals came about: kinds gathered by method.
fn intervals(comparison: &Comparison) -> Option<String> {
    let mut by: Vec<(&str, Vec<String>)> = Vec::new();
    for change in &comparison.changes {
        let Some(word) = change.method.map(method) else {
            continue;
        };
        match by.iter_mut().find(|(m, _)| *m == word) {
            Some((_, kinds)) => kinds.push(change.defect.clone()),
            None => by.push((word, vec![change.defect.clone()])),
        }
    }
    let parts: Vec<String> = by
        .into_iter()
        .map(|(word, kinds)| format!("{word} ({})", listed(&kinds, 4)))
        .collect();
    (!parts.is_empty()).then(|| format!("Intervals are from: {}.", listed(&parts, 6)))
}

/// A doubt of one kind, with the numbers of the kind where it needs them.
fn note_of(change: &Change, doubt: &Note, numbers: &NumberStyle) -> String {
    let text = note(doubt, numbers);
    match (doubt, &change.opposite) {
        (Note::OppositeClass { class: c }, Some(margin)) => {
            let need = margin.panels_needed.map_or(String::new(), |n| {
                format!(
                    " About {} panels in all would settle it.",
                    numbers.significant(n as f64, 2)
                )
            });
            format!(
                "{text} Its ratio is {}, but may be up to {}; the site allows {}.{}",
                ratio(margin.ratio, numbers),
                numbers.significant(margin.upper, 2),
                numbers.significant(margin.margin, 3),
                if margin.ratio.is_some_and(|r| r <= margin.margin) {
                    need
                } else {
                    format!(" Look at {} first.", class(*c))
                }
            )
        }
        _ => text,
    }
}

//! Captions of the charts of a finding's evidence.

use crate::causes::{Finding, LevelCount};
use crate::charts::NumberStyle;

/// Left axis of all charts of hits against exposure.
pub const PANELS: &str = "panels hit, of covered";

/// Below the lots.
pub const LOT: &str = "incoming lot, in order of sanding";

/// Below the folded order.
pub const FOLDED: &str = "position in the folded order";

/// Below the ages.
pub const AGE: &str = "age of the abrasive, panels";

/// Over the machine's frame.
pub const IN_MACHINE: &str = "In the machine";

/// Over the panel's frame.
pub const ON_PANEL: &str = "On the panel";

/// Caption of hits by lot.
pub fn lots(finding: &Finding, numbers: &NumberStyle) -> String {
    let levels = &finding.evidence.by_lot;
    let hit = levels.iter().filter(|l| l.hits > 0).count();
    format!(
        "{}: hits in {} of {} lots.",
        finding.id,
        numbers.count(hit),
        numbers.count(levels.len())
    )
}

/// Caption of the folded order.
pub fn folded(finding: &Finding, every: usize, slips: bool) -> String {
    format!(
        "{}: sanding order folded every {every} panels{}.",
        finding.id,
        if slips {
            ", counted from each stretch's most-hit position"
        } else {
            ""
        }
    )
}

/// Caption of hits by age of the abrasive.
pub fn ages(finding: &Finding) -> String {
    format!("{}: panels hit by age of the abrasive.", finding.id)
}

/// Caption of the frames side by side.
pub fn frames(finding: &Finding, spread: (f64, f64), numbers: &NumberStyle) -> String {
    let [machine, panel] = [spread.0, spread.1].map(|mm| numbers.significant(mm, 2));
    let id = &finding.id;
    let across = if finding.line_axis.is_some() {
        "across the line "
    } else {
        ""
    };
    format!(
        "{id}: the same hits in both frames; {across}nine tenths of them lie within {machine} mm in the machine \
         and {panel} mm on the panel."
    )
}

/// Below a frame.
pub fn spread(mm: f64, numbers: &NumberStyle) -> String {
    format!("nine tenths within {} mm", numbers.significant(mm, 2))
}

/// The same for those who cannot see the bars.
pub fn bars_described(levels: &[LevelCount], caption: &str, numbers: &NumberStyle) -> String {
    let told: Vec<String> = levels
        .iter()
        .take(12)
        .map(|l| {
            format!(
                "{}: {} of {}",
                l.level,
                numbers.count(l.hits),
                numbers.count(l.exposed)
            )
        })
        .collect();
    format!("{caption} {}.", told.join("; "))
}

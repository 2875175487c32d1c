//! Words on and beside the charts of the recipe page.

use crate::charts::NumberStyle;
use crate::removal::{Effect, Factor, Removal};
use crate::report::words::recipe::{factor, setting};

/// Title of the chart of effects.
pub const EFFECTS_TITLE: &str = "Removal against each factor";
/// Title of the chart of wear.
pub const WEAR_TITLE: &str = "Removal over an abrasive’s life";
/// Title of a chart of a window.
pub const WINDOW_TITLE: &str = "Process window";
/// Axis of removal.
pub const REMOVAL_AXIS: &str = "Removal (µm)";
/// Axis of the abrasive's age.
pub const AGE_AXIS: &str = "Panels sanded before on this abrasive";
/// Axis of shares of panels.
pub const PANELS_AXIS: &str = "Panels (%)";
/// Over the first ages.
pub const FRESH: &str = "fresh";
/// At the present setting.
pub const NOW: &str = "now";
/// At the advised setting.
pub const TRY: &str = "try";
/// Over the settings inside a window.
pub const INSIDE: &str = "inside the window";
/// Curves of a window by limits.
pub const OUTSIDE_LIMITS: [&str; 2] = ["above the limit", "below the limit"];
/// Curves of a window by defects.
pub const WITH_DEFECTS: [&str; 2] = ["too much", "too little"];
/// Caption of the table of defects.
pub const RISKS_CAPTION: &str =
    "Rate of defects per area, lots allowed for; factors told from chance over all those of a row.";

/// At the accepted share.
pub fn accepted(share: f64, numbers: &NumberStyle) -> String {
    format!("{} accepted", numbers.percent(share, 100))
}

/// What was found of a factor: its exponent and the law's.
pub fn effect_found(effect: &Effect, removal: &Removal, numbers: &NumberStyle) -> String {
    let term = removal.terms.iter().find(|t| {
        t.factor == effect.factor
            || t.factor == Factor::Exposure
                && matches!(effect.factor, Factor::Feed | Factor::Passes)
    });
    match term.and_then(|t| Some((t.exponent?, t.factor == effect.factor))) {
        Some((exponent, own)) => {
            // Feed moves exposure the other way.
            let sign = if !own && effect.factor == Factor::Feed {
                -1.0
            } else {
                1.0
            };
            let law = effect.factor.theory().map_or_else(String::new, |t| {
                format!("; the law says {}", numbers.fixed(t, 0))
            });
            format!("exponent {}{law}", numbers.fixed(sign * exponent, 2))
        }
        None => String::new(),
    }
}

/// The effects for those who cannot see the chart.
pub fn effects_alt(removal: &Removal, numbers: &NumberStyle) -> String {
    let parts: Vec<String> = removal
        .effects
        .iter()
        .filter_map(|e| {
            let (first, last) = (e.curve.first()?, e.curve.last()?);
            Some(format!(
                "{} from {} to {}: removal from {} to {} µm",
                factor(&e.factor),
                setting(&e.factor, first.at, numbers),
                setting(&e.factor, last.at, numbers),
                numbers.significant(first.removed_um, 3),
                numbers.significant(last.removed_um, 3)
            ))
        })
        .collect();
    if parts.is_empty() {
        return format!("{EFFECTS_TITLE}.");
    }
    format!("{EFFECTS_TITLE}: {}.", parts.join("; "))
}

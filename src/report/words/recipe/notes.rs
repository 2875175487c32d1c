//! Doubts about the recipe model in words: what is the matter and what to do.

use crate::charts::NumberStyle;
use crate::removal::Note;
use crate::site::DefectClass;

use crate::report::words::counting::{capital, count_panels, counted, listed};
use crate::report::words::recipe::factor;

/// A doubt in a sentence or two.
pub fn note(note: &Note, numbers: &NumberStyle) -> String {
    let panels = |n: usize| count_panels(n, numbers);
    match note {
        Note::WrongSign { factor: f, exponent } => format!(
            "{} has an exponent of {}, against the trade’s law. That is an alarm about the data, not a discovery: look for a factor that moved with it, a unit, a mix-up of set and actual values.",
            capital(&factor(f)),
            numbers.fixed(*exponent, 2)
        ),
        Note::OffTheory { factor: f, exponent, p_adjusted } => format!(
            "{} has an exponent of {}, the right way but off the trade’s law (p = {}, all factors looked at together); compliance, clogging or a factor not recorded can do that.",
            capital(&factor(f)),
            numbers.fixed(*exponent, 2),
            numbers.significant(*p_adjusted, 2)
        ),
        Note::FewSettings { factor: f } => format!(
            "{} was set too few times to give an interval: return to each setting several times, on different days and lots.",
            capital(&factor(f))
        ),
        Note::MostlyMissing { factor: f, share } => format!(
            "{} is missing on {} of the panels and is left out.",
            capital(&factor(f)),
            numbers.percent(*share, 100)
        ),
        Note::Incomplete { panels: n } => {
            format!("{} without one of the factors left out.", capital(&panels(*n)))
        }
        Note::TooFewPanels { panels: n, needed } => format!(
            "{} with readings and all factors; the smallest model needs {}.",
            capital(&panels(*n)),
            numbers.count(*needed)
        ),
        Note::NothingVaries => {
            "No factor of the recipe was changed, so nothing can be said about its effect: a trial with planned settings would.".into()
        }
        Note::NoRemoval => "Readings are zero or negative on the whole, so there is no removal to model.".into(),
        Note::NotConverged => "The fit did not settle; no coefficient is given.".into(),
        Note::GritWithoutScale { labels } => format!(
            "Grit {} has no scale: it counts as a label, not as a size. Name the scale in the site file.",
            listed(labels, 5)
        ),
        Note::PassesNotWhole { panels: n } => format!(
            "Passes are not whole on {}: coverage in per cent or a mean over zones may have been exported.",
            panels(*n)
        ),
        Note::NonPositiveMeans { panels: n } => format!(
            "Mean removal is zero or below on {}; such readings are honest and stay in.",
            panels(*n)
        ),
        Note::LackOfFit { p_value } => format!(
            "Runs at the same setting agree better than the law fits (p = {}): something that is not in the model, or not a power.",
            numbers.significant(*p_value, 2)
        ),
        Note::Drift { lag_one } => format!(
            "What the model leaves drifts from panel to panel (correlation of neighbours {}): something changes in time that is not recorded.",
            numbers.fixed(*lag_one, 2)
        ),
        Note::LotDecides { lot, factor: f, change: Some(change) } => format!(
            "Lot {lot} decides the exponent of {}: without it, it moves by {} standard errors.",
            factor(f),
            numbers.fixed(change.abs(), 1)
        ),
        Note::LotDecides { lot, factor: f, change: None } => format!(
            "Only lot {lot} tells what {} does: without its panels nothing would be known of it, and the next lot may answer otherwise.",
            factor(f)
        ),
        Note::PanelDecides { panel, leverage } => format!(
            "Panel {panel} was set like no other and pulls the fit towards itself (leverage {}).",
            numbers.fixed(*leverage, 2)
        ),
        Note::TooGood { r_squared } => format!(
            "The recipe explains {} of the variance, more than shop data usually allow: check that removal was measured and not computed from the recipe.",
            numbers.percent(*r_squared, 1000)
        ),
        Note::OneLot => "All panels are of one lot; the next may be harder or softer.".into(),
        Note::OnTarget { target_um, present_um } => format!(
            "Mean removal is at the target already ({} µm for {} µm): leave the levers alone.",
            numbers.significant(*present_um, 3),
            numbers.significant(*target_um, 3)
        ),
        Note::BothClasses { over, under } => format!(
            "Too much on {} of the panels and too little on {}: that is unevenness or scatter, which no lever cures. Look at tilt, flatness and film first.",
            numbers.percent(*over, 100),
            numbers.percent(*under, 100)
        ),
        Note::TargetAgainstDefects { class, share, target_um, present_um } => {
            let (side, much, more, look) = match class {
                DefectClass::Over => ("below", "much", "more", "film thickness, edges and evenness"),
                _ => ("above", "little", "less", "contact, missed areas and evenness"),
            };
            format!(
                "Mean removal is {side} the target ({} µm for {} µm), yet too {much} removed prevails, on {} of the panels: removing {more} would feed it. No lever is advised; look at {look} first, then at the target.",
                numbers.significant(*present_um, 3),
                numbers.significant(*target_um, 3),
                numbers.percent(*share, 100)
            )
        }
        Note::NoLever => "No lever has an effect that these records know well enough, or room to move; a trial with planned settings would find one.".into(),
        Note::PartsLeftOut { parts } => format!(
            "{} are too many for these panels; the model doesn’t tell them apart.",
            capital(&counted(*parts, "part number", "part numbers", numbers))
        ),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::removal::Factor;

    #[test]
    fn a_wrong_sign_is_an_alarm_about_the_data() {
        let text = note(
            &Note::WrongSign {
                factor: Factor::Force,
                exponent: -0.4,
            },
            &NumberStyle::default(),
        );
        assert!(
            text.starts_with("Contact force has an exponent of −0.40"),
            "{text}"
        );
        assert!(text.contains("not a discovery"));
    }

    #[test]
    fn one_panel_is_singular() {
        let text = note(&Note::Incomplete { panels: 1 }, &NumberStyle::default());
        assert!(text.starts_with("1 panel without"), "{text}");
    }
}

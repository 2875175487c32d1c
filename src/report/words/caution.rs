//! Cautions: the usual words wherever the report advises touching machine,
//! abrasive or recipe.
//!
//! They follow ISO 10218-1:2025 and -2:2025 (robots), ISO 14118 (unexpected
//! start-up), NFPA 660 (combustible dust) and EN 13743 (coated abrasives) in
//! general terms; no limit value is printed, since local ones apply.

/// What an advised step touches.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Touch {
    /// The cell: someone may have to enter or reach into it.
    Cell,
    /// Disc, belt or pad.
    Abrasive,
    /// Feed speed, passes, force, path or grit.
    Recipe,
}

const CELL: &str = "Before anyone enters or reaches into the cell: stop it, isolate every source of energy, lock it out, \
    let off air pressure and springs, and prove that nothing moves. Where dust or solvent may be in the air, the \
    danger of explosion needs its own assessment.";
const ABRASIVE: &str = "Never run a disc, belt or pad above the operating speed marked on it. If the pad is hot or it \
    smells of burning, stop; do not add force.";
const RECIPE: &str = "After a change of speed, force or path, run the first panel guarded, at reduced speed, by authorised \
    staff. More passes and finer grit make finer dust that stays in the air: check the extraction first, keep dusts of \
    different coatings apart and sparks away from dust.";
const PRECEDENCE: &str = "Local law, the machine’s manual, the safety data sheets and the site’s qualified persons take precedence.";

/// The caution for what is touched, in full.
pub fn caution(touches: &[Touch]) -> String {
    let mut parts = Vec::new();
    for (touch, text) in [
        (Touch::Cell, CELL),
        (Touch::Abrasive, ABRASIVE),
        (Touch::Recipe, RECIPE),
    ] {
        if touches.contains(&touch) {
            parts.push(text);
        }
    }
    parts.push(PRECEDENCE);
    parts.join(" ")
}

/// The caution of page one, for all steps that carry the mark.
pub fn short() -> String {
    format!(
        "Steps with this mark touch machine, abrasive or recipe. Before entering the cell: stop, isolate, lock out, \
         let off stored energy, prove that nothing moves. First run after a change: guarded, at reduced speed, by \
         authorised staff. {PRECEDENCE}"
    )
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_caution_defers_to_local_rules() {
        for touches in [&[Touch::Cell][..], &[Touch::Recipe, Touch::Abrasive], &[]] {
            assert!(caution(touches).ends_with("take precedence."));
        }
        assert!(short().ends_with("take precedence."));
        assert!(caution(&[Touch::Cell]).contains("lock it out"));
        assert!(!caution(&[Touch::Recipe]).contains("lock it out"));
    }
}

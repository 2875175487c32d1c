//! Defect classes: what a kind of defect says about the removal behind it.

use serde::{Deserialize, Serialize};

use super::defects::spelling_key;

/// What a kind of defect says about the removal behind it; drives the advice.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum DefectClass {
    /// Too much removed: sand-through, burn.
    Over,
    /// Too little removed: orange peel left, missed area.
    Under,
    /// Scratches and other marks of the abrasive.
    Surface,
    /// Came with the part.
    Incoming,
}

/// The trade's usual class of a name (common practice, no source); none for
/// names that are unknown or that shops use for two classes.
///
/// Case, hyphens and underscores do not matter.
pub(super) fn usual_class(name: &str) -> Option<DefectClass> {
    let key = spelling_key(name);
    USUAL
        .iter()
        .find(|(_, names)| names.contains(&key.as_str()))
        .map(|(class, _)| *class)
}

const USUAL: [(DefectClass, &[&str]); 4] = [
    (
        DefectClass::Over,
        &[
            "sand through",
            "sandthrough",
            "rub through",
            "burn through",
            "cut through",
            "edge rounding",
            "edge cut",
            "dubbing",
            "gouge",
            "dig in",
            "divot",
            "burn",
            "heat mark",
            "burnish",
            "glaze",
            "thin film",
        ],
    ),
    (
        DefectClass::Under,
        &[
            "missed area",
            "missed",
            "unsanded",
            "under sanded",
            "undersanded",
            "skip",
            "holiday",
            "orange peel",
            "orange peel left",
            "texture left",
            "nibs left",
        ],
    ),
    (
        DefectClass::Surface,
        &[
            "scratch",
            "scratches",
            "deep scratch",
            "cross grain scratch",
            "swirl",
            "swirls",
            "swirl mark",
            "swirl marks",
            "pigtail",
            "pigtails",
            "fish hook",
            "arc scratch",
            "chatter",
            "stripe",
            "stripes",
            "lap mark",
            "lap marks",
            "overlap mark",
            "overlap marks",
            "loading streak",
            "streak",
            "corn",
            "pill mark",
            "scratch pattern",
        ],
    ),
    (
        DefectClass::Incoming,
        &[
            "dent",
            "ding",
            "pressure mark",
            "raised grain",
            "fuzz",
            "glue spot",
            "filler",
            "patch",
            "knot",
            "veneer joint",
            "telegraphing",
            "core print",
            "fibre print through",
            "pinhole",
            "pore",
            "crater",
            "fisheye",
            "fish eye",
            "cissing",
            "run",
            "sag",
            "curtain",
            "blister",
            "bubble",
            "solvent pop",
            "blushing",
            "haze",
            "delamination",
            "flaking",
            "dry edge",
            "dust inclusion",
            "dust inclusions",
            "dust nib",
            "nib",
            "nibs",
            "inclusion",
            "chip",
        ],
    ),
];

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn case_and_hyphens_do_not_matter_for_the_usual_class() {
        assert_eq!(usual_class("Sand-Through"), Some(DefectClass::Over));
        assert_eq!(usual_class("orange_peel"), Some(DefectClass::Under));
        assert_eq!(usual_class(" PIGTAIL "), Some(DefectClass::Surface));
        assert_eq!(usual_class("pinhole"), Some(DefectClass::Incoming));
        assert_eq!(usual_class("frobnication"), None);
    }

    #[test]
    fn no_name_has_two_usual_classes() {
        let mut all: Vec<&str> = USUAL
            .iter()
            .flat_map(|(_, names)| *names)
            .copied()
            .collect();
        let before = all.len();
        all.sort_unstable();
        all.dedup();
        assert_eq!(all.len(), before);
    }
}

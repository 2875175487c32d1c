//! Targets and limits of the recipe.

use std::collections::BTreeMap;

use serde::Deserialize;

/// `[recipe]`. All none by default: then nothing is advised against them.
#[derive(Debug, Clone, PartialEq, Default, Deserialize)]
#[serde(deny_unknown_fields, default)]
pub struct RecipeSettings {
    /// Removal to aim at, µm.
    pub target_removed_um: Option<f64>,
    /// Least removal that is enough, µm.
    pub min_removed_um: Option<f64>,
    /// Most removal that is allowed, µm.
    pub max_removed_um: Option<f64>,
    /// Least film that must be left, µm.
    pub film_left_min_um: Option<f64>,
    /// Contact force that is never exceeded, N.
    pub force_cap_n: Option<f64>,
    /// Distance between neighbouring lines of the path, mm; with it the
    /// sanding time is passes × area / (pitch × feed).
    pub line_pitch_mm: Option<f64>,
    /// Length of the path over one panel for one pass, mm; overrides the
    /// length from area and pitch.
    pub path_length_mm: Option<f64>,
    /// Time per panel beside sanding (loading, turning), s.
    pub handling_s: Option<f64>,
    /// Lower and upper limits of settings, by column or factor name, in the
    /// column's unit.
    pub limits: BTreeMap<String, Limits>,
}

/// What a setting may be.
#[derive(Debug, Clone, Copy, PartialEq, Default, Deserialize)]
#[serde(deny_unknown_fields, default)]
pub struct Limits {
    /// Not below this.
    pub low: Option<f64>,
    /// Not above this.
    pub high: Option<f64>,
}

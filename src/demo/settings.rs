//! The demo workshop's settings, read from the fixture that ships with the code.

use serde::Deserialize;

const SETTINGS: &str = include_str!("../../fixtures/demo/workshop.toml");

/// Everything that the demo's generator needs to know; the fixture explains each.
#[derive(Debug, Clone, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Workshop {
    pub(super) start: jiff::civil::DateTime,
    pub(super) days: usize,
    pub(super) panels_per_cell_and_day: usize,
    pub(super) minutes_between_panels: i64,
    pub(super) pallet: usize,
    pub(super) lots: Vec<Lot>,
    pub(super) inspectors: Vec<String>,
    pub(super) turned_share: f64,
    pub(super) reading_every: usize,
    pub(super) readings_per_side: usize,
    pub(super) location_error_mm: f64,
    pub(super) abrasive_life: usize,
    pub(super) sizes: Vec<Size>,
    pub(super) cells: Vec<Cell>,
    pub(super) recipes: Vec<Recipe>,
    pub(super) removal: Removal,
    pub(super) spot: Spot,
    pub(super) lot_spot: LotSpot,
    pub(super) wandering: Vec<Wandering>,
}

impl Workshop {
    /// The workshop of the fixture.
    ///
    /// # Errors
    ///
    /// If the fixture does not parse, which a test rules out for the one shipped.
    pub fn from_fixture() -> Result<Self, toml::de::Error> {
        toml::from_str(SETTINGS)
    }
}

/// An incoming lot.
#[derive(Debug, Clone, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct Lot {
    pub(super) name: String,
    pub(super) supplier: String,
}

/// A size of panel and where it lies in the cell.
#[derive(Debug, Clone, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct Size {
    pub(super) part: String,
    pub(super) length_mm: f64,
    pub(super) width_mm: f64,
    pub(super) lay_x_mm: f64,
}

/// A sanding cell.
#[derive(Debug, Clone, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct Cell {
    pub(super) machine: String,
    pub(super) head: String,
    pub(super) tilt_x_um: f64,
    pub(super) recipes: Vec<String>,
}

/// A recipe and the orange peel that it leaves.
#[derive(Debug, Clone, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct Recipe {
    pub(super) name: String,
    pub(super) feed_mm_s: f64,
    pub(super) passes: f64,
    pub(super) force_n: f64,
    pub(super) grit: String,
    pub(super) peel_per_m2: f64,
}

/// How much comes off.
#[derive(Debug, Clone, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct Removal {
    pub(super) base_um: f64,
    pub(super) feed_exponent: f64,
    pub(super) passes_exponent: f64,
    pub(super) force_exponent: f64,
    pub(super) fresh_excess: f64,
    pub(super) fresh_panels: f64,
    pub(super) lot_spread: f64,
    pub(super) panel_spread: f64,
    pub(super) panel_tilt_um: f64,
    pub(super) gauge_um: f64,
    pub(super) film_um: f64,
    pub(super) film_spread_um: f64,
}

/// A place of one machine that marks panels.
#[derive(Debug, Clone, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct Spot {
    pub(super) machine: String,
    pub(super) defect: String,
    pub(super) x_mm: f64,
    pub(super) y_mm: f64,
    pub(super) share: f64,
    pub(super) spread_mm: f64,
    pub(super) from_day: usize,
}

/// A place of one lot's panels that carries a mark.
#[derive(Debug, Clone, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct LotSpot {
    pub(super) lot: String,
    pub(super) defect: String,
    pub(super) x_mm: f64,
    pub(super) y_mm: f64,
    pub(super) share: f64,
    pub(super) spread_mm: f64,
}

/// A kind of defect that falls anywhere.
#[derive(Debug, Clone, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct Wandering {
    pub(super) defect: String,
    pub(super) per_m2: f64,
    /// One cell only.
    pub(super) machine: Option<String>,
}

//! Each panel's chance of a mark at a place that is fixed beforehand.

use super::LineAxis;
use super::spots::discs::{DiscScratch, Discs, chance_of_mass};
use super::view::View;
use crate::causes::scan::field::marks::Field;
use crate::causes::scan::field::weighted::Crowding;
use crate::causes::scan::lines::background::{BandScratch, Bands};
use crate::records::Point;

/// Fewer marks around a place than this tell no chance.
const LEAST_MASS: f64 = 0.5;

impl View {
    /// Chance p of each panel to have a mark within `radius_mm` of `place`
    /// without a repeat there; 0 where the panel does not cover the place.
    #[must_use]
    pub fn chances(&self, place: Point, radius_mm: f64) -> Vec<f64> {
        let field = Field::whole(self);
        let discs = Discs::new(&field, &[radius_mm], Crowding::AtAMark);
        let mut scratch = DiscScratch::new(&field);
        discs.move_to(place, &mut scratch);
        discs.chances(place, 0, None, &mut scratch);
        let mut chances = vec![0.0; self.panels.len()];
        for (&panel, &p) in scratch.panels.iter().zip(&scratch.chances) {
            if self.exposed(panel, place) {
                chances[panel] = p;
            }
        }
        chances
    }

    /// Panels with a mark within `radius_mm` of `place` that chance alone would
    /// give: the sum of the chances as an estimate, without caution and reserve.
    /// Where no mark lies around, half a mark is taken to.
    #[must_use]
    pub(crate) fn hits_by_chance(&self, place: Point, radius_mm: f64) -> f64 {
        let field = Field::whole(self);
        let discs = Discs::new(&field, &[radius_mm], Crowding::Anywhere);
        let mut scratch = DiscScratch::plain(&field);
        discs.move_to(place, &mut scratch);
        discs.chances(place, 0, None, &mut scratch);
        let exposed: Vec<usize> = (0..self.panels.len())
            .filter(|&panel| self.exposed(panel, place))
            .collect();
        let mass: f64 = exposed.iter().map(|&panel| scratch.mass(panel)).sum();
        let least = (LEAST_MASS - mass).max(0.0) / exposed.len().max(1) as f64;
        (exposed.iter())
            .filter_map(|&panel| Some((panel, field.kind_of[panel]?)))
            .map(|(panel, kind)| {
                let q = discs.chance_per_mass(kind, place, 0, &mut scratch);
                chance_of_mass(q, scratch.mass(panel) + least)
            })
            .sum()
    }

    /// The same for a band: a mark within `half_width_mm` of `at_mm` across the
    /// line along `along`.
    #[must_use]
    pub fn band_chances(&self, along: LineAxis, at_mm: f64, half_width_mm: f64) -> Vec<f64> {
        let field = Field::whole(self);
        let bands = Bands::new(&field, along, &[half_width_mm], Crowding::AtAMark);
        let mut scratch = BandScratch::new(&field);
        bands.move_to(at_mm, &mut scratch);
        bands.chances(at_mm, 0, None, &mut scratch);
        let mut chances = vec![0.0; self.panels.len()];
        for (&panel, &p) in scratch.panels.iter().zip(&scratch.chances) {
            if self.panels[panel].covers_across(along, at_mm) {
                chances[panel] = p;
            }
        }
        chances
    }
}

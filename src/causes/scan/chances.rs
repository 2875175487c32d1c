//! Each panel's chance of a mark at a place that is fixed beforehand.

use super::LineAxis;
use super::discs::{Crowding, DiscScratch, Discs};
use super::view::View;
use crate::causes::scan::field::marks::Field;
use crate::causes::scan::lines::background::{BandScratch, Bands};
use crate::records::Point;

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

//! Whether a disc at a place holds more panels than chance allows: cheap looks
//! first, which pass everything that could be significant.

use super::background::WINDOW_MM;
use super::discs::{DiscScratch, Discs};
use super::outlook::Outlook;
use crate::causes::scan::tail::{Least, Tail, beyond_all, poisson_tail, stands_out, tail_of_hits};
use crate::records::Point;

/// Panels a spot needs, its own included.
pub(crate) const PANELS_NEEDED: usize = 3;

/// No background is so uneven that a disc in a window holds less than this share
/// of what an even one would put there: below it, a centre isn't worth the
/// full test. (A place with a fifth of the even share lies beside an edge that
/// takes nine tenths of all marks.)
const LEAST_SHARE: f64 = 0.2;

/// Reserve of the shortcut on the p-value.
const SCREEN_RESERVE: f64 = 1e3;

/// A look at one place after the other.
pub(crate) struct Look<'a, 'o, 'f> {
    discs: &'a Discs<'f>,
    outlook: Option<&'a Outlook<'o, 'f>>,
    scratch: DiscScratch,
    centre: Point,
    /// The panel left out, where the place is a mark of it.
    own: Option<usize>,
    state: Looked,
}

/// How far a place has been looked at.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Looked {
    NotYet,
    NearBy,
    Around,
}

impl<'a, 'o, 'f> Look<'a, 'o, 'f> {
    pub(crate) fn new(discs: &'a Discs<'f>, outlook: Option<&'a Outlook<'o, 'f>>) -> Self {
        Self {
            discs,
            outlook,
            scratch: DiscScratch::new(discs.field),
            centre: Point::new(0.0, 0.0),
            own: None,
            state: Looked::NotYet,
        }
    }

    /// Turns to a place, one panel left out.
    pub(crate) fn at(&mut self, centre: Point, own: Option<usize>) {
        (self.centre, self.own, self.state) = (centre, own, Looked::NotYet);
    }

    /// The tail of a disc with marks of so many panels, the own not counted; none
    /// above `level`.
    pub(crate) fn tail(&mut self, radius: usize, panels: usize, level: f64) -> Option<Tail> {
        let Self {
            discs,
            centre,
            outlook,
            own,
            ref mut scratch,
            ..
        } = *self;
        let ruled_out = |least: Least| least.rules_out(panels, level);
        let quick = |o: &Outlook| o.least(centre, radius, own);
        if panels + usize::from(own.is_some()) < PANELS_NEEDED
            || outlook.map(quick).is_some_and(ruled_out)
        {
            return None;
        }
        if self.state == Looked::NotYet {
            discs.leave_out(centre, scratch);
            self.state = Looked::NearBy;
        }
        discs.turn_to(radius, scratch);
        let closer = outlook.map(|o| o.closer(centre, radius, own, scratch));
        if closer.is_some_and(ruled_out) {
            return None;
        }
        if self.state == Looked::NearBy {
            discs.look_around(centre, scratch);
            self.state = Looked::Around;
        }
        // even at a fifth of the even share the Poisson tail must come near the level
        let size = discs.backgrounds[radius].size;
        let window = 2.0 * WINDOW_MM * discs.field.unit;
        let even = std::f64::consts::PI * size * size / (window * window);
        let mass = discs.mass_around(radius, own, scratch);
        if poisson_tail(LEAST_SHARE * even * mass, panels) > SCREEN_RESERVE * level {
            return None;
        }
        if ruled_out(discs.least_expected(centre, radius, own, scratch)) {
            return None;
        }
        if let Some(beyond) = beyond_all(discs.most_expected(scratch), panels) {
            return Some(beyond);
        }
        discs.turned_chances(centre, radius, own, scratch);
        if !stands_out(&scratch.chances, panels) {
            return None;
        }
        let tail = tail_of_hits(&scratch.chances, panels, level);
        (tail.value() <= level).then_some(tail)
    }
}

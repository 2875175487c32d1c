//! All tests of a view, and how they share its level.

use std::sync::OnceLock;

use super::attained::{Attained, HIGHEST};
use super::found::ScanSettings;
use super::spots::at_marks::RADII_MM;
use super::spots::nodes;
use super::spots::screen::{SCREENED_ABOVE, spot_centres};
use super::view::View;
use crate::causes::scan::field::marks::Field;
use crate::causes::scan::lines::{self, LINES};

/// What tests are about.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Family {
    /// Discs at nodes.
    Nodes,
    /// Discs at marks.
    Marks,
    /// Bands.
    Lines,
}

impl Family {
    pub(super) const ALL: [Self; 3] = [Self::Nodes, Self::Marks, Self::Lines];
}

/// Something of each family, in the order of [`Family::ALL`].
pub(super) type Each<T> = [T; Family::ALL.len()];

/// How the families share the level of a view with so many marks: 1 in all.
///
/// Where marks are few, a disc around each is worth more than one at every node, of
/// which there are thousands; with very many marks the nodes are left out.
pub(super) fn shares(marks: usize) -> Each<f64> {
    let nodes = if marks > SCREENED_ABOVE {
        0.0
    } else {
        0.45 * marks as f64 / (marks as f64 + 100.0)
    };
    let lines = 0.3;
    [nodes, 1.0 - lines - nodes, lines]
}

/// All tests of a view, and how they share its level.
#[derive(Debug, Clone)]
pub struct Tests {
    /// The level of the view.
    alpha: f64,
    pub(super) shares: Each<f64>,
    /// How many there are.
    number: Each<f64>,
    /// What each may take, worked out when first asked for.
    attained: OnceLock<Each<Attained>>,
}

impl Tests {
    /// `settings.alpha` is the level of the whole report.
    #[must_use]
    pub fn of(view: &View, settings: &ScanSettings) -> Self {
        let field = Field::whole(view);
        let of_lines = LINES.map(|along| lines::nodes(&field, along).len());
        let of_marks = RADII_MM.len() * spot_centres(&field).len();
        let lines = of_lines.iter().sum::<usize>();
        Self {
            alpha: settings.of_view(),
            shares: shares(view.marks.len()),
            number: [nodes::number(&field), of_marks as f64, lines as f64].map(|n| n.max(1.0)),
            attained: OnceLock::new(),
        }
    }

    pub(super) fn with_nodes(&self) -> bool {
        self.shares[Family::Nodes as usize] > 0.0
    }

    pub(super) fn number(&self) -> usize {
        let [nodes, marks, lines] = self.number;
        let nodes = if self.with_nodes() { nodes } else { 0.0 };
        (nodes + marks + lines).round() as usize
    }

    /// The level of each family of tests.
    fn families(&self) -> Each<f64> {
        self.shares.map(|share| share * self.alpha)
    }

    /// Whether it has been worked out what each may take.
    pub(super) fn known(&self) -> bool {
        self.attained.get().is_some()
    }

    /// What each may take, where `field` has all marks of the view.
    pub(super) fn attained(&self, field: &Field) -> &Each<Attained> {
        self.attained.get_or_init(|| {
            if self.with_nodes() {
                let of = |family: Family| {
                    let k = family as usize;
                    Attained::of(family, field, self.number[k], self.families()[k])
                };
                Family::ALL.map(of)
            } else {
                self.number.map(Attained::equal)
            }
        })
    }

    /// The largest p-values that are significant.
    pub(super) fn levels(&self, field: &Field) -> Each<f64> {
        let (attained, level) = (self.attained(field), self.families());
        std::array::from_fn(|k| attained[k].level(level[k]))
    }

    /// No p-value above these is significant, whatever the tests take.
    pub(super) fn ceilings(&self) -> Each<f64> {
        let level = self.families();
        std::array::from_fn(|k| HIGHEST * level[k] / self.number[k])
    }

    /// A p-value of a family, adjusted for all tests of the view.
    pub(super) fn adjusted(&self, field: &Field, family: Family, p_value: f64) -> f64 {
        let k = family as usize;
        (self.attained(field)[k].adjusted(p_value) / self.shares[k]).min(1.0)
    }
}

//! The site file `onus.toml`: a site's own columns, units, names and limits.
//!
//! Everything has a documented default, so an absent file means
//! `Site::default()`. Unknown keys and wrong types are errors that name file,
//! line and the nearest known key. The vocabulary that the file speaks of
//! (columns, units, grit scales) is that of [`crate::columns`].

mod analysis;
mod classes;
mod defects;
mod error;
mod file;
mod reading;
mod recipe;
mod style;
mod template;

pub use analysis::{Analysis, Subgroup};
pub use classes::DefectClass;
pub use defects::Defects;
pub(crate) use defects::{bare_word, says_none, spelling_key};
pub use error::SiteError;
pub(crate) use error::nearest;
pub use reading::{
    Corner, DateOrder, Dates, Decimal, Delimiter, Encoding, Factor, FactorKind, FeedDirection,
    Frames, Identity, KeyPart, Numbers, Reading,
};
pub use recipe::{Limits, RecipeSettings};
pub use style::{DateStyle, DecimalMark, Language, Paper, ReportStyle};
pub use template::{TEMPLATE, filled_in, quoted};

use std::collections::BTreeMap;

use crate::columns::{Column, Conversion, GritScale};

/// What the site file says, with the defaults filled in.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Site {
    /// `[site]`: who and where.
    pub site: Identity,
    /// `[columns]`: our column or factor name → the headers the site uses.
    pub columns: BTreeMap<String, Vec<String>>,
    /// `[units]`: what a column is recorded in, where not in its own unit.
    pub units: BTreeMap<Column, Conversion>,
    /// `[numbers]`: how numbers and text are written.
    pub numbers: Numbers,
    /// `[dates]`: how dates are written.
    pub dates: Dates,
    /// `[grit] scale`: the scale of bare grit numbers; none by default.
    pub grit_scale: Option<GritScale>,
    /// `[possible]`: by column or factor, between which values a number is
    /// possible where [`Column::possible`] does not hold.
    pub possible: BTreeMap<String, Limits>,
    /// `[names]`: by column, a name → other names that are read as it.
    pub names: BTreeMap<Column, BTreeMap<String, Vec<String>>>,
    /// `[defects]`: names, classes, cost.
    pub defects: Defects,
    /// `[frames]`: where the places are measured from.
    pub frames: Frames,
    /// `[factors]`: further recipe factors, in the order of the file.
    pub factors: Vec<Factor>,
    /// `[recipe]`: targets and limits of the recipe.
    pub recipe: RecipeSettings,
    /// `[analysis]`: thresholds.
    pub analysis: Analysis,
    /// `[report]`: paper, language, number and date style.
    pub report: ReportStyle,
    /// `[read]`: limits and keys of reading.
    pub read: Reading,
}

/// Between which values any number of a factor is possible.
const FACTOR: (f64, f64) = (-1e9, 1e9);

impl Site {
    /// Between which values a number of the column is possible, in its unit;
    /// none where the column has no such range.
    #[must_use]
    pub fn possible(&self, column: Column) -> Option<(f64, f64)> {
        column
            .possible()
            .map(|range| self.widened(column.name(), range))
    }

    /// Between which values a number of a factor is possible.
    #[must_use]
    pub fn possible_factor(&self, name: &str) -> (f64, f64) {
        self.widened(name, FACTOR)
    }

    fn widened(&self, name: &str, (low, high): (f64, f64)) -> (f64, f64) {
        self.possible.get(name).map_or((low, high), |limits| {
            (limits.low.unwrap_or(low), limits.high.unwrap_or(high))
        })
    }
}

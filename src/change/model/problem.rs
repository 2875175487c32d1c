//! The log-linear mixed model of panels: what is in it.

use super::family::Family;

/// Columns of the effects that are not lots'.
const INTERCEPT: usize = 0;
pub(super) const SIDE: usize = 1;
pub(super) const TREND: usize = 2;
pub(super) const MOVED: usize = 3;
pub(super) const FIRST_LEVEL: usize = 4;

/// Panels that are alike in all the model knows of them.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Cell {
    pub panels: f64,
    pub sum: f64,
    pub ln_exposure: f64,
    pub after: bool,
    pub lot: Option<usize>,
    pub day: Option<usize>,
    pub pattern: usize,
    /// Where its day stands in the run, −½ for the first to ½ for the last.
    pub run: f64,
    /// Stretch next to the change: 1 for the last before, −1 for the first after,
    /// and so on; 0 for none.
    pub stretch: i32,
}

/// What moved the rate beside the change.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Moved {
    Nothing,
    /// A bad spell on so many stretches right before the change.
    Spell(i32),
    /// A step so many stretches before the change, or after it.
    Before(i32),
    After(i32),
}

impl Moved {
    /// Prior of what it does to ln rate, mean and standard deviation: changes are
    /// made when things look bad, steps go either way.
    pub(super) fn law(self) -> (f64, f64) {
        match self {
            Self::Spell(_) => (0.7, 0.5),
            _ => (0.0, 1.0),
        }
    }

    fn holds(self, cell: &Cell) -> bool {
        match self {
            Self::Nothing => false,
            Self::Spell(k) => (1..=k).contains(&cell.stretch),
            Self::Before(k) => cell.after || (1..=k).contains(&cell.stretch),
            Self::After(k) => cell.after && !(-k..0).contains(&cell.stretch),
        }
    }
}

/// ln mean = ln exposure + intercept + side + trend over the run + what moved beside
/// the change + levels of terms + day + lot on the side. Trend, that move and levels
/// are independent normal, days a first-order autoregression, lots have an effect of
/// their own and one on what the change does to them.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Problem {
    pub family: Family,
    pub cells: Vec<Cell>,
    /// Levels of all terms.
    pub levels: usize,
    /// Levels that hold, by pattern.
    pub patterns: Vec<Vec<usize>>,
    pub days: usize,
    pub lots: usize,
    /// Distinct values with the number of panels.
    pub values: Vec<(f64, f64)>,
    /// Where the prior of the spread has its middle.
    pub usual_spread: f64,
    /// What moved beside the change.
    pub moved: Moved,
    /// Columns of effects that panels of a lot touch.
    pub touched: Vec<Vec<usize>>,
}

/// Standard deviations of ln rate.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Scales {
    pub lot: f64,
    /// Of the change's effect between lots.
    pub lot_change: f64,
    pub day: f64,
    /// Correlation of a day with the day before.
    pub memory: f64,
    /// Of the trend over the whole run.
    pub trend: f64,
}

/// Mode of all effects, and the spread of panels that goes with it.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Mode {
    pub effects: Vec<f64>,
    pub lots: Vec<[f64; 2]>,
    pub spread: f64,
}

impl Problem {
    pub(super) fn new(
        family: Family,
        cells: Vec<Cell>,
        patterns: Vec<Vec<usize>>,
        values: Vec<(f64, f64)>,
        usual_spread: f64,
    ) -> Self {
        let count =
            |of: fn(&Cell) -> Option<usize>| cells.iter().filter_map(of).max().map_or(0, |k| k + 1);
        let (days, lots) = (count(|c| c.day), count(|c| c.lot));
        let levels = patterns.iter().flatten().max().map_or(0, |k| k + 1);
        let mut problem = Self {
            family,
            cells,
            levels,
            patterns,
            days,
            lots,
            values,
            usual_spread,
            moved: Moved::Nothing,
            touched: Vec::new(),
        };
        problem.touched = problem.touched();
        problem
    }

    /// The same panels where this moved beside the change.
    pub(super) fn with(&self, moved: Moved) -> Self {
        let mut problem = Self {
            moved,
            ..self.clone()
        };
        problem.touched = problem.touched();
        problem
    }

    fn touched(&self) -> Vec<Vec<usize>> {
        let mut touched = vec![Vec::new(); self.lots];
        for cell in &self.cells {
            if let Some(lot) = cell.lot {
                touched[lot].extend(self.columns(cell).map(|(k, _)| k));
            }
        }
        for columns in &mut touched {
            columns.sort_unstable();
            columns.dedup();
        }
        touched
    }

    pub(super) fn size(&self) -> usize {
        FIRST_LEVEL + self.levels + self.days
    }

    /// Columns of the effects that hold for a cell, lots aside, and how strongly.
    pub(super) fn columns(&self, cell: &Cell) -> impl Iterator<Item = (usize, f64)> {
        let levels = self.patterns.get(cell.pattern).into_iter().flatten();
        let whole = std::iter::once(INTERCEPT)
            .chain(cell.after.then_some(SIDE))
            .chain(self.moved.holds(cell).then_some(MOVED))
            .chain(levels.map(|l| FIRST_LEVEL + l))
            .chain(cell.day.map(|d| FIRST_LEVEL + self.levels + d));
        let trend = (cell.run != 0.0).then_some((TREND, cell.run));
        whole.map(|k| (k, 1.0)).chain(trend)
    }

    /// Where the search for a first mode starts: the rate over all panels.
    pub(super) fn start(&self) -> Mode {
        let mut effects = vec![0.0; self.size()];
        let sum: f64 = self.cells.iter().map(|c| c.sum).sum();
        let exposure: f64 = self
            .cells
            .iter()
            .map(|c| c.panels * c.ln_exposure.exp())
            .sum();
        effects[INTERCEPT] = (sum / exposure).ln();
        effects[MOVED] = self.moved.law().0;
        Mode {
            effects,
            lots: vec![[0.0; 2]; self.lots],
            spread: self.usual_spread,
        }
    }

    pub(super) fn ln_mean(&self, mode: &Mode, cell: &Cell) -> f64 {
        let own: f64 = self.columns(cell).map(|(k, x)| x * mode.effects[k]).sum();
        let lot = cell
            .lot
            .map_or(0.0, |l| mode.lots[l][usize::from(cell.after)]);
        cell.ln_exposure + own + lot
    }
}

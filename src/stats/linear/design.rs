//! The columns of a model.

use crate::stats::StatsError;

/// One column of a design.
#[derive(Debug, Clone, PartialEq)]
pub struct Regressor {
    /// Its name, as it appears with the coefficient.
    pub name: String,
    /// One finite value per observation.
    pub values: Vec<f64>,
    /// Which term it belongs to: the columns of one factor share a term.
    pub term: usize,
}

/// A model's design: columns in the order in which they claim what they share;
/// of inseparable columns the first keeps its coefficient.
#[derive(Debug, Clone, PartialEq)]
pub struct Design {
    rows: usize,
    columns: Vec<Regressor>,
    terms: usize,
    has_intercept: bool,
}

/// Name of the constant column.
pub const INTERCEPT: &str = "(intercept)";

impl Design {
    /// A design for `rows` observations that starts with a constant column.
    pub fn with_intercept(rows: usize) -> Design {
        let constant = Regressor {
            name: INTERCEPT.to_owned(),
            values: vec![1.0; rows],
            term: 0,
        };
        Design {
            rows,
            columns: vec![constant],
            terms: 1,
            has_intercept: true,
        }
    }

    /// A design for `rows` observations without a constant column.
    pub fn through_zero(rows: usize) -> Design {
        Design {
            rows,
            columns: Vec::new(),
            terms: 0,
            has_intercept: false,
        }
    }

    /// Adds a numeric column.
    ///
    /// # Errors
    ///
    /// [`StatsError::Length`] or [`StatsError::NotFinite`].
    pub fn number(mut self, name: &str, values: &[f64]) -> Result<Design, StatsError> {
        self.check(values)?;
        self.columns.push(Regressor {
            name: name.to_owned(),
            values: values.to_vec(),
            term: self.terms,
        });
        self.terms += 1;
        Ok(self)
    }

    /// Adds a factor by treatment contrasts: one indicator column per level but
    /// the first; level `l` is named `name=labels[l]`. Levels without an
    /// observation get no column.
    ///
    /// # Errors
    ///
    /// [`StatsError::Length`] for `level_of_row`, [`StatsError::Range`] for a
    /// level without a label.
    pub fn factor<S: AsRef<str>>(
        mut self,
        name: &str,
        level_of_row: &[usize],
        labels: &[S],
    ) -> Result<Design, StatsError> {
        if level_of_row.len() != self.rows {
            return Err(StatsError::Length {
                name: "level_of_row",
                got: level_of_row.len(),
                expected: self.rows,
            });
        }
        if let Some(&level) = level_of_row.iter().find(|&&level| level >= labels.len()) {
            return Err(StatsError::Range {
                name: "level_of_row",
                value: level as f64,
                must: "must have a label",
            });
        }
        for (level, label) in labels.iter().enumerate().skip(1) {
            let values: Vec<f64> = level_of_row
                .iter()
                .map(|&of_row| if of_row == level { 1.0 } else { 0.0 })
                .collect();
            if values.contains(&1.0) {
                let name = format!("{name}={}", label.as_ref());
                self.columns.push(Regressor {
                    name,
                    values,
                    term: self.terms,
                });
            }
        }
        self.terms += 1;
        Ok(self)
    }

    fn check(&self, values: &[f64]) -> Result<(), StatsError> {
        if values.len() != self.rows {
            return Err(StatsError::Length {
                name: "values",
                got: values.len(),
                expected: self.rows,
            });
        }
        if values.iter().any(|value| !value.is_finite()) {
            return Err(StatsError::NotFinite { name: "values" });
        }
        Ok(())
    }

    /// Observations.
    pub fn rows(&self) -> usize {
        self.rows
    }

    /// Columns in order.
    pub fn columns(&self) -> &[Regressor] {
        &self.columns
    }

    /// Is there a constant column?
    pub fn has_intercept(&self) -> bool {
        self.has_intercept
    }

    /// The values of one observation, in column order.
    pub fn row(&self, index: usize) -> Vec<f64> {
        self.columns
            .iter()
            .filter_map(|column| column.values.get(index).copied())
            .collect()
    }
}

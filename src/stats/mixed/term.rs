//! Random terms: which rows share an effect, and on what.

use crate::stats::StatsError;

/// How the effects of one group hang together.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum RandomStructure {
    /// Any covariance between the term's columns.
    Correlated,
    /// Columns vary independently.
    Uncorrelated,
}

/// A column whose coefficient varies from group to group.
#[derive(Debug, Clone, PartialEq)]
pub struct RandomColumn {
    /// Its name.
    pub name: String,
    /// One finite value per row; all ones for a group's level.
    pub values: Vec<f64>,
}

/// One grouping factor with the columns whose coefficients it varies.
#[derive(Debug, Clone, PartialEq)]
pub struct RandomTerm {
    /// Name of the grouping factor.
    pub name: String,
    /// Group of each row, 0-based; numbers without a row get an effect of zero.
    pub group_of_row: Vec<usize>,
    /// Columns, at least one.
    pub columns: Vec<RandomColumn>,
    /// Covariance of the columns' coefficients.
    pub structure: RandomStructure,
}

impl RandomTerm {
    /// Groups that differ in their level.
    pub fn level(name: &str, group_of_row: &[usize]) -> RandomTerm {
        let constant = RandomColumn {
            name: crate::stats::linear::INTERCEPT.to_owned(),
            values: vec![1.0; group_of_row.len()],
        };
        RandomTerm {
            name: name.to_owned(),
            group_of_row: group_of_row.to_vec(),
            columns: vec![constant],
            structure: RandomStructure::Correlated,
        }
    }

    /// Adds a column whose slope differs from group to group.
    #[must_use]
    pub fn slope(mut self, name: &str, values: &[f64]) -> RandomTerm {
        self.columns.push(RandomColumn {
            name: name.to_owned(),
            values: values.to_vec(),
        });
        self
    }

    /// The same term with independent columns.
    #[must_use]
    pub fn uncorrelated(mut self) -> RandomTerm {
        self.structure = RandomStructure::Uncorrelated;
        self
    }

    /// Number of groups, empty ones included.
    pub(super) fn groups(&self) -> usize {
        self.group_of_row.iter().max().map_or(0, |group| group + 1)
    }

    /// Positions (row, column) of the free elements of the Cholesky factor.
    pub(super) fn free(&self) -> Vec<(usize, usize)> {
        let q = self.columns.len();
        match self.structure {
            RandomStructure::Correlated => {
                (0..q).flat_map(|j| (j..q).map(move |i| (i, j))).collect()
            }
            RandomStructure::Uncorrelated => (0..q).map(|j| (j, j)).collect(),
        }
    }

    pub(super) fn check(&self, rows: usize) -> Result<(), StatsError> {
        if self.group_of_row.len() != rows {
            return Err(StatsError::Length {
                name: "group_of_row",
                got: self.group_of_row.len(),
                expected: rows,
            });
        }
        if self.columns.is_empty() {
            return Err(StatsError::Empty {
                what: "columns in a random term",
            });
        }
        for column in &self.columns {
            if column.values.len() != rows {
                return Err(StatsError::Length {
                    name: "random column",
                    got: column.values.len(),
                    expected: rows,
                });
            }
            if column.values.iter().any(|value| !value.is_finite()) {
                return Err(StatsError::NotFinite {
                    name: "random column",
                });
            }
        }
        // With one row a group, its effect cannot be told from the residual.
        let mut seen = vec![false; self.groups()];
        let mut groups = 0;
        for &group in &self.group_of_row {
            if !std::mem::replace(&mut seen[group], true) {
                groups += 1;
            }
        }
        if groups < 2 {
            return Err(StatsError::TooFew {
                got: groups,
                needed: 2,
            });
        }
        if groups * self.columns.len() >= rows {
            return Err(StatsError::TooFew {
                got: rows,
                needed: groups * self.columns.len() + 1,
            });
        }
        Ok(())
    }
}

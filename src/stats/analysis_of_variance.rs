//! One-way analysis of variance, with the random-effects reading of it.

use super::{
    Interval, StatsError, distributions::f_ratio, error::open_share, linear::compensated_sum,
};

/// Scatter between and within groups.
#[derive(Debug, Clone, PartialEq)]
pub struct OneWay {
    /// Σ nᵢ(ȳᵢ − ȳ)².
    pub between_sum_of_squares: f64,
    /// Groups − 1.
    pub between_dof: f64,
    /// Σ(yᵢⱼ − ȳᵢ)².
    pub within_sum_of_squares: f64,
    /// Observations − groups.
    pub within_dof: f64,
    /// F = ratio of the mean squares; `None` if nothing scatters within groups.
    pub statistic: Option<f64>,
    /// P(F ≥ statistic) if all groups share one mean.
    pub p_value: Option<f64>,
    /// Share of the sum of squares between groups; `None` if nothing scatters.
    pub r_squared: Option<f64>,
    /// n₀ = (N − Σnᵢ²/N)/(groups − 1): the group size, if all are equal.
    pub typical_group_size: f64,
    groups: f64,
}

/// Analysis of variance of one value per row in group `group_of_row[row]`.
///
/// Deviations are taken from the first value and sums compensated, so leading
/// digits that all values share do no harm.
///
/// # Errors
///
/// [`StatsError::Length`], [`StatsError::NotFinite`], [`StatsError::TooFew`]
/// with fewer than two groups or no replicate.
pub fn one_way(values: &[f64], group_of_row: &[usize]) -> Result<OneWay, StatsError> {
    let n = values.len();
    if group_of_row.len() != n {
        return Err(StatsError::Length {
            name: "group_of_row",
            got: group_of_row.len(),
            expected: n,
        });
    }
    if values.iter().any(|value| !value.is_finite()) {
        return Err(StatsError::NotFinite { name: "values" });
    }
    let first = values.first().copied().unwrap_or(0.0);
    let deviation = |row: usize| values[row] - first;
    let mut order: Vec<usize> = (0..n).collect();
    order.sort_by_key(|&row| group_of_row[row]);
    let members: Vec<&[usize]> = order
        .chunk_by(|&a, &b| group_of_row[a] == group_of_row[b])
        .collect();
    let groups = members.len();
    if groups < 2 {
        return Err(StatsError::TooFew {
            got: groups,
            needed: 2,
        });
    }
    if n <= groups {
        return Err(StatsError::TooFew {
            got: n,
            needed: groups + 1,
        });
    }
    let grand = compensated_sum((0..n).map(deviation)) / n as f64;
    let means: Vec<f64> = members
        .iter()
        .map(|rows| compensated_sum(rows.iter().map(|&row| deviation(row))) / rows.len() as f64)
        .collect();
    let between = compensated_sum(
        members
            .iter()
            .zip(&means)
            .map(|(rows, mean)| rows.len() as f64 * (mean - grand).powi(2)),
    );
    let within = compensated_sum(
        members
            .iter()
            .zip(&means)
            .flat_map(|(rows, mean)| rows.iter().map(move |&row| (deviation(row) - mean).powi(2))),
    );
    let (between_dof, within_dof) = ((groups - 1) as f64, (n - groups) as f64);
    let statistic = (within > 0.0).then(|| between / between_dof / (within / within_dof));
    let squares: f64 = members.iter().map(|rows| (rows.len() as f64).powi(2)).sum();
    Ok(OneWay {
        between_sum_of_squares: between,
        between_dof,
        within_sum_of_squares: within,
        within_dof,
        statistic,
        p_value: statistic.map(|f| f_ratio::tails(f, between_dof, within_dof).upper()),
        r_squared: (between + within > 0.0).then(|| between / (between + within)),
        typical_group_size: (n as f64 - squares / n as f64) / between_dof,
        groups: groups as f64,
    })
}

/// Groups taken as a sample: how much of the variance lies between them.
#[derive(Debug, Clone, PartialEq)]
pub struct RandomGroups {
    /// Variance between groups by moments, (MSB − MSW)/n₀; can be negative,
    /// which says that groups differ less than chance alone would have it.
    pub between_variance: f64,
    /// Variance within groups, MSW.
    pub within_variance: f64,
    /// Intraclass correlation between/(between + within), from the moments.
    pub intraclass_correlation: f64,
    /// Interval for it from the F distribution; exact for equal group sizes,
    /// approximate otherwise. Limits can be negative.
    pub ci: Interval,
}

impl OneWay {
    /// Mean square between groups.
    pub fn between_mean_square(&self) -> f64 {
        self.between_sum_of_squares / self.between_dof
    }

    /// Mean square within groups.
    pub fn within_mean_square(&self) -> f64 {
        self.within_sum_of_squares / self.within_dof
    }

    /// The random-effects reading: variance components by moments and the
    /// intraclass correlation (Searle, Casella & McCulloch 1992, section 3.5).
    ///
    /// # Errors
    ///
    /// [`StatsError::Share`] for the level, [`StatsError::Empty`] if nothing
    /// scatters within groups.
    pub fn random_groups(&self, level: f64) -> Result<RandomGroups, StatsError> {
        open_share("level", level)?;
        let Some(f) = self.statistic else {
            return Err(StatsError::Empty {
                what: "scatter within groups",
            });
        };
        let tail = (1.0 - level) / 2.0;
        let size = self.typical_group_size;
        let correlation = |f: f64| (f - 1.0) / (f + size - 1.0);
        let high_quantile = f_ratio::upper_quantile(tail, self.between_dof, self.within_dof);
        let low_quantile = f_ratio::quantile(tail, self.between_dof, self.within_dof);
        let within_variance = self.within_mean_square();
        let between_variance = (self.between_mean_square() - within_variance) / size;
        Ok(RandomGroups {
            between_variance,
            within_variance,
            intraclass_correlation: between_variance / (between_variance + within_variance),
            ci: Interval {
                low: correlation(f / high_quantile),
                high: correlation(f / low_quantile),
                level,
            },
        })
    }

    /// Number of groups.
    pub fn groups(&self) -> f64 {
        self.groups
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use approx::assert_relative_eq;

    #[test]
    fn shifting_all_values_changes_nothing() {
        let values = [1.25, 2.5, 3.0, 4.75, 6.5, 5.0];
        let groups = [0, 0, 0, 1, 1, 1];
        let shifted: Vec<f64> = values.iter().map(|value| value + 1e9).collect();
        let (one, other) = (
            one_way(&values, &groups).unwrap(),
            one_way(&shifted, &groups).unwrap(),
        );
        assert_relative_eq!(
            one.statistic.unwrap(),
            other.statistic.unwrap(),
            max_relative = 1e-13
        );
    }

    #[test]
    fn refuses_one_group_and_no_replicates() {
        assert_eq!(
            one_way(&[1.0, 2.0], &[0, 0]),
            Err(StatsError::TooFew { got: 1, needed: 2 })
        );
        assert_eq!(
            one_way(&[1.0, 2.0], &[0, 1]),
            Err(StatsError::TooFew { got: 2, needed: 3 })
        );
    }
}

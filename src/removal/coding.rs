//! How a factor's value becomes columns of a design.

use super::result::Factor;
use super::setting::{Setting, Value, level, number};

/// Ages up to this one count as a fresh abrasive.
pub const FRESH_UP_TO: f64 = 2.0;

/// One factor's columns. Positions point into a [`Setting`]. Numbers are
/// centred, so that a missing value stands for the mean (or the base level).
#[derive(Debug, Clone, PartialEq)]
pub(super) enum Coding {
    /// ln v − mean.
    Log { at: usize, mean: f64 },
    /// v − mean.
    Linear { at: usize, mean: f64 },
    /// An indicator per level, the first one left out as the base.
    Levels { at: usize, levels: Vec<String> },
    /// ln(passes / feed) − mean.
    Exposure {
        feed: usize,
        passes: usize,
        mean: f64,
    },
    /// Share of the decay done, 0 when fresh and 1 at the oldest age seen: even
    /// for rate 0, else (1 − e^(−rate·age)) / (1 − e^(−rate·oldest)).
    Decay {
        at: usize,
        rate: f64,
        oldest: f64,
        mean: f64,
    },
    /// 1 on a fresh abrasive.
    Fresh { at: usize, mean: f64 },
}

/// The decay's share at an age.
pub(super) fn decay(age: f64, rate: f64, oldest: f64) -> f64 {
    if rate > 0.0 {
        (-rate * age).exp_m1() / (-rate * oldest).exp_m1()
    } else {
        age / oldest
    }
}

impl Coding {
    pub(super) fn width(&self) -> usize {
        match self {
            Self::Levels { levels, .. } => levels.len() - 1,
            _ => 1,
        }
    }

    /// Positions in a [`Setting`] that it reads, ages aside.
    pub(super) fn positions(&self) -> Vec<usize> {
        match self {
            Self::Log { at, .. } | Self::Linear { at, .. } | Self::Levels { at, .. } => vec![*at],
            Self::Exposure { feed, passes, .. } => vec![*feed, *passes],
            Self::Decay { .. } | Self::Fresh { .. } => Vec::new(),
        }
    }

    /// The uncentred value of a one-column coding.
    fn raw(&self, setting: &Setting) -> Option<f64> {
        match self {
            Self::Log { at, .. } => number(&setting[*at]).map(f64::ln),
            Self::Linear { at, .. } => number(&setting[*at]),
            Self::Exposure { feed, passes, .. } => {
                Some(number(&setting[*passes])?.ln() - number(&setting[*feed])?.ln())
            }
            Self::Decay {
                at, rate, oldest, ..
            } => number(&setting[*at]).map(|age| decay(age, *rate, *oldest)),
            Self::Fresh { at, .. } => {
                number(&setting[*at]).map(|age| f64::from(u8::from(age <= FRESH_UP_TO)))
            }
            Self::Levels { .. } => None,
        }
    }

    fn mean_mut(&mut self) -> Option<&mut f64> {
        match self {
            Self::Log { mean, .. }
            | Self::Linear { mean, .. }
            | Self::Exposure { mean, .. }
            | Self::Decay { mean, .. }
            | Self::Fresh { mean, .. } => Some(mean),
            Self::Levels { .. } => None,
        }
    }

    /// Centres the coding on the settings.
    pub(super) fn centred(mut self, settings: &[&Setting]) -> Self {
        let raw: Vec<f64> = settings.iter().filter_map(|s| self.raw(s)).collect();
        let average = raw.iter().sum::<f64>() / raw.len().max(1) as f64;
        if let Some(mean) = self.mean_mut() {
            *mean = average;
        }
        self
    }

    /// Appends the columns' values.
    pub(super) fn encode(&self, setting: &Setting, row: &mut Vec<f64>) {
        match self {
            Self::Levels { at, levels } => {
                let here = level(&setting[*at]);
                // A level that is none of them was too rare for a column of its
                // own and counts as the base.
                row.extend(
                    levels[1..]
                        .iter()
                        .map(|l| f64::from(u8::from(here == Some(l)))),
                );
            }
            Self::Log { mean, .. }
            | Self::Linear { mean, .. }
            | Self::Exposure { mean, .. }
            | Self::Decay { mean, .. }
            | Self::Fresh { mean, .. } => row.push(self.raw(setting).map_or(0.0, |v| v - mean)),
        }
    }
}

/// Why a factor has no columns.
#[derive(Debug, Clone, PartialEq)]
pub(super) enum Unused {
    /// Not recorded, or only as something else.
    Absent,
    /// Recorded on so few panels: share without it.
    MostlyMissing(f64),
    /// The same on all panels.
    Constant,
    /// More levels than the panels can carry.
    TooManyLevels(usize),
}

/// A factor missing on more than this share of panels is left out.
const MISSING: f64 = 0.3;
/// Logs that differ less than this are one setting.
const SAME: f64 = 0.01;
/// A level that is allowed for needs so many panels for a column, any other two.
const LEVEL_PANELS: usize = 3;
/// Part numbers, sizes and inspectors may each use up one coefficient in so many
/// panels.
const PANELS_PER_LEVEL: usize = 8;

/// The coding of a factor over the settings.
pub(super) fn coding(
    factor: &Factor,
    at: usize,
    settings: &[&Setting],
    rate: f64,
) -> Result<Coding, Unused> {
    let recorded = settings.iter().filter(|s| s[at].is_some()).count();
    if recorded == 0 {
        return Err(Unused::Absent);
    }
    let missing = 1.0 - recorded as f64 / settings.len() as f64;
    if missing > MISSING {
        return Err(Unused::MostlyMissing(missing));
    }
    let numbers: Vec<f64> = settings.iter().filter_map(|s| number(&s[at])).collect();
    let coded = if numbers.is_empty() {
        levels(factor, at, settings)?
    } else {
        let low = numbers.iter().copied().fold(f64::INFINITY, f64::min);
        let high = numbers.iter().copied().fold(f64::NEG_INFINITY, f64::max);
        match factor {
            Factor::AbrasiveAge if high - low >= 1.0 => Coding::Decay {
                at,
                rate,
                oldest: high,
                mean: 0.0,
            },
            Factor::AbrasiveAge => return Err(Unused::Constant),
            _ if low > 0.0 && (high / low).ln() > SAME => Coding::Log { at, mean: 0.0 },
            _ if low > 0.0 || high - low <= 0.0 => return Err(Unused::Constant),
            _ => Coding::Linear { at, mean: 0.0 },
        }
    };
    Ok(coded)
}

fn levels(factor: &Factor, at: usize, settings: &[&Setting]) -> Result<Coding, Unused> {
    let mut counts: std::collections::BTreeMap<&str, usize> = std::collections::BTreeMap::new();
    for s in settings {
        if let Some(Value::Level(name)) = &s[at] {
            *counts.entry(name).or_default() += 1;
        }
    }
    if counts.len() < 2 {
        return Err(Unused::Constant);
    }
    let spare = factor.is_allowed_for() && *factor != Factor::Cell;
    let least = if spare { LEVEL_PANELS } else { 2 };
    let mut kept: Vec<(&str, usize)> = counts.into_iter().filter(|c| c.1 >= least).collect();
    kept.sort_by(|a, b| b.1.cmp(&a.1).then(a.0.cmp(b.0)));
    if spare && kept.len() > settings.len() / PANELS_PER_LEVEL {
        return Err(match factor {
            Factor::Part => Unused::TooManyLevels(kept.len()),
            _ => Unused::Absent,
        });
    }
    if kept.len() < 2 {
        return Err(Unused::Constant);
    }
    let levels = kept.into_iter().map(|(name, _)| name.to_owned()).collect();
    Ok(Coding::Levels { at, levels })
}

#[cfg(test)]
mod tests {
    use super::*;
    use approx::assert_relative_eq;

    /// A half life of 10 panels, worn out at 20: by 10 two thirds are done, as
    /// (1 − 1/2)/(1 − 1/4).
    #[test]
    fn the_decay_is_done_at_the_oldest_age() {
        let rate = std::f64::consts::LN_2 / 10.0;
        assert_relative_eq!(decay(10.0, rate, 20.0), 2.0 / 3.0, max_relative = 1e-12);
        assert_relative_eq!(decay(20.0, rate, 20.0), 1.0, max_relative = 1e-12);
        assert_relative_eq!(decay(5.0, 0.0, 20.0), 0.25, max_relative = 1e-12);
    }

    #[test]
    fn a_factor_that_a_third_of_the_panels_lack_is_left_out() {
        let coded = |missing: usize| {
            let setting = |i: usize| {
                let force = [20.0, 30.0][i % 2];
                vec![(i >= missing).then_some(Value::Number(force))]
            };
            let settings: Vec<Setting> = (0..40).map(setting).collect();
            let settings: Vec<&Setting> = settings.iter().collect();
            coding(&Factor::Force, 0, &settings, 0.0)
        };
        assert_eq!(coded(13), Err(Unused::MostlyMissing(1.0 - 27.0 / 40.0)));
        assert_eq!(coded(11), Ok(Coding::Log { at: 0, mean: 0.0 }));
    }
}

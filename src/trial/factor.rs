//! Factors of a recipe trial and how far they may be moved.

use std::str::FromStr;

use super::TrialError;
use crate::columns::{Column, Quantity};
use crate::site::{FactorKind, Limits, Site, nearest};

/// Settings of a factor.
#[derive(Debug, Clone, PartialEq)]
pub enum Settings {
    /// Between two numbers, in the column's unit.
    Between(f64, f64),
    /// Named levels, in the order given.
    Named(Vec<String>),
}

/// A factor and the settings that a trial may use.
#[derive(Debug, Clone, PartialEq)]
pub struct Factor {
    /// Column or further factor of the site.
    pub name: String,
    /// Its settings.
    pub settings: Settings,
}

/// A setting of a run.
#[derive(Debug, Clone, PartialEq, serde::Serialize)]
#[serde(untagged)]
pub enum Value {
    /// In the column's unit.
    Number(f64),
    /// A name.
    Text(String),
}

impl FromStr for Factor {
    type Err = TrialError;

    fn from_str(text: &str) -> Result<Self, TrialError> {
        let not = || TrialError::NotAFactor {
            text: text.to_owned(),
        };
        let (name, settings) = text.split_once('=').ok_or_else(not)?;
        let name = name.trim().to_owned();
        if name.is_empty() {
            return Err(not());
        }
        let settings = match settings.split_once("..") {
            Some((low, high)) => {
                let number = |t: &str| t.trim().parse::<f64>().ok().filter(|n| n.is_finite());
                let (low, high) = number(low).zip(number(high)).ok_or_else(not)?;
                if low == high {
                    return Err(TrialError::OneLevel { name });
                }
                Settings::Between(low.min(high), low.max(high))
            }
            None => {
                let mut levels: Vec<String> = Vec::new();
                for level in settings.split(',').map(str::trim) {
                    if level.is_empty() {
                        return Err(not());
                    }
                    if !levels.iter().any(|known| known == level) {
                        levels.push(level.to_owned());
                    }
                }
                if levels.len() < 2 {
                    return Err(TrialError::OneLevel { name });
                }
                Settings::Named(levels)
            }
        };
        Ok(Self { name, settings })
    }
}

/// Settings that can be planned beside the site's factors.
const PLANNED: [Column; 8] = [
    Column::FeedMmS,
    Column::Passes,
    Column::ForceN,
    Column::Grit,
    Column::Recipe,
    Column::Fixture,
    Column::Head,
    Column::AbrasiveId,
];

impl Factor {
    /// Checks the factor against the site and narrows its range to the site's
    /// limits; the second value says whether anything was cut off.
    ///
    /// # Errors
    ///
    /// An unknown name, named levels for a number, limits that leave nothing.
    pub fn within(mut self, site: &Site) -> Result<(Self, bool), TrialError> {
        known(site, &self.name)?;
        let further = site.factors.iter().find(|f| f.name == self.name);
        let column = Column::from_name(&self.name).filter(|c| PLANNED.contains(c));
        let number = match (column, further) {
            (Some(column), _) => column.quantity() != Quantity::Text && column != Column::Grit,
            (None, Some(further)) => further.kind == FactorKind::Number,
            (None, None) => false,
        };
        // Two numbers in a list are the ends of a range.
        if let (true, Settings::Named(levels)) = (number, &self.settings) {
            let ends: Vec<f64> = levels.iter().filter_map(|l| l.parse().ok()).collect();
            let [a, b] = ends[..] else {
                return Err(TrialError::NotAFactor {
                    text: format!("{}={}", self.name, levels.join(",")),
                });
            };
            self.settings = Settings::Between(a.min(b), a.max(b));
        }
        let Settings::Between(low, high) = self.settings else {
            return Ok((self, false));
        };
        if !number {
            return Err(TrialError::NotAFactor {
                text: format!("{}={low}..{high}", self.name),
            });
        }
        possible(site, &self.name, column, [low, high])?;
        let limits = limits(site, &self.name, column);
        let least = limits.low.unwrap_or(f64::NEG_INFINITY);
        let most = limits.high.unwrap_or(f64::INFINITY);
        let (mut inside_low, mut inside_high) = (low.max(least), high.min(most));
        if self.whole() {
            (inside_low, inside_high) = (inside_low.ceil(), inside_high.floor());
        }
        if inside_low >= inside_high {
            return Err(TrialError::LimitsLeaveNothing {
                name: self.name,
                low,
                high,
                allowed: allowed(limits),
            });
        }
        self.settings = Settings::Between(inside_low, inside_high);
        let cut = (inside_low, inside_high) != (low, high);
        Ok((self, cut))
    }

    /// Whether it takes whole numbers only.
    #[must_use]
    pub fn whole(&self) -> bool {
        self.name == Column::Passes.name()
    }

    /// Whether it is changed as seldom as can be: another grit is another disc.
    #[must_use]
    pub fn hard_to_change(&self) -> bool {
        [Column::Grit, Column::AbrasiveId]
            .iter()
            .any(|column| column.name() == self.name)
    }

    /// Whether its settings are numbers.
    #[must_use]
    pub fn is_number(&self) -> bool {
        matches!(self.settings, Settings::Between(..))
    }

    /// Whether it has settings between its ends, so that a bend can be seen.
    pub(super) fn bends(&self) -> bool {
        match self.settings {
            Settings::Between(low, high) => !self.whole() || high - low >= 2.0,
            Settings::Named(_) => false,
        }
    }

    /// The coded value of the setting that is run, whole numbers being rounded;
    /// `reach` is the coded value of the range's ends.
    pub(super) fn as_run(&self, coded: f64, reach: f64) -> f64 {
        match (&self.settings, self.value(coded / reach)) {
            (Settings::Between(low, high), Value::Number(run)) if self.whole() => {
                (2.0 * (run - low) / (high - low) - 1.0) * reach
            }
            _ => coded,
        }
    }

    /// How many named levels; 2 for numbers.
    pub(super) fn levels(&self) -> usize {
        match &self.settings {
            Settings::Between(..) => 2,
            Settings::Named(levels) => levels.len(),
        }
    }

    /// The setting of a coded value: −1 and +1 are the ends of a range (or the
    /// first and second of two levels); of more levels it is the level's number.
    pub(super) fn value(&self, coded: f64) -> Value {
        match &self.settings {
            Settings::Between(low, high) => {
                let exact = f64::midpoint(*low, *high) + coded * (high - low) / 2.0;
                // To a hundredth of the range, in round figures.
                let step = if self.whole() {
                    1.0
                } else {
                    10f64.powf((high - low).log10().floor() - 2.0)
                };
                let round = format!("{:.9e}", (exact / step).round() * step);
                let round = round.parse().unwrap_or(exact);
                let end = coded.abs() >= 1.0 && !self.whole();
                Value::Number(if end { exact } else { round }.clamp(*low, *high))
            }
            Settings::Named(levels) if levels.len() == 2 => {
                Value::Text(levels[usize::from(coded > 0.0)].clone())
            }
            Settings::Named(levels) => {
                let at = (coded.max(0.0) as usize).min(levels.len() - 1);
                Value::Text(levels[at].clone())
            }
        }
    }
}

/// The site's limits of a factor; the cap on the force is one.
fn limits(site: &Site, name: &str, column: Option<Column>) -> Limits {
    let mut limits = site.recipe.limits.get(name).copied().unwrap_or_default();
    if let Some((low, high)) = range_possible(site, name, column) {
        limits.low = Some(limits.low.map_or(low, |l| l.max(low)));
        limits.high = Some(limits.high.map_or(high, |h| h.min(high)));
    }
    if let (Some(Column::ForceN), Some(cap)) = (column, site.recipe.force_cap_n) {
        limits.high = Some(limits.high.map_or(cap, |h| h.min(cap)));
    }
    limits
}

fn range_possible(site: &Site, name: &str, column: Option<Column>) -> Option<(f64, f64)> {
    match column {
        Some(column) => site.possible(column),
        None => Some(site.possible_factor(name)),
    }
}

/// Refuses what can't be meant, such as a negative feed.
fn possible(
    site: &Site,
    name: &str,
    column: Option<Column>,
    ends: [f64; 2],
) -> Result<(), TrialError> {
    let Some((low, high)) = range_possible(site, name, column) else {
        return Ok(());
    };
    if let Some(value) = ends.into_iter().find(|end| !(low..=high).contains(end)) {
        return Err(TrialError::OutsideLimits {
            name: name.to_owned(),
            value,
            allowed: allowed(Limits {
                low: Some(low),
                high: Some(high),
            }),
        });
    }
    // Beyond the usual only where the site says so.
    let Some((low, high)) = column.and_then(Column::usual) else {
        return Ok(());
    };
    let own = site.recipe.limits.get(name).copied().unwrap_or_default();
    let cap = site
        .recipe
        .force_cap_n
        .filter(|_| column == Some(Column::ForceN));
    let unusual = |end: &f64| {
        (*end < low && own.low.is_none()) || (*end > high && own.high.is_none() && cap.is_none())
    };
    match ends.into_iter().find(unusual) {
        None => Ok(()),
        Some(value) => Err(TrialError::OutsideUsual {
            name: name.to_owned(),
            value,
            low,
            high,
        }),
    }
}

fn allowed(limits: Limits) -> String {
    match (limits.low, limits.high) {
        (Some(low), Some(high)) => format!("from {low} to {high}"),
        (Some(low), None) => format!("from {low} up"),
        (None, Some(high)) => format!("up to {high}"),
        (None, None) => "anything".to_owned(),
    }
}

/// Whether settings of a column, as they were written, are inside the site's limits.
///
/// # Errors
///
/// [`TrialError::OutsideLimits`].
pub(super) fn within_limits(
    site: &Site,
    name: &str,
    settings: &[String],
) -> Result<(), TrialError> {
    let limits = limits(site, name, Column::from_name(name));
    for setting in settings {
        let Ok(value) = setting.parse::<f64>() else {
            continue;
        };
        let low = limits.low.is_some_and(|low| value < low);
        let high = limits.high.is_some_and(|high| value > high);
        if low || high {
            return Err(TrialError::OutsideLimits {
                name: name.to_owned(),
                value,
                allowed: allowed(limits),
            });
        }
    }
    Ok(())
}

/// Whether a column or further factor is one that a trial can plan.
///
/// # Errors
///
/// [`TrialError::UnknownFactor`] with the nearest that is.
pub(super) fn known(site: &Site, name: &str) -> Result<(), TrialError> {
    let all = || {
        let columns = PLANNED.iter().map(|c| c.name());
        columns.chain(site.factors.iter().map(|f| f.name.as_str()))
    };
    if all().any(|one| one == name) {
        return Ok(());
    }
    Err(TrialError::UnknownFactor {
        name: name.to_owned(),
        near: nearest(name, all()).map(str::to_owned),
    })
}

/// Settings that must not be run together: a range or levels of each factor
/// named.
#[derive(Debug, Clone, PartialEq)]
pub struct Never(pub Vec<Factor>);

impl FromStr for Never {
    type Err = TrialError;

    fn from_str(text: &str) -> Result<Self, TrialError> {
        let all: Result<Vec<Factor>, TrialError> = text
            .split('&')
            .map(|part| match part.parse() {
                // One level or number is enough here.
                Err(TrialError::OneLevel { name }) => {
                    let value = part.split_once('=').map_or("", |p| p.1).trim();
                    let number = value.split("..").next().and_then(|v| v.parse::<f64>().ok());
                    let settings = match number {
                        Some(v) => Settings::Between(v, v),
                        None => Settings::Named(vec![value.to_owned()]),
                    };
                    Ok(Factor { name, settings })
                }
                other => other,
            })
            .collect();
        Ok(Self(all?))
    }
}

impl Never {
    /// Whether a run's settings are forbidden.
    pub(super) fn forbids(&self, factors: &[Factor], values: &[Value]) -> bool {
        self.0.iter().all(|part| {
            let at = factors.iter().position(|f| f.name == part.name);
            match (at.map(|at| &values[at]), &part.settings) {
                (Some(Value::Number(v)), Settings::Between(low, high)) => {
                    (*low..=*high).contains(v)
                }
                (Some(Value::Text(v)), Settings::Named(levels)) => levels.contains(v),
                _ => false,
            }
        })
    }
}

impl Factor {
    /// Its two settings as they were written, old and new.
    ///
    /// # Errors
    ///
    /// [`TrialError::NotAChange`] where there are more or fewer.
    pub fn two_values(&self) -> Result<[String; 2], TrialError> {
        match &self.settings {
            Settings::Named(levels) if levels.len() == 2 => {
                Ok([levels[0].clone(), levels[1].clone()])
            }
            _ => Err(TrialError::NotAChange {
                text: self.name.clone(),
            }),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn settings_are_round_and_never_beyond_the_range() {
        let feed: Factor = "feed_mm_s=81.37..140".parse().unwrap();
        assert_eq!(feed.value(-1.0), Value::Number(81.37));
        assert_eq!(feed.value(1.0), Value::Number(140.0));
        assert_eq!(feed.value(0.0), Value::Number(110.7));
        let passes: Factor = "passes=2..5".parse().unwrap();
        assert_eq!(passes.value(0.3), Value::Number(4.0), "a whole pass");
        let grit: Factor = "grit=P240,P320".parse().unwrap();
        assert_eq!(grit.value(1.0), Value::Text("P320".into()));
    }

    #[test]
    fn what_is_not_usual_is_planned_only_where_the_site_says_so() {
        let mut site = Site::default();
        let force = || "force_n=20..4000".parse::<Factor>().unwrap();
        let refused = force().within(&site);
        assert!(matches!(refused, Err(TrialError::OutsideUsual { value, .. }) if value == 4000.0));
        let limits = Limits {
            low: Some(2.0),
            high: Some(5000.0),
        };
        site.recipe.limits.insert("force_n".into(), limits);
        assert!(force().within(&site).is_ok());
    }

    #[test]
    fn limits_narrow_a_range_and_the_force_cap_is_one() {
        let mut site = Site::default();
        site.recipe.force_cap_n = Some(35.0);
        let force: Factor = "force_n=20..40".parse().unwrap();
        let (force, cut) = force.within(&site).unwrap();
        assert!(cut);
        assert_eq!(force.settings, Settings::Between(20.0, 35.0));
        let beyond: Factor = "force_n=35..40".parse().unwrap();
        assert!(matches!(
            beyond.within(&site),
            Err(TrialError::LimitsLeaveNothing { .. })
        ));
    }

    #[test]
    fn settings_are_forbidden_only_all_together() {
        let never: Never = "feed_mm_s=120..140&grit=P320".parse().unwrap();
        let factors = ["feed_mm_s=80..140", "grit=P240,P320"].map(|f| f.parse().unwrap());
        let run = |feed: f64, grit: &str| [Value::Number(feed), Value::Text(grit.into())];
        assert!(never.forbids(&factors, &run(130.0, "P320")));
        assert!(!never.forbids(&factors, &run(130.0, "P240")));
        assert!(!never.forbids(&factors, &run(110.0, "P320")));
    }
}

//! Which panels are before and which are after.

use std::collections::BTreeMap;

use jiff::civil::Date;

use super::{ChangeError, Question, Side};
use crate::records::{Column, FactorValue, Panel, Records};

/// A condition on panels: a column or further factor has this value.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Pick {
    /// Name of the column or factor.
    pub column: String,
    /// Its value as it is written.
    pub value: String,
}

impl std::str::FromStr for Pick {
    type Err = ChangeError;

    fn from_str(text: &str) -> Result<Self, ChangeError> {
        match text.split_once('=') {
            Some((column, value)) if !column.trim().is_empty() && !value.trim().is_empty() => {
                Ok(Self {
                    column: column.trim().to_owned(),
                    value: value.trim().to_owned(),
                })
            }
            _ => Err(ChangeError::NotAPair {
                text: text.to_owned(),
            }),
        }
    }
}

/// How the panels are shared out.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Sides {
    /// All conditions of a side must hold.
    Values {
        /// Conditions of the before side.
        before: Vec<Pick>,
        /// Conditions of the after side.
        after: Vec<Pick>,
    },
    /// Sanded on or after this day against earlier.
    Since(Date),
    /// From the first panel on this abrasive (`abrasive_id`) on, per machine and
    /// head, against the panels before it there.
    Abrasive(String),
}

/// The sides with conditions that hold for both.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Selection {
    /// How the panels are shared out.
    pub sides: Sides,
    /// Conditions that panels of either side must meet.
    pub only: Vec<Pick>,
    /// Kinds of defect named beforehand: these alone are compared and share the
    /// level. All where empty.
    pub on: Vec<String>,
}

impl Selection {
    /// What is asked, for the result.
    #[must_use]
    pub fn question(&self) -> Question {
        let pairs = |picks: &[Pick]| -> Vec<(String, String)> {
            picks
                .iter()
                .chain(&self.only)
                .map(|p| (p.column.clone(), p.value.clone()))
                .collect()
        };
        match &self.sides {
            Sides::Values { before, after } => Question::Values {
                before: pairs(before),
                after: pairs(after),
            },
            Sides::Since(day) => Question::Since {
                day: day.to_string(),
                only: pairs(&[]),
            },
            Sides::Abrasive(id) => Question::Abrasive {
                id: id.clone(),
                only: pairs(&[]),
            },
        }
    }

    /// The side of every panel of the records; none where it is on neither or
    /// was not inspected and not measured.
    ///
    /// # Errors
    ///
    /// [`ChangeError`] if a column is unknown, a side is empty or the sides overlap.
    pub fn assign(&self, records: &Records) -> Result<Vec<Option<Side>>, ChangeError> {
        let within = Conditions::check(records, &self.only)?;
        self.some_within(records, &within)?;
        let sides = match &self.sides {
            Sides::Values { before, after } => by_values(records, &within, before, after)?,
            Sides::Since(day) => by_day(records, &within, *day)?,
            Sides::Abrasive(id) => by_abrasive(records, &within, id)?,
        };
        for side in [Side::Before, Side::After] {
            if !sides.contains(&Some(side)) {
                return Err(self.nobody(records, side));
            }
        }
        Ok(sides)
    }

    /// That a panel meets the conditions of both sides, and has the abrasive of
    /// the change.
    fn some_within(&self, records: &Records, within: &Conditions<'_>) -> Result<(), ChangeError> {
        let nothing = |what: String, column: &str, value: &str| {
            let found = values(records, column);
            let nearest = nearest(value, found.iter().map(String::as_str));
            Err(ChangeError::Nothing {
                what,
                found: found.into_iter().take(8).collect(),
                nearest,
            })
        };
        if let Some(first) = self.only.first()
            && !records.panels.iter().any(|p| p.inspected && within.hold(p))
        {
            let (what, ..) = describe(&[], &self.only);
            return nothing(what, &first.column, &first.value);
        }
        if let Sides::Abrasive(id) = &self.sides
            && !records
                .panels
                .iter()
                .any(|p| p.abrasive_id.as_deref() == Some(id))
        {
            return nothing(format!("abrasive_id={id}"), "abrasive_id", id);
        }
        Ok(())
    }

    fn nobody(&self, records: &Records, side: Side) -> ChangeError {
        let (what, column, value) = match (&self.sides, side) {
            (Sides::Values { before, .. }, Side::Before) => describe(before, &self.only),
            (Sides::Values { after, .. }, Side::After) => describe(after, &self.only),
            (Sides::Since(day), Side::Before) => (format!("sanded before {day}"), None, None),
            (Sides::Since(day), Side::After) => (format!("sanded on or after {day}"), None, None),
            (Sides::Abrasive(id), Side::Before) => {
                (format!("sanded before abrasive_id={id}"), None, None)
            }
            (Sides::Abrasive(id), Side::After) => (
                format!("sanded since abrasive_id={id}"),
                Some("abrasive_id".to_owned()),
                Some(id.clone()),
            ),
        };
        let found = match (column.as_deref(), &self.sides) {
            (Some(column), _) => values(records, column),
            (None, Sides::Since(_)) => first_and_last_day(records),
            _ => Vec::new(),
        };
        let nearest = value.and_then(|v| nearest(&v, found.iter().map(String::as_str)));
        ChangeError::NoPanel {
            side,
            what,
            found: found.into_iter().take(8).collect(),
            nearest,
        }
    }
}

fn describe(picks: &[Pick], only: &[Pick]) -> (String, Option<String>, Option<String>) {
    let what = picks
        .iter()
        .chain(only)
        .map(|p| format!("{}={}", p.column, p.value))
        .collect::<Vec<_>>()
        .join(", ");
    let first = picks.first();
    (
        what,
        first.map(|p| p.column.clone()),
        first.map(|p| p.value.clone()),
    )
}

/// First and last day of the records as one text, if any panel has a time.
fn first_and_last_day(records: &Records) -> Vec<String> {
    let days = || {
        let times = records.panels.iter().filter_map(|p| p.sanded_at);
        times.map(|at| at.local.date())
    };
    let both = days().min().zip(days().max());
    both.map(|(first, last)| format!("{first} to {last}"))
        .into_iter()
        .collect()
}

/// Conditions whose columns are known.
struct Conditions<'a>(Vec<(Source, &'a str)>);

impl<'a> Conditions<'a> {
    fn check(records: &Records, picks: &'a [Pick]) -> Result<Self, ChangeError> {
        picks
            .iter()
            .map(|p| Ok((Source::find(records, &p.column)?, p.value.as_str())))
            .collect::<Result<_, ChangeError>>()
            .map(Self)
    }

    fn hold(&self, panel: &Panel) -> bool {
        self.0.iter().all(|(source, value)| {
            source
                .value(panel)
                .is_some_and(|seen| same_value(&seen, value))
        })
    }
}

/// Where a value of a panel comes from: a column, or a further factor by its number.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) enum Source {
    Column(Column),
    Factor(usize),
}

impl Source {
    pub(crate) fn find(records: &Records, name: &str) -> Result<Self, ChangeError> {
        if let Some(k) = records.factor_names.iter().position(|f| f == name) {
            return Ok(Self::Factor(k));
        }
        let Some(column) = Column::from_name(name) else {
            let known = Column::NAMES
                .iter()
                .copied()
                .chain(records.factor_names.iter().map(String::as_str));
            return Err(ChangeError::UnknownColumn {
                name: name.to_owned(),
                nearest: nearest(name, known),
            });
        };
        match column {
            Column::Machine
            | Column::Head
            | Column::Fixture
            | Column::Part
            | Column::Supplier
            | Column::Lot
            | Column::LengthMm
            | Column::WidthMm
            | Column::LayDeg
            | Column::Recipe
            | Column::FeedMmS
            | Column::Passes
            | Column::ForceN
            | Column::Grit
            | Column::AbrasiveAge
            | Column::AbrasiveId
            | Column::Inspector => Ok(Self::Column(column)),
            _ => Err(ChangeError::NotAboutPanels {
                name: name.to_owned(),
            }),
        }
    }

    /// The panel's value as text.
    pub(crate) fn value(self, panel: &Panel) -> Option<String> {
        let text = |t: &Option<std::sync::Arc<str>>| t.as_deref().map(str::to_owned);
        let number = |x: Option<f64>| x.map(|x| x.to_string());
        match self {
            Self::Factor(k) => match panel.factors.get(k)?.as_ref()? {
                FactorValue::Number(x) => Some(x.to_string()),
                FactorValue::Text(t) => Some(t.to_string()),
            },
            Self::Column(Column::Machine) => text(&panel.machine),
            Self::Column(Column::Head) => text(&panel.head),
            Self::Column(Column::Fixture) => text(&panel.fixture),
            Self::Column(Column::Part) => text(&panel.part),
            Self::Column(Column::Supplier) => text(&panel.supplier),
            Self::Column(Column::Lot) => text(&panel.lot),
            Self::Column(Column::LengthMm) => Some(panel.length_mm.to_string()),
            Self::Column(Column::WidthMm) => Some(panel.width_mm.to_string()),
            Self::Column(Column::LayDeg) => Some(panel.lay.degrees().to_string()),
            Self::Column(Column::Recipe) => text(&panel.recipe),
            Self::Column(Column::FeedMmS) => number(panel.feed_mm_s),
            Self::Column(Column::Passes) => number(panel.passes),
            Self::Column(Column::ForceN) => number(panel.force_n),
            Self::Column(Column::Grit) => panel.grit.as_ref().map(|g| g.label.clone()),
            Self::Column(Column::AbrasiveAge) => number(panel.abrasive_age),
            Self::Column(Column::AbrasiveId) => text(&panel.abrasive_id),
            Self::Column(Column::Inspector) => text(&panel.inspector),
            Self::Column(_) => None,
        }
    }
}

/// Text as written, or the same number.
fn same_value(seen: &str, asked: &str) -> bool {
    if seen == asked {
        return true;
    }
    match (seen.parse::<f64>(), asked.parse::<f64>()) {
        (Ok(x), Ok(y)) => (x - y).abs() <= 1e-9 * x.abs().max(y.abs()),
        _ => false,
    }
}

fn by_values(
    records: &Records,
    within: &Conditions<'_>,
    before: &[Pick],
    after: &[Pick],
) -> Result<Vec<Option<Side>>, ChangeError> {
    for (picks, side) in [(before, Side::Before), (after, Side::After)] {
        if picks.is_empty() {
            return Err(ChangeError::NoCondition { side });
        }
    }
    let before = Conditions::check(records, before)?;
    let after = Conditions::check(records, after)?;
    let (mut overlap, mut example) = (0, None);
    let sides = records
        .panels
        .iter()
        .map(|panel| {
            if !within.hold(panel) {
                return None;
            }
            match (before.hold(panel), after.hold(panel)) {
                (true, true) => {
                    overlap += 1;
                    example.get_or_insert_with(|| panel.id.clone());
                    None
                }
                (true, false) => Some(Side::Before),
                (false, true) => Some(Side::After),
                (false, false) => None,
            }
        })
        .collect();
    match example {
        Some(example) => Err(ChangeError::Overlap {
            panels: overlap,
            example,
        }),
        None => Ok(sides),
    }
}

fn by_day(
    records: &Records,
    within: &Conditions<'_>,
    day: Date,
) -> Result<Vec<Option<Side>>, ChangeError> {
    if records.panels.iter().all(|p| p.sanded_at.is_none()) {
        return Err(ChangeError::NoTimes);
    }
    Ok(records
        .panels
        .iter()
        .map(|panel| {
            let at = panel.sanded_at?;
            within.hold(panel).then_some(if at.local.date() >= day {
                Side::After
            } else {
                Side::Before
            })
        })
        .collect())
}

fn by_abrasive(
    records: &Records,
    within: &Conditions<'_>,
    id: &str,
) -> Result<Vec<Option<Side>>, ChangeError> {
    if records.panels.iter().all(|p| p.sanded_at.is_none()) {
        return Err(ChangeError::NoTimes);
    }
    // machines that never had the abrasive stay out: they have no change
    let mut first = BTreeMap::new();
    for (k, panel) in records.panels.iter().enumerate() {
        if panel.abrasive_id.as_deref() == Some(id) {
            first.entry((&panel.machine, &panel.head)).or_insert(k);
        }
    }
    Ok(records
        .panels
        .iter()
        .enumerate()
        .map(|(k, panel)| {
            panel.sanded_at?;
            let change = *first.get(&(&panel.machine, &panel.head))?;
            within.hold(panel).then_some(if k >= change {
                Side::After
            } else {
                Side::Before
            })
        })
        .collect())
}

/// Values of a column, most frequent first, then by name.
fn values(records: &Records, column: &str) -> Vec<String> {
    let Ok(source) = Source::find(records, column) else {
        return Vec::new();
    };
    let mut count: BTreeMap<String, usize> = BTreeMap::new();
    for panel in &records.panels {
        if let Some(value) = source.value(panel) {
            *count.entry(value).or_default() += 1;
        }
    }
    let mut values: Vec<(String, usize)> = count.into_iter().collect();
    values.sort_by(|x, y| y.1.cmp(&x.1).then_with(|| x.0.cmp(&y.0)));
    values.into_iter().map(|(value, _)| value).collect()
}

/// The known word that is most like the given one, if it is alike at all.
fn nearest<'a>(given: &str, known: impl Iterator<Item = &'a str>) -> Option<String> {
    let lower = given.to_lowercase();
    known
        .map(|word| {
            (
                strsim::damerau_levenshtein(&lower, &word.to_lowercase()),
                word,
            )
        })
        // one letter for another is no slip of the pen
        .filter(|(distance, word)| {
            let letters = word.chars().count();
            *distance <= 1 + letters / 4 && *distance < letters
        })
        .min_by_key(|(distance, _)| *distance)
        .map(|(_, word)| word.to_owned())
}

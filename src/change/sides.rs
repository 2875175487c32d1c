//! Which panels are before and which are after.

use std::collections::BTreeMap;

use jiff::civil::Date;

use super::{ChangeError, Question, Side};
use crate::records::{Column, ColumnUse, FactorValue, Panel, Records, Unit};

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

/// The days that a comparison looks at.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Window {
    /// Only panels sanded on this day or later.
    pub from: Option<Date>,
    /// Only panels sanded on this day or earlier.
    pub until: Option<Date>,
}

impl Window {
    fn is_open(self) -> bool {
        self == Self::default()
    }

    /// Whether a panel was sanded in it; one without a time only where it is open.
    fn holds(self, panel: &Panel) -> bool {
        match panel.sanded_at.map(|at| at.local.date()) {
            None => self.is_open(),
            Some(day) => {
                self.from.is_none_or(|from| day >= from)
                    && self.until.is_none_or(|until| day <= until)
            }
        }
    }

    /// Its ends as they are told: name and day.
    fn ends(self) -> impl Iterator<Item = (String, String)> {
        [(FROM, self.from), (UNTIL, self.until)]
            .into_iter()
            .filter_map(|(name, day)| Some((name.to_owned(), day?.to_string())))
    }
}

/// Names of a window's ends in a [`Question`].
pub const FROM: &str = "sanded from";
/// See [`FROM`].
pub const UNTIL: &str = "sanded until";

/// The sides with conditions that hold for both.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Selection {
    /// How the panels are shared out.
    pub sides: Sides,
    /// Conditions that panels of either side must meet.
    pub only: Vec<Pick>,
    /// Days on which they were sanded.
    pub window: Window,
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
                .chain(self.window.ends())
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

    /// The same with our columns for the files' headers. A number asked for by a
    /// header is in the unit of that column in the files.
    #[must_use]
    pub fn named(&self, records: &Records) -> Self {
        let named = |picks: &[Pick]| picks.iter().map(|p| p.named(records)).collect();
        let mut out = self.clone();
        out.only = named(&self.only);
        if let Sides::Values { before, after } = &mut out.sides {
            *before = named(before);
            *after = named(after);
        }
        out
    }

    /// The side of every panel of the records; none where it is on neither or
    /// was not inspected and not measured.
    ///
    /// # Errors
    ///
    /// [`ChangeError`] if a column is unknown, a side is empty or the sides overlap.
    pub fn assign(&self, records: &Records) -> Result<Vec<Option<Side>>, ChangeError> {
        let within = Conditions::check(records, &self.only, self.window)?;
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
    fn some_within(&self, records: &Records, within: &Conditions) -> Result<(), ChangeError> {
        let nothing = |what: String, column: &str, value: &str| {
            let found = values(records, column);
            let nearest = nearest(value, found.iter().map(String::as_str));
            Err(ChangeError::Nothing {
                what,
                found: found.into_iter().take(8).collect(),
                nearest,
            })
        };
        let timed = records.panels.iter().any(|p| p.sanded_at.is_some());
        if !self.window.is_open() && !timed {
            return Err(ChangeError::NoTimes);
        }
        if !records.panels.iter().any(|p| p.inspected && within.hold(p)) {
            if let Some(first) = self.only.first() {
                return nothing(self.describe(&[]), &first.column, &first.value);
            }
            if !self.window.is_open() {
                return Err(ChangeError::Nothing {
                    what: self.describe(&[]),
                    found: first_and_last_day(records),
                    nearest: None,
                });
            }
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
        let picked = |picks: &[Pick]| {
            let first = picks.first();
            let of = |part: fn(&Pick) -> &String| first.map(|p| part(p).clone());
            (self.describe(picks), of(|p| &p.column), of(|p| &p.value))
        };
        let (what, column, value) = match (&self.sides, side) {
            (Sides::Values { before, .. }, Side::Before) => picked(before),
            (Sides::Values { after, .. }, Side::After) => picked(after),
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

    /// Conditions of a side and of both, as they are told.
    fn describe(&self, picks: &[Pick]) -> String {
        let conditions = picks.iter().chain(&self.only);
        let conditions = conditions.map(|p| format!("{}={}", p.column, p.value));
        let days = self
            .window
            .ends()
            .map(|(name, day)| format!("{name} {day}"));
        conditions.chain(days).collect::<Vec<_>>().join(", ")
    }
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
struct Conditions {
    values: Vec<(Source, String)>,
    window: Window,
}

impl Conditions {
    fn check(records: &Records, picks: &[Pick], window: Window) -> Result<Self, ChangeError> {
        let values = picks.iter().map(|p| {
            let source = Source::find(records, &p.column)?;
            Ok((source, source.in_own_unit(&p.value)))
        });
        Ok(Self {
            values: values.collect::<Result<_, ChangeError>>()?,
            window,
        })
    }

    fn hold(&self, panel: &Panel) -> bool {
        self.window.holds(panel)
            && self.values.iter().all(|(source, value)| {
                source
                    .value(panel)
                    .is_some_and(|seen| same_value(&seen, value))
            })
    }
}

/// The one unit that the files give a column in, where it is not the column's own.
fn unit_of(used: &ColumnUse) -> Option<Unit> {
    match used.units.as_slice() {
        [one] => Unit::parse(one).filter(|unit| unit.factor() != 1.0),
        _ => None,
    }
}

impl Pick {
    /// The same with our column for a header of the files, and with their unit
    /// behind a bare number; as it is where the name is ours or nobody's.
    fn named(&self, records: &Records) -> Self {
        let ours = Source::find(records, &self.column).is_ok();
        let by_header = |used: &&ColumnUse| used.headers.contains(&self.column);
        let Some(used) = records.columns.iter().find(by_header).filter(|_| !ours) else {
            return self.clone();
        };
        let unit = unit_of(used).filter(|_| number(&self.value).is_some());
        Self {
            column: used.column.clone(),
            value: unit.map_or(self.value.clone(), |unit| {
                format!("{} {}", self.value, unit.name())
            }),
        }
    }
}

/// A number with either decimal mark.
fn number(text: &str) -> Option<f64> {
    text.trim().replace(',', ".").parse().ok()
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

    /// A value with a unit behind its number, in the column's own unit; any other
    /// as it is.
    fn in_own_unit(self, value: &str) -> String {
        let Self::Column(column) = self else {
            return value.to_owned();
        };
        let unit_at = value.find(|c: char| c.is_alphabetic()).unwrap_or(0);
        let (figures, unit) = value.split_at(unit_at);
        let unit = Unit::parse(unit).filter(|unit| unit.measures(column.quantity()));
        match number(figures).zip(unit) {
            Some((x, unit)) => (x * unit.factor()).to_string(),
            None => value.to_owned(),
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
    within: &Conditions,
    before: &[Pick],
    after: &[Pick],
) -> Result<Vec<Option<Side>>, ChangeError> {
    for (picks, side) in [(before, Side::Before), (after, Side::After)] {
        if picks.is_empty() {
            return Err(ChangeError::NoCondition { side });
        }
    }
    let before = Conditions::check(records, before, Window::default())?;
    let after = Conditions::check(records, after, Window::default())?;
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
    within: &Conditions,
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
    within: &Conditions,
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

/// Values of a column in the files' unit, most frequent first, then by name.
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
    let used = records.columns.iter().find(|used| used.column == column);
    let unit = used.and_then(unit_of);
    let written = |value: String| match (value.parse::<f64>(), unit) {
        (Ok(x), Some(unit)) => {
            let rounded = (x / unit.factor() * 1e6).round() / 1e6;
            format!("{rounded} {}", unit.name())
        }
        _ => value,
    };
    values
        .into_iter()
        .map(|(value, _)| written(value))
        .collect()
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

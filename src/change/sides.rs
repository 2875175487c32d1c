//! Which panels are before and which are after.

use std::collections::BTreeMap;

use jiff::civil::Date;

use super::picks::{Pick, Source, nearest, same_value, values};
use super::{ChangeError, Question, Side};
use crate::records::{Panel, Records};

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

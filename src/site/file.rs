//! The site file as written, checked once and turned into [`Site`].

use std::collections::BTreeMap;
use std::path::Path;

use serde::Deserialize;
use toml::Spanned;

use super::error::nearest;
use super::{
    Analysis, Corner, Dates, Defects, Factor, FactorKind, FeedDirection, Frames, Identity, Limits,
    Numbers, Reading, RecipeSettings, ReportStyle, Site, SiteError,
};
use crate::columns::{Column, Conversion, GritScale, Quantity};

#[derive(Debug, Default, Deserialize)]
#[serde(deny_unknown_fields, default)]
struct SiteFile {
    site: Identity,
    columns: BTreeMap<Spanned<String>, Headers>,
    units: BTreeMap<Spanned<String>, Conversion>,
    numbers: Numbers,
    dates: Dates,
    grit: GritSection,
    defects: Defects,
    frames: FramesSection,
    factors: BTreeMap<Spanned<String>, FactorKind>,
    possible: BTreeMap<Spanned<String>, Limits>,
    names: BTreeMap<Spanned<String>, BTreeMap<String, Vec<String>>>,
    recipe: RecipeSettings,
    analysis: Analysis,
    report: ReportStyle,
    read: Reading,
}

#[derive(Debug, Deserialize)]
#[serde(untagged, expecting = "a header, or a list of headers")]
enum Headers {
    One(String),
    Many(Vec<String>),
}

#[derive(Debug, Default, Deserialize)]
#[serde(deny_unknown_fields, default)]
struct GritSection {
    scale: Option<GritScale>,
}

#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields, default)]
struct FramesSection {
    origin: Option<Corner>,
    y: Option<YDirection>,
    edge_slack_mm: f64,
    feed_direction: FeedDirection,
    inspectors: BTreeMap<String, Corner>,
}

impl Default for FramesSection {
    fn default() -> Self {
        let frames = Frames::default();
        Self {
            origin: None,
            y: None,
            edge_slack_mm: frames.edge_slack_mm,
            feed_direction: frames.feed_direction,
            inspectors: frames.inspectors,
        }
    }
}

#[derive(Debug, Clone, Copy, PartialEq, Eq, Deserialize)]
#[serde(rename_all = "kebab-case")]
enum YDirection {
    Up,
    Down,
}

impl Site {
    /// Reads a site file.
    ///
    /// # Errors
    ///
    /// [`SiteError`] if it cannot be read or holds anything not understood.
    pub fn load(path: &Path) -> Result<Site, SiteError> {
        let text = std::fs::read_to_string(path).map_err(|source| SiteError::Io {
            path: path.to_owned(),
            source,
        })?;
        let mut site = Site::parse(&text, path)?;
        if let (Some(actions), Some(folder)) = (&mut site.report.actions, path.parent()) {
            *actions = folder.join(&actions);
        }
        Ok(site)
    }

    /// Reads the text of a site file; `path` is named in errors.
    ///
    /// # Errors
    ///
    /// [`SiteError::Content`] with line and suggestion.
    pub fn parse(text: &str, path: &Path) -> Result<Site, SiteError> {
        let complain =
            |at: usize, message: String, suggestion: Option<String>| SiteError::Content {
                path: path.to_owned(),
                line: line_of(text, at),
                message,
                suggestion,
            };
        let file: SiteFile = toml::from_str(text).map_err(|error| {
            let message = in_words(error.message());
            let suggestion = suggestion(&message);
            complain(
                error.span().map_or(0, |span| span.start),
                message,
                suggestion,
            )
        })?;
        let section = |name: &str| section_start(text, name);

        let mut factors: Vec<(usize, Factor)> = Vec::new();
        for (name, kind) in &file.factors {
            if Column::from_name(name.get_ref()).is_some() {
                return Err(complain(
                    name.span().start,
                    format!(
                        "`{}` is a column already, not a further factor",
                        name.get_ref()
                    ),
                    None,
                ));
            }
            factors.push((
                name.span().start,
                Factor {
                    name: name.get_ref().clone(),
                    kind: *kind,
                },
            ));
        }
        factors.sort_by_key(|(at, _)| *at);
        let factors: Vec<Factor> = factors.into_iter().map(|(_, factor)| factor).collect();
        let is_factor = |name: &str| factors.iter().any(|f| f.name == name);
        let known = || {
            Column::NAMES
                .into_iter()
                .chain(factors.iter().map(|f| f.name.as_str()))
        };

        let mut columns = BTreeMap::new();
        let mut taken: BTreeMap<String, String> = BTreeMap::new();
        for (name, headers) in file.columns {
            let at = name.span().start;
            let name = name.into_inner();
            if Column::from_name(&name).is_none() && !is_factor(&name) {
                let near = nearest(&name, known()).map(|n| format!("`{n}`"));
                return Err(complain(
                    at,
                    format!(
                        "unknown column `{name}` under [columns] (further factors are named under [factors] first)"
                    ),
                    near,
                ));
            }
            let headers = match headers {
                Headers::One(one) => vec![one],
                Headers::Many(many) => many,
            };
            for header in &headers {
                if let Some(other) = taken.insert(header.trim().to_lowercase(), name.clone())
                    && other != name
                {
                    return Err(complain(
                        at,
                        format!("the header `{header}` is given for both `{other}` and `{name}`"),
                        None,
                    ));
                }
            }
            columns.insert(name, headers);
        }

        let mut units = BTreeMap::new();
        for (name, conversion) in file.units {
            let at = name.span().start;
            let Some(column) = Column::from_name(name.get_ref()) else {
                let near = nearest(name.get_ref(), Column::NAMES).map(|n| format!("`{n}`"));
                return Err(complain(
                    at,
                    format!("unknown column `{}` under [units]", name.get_ref()),
                    near,
                ));
            };
            let fits = match conversion {
                Conversion::Unit(unit) => unit.measures(column.quantity()),
                Conversion::Line { offset, slope } => {
                    column.quantity() == Quantity::Force && offset.is_finite() && slope.is_finite()
                }
            };
            if !fits {
                return Err(complain(
                    at,
                    format!(
                        "`{}` cannot be recorded in that unit; its own is {}",
                        column.name(),
                        column.unit()
                    ),
                    None,
                ));
            }
            units.insert(column, conversion);
        }

        let mut possible = BTreeMap::new();
        for (name, limits) in file.possible {
            let at = name.span().start;
            let name = name.into_inner();
            let range = match Column::from_name(&name) {
                Some(column) => column.possible(),
                None if is_factor(&name) => Some((f64::NEG_INFINITY, f64::INFINITY)),
                None => {
                    let near = nearest(&name, known()).map(|n| format!("`{n}`"));
                    let message = format!("unknown column `{name}` under [possible]");
                    return Err(complain(at, message, near));
                }
            };
            let Some((low, high)) = range else {
                let message = format!("`{name}` holds no numbers of a range, so none can be set");
                return Err(complain(at, message, None));
            };
            let (low, high) = (limits.low.unwrap_or(low), limits.high.unwrap_or(high));
            if low.is_nan() || high.is_nan() || low >= high {
                let message = format!("`{name}`: low must be below high");
                return Err(complain(at, message, None));
            }
            possible.insert(name, limits);
        }

        let mut names = BTreeMap::new();
        for (name, joined) in file.names {
            let at = name.span().start;
            match Column::from_name(name.get_ref()).filter(|c| c.has_names()) {
                Some(column) => names.insert(column, joined),
                None => {
                    let known = Column::ALL.into_iter().filter(|c| c.has_names());
                    let near = nearest(name.get_ref(), known.map(Column::name));
                    return Err(complain(
                        at,
                        format!("`{}` under [names] is no column of names", name.get_ref()),
                        near.map(|n| format!("`{n}`")),
                    ));
                }
            };
        }

        let origin = match (file.frames.origin, file.frames.y) {
            (None, None | Some(YDirection::Up)) => Corner::LowerLeft,
            (None, Some(YDirection::Down)) => Corner::UpperLeft,
            (Some(corner), None) => corner,
            (Some(corner @ (Corner::LowerLeft | Corner::LowerRight)), Some(YDirection::Up))
            | (Some(corner @ (Corner::UpperLeft | Corner::UpperRight)), Some(YDirection::Down)) => {
                corner
            }
            (Some(_), Some(_)) => {
                return Err(complain(
                    section("frames"),
                    "`origin` and `y` contradict each other: from a lower corner y runs up, from an upper corner down".into(),
                    None,
                ));
            }
        };
        let site = Site {
            site: file.site,
            columns,
            units,
            numbers: file.numbers,
            dates: file.dates,
            grit_scale: file.grit.scale,
            possible,
            names,
            defects: file.defects,
            frames: Frames {
                origin,
                inspectors: file.frames.inspectors,
                edge_slack_mm: file.frames.edge_slack_mm,
                feed_direction: file.frames.feed_direction,
            },
            factors,
            recipe: file.recipe,
            analysis: file.analysis,
            report: file.report,
            read: file.read,
        };
        site.check_ranges()
            .map_err(|(name, message)| complain(section(name), message, None))?;
        Ok(site)
    }

    /// The range of every number; the section and what is wrong otherwise.
    fn check_ranges(&self) -> Result<(), (&'static str, String)> {
        let share = |name: &str, value: f64| {
            if value > 0.0 && value < 1.0 {
                Ok(())
            } else {
                Err((
                    "analysis",
                    format!("`{name}` must lie between 0 and 1, not {value}"),
                ))
            }
        };
        share("alpha", self.analysis.alpha)?;
        share("confidence", self.analysis.confidence)?;
        share("ratio_of_interest", self.analysis.ratio_of_interest)?;
        share("power", self.analysis.power)?;
        if !(self.analysis.non_inferiority_margin >= 1.0
            && self.analysis.non_inferiority_margin.is_finite())
        {
            return Err((
                "analysis",
                "`non_inferiority_margin` is a ratio of at least 1".into(),
            ));
        }
        if !(self.analysis.shift_hours >= 1.0 && self.analysis.shift_hours <= 24.0) {
            return Err(("analysis", "`shift_hours` must lie between 1 and 24".into()));
        }
        if !(self.frames.edge_slack_mm >= 0.0 && self.frames.edge_slack_mm.is_finite()) {
            return Err(("frames", "`edge_slack_mm` must be 0 or more".into()));
        }
        let recipe = &self.recipe;
        for (name, value) in [
            ("target_removed_um", recipe.target_removed_um),
            ("min_removed_um", recipe.min_removed_um),
            ("max_removed_um", recipe.max_removed_um),
            ("film_left_min_um", recipe.film_left_min_um),
            ("force_cap_n", recipe.force_cap_n),
            ("line_pitch_mm", recipe.line_pitch_mm),
            ("path_length_mm", recipe.path_length_mm),
            ("handling_s", recipe.handling_s),
        ] {
            if value.is_some_and(|v| !(v >= 0.0 && v.is_finite())) {
                return Err(("recipe", format!("`{name}` must be 0 or more")));
            }
        }
        for (name, limits) in &recipe.limits {
            if Column::from_name(name).is_none() && !self.factors.iter().any(|f| &f.name == name) {
                return Err((
                    "recipe.limits",
                    format!("`{name}` is neither a column nor a factor of [factors]"),
                ));
            }
            if let (Some(low), Some(high)) = (limits.low, limits.high)
                && low > high
            {
                return Err(("recipe.limits", format!("`{name}`: low is above high")));
            }
        }
        for (name, cost) in &self.defects.cost {
            if !(*cost >= 0.0 && cost.is_finite()) {
                return Err(("defects.cost", format!("`{name}` must cost 0 or more")));
            }
        }
        if let Some(thousands) = self.numbers.thousands
            && ![',', '.', '\'', ' ', '\u{a0}', '\u{202f}'].contains(&thousands)
        {
            return Err(("numbers", "`thousands` is one of , . ' or a space".into()));
        }
        if let Some(zone) = &self.site.time_zone
            && crate::columns::time_zone(zone).is_none()
        {
            return Err((
                "site",
                format!(
                    "`time_zone` \"{zone}\" is not known; use a name such as \"Europe/Berlin\" or an offset such as \"+01:00\""
                ),
            ));
        }
        if self.read.max_unpacked_mb == 0 {
            return Err(("read", "`max_unpacked_mb` must be 1 or more".into()));
        }
        if !self.read.panel_key.contains(&super::KeyPart::PanelId) {
            return Err(("read", "`panel_key` must contain \"panel_id\"".into()));
        }
        if let Some(pattern) = &self.read.panel_id_from_file
            && pattern.matches("{panel_id}").count() != 1
        {
            return Err((
                "read",
                "`panel_id_from_file` must contain {panel_id} once".into(),
            ));
        }
        Ok(())
    }
}

/// The message in words of the site file, not of the code.
fn in_words(message: &str) -> String {
    let mut message = message.trim().to_owned();
    for (code, word) in [
        ("expected f64", "expected a number"),
        ("expected u64", "expected a whole number"),
        ("expected usize", "expected a whole number"),
        (
            "expected a time string",
            "expected a time such as \"06:00\"",
        ),
        ("unknown field", "unknown key"),
        ("unknown variant", "unknown value"),
    ] {
        message = message.replace(code, word);
    }
    message
}

/// Line of a byte, from 1.
fn line_of(text: &str, at: usize) -> usize {
    1 + text.bytes().take(at).filter(|b| *b == b'\n').count()
}

/// Byte where `[name]` stands, 0 where the section is written otherwise.
fn section_start(text: &str, name: &str) -> usize {
    let mut at = 0;
    for line in text.split_inclusive('\n') {
        if line.trim().starts_with(&format!("[{name}]")) {
            return at;
        }
        at += line.len();
    }
    0
}

/// The nearest known name out of "unknown key `x`, expected one of `a`, `b`".
fn suggestion(message: &str) -> Option<String> {
    if !message.starts_with("unknown key") && !message.starts_with("unknown value") {
        return None;
    }
    let mut quoted = message.split('`').skip(1).step_by(2);
    let wrong = quoted.next()?;
    let known: Vec<&str> = quoted.collect();
    nearest(wrong, known).map(|name| format!("`{name}`"))
}

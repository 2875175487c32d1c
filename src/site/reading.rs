//! Sections of the site file that say how its files are to be read.

use std::collections::BTreeMap;

use serde::Deserialize;

/// `[site]`.
#[derive(Debug, Clone, PartialEq, Default, Deserialize)]
#[serde(deny_unknown_fields, default)]
pub struct Identity {
    /// Name of the site, printed on the report.
    pub name: Option<String>,
    /// Author of the report, a field of the PDF.
    pub author: Option<String>,
    /// Time zone of times without one: a name of the tz database
    /// (`Europe/Berlin`) or a fixed offset (`+01:00`).
    pub time_zone: Option<String>,
}

/// `[numbers]`.
#[derive(Debug, Clone, PartialEq, Deserialize)]
#[serde(deny_unknown_fields, default)]
pub struct Numbers {
    /// The decimal mark.
    pub decimal: Decimal,
    /// The mark between thousands, where one is written: `,` `.` `'` or a space.
    pub thousands: Option<char>,
    /// The encoding of text files.
    pub encoding: Encoding,
    /// The mark between cells.
    pub delimiter: Delimiter,
    /// What stands for "no value", besides a blank cell; case does not matter.
    pub missing: Vec<String>,
}

impl Default for Numbers {
    fn default() -> Self {
        Self {
            decimal: Decimal::default(),
            thousands: None,
            encoding: Encoding::default(),
            delimiter: Delimiter::default(),
            missing: ["na", "n/a", "null", "none", "-", "--", "–", "—", "#n/a"]
                .map(String::from)
                .to_vec(),
        }
    }
}

/// The decimal mark of the files.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Decimal {
    /// A comma where cells are parted by `;` or tab and the numbers show it,
    /// else a point.
    #[default]
    Auto,
    /// `12.5`.
    Point,
    /// `12,5`.
    Comma,
}

/// The encoding of text files.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Encoding {
    /// UTF-8, UTF-16 by its byte order mark, Windows-1252 where the bytes are
    /// not UTF-8.
    #[default]
    Auto,
    /// UTF-8 only.
    #[serde(rename = "utf-8")]
    Utf8,
    /// UTF-16, little end first unless a byte order mark says otherwise.
    #[serde(rename = "utf-16")]
    Utf16,
    /// Windows-1252.
    #[serde(rename = "windows-1252")]
    Windows1252,
}

/// The mark between cells.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Delimiter {
    /// Whichever of comma, semicolon and tab the header line uses.
    #[default]
    Auto,
    /// `,`
    Comma,
    /// `;`
    Semicolon,
    /// Tab.
    Tab,
}

/// `[dates]`.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Deserialize)]
#[serde(deny_unknown_fields, default)]
pub struct Dates {
    /// The order of day and month in dates such as 03/04/2026.
    pub order: DateOrder,
    /// The last day that a date may have; later ones are told. None: today.
    pub latest: Option<jiff::civil::Date>,
}

/// The order of day, month and year.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum DateOrder {
    /// Year first only; anything else is not read.
    #[default]
    Iso,
    /// `03/04/2026` is the third of April.
    DayFirst,
    /// `03/04/2026` is the fourth of March.
    MonthFirst,
}

/// `[frames]`.
#[derive(Debug, Clone, PartialEq)]
pub struct Frames {
    /// The panel's corner that places are measured from, into the panel.
    /// Default lower left.
    pub origin: Corner,
    /// The same for single inspectors or stations, by the name in `inspector`.
    pub inspectors: BTreeMap<String, Corner>,
    /// How far outside its panel a mark may lie and still be moved to the
    /// edge, mm ≥ 0. Default 5.
    pub edge_slack_mm: f64,
    /// Along which machine axis the panels feed; for drawings. Default x.
    pub feed_direction: FeedDirection,
}

impl Default for Frames {
    fn default() -> Self {
        Self {
            origin: Corner::default(),
            inspectors: BTreeMap::new(),
            edge_slack_mm: 5.0,
            feed_direction: FeedDirection::default(),
        }
    }
}

/// A corner of the panel, seen from above with its length along x.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Corner {
    /// x to the right, y up.
    #[default]
    LowerLeft,
    /// x to the left, y up.
    LowerRight,
    /// x to the right, y down, as in images.
    UpperLeft,
    /// x to the left, y down.
    UpperRight,
}

impl Corner {
    /// Turns a place measured from this corner into the panel frame of a
    /// panel of `length` × `width`, all in mm.
    #[must_use]
    pub fn to_panel(self, x: f64, y: f64, length: f64, width: f64) -> (f64, f64) {
        match self {
            Corner::LowerLeft => (x, y),
            Corner::LowerRight => (length - x, y),
            Corner::UpperLeft => (x, width - y),
            Corner::UpperRight => (length - x, width - y),
        }
    }
}

/// Along which machine axis the panels feed.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum FeedDirection {
    /// Along machine x.
    #[default]
    X,
    /// Along machine y.
    Y,
}

/// A further recipe factor.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Factor {
    /// The factor's name, also its column unless `[columns]` says otherwise.
    pub name: String,
    /// What its values are.
    pub kind: FactorKind,
}

/// What the values of a further factor are.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum FactorKind {
    /// A number.
    Number,
    /// A level.
    Text,
}

/// `[read]`.
#[derive(Debug, Clone, PartialEq, Deserialize)]
#[serde(deny_unknown_fields, default)]
pub struct Reading {
    /// The most that all packed files of a run (gzip and Parquet) may take
    /// together, unpacked and read, MB; a row takes about 0.3 kB. Default 1024.
    pub max_unpacked_mb: u64,
    /// Whether panels that carry the marks of others are different
    /// panels. Default false: they count once.
    pub copies_are_real: bool,
    /// Where the panel's id stands in the file's name, without its ending:
    /// `{panel_id}`, with `*` for anything; none by default.
    pub panel_id_from_file: Option<String>,
    /// What makes a panel's id, joined by a space. Default: `panel_id` alone.
    pub panel_key: Vec<KeyPart>,
}

impl Default for Reading {
    fn default() -> Self {
        Self {
            max_unpacked_mb: 1024,
            copies_are_real: false,
            panel_id_from_file: None,
            panel_key: vec![KeyPart::PanelId],
        }
    }
}

/// A part of a panel's id.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum KeyPart {
    /// The column `panel_id`.
    PanelId,
    /// The local date of `sanded_at`.
    Date,
    /// The local date and shift of `sanded_at` by `[analysis]`; `2026-11-23.1`.
    Shift,
    /// The column `machine`.
    Machine,
    /// The column `lot`.
    Lot,
}

//! How the report looks.

use std::path::PathBuf;

use serde::Deserialize;

/// `[report]`.
#[derive(Debug, Clone, PartialEq, Eq, Default, Deserialize)]
#[serde(deny_unknown_fields, default)]
pub struct ReportStyle {
    /// The paper. Default A4.
    pub paper: Paper,
    /// The language of the report. Default English.
    pub language: Language,
    /// The decimal mark of the report's text. Default a point.
    pub decimal_mark: DecimalMark,
    /// How the report writes dates. Default year first.
    pub date_style: DateStyle,
    /// The file in which the site writes down what was done about findings; a
    /// relative path counts from the site file's folder. Default none.
    pub actions: Option<PathBuf>,
}

/// The paper.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Paper {
    /// ISO 216 A4, 210 × 297 mm.
    #[default]
    A4,
    /// US Letter, 8.5 × 11 in.
    Letter,
}

/// The language of the report.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Deserialize)]
pub enum Language {
    /// English.
    #[default]
    #[serde(rename = "en")]
    English,
}

/// The decimal mark.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum DecimalMark {
    /// `12.5`.
    #[default]
    Point,
    /// `12,5`.
    Comma,
}

/// How dates are written.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum DateStyle {
    /// `2026-11-23`.
    #[default]
    Iso,
    /// `23 Nov 2026`.
    DayFirst,
    /// `Nov 23, 2026`.
    MonthFirst,
}

//! The columns that onus reads: the one place where their names exist.

use serde::{Deserialize, Deserializer, Serialize, Serializer};

/// A column of the input.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord)]
#[expect(
    missing_docs,
    reason = "each is its column, listed with its meaning in meaning()"
)]
pub enum Column {
    PanelId,
    SandedAt,
    Machine,
    Head,
    Fixture,
    Part,
    Supplier,
    Lot,
    LengthMm,
    WidthMm,
    LayDeg,
    LayXMm,
    LayYMm,
    Recipe,
    FeedMmS,
    Passes,
    ForceN,
    Grit,
    AbrasiveAge,
    AbrasiveId,
    Plan,
    PlanBlock,
    PlanRun,
    PlanChange,
    Inspector,
    InspectedAt,
    InspectLayDeg,
    Inspection,
    XMm,
    YMm,
    Defect,
    AreaMm2,
    Severity,
    RemovedUm,
    FilmUm,
}

/// What a column's values are.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Quantity {
    /// Free text.
    Text,
    /// A time: RFC 3339, or local time by the site's zone.
    Time,
    /// A length in mm, of any sign.
    Length,
    /// A length in mm, above 0.
    Size,
    /// A speed in mm/s, above 0.
    Speed,
    /// A force in N, above 0.
    Force,
    /// A thickness in µm, of any sign.
    Thickness,
    /// An area in mm², 0 or more.
    Area,
    /// A count above 0.
    Passes,
    /// A count from 0.
    Age,
    /// A whole number from 1.
    Ordinal,
    /// A grade from 1 to 5.
    Grade,
    /// 0, 90, 180 or 270 degrees.
    Lay,
    /// `P320`, or a number on the site's scale.
    Grit,
}

/// What a column says something about.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum About {
    /// The panel and how it was sanded: every row must say the same.
    Panel,
    /// One inspection of the panel: may differ between inspections.
    Inspection,
    /// One place on the panel: each row its own.
    Place,
}

impl Column {
    /// All columns, in the order they are documented.
    pub const ALL: [Column; 35] = [
        Column::PanelId,
        Column::SandedAt,
        Column::Machine,
        Column::Head,
        Column::Fixture,
        Column::Part,
        Column::Supplier,
        Column::Lot,
        Column::LengthMm,
        Column::WidthMm,
        Column::LayDeg,
        Column::LayXMm,
        Column::LayYMm,
        Column::Recipe,
        Column::FeedMmS,
        Column::Passes,
        Column::ForceN,
        Column::Grit,
        Column::AbrasiveAge,
        Column::AbrasiveId,
        Column::Plan,
        Column::PlanBlock,
        Column::PlanRun,
        Column::PlanChange,
        Column::Inspector,
        Column::InspectedAt,
        Column::InspectLayDeg,
        Column::Inspection,
        Column::XMm,
        Column::YMm,
        Column::Defect,
        Column::AreaMm2,
        Column::Severity,
        Column::RemovedUm,
        Column::FilmUm,
    ];

    /// The names of all columns, in the same order as `ALL`.
    pub const NAMES: [&'static str; Self::ALL.len()] = {
        let mut names = [""; Self::ALL.len()];
        let mut i = 0;
        while i < names.len() {
            names[i] = Column::ALL[i].name();
            i += 1;
        }
        names
    };

    /// The name as files, the site file and the report spell it.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Column::PanelId => "panel_id",
            Column::SandedAt => "sanded_at",
            Column::Machine => "machine",
            Column::Head => "head",
            Column::Fixture => "fixture",
            Column::Part => "part",
            Column::Supplier => "supplier",
            Column::Lot => "lot",
            Column::LengthMm => "length_mm",
            Column::WidthMm => "width_mm",
            Column::LayDeg => "lay_deg",
            Column::LayXMm => "lay_x_mm",
            Column::LayYMm => "lay_y_mm",
            Column::Recipe => "recipe",
            Column::FeedMmS => "feed_mm_s",
            Column::Passes => "passes",
            Column::ForceN => "force_n",
            Column::Grit => "grit",
            Column::AbrasiveAge => "abrasive_age",
            Column::AbrasiveId => "abrasive_id",
            Column::Plan => "plan",
            Column::PlanBlock => "plan_block",
            Column::PlanRun => "plan_run",
            Column::PlanChange => "plan_change",
            Column::Inspector => "inspector",
            Column::InspectedAt => "inspected_at",
            Column::InspectLayDeg => "inspect_lay_deg",
            Column::Inspection => "inspection",
            Column::XMm => "x_mm",
            Column::YMm => "y_mm",
            Column::Defect => "defect",
            Column::AreaMm2 => "area_mm2",
            Column::Severity => "severity",
            Column::RemovedUm => "removed_um",
            Column::FilmUm => "film_um",
        }
    }

    /// The column of that exact name.
    #[must_use]
    pub fn from_name(name: &str) -> Option<Column> {
        Column::ALL.into_iter().find(|c| c.name() == name)
    }

    /// The name without its unit: `x` for `x_mm`; none where the name has no
    /// unit in it.
    #[must_use]
    pub fn name_without_unit(self) -> Option<&'static str> {
        let unit = match self.quantity() {
            Quantity::Length | Quantity::Size => "_mm",
            Quantity::Speed => "_mm_s",
            Quantity::Force => "_n",
            Quantity::Thickness => "_um",
            Quantity::Area => "_mm2",
            Quantity::Lay => "_deg",
            Quantity::Text
            | Quantity::Time
            | Quantity::Passes
            | Quantity::Age
            | Quantity::Ordinal
            | Quantity::Grade
            | Quantity::Grit => return None,
        };
        self.name().strip_suffix(unit)
    }

    /// What its values are.
    #[must_use]
    pub const fn quantity(self) -> Quantity {
        match self {
            Column::PanelId
            | Column::Machine
            | Column::Head
            | Column::Fixture
            | Column::Part
            | Column::Supplier
            | Column::Lot
            | Column::Recipe
            | Column::AbrasiveId
            | Column::Plan
            | Column::PlanChange
            | Column::Inspector
            | Column::Defect => Quantity::Text,
            Column::SandedAt | Column::InspectedAt => Quantity::Time,
            Column::LengthMm | Column::WidthMm => Quantity::Size,
            Column::LayXMm | Column::LayYMm | Column::XMm | Column::YMm => Quantity::Length,
            Column::LayDeg | Column::InspectLayDeg => Quantity::Lay,
            Column::FeedMmS => Quantity::Speed,
            Column::Passes => Quantity::Passes,
            Column::ForceN => Quantity::Force,
            Column::Grit => Quantity::Grit,
            Column::AbrasiveAge => Quantity::Age,
            Column::Inspection | Column::PlanBlock | Column::PlanRun => Quantity::Ordinal,
            Column::AreaMm2 => Quantity::Area,
            Column::Severity => Quantity::Grade,
            Column::RemovedUm | Column::FilmUm => Quantity::Thickness,
        }
    }

    /// What it says something about.
    #[must_use]
    pub const fn about(self) -> About {
        match self {
            Column::Inspector
            | Column::InspectedAt
            | Column::InspectLayDeg
            | Column::Inspection => About::Inspection,
            Column::XMm
            | Column::YMm
            | Column::Defect
            | Column::AreaMm2
            | Column::Severity
            | Column::RemovedUm
            | Column::FilmUm => About::Place,
            _ => About::Panel,
        }
    }

    /// Whether its texts are names whose spellings a site may join.
    #[must_use]
    pub const fn has_names(self) -> bool {
        matches!(
            self,
            Column::Machine
                | Column::Head
                | Column::Fixture
                | Column::Part
                | Column::Supplier
                | Column::Lot
                | Column::Recipe
                | Column::AbrasiveId
                | Column::Inspector
        )
    }

    /// Whether it places or counts: a bad value costs the row, not only the
    /// value.
    #[must_use]
    pub const fn places_or_counts(self) -> bool {
        matches!(
            self,
            Column::PanelId
                | Column::XMm
                | Column::YMm
                | Column::LengthMm
                | Column::WidthMm
                | Column::LayDeg
                | Column::LayXMm
                | Column::LayYMm
                | Column::Inspection
        )
    }

    /// Its unit, or the kind of value it takes, as documented.
    #[must_use]
    pub const fn unit(self) -> &'static str {
        match self.quantity() {
            Quantity::Text => "text",
            Quantity::Time => "RFC 3339 time, or local time by the site's zone",
            Quantity::Length | Quantity::Size => "mm",
            Quantity::Speed => "mm/s",
            Quantity::Force => "N",
            Quantity::Thickness => "µm",
            Quantity::Area => "mm²",
            Quantity::Passes => "count",
            Quantity::Age => "panels",
            Quantity::Ordinal => "1, 2, …",
            Quantity::Grade => "1–5",
            Quantity::Lay => "0, 90, 180, 270",
            Quantity::Grit => "P320, or a number on the site's scale",
        }
    }

    /// Between which values a number of this column is possible, in its unit:
    /// far wider than any panel or setting of the trade, so that what lies
    /// beyond is a slip or a wrong unit for sure (common practice, no source).
    /// None where the column holds no number or has a rule of its own; the
    /// site file may say otherwise under `[possible]`.
    #[must_use]
    pub const fn possible(self) -> Option<(f64, f64)> {
        match self {
            Column::LengthMm | Column::WidthMm => Some((1.0, 50_000.0)),
            Column::LayXMm | Column::LayYMm | Column::XMm | Column::YMm => {
                Some((-100_000.0, 100_000.0))
            }
            Column::FeedMmS => Some((0.02, 50_000.0)),
            Column::Passes => Some((0.05, 1_000.0)),
            Column::ForceN => Some((0.01, 20_000.0)),
            Column::AbrasiveAge => Some((0.0, 1_000_000.0)),
            Column::AreaMm2 => Some((0.0, 1e9)),
            Column::RemovedUm => Some((-20_000.0, 20_000.0)),
            Column::FilmUm => Some((0.0, 50_000.0)),
            _ => None,
        }
    }

    /// Between which values a number of this column usually lies, in its unit; what
    /// lies outside is warned of, and is planned only where the site file allows it
    /// (common practice, no source). None where nothing is usual.
    #[must_use]
    pub const fn usual(self) -> Option<(f64, f64)> {
        match self {
            Column::LengthMm | Column::WidthMm => Some((60.0, 10_000.0)),
            Column::FeedMmS => Some((5.0, 1000.0)),
            Column::Passes => Some((1.0, 12.0)),
            Column::ForceN => Some((2.0, 200.0)),
            Column::RemovedUm => Some((1.5, 1000.0)),
            Column::FilmUm => Some((8.0, 3000.0)),
            _ => None,
        }
    }

    /// What it means, in a sentence.
    #[must_use]
    pub const fn meaning(self) -> &'static str {
        match self {
            Column::PanelId => {
                "identifies the panel; required in every row (a one-panel file may carry it in its name, see [read] in the site file)"
            }
            Column::SandedAt => "when the panel was sanded; orders the panels",
            Column::Machine => "which cell sanded it",
            Column::Head => "which sanding head of the cell",
            Column::Fixture => "which nest or stop the panel lay in",
            Column::Part => "part number or design",
            Column::Supplier => "who supplied the incoming part",
            Column::Lot => "incoming lot",
            Column::LengthMm => "panel size along x; required for every panel",
            Column::WidthMm => "panel size along y; required for every panel",
            Column::LayDeg => {
                "how the panel lay in the cell, turned counter-clockwise; 0 if absent"
            }
            Column::LayXMm => {
                "where the lower-left corner of the panel as it lay is in the machine frame, along x; 0 (the stop corner) if absent"
            }
            Column::LayYMm => "the same along y",
            Column::Recipe => "name of the recipe",
            Column::FeedMmS => "feed speed of the head over the panel",
            Column::Passes => "passes over the surface",
            Column::ForceN => "contact force of the head",
            Column::Grit => "abrasive grit; FEPA P and CAMI scales are different",
            Column::AbrasiveAge => "panels sanded on this abrasive before this one; 0 = fresh",
            Column::AbrasiveId => "which disc, belt or batch",
            Column::Plan => "the planned trial it belongs to, as `onus plan` wrote it",
            Column::PlanBlock => {
                "block of the plan: panels of one block are compared with each other"
            }
            Column::PlanRun => "its place in the order of the plan",
            Column::PlanChange => {
                "old and new of a plan by turns, and the defect: recipe=A,B: swirl"
            }
            Column::Inspector => "who or what inspected",
            Column::InspectedAt => "when it was inspected",
            Column::InspectLayDeg => "how the panel lay at the inspection table",
            Column::Inspection => {
                "1 = first inspection; later ones (after rework) are kept out of rates"
            }
            Column::XMm => "where on the panel, along its length, from its datum corner",
            Column::YMm => "where on the panel, along its width, from its datum corner",
            Column::Defect => "kind of defect seen there; blank = none",
            Column::AreaMm2 => "size of the defect",
            Column::Severity => "grade of the defect",
            Column::RemovedUm => {
                "removal measured there; zero and negative values are honest readings"
            }
            Column::FilmUm => "film thickness before sanding, there",
        }
    }
}

impl Serialize for Column {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        serializer.serialize_str(self.name())
    }
}

impl<'de> Deserialize<'de> for Column {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        let name = std::borrow::Cow::<'de, str>::deserialize(deserializer)?;
        Column::from_name(&name)
            .ok_or_else(|| serde::de::Error::unknown_variant(&name, &Column::NAMES))
    }
}

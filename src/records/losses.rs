//! What did not fit: rejects and warnings.

use std::path::PathBuf;

use super::{Defect, Panel, Reading};

/// How much a reject took with it.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub enum Lost {
    /// One value; the row stays.
    Value,
    /// The row.
    Row,
    /// The panel with all its rows.
    Panel,
    /// The file.
    File,
}

impl Lost {
    /// As `rejects.csv` spells it.
    #[must_use]
    pub fn name(self) -> &'static str {
        match self {
            Lost::Value => "value",
            Lost::Row => "row",
            Lost::Panel => "panel",
            Lost::File => "file",
        }
    }
}

/// One line of `rejects.csv`.
#[derive(Debug, Clone, PartialEq)]
pub struct Reject {
    /// The file as the user would find it.
    pub file: PathBuf,
    /// Physical line where the record starts, the header being line 1; none
    /// when the whole file went.
    pub line: Option<u64>,
    /// The column as the file spells it, where one is to blame.
    pub column: Option<String>,
    /// The value as written, where one is to blame.
    pub value: Option<String>,
    /// What was lost.
    pub lost: Lost,
    /// Why, in a sentence that says what to do.
    pub why: String,
}

/// A doubt about the data, one entry of `warnings` in `findings.json`.
#[derive(Debug, Clone, PartialEq)]
pub struct Warning {
    /// Which doubt.
    pub code: WarningCode,
    /// In a sentence.
    pub text: String,
    /// The file it is about, where it is one.
    pub file: Option<PathBuf>,
}

/// The codes of `warnings` in `findings.json`.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord)]
#[expect(
    missing_docs,
    reason = "each is its code, listed with its meaning in code()"
)]
pub enum WarningCode {
    NoCleanPanels,
    OneLay,
    OneLot,
    FewPanels,
    OnePanelDominates,
    InspectorsDiffer,
    StationMirrored,
    ZoneClicks,
    RecordingCutOff,
    PlaceholderPlaces,
    FactorsMoveTogether,
    DuplicateFile,
    DuplicateRecord,
    DefectWithoutPlace,
    UnitSuspect,
    GritWithoutScale,
    LocalTime,
    HeaderMatched,
    WordsForNone,
    NotInspected,
    FileSkipped,
    UnknownColumn,
    ReadAs,
    NamesMatched,
    InspectionDisagrees,
    AgeNeverResets,
    NoDefectColumn,
    DefectNotNamed,
    IdsSuspect,
    SameMarks,
    AxesSuspect,
    NearCopies,
    NamesAlike,
    ManyLost,
    FarOff,
    DateSuspect,
    TimesLost,
    MappedToNothing,
}

impl WarningCode {
    /// The code as `findings.json` spells it.
    #[must_use]
    pub fn code(self) -> &'static str {
        match self {
            Self::NoCleanPanels => "no-clean-panels",
            Self::OneLay => "one-lay",
            Self::OneLot => "one-lot",
            Self::FewPanels => "few-panels",
            Self::OnePanelDominates => "one-panel-dominates",
            Self::InspectorsDiffer => "inspectors-differ",
            Self::StationMirrored => "station-mirrored",
            Self::ZoneClicks => "zone-clicks",
            Self::RecordingCutOff => "recording-cut-off",
            Self::PlaceholderPlaces => "placeholder-places",
            Self::FactorsMoveTogether => "factors-move-together",
            Self::DuplicateFile => "duplicate-file",
            Self::DuplicateRecord => "duplicate-record",
            Self::DefectWithoutPlace => "defect-without-place",
            Self::UnitSuspect => "unit-suspect",
            Self::GritWithoutScale => "grit-without-scale",
            Self::LocalTime => "local-time",
            Self::HeaderMatched => "header-matched",
            Self::WordsForNone => "words-for-none",
            Self::NotInspected => "not-inspected",
            Self::FileSkipped => "file-skipped",
            Self::UnknownColumn => "unknown-column",
            Self::ReadAs => "read-as",
            Self::NamesMatched => "names-matched",
            Self::InspectionDisagrees => "inspection-disagrees",
            Self::AgeNeverResets => "age-never-resets",
            Self::NoDefectColumn => "no-defect-column",
            Self::DefectNotNamed => "defect-not-named",
            Self::IdsSuspect => "ids-suspect",
            Self::SameMarks => "same-marks",
            Self::AxesSuspect => "axes-suspect",
            Self::NearCopies => "near-copies",
            Self::NamesAlike => "names-alike",
            Self::ManyLost => "many-lost",
            Self::FarOff => "far-off",
            Self::DateSuspect => "date-suspect",
            Self::TimesLost => "times-lost",
            Self::MappedToNothing => "mapped-to-nothing",
        }
    }
}

/// `input` of `findings.json`.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, serde::Serialize)]
pub struct InputCounts {
    /// Files read.
    pub files: usize,
    /// Files that could not be read.
    pub skipped_files: usize,
    /// Panels analysed.
    pub panels: usize,
    /// Panels analysed that were inspected for defects; the rest were only measured.
    pub inspected_panels: usize,
    /// Inspected panels without a defect.
    pub clean_panels: usize,
    /// Defects analysed (first inspections).
    pub defects: usize,
    /// Defects that were recorded and lost with their row or panel.
    pub lost_defects: usize,
    /// Whether any file has a column that names defects.
    pub names_defects: bool,
    /// Readings analysed.
    pub readings: usize,
    /// Rows of later inspections, kept out of rates.
    pub reinspections: usize,
    /// Rows lost, one by one.
    pub rejected_rows: usize,
    /// Rows that went with their panel.
    pub rows_lost_with_panels: usize,
    /// Panels lost whole, or of which no row is left.
    pub rejected_panels: usize,
}

impl InputCounts {
    /// Inspected panels with at least one defect.
    #[must_use]
    pub const fn panels_hit(&self) -> usize {
        self.inspected_panels.saturating_sub(self.clean_panels)
    }

    /// Counts panels, defects and readings anew from what the records hold.
    pub fn count(&mut self, panels: &[Panel], defects: &[Defect], readings: &[Reading]) {
        let mut hit = vec![false; panels.len()];
        for defect in defects {
            hit[defect.panel] = true;
        }
        self.panels = panels.len();
        self.inspected_panels = panels.iter().filter(|p| p.inspected).count();
        self.clean_panels = panels
            .iter()
            .zip(hit)
            .filter(|(panel, hit)| panel.inspected && !hit)
            .count();
        self.defects = defects.len();
        self.readings = readings.len();
    }
}

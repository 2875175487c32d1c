//! Reasons for and against a cause. Numbers only: the report puts them into
//! words.

use super::{AbrasiveEnd, Frame, LineAxis, LotsLack, Pace, Rival, Side, SurfaceReason, Tally};
use crate::site::DefectClass;
use crate::stats::Interval;

/// A reason for or against a cause; worded by the report.
#[derive(Debug, Clone, PartialEq)]
pub enum Reason {
    /// It is found at this place on more panels than chance allows.
    Repeats {
        /// Panels hit.
        hits: usize,
        /// Panels exposed.
        exposed: usize,
        /// Panels expected by chance; none for a broad concentration.
        expected: Option<f64>,
    },
    /// Bars of one pitch run across the panels.
    Bars {
        /// Distance from bar to bar, mm.
        pitch_mm: f64,
        /// Its 95 % interval.
        pitch_ci: Option<Interval>,
        /// The axis along which each bar runs.
        along: LineAxis,
        /// The frame of that axis.
        frame: Frame,
        /// Panels that show them.
        hits: usize,
        /// Panels with marks enough to show them.
        could_show: usize,
        /// Panels expected to look like it by chance.
        expected: f64,
        /// Whether they lie at the same places on all panels.
        same_places: bool,
        /// Adjusted for the report.
        p_adjusted: f64,
    },
    /// The pitch is proportional to the feed: something turns or vibrates.
    PitchFollowsFeed {
        /// Bars per second.
        hertz: f64,
        /// The feed to which the pitch given belongs, mm/s.
        at_feed_mm_s: f64,
        /// ln likelihood over a pitch that is the same at all feeds.
        log_ratio: f64,
    },
    /// The pitch is the same at all feeds: something with that spacing.
    PitchStaysAtAllFeeds {
        /// ln likelihood over a pitch proportional to the feed.
        log_ratio: f64,
    },
    /// The records can't tell whether the pitch follows the feed.
    PitchAndFeedUntold {
        /// Whether the feed varied at all.
        feed_varied: bool,
    },
    /// Panels were turned, but not by a quarter: bars kept their direction.
    TurnsKeepDirection,
    /// The bars kept their direction or their places in one frame.
    BarsHold {
        /// Where.
        frame: Frame,
        /// Where not.
        rival: Frame,
        /// ln likelihood ratio.
        log_ratio: f64,
    },
    /// It is a broad concentration, not a place.
    Broad {
        /// Excess just around the place over the excess at it.
        ring_ratio: Option<f64>,
    },
    /// No panel was turned or laid elsewhere, so machine and part look alike.
    NeverTurned,
    /// The place held in one frame and failed in the rival one.
    HoldsInFrame {
        /// Where it held.
        frame: Frame,
        /// Where it failed.
        rival: Frame,
        /// At the place that held, on panels where the two lie apart.
        held: Tally,
        /// At the rival place on those panels.
        failed: Tally,
        /// ln likelihood ratio.
        log_ratio: f64,
    },
    /// Frames that fit about as well.
    FramesNotSeparated {
        /// Those left.
        left: Vec<Frame>,
        /// Panels on which they differ.
        informative: usize,
        /// ln likelihood ratio, machine over part.
        log_ratio: f64,
    },
    /// The place maps onto itself by the turns made.
    SymmetricPlace,
    /// How panels lay at the inspection table does not clear it.
    TableNotCleared {
        /// Panels on which table and machine predict different places; 0: they
        /// lay there just as in the cell.
        informative: usize,
    },
    /// How panels lay at the inspection table is not recorded.
    TableNotRecorded,
    /// Who or which station inspected is not recorded.
    InspectorNotRecorded,
    /// Many times were written and could not be read.
    TimesLost,
    /// The other machine's panels went over the same table without the mark.
    TableClearedByControl,
    /// A station that saw hits records mirrored or turned, so that a place of the
    /// panel can look like one of the machine.
    StationInDoubt {
        /// The station or inspector.
        inspector: String,
    },
    /// Hits run through the lots.
    LotsClear {
        /// Lots with a hit.
        lots_hit: usize,
        /// Lots exposed.
        lots: usize,
    },
    /// Panels turned within single lots kept the place in the machine frame.
    LotsClearByTurning {
        /// Lots within which panels were turned.
        lots: usize,
        /// ln likelihood ratio summed over them.
        log_ratio: f64,
    },
    /// Hits gather in few lots.
    LotsGather {
        /// Which.
        lots: Vec<String>,
        /// In those lots.
        inside: Tally,
        /// In all others.
        outside: Tally,
        /// Tail × lots.
        p_value: f64,
    },
    /// The lots are neither to blame nor cleared.
    LotsOpen {
        /// Lots with a hit.
        lots_hit: usize,
        /// Lots exposed.
        lots: usize,
        /// What clearing them lacks.
        lack: LotsLack,
    },
    /// All panels are of one lot.
    OneLot,
    /// Lots are not recorded.
    LotsNotRecorded,
    /// Another machine or head ran the same lots without it.
    ControlClears {
        /// Lots that both ran.
        lots: usize,
        /// Here, in those lots.
        here: Tally,
        /// There, at the same place of the panel.
        there: Tally,
        /// One-sided, like panels with like.
        p_value: f64,
    },
    /// Another machine or head shows it at the same place of the panel.
    ControlShowsItToo {
        /// There.
        there: Tally,
    },
    /// Another machine or head shows bars of that pitch too.
    ControlShowsBarsToo {
        /// There, among panels with marks enough to show bars.
        there: Tally,
    },
    /// Another machine shows it at the same place of its own.
    ShownElsewhere {
        /// Which.
        machine: String,
        /// There.
        there: Tally,
    },
    /// Another machine or head ran the same lots without it, but writes too little
    /// down, or too little is expected there, to clear anybody.
    ControlWritesLittle {
        /// There.
        there: Tally,
    },
    /// Several part numbers show it at the same machine place; that supports a
    /// turn test and replaces none.
    SeveralParts {
        /// Part numbers that show it.
        parts: Vec<String>,
    },
    /// Over all panels the place holds in one frame, but among panels alike in
    /// lot, part number, supplier, inspector and day it isn't so: how panels lay
    /// goes with these.
    LayGoesWithOthers {
        /// Groups of panels alike whose panels lay two ways.
        groups: usize,
        /// ln likelihood ratio over them.
        log_ratio: f64,
    },
    /// The removal readings show the head's slope the same way.
    SlopeLeansTheSameWay {
        /// The side that takes more.
        more: Side,
    },
    /// Marks at both ends of panels that did not lie along and across the feed:
    /// the ends of the panel are those of the path as well.
    EndsOfPathToo,
    /// Seen on too few panels, or too few beyond chance, to name anybody.
    TooFewToName {
        /// Panels hit.
        hits: usize,
    },
    /// Hits follow a level of a column.
    FollowsLevel {
        /// Which column.
        column: Rival,
        /// Which level.
        level: String,
        /// On that level.
        inside: Tally,
        /// On all others.
        outside: Tally,
        /// Whether the other levels are unremarkable.
        alone: bool,
    },
    /// A recipe began and the repeat with it; it ran in one stretch only.
    BeganWithRecipe {
        /// Which recipe.
        recipe: String,
    },
    /// Hits follow the age of the abrasive.
    FollowsAge {
        /// Which end of its life.
        end: AbrasiveEnd,
        /// Mean age of the panels hit.
        mean_of_hits: f64,
        /// Mean age of all panels.
        mean_of_all: f64,
        /// Two-sided.
        p_value: f64,
    },
    /// Every k-th panel.
    EveryKth {
        /// The period, panels.
        every: usize,
        /// Whether the phase slips, as when a nest is skipped.
        slips: bool,
        /// Adjusted for periods and phases tried.
        p_value: f64,
    },
    /// It set in.
    SetIn {
        /// First panel of it.
        panel: String,
        /// Earliest and latest first panel, 95 %.
        between: (String, String),
        /// What else changed there: column and new value.
        together_with: Vec<(String, String)>,
    },
    /// It ended.
    Ended {
        /// First panel without it.
        panel: String,
        /// Earliest and latest such panel, 95 %.
        between: (String, String),
        /// What else changed there: column and new value.
        together_with: Vec<(String, String)>,
    },
    /// The place moves.
    Drifts {
        /// What the speed counts in.
        pace: Pace,
        /// Speed, mm per day or panel.
        mm: f64,
    },
    /// Panel after panel, marks lie more on one side.
    SideVotes {
        /// The side, in the frame of the finding.
        side: Side,
        /// The frame.
        frame: Frame,
        /// Panels with more marks on that side.
        votes: usize,
        /// Panels with more on the opposite side.
        against: usize,
        /// Adjusted for the report.
        p_adjusted: f64,
    },
    /// Too much on one side and too little on the other, the sign changing
    /// from panel to panel.
    SignsChange {
        /// The panel axis across the sides.
        axis: LineAxis,
        /// Panels with marks of both kinds.
        panels: usize,
        /// Of these, with the kinds on opposite sides.
        opposite: usize,
        /// Against even chances.
        p_value: f64,
    },
    /// Which side takes more follows these, or may: the lay that nobody wrote down.
    SignFollows {
        /// Who may make the sign change beside the panels.
        rivals: Vec<Rival>,
    },
    /// Both ends marked and the middle spared, beyond what counts make expected.
    BothEnds {
        /// The panel axis from end to end.
        axis: LineAxis,
        /// Panels with marks at both ends.
        panels: usize,
        /// Expected from the panels' numbers of marks.
        expected: f64,
        /// Of so many panels.
        p_value: f64,
    },
    /// Along both ends of the panels marks lie closer than along the other two
    /// edges.
    EndsStandOut {
        /// The panel axis from end to end.
        axis: LineAxis,
        /// Marks per length at the low end over those of the other two edges.
        low_ratio: f64,
        /// The same at the high end.
        high_ratio: f64,
        /// Of the weaker end, against edges that differ by half.
        p_value: f64,
    },
    /// The sign of the side turned with the panels, or did not.
    SideHolds {
        /// Where it held.
        frame: Frame,
        /// Panels laid the other way that voted with it.
        votes: usize,
        /// Panels laid the other way that voted against it.
        against: usize,
        /// ln likelihood ratio.
        log_ratio: f64,
    },
    /// Panel after panel, marks lie at one end of one edge; the rest is good.
    OneEndOfAnEdge {
        /// The edge.
        edge: Side,
        /// The end of it.
        end: Side,
        /// The frame.
        frame: Frame,
        /// Panels with more marks there than at the corner across.
        votes: usize,
        /// Panels with more at the corner across.
        against: usize,
        /// Adjusted for the report.
        p_adjusted: f64,
    },
    /// Panel after panel, marks lie at one corner; the rest is good.
    OneCorner {
        /// Its side along x and its side along y.
        sides: (Side, Side),
        /// The frame.
        frame: Frame,
        /// Panels with more marks there than at the corner across.
        votes: usize,
        /// Panels with more at the corner across.
        against: usize,
        /// Adjusted for the report.
        p_adjusted: f64,
    },
    /// At the corner across, a kind of the opposite class leads.
    OtherKindAcross {
        /// That kind.
        defect: String,
        /// Its class, over or under.
        class: DefectClass,
        /// Panels on which it leads there.
        panels: usize,
    },
    /// The stream's rate is higher on a level of a column.
    RateHigher {
        /// Which column.
        column: Rival,
        /// Which level.
        level: String,
        /// Panels of that level.
        panels: usize,
        /// Rate over the rate of the rest.
        ratio: f64,
        /// Between these with 95 % certainty on either side.
        ratio_ci: (f64, f64),
        /// What the test took as its units: panels or lots.
        units: Rival,
        /// Machines and heads taken together.
        machines: usize,
    },
    /// It still does among panels that are alike in each of these.
    StandsAgainst {
        /// Rivals it met and beat.
        rivals: Vec<Rival>,
    },
    /// It varies and shows nothing.
    Excluded {
        /// Who.
        rival: Rival,
        /// The largest ratio of rates that is left open, with 95 % certainty.
        within: f64,
    },
    /// The rate steps at one moment.
    RateSteps {
        /// First panel after it.
        panel: String,
        /// Rate after over rate before.
        ratio: f64,
        /// Adjusted for the report.
        p_adjusted: f64,
    },
    /// The level can't be told from other columns that changed with it.
    MovedWith {
        /// The columns.
        columns: Vec<Rival>,
    },
    /// The stream's rate goes with a number: a factor, the sanding done, an age.
    RateFollows {
        /// Which.
        rival: Rival,
        /// Whether the rate rises with it.
        rises: bool,
        /// Rate at its high end over the low end (where it falls: the other way
        /// round), if it could be computed.
        ratio: Option<f64>,
        /// Units compared: runs of one setting, thirds of abrasive lives.
        units: usize,
        /// Machines and heads taken together.
        machines: usize,
        /// Adjusted for the report.
        p_adjusted: f64,
    },
    /// The film before sanding was thinner on panels with marks.
    FilmThinner {
        /// Panels with marks and readings of the film.
        marked: usize,
        /// Panels without marks, but with readings.
        unmarked: usize,
        /// By how much it was thinner, µm.
        by_um: f64,
        /// Its 95 % interval.
        by_ci: Interval,
        /// Whether lots were the units; otherwise panels of one lot and recipe
        /// were compared with each other.
        lots: bool,
        /// Adjusted for the report.
        p_adjusted: f64,
    },
    /// What removal was on those panels.
    RemovalBesideFilm {
        /// By how much more was removed on panels with marks, µm.
        more_um: f64,
        /// Its 95 % interval.
        more_ci: Interval,
        /// Whether film fell short by more than removal exceeded.
        film_outweighs: bool,
    },
    /// Removal was not measured on those panels, so it is not cleared.
    RemovalNotMeasured,
    /// A factor varies and a twofold effect on the rate is not excluded.
    FactorNotExcluded {
        /// Which.
        factor: Rival,
    },
    /// Nothing repeats, and a repeat on this share of panels would have been seen.
    NothingRepeats {
        /// Smallest repeat that would have been seen, 0..1.
        smallest_seen: f64,
    },
    /// Nothing was found, but too little could have been.
    TooFewToSee {
        /// Smallest repeat that would have been seen, if any.
        smallest_seen: Option<f64>,
        /// Panels needed for a repeat on a fifth of the panels.
        panels_needed: Option<usize>,
    },
    /// Marks on so few panels that nothing repeats yet.
    SeenOnFewPanels {
        /// Panels.
        panels: usize,
    },
    /// Places of the marks are not recorded.
    NoPlaces,
    /// The records are in doubt: why, as the beginning of a sentence.
    HeldBack(String),
    /// On the unevenness of removal.
    Surface(SurfaceReason),
}

//! Shops in which things go together: whoever judges by what happens to differ
//! accuses the wrong one. Each kind of shop has its truth: who did it, who may be
//! named, what has to stay open. Beside them plain shops, in which one thing is
//! the cause and met everything else. All invented.

mod floor;
mod hours;
mod places;
mod plain;
mod plain_places;
mod rates;
mod stations;
mod table_places;
mod table_rates;
mod weeks;

pub use floor::Frame;

use floor::Floor;
use onus::records::Records;

/// Who can be accused.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Party {
    /// Cell, head or fixture.
    Machine,
    /// Part, lot, supplier, film.
    Part,
    /// Settings and abrasive.
    Recipe,
    /// Station, table, inspector.
    Inspection,
}

impl Party {
    pub const ALL: [Party; 4] = [
        Party::Machine,
        Party::Part,
        Party::Recipe,
        Party::Inspection,
    ];

    /// The word of `cause` in `findings.json`.
    pub fn word(self) -> &'static str {
        match self {
            Party::Machine => "machine",
            Party::Part => "part",
            Party::Recipe => "recipe",
            Party::Inspection => "inspection",
        }
    }
}

/// What a good report says.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Right {
    /// Names this party.
    Named(Party),
    /// Names the time: undecided, of kind `time`.
    Time,
    /// Says that it wanders, likely the part's.
    Wanders,
    /// Leaves it open, with one of these among the open rivals, or names a
    /// guilty party.
    Open(&'static [&'static str]),
    /// Accuses nobody; what else it says is not judged.
    Nobody,
}

/// A kind of shop.
#[derive(Debug, Clone)]
pub struct Kind {
    pub name: &'static str,
    /// Who did it, by kind of defect; none = any kind.
    pub guilty: Vec<(Option<&'static str>, Party)>,
    /// Who may be suspected, "likely" at most, for want of a record.
    pub suspect: Vec<Party>,
    pub right: Right,
    /// Where, if `right` has a place: frame, x and y, mm; a line has only one.
    pub place: Option<(Frame, Option<f64>, Option<f64>)>,
    /// How many findings a good report has at most.
    pub findings: Option<usize>,
    /// Panels that a dedicated test needs which knows where to look.
    pub dedicated: Option<usize>,
    /// Sizes of the run, panels; each with the kind is a setting.
    pub panels: Vec<usize>,
    run: Run,
}

/// How the records of a run are made.
#[derive(Debug, Clone, Copy)]
enum Run {
    /// On a floor of so many panels a day.
    Floor(usize, fn(Floor) -> Floor),
    /// From the number of panels and the seed.
    Own(fn(usize, u64) -> Records),
}

/// A kind whose run is still to be said.
fn kind(name: &'static str) -> Kind {
    Kind::new(name, &[], |n, seed| Floor::new(n, 40, seed).records())
}

impl Kind {
    fn new(name: &'static str, panels: &[usize], make: fn(usize, u64) -> Records) -> Self {
        Self {
            name,
            guilty: Vec::new(),
            suspect: Vec::new(),
            right: Right::Nobody,
            place: None,
            findings: None,
            dedicated: None,
            panels: panels.to_vec(),
            run: Run::Own(make),
        }
    }

    /// Runs of so many panels, on a floor of so many a day.
    fn on(mut self, panels: &[usize], per_day: usize, build: fn(Floor) -> Floor) -> Self {
        self.panels = panels.to_vec();
        self.run = Run::Floor(per_day, build);
        self
    }

    /// The records of a run.
    pub fn records(&self, panels: usize, seed: u64) -> Records {
        match self.run {
            Run::Floor(per_day, build) => build(Floor::new(panels, per_day, seed)).records(),
            Run::Own(make) => make(panels, seed),
        }
    }

    /// This party did it, which isn't a false accusation then.
    fn by(mut self, party: Party) -> Self {
        self.guilty.push((None, party));
        self
    }

    /// This party did it to one kind of defect.
    fn made(mut self, defect: &'static str, party: Party) -> Self {
        self.guilty.push((Some(defect), party));
        self
    }

    /// Nothing recorded speaks against this party: it may be called likely.
    fn suspected(mut self, party: Party) -> Self {
        self.suspect.push(party);
        self
    }

    /// This party did it, plainly.
    fn plainly(self, party: Party) -> Self {
        Self {
            right: Right::Named(party),
            ..self.by(party)
        }
    }

    fn right(self, right: Right) -> Self {
        Self { right, ..self }
    }

    /// One of these rivals has to stay open.
    fn open(self, rivals: &'static [&'static str]) -> Self {
        self.right(Right::Open(rivals))
    }

    /// What a dedicated test needs, panels.
    fn against(self, dedicated: usize) -> Self {
        let dedicated = Some(dedicated);
        Self { dedicated, ..self }
    }

    fn at(self, frame: Frame, x: impl Into<Option<f64>>, y: impl Into<Option<f64>>) -> Self {
        let place = Some((frame, x.into(), y.into()));
        Self { place, ..self }
    }

    /// Whether accusing this party of this kind of defect is right.
    pub fn is_guilty(&self, defect: Option<&str>, party: Party) -> bool {
        let of = |g: &(Option<&str>, Party)| {
            g.1 == party && (g.0.is_none() || defect.is_none() || g.0 == defect)
        };
        self.guilty.iter().any(of)
    }

    /// Whether a good report names the right party.
    pub fn is_plain(&self) -> bool {
        matches!(self.right, Right::Named(_) | Right::Time | Right::Wanders)
    }
}

/// All kinds of shops.
pub fn kinds() -> Vec<Kind> {
    let rooms = [
        table_places::kinds(),
        table_rates::kinds(),
        places::kinds(),
        rates::kinds(),
        weeks::kinds(),
        hours::kinds(),
        stations::kinds(),
        plain::kinds(),
        plain_places::kinds(),
    ];
    rooms.into_iter().flatten().collect()
}

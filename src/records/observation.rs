//! What a row saw at a place, packed: large files have millions of them.

use std::num::NonZeroU32;

/// The observations of a file, in its order, in blocks that can be freed one by
/// one while they are made into defects and readings: a large file would stand
/// in memory twice otherwise.
#[derive(Debug, Clone, Default)]
pub(super) struct Observations(Vec<Vec<Observation>>);

impl Observations {
    /// Observations in a block: so many that a full one is memory of its own, which
    /// goes back to the system at once.
    const BLOCK: usize = 1 << 19;

    /// Adds one at the end.
    pub(super) fn push(&mut self, seen: Observation) {
        match self.0.last_mut() {
            Some(block) if block.len() < Self::BLOCK => block.push(seen),
            _ => self.0.push(vec![seen]),
        }
    }

    /// All, in order.
    pub(super) fn iter(&self) -> impl Iterator<Item = &Observation> {
        self.0.iter().flatten()
    }

    /// All, in order; a block is freed when it is through.
    pub(super) fn taken(self) -> impl Iterator<Item = Observation> {
        self.0.into_iter().flatten()
    }
}

/// Which of the numbers of an observation.
#[derive(Debug, Clone, Copy)]
pub(super) enum Seen {
    X,
    Y,
    AreaMm2,
    Severity,
    RemovedUm,
    FilmUm,
}

/// What a row saw at a place.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Observation {
    /// Index into `FileRows::panels`.
    pub panel: u32,
    /// Line in the file.
    pub line: u32,
    /// Place in `FileRows::names`, from 1, where a defect was seen.
    pub defect: Option<NonZeroU32>,
    /// Likewise who saw it, where the site measures differently by inspector.
    pub inspector: Option<NonZeroU32>,
    numbers: [f64; 6],
    known: u8,
}

impl Observation {
    /// An observation of nothing yet.
    pub(super) fn new(panel: u32, line: u64) -> Self {
        Self {
            panel,
            line: u32::try_from(line).unwrap_or(u32::MAX),
            defect: None,
            inspector: None,
            numbers: [0.0; 6],
            known: 0,
        }
    }

    /// Puts a number in.
    pub(super) fn set(&mut self, which: Seen, value: Option<f64>) {
        if let Some(value) = value {
            self.numbers[which as usize] = value;
            self.known |= 1 << which as u8;
        }
    }

    /// A number, where the row had it.
    pub(super) fn get(&self, which: Seen) -> Option<f64> {
        (self.known & (1 << which as u8) != 0).then(|| self.numbers[which as usize])
    }

    /// As written, mm, from the corner the site measures from.
    pub(super) fn place(&self) -> Option<(f64, f64)> {
        self.get(Seen::X).zip(self.get(Seen::Y))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_was_put_in_comes_out_and_nothing_else() {
        let mut one = Observation::new(3, 7);
        one.set(Seen::X, Some(1.5));
        one.set(Seen::FilmUm, Some(0.0));
        one.set(Seen::Severity, None);
        assert_eq!(one.get(Seen::X), Some(1.5));
        assert_eq!(one.get(Seen::FilmUm), Some(0.0));
        for absent in [Seen::Y, Seen::AreaMm2, Seen::Severity, Seen::RemovedUm] {
            assert_eq!(one.get(absent), None);
        }
        assert_eq!(one.place(), None);
        one.set(Seen::Y, Some(-2.0));
        assert_eq!(one.place(), Some((1.5, -2.0)));
    }
}

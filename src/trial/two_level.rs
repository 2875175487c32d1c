//! Two-level factorial designs, full and fractional: words, resolution, aliases.
//!
//! An effect is a word: a set of factors, one bit each. The product of two words
//! is their exclusive or. A fraction is a full factorial of its basic factors,
//! the others being products of these; which effects can't be told apart follows
//! from the generators alone.
//!
//! Source: Box & Hunter (1961), Technometrics 3, 311–351 and 449–458; the
//! generators are those of Box, Hunter & Hunter (1978), chapter 12, from memory.

use super::TrialError;

/// A set of factors, the first in the lowest bit.
pub(super) type Word = u32;

/// Letters of factors; I is the mean.
const LETTERS: [char; 11] = ['A', 'B', 'C', 'D', 'E', 'F', 'G', 'H', 'J', 'K', 'L'];

/// Most factors of a fraction.
const MOST_FACTORS: usize = 9;

/// Most basic factors: 128 runs.
const MOST_BASIC: usize = 7;

/// Standard generators: factors, basic factors, the product that each further
/// factor is.
const STANDARD: [(usize, usize, &[&str]); 19] = [
    (3, 2, &["AB"]),
    (4, 3, &["ABC"]),
    (5, 3, &["AB", "AC"]),
    (5, 4, &["ABCD"]),
    (6, 3, &["AB", "AC", "BC"]),
    (6, 4, &["ABC", "BCD"]),
    (6, 5, &["ABCDE"]),
    (7, 3, &["AB", "AC", "BC", "ABC"]),
    (7, 4, &["ABC", "BCD", "ACD"]),
    (7, 5, &["ABCD", "ABDE"]),
    (7, 6, &["ABCDEF"]),
    (8, 4, &["BCD", "ACD", "ABC", "ABD"]),
    (8, 5, &["ABC", "ABD", "BCDE"]),
    (8, 6, &["ABCD", "ABEF"]),
    (8, 7, &["ABCDEFG"]),
    (9, 4, &["ABC", "BCD", "ACD", "ABD", "ABCD"]),
    (9, 5, &["BCDE", "ACDE", "ABDE", "ABCE"]),
    (9, 6, &["ABCD", "ACEF", "CDEF"]),
    (9, 7, &["ACDFG", "BCEFG"]),
];

/// A two-level design.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct Fraction {
    /// All factors.
    pub factors: usize,
    /// Factors that span it: 2^basic runs.
    pub basic: usize,
    /// The words of the further factors, in basic factors.
    pub generators: Vec<Word>,
}

/// Letters of a word; `I` for the empty one.
pub(super) fn letters(word: Word) -> String {
    if word == 0 {
        return "I".to_owned();
    }
    (0..LETTERS.len())
        .filter(|i| word >> i & 1 == 1)
        .map(|i| LETTERS[i])
        .collect()
}

/// The word of some letters.
pub(super) fn word(text: &str) -> Option<Word> {
    text.chars().try_fold(0, |word, letter| {
        let at = LETTERS.iter().position(|l| *l == letter)?;
        Some(word ^ (1 << at))
    })
}

impl Fraction {
    /// The standard design of so many runs; none where there is none.
    pub(super) fn standard(factors: usize, runs: usize) -> Option<Self> {
        if !runs.is_power_of_two() || factors == 0 || factors > MOST_FACTORS {
            return None;
        }
        let basic = runs.trailing_zeros() as usize;
        if basic > MOST_BASIC {
            return None;
        }
        if basic == factors {
            return Some(Self {
                factors,
                basic,
                generators: Vec::new(),
            });
        }
        let row = STANDARD
            .iter()
            .find(|row| (row.0, row.1) == (factors, basic))?;
        Some(Self {
            factors,
            basic,
            generators: row.2.iter().filter_map(|text| word(text)).collect(),
        })
    }

    /// Numbers of runs for which there is a standard design.
    pub(super) fn offered(factors: usize) -> Vec<usize> {
        (1..=MOST_BASIC)
            .map(|basic| 1 << basic)
            .filter(|runs| Self::standard(factors, *runs).is_some())
            .collect()
    }

    /// The smallest design that keeps factors clear of pairs: resolution 4.
    pub(super) fn usual(factors: usize) -> Option<Self> {
        Self::offered(factors)
            .into_iter()
            .filter_map(|runs| Self::standard(factors, runs))
            .find(|design| design.resolution().is_none_or(|r| r >= 4))
    }

    /// All products of the generators: the defining words, shortest first.
    pub(super) fn words(&self) -> Vec<Word> {
        let own = |i: usize| self.generators[i] | 1 << (self.basic + i);
        let all: Vec<Word> = (0..self.generators.len()).map(own).collect();
        products(&all)
    }

    /// Length of the shortest defining word; none for a full factorial.
    pub(super) fn resolution(&self) -> Option<u32> {
        self.words().iter().map(|w| w.count_ones()).min()
    }

    /// The runs in standard order, the first factor changing fastest: −1 or +1.
    pub(super) fn runs(&self) -> Vec<Vec<f64>> {
        (0..1u32 << self.basic)
            .map(|run| {
                let basic = (0..self.basic).map(|i| if run >> i & 1 == 1 { 1.0 } else { -1.0 });
                let mut row: Vec<f64> = basic.collect();
                for word in &self.generators {
                    row.push(product(&row, *word));
                }
                row
            })
            .collect()
    }

    /// Words whose signs share the runs out to `lots`, such that no factor is
    /// hidden and pairs as few as can be; none where that can't be.
    pub(super) fn block_words(&self, lots: usize) -> Option<Vec<Word>> {
        let group = self.words();
        // The shortest effect that a word hides.
        let hides = |w: Word| {
            let likes = group.iter().map(|g| (g ^ w).count_ones());
            likes.fold(w.count_ones(), u32::min)
        };
        let single: Vec<(u32, Word)> = (1..1u32 << self.basic)
            .map(|w| (hides(w), w))
            .filter(|(length, _)| *length >= 2)
            .collect();
        let mut order = single;
        order.sort_by_key(|(length, w)| (std::cmp::Reverse(*length), *w));
        match lots {
            2 => order.first().map(|(_, w)| vec![*w]),
            4 => {
                let mut best: Option<((u32, u32), Vec<Word>)> = None;
                for (i, (a_length, a)) in order.iter().enumerate() {
                    for (b_length, b) in &order[i + 1..] {
                        let three = [*a_length, *b_length, hides(a ^ b)];
                        let least = three.iter().copied().fold(u32::MAX, u32::min);
                        let key = (least, three.iter().sum());
                        if least >= 2 && best.as_ref().is_none_or(|(k, _)| key > *k) {
                            best = Some((key, vec![*a, *b]));
                        }
                    }
                }
                best.map(|(_, words)| words)
            }
            _ => None,
        }
    }

    /// The fewest factors whose signs, reversed in as many runs again, part an
    /// effect from all others of one or two factors.
    ///
    /// # Errors
    ///
    /// [`TrialError::NoSuchEffect`] where nothing has to be parted, or no
    /// reversal does it.
    pub(super) fn reversal(&self, effect: Word, name: &str) -> Result<Word, TrialError> {
        let words = self.words();
        let short = |w: Word| (1..=2).contains(&(w ^ effect).count_ones());
        let linking: Vec<Word> = words.iter().copied().filter(|w| short(*w)).collect();
        let none = |why: &str| TrialError::NoSuchEffect {
            effect: name.to_owned(),
            why: why.to_owned(),
        };
        if linking.is_empty() {
            return Err(none("stands alone in that plan: there is nothing to part"));
        }
        let parts = |s: Word| linking.iter().all(|w| (w & s).count_ones() % 2 == 1);
        (1..1u32 << self.factors)
            .filter(|s| parts(*s))
            // Reversing the effect's own factor frees its pairs as well.
            .min_by_key(|s| (s.count_ones(), s & effect == 0, *s))
            .ok_or_else(|| none("no reversal of signs parts it from all its likes"))
    }
}

/// Effects of one or two factors that a group of words ties together, each with
/// its likes; effects that stand alone are left out.
pub(super) fn chains(factors: usize, group: &[Word]) -> Vec<Vec<Word>> {
    let mut effects: Vec<Word> = (0..factors).map(|i| 1 << i).collect();
    for i in 0..factors {
        effects.extend((i + 1..factors).map(|j| 1 << i | 1 << j));
    }
    let mut out: Vec<Vec<Word>> = Vec::new();
    for effect in &effects {
        if out.iter().flatten().any(|known| known == effect) {
            continue;
        }
        let likes = effects.iter().filter(|e| group.contains(&(**e ^ effect)));
        let chain: Vec<Word> = std::iter::once(effect).chain(likes).copied().collect();
        if chain.len() > 1 {
            out.push(chain);
        }
    }
    out
}

/// All products of some words, the empty one left out, shortest first.
pub(super) fn products(words: &[Word]) -> Vec<Word> {
    let mut all: Vec<Word> = (1..1u32 << words.len())
        .map(|set| {
            let chosen = (0..words.len()).filter(|i| set >> i & 1 == 1);
            chosen.fold(0, |product, i| product ^ words[i])
        })
        .collect();
    all.sort_by_key(|w| (w.count_ones(), letters(*w)));
    all
}

/// The product of the factors of a word in one run.
pub(super) fn product(row: &[f64], word: Word) -> f64 {
    (0..row.len())
        .filter(|i| word >> i & 1 == 1)
        .map(|i| row[i])
        .product()
}

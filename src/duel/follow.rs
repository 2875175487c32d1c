//! Does a response follow a suspect, among panels alike in something else?

use super::contender::{Contender, Suspect, Toward};
use super::exchange::{Peers, Precision, rises, with_distance};
use super::{Response, in_order};
use crate::stats::distributions::normal;

/// How a response follows a suspect within strata.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Follows {
    /// p of "it makes no difference", one-sided in the known direction, two-sided
    /// where none is known; the largest where several responses are asked.
    pub p_value: f64,
    /// The same by exchanges of units alone, of which few units have few.
    pub exchanged: f64,
    /// Difference of the first response per unit of what was given (for a level:
    /// against the others).
    pub difference: f64,
    /// Units that were compared.
    pub units: usize,
    /// Share, 0..1, of the differences in what was given that lie inside strata.
    pub left: f64,
}

/// Panels of one unit in one stratum.
#[derive(Debug, Clone, Copy, Default)]
struct Piece {
    unit: usize,
    block: usize,
    stratum: usize,
    panels: f64,
    expected: f64,
    value: f64,
    squares: f64,
    given: f64,
}

impl Piece {
    fn mean(&self) -> f64 {
        self.value / self.expected
    }

    fn given(&self) -> f64 {
        self.given / self.expected
    }
}

/// Asks whether all `responses` follow the suspect among panels of one stratum
/// (`strata`, a class per panel; none: blocks alone). None where no stratum
/// holds panels that were given different things.
///
/// Units split by the strata are exchanged twice, piece by piece inside strata
/// and whole inside blocks, and the larger p counts: pieces of a unit share what
/// the unit shares, and whole units may have been dealt out by strata.
pub(crate) fn follows(
    responses: &[Response],
    suspect: &Suspect,
    strata: Option<&[usize]>,
) -> Option<Follows> {
    follows_at(responses, suspect, strata, Precision::Full)
}

/// The same, where p is asked for less closely: quick where it is far.
pub(crate) fn follows_at(
    responses: &[Response],
    suspect: &Suspect,
    strata: Option<&[usize]>,
    asked: Precision,
) -> Option<Follows> {
    worst(responses.iter().map(|r| one(r, suspect, strata, asked)))
}

/// The first response's comparison with the largest p of all; none where one has none.
fn worst(found: impl Iterator<Item = Option<Follows>>) -> Option<Follows> {
    let mut worst: Option<Follows> = None;
    for next in found {
        let next = next?;
        let before = worst.get_or_insert(next);
        before.p_value = before.p_value.max(next.p_value);
        before.exchanged = before.exchanged.max(next.exchanged);
    }
    worst
}

fn one(
    response: &Response,
    suspect: &Suspect,
    strata: Option<&[usize]>,
    asked: Precision,
) -> Option<Follows> {
    let known = |at: usize| suspect.given[at].is_some();
    let Gathered { mut pieces, rows } =
        Gathered::new(response, known, &suspect.units, &suspect.blocks, strata);
    for (at, piece) in rows {
        pieces[piece].given += response.expected[at] * suspect.given[at].unwrap_or(0.0);
    }
    let mut found = judged(&pieces, suspect.toward, asked)?;
    if suspect.serial {
        let inflation = serial_inflation(response, suspect, strata);
        found.exchanged = less_sure(found.exchanged, inflation);
        found.p_value = found.exchanged;
    }
    Some(found)
}

/// The levels of a contender, its panels gathered once to ask level after level.
pub(super) struct Levels {
    toward: Toward,
    by_response: Vec<ByLevel>,
}

/// Pieces before anything was given; how much of which piece each level has.
struct ByLevel {
    pieces: Vec<Piece>,
    of_level: Vec<Vec<(usize, f64)>>,
}

impl Levels {
    /// `of`: a level below `count`, or none, per panel.
    pub(super) fn new(
        responses: &[Response],
        contender: &Contender,
        (of, count): (&[Option<usize>], usize),
    ) -> Self {
        let by_level = |response: &Response| {
            let known = |at: usize| of[at].is_some();
            let Contender { units, blocks, .. } = contender;
            let Gathered { pieces, rows } = Gathered::new(response, known, units, blocks, None);
            let mut of_level = vec![Vec::new(); count];
            for (at, piece) in rows {
                if let Some(level) = of[at] {
                    of_level[level].push((piece, response.expected[at]));
                }
            }
            ByLevel { pieces, of_level }
        };
        Self {
            toward: contender.toward,
            by_response: responses.iter().map(by_level).collect(),
        }
    }

    /// [`follows`] for one level against all others.
    pub(super) fn follows(&self, level: usize, asked: Precision) -> Option<Follows> {
        worst(self.by_response.iter().map(|response| {
            let mut pieces = response.pieces.clone();
            for (piece, expected) in &response.of_level[level] {
                pieces[*piece].given += expected;
            }
            judged(&pieces, self.toward, asked)
        }))
    }
}

/// Whether what pieces show follows what they were given, inside their strata.
fn judged(pieces: &[Piece], toward: Toward, asked: Precision) -> Option<Follows> {
    let (pieces, left) = that_differ(pieces)?;
    let trust = Trust::of(&pieces);
    let mut shows = vec![0.0; pieces.len()];
    let mut peers = Vec::new();
    let (mut along, mut length) = (0.0, 0.0);
    let mut at = 0;
    for group in by_stratum(&pieces) {
        let weights: Vec<f64> = group.iter().map(|p| trust.weight(p.expected)).collect();
        let all: f64 = weights.iter().sum();
        let mean = |of: &dyn Fn(&Piece) -> f64| {
            group
                .iter()
                .zip(&weights)
                .map(|(p, w)| w * of(p))
                .sum::<f64>()
                / all
        };
        let (mean_value, mean_given) = (mean(&Piece::mean), mean(&Piece::given));
        let mut own = Peers::default();
        for (piece, w) in group.iter().zip(&weights) {
            let show = w * (piece.mean() - mean_value);
            let given = piece.given() - mean_given;
            along += given * show;
            length += w * given * given;
            own.given.push(piece.given());
            own.shows.push(show);
            shows[at] = show;
            at += 1;
        }
        peers.push(own);
    }
    let p_of = |peers: &[Peers]| p_value(peers, toward, asked);
    let mut p = p_of(&peers)?;
    if let Some(units) = whole_units(&pieces, &shows) {
        let whole = p_of(&units).unwrap_or([1.0; 2]);
        p = [p[0].max(whole[0]), p[1].max(whole[1])];
    }
    let mut units: Vec<usize> = pieces.iter().map(|p| p.unit).collect();
    units.sort_unstable();
    units.dedup();
    Some(Follows {
        p_value: p[0],
        exchanged: p[1],
        difference: if length > 0.0 { along / length } else { 0.0 },
        units: units.len(),
        left,
    })
}

fn by_stratum(pieces: &[Piece]) -> impl Iterator<Item = &[Piece]> {
    pieces.chunk_by(|a, b| (a.block, a.stratum) == (b.block, b.stratum))
}

/// p with the distance of few units reckoned in, and by exchanges alone.
fn p_value(peers: &[Peers], toward: Toward, asked: Precision) -> Option<[f64; 2]> {
    let one = |peers: &[Peers], asked| rises(peers, asked).map(|p| [with_distance(peers, p), p]);
    let falls = || -> Vec<Peers> {
        let flip = |p: &Peers| Peers {
            given: p.given.iter().map(|g| -g).collect(),
            shows: p.shows.clone(),
        };
        peers.iter().map(flip).collect()
    };
    Some(match toward {
        Toward::Rises => one(peers, asked)?,
        Toward::Falls => one(&falls(), asked)?,
        Toward::Either => {
            let half = asked.one_sided();
            let (up, down) = (one(peers, half)?, one(&falls(), half)?);
            [0, 1].map(|k| (2.0 * up[k].min(down[k])).min(1.0))
        }
    })
}

/// Panels gathered into pieces.
struct Gathered {
    /// In order of block, stratum and unit, before anything was given.
    pieces: Vec<Piece>,
    /// Every panel with its piece.
    rows: Vec<(usize, usize)>,
}

impl Gathered {
    fn new(
        response: &Response,
        known: impl Fn(usize) -> bool,
        units: &[usize],
        blocks: &[usize],
        strata: Option<&[usize]>,
    ) -> Self {
        let key = |at: usize| (blocks[at], strata.map_or(0, |s| s[at]), units[at]);
        let mut panels: Vec<usize> = (0..units.len())
            .filter(|&at| known(at) && response.expected[at] > 0.0)
            .collect();
        panels.sort_by_key(|&at| (key(at), at));
        let mut pieces: Vec<Piece> = Vec::new();
        let mut rows = Vec::with_capacity(panels.len());
        let mut last = None;
        for at in panels {
            if last != Some(key(at)) {
                last = Some(key(at));
                let (block, stratum, unit) = key(at);
                pieces.push(Piece {
                    unit,
                    block,
                    stratum,
                    ..Piece::default()
                });
            }
            rows.push((at, pieces.len() - 1));
            if let Some(piece) = pieces.last_mut() {
                let (v, e) = (response.value[at], response.expected[at]);
                piece.panels += 1.0;
                piece.expected += e;
                piece.value += v;
                piece.squares += v * v / e;
            }
        }
        Self { pieces, rows }
    }
}

/// Pieces of strata that hold a difference, and how much of the differences inside
/// blocks the strata leave; none where nothing differs.
fn that_differ(all: &[Piece]) -> Option<(Vec<Piece>, f64)> {
    let spread = |group: &[Piece]| {
        let sum: f64 = group.iter().map(|p| p.expected).sum();
        let mean = group.iter().map(|p| p.given).sum::<f64>() / sum;
        let square = |p: &Piece| p.expected * (p.given() - mean).powi(2);
        group.iter().map(square).sum::<f64>()
    };
    let blocks: f64 = all.chunk_by(|a, b| a.block == b.block).map(spread).sum();
    let mut kept = Vec::new();
    let mut inside = 0.0;
    for group in by_stratum(all) {
        let own = spread(group);
        let differs = group.iter().any(|p| p.given() != group[0].given());
        if differs {
            inside += own;
            kept.extend_from_slice(group);
        }
    }
    (!kept.is_empty() && blocks > 0.0).then(|| (kept, (inside / blocks).min(1.0)))
}

/// How much units vary beyond their panels.
struct Trust {
    between_over_within: f64,
}

impl Trust {
    /// Variances within and between pieces by their sums of squares; what was
    /// given is not looked at.
    fn of(pieces: &[Piece]) -> Self {
        let (mut within, mut free) = (0.0, 0.0);
        for p in pieces {
            within += p.squares - p.value * p.value / p.expected;
            free += p.panels - 1.0;
        }
        let (mut between, mut steps, mut size) = (0.0, 0.0, 0.0);
        for group in by_stratum(pieces) {
            let sum: f64 = group.iter().map(|p| p.expected).sum();
            let squares: f64 = group.iter().map(|p| p.expected * p.expected).sum();
            let mean = group.iter().map(|p| p.value).sum::<f64>() / sum;
            between += (group.iter())
                .map(|p| p.expected * (p.mean() - mean).powi(2))
                .sum::<f64>();
            steps += group.len() as f64 - 1.0;
            size += sum - squares / sum;
        }
        let noise = within / free;
        let between_over_within = if free >= 1.0 && noise > 0.0 && size > 0.0 {
            ((between - noise * steps) / size / noise).max(0.0)
        } else {
            0.0
        };
        Self {
            between_over_within,
        }
    }

    /// What a unit's mean weighs: its panels, less what they share.
    fn weight(&self, expected: f64) -> f64 {
        expected / (1.0 + self.between_over_within * expected)
    }
}

/// Units whole, exchanged inside blocks (those of several blocks among each
/// other), where strata or blocks split any.
fn whole_units(pieces: &[Piece], shows: &[f64]) -> Option<Vec<Peers>> {
    let unit_of = in_order(pieces.iter().map(|p| p.unit));
    let count = unit_of.iter().max()? + 1;
    if count == pieces.len() {
        return None;
    }
    let mut units = vec![(0.0, 0.0, 0.0, None::<usize>); count];
    for ((piece, show), unit) in pieces.iter().zip(shows).zip(unit_of) {
        let own = &mut units[unit];
        own.0 += piece.given;
        own.1 += piece.expected;
        own.2 += show;
        own.3 = match own.3 {
            None => Some(piece.block),
            Some(block) if block == piece.block => Some(block),
            Some(_) => Some(usize::MAX),
        };
    }
    let homes = in_order(units.iter().map(|u| u.3));
    let mut peers = vec![Peers::default(); homes.iter().max()? + 1];
    for (home, (given, expected, show, _)) in homes.into_iter().zip(units) {
        peers[home].given.push(given / expected);
        peers[home].shows.push(show);
    }
    Some(peers)
}

/// (1 + ρ)/(1 − ρ) for the correlation ρ of a panel with the next of its
/// stratum that was given the same; 1 where it is not positive.
fn serial_inflation(response: &Response, suspect: &Suspect, strata: Option<&[usize]>) -> f64 {
    let key = |at: usize| {
        let given = suspect.given[at].map(f64::to_bits);
        (suspect.blocks[at], strata.map_or(0, |s| s[at]), given)
    };
    let mut rows: Vec<usize> = (0..suspect.given.len())
        .filter(|&at| suspect.given[at].is_some() && response.expected[at] > 0.0)
        .collect();
    rows.sort_by_key(|&at| (key(at), at));
    let (mut product, mut square, mut lost) = (0.0, 0.0, 0.0);
    for group in rows.chunk_by(|&a, &b| key(a) == key(b)) {
        let sum: f64 = group.iter().map(|&at| response.expected[at]).sum();
        let mean = group.iter().map(|&at| response.value[at]).sum::<f64>() / sum;
        let rest: Vec<f64> = (group.iter())
            .map(|&at| response.value[at] - mean * response.expected[at])
            .collect();
        let own: f64 = rest.iter().map(|r| r * r).sum();
        square += own;
        product += rest.windows(2).map(|w| w[0] * w[1]).sum::<f64>();
        // Deviations from a group's own mean lean to the negative.
        lost += own / group.len() as f64;
    }
    if square <= 0.0 {
        return 1.0;
    }
    let correlation = ((product + lost) / square).clamp(0.0, 0.8);
    (1.0 + correlation) / (1.0 - correlation)
}

/// p of the same score if its variance is so many times larger.
fn less_sure(p: f64, inflation: f64) -> f64 {
    if p >= 0.5 {
        return p;
    }
    normal::upper(normal::upper_quantile(p) / inflation.sqrt())
}

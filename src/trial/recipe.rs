//! Recipe trials: from factors to runs in order.

use rand::SeedableRng;
use rand_chacha::ChaCha8Rng;
use serde::Serialize;

use super::curved;
use super::factor::{Factor, Never, Settings};
use super::follow::Earlier;
use super::needed::MOST_PANELS;
use super::optimal;
use super::order::{Point, order};
use super::plan::{Note, Plan, Purpose, Run};
use super::precision::{Precision, precision};
use super::terms::Model;
use super::two_level::{self, Fraction, Word, letters, product};
use super::{Lots, TrialError};
use crate::columns::Column;
use crate::site::{Site, nearest};

/// The shape of a recipe trial.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Shape {
    /// Full or fractional factorial, each factor low and high.
    TwoLevel,
    /// Twelve runs for up to eleven factors, each by itself.
    Screening,
    /// Corners, stars and middle: how effects bend.
    CentralComposite,
    /// Pairs at their corners, the rest in the middle: the same without corners.
    BoxBehnken,
    /// Runs chosen for what they tell, factors and pairs.
    DOptimal,
    /// The same with bends.
    DOptimalCurved,
}

impl Shape {
    pub(super) fn name(self) -> &'static str {
        match self {
            Shape::TwoLevel => "two-level",
            Shape::Screening => "screening",
            Shape::CentralComposite => "central composite",
            Shape::BoxBehnken => "Box–Behnken",
            Shape::DOptimal => "D-optimal",
            Shape::DOptimalCurved => "D-optimal curved",
        }
    }
}

/// What is asked of a recipe trial.
#[derive(Debug, Clone, PartialEq)]
pub struct RecipeRequest {
    /// Id of the plan.
    pub name: String,
    /// What is to be moved; with `follow` none.
    pub factors: Vec<Factor>,
    /// The shape; none: two-level where that can be.
    pub shape: Option<Shape>,
    /// Runs without centre runs; of a central composite design its corners.
    pub runs: Option<usize>,
    /// How often all of them are run.
    pub repeats: usize,
    /// Lots to share them out to.
    pub lots: Lots,
    /// Centre runs a lot; none: three, or two where there are several lots.
    pub centres: Option<usize>,
    /// What must not be run together.
    pub never: Vec<Never>,
    /// An earlier plan, and the effect that the new one is to part from its likes.
    pub follow: Option<(Earlier, String)>,
    /// SD of ln removal between panels at one setting.
    pub scatter: Option<f64>,
    /// Seed of the order.
    pub seed: u64,
}

/// A factor of a plan.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct PlannedFactor {
    /// Its letter in words.
    pub letter: String,
    /// Column or further factor.
    pub name: String,
    /// Range, in the column's unit.
    pub low: Option<f64>,
    /// The same.
    pub high: Option<f64>,
    /// Named levels.
    pub levels: Vec<String>,
}

/// Effects that a plan can't tell apart.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct AliasChain {
    /// As words: `A`, `BC`.
    pub words: Vec<String>,
    /// The factors of each: one or two.
    pub effects: Vec<Vec<String>>,
}

/// A recipe trial as it was designed.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Design {
    /// Its shape.
    pub shape: Shape,
    /// Its factors in the order of their letters.
    pub factors: Vec<PlannedFactor>,
    /// Which factor is the product of which, `D=ABC`.
    pub generators: Vec<String>,
    /// Products that are constant over all runs, of both plans in a follow-up.
    pub defining_words: Vec<String>,
    /// Length of the shortest of them; none where there is none.
    pub resolution: Option<u32>,
    /// What can't be told apart, of effects of one or two factors.
    pub aliases: Vec<AliasChain>,
    /// Products that the lots hide.
    pub lot_words: Vec<String>,
    /// Coded place of the stars.
    pub alpha: Option<f64>,
    /// |X'X| of chosen runs.
    pub determinant: Option<f64>,
    /// What the runs can tell.
    pub model: Model,
    /// Factors whose signs a follow-up reverses.
    pub reversed: Vec<String>,
    /// How well each factor will be known.
    pub precision: Vec<Precision>,
    /// Panels in all.
    pub panels: usize,
}

/// Runs before they are ordered.
struct Laid {
    shape: Shape,
    coded: Vec<Vec<f64>>,
    /// Coded value of the ends of a range.
    reach: f64,
    fraction: Option<Fraction>,
    determinant: Option<f64>,
    model: Model,
}

/// Plans a recipe trial.
///
/// # Errors
///
/// [`TrialError`] where it can't be done as asked.
pub fn recipe(request: &RecipeRequest, site: &Site) -> Result<Plan, TrialError> {
    let mut notes = Vec::new();
    let given = match &request.follow {
        Some((earlier, _)) => &earlier.factors,
        None => &request.factors,
    };
    let factors = checked(given, site, &mut notes)?;
    for part in request.never.iter().flat_map(|n| &n.0) {
        if !factors.iter().any(|f| f.name == part.name) {
            let near = nearest(&part.name, factors.iter().map(|f| f.name.as_str()));
            return Err(TrialError::UnknownFactor {
                name: part.name.clone(),
                near: near.map(str::to_owned),
            });
        }
    }
    if request.runs == Some(0) || request.repeats == 0 || request.lots.count() == 0 {
        return Err(TrialError::NoPanels);
    }
    if request.runs.is_some_and(|runs| runs > MOST_PANELS) {
        return Err(TrialError::TooManyPanels { most: MOST_PANELS });
    }
    let mut laid = lay(request, &factors)?;
    if laid.shape == Shape::DOptimal && request.shape.is_none() {
        notes.push(Note::ChosenRuns);
    }
    let mut reversed: Word = 0;
    if let (Some((earlier, effect)), Some(fraction)) = (&request.follow, &laid.fraction) {
        reversed = fraction.reversal(earlier.effect(effect)?, effect)?;
        for run in &mut laid.coded {
            for (at, sign) in run.iter_mut().enumerate() {
                if reversed >> at & 1 == 1 {
                    *sign = -*sign;
                }
            }
        }
    }
    let lots = request.lots.count();
    let centres = request.centres.unwrap_or(if lots > 1 { 2 } else { 3 });
    let of_lots = lots.saturating_mul(centres);
    let all = laid.coded.len().saturating_mul(request.repeats);
    if all.saturating_add(of_lots) > MOST_PANELS {
        return Err(TrialError::TooManyPanels { most: MOST_PANELS });
    }
    for run in &mut laid.coded {
        for (coded, factor) in run.iter_mut().zip(&factors) {
            *coded = factor.as_run(*coded, laid.reach);
        }
    }
    let (points, lot_words) = shared_out(request, &laid)?;
    let middle = middle(request, &factors, &laid, &mut notes);
    let hard = factors.iter().position(Factor::hard_to_change);
    let mut rng = ChaCha8Rng::seed_from_u64(request.seed);
    let centre = middle.as_deref().map(|m| (m, centres)).filter(|c| c.1 > 0);
    let (points, changes) = order(&points, lots, hard, centre, &mut rng);
    if let Some(at) = hard {
        notes.push(Note::FewChanges {
            factor: factors[at].name.clone(),
            changes,
            stretches: changes + 1,
        });
    }
    let precision = precision(
        &factors,
        &points,
        &laid.model,
        laid.reach,
        hard,
        request.scatter,
    );
    let unknown = factors
        .iter()
        .filter(|f| precision.iter().all(|p| p.factor != f.name));
    if precision.is_empty() {
        notes.push(Note::NoScatter);
    } else {
        notes.extend(unknown.map(|f| Note::NoInterval {
            factor: f.name.clone(),
        }));
    }
    if !precision.is_empty() && request.scatter.is_none() {
        notes.push(Note::ScatterTaken {
            scatter: super::precision::USUAL_SCATTER,
        });
    }
    let fraction = laid.fraction.as_ref();
    let words: Vec<Word> = fraction
        .map(Fraction::words)
        .unwrap_or_default()
        .into_iter()
        .filter(|w| (w & reversed).count_ones().is_multiple_of(2))
        .collect();
    let design = Design {
        shape: laid.shape,
        generators: fraction.map_or(Vec::new(), |f| generators(f, reversed)),
        resolution: words.iter().map(|w| w.count_ones()).min(),
        aliases: two_level::chains(factors.len(), &words)
            .iter()
            .map(|chain| named(chain, &factors))
            .collect(),
        defining_words: words.iter().map(|w| letters(*w)).collect(),
        lot_words: hidden_by_lots(&lot_words, fraction)
            .iter()
            .map(|w| letters(*w))
            .collect(),
        alpha: (laid.shape == Shape::CentralComposite).then_some(laid.reach),
        determinant: laid.determinant,
        model: laid.model,
        reversed: names(reversed, &factors),
        precision,
        panels: points.len(),
        factors: planned(&factors),
    };
    Ok(Plan {
        plan: request.name.clone(),
        seed: request.seed,
        purpose: Purpose::Recipe(design),
        columns: columns(&factors, &request.lots),
        runs: runs(&points, &factors, laid.reach, &request.lots),
        notes,
    })
}

fn checked(
    given: &[Factor],
    site: &Site,
    notes: &mut Vec<Note>,
) -> Result<Vec<Factor>, TrialError> {
    let mut factors: Vec<Factor> = Vec::new();
    for factor in given {
        let (factor, cut) = factor.clone().within(site)?;
        if factors.iter().any(|f| f.name == factor.name) {
            return Err(TrialError::Twice { name: factor.name });
        }
        if let (true, Settings::Between(low, high)) = (cut, &factor.settings) {
            notes.push(Note::RangeCut {
                factor: factor.name.clone(),
                low: *low,
                high: *high,
            });
        }
        factors.push(factor);
    }
    Ok(factors)
}

/// Chooses the shape and lays the runs.
fn lay(request: &RecipeRequest, factors: &[Factor]) -> Result<Laid, TrialError> {
    let count = factors.len();
    if let Some(runs) = request.runs.filter(|runs| *runs <= count) {
        return Err(TrialError::TooFewRuns {
            factors: count,
            runs,
            least: count + 1,
        });
    }
    let standard = match request.runs {
        Some(runs) => Fraction::standard(count, runs),
        None => Fraction::usual(count),
    };
    if let Some((earlier, _)) = &request.follow {
        return Ok(two_level_runs(earlier.fraction.clone()));
    }
    let many = factors.iter().any(|f| f.levels() > 2);
    let chosen = many || !request.never.is_empty() || standard.is_none();
    let shape = match request.shape {
        Some(shape) => shape,
        None if chosen => Shape::DOptimal,
        None => Shape::TwoLevel,
    };
    let not_offered = |offered| TrialError::NotOffered {
        shape: shape.name(),
        factors: count,
        runs: request.runs.unwrap_or(0),
        offered,
    };
    let bends = |names: bool| match factors
        .iter()
        .find(|f| !f.bends() && (names || f.is_number()))
    {
        None => Ok(()),
        Some(factor) => Err(match factor.settings {
            Settings::Named(_) => TrialError::NeedsNumbers {
                name: factor.name.clone(),
                shape: shape.name(),
            },
            Settings::Between(low, high) => TrialError::NothingBetween {
                name: factor.name.clone(),
                low,
                high,
                shape: shape.name(),
            },
        }),
    };
    let laid = match shape {
        Shape::TwoLevel => {
            if let Some(factor) = factors.iter().find(|f| f.levels() > 2) {
                return Err(TrialError::NeedsNumbers {
                    name: factor.name.clone(),
                    shape: shape.name(),
                });
            }
            two_level_runs(standard.ok_or_else(|| not_offered(Fraction::offered(count)))?)
        }
        Shape::Screening => Laid {
            coded: curved::screening(count)
                .filter(|runs| request.runs.is_none_or(|asked| asked == runs.len()))
                .ok_or_else(|| not_offered(vec![curved::SCREENING_RUNS]))?,
            ..of_shape(shape, Model::Single)
        },
        Shape::CentralComposite => {
            bends(true)?;
            let corners = match request.runs {
                Some(runs) => Fraction::standard(count, runs)
                    .filter(|f| f.resolution().is_none_or(|r| r >= 5)),
                None => curved::usual_corners(count),
            };
            let (coded, alpha) =
                curved::central_composite(&corners.ok_or_else(|| not_offered(Vec::new()))?);
            Laid {
                coded,
                reach: alpha,
                ..of_shape(shape, Model::Curved)
            }
        }
        Shape::BoxBehnken => {
            bends(true)?;
            Laid {
                coded: curved::box_behnken(count)
                    .filter(|runs| request.runs.is_none_or(|asked| asked == runs.len()))
                    .ok_or_else(|| not_offered(Vec::new()))?,
                ..of_shape(shape, Model::Curved)
            }
        }
        Shape::DOptimalCurved => {
            bends(false)?;
            d_optimal(request, factors, shape)?
        }
        Shape::DOptimal => d_optimal(request, factors, shape)?,
    };
    Ok(laid)
}

fn of_shape(shape: Shape, model: Model) -> Laid {
    Laid {
        shape,
        coded: Vec::new(),
        reach: 1.0,
        fraction: None,
        determinant: None,
        model,
    }
}

fn two_level_runs(fraction: Fraction) -> Laid {
    Laid {
        coded: fraction.runs(),
        model: if fraction.resolution().is_none_or(|r| r >= 5) {
            Model::Pairs
        } else {
            Model::Single
        },
        fraction: Some(fraction),
        ..of_shape(Shape::TwoLevel, Model::Single)
    }
}

/// Steps of a number in the grid: two where nothing bends, three where it does,
/// five where corners are cut off and the edge has to be met.
fn steps(request: &RecipeRequest, shape: Shape) -> usize {
    match (request.never.is_empty(), shape) {
        (false, _) => 5,
        (true, Shape::DOptimalCurved) => 3,
        (true, _) => 2,
    }
}

fn d_optimal(
    request: &RecipeRequest,
    factors: &[Factor],
    shape: Shape,
) -> Result<Laid, TrialError> {
    let zero = vec![0.0; factors.len()];
    let width = |model| super::terms::row(factors, &zero, model).len();
    let model = match (shape, request.runs) {
        (Shape::DOptimalCurved, _) => Model::Curved,
        (_, Some(runs)) if runs < width(Model::Pairs) => Model::Single,
        _ => Model::Pairs,
    };
    // Three more than there are unknowns, to tell the scatter.
    let runs = request.runs.unwrap_or(width(model) + 3);
    if runs < width(model) {
        return Err(TrialError::TooFewRuns {
            factors: factors.len(),
            runs,
            least: width(model),
        });
    }
    let allowed = |coded: &[f64]| !forbidden(request, factors, coded, 1.0);
    let candidates = optimal::grid(factors, steps(request, shape), allowed);
    let chosen = optimal::choose(factors, &candidates, runs, model, request.seed)?;
    Ok(Laid {
        coded: chosen.runs,
        determinant: Some(chosen.determinant),
        ..of_shape(shape, model)
    })
}

fn forbidden(request: &RecipeRequest, factors: &[Factor], coded: &[f64], reach: f64) -> bool {
    let values: Vec<_> = (factors.iter().zip(coded))
        .map(|(f, c)| f.value(*c / reach))
        .collect();
    request.never.iter().any(|n| n.forbids(factors, &values))
}

/// Shares the runs and their repeats out to the lots: whole repeats where they
/// divide, else by the signs of words that hide no factor.
fn shared_out(request: &RecipeRequest, laid: &Laid) -> Result<(Vec<Point>, Vec<Word>), TrialError> {
    let lots = request.lots.count();
    let repeated = request.repeats.is_multiple_of(lots);
    let words = match &laid.fraction {
        _ if repeated => Vec::new(),
        Some(fraction) => fraction.block_words(lots).unwrap_or_default(),
        None => Vec::new(),
    };
    if !repeated && words.is_empty() {
        return Err(TrialError::LotsDontDivide {
            runs: laid.coded.len() * request.repeats,
            lots,
        });
    }
    let mut points = Vec::new();
    for repeat in 0..request.repeats {
        for coded in &laid.coded {
            let sign = |w: &Word| usize::from(product(coded, *w) > 0.0);
            let lot = if repeated {
                repeat % lots
            } else {
                words.iter().fold(0, |lot, w| 2 * lot + sign(w))
            };
            points.push(Point {
                coded: coded.clone(),
                lot,
                centre: false,
            });
        }
    }
    Ok((points, words))
}

/// All products that go with the lots, their likes included, shortest first.
fn hidden_by_lots(lot_words: &[Word], fraction: Option<&Fraction>) -> Vec<Word> {
    let group = fraction.map(Fraction::words).unwrap_or_default();
    let own = two_level::products(lot_words);
    let likes = own.iter().flat_map(|w| group.iter().map(move |g| g ^ w));
    let mut all: Vec<Word> = likes.chain(own.iter().copied()).collect();
    all.sort_by_key(|w| (w.count_ones(), *w));
    all
}

/// The setting of centre runs; none where no factor has a middle or it may not
/// be run.
fn middle(
    request: &RecipeRequest,
    factors: &[Factor],
    laid: &Laid,
    notes: &mut Vec<Note>,
) -> Option<Vec<f64>> {
    let has_middle = |f: &Factor| match f.settings {
        Settings::Between(low, high) => !f.whole() || (high - low) % 2.0 == 0.0,
        Settings::Named(_) => false,
    };
    if request.centres == Some(0) || !factors.iter().any(has_middle) {
        return None;
    }
    let coded: Vec<f64> = factors
        .iter()
        .map(|f| match (has_middle(f), f.levels()) {
            (true, _) => 0.0,
            (false, 2) => -laid.reach,
            (false, _) => 0.0,
        })
        .collect();
    if forbidden(request, factors, &coded, laid.reach) {
        notes.push(Note::NoCentre);
        return None;
    }
    let fixed = factors
        .iter()
        .filter(|f| !has_middle(f) && !f.hard_to_change());
    notes.extend(fixed.map(|f| Note::NoMiddle {
        factor: f.name.clone(),
    }));
    Some(coded)
}

/// `D=ABC`; `D=-ABC` where a reversal changes the sign.
fn generators(fraction: &Fraction, reversed: Word) -> Vec<String> {
    let sign = |whole: Word| {
        if (whole & reversed).count_ones() % 2 == 1 {
            "-"
        } else {
            ""
        }
    };
    (fraction.generators.iter().enumerate())
        .map(|(i, w)| {
            let own: Word = 1 << (fraction.basic + i);
            format!("{}={}{}", letters(own), sign(own | w), letters(*w))
        })
        .collect()
}

fn names(word: Word, factors: &[Factor]) -> Vec<String> {
    (0..factors.len())
        .filter(|i| word >> i & 1 == 1)
        .map(|i| factors[i].name.clone())
        .collect()
}

fn named(chain: &[Word], factors: &[Factor]) -> AliasChain {
    AliasChain {
        words: chain.iter().map(|w| letters(*w)).collect(),
        effects: chain.iter().map(|w| names(*w, factors)).collect(),
    }
}

fn planned(factors: &[Factor]) -> Vec<PlannedFactor> {
    factors
        .iter()
        .enumerate()
        .map(|(i, factor)| {
            let (range, levels) = match &factor.settings {
                Settings::Between(low, high) => (Some((*low, *high)), Vec::new()),
                Settings::Named(levels) => (None, levels.clone()),
            };
            PlannedFactor {
                letter: letters(1 << i),
                name: factor.name.clone(),
                low: range.map(|r| r.0),
                high: range.map(|r| r.1),
                levels,
            }
        })
        .collect()
}

/// The planned columns: the lot where lots are named, then the factors.
fn columns(factors: &[Factor], lots: &Lots) -> Vec<String> {
    let lot = lots.is_named().then(|| Column::Lot.name().to_owned());
    lot.into_iter()
        .chain(factors.iter().map(|f| f.name.clone()))
        .collect()
}

fn runs(points: &[Point], factors: &[Factor], reach: f64, lots: &Lots) -> Vec<Run> {
    points
        .iter()
        .enumerate()
        .map(|(i, point)| {
            let values = (factors.iter().zip(&point.coded)).map(|(f, c)| f.value(*c / reach));
            Run {
                run: i + 1,
                block: point.lot + 1,
                centre: point.centre,
                coded: point.coded.clone(),
                settings: lots
                    .name(point.lot)
                    .into_iter()
                    .chain(values)
                    .map(Some)
                    .collect(),
            }
        })
        .collect()
}

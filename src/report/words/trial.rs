//! Words of a plan: how to run it, what it can and can't tell.

mod came_back;

use super::caution::{Touch, caution as caution_words};
use super::counting::capital;
use super::recipe;
use crate::charts::NumberStyle;
use crate::columns::Column;
use crate::removal::Factor;
use crate::trial::{
    AliasChain, Design, Model, Note, Plan, Precision, Purpose, Settles, Shape, Turns,
};
pub use came_back::{READ_BACK, came_back, places};

/// Heading over what to do.
pub const HOW: &str = "How to run it";
/// Heading over what the plan can tell.
pub const TELLS: &str = "What it can tell";
/// Heading over what it can't.
pub const DOES_NOT_TELL: &str = "What it can't tell, and what to keep in mind";
/// Caption of the order.
pub const ORDER: &str = "The order, as in sheet.csv.";

/// What is moved.
pub fn moved(factors: &[String]) -> String {
    format!("Moved: {}.", factors.join("; "))
}

/// First columns of the order.
pub const ORDER_COLUMNS: [(&str, bool); 2] = [("Runs", false), ("Block", true)];

/// A column in plain words.
pub fn factor(name: &str) -> String {
    let known = match Column::from_name(name) {
        Some(Column::FeedMmS) => Factor::Feed,
        Some(Column::Passes) => Factor::Passes,
        Some(Column::ForceN) => Factor::Force,
        Some(Column::Grit) => Factor::Grit,
        Some(Column::AbrasiveAge) => Factor::AbrasiveAge,
        Some(Column::Recipe) => Factor::Recipe,
        Some(Column::Part) => Factor::Part,
        Some(Column::LayDeg) => return "lay in the cell".to_owned(),
        Some(Column::InspectLayDeg) => return "lay at the inspection table".to_owned(),
        Some(Column::AbrasiveId) => return "abrasive".to_owned(),
        _ => Factor::Site(name.to_owned()),
    };
    recipe::factor(&known)
}

/// A range with its unit.
pub fn range(low: &str, high: &str, unit: Option<&str>) -> String {
    match unit {
        Some(unit) => format!("{low} to {high} {unit}"),
        None => format!("{low} to {high}"),
    }
}

/// The title.
pub fn title(plan: &Plan) -> String {
    let what = match &plan.purpose {
        Purpose::Recipe(_) => "Recipe trial",
        Purpose::Settle(_) => "Trial to settle what is open",
        Purpose::Change(_) => "Old and new by turns",
    };
    format!("{what}: {}", plan.plan)
}

/// How much it is.
pub fn lead(plan: &Plan, numbers: &NumberStyle) -> String {
    let blocks = plan.runs.iter().map(|r| r.block).max().unwrap_or(1);
    let lots = if blocks > 1 {
        format!("in {} blocks", numbers.count(blocks))
    } else {
        "in one block".to_owned()
    };
    let panels = numbers.count(plan.runs.len());
    match &plan.purpose {
        Purpose::Recipe(design) => format!(
            "{panels} panels {lots}, one at each run: {}.",
            shape(design)
        ),
        Purpose::Settle(_) | Purpose::Change(_) => format!("{panels} panels {lots}."),
    }
}

fn shape(design: &Design) -> String {
    let runs = match design.shape {
        Shape::TwoLevel if design.generators.is_empty() => "all combinations of low and high",
        Shape::TwoLevel => "a fraction of the combinations of low and high",
        Shape::Screening => "twelve combinations of low and high (Plackett–Burman)",
        Shape::CentralComposite => "corners, stars and middle (central composite)",
        Shape::BoxBehnken => "middles of edges and middle (Box–Behnken)",
        Shape::DOptimal | Shape::DOptimalCurved => "settings chosen for what they tell (D-optimal)",
    };
    runs.to_owned()
}

/// What to do on the shop floor.
pub fn how_to_run(plan: &Plan) -> Vec<String> {
    let blocks = plan.runs.iter().map(|r| r.block).max().unwrap_or(1);
    let mut out = vec![
        "Run the panels in the order of plan_run, all else as usual. Don't sort the runs by setting: the order \
         keeps drift apart from the settings."
            .to_owned(),
    ];
    let has = |column: Column| plan.columns.iter().any(|c| c == column.name());
    let compared = |column: Column| match &plan.purpose {
        Purpose::Settle(contrasts) => contrasts.iter().any(|c| c.column == column.name()),
        Purpose::Recipe(_) | Purpose::Change(_) => false,
    };
    if compared(Column::Supplier) || compared(Column::Part) {
        out.push("Take the panels of each stretch of one supplier or part from a lot of their own, and fill in which.".to_owned());
    } else if compared(Column::Lot) {
        out.push(
            "Each block is a round through the lots: keep panels of both lots ready.".to_owned(),
        );
    } else if blocks > 1 {
        out.push(format!(
            "Take all panels of one block from one lot, {blocks} blocks in all, and fill in which."
        ));
    } else {
        out.push("Take all panels from one lot and fill in which.".to_owned());
    }
    if has(Column::InspectLayDeg) {
        out.push("Lay each panel at the inspection table as the sheet says, whatever its lay in the cell.".to_owned());
    } else if has(Column::LayDeg) {
        out.push("At the inspection table lay all panels the same way round, whatever their lay in the cell.".to_owned());
    }
    if has(Column::Grit) || has(Column::AbrasiveId) {
        out.push(
            "Put a fresh abrasive on at each change and fill in its age, 0 on the first panel: by that the report \
             knows the stretches."
                .to_owned(),
        );
    }
    out.push(
        "Write each panel’s id beside its run. What was run otherwise, write down as it was; a run that was left \
         out stays blank."
            .to_owned(),
    );
    out.push(match &plan.purpose {
        Purpose::Change(turns) => format!(
            "Inspect all panels, clean ones too, then: onus compare DATA SHEET --before {0}={1} --after {0}={2} --on \
             '{3}'.",
            turns.column, turns.values[0], turns.values[1], turns.defect
        ),
        _ => "Inspect or measure all panels, clean ones too, then: onus report DATA SHEET.".to_owned(),
    });
    out
}

/// What the plan can tell.
pub fn tells(plan: &Plan, numbers: &NumberStyle) -> Vec<String> {
    match &plan.purpose {
        Purpose::Recipe(design) => recipe_tells(design, plan, numbers),
        Purpose::Settle(contrasts) => contrasts.iter().map(|c| settles(c, numbers)).collect(),
        Purpose::Change(turns) => vec![by_turns(turns, numbers)],
    }
}

fn recipe_tells(design: &Design, plan: &Plan, numbers: &NumberStyle) -> Vec<String> {
    let mut out: Vec<String> = design
        .precision
        .iter()
        .map(|p| known_to(p, numbers))
        .collect();
    if !design.reversed.is_empty() {
        let names: Vec<String> = design.reversed.iter().map(|n| factor(n)).collect();
        out.push(format!(
            "Read together with the first plan: the signs of {} are reversed here.",
            names.join(" and ")
        ));
    }
    let pairs = design.model != Model::Single;
    if design.aliases.is_empty() && pairs {
        out.push("Each factor by itself, and what each two of them do together.".to_owned());
    }
    if plan.runs.iter().any(|r| r.centre) {
        out.push(
            "The repeated runs in the middle show drift through the trial, and whether effects bend in between."
                .to_owned(),
        );
    }
    if design.model == Model::Curved {
        out.push("How each factor’s effect bends between its ends.".to_owned());
    }
    out
}

fn known_to(p: &Precision, numbers: &NumberStyle) -> String {
    let factor_of = |ln: f64| numbers.significant(ln.exp(), 3);
    let exponent = p.half_width_exponent.map_or(String::new(), |half| {
        format!(" (its exponent to ± {})", numbers.significant(half, 2))
    });
    format!(
        "{}: removal at one end against the other to within a factor of {}{exponent}; a ratio of {} is shown with a \
         chance of 80 %{}.",
        capital(&factor(&p.factor)),
        factor_of(p.half_width_ln),
        numbers.significant(p.shown_ratio, 3),
        if p.at_best {
            ", at best, since it is changed a few times only"
        } else {
            ""
        }
    )
}

fn settles(contrast: &Settles, numbers: &NumberStyle) -> String {
    let ids: Vec<String> = contrast
        .questions
        .iter()
        .map(|q| {
            if q.id.contains(&q.defect) {
                q.id.clone()
            } else {
                format!("{} ({})", q.id, q.defect)
            }
        })
        .collect();
    let whether = if contrast.column == Column::LayDeg.name() {
        "stays in the machine or turns with the panels".to_owned()
    } else if contrast.column == Column::InspectLayDeg.name() {
        "stays on the inspection table".to_owned()
    } else {
        format!(
            "goes with {}, {}",
            factor(&contrast.column),
            contrast.levels.join(" or ")
        )
    };
    let share = numbers.percent(contrast.goal.share, 100);
    let marks = if contrast.goal.of_place {
        format!("{share} of the panels")
    } else {
        format!(
            "{share} of the panels at one and {} at the other",
            numbers.percent(contrast.goal.without, 100)
        )
    };
    format!(
        "Whether {} {whether}. Told with a chance of {} where it marks {marks}, tested at {}; {} panels \
         would do for this alone.",
        ids.join(", "),
        numbers.percent(contrast.power, 100),
        numbers.percent(contrast.goal.alpha, 100),
        numbers.count(contrast.panels),
    )
}

fn by_turns(turns: &Turns, numbers: &NumberStyle) -> String {
    let seen = if turns.panels_seen > 0 {
        format!(
            "by {} panels as it runs now",
            numbers.count(turns.panels_seen)
        )
    } else {
        "by a rate alone, marks coming one at a time; lots or days that differ take more".to_owned()
    };
    format!(
        "Whether {} comes less often with {} {} than with {}: {} panels by turns, in blocks of {}, show a ratio of {} \
         with a chance of {} at a level of {} ({seen}).",
        turns.defect,
        factor(&turns.column),
        turns.values[1],
        turns.values[0],
        numbers.count(turns.panels_needed),
        numbers.count(turns.block_panels),
        numbers.significant(turns.ratio, 2),
        numbers.percent(turns.power, 100),
        numbers.percent(turns.level, 100),
    )
}

/// What the plan can't tell.
pub fn does_not_tell(plan: &Plan) -> Vec<String> {
    match &plan.purpose {
        Purpose::Recipe(design) => {
            let mut out: Vec<String> = design.aliases.iter().map(alias).collect();
            out.extend(with_lots(design));
            if design.model == Model::Single && design.aliases.is_empty() {
                out.push(
                    "What two factors do together: it is mixed into the effects of single ones, in parts.".to_owned(),
                );
            }
            if design.model != Model::Curved {
                out.push(
                    "Where between the ends an effect bends: that takes --shape central-composite."
                        .to_owned(),
                );
            }
            out.push(
                "Rare defects: this counts removal; for defects compare old and new by turns."
                    .to_owned(),
            );
            out
        }
        Purpose::Settle(_) => {
            vec!["What goes with anything that the sheet does not change.".to_owned()]
        }
        Purpose::Change(_) => {
            vec!["Why it helps or hurts; and nothing about lots of another kind.".to_owned()]
        }
    }
}

/// Pairs of factors that go with the lots.
fn with_lots(design: &Design) -> Option<String> {
    let pairs: Vec<String> = design
        .lot_words
        .iter()
        .filter(|word| word.chars().count() <= 2)
        .map(|word| {
            let own = design.factors.iter().filter(|f| word.contains(&f.letter));
            let names: Vec<String> = own.map(|f| factor(&f.name)).collect();
            names.join(" with ")
        })
        .collect();
    if pairs.is_empty() {
        return None;
    }
    let text = format!("{} can’t be told apart from the lots.", pairs.join(", "));
    Some(capital(&text))
}

fn alias(chain: &AliasChain) -> String {
    let effects: Vec<String> = chain
        .effects
        .iter()
        .map(|names| {
            let names: Vec<String> = names.iter().map(|n| factor(n)).collect();
            names.join(" with ")
        })
        .collect();
    let (last, first) = match effects.split_last() {
        Some((last, first)) => (last.as_str(), first.join(", ")),
        None => ("", String::new()),
    };
    capital(&format!(
        "{first} and {last} can’t be told apart by this plan."
    ))
}

/// There are more.
pub fn more(count: usize) -> String {
    format!("{count} more in plan.json.")
}

/// Doubts in words.
pub fn notes(plan: &Plan, numbers: &NumberStyle) -> Vec<String> {
    plan.notes.iter().map(|n| note(n, numbers)).collect()
}

fn note(note: &Note, numbers: &NumberStyle) -> String {
    match note {
        Note::RangeCut {
            factor: name,
            low,
            high,
        } => format!(
            "The site’s limits cut the range of {} to {low} to {high}.",
            factor(name)
        ),
        Note::ChosenRuns => "The runs were chosen from a grid (D-optimal), since they fit no standard design or some \
             settings must not be run."
            .to_owned(),
        Note::FewChanges {
            factor: name,
            changes,
            stretches,
        } => format!(
            "{} is changed {} only, so it is told from {stretches} stretches, not from single panels.",
            capital(&factor(name)),
            match changes {
                1 => "once".to_owned(),
                n => format!("{n} times"),
            }
        ),
        Note::NoMiddle { factor: name } => format!(
            "{} has no middle: it keeps its first setting in the middle runs.",
            capital(&factor(name))
        ),
        Note::NoCentre => "The middle must not be run, so nothing shows drift.".to_owned(),
        Note::NoScatter => "No run is left over to tell scatter: how sure an effect is can’t be said. Give --repeats 2 or \
             more --centres."
            .to_owned(),
        Note::NoInterval { factor: name } => format!(
            "{} has too few stretches to say how sure its effect will be. Give more --lots or --repeats.",
            capital(&factor(name))
        ),
        Note::ScatterTaken { scatter } => format!(
            "Taken for granted: panels at one setting scatter by {} in removal; --scatter says otherwise.",
            numbers.percent(*scatter, 100)
        ),
        Note::NeverMoved { factor: name } => format!(
            "{} was never changed: --factor {name}=LOW..HIGH takes it in.",
            capital(&factor(name))
        ),
        Note::NotByPanels { id, rival } => {
            format!("{id}: the rival “{rival}” is not settled by this sheet.")
        }
    }
}

/// The caution: what a trial touches.
pub fn caution(plan: &Plan) -> String {
    let has = |columns: &[Column]| {
        plan.columns
            .iter()
            .any(|c| columns.iter().any(|k| k.name() == c))
    };
    let mut touches = Vec::new();
    if has(&[
        Column::LayDeg,
        Column::Fixture,
        Column::Head,
        Column::Grit,
        Column::AbrasiveId,
    ]) {
        touches.push(Touch::Cell);
    }
    if has(&[Column::Grit, Column::AbrasiveId, Column::AbrasiveAge]) {
        touches.push(Touch::Abrasive);
    }
    let only_lay = has(&[Column::LayDeg, Column::InspectLayDeg, Column::Inspector]);
    if !only_lay || plan.columns.len() > 1 {
        touches.push(Touch::Recipe);
    }
    caution_words(&touches)
}

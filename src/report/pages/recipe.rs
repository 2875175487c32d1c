//! Removal and defect risk against the recipe, and the next setting to try.

use super::Context;
use crate::charts::{ChartError, Description, NumberStyle, Theme, age, effect, window};
use crate::removal::{
    Basis, Effect, FRESH_UP_TO, Factor, Reach, Removal, Risk, Risked, Value, Window,
};
use crate::report::story::RecipeWord;
use crate::report::words::caution::{self, Touch};
use crate::report::words::recipe::{self as words, notes};
use crate::report::{Block, Figure, Page, Start, Table};

/// The page, where the data carry it.
pub(super) fn page(context: &Context<'_>) -> Result<Option<Page>, ChartError> {
    let numbers = context.numbers();
    let Some(removal) = context
        .findings
        .removal
        .as_ref()
        .map(|r| in_site_units(r, numbers))
    else {
        return Ok(None);
    };
    let removal = &removal;
    let mut blocks = Vec::new();
    advice(context, removal, &mut blocks);
    if !removal.terms.is_empty() {
        let rows = removal.terms.iter().map(|t| words::term_row(t, numbers));
        let table = Table::new(words::TERMS_CAPTION, words::TERM_COLUMNS, rows);
        blocks.push(Block::Table(table));
    }
    risks(context, removal, &mut blocks);
    blocks.extend(charts(context, removal)?);
    let mut doubts = words::tied(removal, numbers);
    doubts.extend(
        removal
            .diagnostics
            .as_ref()
            .map(|d| words::diagnostics(d, numbers)),
    );
    let notes = removal.notes.iter().filter(|n| !n.says_why_no_lever());
    doubts.extend(notes.map(|n| notes::note(n, numbers)));
    if !doubts.is_empty() {
        blocks.push(Block::Heading(words::DOUBTS.into()));
        blocks.push(Block::List(doubts));
    }
    // a table of what shows nothing is no page of its own
    let has_model = !removal.terms.is_empty() || !removal.advice.is_empty();
    Ok(Some(Page {
        anchor: "recipe".into(),
        title: words::TITLE.into(),
        lead: words::lead(removal, numbers),
        start: if has_model {
            Start::WhereItFits
        } else {
            Start::Follows
        },
        blocks,
    }))
}

/// The same with settings in the units that the site's files use.
fn in_site_units(removal: &Removal, numbers: &NumberStyle) -> Removal {
    let scale = |of: &Factor| match of {
        Factor::Feed => numbers.feed.map_or(1.0, |unit| 1.0 / unit.factor()),
        Factor::Force => numbers.force.map_or(1.0, |unit| 1.0 / unit.factor()),
        _ => 1.0,
    };
    let mut out = removal.clone();
    for effect in &mut out.effects {
        let by = scale(&effect.factor);
        if effect.curve.is_empty() {
            continue;
        }
        effect.curve.iter_mut().for_each(|p| p.at *= by);
        effect.data.iter_mut().for_each(|d| d.0 *= by);
        effect.present = effect.present.map(|v| v * by);
    }
    for window in &mut out.windows {
        let by = scale(&window.lever);
        window.points.iter_mut().for_each(|p| p.setting *= by);
        window.present *= by;
        window.advised = window.advised.map(|v| v * by);
        window.best = window.best.map(|v| v * by);
        let ends = [
            &mut window.inside,
            &mut window.surely_inside,
            &mut window.perhaps_inside,
        ];
        for end in ends {
            *end = end.map(|(low, high)| (low * by, high * by));
        }
    }
    for advice in &mut out.advice {
        let by = scale(&advice.factor);
        advice.from = advice.from.map(|v| v * by);
        advice.to = advice.to.map(|v| v * by);
        if let Reach::EdgeOfRange { needed } | Reach::SiteLimit { needed } = &mut advice.reach {
            *needed *= by;
        }
    }
    for together in out.aliases.iter_mut().filter_map(|a| a.together.as_mut()) {
        for (factor, from, to) in &mut together.ends {
            let by = scale(factor);
            for value in [from, to] {
                if let Value::Number(v) = value {
                    *v *= by;
                }
            }
        }
    }
    out
}

/// What comes first, or the levers with their caution.
fn advice(context: &Context<'_>, removal: &Removal, blocks: &mut Vec<Block>) {
    let numbers = context.numbers();
    if !removal.held.is_empty() {
        blocks.push(Block::Heading(words::LEVERS.into()));
        blocks.push(Block::Paragraph(words::HELD.into()));
        blocks.push(Block::List(words::obstacles(&removal.held)));
        return;
    }
    let Some(first) = removal.advice.first() else {
        if let Some(why) = removal.notes.iter().find(|n| n.says_why_no_lever()) {
            blocks.push(Block::Heading(words::LEVERS.into()));
            blocks.push(Block::Paragraph(notes::note(why, numbers)));
        }
        return;
    };
    blocks.push(Block::Heading(words::LEVERS.into()));
    let target = context.site.recipe.target_removed_um;
    blocks.push(Block::Paragraph(format!(
        "{} {}",
        words::aim(first, target, numbers),
        words::CONTACT_FIRST
    )));
    let levers = || removal.advice.iter();
    let rows = levers().map(|a| words::advice_row(a, numbers));
    let table = Table::new(words::LEVERS_CAPTION, words::ADVICE_COLUMNS, rows);
    blocks.push(Block::Table(table));
    let remarks: Vec<String> = levers().filter_map(|a| words::reach(a, numbers)).collect();
    if !remarks.is_empty() {
        blocks.push(Block::List(remarks));
    }
    let mut touches = vec![Touch::Cell, Touch::Recipe];
    if levers().any(|a| a.factor == Factor::Grit) {
        touches.push(Touch::Abrasive);
    }
    blocks.push(Block::Caution(caution::caution(&touches)));
}

fn effects(
    context: &Context<'_>,
    removal: &Removal,
    theme: &Theme,
) -> Result<Option<Figure>, ChartError> {
    let numbers = context.numbers();
    let fields: Vec<effect::Field<'_>> = removal
        .effects
        .iter()
        .filter(|e| e.factor != Factor::AbrasiveAge)
        .map(|e| {
            let first = removal.advice.first().filter(|a| a.factor == e.factor);
            effect::Field {
                effect: e,
                name: words::axis(&e.factor, numbers),
                found: words::effect_found(e, removal, numbers),
                present: e.present.map_or_else(String::new, |v| {
                    format!("{} {}", words::NOW, words::figures(v, numbers))
                }),
                advised: first
                    .and_then(|a| a.to)
                    .map(|v| (v, format!("{} {}", words::TRY, words::figures(v, numbers)))),
            }
        })
        .collect();
    if fields.is_empty() {
        return Ok(None);
    }
    let alt = words::effects_alt(removal, numbers);
    let labels = effect::Labels {
        description: Description {
            title: words::EFFECTS_TITLE.into(),
            text: alt.clone(),
        },
        y: words::REMOVAL_AXIS.into(),
    };
    Ok(Some(Figure {
        name: "recipe-effects".into(),
        svg: effect::svg(&fields, &labels, theme)?,
        caption: words::EFFECTS_CAPTION.into(),
        alt,
    }))
}

/// Effects, windows and the abrasive's wear: in two columns where there is more
/// than one of them.
fn charts(context: &Context<'_>, removal: &Removal) -> Result<Option<Block>, ChartError> {
    let worn = removal.wear.as_ref().and_then(|found| {
        let of_age = |e: &&Effect| e.factor == Factor::AbrasiveAge;
        Some((found, removal.effects.iter().find(of_age)?))
    });
    let drawn = |theme: &Theme| -> Result<Vec<Figure>, ChartError> {
        let mut all: Vec<Figure> = effects(context, removal, theme)?.into_iter().collect();
        for found in &removal.windows {
            all.push(window_figure(context, found, theme)?);
        }
        if let Some((found, worn)) = worn {
            all.push(wear(worn, &words::wear(found, context.numbers()), theme)?);
        }
        Ok(all)
    };
    let half = drawn(&context.theme.half())?;
    Ok(match half.len() {
        0 => None,
        1 => drawn(context.theme)?.pop().map(Block::Figure),
        _ => Some(Block::columns(half)),
    })
}

fn wear(worn: &Effect, text: &str, theme: &Theme) -> Result<Figure, ChartError> {
    let labels = age::Labels {
        description: Description {
            title: words::WEAR_TITLE.into(),
            text: text.to_owned(),
        },
        x: words::AGE_AXIS.into(),
        y: words::REMOVAL_AXIS.into(),
        fresh: words::FRESH.into(),
    };
    Ok(Figure {
        name: "recipe-abrasive".into(),
        svg: age::svg(worn, FRESH_UP_TO, &labels, theme)?,
        caption: text.to_owned(),
        alt: text.to_owned(),
    })
}

fn risks(context: &Context<'_>, removal: &Removal, blocks: &mut Vec<Block>) {
    if removal.risks.is_empty() {
        return;
    }
    let numbers = context.numbers();
    blocks.push(Block::Heading(words::DEFECTS.into()));
    let kinds = || (removal.risks.iter()).filter(|r| matches!(r.of, Risked::Defect(_)));
    // a class of one kind, or that others make, says no more than its kinds
    let is_a_kind = |r: &Risk| {
        matches!(r.of, Risked::Class(_))
            && kinds().any(|kind| (kind.class, kind.defects) == (r.class, r.defects))
    };
    let told: Vec<(&Risk, RecipeWord)> = (removal.risks.iter())
        .filter(|r| !is_a_kind(r))
        .map(|r| (r, context.story.recipe_word(r)))
        .filter(|(r, word)| !matches!((&r.of, word), (Risked::Class(_), RecipeWord::Others(..))))
        .collect();
    let rows: Vec<_> = (told.iter())
        .filter(|(_, word)| !matches!(word, RecipeWord::Others(..)))
        .map(|(r, word)| {
            vec![
                words::risked(&r.of),
                numbers.count(r.panels_hit),
                words::movers(r, word, numbers),
            ]
        })
        .collect();
    if !rows.is_empty() {
        let table = Table::new(words::RISKS_CAPTION, words::RISK_COLUMNS, rows);
        blocks.push(Block::Table(table));
    }
    blocks.extend(words::others(&told, numbers).map(Block::Paragraph));
}

fn window_figure(
    context: &Context<'_>,
    found: &Window,
    theme: &Theme,
) -> Result<Figure, ChartError> {
    let numbers = context.numbers();
    let caption = words::window(found, numbers);
    let (name, [much, little]) = match found.basis {
        Basis::Limits => ("recipe-window-limits", words::OUTSIDE_LIMITS),
        Basis::Defects => ("recipe-window-defects", words::WITH_DEFECTS),
    };
    let at = |value: f64| words::setting(&found.lever, value, numbers);
    let labels = window::Labels {
        description: Description {
            title: words::WINDOW_TITLE.into(),
            text: caption.clone(),
        },
        x: words::axis(&found.lever, numbers),
        y: words::PANELS_AXIS.into(),
        too_much: much.into(),
        too_little: little.into(),
        accepted: words::accepted(found.accepted_share, numbers),
        present: format!("{} {}", words::NOW, at(found.present)),
        advised: found
            .advised
            .map_or_else(String::new, |v| format!("{} {}", words::TRY, at(v))),
        inside: words::INSIDE.into(),
    };
    Ok(Figure {
        name: name.into(),
        svg: window::svg(found, &labels, theme)?,
        alt: caption.clone(),
        caption,
    })
}

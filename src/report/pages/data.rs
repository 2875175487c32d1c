//! The data: what was read, what was set aside and why, what to doubt.

use std::collections::BTreeMap;

use super::Context;
use crate::records::{Lost, Reject};
use crate::report::ranking::Ranking;
use crate::report::words::{data, trial as trial_words};
use crate::report::{Block, Cell, Page, Start, Table};

/// Most rows of the table of kinds.
const KINDS: usize = 40;
/// Most rows of the table of rejects; all are in `rejects.csv`.
const REJECTS: usize = 40;
/// Most doubts; all are in `findings.json`.
const DOUBTS: usize = 20;

/// The page.
pub(super) fn page(context: &Context<'_>, ranking: &Ranking) -> Page {
    let numbers = context.numbers();
    let records = context.findings.records;
    let counts = data::counts(&records.input);
    let half = counts.len().div_ceil(2);
    let two = |k: usize| {
        let both = [counts.get(k), counts.get(half + k)];
        let cells = both.into_iter().flatten();
        cells.flat_map(move |(what, n)| [Cell::from(*what), Cell::from(numbers.count(*n))])
    };
    let mut blocks = vec![Block::Table(Table {
        caption: data::COUNTS_CAPTION.to_owned(),
        columns: data::counts_columns(),
        rows: (0..half).map(|k| two(k).collect()).collect(),
    })];
    if !ranking.kinds.is_empty() {
        let rows = ranking
            .kinds
            .iter()
            .take(KINDS)
            .map(|k| {
                vec![
                    Cell::from(k.name.as_str()),
                    Cell::from(data::class(k.class)),
                    Cell::from(numbers.count(k.panels)),
                    Cell::from(numbers.count(k.defects)),
                    Cell::from(k.cost.map_or("–".to_owned(), |c| numbers.significant(c, 3))),
                ]
            })
            .collect();
        blocks.push(Block::Table(Table {
            caption: data::kinds_caption(ranking.kinds.len(), KINDS, numbers),
            columns: data::kinds_columns(&context.site.defects.cost_unit),
            rows,
        }));
    }
    if !records.rejects.is_empty() {
        blocks.push(Block::Heading(data::SET_ASIDE.to_owned()));
        blocks.push(Block::Table(rejects(context)));
    }
    let planned = trial_words::came_back(
        records,
        &context.findings.causes.findings,
        context.findings.levels.alpha,
        numbers,
    );
    if !planned.is_empty() {
        blocks.push(Block::Heading(trial_words::READ_BACK.to_owned()));
        blocks.push(Block::List(planned));
    }
    let doubts: Vec<String> = context
        .findings
        .warnings()
        .map(|w| w.text.clone())
        .collect();
    if !doubts.is_empty() {
        blocks.push(Block::Heading(data::DOUBTS.to_owned()));
        let more = doubts.len().saturating_sub(DOUBTS);
        let mut shown: Vec<String> = doubts.into_iter().take(DOUBTS).collect();
        if more > 0 {
            shown.push(data::more_doubts(more, numbers));
        }
        blocks.push(Block::List(shown));
    }
    Page {
        anchor: "data".to_owned(),
        title: data::TITLE.to_owned(),
        lead: data::lead(&records.input, numbers),
        start: Start::Follows,
        blocks,
    }
}

/// Rejects by what was lost and the column to blame, the most frequent first.
fn rejects(context: &Context<'_>) -> Table {
    let numbers = context.numbers();
    let mut groups: BTreeMap<(Lost, &str), (usize, &Reject)> = BTreeMap::new();
    for reject in &context.findings.records.rejects {
        let key = (reject.lost, reject.column.as_deref().unwrap_or(""));
        groups.entry(key).or_insert((0, reject)).0 += 1;
    }
    let mut groups: Vec<_> = groups.into_iter().collect();
    groups.sort_by_key(|group| std::cmp::Reverse(group.1.0));
    let rows = groups
        .iter()
        .take(REJECTS)
        .map(|((lost, column), (count, first))| {
            vec![
                Cell::from(data::lost(*lost)),
                Cell::from(if column.is_empty() { "–" } else { *column }),
                Cell::from(numbers.count(*count)),
                Cell::from(data::example(first)),
            ]
        })
        .collect();
    Table {
        caption: data::rejects_caption(context.findings.records.rejects.len(), numbers),
        columns: data::rejects_columns(),
        rows,
    }
}

//! Page one: the answer.

use super::{Context, kinds_figure};
use crate::causes::Cause;
use crate::change::Verdict;
use crate::charts::ChartError;
use crate::report::front::Front;
use crate::report::ranking::Ranking;
use crate::report::words::counting::short;
use crate::report::words::{self, advice, caution, front};
use crate::report::{Block, Care, KeyNumber, Page, Start, Statement, Step};

/// Most lines under "what we found": page one stays one page.
const STATEMENTS: usize = 5;
/// Most steps.
const STEPS: usize = 4;
/// Most lines of good news.
const NEWS: usize = 3;
/// Most letters of a line.
const LINE: usize = 200;
/// Most bars of the chart.
const BARS: usize = 4;

/// The page.
pub(super) fn page(context: &Context<'_>, ranking: &Ranking) -> Result<Page, ChartError> {
    let findings = context.findings;
    let numbers = context.numbers();
    let front_page = Front::new(findings);
    let input = &front_page.input;
    let worst = front_page.worst_first();
    let values = findings
        .records
        .rejects
        .iter()
        .filter(|r| r.lost == crate::records::Lost::Value)
        .count();

    let mut blocks = vec![Block::Numbers(key_numbers(context, &front_page, ranking))];
    let statements = statements(context, &front_page);
    if !statements.is_empty() {
        blocks.push(Block::Heading(front::FOUND.to_owned()));
        blocks.push(Block::Statements(statements));
    }
    if let Some(change) = words::changes::latest(context.story, numbers) {
        blocks.push(Block::Heading(words::changes::LATEST.to_owned()));
        blocks.push(Block::Paragraph(short(&change, 2 * LINE)));
    }
    let steps = steps(context, &front_page);
    if !steps.is_empty() {
        blocks.push(Block::Heading(front::DO_FIRST.to_owned()));
        let careful = steps.iter().any(|s| s.care == Care::Caution);
        blocks.push(Block::Steps(steps));
        if careful {
            blocks.push(Block::Caution(caution::short()));
        }
    }
    let news = front_page.news(numbers);
    if !news.is_empty() {
        blocks.push(Block::Heading(words::life::GOOD_NEWS.to_owned()));
        let shown = news.iter().take(NEWS).map(|text| short(text, LINE));
        blocks.push(Block::List(shown.collect()));
    }
    let below: Vec<_> = (findings.below_the_line().into_iter())
        .filter_map(|f| Some((f, *findings.standings.get(&f.id)?)))
        .collect();
    blocks.extend(words::life::below(&below, numbers).map(Block::Paragraph));
    if let Some(note) = front::rejects_note(&findings.records.input, values, numbers) {
        blocks.push(Block::Paragraph(note));
    }
    blocks.extend(
        front::alarms(findings.records)
            .into_iter()
            .map(Block::Paragraph),
    );
    if !ranking.kinds.is_empty() {
        blocks.push(Block::Figure(kinds_figure(context, ranking, BARS)?));
    }
    let mut lead = vec![front::support(
        &worst,
        &findings.causes.streams,
        input,
        numbers,
    )];
    lead.extend(front_page.since(numbers));
    lead.extend(words::trend::on_page_one(&findings.weekly));
    Ok(Page {
        anchor: "front".to_owned(),
        title: short(&front_page.headline(numbers), LINE),
        lead: lead.join(" "),
        start: Start::NewSheet,
        blocks,
    })
}

fn key_numbers(context: &Context<'_>, page: &Front<'_>, ranking: &Ranking) -> Vec<KeyNumber> {
    let numbers = context.numbers();
    let input = &page.input;
    let worst = page.worst_first();
    let inspected = input.inspected_panels;
    let share = input.panels_hit() as f64 / inspected.max(1) as f64;
    let mut out = vec![
        KeyNumber {
            value: numbers.count(inspected),
            label: front::inspected_label(inspected).to_owned(),
        },
        KeyNumber {
            value: numbers.percent(share, inspected),
            label: front::WITH_DEFECT.to_owned(),
        },
        KeyNumber {
            value: numbers.count(worst.len()),
            label: front::findings_label(&worst, numbers),
        },
    ];
    match ranking.total_cost {
        Some(cost) => out.push(KeyNumber {
            value: format!(
                "{}\u{a0}{}",
                numbers.significant(cost, 3),
                short(&context.site.defects.cost_unit, 8)
            ),
            label: front::COST.to_owned(),
        }),
        None if !worst.is_empty() => {
            out.push(KeyNumber {
                value: numbers.count(page.panels_shown()),
                label: front::PANELS_IN_FINDINGS.to_owned(),
            });
        }
        None => {}
    }
    out
}

/// Findings, worst first; where there is room, streams that are settled
/// without a place, largest first.
fn statements(context: &Context<'_>, page: &Front<'_>) -> Vec<Statement> {
    let findings = context.findings;
    let numbers = context.numbers();
    let speech = context.speech();
    let worst = page.worst_first();
    let room = if worst.len() > STATEMENTS {
        STATEMENTS - 1
    } else {
        STATEMENTS
    };
    let mut out: Vec<Statement> = worst
        .iter()
        .take(room)
        .map(|finding| Statement {
            cause: finding.cause,
            cause_word: words::causes::cause(finding.cause).to_owned(),
            text: short(&page.statement(finding, &speech), LINE),
            sure: words::causes::sure(finding.certainty).to_owned(),
            link: Some(context.finding_anchor(finding)),
        })
        .collect();
    if worst.len() > room {
        out.push(Statement {
            cause: Cause::Undecided,
            cause_word: String::new(),
            text: front::more_findings(worst.len() - room, numbers),
            sure: String::new(),
            link: worst.get(room).map(|next| context.finding_anchor(next)),
        });
        return out;
    }
    let mut streams: Vec<_> = findings
        .causes
        .streams
        .iter()
        .filter(|s| {
            s.defects > 0
                && !(findings.causes.findings)
                    .iter()
                    .any(|f| f.defect == s.defect && f.machine == s.machine && f.head == s.head)
        })
        .collect();
    streams.sort_by_key(|s| std::cmp::Reverse(s.panels_hit));
    let left = STATEMENTS.saturating_sub(out.len());
    for stream in streams.into_iter().take(left.min(3)) {
        out.push(Statement {
            cause: stream.cause,
            cause_word: words::causes::cause(stream.cause).to_owned(),
            text: short(&front::stream_statement(stream, numbers), LINE),
            sure: words::causes::sure(stream.certainty).to_owned(),
            link: Some("missed".to_owned()),
        });
    }
    out
}

/// What to do first: the data, then the findings, worst first, the same words
/// only once.
fn steps(context: &Context<'_>, page: &Front<'_>) -> Vec<Step> {
    let findings = context.findings;
    let speech = context.speech();
    let numbers = context.numbers();
    let mut all: Vec<advice::Advice> = advice::data_step(&findings.records.input)
        .into_iter()
        .collect();
    if let Some((comparison, kinds)) = context.story.latest_change() {
        let hurt = kinds.iter().filter(|c| c.verdict == Verdict::Hurt);
        let hurt: Vec<String> = hurt.map(|c| c.defect.clone()).collect();
        let (before, after) = words::changes::sides(&comparison.question, numbers);
        all.extend((!hurt.is_empty()).then(|| advice::after_harm(&hurt, &before, &after)));
    }
    for finding in findings.worst_first() {
        let settle = words::next_check(&finding.next_check, numbers);
        let step = advice::first_step(finding, settle, context.lever(), &speech);
        if !all.iter().any(|known| known.action == step.action) {
            all.push(step);
        }
    }
    let seen: Vec<String> = (page.still_seen().iter())
        .map(|kept| kept.finding.id.clone())
        .collect();
    let last = findings.lives.previous.as_deref();
    all.extend((!seen.is_empty()).then(|| advice::go_on(&seen, last.unwrap_or_default())));
    if all.is_empty() && findings.records.input.panels > 0 {
        all.push(advice::nothing_to_do());
    }
    let mut steps: Vec<Step> = Vec::new();
    for step in all.into_iter().take(STEPS) {
        let check = short(&step.check, LINE);
        // What was just said is not said again.
        let said = steps
            .iter()
            .rev()
            .find(|s| !s.check.is_empty())
            .is_some_and(|s| s.check == check);
        steps.push(Step {
            action: short(&step.action, LINE),
            check: if said { String::new() } else { check },
            care: if step.touch.is_some() {
                Care::Caution
            } else {
                Care::None
            },
        });
    }
    steps
}

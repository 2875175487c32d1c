//! One account: over made-up shops of every kind no part of a report says what
//! another denies.

use std::collections::BTreeMap;
use std::sync::Arc;

use onus::causes::Cause;
use onus::change::Verdict;
use onus::records::{Defect, DefectName, Panel, Point, Reading, Records};
use onus::report::{Block, Care, Cell, Document, Findings, Page, Sheets, Story};
use onus::report::{document, find, findings_json, summary, words};
use onus::site::{DefectClass, Site};
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;
use rayon::prelude::*;

use crate::said::Texts;
use crate::shops::{Looks, Owner, Repeater, Shop};

/// How many shops.
const SHOPS: u64 = 200;
/// Every so many of them is typeset too.
const PDFS: u64 = 20;

/// A shop of some kind: who makes a repeat, whether lots, feed, recipe or the
/// abrasive move a second kind of defect, whether something changed half-way,
/// whether removal was read.
pub(crate) fn records(seed: u64) -> Records {
    let mut rng = ChaCha8Rng::seed_from_u64(9_000 + seed);
    let owners = [
        None,
        Some(Owner::Machine),
        Some(Owner::Panel),
        Some(Owner::Lots(2)),
        Some(Owner::Table),
        Some(Owner::Path),
    ];
    let owner = owners[(seed % 6) as usize];
    let share = 0.15 + 0.4 * rng.random::<f64>();
    let mut repeater = Repeater::machine(310.0, 140.0, share);
    if seed.is_multiple_of(11) {
        repeater.looks = Looks::LineAlongY;
    }
    if seed.is_multiple_of(5) {
        repeater.live = (0.0, 0.6);
    }
    let shop = Shop {
        panels: 80 + 40 * (seed % 3) as usize,
        machines: 1 + (seed % 3) as usize,
        lots: [10, 6, 0][(seed / 3 % 3) as usize],
        lots_in_blocks: seed.is_multiple_of(4),
        inspectors: (seed % 4) as usize,
        marks: 0.4 + rng.random::<f64>(),
        lot_factors: if seed.is_multiple_of(7) {
            vec![5.0, 1.0, 1.0]
        } else {
            vec![1.0]
        },
        repeaters: owner.map(|o| repeater.owned_by(o)).into_iter().collect(),
        ..Shop::default()
    };
    let mut records = shop.records(seed);
    second_kind(&mut records, seed, &mut rng);
    if seed.is_multiple_of(2) {
        readings(&mut records, &mut rng);
    }
    let (panels, defects, readings) = (&records.panels, &records.defects, &records.readings);
    records.input.count(panels, defects, readings);
    records
}

/// Orange peel that follows the feed, a recipe put in half-way, or nothing.
fn second_kind(records: &mut Records, seed: u64, rng: &mut ChaCha8Rng) {
    records.defect_names.push(DefectName {
        name: "orange peel".into(),
        class: Some(DefectClass::Under),
    });
    let half = records.panels.len() / 2;
    for (i, panel) in records.panels.iter_mut().enumerate() {
        let feed = [80.0, 120.0, 160.0][rng.random_range(0..3)];
        panel.feed_mm_s = Some(feed);
        panel.recipe = Some(Arc::from(if seed.is_multiple_of(3) && i >= half {
            "B"
        } else {
            "A"
        }));
        let mean = match seed / 2 % 4 {
            0 => 0.6 * (feed / 120.0_f64).powi(3),
            1 if panel.recipe.as_deref() == Some("B") => 0.2,
            1 => 1.2,
            2 => 0.5,
            _ => 0.1,
        };
        let mut left = mean;
        while left > 0.0 && rng.random::<f64>() < left.min(0.9) {
            records.defects.push(mark(i, panel, rng));
            left -= 0.9;
        }
    }
    records.defects.sort_by_key(|d| d.panel);
}

fn mark(at: usize, panel: &Panel, rng: &mut ChaCha8Rng) -> Defect {
    let place = Point {
        x: panel.length_mm * rng.random::<f64>(),
        y: panel.width_mm * rng.random::<f64>(),
    };
    Defect {
        panel: at,
        name: 1,
        place: Some(place),
        written: Some(place),
        area_mm2: None,
        severity: None,
    }
}

fn readings(records: &mut Records, rng: &mut ChaCha8Rng) {
    for (i, panel) in records.panels.iter().enumerate() {
        let mean = 2400.0 / panel.feed_mm_s.unwrap_or(120.0);
        for (x, y) in [
            (0.1, 0.1),
            (0.9, 0.1),
            (0.1, 0.9),
            (0.9, 0.9),
            (0.5, 0.5),
            (0.5, 0.1),
        ] {
            records.readings.push(Reading {
                panel: i,
                place: Some(Point {
                    x: x * panel.length_mm,
                    y: y * panel.width_mm,
                }),
                removed_um: Some(mean * (1.0 + 0.1 * (rng.random::<f64>() - 0.5))),
                film_um: None,
            });
        }
    }
}

fn page<'a>(document: &'a Document, anchor: &str) -> Option<&'a Page> {
    document.pages.iter().find(|p| p.anchor == anchor)
}

fn text_of(page: &Page) -> String {
    let mut out = vec![page.title.clone(), page.lead.clone()];
    for block in &page.blocks {
        match block {
            Block::Heading(text) | Block::Paragraph(text) | Block::Caution(text) => {
                out.push(text.clone());
            }
            Block::List(items) => out.extend(items.iter().cloned()),
            Block::Steps(items) => {
                out.extend(items.iter().map(|s| format!("{} {}", s.action, s.check)));
            }
            _ => {}
        }
    }
    out.join("\n")
}

/// Sentences that send somebody to the machine.
const TO_THE_MACHINE: [&str; 6] = [
    "stops, supports, suction cups",
    "the tilt of the head",
    "the head’s tilt",
    "contact and force of the head",
    "bearings, belt splice",
    "touch-down, dwell",
];

/// What contradicts what, in words.
fn contradictions(findings: &Findings<'_>, site: &Site) -> Vec<String> {
    let mut out = Vec::new();
    let document = document(findings, site, Sheets::default()).unwrap();
    let json: serde_json::Value =
        serde_json::from_str(&findings_json(findings, &(&site.report).into())).unwrap();
    let active = findings.worst_first();

    // The file says of each finding and stream what the results say.
    for (told, finding) in json["findings"]
        .as_array()
        .unwrap()
        .iter()
        .zip(&findings.causes.findings)
    {
        let cause = serde_json::to_value(finding.cause).unwrap();
        if told["cause"] != cause || told["id"] != finding.id.as_str() {
            out.push(format!("findings.json on {}", finding.id));
        }
    }
    for stream in &findings.causes.streams {
        for share in &stream.causes {
            let of = findings
                .causes
                .findings
                .iter()
                .find(|f| f.id == share.finding);
            if of.is_none_or(|f| f.cause != share.cause || f.defect != stream.defect) {
                out.push(format!(
                    "stream {} names {} wrongly",
                    stream.defect, share.finding
                ));
            }
        }
        let named = stream.causes.first().map(|share| share.cause);
        if named.is_some_and(|cause| cause != stream.cause) {
            out.push(format!(
                "stream {} is not its largest finding's",
                stream.defect
            ));
        }
    }

    // Page one, and the page of each finding, name the finding's cause.
    let front = &document.pages[0];
    for block in &front.blocks {
        if let Block::Statements(statements) = block {
            let own = statements.iter().zip(&active);
            for (statement, finding) in own {
                if statement.cause_word.is_empty() {
                    continue;
                }
                if statement.cause != finding.cause
                    || statement.sure != words::causes::sure(finding.certainty)
                {
                    out.push(format!("page one on {}", finding.id));
                }
            }
        }
    }
    for finding in &active {
        let title = format!("{}: ", finding.id);
        let Some(page) = document.pages.iter().find(|p| p.title.starts_with(&title)) else {
            continue;
        };
        let who = match finding.cause {
            Cause::Undecided => "can’t be told yet",
            cause => words::causes::consistent_with(cause),
        };
        if !page.lead.contains(who) {
            out.push(format!("{}'s page: {}", finding.id, page.lead));
        }
        let text = text_of(page);
        let advice = text
            .split(words::finding::page::NEXT)
            .nth(1)
            .unwrap_or_default();
        let sent = TO_THE_MACHINE.iter().find(|s| advice.contains(*s));
        if let Some(sent) = sent.filter(|_| finding.cause != Cause::Machine) {
            out.push(format!(
                "{} ({:?}) sends to the machine: {sent}",
                finding.id, finding.cause
            ));
        }
        if finding.cause == Cause::Undecided
            && !advice.contains("leave the machine alone")
            && sent.is_some()
        {
            out.push(format!("{} is open and touches the machine", finding.id));
        }
        if !document.pages.iter().any(|p| p.anchor == "recipe")
            && text.contains("as the recipe page says")
        {
            out.push(format!("{} points at a page that is not there", finding.id));
        }
    }
    // Steps of page one: with a caution only where somebody was named.
    for block in &front.blocks {
        let Block::Steps(steps) = block else { continue };
        for step in steps {
            let sent = TO_THE_MACHINE.iter().any(|s| step.action.contains(s));
            let machine = active.iter().any(|f| f.cause == Cause::Machine);
            if sent && !(machine && step.care == Care::Caution) {
                out.push(format!("a step without a machine finding: {}", step.action));
            }
        }
    }
    // A repeat that ended is not in the headline's findings.
    if let Some(gone) = findings.gone().first()
        && active.iter().any(|f| f.id == gone.id)
    {
        out.push(format!("{} is gone and leads", gone.id));
    }

    // The table of streams and the recipe's table say the same causes.
    let story = Story::new(findings);
    let mut by_stream: BTreeMap<(String, String), Cause> = BTreeMap::new();
    for account in &story.accounts {
        let cell = words::finding::cell_name(
            account.stream.machine.as_deref(),
            account.stream.head.as_deref(),
        );
        by_stream.insert((cell, account.stream.defect.clone()), account.cause);
    }
    if let Some(missed) = page(&document, "missed") {
        for table in tables(missed) {
            for row in &table.rows {
                let [
                    Cell::Text(cell),
                    Cell::Text(defect),
                    ..,
                    Cell::Cause(cause, _),
                ] = row.as_slice()
                else {
                    continue;
                };
                if by_stream.get(&(cell.clone(), defect.clone())) != Some(cause) {
                    out.push(format!("the table of streams on {defect}, {cell}"));
                }
            }
        }
    }
    if let Some(recipe) = page(&document, "recipe") {
        for row in tables(recipe).flat_map(|t| &t.rows) {
            let [Cell::Text(defect), _, Cell::Text(movers)] = row.as_slice() else {
                continue;
            };
            let own: Vec<Cause> = (by_stream.iter())
                .filter(|((_, kind), _)| kind == defect)
                .map(|(_, cause)| *cause)
                .collect();
            let claims = movers.contains("exponent") && !movers.contains("not known yet");
            let says_recipe = (findings.causes.streams.iter())
                .filter(|s| s.defect == *defect)
                .any(|s| {
                    s.cause == Cause::Recipe || s.causes.iter().any(|c| c.cause == Cause::Recipe)
                });
            let denies = movers == "nothing shown";
            if (claims && !own.is_empty() && !says_recipe) || (says_recipe && denies) {
                out.push(format!(
                    "the recipe page on {defect}: {movers}; accounts: {own:?}"
                ));
            }
        }
    }

    if let Some(recipe) = page(&document, "recipe") {
        let text = text_of(recipe);
        let others = text.split("Not the recipe’s: ").nth(1).unwrap_or_default();
        let others = others.lines().next().unwrap_or_default();
        for stream in &findings.causes.streams {
            let named = stream.cause == Cause::Recipe
                || stream.causes.iter().any(|c| c.cause == Cause::Recipe);
            if named && others.contains(&format!("{} (", stream.defect)) {
                out.push(format!("not the recipe’s {}: {others}", stream.defect));
            }
        }
    }

    // A direction on page one is that of the change page and of the file.
    let text = text_of(front);
    for comparison in &findings.changes.comparisons {
        for change in &comparison.changes {
            let (more, fewer) = (
                text.contains(&format!("{} more, ", change.defect)),
                text.contains(&format!("{} fewer, ", change.defect)),
            );
            let fell = change.ratio.is_some_and(|r| r < 1.0);
            let only = findings.changes.comparisons.len() == 1;
            if only && (more && fell || fewer && !fell) {
                out.push(format!("page one on the change of {}", change.defect));
            }
            if change.verdict == Verdict::Hurt && only && fewer {
                out.push(format!("page one praises what hurt {}", change.defect));
            }
        }
    }

    // The terminal says what page one says.
    let shown = summary(findings, site);
    if shown.first().map(String::as_str) != Some(front.title.as_str())
        && !front.title.ends_with('…')
    {
        out.push(format!(
            "the terminal: {:?} / {}",
            shown.first(),
            front.title
        ));
    }
    out
}

fn tables(page: &Page) -> impl Iterator<Item = &onus::report::Table> {
    page.blocks.iter().filter_map(|block| match block {
        Block::Table(table) => Some(table),
        _ => None,
    })
}

#[test]
fn no_part_of_a_report_denies_another() {
    let wrong: Vec<(u64, String)> = (0..SHOPS)
        .into_par_iter()
        .flat_map_iter(|seed| {
            let records = records(seed);
            let site = Site::default();
            let findings = find(&records, &site);
            let mut wrong = contradictions(&findings, &site);
            wrong.extend(Texts::of(&findings, &site, seed % PDFS == 0).denials());
            wrong.into_iter().map(move |text| (seed, text))
        })
        .collect();
    assert!(
        wrong.is_empty(),
        "{} of {SHOPS} shops: {wrong:#?}",
        wrong.len()
    );
}

#[test]
fn the_shops_are_of_every_kind() {
    let causes: Vec<Cause> = (0..40)
        .into_par_iter()
        .flat_map_iter(|seed| {
            let records = records(seed);
            let found = find(&records, &Site::default());
            let causes: Vec<Cause> = found.causes.findings.iter().map(|f| f.cause).collect();
            causes
        })
        .collect();
    for cause in [Cause::Machine, Cause::Part, Cause::Recipe, Cause::Undecided] {
        assert!(causes.contains(&cause), "{cause:?}: {causes:?}");
    }
}

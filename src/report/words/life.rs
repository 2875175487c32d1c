//! What became of findings, in words.

use super::counting::{capital, counted, listed, of_panels};
use super::finding::{cell_name, shape};
use crate::causes::Finding;
use crate::charts::NumberStyle;
use crate::life::{Carried, Kept, Life, Look, Standing, State, Twin, Why};

/// Title of the page.
pub const TITLE: &str = "What became of it";
/// Its lead where there is no earlier report.
pub const NO_REPORT: &str = "Every action is tested: panels hit after it against those before.";
/// Heading over what ended or is gone.
pub const GOOD_NEWS: &str = "Good news";
/// Heading over what the site knows or accepts.
pub const BELOW: &str = "Known or accepted";
/// Heading over what became of all findings.
pub const SINCE: &str = "What became of the last report’s findings";
/// Caption of that table.
pub const SINCE_CAPTION: &str =
    "Findings of this report and of earlier ones, looked for on the panels sanded since";
/// The state as a word, as `findings.json` writes it.
pub fn state(state: State) -> &'static str {
    match state {
        State::New => "new",
        State::GoesOn => "goes on",
        State::Fewer => "fewer",
        State::Gone => "gone",
        State::Back => "back",
        State::CannotTell => "can’t be told yet",
    }
}

/// In front of a statement: "New: ", "Back: "; nothing for what goes on.
/// `renamed` is a kind of nearly the same name that ends where this one begins,
/// `twin` an earlier finding that it may be.
pub fn prefix(
    life: Option<&Life>,
    renamed: Option<&str>,
    twin: Option<&Twin>,
    numbers: &NumberStyle,
) -> String {
    if let Some(Twin { old, why, .. }) = twin {
        return match why {
            Why::Machine { before } => {
                format!("New, or {old} if this is {before} under another name: ")
            }
            Why::Moved { mm } => format!(
                "New, or {old} moved by {}\u{a0}mm: ",
                numbers.significant(*mm, 2)
            ),
        };
    }
    if life.is_some_and(|l| l.looked.open && l.life != Some(State::CannotTell)) {
        return "Neither shown nor refuted since: ".to_owned();
    }
    match (life.and_then(|l| l.life), renamed) {
        (Some(State::New), Some(other)) => format!("New, or “{other}” under another name: "),
        (Some(State::New), None) => "New: ".to_owned(),
        (Some(State::Back), _) => "Back: ".to_owned(),
        (Some(State::Fewer), _) => "Fewer than before: ".to_owned(),
        _ => String::new(),
    }
}

/// A finding that is gone, as good news; `renamed` is a kind of nearly the same
/// name that begins where this one ends, `twin` a finding that it may have become.
pub fn news(
    finding: &Finding,
    life: &Life,
    renamed: Option<&str>,
    twin: Option<&Twin>,
    numbers: &NumberStyle,
) -> String {
    let cell = cell_name(finding.machine.as_deref(), finding.head.as_deref());
    let what = format!(
        "{} {} on {cell} ({}{})",
        capital(&finding.defect),
        shape(finding),
        finding.id,
        or_else(renamed, twin)
    );
    let rival = finding.rival.as_ref().map(super::reasons::column);
    let carriers = carriers(rival, &finding.levels, life, numbers);
    gone(&what, &carriers, life, numbers)
}

/// The same for one that this report only remembers.
pub fn kept_news(
    kept: &Kept,
    renamed: Option<&str>,
    twin: Option<&Twin>,
    numbers: &NumberStyle,
) -> String {
    let found = &kept.finding;
    let cell = cell_name(found.machine.as_deref(), found.head.as_deref());
    let what = format!(
        "{} on {cell} ({}{})",
        capital(&found.defect),
        found.id,
        or_else(renamed, twin)
    );
    gone(
        &what,
        &carriers(None, &[], &kept.life, numbers),
        &kept.life,
        numbers,
    )
}

/// The headline where nothing else repeats.
pub fn headline(kept: &Kept, numbers: &NumberStyle) -> String {
    let found = &kept.finding;
    let cell = cell_name(found.machine.as_deref(), found.head.as_deref());
    let look = &kept.life.looked;
    format!(
        "{} on {cell} ({}) is still seen, on {}; nothing else repeats",
        capital(&found.defect),
        found.id,
        of_panels(look.hits, look.panels, numbers)
    )
}

/// What else an ended finding may be: a kind of another name, a place that moved.
fn or_else(renamed: Option<&str>, twin: Option<&Twin>) -> String {
    let name =
        renamed.map(|other| format!("; or “{other}”, which begins where it ends, is its new name"));
    let moved =
        twin.map(|twin| format!("; or {}, which begins where it ends, is the same", twin.new));
    name.or(moved).unwrap_or_default()
}

/// The panels that carried a rate: "lot B", "feed speed above 110".
fn carriers(rival: Option<&str>, levels: &[String], life: &Life, numbers: &NumberStyle) -> String {
    let number = |at: f64| numbers.significant(at, 3);
    match (rival, life.looked.carried) {
        (Some(rival), Some(Carried::Above(at))) => format!("{rival} above {}", number(at)),
        (Some(rival), Some(Carried::Below(at))) => format!("{rival} below {}", number(at)),
        (Some(rival), None) if !levels.is_empty() => format!("{rival} {}", listed(levels, 3)),
        _ => "where it was".to_owned(),
    }
}

fn gone(what: &str, carriers: &str, life: &Life, numbers: &NumberStyle) -> String {
    let last = (life.last_seen).map_or(String::new(), |day| {
        format!(", last seen {}", numbers.date(day))
    });
    let look = &life.looked;
    let sure = (look.confidence).map_or(String::new(), |c| {
        format!(" (confidence {})", confidence(c, numbers))
    });
    if let Some(others) = look.elsewhere {
        return format!(
            "{what} is gone: {carriers} no more than elsewhere, on {} since, elsewhere on {}{sure}.",
            of_panels(look.hits, look.panels, numbers),
            of_panels(others.hits, others.panels, numbers)
        );
    }
    let since = if look.panels > 0 {
        format!(" on {} since", of_panels(look.hits, look.panels, numbers))
    } else {
        String::new()
    };
    let comma = if since.is_empty() { "" } else { ":" };
    format!("{what} is gone{comma}{since}{last}{sure}.")
}

/// "14 of 40 panels", for a rate with the others beside it: "14 of 40 panels,
/// elsewhere 28 of 80 panels"; of a rate that waits to be told all panels since it
/// was told.
fn looked(look: &Look, numbers: &NumberStyle) -> String {
    let waits = look.waiting.filter(|_| look.open);
    let (hits, panels) = waits.map_or((look.hits, look.panels), |s| (s.hits, s.panels));
    let own = of_panels(hits, panels, numbers);
    let others = look.waiting_elsewhere.filter(|_| look.open);
    others.or(look.elsewhere).map_or(own.clone(), |others| {
        let others = of_panels(others.hits, others.panels, numbers);
        format!("{own}, elsewhere {others},")
    })
}

/// A confidence in per cent, never "100 %".
pub fn confidence(share: f64, numbers: &NumberStyle) -> String {
    if share >= 0.999 {
        format!("over {}\u{a0}%", numbers.fixed(99.9, 1))
    } else {
        // rounded down: it is a promise
        format!("{}\u{a0}%", numbers.fixed((share * 100.0).floor(), 0))
    }
}

/// What became of these findings since the last report, counted.
pub fn on_page_one(previous: &str, lives: &[&Life], numbers: &NumberStyle) -> Option<String> {
    let open = |life: &Life| life.looked.open && life.life != Some(State::CannotTell);
    let count = |wanted: State, one: &str, many: &str| {
        let own = lives.iter().filter(|l| l.life == Some(wanted) && !open(l));
        let n = own.count();
        (n > 0).then(|| counted(n, one, many, numbers))
    };
    let undecided = match lives.iter().filter(|l| open(l)).count() {
        0 => None,
        1 => Some("1 is neither shown nor refuted".to_owned()),
        n => Some(format!(
            "{} are neither shown nor refuted",
            numbers.count(n)
        )),
    };
    let parts: Vec<String> = [
        count(State::New, "new finding", "new findings"),
        count(State::Back, "is back", "are back"),
        count(State::GoesOn, "goes on", "go on"),
        count(State::Fewer, "on fewer panels", "on fewer panels"),
        count(State::Gone, "is gone", "are gone"),
        undecided,
        count(State::CannotTell, "can’t be told yet", "can’t be told yet"),
    ]
    .into_iter()
    .flatten()
    .collect();
    if parts.is_empty() {
        return None;
    }
    let since = if previous.is_empty() {
        "Since the last report".to_owned()
    } else {
        format!("Since the report of {previous}")
    };
    Some(format!("{since}: {}.", listed(&parts, 7)))
}

/// A sentence for the finding's page.
pub fn sentence(life: &Life, numbers: &NumberStyle) -> Option<String> {
    let look = &life.looked;
    let since = if look.panels == 0 && look.waiting.is_none() {
        "no panel that could show it".to_owned()
    } else {
        looked(look, numbers)
    };
    let first = (life.since_report.as_deref()).map_or(String::new(), |r| format!(" since {r}"));
    let state = life.life?;
    if look.open && state != State::CannotTell {
        return Some(format!(
            "It has been known{first}; the panels since it was last told neither show nor refute that it \
             goes on: {since}{}.",
            missing(look, numbers)
        ));
    }
    Some(match state {
        State::New => "It is new in this report.".to_owned(),
        State::GoesOn if look.panels > 0 => {
            format!("It has been known{first} and goes on: {since} since the last report.")
        }
        State::GoesOn => format!("It has been known{first} and goes on."),
        State::Fewer => {
            format!("It is on fewer panels than before: {since} since the last report.")
        }
        State::Back => format!("It was gone and is back: {since} since the last report."),
        State::Gone if look.panels == 0 => "It is gone.".to_owned(),
        State::Gone => format!("It is gone: {since} since."),
        State::CannotTell => format!(
            "Whether it goes on can’t be told yet: {since} since {}{}.",
            if look.open {
                "it was last told"
            } else {
                "the last report"
            },
            missing(look, numbers)
        ),
    })
}

/// How many panels would tell.
fn missing(look: &Look, numbers: &NumberStyle) -> String {
    match look.panels_missing {
        Some(n) if look.open => {
            let about = if n < 100 {
                numbers.count(n)
            } else {
                numbers.significant(n as f64, 2)
            };
            format!("; about {about} more panels like these would tell")
        }
        panels => without_it(panels, numbers),
    }
}

/// How many panels without a hit would show that it is gone.
pub(super) fn without_it(panels: Option<usize>, numbers: &NumberStyle) -> String {
    panels.map_or(String::new(), |n| {
        format!(
            "; {} without it would show that it is gone",
            counted(n, "more panel", "more panels", numbers)
        )
    })
}

/// Heads of the table of lives.
pub const SINCE_COLUMNS: &[(&str, bool)] = &[
    ("No.", false),
    ("Cell", false),
    ("Defect", false),
    ("Since", false),
    ("What became of it", false),
];

/// What became of a finding, as a cell.
pub fn became(life: &Life, numbers: &NumberStyle) -> String {
    let look = &life.looked;
    let Some(now) = life.life else {
        return "–".to_owned();
    };
    let word = state(now);
    if look.panels == 0 {
        return match now {
            State::CannotTell => format!(
                "{word}: no panel has been inspected there since{}",
                missing(look, numbers)
            ),
            _ => word.to_owned(),
        };
    }
    let mut text = format!("{word}: on {}", looked(look, numbers).trim_end_matches(','));
    if look.open && now != State::CannotTell {
        text += ", which neither show nor refute it";
    }
    if look.open || now == State::CannotTell {
        text += &missing(look, numbers);
    }
    // A rate that is no more than elsewhere is still seen.
    if let (State::Gone, Some(day), None) = (now, life.last_seen, look.elsewhere) {
        text += &format!(", last seen {}", numbers.date(day));
    }
    if let (State::Gone | State::Fewer, Some(c)) = (now, look.confidence) {
        text += &format!(", confidence {}", confidence(c, numbers));
    }
    text
}

/// What became of a finding, as a line of a terminal.
pub fn line(id: &str, defect: &str, life: &Life, numbers: &NumberStyle) -> String {
    format!("  {id} ({defect}): {}", became(life, numbers))
}

/// The findings that the site knows or accepts, in one sentence.
pub fn below(findings: &[(&Finding, Standing)], numbers: &NumberStyle) -> Option<String> {
    if findings.is_empty() {
        return None;
    }
    let items: Vec<String> = (findings.iter())
        .map(|(f, standing)| {
            let cell = cell_name(f.machine.as_deref(), f.head.as_deref());
            format!(
                "{} {} on {cell} ({}, {})",
                f.id,
                f.defect,
                of_panels(f.panels_hit, f.panels_exposed, numbers),
                stands(*standing)
            )
        })
        .collect();
    Some(format!("{BELOW}: {}.", listed(&items, 4)))
}

/// How the site stands to it.
pub fn stands(standing: Standing) -> &'static str {
    match standing {
        Standing::Watch => "watched",
        Standing::Fixed => "put right",
        Standing::Known => "known",
        Standing::Accepted => "accepted",
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::life::Seen;

    fn life(state: State, hits: usize, panels: usize) -> Life {
        Life {
            life: Some(state),
            since_report: Some("2031-W10".into()),
            last_seen: Some(jiff::civil::date(2031, 3, 14)),
            reports_gone: 1,
            looked: Look {
                hits,
                panels,
                confidence: Some(0.98765),
                panels_missing: Some(12),
                ..Look::default()
            },
        }
    }

    #[test]
    fn what_is_gone_is_told_with_date_and_confidence() {
        let numbers = NumberStyle::default();
        let finding = crate::causes::made::spot();
        assert_eq!(
            news(&finding, &life(State::Gone, 0, 160), None, None, &numbers),
            "Sand-through at one place on M1 (F1) is gone: on 0 of 160 panels since, last seen \
             2031-03-14 (confidence 98\u{a0}%)."
        );
        assert_eq!(confidence(0.99999, &numbers), "over 99.9\u{a0}%");
    }

    #[test]
    fn a_kind_of_nearly_the_same_name_is_told_beside_both() {
        let numbers = NumberStyle::default();
        let finding = crate::causes::made::spot();
        let new = life(State::New, 0, 0);
        let text = prefix(Some(&new), Some("gouge"), None, &numbers);
        assert_eq!(text, "New, or “gouge” under another name: ");
        let text = news(
            &finding,
            &life(State::Gone, 0, 9),
            Some("sandthrough"),
            None,
            &numbers,
        );
        assert!(
            text.contains("“sandthrough”, which begins where it ends"),
            "{text}"
        );
    }

    #[test]
    fn a_rate_that_is_gone_is_told_beside_the_others() {
        let numbers = NumberStyle::default();
        let mut finding = crate::causes::made::spot();
        finding.kind = crate::causes::Kind::Lot;
        finding.rival = Some(crate::causes::Rival::Lot);
        finding.levels = vec!["B".into()];
        let mut life = life(State::Gone, 14, 40);
        life.looked.elsewhere = Some(Seen {
            hits: 38,
            panels: 80,
            last: None,
        });
        assert_eq!(
            news(&finding, &life, None, None, &numbers),
            "Sand-through in lot B on M1 (F1) is gone: lot B no more than elsewhere, on 14 of \
             40 panels since, elsewhere on 38 of 80 panels (confidence 98\u{a0}%)."
        );
        assert_eq!(
            became(&life, &numbers),
            "gone: on 14 of 40 panels, elsewhere 38 of 80 panels, confidence 98\u{a0}%"
        );
    }

    #[test]
    fn a_rate_neither_shown_nor_refuted_says_so_with_all_panels_that_wait() {
        let seen = |hits, panels| Seen {
            hits,
            panels,
            last: None,
        };
        let mut life = life(State::GoesOn, 1, 10);
        life.looked.open = true;
        life.looked.elsewhere = Some(seen(1, 10));
        life.looked.waiting = Some(seen(6, 20));
        life.looked.waiting_elsewhere = Some(seen(3, 20));
        assert_eq!(
            became(&life, &NumberStyle::default()),
            "goes on: on 6 of 20 panels, elsewhere 3 of 20 panels, which neither show nor refute \
             it; about 12 more panels like these would tell"
        );
        assert_eq!(
            prefix(Some(&life), None, None, &NumberStyle::default()),
            "Neither shown nor refuted since: "
        );
    }

    #[test]
    fn what_cannot_be_told_says_how_many_panels_are_missing() {
        let numbers = NumberStyle::default();
        assert_eq!(
            became(&life(State::CannotTell, 0, 8), &numbers),
            "can’t be told yet: on 0 of 8 panels; 12 more panels without it would show that it is \
             gone"
        );
    }
}

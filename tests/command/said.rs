//! What a reader finds in the HTML page, the terminal, findings.json and the PDF,
//! read from their text alone and held against each other.

use onus::report::{Findings, Sheets, document, findings_json, html, pdf, summary};
use onus::site::Site;
use serde_json::Value;

/// A finding as some place of the report has it.
#[derive(Debug, Clone, PartialEq)]
struct Said {
    cause: String,
    sure: String,
    /// "38 of 120".
    count: Option<String>,
}

/// The report as its readers get it.
pub(crate) struct Texts {
    /// report.html.
    page: String,
    /// findings.json.
    file: Value,
    /// What the terminal shows.
    terminal: Vec<String>,
    /// The text of report.pdf; made only where asked for, since it takes long.
    pdf: Option<String>,
}

impl Texts {
    /// Of some findings.
    pub(crate) fn of(findings: &Findings<'_>, site: &Site, with_pdf: bool) -> Self {
        let document = document(findings, site, Sheets::default()).unwrap();
        let file = findings_json(findings, &(&site.report).into());
        let typeset = || crate::document::text_of(&pdf(&document).unwrap()).join(" ");
        Self {
            page: html(&document),
            file: serde_json::from_str(&file).unwrap(),
            terminal: summary(findings, site),
            pdf: with_pdf.then(typeset),
        }
    }

    /// What contradicts what.
    pub(crate) fn denials(&self) -> Vec<String> {
        let (page, file) = (&self.page, &self.file);
        let mut out = Vec::new();
        let front = section(page, "front").unwrap_or_default();
        let rows = statements(&front);
        let active: Vec<&Value> = (file["findings"].as_array().unwrap().iter())
            .filter(|f| f["life"] != "gone")
            .collect();

        // Page one, line by line, against the file: cause, certainty, count.
        let told = rows.iter().take_while(|row| !row.0.cause.is_empty());
        for ((said, text), finding) in told.zip(&active) {
            let truth = in_file(finding);
            if *said != truth {
                out.push(format!("page one: {said:?}, the file: {truth:?} ({text})"));
            }
            let defect = finding["defect"].as_str().unwrap();
            if !text.to_lowercase().contains(&defect.to_lowercase()) {
                out.push(format!(
                    "page one speaks of another kind than {defect}: {text}"
                ));
            }
        }
        // The same on the terminal, by the finding's number.
        for line in &self.terminal {
            let Some((id, said)) = on_terminal(line) else {
                continue;
            };
            let finding = active.iter().find(|f| f["id"] == id.as_str());
            let truth = finding.map(|f| in_file(f));
            if truth.as_ref() != Some(&said) {
                out.push(format!(
                    "the terminal on {id}: {said:?}, the file: {truth:?}"
                ));
            }
        }
        for finding in &active {
            out.extend(on_its_page(finding, page));
        }
        out.extend(numbers_of(&front, active.len(), file));
        out.extend(changes(page, file));
        if let Some(pdf) = self.pdf.as_deref().map(squeezed) {
            let lines = rows.into_iter().map(|row| row.1);
            for text in lines.chain(leads(page)) {
                if !pdf.contains(&squeezed(&text)) {
                    out.push(format!("the PDF does not say: {text}"));
                }
            }
        }
        out
    }
}

fn in_file(finding: &Value) -> Said {
    let cause = match finding["cause"].as_str().unwrap() {
        "undecided" => "not known yet",
        cause => cause,
    };
    let (hit, exposed) = (&finding["panels_hit"], &finding["panels_exposed"]);
    Said {
        cause: cause.to_owned(),
        sure: finding["certainty"].as_str().unwrap().replace('\'', "’"),
        count: Some(format!("{hit} of {exposed}")),
    }
}

/// A finding's own page: its lead has cause and count, its reasons are the file's.
fn on_its_page(finding: &Value, page: &str) -> Vec<String> {
    let id = finding["id"].as_str().unwrap();
    let mut out = Vec::new();
    let truth = in_file(finding);
    let own = (1..).map_while(|k| section(page, &format!("finding-{k}")));
    let own = own.into_iter().find(|text| {
        let title = between(text, "<h2>", "</h2>").unwrap_or_default();
        let ids = title.split(':').next().unwrap_or_default();
        ids.split([' ', ',']).next() == Some(id)
    });
    let Some(own) = own else { return out };
    let lead = plain(&between(&own, "<p class=\"lead\">", "</p>").unwrap_or_default());
    let named = ["machine", "recipe", "incoming part", "inspection itself"]
        .iter()
        .find(|cause| lead.contains(&format!("consistent with the {cause}")));
    let cause = match named {
        Some(&"incoming part") => "part",
        Some(&"inspection itself") => "inspection",
        Some(other) => other,
        None => "not known yet",
    };
    if cause != truth.cause {
        out.push(format!(
            "{id}: its page says {cause}, the file {}",
            truth.cause
        ));
    }
    if count_in(&lead) != truth.count {
        out.push(format!("{id}: {lead} / {:?}", truth.count));
    }
    // A direction is the file's: what rises there does not fall here.
    let text = plain(&own);
    for reason in finding["reasons"].as_array().unwrap() {
        let reason = plain(&reason.as_str().unwrap().replace('<', "&lt;"));
        let directed = [
            " the rate rises ",
            " the rate falls ",
            " takes ",
            " thinner ",
        ];
        if directed.iter().any(|word| reason.contains(word)) && !text.contains(&reason) {
            out.push(format!("{id}: its page lacks {reason:?}"));
        }
    }
    out
}

/// The numbers in the margin: panels inspected, findings by cause.
fn numbers_of(front: &str, active: usize, file: &Value) -> Vec<String> {
    let mut out = Vec::new();
    let pairs: Vec<(String, String)> = (front.split("<div><dd>").skip(1))
        .filter_map(|part| {
            let (value, rest) = part.split_once("</dd><dt>")?;
            Some((plain(value), plain(rest.split("</dt>").next()?)))
        })
        .collect();
    for (value, label) in &pairs {
        let number = value.replace(',', "");
        if label.starts_with("panels inspected")
            && file["input"]["inspected_panels"] != number.parse::<u64>().unwrap_or(0)
        {
            out.push(format!("{value} panels inspected"));
        }
        if label.starts_with("finding") {
            let parts = label.split(": ").nth(1).unwrap_or_default().split(", ");
            let sum: usize = parts
                .filter_map(|p| p.split(' ').next()?.parse::<usize>().ok())
                .sum();
            if number != active.to_string() || sum != active {
                out.push(format!("{value} {label}; the file has {active}"));
            }
        }
    }
    out
}

/// Verdicts of the page on changes, and directions of page one, against the file.
fn changes(page: &str, file: &Value) -> Vec<String> {
    let mut out = Vec::new();
    let Some(own) = section(page, "change") else {
        return out;
    };
    let all = file["changes"].as_array().cloned().unwrap_or_default();
    let alone = own.matches("<h3>").count() == 1;
    for row in own.split("<tr>").skip(1) {
        let cells: Vec<String> = row
            .split("<td")
            .skip(1)
            .map(|c| plain(&format!("<td{c}")))
            .collect();
        let [kind, _, _, ratio, _, verdict] = cells.as_slice() else {
            continue;
        };
        let Some(change) = all
            .iter()
            .find(|c| c["defect"] == kind.as_str())
            .filter(|_| alone)
        else {
            continue;
        };
        let truth = change["verdict"].as_str().unwrap();
        let fewer = verdict.starts_with("fewer, but not helped") && truth == "no difference shown";
        if !(fewer || verdict.starts_with(truth)) {
            out.push(format!("{kind}: {verdict}, the file: {truth}"));
        }
        let below = ratio.split(' ').next().and_then(|r| r.parse::<f64>().ok());
        if let (Some(told), Some(is)) = (below, change["ratio"].as_f64())
            && (told < 1.0 && is > 1.005 || told > 1.0 && is < 0.995)
        {
            out.push(format!("{kind}: {ratio}, the file: {is}"));
        }
        let front = plain(&section(page, "front").unwrap_or_default());
        let says = |word: &str| front.contains(&format!("{kind} {word}, "));
        let is = change["ratio"].as_f64().unwrap_or(1.0);
        if says("fewer") && is > 1.0 || says("more") && is < 1.0 {
            out.push(format!("page one on {kind}, whose ratio is {is}"));
        }
    }
    out
}

/// The text of one section of the page, tags and all.
fn section(page: &str, anchor: &str) -> Option<String> {
    between(page, &format!("<section id=\"{anchor}\">"), "</section>")
}

fn between(text: &str, start: &str, end: &str) -> Option<String> {
    let rest = text.split_once(start)?.1;
    Some(rest.split_once(end)?.0.to_owned())
}

/// The sentence under every heading.
fn leads(page: &str) -> Vec<String> {
    let parts = page.split("<p class=\"lead\">").skip(1);
    parts
        .filter_map(|p| Some(plain(p.split_once("</p>")?.0)))
        .collect()
}

/// Page one's lines: what is said, and the text.
fn statements(front: &str) -> Vec<(Said, String)> {
    let table = between(front, "<table class=\"statements\">", "</table>").unwrap_or_default();
    (table.split("<tr><td>").skip(1))
        .filter_map(|row| {
            let (left, text) = row.split_once("</td><td>")?;
            let (cause, sure) = left.split_once("<br>")?;
            let text = plain(text.split("</td>").next()?);
            let cause = plain(cause);
            let said = Said {
                // The mark stands before the word.
                cause: cause
                    .split_once(' ')
                    .map_or(String::new(), |c| c.1.to_owned()),
                sure: plain(sure),
                count: count_in(&text),
            };
            Some((said, text))
        })
        .collect()
}

/// "  F1 machine, sure: Sand-through …".
fn on_terminal(line: &str) -> Option<(String, Said)> {
    let (id, rest) = line.strip_prefix("  ")?.split_once(' ')?;
    id.strip_prefix('F')?.parse::<usize>().ok()?;
    let (said, text) = rest.split_once(": ")?;
    let (cause, sure) = said.split_once(", ")?;
    let said = Said {
        cause: cause.to_owned(),
        sure: sure.to_owned(),
        count: count_in(&plain(text)),
    };
    Some((id.to_owned(), said))
}

/// The first "38 of 120 panels" without marks between thousands.
fn count_in(text: &str) -> Option<String> {
    let words: Vec<&str> = text.split([' ', ';', '.']).collect();
    words.windows(4).find_map(|w| {
        let [hit, of, all, panels] = w else {
            return None;
        };
        let number = |text: &str| text.replace(',', "").parse::<usize>().ok();
        (*of == "of" && panels.starts_with("panel"))
            .then(|| Some(format!("{} of {}", number(hit)?, number(all)?)))?
    })
}

/// Text without tags, entities and double spaces.
fn plain(html: &str) -> String {
    let mut out = String::new();
    let mut inside = false;
    for c in html.chars() {
        match c {
            '<' => inside = true,
            '>' if inside => inside = false,
            '\u{a0}' if !inside => out.push(' '),
            c if !inside => out.push(c),
            _ => {}
        }
    }
    let out = out
        .replace("&lt;", "<")
        .replace("&gt;", ">")
        .replace("&quot;", "\"");
    let out = out.replace("&#39;", "'").replace("&amp;", "&");
    out.split_whitespace().collect::<Vec<_>>().join(" ")
}

/// Letters alone: the PDF breaks lines and long words where it likes.
fn squeezed(text: &str) -> String {
    text.chars().filter(|c| !c.is_whitespace()).collect()
}

/// A machine's place and a rate that follows the recipe.
fn shop() -> onus::records::Records {
    crate::story::records(73)
}

#[test]
fn a_denial_is_found_wherever_it_stands() {
    let records = shop();
    let site = Site::default();
    let findings = onus::report::find(&records, &site);
    let made = || Texts::of(&findings, &site, false);
    assert_eq!(made().denials(), Vec::<String>::new());
    let first = &made().file["findings"][0].clone();
    let (hit, exposed) = (&first["panels_hit"], &first["panels_exposed"]);
    let count = format!("{hit} of {exposed} panels");
    let denied = |change: &dyn Fn(&mut Texts)| {
        let mut texts = made();
        change(&mut texts);
        !texts.denials().is_empty()
    };
    // Another cause, certainty, count: in the file, on page one, on the terminal.
    assert!(denied(
        &|t| t.file["findings"][0]["cause"] = "inspection".into()
    ));
    assert!(denied(&|t| t.file["findings"][0]["certainty"] = "?".into()));
    assert!(denied(&|t| t.file["findings"][0]["panels_hit"] = 1.into()));
    assert!(denied(
        &|t| t.page = t.page.replacen(&count, "2 of 3 panels", 1)
    ));
    let line = |t: &Texts| t.terminal.iter().position(|l| l.contains(&count)).unwrap();
    assert!(denied(&|t| {
        let at = line(t);
        t.terminal[at] = t.terminal[at].replace(&count, "2 of 3 panels");
    }));
    // The count on the finding's own page, and a finding that is not counted.
    assert!(denied(&|t| {
        let own = t.page.find("id=\"finding-1\"").unwrap();
        let (front, rest) = t.page.split_at(own);
        t.page = format!("{front}{}", rest.replacen(&count, "2 of 3 panels", 1));
    }));
    assert!(denied(&|t| {
        let all = t.file["findings"].as_array_mut().unwrap();
        let copy = all[0].clone();
        all.push(copy);
    }));
    // What rises in the file falls on the page.
    let rises = made().page.contains("the rate rises with");
    assert!(rises, "a rate that follows the recipe");
    assert!(denied(
        &|t| t.page = t.page.replace("the rate rises with", "the rate falls with")
    ));
}

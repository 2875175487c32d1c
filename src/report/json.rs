//! `findings.json`.

use serde::Serialize;
use serde_json::{Map, Value, json};

use super::{Findings, words};
use crate::causes::{NextCheck, OpenRival, Reason};
use crate::charts::NumberStyle;
use crate::records::Records;
use crate::trial;

/// Version of the names and meanings of the fixed fields.
pub const SCHEMA: u32 = 1;

/// Significant digits of every number that is not a count: enough to compute
/// with, few enough that the last bits of a platform's functions don't show.
const DIGITS: usize = 9;

/// The text of `findings.json`.
#[must_use]
pub fn findings_json(findings: &Findings<'_>, numbers: &NumberStyle) -> String {
    rounded_json(&value(findings, numbers))
}

/// Any result as JSON text, its numbers rounded like those of `findings.json`.
#[must_use]
pub fn rounded_json(result: &impl Serialize) -> String {
    let mut value = plain(result);
    round_all(&mut value);
    let mut text = format!("{value:#}");
    text.push('\n');
    text
}

fn value(findings: &Findings<'_>, numbers: &NumberStyle) -> Value {
    // A result with what it says in words.
    let worded = |result: Value, open: &[OpenRival], reasons: &[Reason], next: &NextCheck| {
        let reasons = reasons.iter().map(|r| words::reason(r, numbers));
        let mut fields = object(result);
        fields.insert("open".into(), open_json(open, numbers));
        fields.insert("reasons".into(), reasons.collect());
        let next = words::next_check(next, numbers);
        fields.insert("next_check".into(), json!(next));
        fields
    };
    let records = findings.records;
    let warnings: Vec<Value> = findings
        .warnings()
        .map(|w| {
            json!({
                "code": w.code.code(),
                "text": w.text,
                "file": w.file.as_deref().map(|f| f.to_string_lossy().into_owned()),
            })
        })
        .collect();
    let found: Vec<Value> = findings
        .causes
        .findings
        .iter()
        .map(|finding| {
            let own = plain(finding);
            let mut fields = worded(own, &finding.open, &finding.reasons, &finding.next_check);
            if let Some(life) = findings.lives.of.get(&finding.id) {
                fields.extend(life.fields());
            }
            let standing = findings.standings.get(&finding.id);
            fields.insert("state".into(), plain(&standing));
            if let Some([before, week]) = findings.in_week.get(&finding.id) {
                fields.insert("in_week".into(), plain(week));
                fields.insert("before_week".into(), plain(before));
            }
            Value::Object(fields)
        })
        .chain(findings.lives.kept.iter().map(|kept| {
            let mut fields = kept.finding.fields.clone();
            fields.extend(kept.life.fields());
            Value::Object(fields)
        }))
        .collect();
    let streams: Vec<Value> = findings
        .causes
        .streams
        .iter()
        .map(|stream| {
            let own = plain(stream);
            let mut fields = worded(own, &stream.open, &stream.reasons, &stream.next_check);
            fields.insert("rate_by_level".into(), plain(&stream.rate_by_level));
            Value::Object(fields)
        })
        .collect();
    let surfaces: Vec<Value> = findings
        .causes
        .surface
        .iter()
        .map(|surface| {
            let mut fields = object(plain(surface));
            let notes = surface.notes.iter();
            let notes = notes.map(|note| words::surface::surface_note(note, numbers));
            fields.insert("notes".into(), notes.collect());
            let mut left = findings.causes.film_left.iter();
            let left = left.find(|l| (&l.machine, &l.head) == (&surface.machine, &surface.head));
            fields.insert("film_left".into(), plain(&left));
            Value::Object(fields)
        })
        .collect();
    let mut all = json!({
        "onus": env!("CARGO_PKG_VERSION"),
        "schema": SCHEMA,
        "report": findings.lives.report,
        "previous_report": findings.lives.previous,
        "last_number": findings.lives.last_number,
        "input": records.input,
        "levels": findings.levels,
        "warnings": warnings,
        "streams": streams,
        "findings": found,
        "surface": surfaces,
        "removal": plain(&findings.removal),
        "changes": plain(&findings.changes),
        "weekly": plain(&findings.weekly),
        "actions": plain(&findings.actions),
        "period": period(records),
    });
    let plans = trial::read_back(records, &words::trial::places(&findings.causes.findings));
    if let Some(all) = all.as_object_mut().filter(|_| !plans.is_empty()) {
        all.insert("plans".into(), plain(&plans));
    }
    all
}

/// Rivals not yet met or beaten, with what would settle each.
fn open_json(open: &[OpenRival], numbers: &NumberStyle) -> Value {
    open.iter()
        .map(|rival| {
            json!({
                "rival": rival.rival,
                "levels": rival.levels,
                "to_settle": words::next_check(&rival.to_settle, numbers),
                "panels": rival.panels,
            })
        })
        .collect()
}

/// First and last `sanded_at`: the next report counts from the last one on.
fn period(records: &Records) -> Value {
    let mut times = records.panels.iter().filter_map(|p| p.sanded_at);
    let first = times.next();
    // panels are in time order
    let last = times.next_back().or(first);
    json!({
        "first": first.map(|at| at.instant.to_string()),
        "last": last.map(|at| at.instant.to_string()),
    })
}

fn plain(value: &impl Serialize) -> Value {
    serde_json::to_value(value).unwrap_or(Value::Null)
}

fn object(value: Value) -> Map<String, Value> {
    match value {
        Value::Object(fields) => fields,
        _ => Map::new(),
    }
}

/// The number to [`DIGITS`] significant digits; none if it is not finite.
pub(super) fn rounded(value: f64) -> Option<f64> {
    if !value.is_finite() {
        return None;
    }
    // Decimal rounding by way of text is the same on every platform.
    let rounded: f64 = format!("{value:.*e}", DIGITS - 1).parse().ok()?;
    // No negative zero: it would show in the text.
    Some(if rounded == 0.0 { 0.0 } else { rounded })
}

fn round_all(value: &mut Value) {
    match value {
        Value::Number(number) if number.is_f64() => {
            *value = json!(number.as_f64().and_then(rounded));
        }
        Value::Array(items) => items.iter_mut().for_each(round_all),
        Value::Object(fields) => fields.values_mut().for_each(round_all),
        _ => {}
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn numbers_are_rounded_on_the_way_out_and_never_nan() {
        assert_eq!(rounded(0.1 + 0.2), Some(0.3));
        assert_eq!(rounded(1.965_213_556_123e-9), Some(1.965_213_56e-9));
        assert_eq!(rounded(f64::NAN), None);
        assert_eq!(rounded(-0.0).map(f64::to_bits), Some(0));
        let mut value = json!({"a": [1, 0.30000000000000004], "b": null});
        round_all(&mut value);
        assert_eq!(value.to_string(), r#"{"a":[1,0.3],"b":null}"#);
    }
}

//! Singular and plural, and lists.

use crate::charts::NumberStyle;

/// "1 lot", "2 lots", "no lots".
pub fn counted(n: usize, one: &str, many: &str, numbers: &NumberStyle) -> String {
    match n {
        0 => format!("no {many}"),
        1 => format!("1 {one}"),
        n => format!("{} {many}", numbers.count(n)),
    }
}

/// "1 panel", "2 panels", "no panels".
pub fn count_panels(n: usize, numbers: &NumberStyle) -> String {
    counted(n, "panel", "panels", numbers)
}

/// "38 of 120 panels", "1 of 1 panel".
pub fn of_panels(hit: usize, of: usize, numbers: &NumberStyle) -> String {
    let noun = if of == 1 { "panel" } else { "panels" };
    format!("{} of {} {noun}", numbers.count(hit), numbers.count(of))
}

/// "about 2.1", "less than 0.1": how many panels chance alone would give.
pub fn by_chance(expected: f64, numbers: &NumberStyle) -> String {
    const LEAST: f64 = 0.1;
    if expected < LEAST {
        format!("less than {}", numbers.fixed(LEAST, 1))
    } else {
        format!("about {}", numbers.significant(expected, 2))
    }
}

/// "a", "a and b", "a, b and c"; at most `most` items, then "and 3 more".
pub fn listed(items: &[String], most: usize) -> String {
    match items.len().saturating_sub(most) {
        0 => joined(items, "and"),
        more => format!("{} and {more} more", items[..most].join(", ")),
    }
}

/// "a", "a and b", "a, b and c".
pub fn list(items: impl Iterator<Item = String>) -> String {
    joined(&items.collect::<Vec<_>>(), "and")
}

/// "a", "a or b", "a, b or c".
pub fn either(items: impl Iterator<Item = String>) -> String {
    joined(&items.collect::<Vec<_>>(), "or")
}

fn joined(items: &[String], word: &str) -> String {
    match items.split_last() {
        None => String::new(),
        Some((last, [])) => last.clone(),
        Some((last, rest)) => format!("{} {word} {last}", rest.join(", ")),
    }
}

/// "2nd", "3rd", "11th".
pub fn ordinal(n: usize) -> String {
    let ending = match (n % 10, n % 100) {
        (_, 11..=13) => "th",
        (1, _) => "st",
        (2, _) => "nd",
        (3, _) => "rd",
        _ => "th",
    };
    format!("{n}{ending}")
}

/// The text, cut to `most` letters with an ellipsis: page one has to stay one
/// page, whatever a name looks like.
pub fn short(text: &str, most: usize) -> String {
    if text.chars().count() <= most {
        return text.to_owned();
    }
    let kept: String = text.chars().take(most.saturating_sub(1)).collect();
    format!("{}…", kept.trim_end())
}

/// The text with its first letter small.
pub fn uncapital(text: &str) -> String {
    let mut letters = text.chars();
    match letters.next() {
        Some(first) => first.to_lowercase().chain(letters).collect(),
        None => String::new(),
    }
}

/// The text with its first letter large.
pub fn capital(text: &str) -> String {
    let mut letters = text.chars();
    match letters.next() {
        Some(first) => first.to_uppercase().chain(letters).collect(),
        None => String::new(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn nouns_follow_their_numbers() {
        let numbers = NumberStyle::default();
        let panels = |n| count_panels(n, &numbers);
        assert_eq!(panels(0), "no panels");
        assert_eq!(panels(1), "1 panel");
        assert_eq!(panels(1200), "1,200 panels");
        assert_eq!(of_panels(1, 1, &numbers), "1 of 1 panel");
        assert_eq!(of_panels(3, 120, &numbers), "3 of 120 panels");
    }

    #[test]
    fn every_kth_panel_has_its_ordinal() {
        let words = [2, 3, 4, 11, 12, 21, 23].map(ordinal);
        assert_eq!(words, ["2nd", "3rd", "4th", "11th", "12th", "21st", "23rd"]);
    }

    #[test]
    fn lists_end_in_and() {
        let items: Vec<String> = ["a", "b", "c", "d"].map(String::from).to_vec();
        assert_eq!(listed(&[], 3), "");
        assert_eq!(listed(&items[..1], 3), "a");
        assert_eq!(listed(&items[..2], 3), "a and b");
        assert_eq!(listed(&items[..3], 3), "a, b and c");
        assert_eq!(listed(&items, 3), "a, b, c and 1 more");
        assert_eq!(either(items[..3].iter().cloned()), "a, b or c");
        assert_eq!(capital("ölfleck"), "Ölfleck");
    }
}

//! Singular and plural, and lists.

use crate::charts::NumberStyle;

/// "1 panel", "2 panels", "no panels".
#[must_use]
pub fn counted(n: usize, one: &str, many: &str, numbers: &NumberStyle) -> String {
    match n {
        0 => format!("no {many}"),
        1 => format!("1 {one}"),
        n => format!("{} {many}", numbers.count(n)),
    }
}

/// "38 of 120 panels", "1 of 1 panel".
#[must_use]
pub fn of_panels(hit: usize, of: usize, numbers: &NumberStyle) -> String {
    let noun = if of == 1 { "panel" } else { "panels" };
    format!("{} of {} {noun}", numbers.count(hit), numbers.count(of))
}

/// "about 2.1", "less than 0.1": how many panels chance alone would give.
#[must_use]
pub fn by_chance(expected: f64, numbers: &NumberStyle) -> String {
    const LEAST: f64 = 0.1;
    if expected < LEAST {
        format!("less than {}", numbers.fixed(LEAST, 1))
    } else {
        format!("about {}", numbers.significant(expected, 2))
    }
}

/// "a", "a and b", "a, b and c"; at most `most` items, then "and 3 more".
#[must_use]
pub fn listed(items: &[String], most: usize) -> String {
    match items {
        [] => String::new(),
        [one] => one.clone(),
        all if all.len() <= most => {
            let (last, rest) = (&all[all.len() - 1], &all[..all.len() - 1]);
            format!("{} and {last}", rest.join(", "))
        }
        all => format!("{} and {} more", all[..most].join(", "), all.len() - most),
    }
}

/// The text, cut to `most` letters with an ellipsis: page one has to stay one
/// page, whatever a name looks like.
#[must_use]
pub fn short(text: &str, most: usize) -> String {
    if text.chars().count() <= most {
        return text.to_owned();
    }
    let kept: String = text.chars().take(most.saturating_sub(1)).collect();
    format!("{}…", kept.trim_end())
}

/// The text with its first letter large.
#[must_use]
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
        let panels = |n| counted(n, "panel", "panels", &numbers);
        assert_eq!(panels(0), "no panels");
        assert_eq!(panels(1), "1 panel");
        assert_eq!(panels(1200), "1,200 panels");
        assert_eq!(of_panels(1, 1, &numbers), "1 of 1 panel");
        assert_eq!(of_panels(3, 120, &numbers), "3 of 120 panels");
    }

    #[test]
    fn lists_end_in_and() {
        let items: Vec<String> = ["a", "b", "c", "d"].map(String::from).to_vec();
        assert_eq!(listed(&[], 3), "");
        assert_eq!(listed(&items[..1], 3), "a");
        assert_eq!(listed(&items[..2], 3), "a and b");
        assert_eq!(listed(&items[..3], 3), "a, b and c");
        assert_eq!(listed(&items, 3), "a, b, c and 1 more");
        assert_eq!(capital("ölfleck"), "Ölfleck");
    }
}

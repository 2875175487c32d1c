//! What was assigned at once.

use std::collections::BTreeMap;

/// Texts as numbers in order of first sight, and the texts.
pub(crate) fn codes<T: Ord + Clone>(values: &[Option<T>]) -> (Vec<Option<usize>>, Vec<T>) {
    let mut known: BTreeMap<&T, usize> = BTreeMap::new();
    let mut names = Vec::new();
    let found = values
        .iter()
        .map(|value| {
            let value = value.as_ref()?;
            Some(*known.entry(value).or_insert_with(|| {
                names.push(value.clone());
                names.len() - 1
            }))
        })
        .collect();
    (found, names)
}

/// Groups renumbered from 0 by their first panels.
pub(crate) fn in_order<T: Ord>(groups: impl IntoIterator<Item = T>) -> Vec<usize> {
    let mut known: BTreeMap<T, usize> = BTreeMap::new();
    groups
        .into_iter()
        .map(|group| {
            let next = known.len();
            *known.entry(group).or_insert(next)
        })
        .collect()
}

/// Stretches of one value in time within each block, numbered by their first
/// panels. What was not recorded makes stretches of its own.
pub(crate) fn stretches<T: PartialEq>(values: &[T], blocks: &[usize]) -> Vec<usize> {
    let mut last: BTreeMap<usize, usize> = BTreeMap::new();
    let mut found = Vec::with_capacity(values.len());
    let mut next = 0;
    for (at, block) in blocks.iter().enumerate() {
        let same = last
            .insert(*block, at)
            .filter(|before| values[*before] == values[at]);
        found.push(match same {
            Some(before) => found[before],
            None => {
                next += 1;
                next - 1
            }
        });
    }
    found
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_stretch_ends_where_the_value_changes_in_its_own_block() {
        let values = [1, 7, 1, 7, 2, 7, 1];
        let blocks = [0, 1, 0, 1, 0, 1, 0];
        assert_eq!(stretches(&values, &blocks), [0, 1, 0, 1, 2, 1, 3]);
        let (found, names) = codes(&[Some("b"), None, Some("a"), Some("b")]);
        assert_eq!(found, [Some(0), None, Some(1), Some(0)]);
        assert_eq!(names, ["b", "a"]);
        assert_eq!(in_order([5, 5, 2, 5]), [0, 0, 1, 0]);
    }
}

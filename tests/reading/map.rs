//! The map in DEVELOPERS.md against the imports of the rooms under `src/`.

use std::collections::{BTreeMap, BTreeSet};
use std::path::{Path, PathBuf};

type Uses = BTreeMap<String, BTreeSet<String>>;

fn root() -> PathBuf {
    PathBuf::from(env!("CARGO_MANIFEST_DIR"))
}

/// Rooms with what the map says they use: rows of the form
/// "| `src/ROOM/` | what it holds | uses |".
fn mapped() -> Uses {
    let text = std::fs::read_to_string(root().join("DEVELOPERS.md")).unwrap();
    let row = |line: &str| -> Option<(String, BTreeSet<String>)> {
        let cells: Vec<&str> = line.split('|').map(str::trim).collect();
        let room = cells.get(1)?.strip_prefix("`src/")?.strip_suffix("/`")?;
        let uses = cells.get(3)?.split(", ").filter(|w| *w != "–");
        Some((room.to_owned(), uses.map(str::to_owned).collect()))
    };
    text.lines().filter_map(row).collect()
}

/// Rooms with what they import, tests beside the code left out.
fn imported() -> Uses {
    let rooms: BTreeSet<String> = std::fs::read_dir(root().join("src"))
        .unwrap()
        .map(|entry| entry.unwrap().path())
        .filter(|path| path.is_dir())
        .map(|path| path.file_name().unwrap().to_str().unwrap().to_owned())
        .collect();
    let of = |room: &String| {
        let mut used = BTreeSet::new();
        for file in sources(&root().join("src").join(room)) {
            let text = std::fs::read_to_string(&file).unwrap();
            let code = text.split("#[cfg(test)]\nmod ").next().unwrap_or_default();
            for line in code.lines().filter(|l| !l.trim_start().starts_with("//")) {
                for path in line.split("crate::").skip(1) {
                    let name = path
                        .split(|c: char| !c.is_alphanumeric() && c != '_')
                        .next();
                    used.extend(name.filter(|n| rooms.contains(*n)).map(str::to_owned));
                }
            }
        }
        used.remove(room);
        (room.clone(), used)
    };
    rooms.iter().map(of).collect()
}

/// Source files of a folder, those that hold tests alone left out.
fn sources(folder: &Path) -> Vec<PathBuf> {
    let tests_alone = ["published.rs", "exact_checks.rs", "worked_cases.rs"];
    walkdir::WalkDir::new(folder)
        .into_iter()
        .map(|entry| entry.unwrap().into_path())
        .filter(|path| path.extension().is_some_and(|e| e == "rs"))
        .filter(|path| !tests_alone.iter().any(|name| path.ends_with(name)))
        .collect()
}

#[test]
fn the_map_says_what_the_rooms_import() {
    assert_eq!(mapped(), imported());
}

#[test]
fn no_rooms_import_each_other_in_a_circle() {
    let mut left = imported();
    while let Some(last) = left
        .iter()
        .find(|(_, uses)| uses.iter().all(|u| !left.contains_key(u)))
        .map(|(room, _)| room.clone())
    {
        left.remove(&last);
    }
    assert!(left.is_empty(), "rooms in a circle: {:?}", left.keys());
}

#[test]
fn no_folder_holds_more_than_25_files() {
    let mut files: BTreeMap<PathBuf, usize> = BTreeMap::new();
    for file in sources(&root().join("src")) {
        *files.entry(file.parent().unwrap().to_owned()).or_default() += 1;
    }
    let full: Vec<_> = files.iter().filter(|(_, count)| **count > 25).collect();
    assert!(full.is_empty(), "{full:?}");
}

//! What the folders of a partitioned data set say about the files in them:
//! `month=2026-11/machine=M1/part-0.parquet`.

use std::path::Path;

use crate::records::header::{Cell, Header, Matcher};

/// What writers of such data sets put for no value.
const NO_VALUE: &str = "__HIVE_DEFAULT_PARTITION__";

/// Adds the columns that the file's folders name, as far as they are ours and the
/// file has none of its own; they are the same in every row.
pub(in crate::records) fn add_columns(header: &mut Header, path: &Path, matcher: &Matcher<'_>) {
    let folders = path.parent().into_iter().flat_map(Path::components);
    for folder in folders {
        let folder = folder.as_os_str().to_string_lossy();
        let Some((name, value)) = folder.split_once('=') else {
            continue;
        };
        let Some(slot) = matcher.slot(name) else {
            continue;
        };
        if value != NO_VALUE && header.cells.iter().all(|cell| cell.slot != slot) {
            header.cells.push(Cell {
                slot,
                index: header.width + header.given.len(),
                header: name.to_owned(),
                conversion: None,
            });
            header.given.push(unescaped(value));
        }
    }
}

/// `%2F` and the like as the signs that they stand for.
fn unescaped(value: &str) -> String {
    let bytes = value.as_bytes();
    let mut out = Vec::with_capacity(bytes.len());
    let mut at = 0;
    while at < bytes.len() {
        let code = value
            .get(at + 1..at + 3)
            .filter(|_| bytes[at] == b'%')
            .and_then(|digits| u8::from_str_radix(digits, 16).ok());
        out.push(code.unwrap_or(bytes[at]));
        at += if code.is_some() { 3 } else { 1 };
    }
    String::from_utf8_lossy(&out).into_owned()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::site::Site;
    use csv::StringRecord;

    #[test]
    fn folders_name_what_the_file_has_no_column_for() {
        let site = Site::default();
        let matcher = Matcher::new(&site);
        let path = Path::new(
            "a/month=2026-11/machine=M%201%/lot=L7/supplier=__HIVE_DEFAULT_PARTITION__/p.csv",
        );
        let headers = StringRecord::from(vec!["panel_id", "lot"]);
        let mut header = matcher.read(&headers).unwrap();
        add_columns(&mut header, path, &matcher);
        assert_eq!(header.given, ["M 1%"]);
        let added = header.cells.last().unwrap();
        assert_eq!((added.header.as_str(), added.index), ("machine", 2));
    }

    #[test]
    fn escaped_signs_come_back_and_others_stay() {
        assert_eq!(unescaped("M%2F1"), "M/1");
        assert_eq!(unescaped("50%"), "50%");
        assert_eq!(unescaped("%zz%C3%A4"), "%zzä");
        assert_eq!(unescaped("%é"), "%é");
    }
}

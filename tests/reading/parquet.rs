//! Parquet files that claim what they don't hold, and damaged ones: each costs
//! itself and is named, the rest goes on.

use std::fs;
use std::path::Path;
use std::time::{Duration, Instant};

use onus::records::{self, ReadOptions, Records};
use onus::site::Site;
use rand::RngExt;
use rand::SeedableRng;
use rand_chacha::ChaCha8Rng;

const GOOD: &str = "panel_id,length_mm,width_mm,x_mm,y_mm,defect\nGOOD-1,600,400,10,20,scratch\n";

/// Structures of Thrift's compact protocol, written field by field.
#[derive(Default)]
struct Thrift {
    bytes: Vec<u8>,
    last: Vec<i16>,
}

impl Thrift {
    fn varint(&mut self, mut value: u64) {
        while value > 0x7f {
            self.bytes.push(value as u8 | 0x80);
            value >>= 7;
        }
        self.bytes.push(value as u8);
    }

    fn field(&mut self, id: i16, kind: u8) -> &mut Self {
        let last = self.last.last_mut().unwrap();
        self.bytes.push(((id - *last) as u8) << 4 | kind);
        *last = id;
        self
    }

    fn whole(&mut self, value: i64) {
        self.varint(((value << 1) ^ (value >> 63)) as u64);
    }

    fn i32(&mut self, id: i16, value: i64) {
        self.field(id, 5).whole(value);
    }

    fn i64(&mut self, id: i16, value: i64) {
        self.field(id, 6).whole(value);
    }

    fn text(&mut self, id: i16, text: &str) {
        self.field(id, 8);
        self.bare_text(text);
    }

    fn bare_text(&mut self, text: &str) {
        self.varint(text.len() as u64);
        self.bytes.extend(text.as_bytes());
    }

    fn list(&mut self, id: i16, kind: u8, count: u64) {
        self.field(id, 9);
        self.bytes.push(0xf0 | kind);
        self.varint(count);
    }

    fn open(&mut self) {
        self.last.push(0);
    }

    fn inner(&mut self, id: i16) {
        self.field(id, 12);
        self.open();
    }

    fn close(&mut self) {
        self.bytes.push(0);
        self.last.pop();
    }
}

/// What a made file says of itself; honest where `rows` is what it holds.
struct Made {
    /// Rows of the footer.
    rows: i64,
    /// Values that the headers of the pages tell of.
    values: i64,
    /// Entries that the header of a dictionary tells of.
    entries: i64,
    /// Bytes that the header of a data page says it unpacks to, beyond its own.
    more: i64,
    /// Codec of the columns: 0 none, 1 snappy, 2 gzip.
    codec: i64,
    /// How much farther in the file a column is said to lie.
    shift: i64,
    /// Groups of the schema within each other, before the columns.
    nested: usize,
    /// How many row groups the footer's list is said to have.
    groups: u64,
    /// Bytes that are packed into a data page instead of its own.
    stuffed: Option<usize>,
}

impl Made {
    /// A file of so many equal rows about one panel, in some 400 bytes.
    fn honest(rows: i64) -> Self {
        Made {
            rows,
            values: rows,
            entries: 1,
            more: 0,
            codec: 0,
            shift: 0,
            nested: 0,
            groups: 1,
            stuffed: None,
        }
    }

    fn bytes(&self) -> Vec<u8> {
        let mut file = b"PAR1".to_vec();
        let mut places = Vec::new();
        let double = |value: f64| value.to_le_bytes().to_vec();
        let text = |text: &str| {
            let mut bytes = (text.len() as u32).to_le_bytes().to_vec();
            bytes.extend(text.as_bytes());
            bytes
        };
        let columns = [
            ("panel_id", 6, text("P1")),
            ("length_mm", 5, double(600.0)),
            ("width_mm", 5, double(400.0)),
        ];
        for (_, _, entry) in &columns {
            let start = file.len();
            self.page(&mut file, 2, entry.clone());
            let data = file.len();
            // One run of the entry's place, 0, in one bit.
            let mut run = Thrift::default();
            run.bytes.push(1);
            run.varint((self.values as u64) << 1);
            run.bytes.push(0);
            self.page(&mut file, 0, run.bytes);
            places.push((start, data, file.len()));
        }
        let mut footer = Thrift::default();
        footer.open();
        footer.i32(1, 2);
        footer.list(2, 12, 1 + self.nested as u64 + columns.len() as u64);
        for depth in 0..=self.nested {
            footer.open();
            if depth > 0 {
                footer.i32(3, 0);
            }
            footer.text(4, "schema");
            let children = if depth < self.nested {
                1
            } else {
                columns.len()
            };
            footer.i32(5, children as i64);
            footer.close();
        }
        for (name, kind, _) in &columns {
            footer.open();
            footer.i32(1, *kind);
            footer.i32(3, 0);
            footer.text(4, name);
            if *kind == 6 {
                footer.i32(6, 0);
            }
            footer.close();
        }
        footer.i64(3, self.rows);
        footer.list(4, 12, self.groups);
        footer.open();
        footer.list(1, 12, columns.len() as u64);
        for ((name, kind, _), (start, data, end)) in columns.iter().zip(&places) {
            footer.open();
            footer.i64(2, *start as i64);
            footer.inner(3);
            footer.i32(1, *kind);
            footer.list(2, 5, 1);
            footer.whole(8);
            footer.list(3, 8, 1);
            footer.bare_text(name);
            footer.i32(4, self.codec);
            footer.i64(5, self.rows);
            footer.i64(6, (end - start) as i64);
            footer.i64(7, (end - start) as i64);
            footer.i64(9, *data as i64 + self.shift);
            footer.i64(11, *start as i64 + self.shift);
            footer.close();
            footer.close();
        }
        footer.i64(2, 100);
        footer.i64(3, self.rows);
        footer.close();
        footer.close();
        file.extend(&footer.bytes);
        file.extend((footer.bytes.len() as u32).to_le_bytes());
        file.extend(b"PAR1");
        file
    }

    fn page(&self, file: &mut Vec<u8>, kind: i64, body: Vec<u8>) {
        let unpacked = body.len() as i64;
        let body = match (kind, self.stuffed) {
            (0, Some(bytes)) => vec![0; bytes],
            _ => body,
        };
        let packed = match self.codec {
            1 => {
                // A length and one literal: what snappy makes of short bytes.
                let mut packed = vec![body.len() as u8, (body.len() as u8 - 1) << 2];
                packed.extend(&body);
                packed
            }
            2 => {
                use std::io::Write;
                let mut packer = flate2::write::GzEncoder::new(Vec::new(), Default::default());
                packer.write_all(&body).unwrap();
                packer.finish().unwrap()
            }
            _ => body,
        };
        let mut header = Thrift::default();
        header.open();
        header.i32(1, kind);
        header.i32(2, unpacked + if kind == 0 { self.more } else { 0 });
        header.i32(3, packed.len() as i64);
        if kind == 2 {
            header.inner(7);
            header.i32(1, self.entries);
            header.i32(2, 0);
        } else {
            header.inner(5);
            header.i32(1, self.values);
            header.i32(2, 8);
            header.i32(3, 3);
            header.i32(4, 3);
        }
        header.close();
        header.close();
        file.extend(&header.bytes);
        file.extend(&packed);
    }
}

/// Reads a file together with a good one.
fn read_beside_a_good_one(bytes: &[u8]) -> (Records, Duration) {
    let folder = tempfile::tempdir().unwrap();
    fs::write(folder.path().join("good.csv"), GOOD).unwrap();
    fs::write(folder.path().join("other.parquet"), bytes).unwrap();
    let start = Instant::now();
    let records = records::read(
        &[folder.path().to_owned()],
        &Site::default(),
        &ReadOptions::default(),
    )
    .unwrap();
    let time = start.elapsed();
    assert!(records.panels.iter().any(|p| p.id == "GOOD-1"));
    (records, time)
}

/// The most memory that this process ever had, MB; none where the system does
/// not tell.
fn peak_mb() -> Option<u64> {
    let status = fs::read_to_string("/proc/self/status").ok()?;
    let line = status.lines().find_map(|l| l.strip_prefix("VmHWM:"))?;
    line.trim()
        .strip_suffix("kB")?
        .trim()
        .parse::<u64>()
        .ok()
        .map(|kb| kb >> 10)
}

#[test]
fn what_is_made_here_is_a_parquet_file_in_every_packing() {
    for codec in 0..=2 {
        let made = Made {
            codec,
            ..Made::honest(3)
        };
        let (records, _) = read_beside_a_good_one(&made.bytes());
        assert_eq!(records.input.skipped_files, 0, "{:?}", records.rejects);
        assert_eq!(records.input.panels, 2);
        let panel = records.panels.iter().find(|p| p.id == "P1").unwrap();
        assert_eq!((panel.length_mm, panel.width_mm), (600.0, 400.0));
    }
}

#[test]
fn a_file_that_claims_more_than_it_holds_is_named_before_it_costs_anything() {
    const MUCH: i64 = 2_000_000_000;
    let liars: [(&str, Made, &str); 13] = [
        ("rows without end", Made::honest(MUCH), "max_unpacked_mb"),
        // Their numbers alone would have room.
        (
            "twenty million equal rows",
            Made::honest(20_000_000),
            "max_unpacked_mb",
        ),
        (
            "a footer of more rows than the pages hold",
            Made {
                rows: MUCH,
                ..Made::honest(3)
            },
            "its footer tells of",
        ),
        (
            "pages of more values than the footer has rows",
            Made {
                values: MUCH,
                ..Made::honest(3)
            },
            "its footer tells of",
        ),
        (
            "a dictionary without end",
            Made {
                entries: MUCH,
                ..Made::honest(3)
            },
            "page header",
        ),
        (
            "a large dictionary",
            Made {
                entries: -1,
                ..Made::honest(3)
            },
            "page header",
        ),
        (
            "a page of 2 GB",
            Made {
                codec: 1,
                more: MUCH,
                ..Made::honest(3)
            },
            "max_unpacked_mb",
        ),
        (
            "a page of less than nothing",
            Made {
                more: -100,
                ..Made::honest(3)
            },
            "page header",
        ),
        (
            "a page that unpacks to more than it says",
            Made {
                codec: 2,
                stuffed: Some(16 << 20),
                ..Made::honest(3)
            },
            "another size",
        ),
        (
            "a column outside the file",
            Made {
                shift: 1 << 40,
                ..Made::honest(3)
            },
            "Parquet",
        ),
        (
            "a column before the file",
            Made {
                shift: -1 << 40,
                ..Made::honest(3)
            },
            "Parquet",
        ),
        (
            "a schema without bottom",
            Made {
                nested: 200_000,
                ..Made::honest(3)
            },
            "footer is damaged",
        ),
        (
            "a list of all row groups there are",
            Made {
                groups: 1 << 40,
                ..Made::honest(3)
            },
            "footer is damaged",
        ),
    ];
    for (what, made, expected) in liars {
        let bytes = made.bytes();
        let (records, time) = read_beside_a_good_one(&bytes);
        assert_eq!(records.input.panels, 1, "{what}");
        let why = &records.rejects[0].why;
        assert!(why.contains(expected), "{what}: {why}");
        assert!(records.rejects[0].file.ends_with("other.parquet"));
        assert!(time < Duration::from_secs(10), "{what}: {time:?}");
    }
    if let Some(peak) = peak_mb() {
        assert!(peak < 900, "{peak} MB at most");
    }
}

/// A data set as tools that partition tables write it: the folders hold what the
/// files leave out.
#[test]
fn folders_of_a_partitioned_data_set_name_the_machine_and_a_pattern_the_months() {
    let folder = tempfile::tempdir().unwrap();
    for (at, part) in [
        "month=2026-10/machine=M1",
        "month=2026-11/machine=M1",
        "month=2026-11/machine=M%202",
    ]
    .into_iter()
    .enumerate()
    {
        let part = folder.path().join(part);
        fs::create_dir_all(&part).unwrap();
        if at == 0 {
            fs::write(part.join("part-0.parquet"), Made::honest(3).bytes()).unwrap();
        }
        let text = GOOD.replace("GOOD", &format!("SET{at}"));
        fs::write(part.join("part-1.csv"), text).unwrap();
    }
    let read = |what: &str| {
        let inputs = [folder.path().join(what)];
        let records = records::read(&inputs, &Site::default(), &ReadOptions::default()).unwrap();
        let of = |p: &records::Panel| (p.id.to_string(), p.machine.as_deref().map(str::to_owned));
        let mut panels: Vec<(String, Option<String>)> = records.panels.iter().map(of).collect();
        panels.sort();
        (panels, records.input.files)
    };
    let on = |id: &str, machine: &str| (id.to_owned(), Some(machine.to_owned()));
    let october = [on("P1", "M1"), on("SET0-1", "M1")];
    assert_eq!(read("month=2026-10"), (october.to_vec(), 2));
    let (november, files) = read("month=2026-1[1-2]/machine=M%*/*.csv");
    assert_eq!(
        (november.as_slice(), files),
        ([on("SET2-1", "M 2")].as_slice(), 1)
    );
    let (both, files) = read("month=2026-11");
    assert_eq!(
        (both.as_slice(), files),
        ([on("SET1-1", "M1"), on("SET2-1", "M 2")].as_slice(), 2)
    );
}

#[test]
fn all_packed_files_of_a_run_share_one_budget_in_their_order() {
    let folder = tempfile::tempdir().unwrap();
    let site = Site::parse("[read]\nmax_unpacked_mb = 1\n", Path::new("onus.toml")).unwrap();
    let pack = |name: &str, id: &str, rows: usize| {
        use std::io::Write;
        let file = fs::File::create(folder.path().join(name)).unwrap();
        let mut packer = flate2::write::GzEncoder::new(file, Default::default());
        let mut text = "panel_id,length_mm,width_mm,x_mm,y_mm,defect\n".to_owned();
        for row in 0..rows {
            let y = 20 + 30 * (id.as_bytes()[0] - b'A');
            text.push_str(&format!("{id},600,400,{row},{y},scratch\n"));
        }
        packer.write_all(text.as_bytes()).unwrap();
        packer.finish().unwrap();
        text.len()
    };
    // 3,000 rows of three numbers, each with what is kept of a row, leave less
    // than 210 kB of a megabyte: no room is left for them after the first
    // three, but there is for the small one.
    let packed = [("a", "A"), ("b", "B"), ("c", "C")]
        .map(|(name, id)| pack(&format!("{name}.csv.gz"), id, 400));
    assert!(packed.iter().sum::<usize>() < 50_000);
    fs::write(folder.path().join("d.parquet"), Made::honest(3_000).bytes()).unwrap();
    pack("e.csv.gz", "E", 10);
    let read =
        || records::read(&[folder.path().to_owned()], &site, &ReadOptions::default()).unwrap();
    let records = read();
    let ids: Vec<&str> = records.panels.iter().map(|p| p.id.as_str()).collect();
    assert_eq!(ids, ["A", "B", "C", "E"]);
    assert_eq!(records.rejects.len(), 1);
    assert!(records.rejects[0].file.ends_with("d.parquet"));
    assert!(records.rejects[0].why.contains("max_unpacked_mb"));
    assert_eq!(read(), records);
    // Without them it has room.
    for name in ["a.csv.gz", "b.csv.gz", "c.csv.gz"] {
        fs::remove_file(folder.path().join(name)).unwrap();
    }
    assert_eq!(read().input.skipped_files, 0);
}

/// Files of every packing and kind of value, damaged at random: bytes changed,
/// cut out, put in twice, or the end cut off.
#[test]
fn no_damage_to_a_parquet_file_costs_more_than_the_file() {
    let messy = Path::new(env!("CARGO_MANIFEST_DIR")).join("fixtures/messy");
    let mut whole: Vec<Vec<u8>> = [
        "table.parquet",
        "zoned.parquet",
        "stored/dictionary.parquet",
        "stored/instants.parquet",
        "stored/int96.parquet",
        "stored/decimal.parquet",
        "stored/lists.parquet",
    ]
    .iter()
    .map(|name| fs::read(messy.join(name)).unwrap())
    .collect();
    for codec in 0..=2 {
        whole.push(
            Made {
                codec,
                ..Made::honest(5)
            }
            .bytes(),
        );
    }
    let mut rng = ChaCha8Rng::seed_from_u64(20);
    let (mut read, mut skipped) = (0, 0);
    for _ in 0..400 {
        let mut bytes = whole[rng.random_range(0..whole.len())].clone();
        for _ in 0..rng.random_range(1..5) {
            let at = rng.random_range(0..bytes.len());
            match rng.random_range(0..6) {
                0..=2 => bytes[at] = rng.random(),
                3 => bytes[at] ^= 1 << rng.random_range(0..8),
                4 => {
                    let end = (at + rng.random_range(1..9)).min(bytes.len());
                    bytes.drain(at..end);
                }
                _ => {
                    let end = (at + rng.random_range(1..9)).min(bytes.len());
                    let again = bytes[at..end].to_vec();
                    bytes.splice(at..at, again);
                }
            }
        }
        let (records, time) = read_beside_a_good_one(&bytes);
        assert!(time < Duration::from_secs(5), "{time:?}");
        match records.input.skipped_files {
            0 => read += 1,
            _ => skipped += 1,
        }
    }
    // Some damage is to parts that nobody reads.
    assert!(skipped > 100, "{skipped} skipped, {read} read");
}

//! The same input gives the same bytes: at any number of threads, wherever
//! the report is written, in whatever order the files are named.

use crate::shop::{Shop, files, onus};

#[test]
fn threads_and_place_do_not_show_in_the_bytes() {
    let shop = Shop::with_spot(90);
    let mut made = Vec::new();
    for (threads, out) in [("1", "one"), ("2", "two/deep"), ("4", "four")] {
        let done = onus()
            .current_dir(shop.path(""))
            .env("RAYON_NUM_THREADS", threads)
            .env(
                "TZ",
                if threads == "1" {
                    "UTC"
                } else {
                    "Pacific/Auckland"
                },
            )
            .args(["report", "inspections", "--out", out])
            .output()
            .unwrap();
        assert!(
            done.status.success(),
            "{}",
            String::from_utf8_lossy(&done.stderr)
        );
        let folder = shop.path(out);
        let all: Vec<(String, Vec<u8>)> = files(&folder)
            .into_iter()
            .map(|name| {
                let bytes = std::fs::read(folder.join(&name)).unwrap();
                (name, bytes)
            })
            .collect();
        made.push(all);
    }
    for other in &made[1..] {
        for (one, two) in made[0].iter().zip(other) {
            assert_eq!(one.0, two.0);
            assert!(one.1 == two.1, "{} differs", one.0);
        }
        assert_eq!(made[0].len(), other.len());
    }
}

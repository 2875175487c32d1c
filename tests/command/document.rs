//! The PDF as a reader sees it: text in reading order, fonts, tags, links.

use std::collections::BTreeMap;
use std::sync::OnceLock;

use lopdf::{Document, Object, ObjectId};

use crate::shop::Shop;

/// The text of every page, with single spaces between words.
pub(crate) fn text_of(pdf: &[u8]) -> Vec<String> {
    let document = Document::load_mem(pdf).unwrap();
    document
        .get_pages()
        .keys()
        .map(|&page| {
            let text = document.extract_text(&[page]).unwrap();
            text.split_whitespace().collect::<Vec<_>>().join(" ")
        })
        .collect()
}

/// The report on ninety panels with a spot, made once for all tests here.
fn usual() -> &'static [u8] {
    static PDF: OnceLock<Vec<u8>> = OnceLock::new();
    PDF.get_or_init(|| {
        let shop = Shop::with_spot(90);
        let done = shop.report(&[]);
        let told = String::from_utf8_lossy(&done.stderr).into_owned();
        assert!(done.status.success(), "{told}");
        shop.made("report.pdf")
    })
}

/// Where the words stand in the text, which must hold them all in this order.
fn in_order(text: &str, words: &[&str]) {
    let mut from = 0;
    for word in words {
        let found = text[from..].find(word);
        assert!(found.is_some(), "{word:?} after byte {from} of {text:?}");
        from += found.unwrap() + word.len();
    }
}

#[test]
fn page_one_is_the_answer_in_reading_order() {
    let pdf = usual();
    let pages = text_of(pdf);
    in_order(
        &pages[0],
        &[
            "M1 leaves sand-through at one place",
            "panels inspected",
            "with at least one defect",
            "What we found",
            "machine",
            "likely",
            "stop corner",
            "What to do first",
            "CAUTION",
            "take precedence",
            "Figure 1",
        ],
    );
    let one = pages[0].to_lowercase();
    for word in ["p-value", "p =", "p_adjusted", "p <"] {
        assert!(!one.contains(word), "{word} on page one");
    }
    assert!(pages.last().unwrap().contains("Sources"));
}

#[test]
fn the_pages_come_in_their_order() {
    let pdf = usual();
    let all = text_of(pdf).join("\n");
    in_order(
        &all,
        &[
            "F1: sand-through",
            "Where the marks are",
            "What could have been missed",
            "The data",
            "Method and words",
        ],
    );
    assert!(
        all.contains("1 in 1,000"),
        "what sure means is told in numbers"
    );
}

#[test]
fn fonts_are_embedded_subsets_of_one_family() {
    let pdf = usual();
    let document = Document::load_mem(pdf).unwrap();
    let mut fonts = 0;
    for object in document.objects.values() {
        let Ok(font) = object.as_dict() else { continue };
        if !font.has_type(b"FontDescriptor") {
            continue;
        }
        fonts += 1;
        let name = String::from_utf8_lossy(font.get(b"FontName").unwrap().as_name().unwrap());
        let (subset, face) = name.split_once('+').unwrap();
        assert_eq!(subset.len(), 6, "{name}");
        assert!(face.starts_with("SourceSans3"), "{name}");
        assert!(
            font.has(b"FontFile2") || font.has(b"FontFile3"),
            "{name} is embedded"
        );
    }
    assert!(fonts >= 2);
}

#[test]
fn the_pdf_is_tagged_titled_and_speaks_english() {
    let pdf = usual();
    let document = Document::load_mem(pdf).unwrap();
    let catalog = document.catalog().unwrap();
    let marked = document
        .dereference(catalog.get(b"MarkInfo").unwrap())
        .unwrap()
        .1;
    let marked = marked.as_dict().unwrap().get(b"Marked").unwrap();
    assert!(marked.as_bool().unwrap());
    assert_eq!(catalog.get(b"Lang").unwrap().as_str().unwrap(), b"en");
    assert!(catalog.has(b"StructTreeRoot") && catalog.has(b"Outlines"));
    let metadata = document
        .dereference(catalog.get(b"Metadata").unwrap())
        .unwrap()
        .1;
    let xmp = String::from_utf8_lossy(&metadata.as_stream().unwrap().content).into_owned();
    for claim in ["pdfuaid", "pdfaid", "Surface defects of sanded panels"] {
        assert!(xmp.contains(claim), "{claim}");
    }
    let mut tags = BTreeMap::new();
    let mut without_alt = 0;
    for object in document.objects.values() {
        let Ok(element) = object.as_dict() else {
            continue;
        };
        let Ok(Object::Name(tag)) = element.get(b"S") else {
            continue;
        };
        let tag = String::from_utf8_lossy(tag).into_owned();
        if tag == "Figure" && !element.has(b"Alt") {
            without_alt += 1;
        }
        *tags.entry(tag).or_insert(0) += 1;
    }
    for tag in [
        "H1", "H2", "P", "L", "LI", "Table", "TH", "TD", "Figure", "Caption", "Link",
    ] {
        assert!(tags.contains_key(tag), "{tag} of {tags:?}");
    }
    assert_eq!(without_alt, 0, "every chart says what it shows");
}

/// The places of the document that links name, with their pages.
fn named_places(document: &Document, node: &Object, found: &mut BTreeMap<Vec<u8>, ObjectId>) {
    let node = document.dereference(node).unwrap().1.as_dict().unwrap();
    if let Ok(kids) = node.get(b"Kids") {
        for kid in kids.as_array().unwrap() {
            named_places(document, kid, found);
        }
    }
    let Ok(names) = node.get(b"Names") else {
        return;
    };
    for pair in names.as_array().unwrap().chunks(2) {
        let place = document.dereference(&pair[1]).unwrap().1;
        let place = match place.as_dict() {
            Ok(dictionary) => dictionary.get(b"D").unwrap(),
            Err(_) => place,
        };
        let page = place.as_array().unwrap()[0].as_reference().unwrap();
        found.insert(pair[0].as_str().unwrap().to_vec(), page);
    }
}

#[test]
fn every_link_leads_to_a_page_of_the_document() {
    let document = Document::load_mem(usual()).unwrap();
    let pages: Vec<_> = document.get_pages().into_values().collect();
    let catalog = document.catalog().unwrap();
    let names = catalog.get(b"Names").unwrap();
    let names = document.dereference(names).unwrap().1.as_dict().unwrap();
    let mut places = BTreeMap::new();
    named_places(&document, names.get(b"Dests").unwrap(), &mut places);
    let mut links = 0;
    for object in document.objects.values() {
        let Ok(note) = object.as_dict() else { continue };
        let is_link = |kind: &Object| kind.as_name().is_ok_and(|name| name == b"Link");
        if !note.get(b"Subtype").is_ok_and(is_link) {
            continue;
        }
        links += 1;
        let target = note.get(b"Dest").unwrap().as_str().unwrap();
        let page = places.get(target).copied();
        assert!(page.is_some_and(|page| pages.contains(&page)), "{note:?}");
        assert!(note.has(b"Contents"), "said in words too: {note:?}");
    }
    assert!(links >= 1, "page one links to the finding's page");
}

#[test]
fn paper_is_a4_or_letter() {
    for (paper, width, height) in [("a4", 595.28, 841.89), ("letter", 612.0, 792.0)] {
        let shop = Shop::with_spot(6);
        assert!(shop.report(&["--paper", paper]).status.success());
        let pdf = shop.made("report.pdf");
        let document = Document::load_mem(&pdf).unwrap();
        let page = *document.get_pages().values().next().unwrap();
        let page = document.get_object(page).unwrap().as_dict().unwrap();
        let size: Vec<f32> = page
            .get(b"MediaBox")
            .unwrap()
            .as_array()
            .unwrap()
            .iter()
            .map(|n| n.as_float().unwrap())
            .collect();
        assert!(
            (size[2] - width).abs() < 0.1 && (size[3] - height).abs() < 0.1,
            "{size:?}"
        );
    }
}

#[test]
fn a_good_week_says_so() {
    let shop = Shop::without_spot(90);
    assert!(shop.report(&[]).status.success());
    let pages = text_of(&shop.made("report.pdf"));
    assert!(
        pages[0].contains("nothing points to the machine"),
        "{}",
        pages[0]
    );
    assert!(pages[0].contains("Leave the machine as it is"));
    assert!(
        pages
            .iter()
            .any(|p| p.contains("What could have been missed"))
    );
}

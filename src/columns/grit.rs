//! Abrasive grit and its scale.

use serde::{Deserialize, Serialize};

/// The scale a grit number belongs to.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord, Serialize, Deserialize)]
pub enum GritScale {
    /// FEPA P grades (ISO 6344-2, -3).
    #[serde(rename = "P")]
    FepaP,
    /// CAMI grades (ANSI B74.18).
    #[serde(rename = "CAMI")]
    Cami,
}

/// An abrasive grit as recorded.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Grit {
    /// In one spelling per grade: `P320`, `CAMI 400`, or `320` where the scale
    /// is not known; any other text as recorded.
    pub label: String,
    /// The scale, where it is known.
    pub scale: Option<GritScale>,
    /// Median grain size, µm, where the scale is known and lists the number.
    pub grain_um: Option<f64>,
}

impl Grit {
    /// Reads a grit as recorded: `P320`, `P 320`, `320P` and `FEPA P320` are
    /// FEPA P, `CAMI 400` is CAMI; `320`, `#320`, `K320` and `320 grit` are
    /// numbers on the site's `scale`. Any other text stays a label.
    ///
    /// Without a scale a number below 240 gets the FEPA P size, since there
    /// the two scales nearly agree (common practice, no source); from 240 up
    /// they don't, and it gets none.
    #[must_use]
    pub fn parse(text: &str, scale: Option<GritScale>) -> Grit {
        let text = text.trim();
        let upper = text.to_uppercase();
        let (named, number) = match number_in(&upper) {
            Some(found) => found,
            None => {
                return Grit {
                    label: text.to_owned(),
                    scale: None,
                    grain_um: None,
                };
            }
        };
        let scale = named.or(scale);
        let (label, grain_um) = match scale {
            Some(GritScale::FepaP) => (format!("P{number}"), grain(&FEPA_P, number)),
            Some(GritScale::Cami) => (format!("CAMI {number}"), grain(&CAMI, number)),
            None if number < NUMBERS_PART => (format!("{number}"), grain(&FEPA_P, number)),
            None => (format!("{number}"), None),
        };
        Grit {
            label,
            scale,
            grain_um,
        }
    }

    /// Whether the scale of its number is not known.
    #[must_use]
    pub fn scale_unknown(&self) -> bool {
        self.scale.is_none()
    }
}

/// From this number up the scales differ by more than their own tolerances.
const NUMBERS_PART: u32 = 240;

/// The number and the scale the text itself names.
fn number_in(upper: &str) -> Option<(Option<GritScale>, u32)> {
    let mut scale = None;
    let mut rest = upper.trim();
    for (word, named) in [
        ("FEPA", None),
        ("CAMI", Some(GritScale::Cami)),
        ("ANSI", Some(GritScale::Cami)),
        ("GRIT", None),
        ("#", None),
        ("P", Some(GritScale::FepaP)),
        ("K", None),
    ] {
        let without = rest.strip_prefix(word).or_else(|| rest.strip_suffix(word));
        if let Some(without) = without {
            rest = without.trim();
            scale = scale.or(named);
        }
    }
    let rest = rest.strip_suffix(".0").unwrap_or(rest);
    if rest.is_empty() || rest.len() > 5 || !rest.bytes().all(|b| b.is_ascii_digit()) {
        return None;
    }
    let number: u32 = rest.parse().ok()?;
    (number > 0).then_some((scale, number))
}

fn grain(table: &[(u32, f64)], number: u32) -> Option<f64> {
    table
        .iter()
        .find(|(grade, _)| *grade == number)
        .map(|(_, grain)| *grain)
}

/// Median grain, µm, of FEPA P grades (FEPA 43-1 and 43-2, ISO 6344-2 and -3,
/// as public tables give them; for P60 to P220 two families of tables differ
/// by up to 5 %).
const FEPA_P: [(u32, f64); 21] = [
    (40, 425.0),
    (60, 269.0),
    (80, 201.0),
    (100, 162.0),
    (120, 125.0),
    (150, 100.0),
    (180, 82.0),
    (220, 68.0),
    (240, 58.5),
    (280, 52.2),
    (320, 46.2),
    (360, 40.5),
    (400, 35.0),
    (500, 30.2),
    (600, 25.8),
    (800, 21.8),
    (1000, 18.3),
    (1200, 15.3),
    (1500, 12.6),
    (2000, 10.3),
    (2500, 8.4),
];

/// Average grain, µm, of CAMI grades (ANSI B74.18, as public tables give
/// them, which differ by a few per cent).
const CAMI: [(u32, f64); 19] = [
    (24, 715.0),
    (30, 638.0),
    (36, 535.0),
    (40, 428.0),
    (50, 351.0),
    (60, 268.0),
    (80, 192.0),
    (100, 141.0),
    (120, 116.0),
    (150, 93.0),
    (180, 78.0),
    (220, 66.0),
    (240, 53.5),
    (280, 44.0),
    (320, 36.0),
    (360, 28.8),
    (400, 23.0),
    (500, 20.0),
    (600, 16.0),
];

#[cfg(test)]
mod tests {
    use super::*;

    fn parts(text: &str, scale: Option<GritScale>) -> (String, Option<GritScale>, Option<f64>) {
        let grit = Grit::parse(text, scale);
        (grit.label, grit.scale, grit.grain_um)
    }

    #[test]
    fn spellings_of_the_same_grade_agree() {
        let p320 = ("P320".to_owned(), Some(GritScale::FepaP), Some(46.2));
        for text in ["P320", "p320", "P 320", "320P", "FEPA P320"] {
            assert_eq!(parts(text, None), p320, "{text}");
        }
        for text in ["320", "#320", "K320", "320 grit", "320.0"] {
            assert_eq!(parts(text, Some(GritScale::FepaP)), p320, "{text}");
        }
    }

    #[test]
    fn the_scales_are_kept_apart() {
        assert_eq!(parts("400", Some(GritScale::Cami)).2, Some(23.0));
        assert_eq!(parts("CAMI 400", Some(GritScale::FepaP)).2, Some(23.0));
        assert_eq!(parts("400", Some(GritScale::FepaP)).2, Some(35.0));
        assert_eq!(parts("P400", Some(GritScale::Cami)).2, Some(35.0));
    }

    #[test]
    fn a_bare_number_has_a_size_only_below_240() {
        assert_eq!(parts("239", None), ("239".into(), None, None));
        assert_eq!(parts("220", None).2, Some(68.0));
        assert_eq!(parts("240", None), ("240".into(), None, None));
    }

    #[test]
    fn other_texts_stay_labels() {
        for text in ["A16", "fine", "15 µm", "P", "0", "320/400"] {
            let grit = Grit::parse(text, Some(GritScale::FepaP));
            assert_eq!((grit.label.as_str(), grit.grain_um), (text, None));
        }
    }
}

//! What records of the recipe cannot carry is left out and said, not guessed.

use onus::records::{self, Grit, ReadOptions, Records};
use onus::removal::{Factor, Held, Note, Removal, Settings, Term, fit};
use onus::site::Site;
use statrs::distribution::{Binomial, DiscreteCDF};

use crate::recipe::shop::{RecipeShop, Tied};

const SURPRISE: f64 = 1e-3;

fn shop() -> RecipeShop {
    RecipeShop {
        panels: 120,
        lots: 8,
        ..RecipeShop::default()
    }
}

fn fitted(records: &Records) -> Removal {
    let settings = Settings {
        target_um: Some(40.0),
        ..Settings::default()
    };
    fit(records, &settings, &Held::default()).expect("readings and factors")
}

fn term<'a>(removal: &'a Removal, factor: &Factor) -> Option<&'a Term> {
    removal.terms.iter().find(|t| &t.factor == factor)
}

#[test]
fn feed_or_force_at_or_below_zero_counts_as_not_recorded() {
    let whole = shop().records(1);
    let mut odd = whole.clone();
    for (panel, feed) in [(3, 0.0), (10, -80.0), (50, 0.0)] {
        odd.panels[panel].feed_mm_s = Some(feed);
    }
    odd.panels[70].force_n = Some(-20.0);
    let removal = fitted(&odd);
    assert!(removal.notes.contains(&Note::Incomplete { panels: 4 }));
    assert_eq!(removal.diagnostics.as_ref().map(|d| d.panels), Some(116));
    // as if the four panels had no readings
    let mut without = whole;
    without
        .readings
        .retain(|r| ![3, 10, 50, 70].contains(&r.panel));
    assert_eq!(removal.terms, fitted(&without).terms);
}

#[test]
fn the_reader_drops_such_values_and_counts_them() {
    let folder = tempfile::tempdir().unwrap();
    let text = "panel_id,length_mm,width_mm,feed_mm_s,passes,force_n,removed_um\n\
                P1,600,400,0,2,20,12\nP2,600,400,-5,2,-20,12\nP3,600,400,100,0,20,12\n";
    std::fs::write(folder.path().join("a.csv"), text).unwrap();
    let read = records::read(
        &[folder.path().to_owned()],
        &Site::default(),
        &ReadOptions::default(),
    )
    .unwrap();
    let recorded: Vec<_> = read
        .panels
        .iter()
        .map(|p| (p.feed_mm_s, p.passes, p.force_n))
        .collect();
    assert_eq!(
        recorded,
        [
            (None, Some(2.0), Some(20.0)),
            (None, Some(2.0), None),
            (Some(100.0), None, Some(20.0)),
        ]
    );
    assert_eq!(read.readings.len(), 3);
}

#[test]
fn passes_that_are_not_whole_are_said_and_kept() {
    let mut records = shop().records(2);
    for panel in records.panels.iter_mut().take(7) {
        panel.passes = Some(1.5);
    }
    let removal = fitted(&records);
    assert!(removal.notes.contains(&Note::PassesNotWhole { panels: 7 }));
    assert!(term(&removal, &Factor::Passes).is_some());
    // advice is in whole passes all the same
    for advice in &removal.advice {
        if advice.factor == Factor::Passes {
            assert_eq!(advice.to.map(f64::fract), Some(0.0));
        }
    }
}

#[test]
fn grits_without_a_scale_are_names_without_a_size() {
    let with_scale = shop().records(3);
    assert!(term(&fitted(&with_scale), &Factor::Grain).is_some());
    let mut records = with_scale;
    for panel in &mut records.panels {
        if let Some(grit) = &mut panel.grit {
            *grit = Grit::parse(grit.label.trim_start_matches('P'), None);
            assert_eq!((grit.scale, grit.grain_um), (None, None));
        }
    }
    let removal = fitted(&records);
    assert!(term(&removal, &Factor::Grain).is_none());
    let levels: Vec<_> = removal
        .terms
        .iter()
        .filter(|t| t.factor == Factor::Grit)
        .collect();
    assert_eq!(levels.len(), 2);
    assert!(
        levels
            .iter()
            .all(|t| t.exponent.is_none() && t.ratio.is_some())
    );
    let labels = ["240", "320", "400"].map(str::to_owned).to_vec();
    assert!(removal.notes.contains(&Note::GritWithoutScale { labels }));
}

#[test]
fn a_factor_with_one_setting_gets_no_coefficient() {
    let mut records = shop().records(4);
    for panel in &mut records.panels {
        panel.force_n = Some(20.0);
    }
    let removal = fitted(&records);
    assert!(term(&removal, &Factor::Force).is_none());
    assert_eq!(removal.inseparable, [vec![Factor::Force]]);
    assert!(removal.advice.iter().all(|a| a.factor != Factor::Force));
    assert!(term(&removal, &Factor::Feed).is_some());
}

#[test]
fn too_few_panels_for_the_coefficients_make_no_model() {
    for panels in 1..=9 {
        let records = RecipeShop {
            panels,
            ..RecipeShop::default()
        }
        .records(5);
        let removal = fitted(&records);
        if removal.model.is_some() {
            // whatever is fitted leaves panels to judge it by
            let d = removal.diagnostics.as_ref().expect("of the model");
            assert!(d.panels >= d.coefficients + 3, "{panels} panels");
            continue;
        }
        assert!(removal.terms.is_empty() && removal.advice.is_empty());
        let needed = removal.notes.iter().find_map(|n| match n {
            Note::TooFewPanels { panels: n, needed } => Some((*n, *needed)),
            _ => None,
        });
        let (found, needed) = needed.unwrap_or_else(|| panic!("{panels}: {:?}", removal.notes));
        assert_eq!(found, panels);
        assert!(needed > panels);
    }
    // four factors, three grits, wear: nine panels are not enough for all
    let nine = RecipeShop {
        panels: 9,
        ..RecipeShop::default()
    };
    assert!(fitted(&nine.records(5)).model.is_none());
}

/// Runs tied shops; returns how often an interval held the truth, of how many.
fn runs(tied: Tied, look: impl Fn(&Removal) -> Option<bool>) -> (u64, u64) {
    let (mut held, mut given) = (0, 0);
    for seed in 0..30 {
        let removal = fitted(&RecipeShop { tied, ..shop() }.records(600 + seed));
        if let Some(holds) = look(&removal) {
            given += 1;
            held += u64::from(holds);
        }
    }
    (held, given)
}

fn covers((held, given): (u64, u64)) {
    assert!(given >= 24, "an interval in {given} of 30 runs");
    let chance = Binomial::new(0.95, given).unwrap().cdf(held);
    assert!(chance > SURPRISE, "the truth inside in {held} of {given}");
}

/// Neither lever of a tied pair gets a coefficient or is advised by itself.
fn apart(removal: &Removal, pair: [Factor; 2]) {
    assert!(
        removal.inseparable.contains(&pair.to_vec()),
        "{:?}",
        removal.inseparable
    );
    for factor in &pair {
        assert!(term(removal, factor).is_none());
    }
}

#[test]
fn passes_that_follow_feed_are_told_by_their_exposure() {
    for tied in [Tied::PassesAgainstFeed, Tied::PassesWithFeed] {
        covers(runs(tied, |removal| {
            apart(removal, [Factor::Feed, Factor::Passes]);
            // both exponents of the law are those of passes / feed
            let ci = term(removal, &Factor::Exposure)?.ci?;
            Some(ci.low <= 1.0 && 1.0 <= ci.high)
        }));
    }
}

#[test]
fn force_that_follows_feed_is_told_by_what_both_did() {
    covers(runs(Tied::ForceWithFeed, |removal| {
        apart(removal, [Factor::Feed, Factor::Force]);
        let own = |a: &onus::removal::Advice| matches!(a.factor, Factor::Feed | Factor::Force);
        assert!(!removal.advice.iter().any(own), "{:?}", removal.advice);
        let alias = removal.aliases.iter().find(|a| a.factors.len() == 2)?;
        // force / feed never moved, so together they did nothing
        let ci = alias.together.as_ref()?.ratio_ci?;
        Some(ci.low <= 1.0 && 1.0 <= ci.high)
    }));
}

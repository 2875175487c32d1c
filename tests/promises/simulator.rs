//! The simulator itself keeps to what its settings say; else no promise tested
//! with it means anything.

use onus::records::{Lay, Point};

use crate::shops::{EDGES, Owner, Repeater, Shop, from_machine};

#[test]
fn machine_points_come_back_from_the_panel_for_every_lay() {
    let shop = Shop {
        sizes: vec![(500.0, 300.0)],
        lays: [Lay::Deg0, Lay::Deg90, Lay::Deg180, Lay::Deg270]
            .map(|l| (l, 1.0))
            .to_vec(),
        ..Shop::default()
    };
    for panel in &shop.records(1).panels {
        let p = Point { x: 12.0, y: 34.0 };
        let back = from_machine(panel, panel.to_machine(p));
        assert!(
            (back.x - p.x).abs() < 1e-9 && (back.y - p.y).abs() < 1e-9,
            "{:?}",
            panel.lay
        );
    }
}

#[test]
fn a_planted_repeat_marks_its_share_of_the_panels() {
    let shop = Shop {
        panels: 2000,
        marks: 0.0,
        repeaters: vec![Repeater::machine(200.0, 150.0, 0.3)],
        ..Shop::default()
    };
    let records = shop.records(2);
    let share = records.defects.len() as f64 / 2000.0;
    // 4 Monte Carlo standard errors of a share of 0.3 in 2000
    assert!(
        (share - 0.3).abs() < 4.0 * (0.3f64 * 0.7 / 2000.0).sqrt(),
        "{share}"
    );
    for defect in &records.defects {
        let m = records.panels[defect.panel].to_machine(defect.place.unwrap());
        assert!((m.x - 200.0).hypot(m.y - 150.0) < 25.0, "{m:?}");
    }
}

#[test]
fn a_lot_borne_repeat_stays_in_its_lots() {
    let mut repeater = Repeater::machine(100.0, 100.0, 1.0);
    repeater.owner = Owner::Lots(1);
    let shop = Shop {
        marks: 0.0,
        repeaters: vec![repeater],
        ..Shop::default()
    };
    let records = shop.records(3);
    assert_eq!(
        records.defects.len(),
        10,
        "one pallet of ten in each hundred"
    );
    assert!(
        records
            .defects
            .iter()
            .all(|d| records.panels[d.panel].lot.as_deref() == Some("lot-1"))
    );
}

#[test]
fn edge_heavy_backgrounds_are_edge_heavy() {
    let shop = Shop {
        panels: 1000,
        background: EDGES,
        ..Shop::default()
    };
    let records = shop.records(4);
    let near = records.defects.iter().filter(|d| {
        let (p, panel) = (d.place.unwrap(), &records.panels[d.panel]);
        p.x.min(panel.length_mm - p.x)
            .min(p.y)
            .min(panel.width_mm - p.y)
            < 30.0
    });
    let share = near.count() as f64 / records.defects.len() as f64;
    // 0.7·(1−e⁻²) + 0.3·0.235 ≈ 0.68 with location error aside
    assert!((0.6..0.78).contains(&share), "{share}");
}

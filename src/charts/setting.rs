//! Settings on a curve: where one stands, and the way from it to another.

use super::sheet::{At, Sheet};
use super::{Anchor, INK, PAPER, Weight};

/// Radius of the dot at the present setting.
const DOT: i32 = 32;
/// White around it, so that it stands out from panels and band.
const ROOM: i32 = 46;
/// Length and half width of an arrow's head.
const HEAD: (f64, f64) = (95.0, 38.0);
/// From the axis to the row of settings, below the tick labels.
pub(super) const ROW: i32 = 200;

/// The way along a curve (points from left to right) from one place across to
/// another; empty where the curve has none.
fn way(curve: &[At], from: i32, to: i32) -> Vec<At> {
    let (low, high) = (from.min(to), from.max(to));
    let (Some(first), Some(last)) = (height(curve, low), height(curve, high)) else {
        return Vec::new();
    };
    let mut points = vec![(low, first)];
    points.extend(curve.iter().filter(|p| p.0 > low && p.0 < high));
    points.push((high, last));
    if to < from {
        points.reverse();
    }
    points
}

/// The curve's height at a place across; its end beyond it.
fn height(curve: &[At], x: i32) -> Option<i32> {
    let (first, last) = (curve.first()?, curve.last()?);
    if x <= first.0 {
        return Some(first.1);
    }
    for pair in curve.windows(2) {
        let [(x0, y0), (x1, y1)] = [pair[0], pair[1]];
        if x <= x1 && x1 > x0 {
            let part = f64::from(x - x0) / f64::from(x1 - x0);
            return Some(y0 + (part * f64::from(y1 - y0)).round() as i32);
        }
    }
    Some(last.1)
}

impl Sheet<'_> {
    /// The present setting as a dot on a curve, with an arrow along the curve to
    /// the one to try.
    pub(super) fn setting(&self, curve: &[At], present: i32, to: Option<i32>) {
        if let Some(to) = to {
            self.arrow(&way(curve, present, to));
        }
        if let Some(y) = height(curve, present) {
            self.dot((present, y), ROOM, PAPER);
            self.dot((present, y), DOT, INK);
        }
    }

    /// An arrow along a way; nothing where it is shorter than its head.
    fn arrow(&self, way: &[At]) {
        let (Some(&start), Some(&tip)) = (way.first(), way.last()) else {
            return;
        };
        let far = |p: At| f64::from(tip.0 - p.0).hypot(f64::from(tip.1 - p.1));
        if far(start) < HEAD.0 {
            return;
        }
        // The head points the way of its last stretch as long as itself.
        let neck = way.iter().rev().copied().find(|p| far(*p) >= HEAD.0);
        let neck = neck.unwrap_or(start);
        let (dx, dy) = (f64::from(tip.0 - neck.0), f64::from(tip.1 - neck.1));
        let length = dx.hypot(dy);
        let (ux, uy) = (dx / length, dy / length);
        let base = (
            f64::from(tip.0) - ux * HEAD.0,
            f64::from(tip.1) - uy * HEAD.0,
        );
        let corner = |side: f64| {
            (
                (base.0 - side * uy * HEAD.1).round() as i32,
                (base.1 + side * ux * HEAD.1).round() as i32,
            )
        };
        let mut shaft: Vec<At> = (way.iter().copied())
            .take_while(|p| far(*p) >= HEAD.0)
            .collect();
        shaft.push((base.0.round() as i32, base.1.round() as i32));
        self.line(&shaft, 2.6, INK);
        self.polygon(&[tip, corner(1.0), corner(-1.0)], INK, 1.0);
    }

    /// Settings named below an axis, each under its place, moved apart where
    /// they would touch.
    pub(super) fn settings_row(&self, settings: &[(i32, &str)], bottom: i32) {
        let wide = |text: &str| self.text_width(text, self.small_pt, Weight::Bold);
        let mut order: Vec<(i32, &str)> = settings.to_vec();
        order.sort_by_key(|s| s.0);
        let mut places: Vec<i32> = order.iter().map(|s| s.0).collect();
        for k in 1..order.len() {
            let least = places[k - 1] + (wide(order[k - 1].1) + wide(order[k].1)) / 2 + 60;
            let push = (least - places[k]).max(0);
            places[k - 1] -= push / 2;
            places[k] += push - push / 2;
        }
        let edge = self.width() - 20;
        for ((x, text), place) in order.iter().zip(places) {
            self.line(&[(*x, bottom), (*x, bottom + 45)], 1.6, INK);
            let half = wide(text) / 2;
            let middle = place.clamp(half + 20, (edge - half).max(half + 20));
            let look = (Weight::Bold, INK, Anchor::Middle);
            self.text(text, (middle, bottom + ROW), self.small_pt, look);
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_way_follows_the_curve_in_either_direction() {
        let curve = [(0, 100), (100, 50), (200, 40)];
        assert_eq!(way(&curve, 50, 150), [(50, 75), (100, 50), (150, 45)]);
        assert_eq!(way(&curve, 150, 50), [(150, 45), (100, 50), (50, 75)]);
        assert_eq!(height(&curve, 500), Some(40));
        assert_eq!(way(&[], 1, 2), []);
    }
}

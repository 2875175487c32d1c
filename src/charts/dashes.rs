//! Broken lines, dash by dash.

use super::sheet::At;

/// So far beside the drawing a line may run unseen, tenths.
const BESIDE: f64 = 200.0;

/// The dashes of a line through the points on a drawing of that size: lengths of
/// a dash and of the gap after it, tenths.
pub(super) fn along(points: &[At], size: (u32, u32), (long, gap): (f64, f64)) -> Vec<Vec<At>> {
    let size = (f64::from(size.0), f64::from(size.1));
    let mut dashes = Vec::new();
    let mut dash: Vec<At> = Vec::new();
    let (mut drawing, mut left) = (true, long);
    for pair in points.windows(2) {
        // What nobody sees must not be dashed: dashes are drawn one by one.
        let Some((from, to)) = clipped(pair[0], pair[1], size) else {
            dash.clear();
            continue;
        };
        let (dx, dy) = (f64::from(to.0 - from.0), f64::from(to.1 - from.1));
        let length = dx.hypot(dy);
        let at = |along: f64| {
            let share = if length > 0.0 { along / length } else { 0.0 };
            (
                from.0 + (dx * share).round() as i32,
                from.1 + (dy * share).round() as i32,
            )
        };
        let mut done = 0.0;
        if drawing && dash.is_empty() {
            dash.push(from);
        }
        while length - done >= left {
            done += left;
            dash.push(at(done));
            if drawing {
                dashes.push(std::mem::take(&mut dash));
            }
            drawing = !drawing;
            left = if drawing { long } else { gap };
        }
        left -= length - done;
        if drawing {
            dash.push(to);
        }
    }
    if dash.len() > 1 {
        dashes.push(dash);
    }
    dashes
}

/// The part of a straight line that lies on the drawing or just beside it; none
/// where it passes by. Liang and Barsky's way to cut a line at a rectangle (1984,
/// ACM Transactions on Graphics 3:1): the share of it that is left shrinks at
/// each side.
fn clipped(from: At, to: At, (width, height): (f64, f64)) -> Option<(At, At)> {
    let (x, y) = (f64::from(from.0), f64::from(from.1));
    let (dx, dy) = (f64::from(to.0) - x, f64::from(to.1) - y);
    let (mut first, mut last) = (0.0f64, 1.0f64);
    for (step, room) in [
        (-dx, x + BESIDE),
        (dx, width + BESIDE - x),
        (-dy, y + BESIDE),
        (dy, height + BESIDE - y),
    ] {
        if step == 0.0 {
            if room < 0.0 {
                return None;
            }
        } else if step < 0.0 {
            first = first.max(room / step);
        } else {
            last = last.min(room / step);
        }
    }
    let at = |share: f64| {
        (
            (x + share * dx).round() as i32,
            (y + share * dy).round() as i32,
        )
    };
    (first <= last).then(|| (at(first), at(last)))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_nobody_sees_of_a_line_is_cut_off() {
        let size = (1000.0, 500.0);
        let whole = ((10, 20), (900, 400));
        assert_eq!(clipped(whole.0, whole.1, size), Some(whole));
        assert_eq!(
            clipped((100, 50), (2_000_000_000, 50), size),
            Some(((100, 50), (1200, 50)))
        );
        assert_eq!(clipped((-5000, -400), (5000, -400), size), None);
        assert_eq!(
            clipped((-1_000_000, -1_000_000), (1_000_000, 1_000_000), size),
            Some(((-200, -200), (700, 700)))
        );
    }

    #[test]
    fn dashes_go_on_around_a_corner() {
        let found = along(&[(0, 0), (50, 0), (50, 60)], (100, 100), (40.0, 20.0));
        // 40 along, a gap of 20 round the corner, 40 up, and the next gap.
        assert_eq!(found[0], [(0, 0), (40, 0)]);
        assert_eq!(found[1], [(50, 10), (50, 50)]);
        assert_eq!(found.len(), 2);
    }
}

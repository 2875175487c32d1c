//! Whether a setting went with the hour of the day.

/// Days on which a setting must go with the hour: over fewer, the hour is no more
/// than the order in time.
const DAYS: usize = 5;
/// Panels this near by the clock, in hours, count as equally near: days that
/// follow each other must not be taken for the same hour.
const SAME_TIME: f64 = 0.05;
/// So many panels on either side are looked at.
const LOOKED_AT: usize = 32;

/// Share of a column's movement that the hour of the day explains: by how much
/// panels of one hour on different days, each with its nearest, differ less than
/// any two. None over few days.
///
/// A form of von Neumann's ratio (1941), Ann. Math. Stat. 12, 367, taken along the
/// clock.
pub(super) fn explained_by_hour(column: &[f64], hours: &[f64]) -> Option<f64> {
    let day: Vec<f64> = hours.iter().map(|h| (h / 24.0).floor()).collect();
    let mut days = day.clone();
    days.sort_by(f64::total_cmp);
    days.dedup();
    if days.len() < DAYS {
        return None;
    }
    let clock: Vec<f64> = hours.iter().map(|h| h.rem_euclid(24.0)).collect();
    // panels of one time stand in no order, so that those beside each other are not
    // of days that follow each other
    let stand = |i: usize| {
        let time = (clock[i] / SAME_TIME) as usize;
        (time, (i as u64).wrapping_mul(0x9E37_79B9_7F4A_7C15))
    };
    let mut order: Vec<usize> = (0..hours.len()).collect();
    order.sort_by_key(|&i| stand(i));
    let mean = column.iter().sum::<f64>() / column.len() as f64;
    let spread: f64 = column.iter().map(|v| (v - mean).powi(2)).sum();
    let apart: f64 = (order.iter().enumerate())
        .filter_map(|(at, &i)| {
            let away = |j: &usize| (clock[*j] - clock[i]).abs();
            let other = |j: &&usize| day[**j] != day[i];
            let (before, after) = (order[..at].iter().rev(), &order[at + 1..]);
            let nearest = (before.clone().find(other).into_iter())
                .chain(after.iter().find(other))
                .map(away)
                .min_by(f64::total_cmp)?;
            let as_near = |j: &&usize| away(j) <= nearest + SAME_TIME;
            let (sum, count) = (before.take(LOOKED_AT))
                .chain(after.iter().take(LOOKED_AT))
                .filter(as_near)
                .filter(other)
                .fold((0.0, 0.0), |(sum, count), &j| {
                    (sum + (column[j] - column[i]).powi(2), count + 1.0)
                });
            (count > 0.0).then(|| sum / count)
        })
        .sum();
    (spread > 0.0).then(|| 1.0 - apart / (2.0 * spread))
}

#[cfg(test)]
mod tests {
    use super::super::ties::PAIR_TIED;
    use super::*;

    /// Twelve panels a day for ten days, one every half an hour.
    fn clock() -> Vec<f64> {
        (0..120)
            .map(|i| 24.0 * (i / 12) as f64 + 6.0 + 0.5 * (i % 12) as f64)
            .collect()
    }

    #[test]
    fn a_setting_of_the_second_half_of_every_day_goes_with_the_hour() {
        let hours = clock();
        let late: Vec<f64> = (0..120).map(|i| f64::from(u8::from(i % 12 >= 6))).collect();
        assert!(explained_by_hour(&late, &hours).unwrap() > PAIR_TIED);
        let by_day: Vec<f64> = (0..120).map(|i| f64::from(u8::from(i / 12 >= 5))).collect();
        assert!(explained_by_hour(&by_day, &hours).unwrap() < 0.5);
        let in_turn: Vec<f64> = (0..120).map(|i| f64::from(u8::from(i % 7 < 3))).collect();
        assert!(explained_by_hour(&in_turn, &hours).unwrap() < 0.5);
        let few = 12 * (DAYS - 1);
        assert_eq!(explained_by_hour(&late[..few], &hours[..few]), None);
    }
}

//! Since when, until when: one change point of a Bernoulli rate in each
//! direction.
//!
//! LR(t) = 2 [ℓ(before t) + ℓ(from t) − ℓ(all)] with
//! ℓ(k of m) = k ln(k/m) + (m − k) ln((m − k)/m), over all t at which the rate
//! rises. Source: D. V. Hinkley and E. A. Hinkley (1970), Inference about the
//! change-point in a sequence of binomial variables, Biometrika 57, 477–488.

use crate::causes::tails::bernoulli;

/// A change is claimed from this likelihood ratio on: the 99 % quantile of the
/// largest ratio without a change is 10.0–11.7 over lengths and rates.
const CLAIM: f64 = 11.0;

/// The 95 % interval holds every time within this of the largest ratio. The
/// usual 3.84 covers only 83–89 %, because the time is searched for.
const INTERVAL: f64 = 7.0;

/// A change of the rate; positions count exposed panels in time order.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Change {
    /// First panel after the change.
    pub at: usize,
    /// Earliest such panel in the 95 % interval.
    pub earliest: usize,
    /// Latest such panel in the 95 % interval.
    pub latest: usize,
    /// Largest likelihood ratio, 2 ln.
    pub log_ratio: f64,
}

/// Where the rate rose, if that can be claimed.
pub(crate) fn rise(hits: &[bool]) -> Option<Change> {
    let n = hits.len();
    let all = hits.iter().filter(|h| **h).count();
    let log_likelihood = |k: usize, m: usize| bernoulli(k as f64, m as f64, k as f64 / m as f64);
    let mut ratios: Vec<Option<f64>> = vec![None; n];
    let mut before = 0;
    for t in 1..n {
        before += usize::from(hits[t - 1]);
        let (m, after) = (n - t, all - before);
        if after * t > before * m {
            ratios[t] = Some(
                2.0 * (log_likelihood(before, t) + log_likelihood(after, m)
                    - log_likelihood(all, n)),
            );
        }
    }
    let mut best: Option<(usize, f64)> = None;
    for (t, ratio) in ratios.iter().enumerate() {
        if let Some(r) = ratio
            && best.is_none_or(|(_, b)| *r > b)
        {
            best = Some((t, *r));
        }
    }
    let (at, log_ratio) = best.filter(|(_, r)| *r >= CLAIM)?;
    let inside = |r: &Option<f64>| r.is_some_and(|r| r >= log_ratio - INTERVAL);
    Some(Change {
        at,
        earliest: ratios.iter().position(inside).unwrap_or(at),
        latest: ratios.iter().rposition(inside).unwrap_or(at),
        log_ratio,
    })
}

/// Where the rate fell, if that can be claimed: `at` is the first panel after
/// the repeat ended.
pub(crate) fn fall(hits: &[bool]) -> Option<Change> {
    let reversed: Vec<bool> = hits.iter().rev().copied().collect();
    let n = hits.len();
    rise(&reversed).map(|c| Change {
        at: n - c.at,
        earliest: n - c.latest,
        latest: n - c.earliest,
        log_ratio: c.log_ratio,
    })
}

/// Onset and end of a repeat.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Life {
    /// Where the rate rose, if claimed.
    pub onset: Option<Change>,
    /// Where it fell again, if claimed.
    pub end: Option<Change>,
    /// First live position.
    pub first: usize,
    /// One past the last live position.
    pub past: usize,
}

impl Life {
    /// Alive on all of `panels` exposed panels.
    pub(crate) fn whole(panels: usize) -> Self {
        Self {
            onset: None,
            end: None,
            first: 0,
            past: panels,
        }
    }

    /// The same with the positions at which those counted so far stand among
    /// `panels` others.
    pub(crate) fn among(self, positions: &[usize], panels: usize) -> Self {
        let stand = |at: usize| positions.get(at).copied().unwrap_or(panels);
        let change = |c: Change| Change {
            at: stand(c.at),
            earliest: stand(c.earliest),
            latest: stand(c.latest),
            ..c
        };
        Self {
            onset: self.onset.map(change),
            end: self.end.map(change),
            first: self.onset.map_or(0, |c| stand(c.at)),
            past: self.end.map_or(panels, |c| stand(c.at)),
        }
    }
}

/// The stretch over which the repeat lives. The end is sought after the onset,
/// then the onset once more before the end, so that neither dilutes the other.
pub(crate) fn life(hits: &[bool]) -> Life {
    let shift = |c: Change, by: usize| Change {
        at: c.at + by,
        earliest: c.earliest + by,
        latest: c.latest + by,
        log_ratio: c.log_ratio,
    };
    let mut onset = rise(hits);
    let from = onset.map_or(0, |c| c.at);
    let end = fall(&hits[from..]).map(|c| shift(c, from));
    if let Some(end) = end {
        onset = rise(&hits[..end.at]).or(onset.filter(|o| o.at < end.at));
    }
    Life {
        onset,
        end,
        first: onset.map_or(0, |c| c.at),
        past: end.map_or(hits.len(), |c| c.at),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_life_among_others_keeps_its_panels() {
        let hits: Vec<bool> = (0..40).map(|i| i >= 20).collect();
        let every_third: Vec<usize> = (0..40).map(|i| 3 * i).collect();
        let own = life(&hits);
        let among = own.among(&every_third, 125);
        assert_eq!((own.first, own.past), (20, 40));
        assert_eq!((among.first, among.past), (60, 125));
        let onset = among.onset.unwrap();
        assert_eq!(onset.at, 60);
        assert!(onset.earliest <= 60 && onset.latest >= 60 && onset.latest.is_multiple_of(3));
    }
    use approx::assert_relative_eq;

    fn series(text: &str) -> Vec<bool> {
        text.chars().map(|c| c == '1').collect()
    }

    #[test]
    fn onset_agrees_with_an_independent_slow_reference_implementation() {
        let hits = series("000000000000000000001011010110");
        let change = rise(&hits).unwrap();
        assert_relative_eq!(change.log_ratio, 16.56391207, max_relative = 1e-9);
        assert_eq!((change.at, change.earliest, change.latest), (20, 15, 22));
    }

    #[test]
    fn the_end_is_the_onset_of_the_reversed_series() {
        let hits = series("011010110100000000000000000000");
        let change = fall(&hits).unwrap();
        assert_relative_eq!(change.log_ratio, 16.56391207, max_relative = 1e-9);
        assert_eq!((change.at, change.earliest, change.latest), (10, 8, 15));
        assert_eq!(rise(&hits), None);
    }

    #[test]
    fn a_repeat_that_comes_and_goes_has_both_ends() {
        let mut hits = vec![false; 40];
        hits.extend(series("1101101110111011011101101101"));
        hits.extend(vec![false; 40]);
        let life = life(&hits);
        assert_eq!((life.first, life.past), (40, 68));
        assert!(life.onset.is_some() && life.end.is_some());
    }

    #[test]
    fn steady_and_empty_series_have_no_ends() {
        for text in ["", "1", "0000", "0101010101010101"] {
            let hits = series(text);
            let life = life(&hits);
            assert_eq!((life.onset, life.end), (None, None), "{text}");
            assert_eq!((life.first, life.past), (0, hits.len()), "{text}");
        }
    }
}

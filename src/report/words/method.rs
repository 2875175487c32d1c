//! Method and words.

use crate::causes::SURE_FACTOR;
use crate::charts::NumberStyle;
use crate::report::Levels;

/// Title of the page.
pub const TITLE: &str = "Method and words";
/// The sentence under it.
pub const LEAD: &str = "The burden of proof lies on whoever blames the machine.";
/// Heading of the words for how sure.
pub const WORDS: &str = "How sure";
/// Heading of the causes.
pub const CAUSES: &str = "Who makes it";
/// Heading of the method.
pub const HOW: &str = "How it is done";
/// Heading of changes and weeks.
pub const CHANGES: &str = "Changes and weeks";
/// Heading of the limits.
pub const LIMITS: &str = "What this report cannot see";
/// Heading of the settings.
pub const SETTINGS: &str = "Settings of this report";
/// Heading of the sources.
pub const SOURCES: &str = "Sources";

fn one_in(share: f64, numbers: &NumberStyle) -> String {
    format!("1 in {}", numbers.count((1.0 / share).round() as usize))
}

/// What "sure", "likely" and "can't tell yet" mean in numbers.
pub fn sureness(alpha: f64, numbers: &NumberStyle) -> Vec<String> {
    vec![
        format!(
            "Sure: a comparison of its own settles who makes it, and records without a repeat would show such a finding \
             in fewer than {} reports.",
            one_in(SURE_FACTOR * alpha, numbers)
        ),
        format!(
            "Likely: the same in fewer than {} reports; or nothing repeats and a repeat on one panel in five would have \
             been seen.",
            one_in(alpha, numbers)
        ),
        "Can’t tell yet: it is there, but these records do not separate machine, recipe and part; its page says what would."
            .to_owned(),
        "Consistent with: the records fit this cause and speak against the others. Only a turn or swap test proves a cause."
            .to_owned(),
    ]
}

/// What each cause needs.
pub const CAUSES_TOLD: &[&str] = &[
    "Machine: the place holds in the machine while panels were turned or laid elsewhere and fails on the panel, or \
     this machine shows it and others that ran the same lots do not; and no few lots carry it.",
    "Part: it keeps to its place on the panel, gathers in few lots, follows thin film, or wanders while a repeat would \
     have been seen.",
    "Recipe: the rate follows feed speed, passes, force, grit or the abrasive’s age and has no place.",
    "Inspection: table, camera, station or inspector makes or hides it.",
    "Not known yet: no comparison in these records clears machine or part.",
];

/// The method in short.
pub fn how(alpha: f64, numbers: &NumberStyle) -> Vec<String> {
    vec![
        "Marks are looked at by cell and kind, in the frames of machine and panel; first inspections only; panels without a \
         mark count."
            .to_owned(),
        "Discs of 7 and 11 mm and bands of 4 and 8 mm lie on lattices, discs of 4, 7 and 12 mm on every mark. Counted are \
         the different panels with a mark there, against each panel’s own chance, given its marks nearby and the pull of \
         edges and corners; off the edges, bands are held against what lies beside them. The tail of that sum is exact."
            .to_owned(),
        format!(
            "All tests of the report share one level: records without any repeat show one in at most {} reports.",
            one_in(alpha, numbers)
        ),
        "A place that is found is taken out and the search goes on; a broad cloud of marks is no place. For bars, distances \
         on a panel are held against every pitch of 8 mm to a quarter of the panel."
            .to_owned(),
        "Lots, onset, control machine, period, abrasive age, recipe and inspector are tested at the place before anything \
         is called the machine’s."
            .to_owned(),
    ]
}

/// How changes and weeks are judged, and how often the warnings are right.
pub const CHANGES_TOLD: &[&str] = &[
    "One model of the counts on all panels judges a change: panels scatter, lots and days differ, days resemble the day \
     before; machine, part, inspector and abrasive age are allowed for where they vary. In made-up shops with known \
     truth 19 of 20 intervals hold the true ratio (17 of 20 where each day closely resembles the last), and without an \
     effect at most 1 report in 20 says helped.",
    "“Helped”: fewer defects, adjusted for all kinds of a comparison, and the opposite kind not worse by more than the \
     margin. “Too few panels” names how many it would take. “Not identifiable”: something else changed with it and \
     never met both sides; run both on the same lots, in alternating blocks.",
    "A change made after a bad spell of four times the rate is told in four of five cases or more; an ordinary stretch \
     is set aside in about 1 of 20.",
    "A change has to account for the counts better than a steady trend and than a step on another day; else nothing is \
     said of it. In two weeks with a mark a panel, a fall to a fifth without any change still passes for one in 1 of 4 \
     reports.",
    "A step in what came with the parts is told in four of five cases or more, and falsely in at most 1 of 20; a new \
     inspector always, if recorded.",
    "Panels asked for show the ratio worth knowing as often as asked where days differ without an order; where each day \
     resembles the last (correlation .7) in about three of five cases: then go back and forth within days.",
    "Control charts take days and lots as differing without an order; where days drift, signals come more often than \
     stated.",
];

/// Known limits.
pub const LIMITS_TOLD: &[&str] = &[
    "A repeat rarer than the page “What could have been missed” says.",
    "Bars of one pitch where panels carry one mark each, or fewer than four bars.",
    "A place in the middle of the panel when panels were only turned by half a turn.",
    "A fault that three of four lots carry looks like the machine’s.",
    "Kinds of defect that inspectors name differently, unless the site file says which names are one.",
    "Defect means nonconformity here, without any legal sense.",
];

/// Levels, seed and version.
pub fn settings(levels: &Levels, numbers: &NumberStyle) -> String {
    format!(
        "onus {}; level of the report {}; intervals {}; seed {}.",
        env!("CARGO_PKG_VERSION"),
        numbers.percent(levels.alpha, 0),
        numbers.percent(levels.confidence, 0),
        levels.seed
    )
}

/// Published sources of the method.
pub const SOURCES_TOLD: &[&str] = &[
    "Kulldorff (1997), A spatial scan statistic. Communications in Statistics 26, 1481–1496.",
    "Hoeffding (1956), On the distribution of the number of successes in independent trials. Ann. Math. Stat. 27.",
    "Clopper and Pearson (1934), The use of confidence or fiducial limits. Biometrika 26, 404–413.",
    "Hinkley and Hinkley (1970), Inference about the change-point in a sequence of binomial variables. Biometrika 57.",
    "Ester, Kriegel, Sander and Xu (1996), A density-based algorithm for discovering clusters. KDD-96.",
    "Okabe and Ito (2008), Color universal design.",
];

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn sure_and_likely_are_told_in_numbers() {
        let words = sureness(0.01, &NumberStyle::default());
        assert!(words[0].contains("1 in 1,000"), "{}", words[0]);
        assert!(words[1].contains("1 in 100"), "{}", words[1]);
    }
}

//! Whether places fit their panels as written, or much better with the axes
//! exchanged or in another unit: told, and held back from every verdict.
//!
//! Looked at panel by panel, so that one station, inspector, file or machine
//! that writes otherwise than the rest is found among many that don't. Shares
//! and counts below are common practice, no source.

use std::collections::BTreeMap;

use super::some;
use crate::records::observed::panel_place;
use crate::records::parts::FileRows;
use crate::records::{Column, HeldBack, Panel, Warning, WarningCode};
use crate::site::Site;

/// So many panels that fit better otherwise are no slip of the pen.
const PANELS: usize = 3;
/// And so many times more of them than of panels that fit neither way.
const TIMES: usize = 3;
/// From this share of a group's panels on, all of the group is doubted.
const GROUP: f64 = 0.3;
/// A group is named if so large a share of what is bent is in it.
const MOST: f64 = 0.9;
/// From this share of doubted panels on, a machine's places bear no verdict.
const HELD: f64 = 0.05;
/// Fewer places than this tell nothing of the unit of all.
const ENOUGH: usize = 20;
/// So many times more panels near the corner than chance brings there.
const MORE: f64 = 5.0;
/// What rounding may add to a place's share of the panel.
const ROUNDING: f64 = 1.02;
/// Places that were off by a factor fill the panel once that is put right.
const FILLED: f64 = 0.7;
/// Of nine equal fields of the panel, at least so many hold a place then.
const FIELDS: usize = 5;
/// Exchanged, places stand out over the short side by up to the difference of
/// the sides, by half of it on average; sloppy measuring stays below this.
const STANDS_OUT: f64 = 0.2;
/// Places so far below zero, in sides, were not measured from the datum corner.
const DEEP: f64 = 0.1;
/// By how much lengths are off in the units that are confused with mm.
const FACTORS: [(f64, &str); 3] = [(10.0, "cm"), (25.4, "in"), (1000.0, "m")];
/// Of one side and the other, so much is filled by places in per cent.
const PER_CENT_FILLED: f64 = 0.9;
/// Panels below this side, mm, may be filled by places up to 100 mm.
const PER_CENT_SIDE_MM: f64 = 150.0;

/// How the places of a panel fit it.
#[derive(Debug, Clone, Copy, Default)]
struct Fit {
    places: usize,
    /// Outside the panel by more than the slack.
    out: usize,
    /// Outside along both sides.
    out_both: usize,
    /// Outside with the axes exchanged.
    out_exchanged: usize,
    /// How far those outside stand out, in differences of the sides.
    stand_out: f64,
    /// The farthest place, as a share of the side.
    far: (f64, f64),
    /// Places within the first tenth, and so on by `FACTORS`, of both sides.
    near: [usize; FACTORS.len()],
    /// Places that may be per cent of sides much longer than 100 mm.
    per_cent: usize,
    /// Whether a place is negative by more than the slack.
    negative: bool,
    /// Outside even without the signs.
    out_unsigned: usize,
    /// Farther below zero than a tenth of the side, as no sloppy measuring is.
    deep: usize,
}

/// What would make places fit.
#[derive(Debug, Clone, Copy, PartialEq)]
enum Remedy {
    /// x for y, or length for width.
    Exchange,
    /// Counted from another corner or the middle, so that many are negative.
    Origin,
    /// Sizes taken so many times larger.
    LargerPanel(f64, &'static str),
    /// Places taken so many times larger.
    LargerPlaces(f64, &'static str),
    /// Places taken as per cent of the sides.
    PerCent,
}

/// What was found: warnings, and what they hold back.
#[derive(Debug, Default)]
pub(in crate::records) struct Doubted {
    pub warnings: Vec<Warning>,
    pub held: Vec<HeldBack>,
}

/// Looks at all places of all files, those outside their panels among them:
/// first of defects, then of readings alone, which other stations write.
pub(in crate::records) fn doubted(
    files: &[FileRows],
    panel_of: &[Vec<usize>],
    place_of: &[Option<usize>],
    panels: &[Panel],
    site: &Site,
) -> Doubted {
    let mut all = Doubted::default();
    for (column, what) in [(Column::XMm, "defects"), (Column::RemovedUm, "readings")] {
        let each = |of: &mut dyn FnMut(usize, usize, f64, f64)| {
            for (file, rows) in files.iter().enumerate() {
                for seen in rows.observations.iter() {
                    let Some(panel) = place_of[panel_of[file][seen.panel as usize]] else {
                        continue;
                    };
                    if seen.defect.is_some() == (column == Column::XMm)
                        && let Some((x, y)) = panel_place(seen, &panels[panel], rows, site)
                    {
                        of(file, panel, x, y);
                    }
                }
            }
        };
        let mut fits = vec![Fit::default(); panels.len()];
        let mut file_of = vec![0; panels.len()];
        each(&mut |file, panel, x, y| {
            file_of[panel] = file;
            fits[panel].add(x, y, &panels[panel], site.frames.edge_slack_mm);
        });
        let groups = Groups {
            panels,
            fits: &fits,
            files,
            file_of: &file_of,
        };
        all.look(&groups, &each, (column, what));
    }
    all
}

/// Calls back with group, panel and the two places of every mark.
type Each<'a> = &'a dyn Fn(&mut dyn FnMut(usize, usize, f64, f64));

impl Doubted {
    /// Tries the remedies one after the other on the panels not yet mended.
    fn look(&mut self, groups: &Groups<'_>, each: Each<'_>, of: (Column, &str)) {
        let (panels, fits) = (groups.panels, groups.fits);
        let mut taken = vec![false; panels.len()];
        let remedies = [Remedy::Exchange, Remedy::Origin]
            .into_iter()
            .chain(FACTORS.map(|(factor, unit)| Remedy::LargerPanel(factor, unit)))
            .chain([Remedy::PerCent])
            .chain(FACTORS.map(|(factor, unit)| Remedy::LargerPlaces(factor, unit)));
        for remedy in remedies {
            let bent: Vec<usize> = (0..panels.len())
                .filter(|p| !taken[*p] && remedy.mends(&fits[*p]))
                .collect();
            if bent.len() < PANELS || !remedy.is_likely(&bent, groups) {
                continue;
            }
            if !matches!(remedy, Remedy::Exchange | Remedy::Origin) {
                let mut is_bent = vec![false; panels.len()];
                for panel in &bent {
                    is_bent[*panel] = true;
                }
                let all_bent = (0..panels.len()).all(|p| fits[p].places == 0 || is_bent[p]);
                let by_chance = !matches!(remedy, Remedy::LargerPanel(..)) && !all_bent;
                let mut filled = Filled::default();
                each(&mut |_, panel, x, y| {
                    if is_bent[panel] && (fits[panel].places > 1 || !by_chance) {
                        let (x, y) = remedy.share(x, y, &panels[panel]);
                        filled.add(x, y);
                    }
                });
                let least = match remedy {
                    Remedy::PerCent => PER_CENT_FILLED,
                    _ => FILLED,
                };
                if !filled.is_whole(least) {
                    continue;
                }
            }
            let (doubted, whose) = groups.of(&bent);
            for panel in &doubted {
                taken[*panel] = true;
            }
            self.tell(remedy, (&bent, &doubted), &whose, groups, of);
        }
    }
}

impl Fit {
    fn add(&mut self, x: f64, y: f64, panel: &Panel, slack: f64) {
        let (length, width) = (panel.length_mm, panel.width_mm);
        let off = |v: f64, side: f64| v < -slack || v > side + slack;
        let (off_x, off_y) = (off(x, length), off(y, width));
        self.places += 1;
        self.out += usize::from(off_x || off_y);
        self.out_both += usize::from(off_x && off_y);
        self.out_exchanged += usize::from(off(y, length) || off(x, width));
        let over = (x - length).max(y - width);
        if over > slack && length != width {
            self.stand_out += over / (length - width).abs();
        }
        self.far.0 = self.far.0.max(x / length);
        self.far.1 = self.far.1.max(y / width);
        for (near, (factor, _)) in self.near.iter_mut().zip(FACTORS) {
            *near += usize::from((x / length).max(y / width) <= ROUNDING / factor);
        }
        let long = length.min(width) >= PER_CENT_SIDE_MM;
        self.per_cent += usize::from(long && x.max(y) <= 100.0);
        self.negative |= x < -slack || y < -slack;
        self.out_unsigned += usize::from(off(x.abs(), length) || off(y.abs(), width));
        self.deep += usize::from(x < -DEEP * length || y < -DEEP * width);
    }

    fn within(&self, sides: f64) -> bool {
        !self.negative && self.far.0 <= ROUNDING * sides && self.far.1 <= ROUNDING * sides
    }
}

impl Remedy {
    /// Whether all places of a panel fit after it, and did not before.
    fn mends(self, fit: &Fit) -> bool {
        match self {
            Remedy::Exchange => fit.out > 0 && fit.out_exchanged == 0,
            Remedy::Origin => fit.deep > 0 && fit.out_unsigned == 0,
            Remedy::LargerPanel(factor, _) => fit.out > 0 && fit.within(factor),
            Remedy::LargerPlaces(factor, _) => fit.places > 0 && fit.within(1.0 / factor),
            Remedy::PerCent => fit.places > 0 && !fit.negative && fit.per_cent == fit.places,
        }
    }

    /// How many places of a panel it would mend if all were such.
    fn near(self, fit: &Fit) -> usize {
        match self {
            Remedy::LargerPlaces(factor, _) => {
                let at = FACTORS.iter().position(|(f, _)| *f == factor);
                at.map_or(0, |at| fit.near[at])
            }
            Remedy::PerCent => fit.per_cent,
            Remedy::Exchange | Remedy::Origin | Remedy::LargerPanel(..) => 0,
        }
    }

    /// Whether it explains the panels that don't fit, as a slip would not.
    fn is_likely(self, bent: &[usize], groups: &Groups<'_>) -> bool {
        let fits = groups.fits;
        let sum = |of: fn(&Fit) -> usize| bent.iter().map(|p| of(&fits[*p])).sum::<usize>();
        let unexplained = fits
            .iter()
            .filter(|fit| fit.out > 0 && !self.mends(fit))
            .count();
        match self {
            Remedy::Exchange => {
                let stand_out: f64 = bent.iter().map(|p| fits[*p].stand_out).sum();
                bent.len() >= TIMES * unexplained
                    && stand_out >= STANDS_OUT * sum(|fit| fit.out) as f64
            }
            Remedy::Origin => {
                bent.len() >= TIMES * unexplained
                    && 2 * sum(|fit| fit.deep) >= sum(|fit| fit.out)
                    && 4 * sum(|fit| fit.out) >= sum(|fit| fit.places)
            }
            // A digit too many is off along one side only.
            Remedy::LargerPanel(..) => {
                bent.len() >= TIMES * unexplained && 2 * sum(|f| f.out_both) >= sum(|f| f.places)
            }
            // Marks may lie near the corner by chance or a fault there: as many
            // of them as on the other panels do.
            Remedy::LargerPlaces(..) | Remedy::PerCent => {
                if fits.iter().all(|fit| fit.places == 0 || self.mends(fit)) {
                    return sum(|fit| fit.places) >= ENOUGH;
                }
                let several = bent.iter().filter(|p| fits[**p].places > 1).count();
                several >= PANELS && several as f64 >= MORE * self.by_chance(groups)
            }
        }
    }

    /// How many panels with several places would have them all near the corner
    /// by chance or by a fault there, which marks the panels of one machine and
    /// lay alike: as many of their places as on panels with others too.
    fn by_chance(self, groups: &Groups<'_>) -> f64 {
        let key = |p: usize| {
            let panel = &groups.panels[p];
            (panel.machine.as_deref(), panel.lay.degrees())
        };
        let mut of_group: BTreeMap<_, (usize, usize)> = BTreeMap::new();
        let (mut near, mut of) = (0, 0);
        for (p, fit) in groups.fits.iter().enumerate() {
            if !self.mends(fit) {
                let counts = of_group.entry(key(p)).or_default();
                counts.0 += self.near(fit);
                counts.1 += fit.places;
                near += self.near(fit);
                of += fit.places;
            }
        }
        // Where a panel has two places, those with one elsewhere hold a share
        // of p/(1 + p) near the corner if p is that of all.
        let share = |near: usize, of: usize| match of {
            0 => 0.0,
            of => (near as f64 / of.saturating_sub(near).max(1) as f64).min(1.0),
        };
        let all = share(near, of);
        let several = groups.fits.iter().enumerate().filter(|(_, f)| f.places > 1);
        several
            .map(|(p, fit)| {
                let (near, of) = of_group.get(&key(p)).copied().unwrap_or_default();
                share(near, of).max(all).powi(fit.places.min(1_000) as i32)
            })
            .sum()
    }

    /// A place in shares of the sides, once it is put right.
    fn share(self, x: f64, y: f64, panel: &Panel) -> (f64, f64) {
        let (along, across) = (x / panel.length_mm, y / panel.width_mm);
        match self {
            Remedy::Exchange | Remedy::Origin => (along, across),
            Remedy::LargerPanel(factor, _) => (along / factor, across / factor),
            Remedy::LargerPlaces(factor, _) => (along * factor, across * factor),
            Remedy::PerCent => (x / 100.0, y / 100.0),
        }
    }
}

/// How places fill the panel, in shares of its sides.
#[derive(Debug, Default)]
struct Filled {
    far: (f64, f64),
    fields: [bool; 9],
}

impl Filled {
    fn add(&mut self, x: f64, y: f64) {
        self.far = (self.far.0.max(x), self.far.1.max(y));
        let third = |share: f64| (share * 3.0).clamp(0.0, 2.0) as usize;
        self.fields[third(x) + 3 * third(y)] = true;
    }

    fn is_whole(&self, least: f64) -> bool {
        self.far.0.min(self.far.1) >= least
            && self.fields.iter().filter(|held| **held).count() >= FIELDS
    }
}

/// The panels by who wrote them.
struct Groups<'a> {
    panels: &'a [Panel],
    fits: &'a [Fit],
    files: &'a [FileRows],
    file_of: &'a [usize],
}

impl Groups<'_> {
    /// The panels to doubt, and whose they are, in words: all of a group of
    /// which many are bent, else the bent ones alone.
    fn of(&self, bent: &[usize]) -> (Vec<usize>, String) {
        type Of<'b> = Box<dyn Fn(usize) -> Option<String> + 'b>;
        let text = |value: &Option<std::sync::Arc<str>>| value.as_ref().map(ToString::to_string);
        let by: [(&str, Of<'_>); 4] = [
            ("inspector ", Box::new(|p| text(&self.panels[p].inspector))),
            ("machine ", Box::new(|p| text(&self.panels[p].machine))),
            (
                "file ",
                Box::new(|p| {
                    let file = self.files.get(self.file_of[p])?;
                    Some(file.path.display().to_string())
                }),
            ),
            ("", Box::new(|_| Some(String::new()))),
        ];
        for (what, level) in by {
            let mut counts: BTreeMap<String, (Vec<usize>, usize)> = BTreeMap::new();
            for panel in (0..self.panels.len()).filter(|p| self.fits[*p].places > 0) {
                if let Some(level) = level(panel) {
                    let (panels, odd) = counts.entry(level).or_default();
                    panels.push(panel);
                    *odd += usize::from(bent.binary_search(&panel).is_ok());
                }
            }
            let levels = counts.len();
            counts.retain(|_, (panels, odd)| {
                *odd >= PANELS && *odd as f64 >= GROUP * panels.len() as f64
            });
            let explained: usize = counts.values().map(|(_, odd)| odd).sum();
            // Where every inspector is doubted, it is not the inspectors.
            let some_are_not = counts.len() < levels || what.is_empty();
            if some_are_not && explained as f64 >= MOST * bent.len() as f64 {
                let names: Vec<String> = counts.keys().map(|l| format!("{what}{l}")).collect();
                let mut panels: Vec<usize> = counts.into_values().flat_map(|(p, _)| p).collect();
                panels.extend(bent);
                panels.sort_unstable();
                panels.dedup();
                let whose = if what.is_empty() {
                    String::new()
                } else {
                    format!(" ({})", some(&names))
                };
                return (panels, whose);
            }
        }
        let names: Vec<String> = bent.iter().map(|p| self.panels[*p].id.clone()).collect();
        (bent.to_vec(), format!(" ({})", some(&names)))
    }
}

impl Doubted {
    fn tell(
        &mut self,
        remedy: Remedy,
        (bent, doubted): (&[usize], &[usize]),
        whose: &str,
        groups: &Groups<'_>,
        (column, of): (Column, &str),
    ) {
        let (panels, fits) = (groups.panels, groups.fits);
        let told = match remedy {
            Remedy::LargerPlaces(..) | Remedy::PerCent => bent,
            _ => doubted,
        };
        let places: usize = told.iter().map(|p| fits[*p].places).sum();
        let out: usize = told.iter().map(|p| fits[*p].out).sum();
        let count = told.len();
        let (code, what, guess) = match remedy {
            Remedy::Exchange => (
                WarningCode::AxesSuspect,
                format!(
                    "{out} of {places} places of {of} on {count} panels{whose} lie outside their panel, and hardly any would with x and y, or length and width, exchanged"
                ),
                "map x_mm and y_mm, or length_mm and width_mm, the other way round under [columns] in onus.toml".to_owned(),
            ),
            Remedy::Origin => (
                WarningCode::AxesSuspect,
                format!(
                    "{out} of {places} places of {of} on {count} panels{whose} lie outside their panel below zero, and none would without the signs"
                ),
                "are x_mm and y_mm counted from another corner, downwards or from the middle? See [frames] in onus.toml, or export them from the datum corner".to_owned(),
            ),
            Remedy::LargerPanel(factor, unit) => (
                WarningCode::UnitSuspect,
                format!(
                    "{out} of {places} places of {of} on {count} panels{whose} lie outside their panel, and none would if length_mm and width_mm were {factor} times larger"
                ),
                format!("are the sizes in {unit}? See [units] in onus.toml"),
            ),
            Remedy::LargerPlaces(factor, unit) => (
                WarningCode::UnitSuspect,
                format!(
                    "All {places} places of {of} on {count} panels{whose} lie within the first {} % of the panel along both sides, and would fill it if they were {factor} times larger",
                    (100.0 / factor).ceil()
                ),
                format!("are x_mm and y_mm in {unit}? See [units] in onus.toml"),
            ),
            Remedy::PerCent => (
                WarningCode::UnitSuspect,
                format!(
                    "All {places} places of {of} on {count} panels{whose} lie between 0 and 100 along both sides, and would fill the panel as per cent of its sides"
                ),
                "are x_mm and y_mm shares of the panel? Export them in mm".to_owned(),
            ),
        };
        self.warnings.push(Warning {
            code,
            text: format!(
                "{what}: {guess}. Until then nothing that rests on these places is concluded."
            ),
            file: None,
        });
        let mut machines: BTreeMap<Option<&str>, (usize, usize)> = BTreeMap::new();
        for (at, panel) in panels.iter().enumerate() {
            let (all, odd) = machines.entry(panel.machine.as_deref()).or_default();
            *all += 1;
            *odd += usize::from(doubted.binary_search(&at).is_ok());
        }
        for (machine, (all, odd)) in machines {
            if odd > 0 && odd as f64 >= HELD * all as f64 {
                self.held.push(HeldBack {
                    machine: machine.map(Into::into),
                    column,
                    reason: format!("{what}, so its places bear no verdict"),
                });
            }
        }
    }
}

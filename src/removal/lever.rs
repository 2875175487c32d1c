//! Moving one lever from the present setting: chances and means there.

use std::sync::Arc;

use super::inference::Inference;
use super::model::{Model, chance_of_any};
use super::result::{Estimate, Factor};
use super::risk::Risks;
use super::setting::{Factors, Setting, Value, number, present};
use super::settings::Settings;
use crate::records::Records;
use crate::site::{DefectClass, Limits};
use crate::stats::Interval;

/// All models with what they are asked from.
pub(super) struct Bench<'a> {
    pub(super) factors: &'a Factors,
    pub(super) settings: &'a Settings,
    /// The present setting.
    pub(super) now: Setting,
    /// Settings of all panels that any model uses.
    pub(super) seen: Vec<&'a Setting>,
    /// Typical panel area, m².
    pub(super) area_m2: f64,
    pub(super) depth: Option<(&'a Model, Inference<'a>)>,
    pub(super) over: Option<(&'a Model, Inference<'a>)>,
    pub(super) under: Option<(&'a Model, Inference<'a>)>,
    /// Panels hit over panels inspected.
    pub(super) share_over: f64,
    pub(super) share_under: f64,
}

impl<'a> Bench<'a> {
    /// Sets the models up; none where no panel is at hand.
    pub(super) fn new(
        records: &Records,
        factors: &'a Factors,
        panel_settings: &'a [Setting],
        settings: &'a Settings,
        depth: Option<&'a Model>,
        risks: &'a Risks,
    ) -> Option<Self> {
        let panels: Vec<usize> = (0..records.panels.len())
            .filter(|&p| {
                records.panels[p].inspected
                    || depth.is_some_and(|m| m.frame.panels.binary_search(&p).is_ok())
            })
            .collect();
        let seen: Vec<&Setting> = panels.iter().map(|&p| &panel_settings[p]).collect();
        let groups = super::setting::groupings(records, &panels, &seen, factors);
        let now = settle(present(&seen, groups.first()?), &seen, factors);
        let mut areas: Vec<f64> = panels
            .iter()
            .map(|&p| records.panels[p].area_m2())
            .collect();
        areas.sort_by(f64::total_cmp);
        let class = |class: DefectClass| {
            let mut models = risks.models.iter();
            Some(&models.find(|(of, _)| *of == class)?.1)
        };
        let share = |c: DefectClass| {
            let mut hit = vec![false; records.panels.len()];
            for d in &records.defects {
                hit[d.panel] |= records.defect_names[d.name].class == Some(c);
            }
            let inspected = records.panels.iter().filter(|p| p.inspected).count().max(1);
            hit.iter().filter(|h| **h).count() as f64 / inspected as f64
        };
        let judged = |m: &'a Model| (m, m.inference());
        Some(Self {
            factors,
            settings,
            area_m2: *areas.get(areas.len() / 2)?,
            depth: depth.map(judged),
            over: class(DefectClass::Over).map(judged),
            under: class(DefectClass::Under).map(judged),
            share_over: share(DefectClass::Over),
            share_under: share(DefectClass::Under),
            now,
            seen,
        })
    }

    /// The present value of a lever that is a number.
    pub(super) fn value(&self, lever: &Factor) -> Option<f64> {
        number(&self.now[self.factors.position(lever)?])
    }

    /// The present setting with the lever elsewhere.
    pub(super) fn with(&self, lever: &Factor, value: Value) -> Setting {
        let mut setting = self.now.clone();
        if let Some(at) = self.factors.position(lever) {
            setting[at] = Some(value);
        }
        setting
    }

    /// The present setting with another grit and its grain size.
    pub(super) fn with_grit(&self, label: &str) -> Setting {
        let mut setting = self.with(&Factor::Grit, Value::Level(Arc::from(label)));
        let (Some(grit), Some(grain)) = (
            self.factors.position(&Factor::Grit),
            self.factors.position(&Factor::Grain),
        ) else {
            return setting;
        };
        setting[grain] = self
            .seen
            .iter()
            .find(|s| super::setting::level(&s[grit]) == Some(label))
            .and_then(|s| s[grain].clone());
        setting
    }

    /// Lowest and highest value of the lever seen.
    pub(super) fn range(&self, lever: &Factor) -> Option<(f64, f64)> {
        let at = self.factors.position(lever)?;
        let values = self.seen.iter().filter_map(|s| number(&s[at]));
        let range = values.fold((f64::INFINITY, f64::NEG_INFINITY), |r, v| {
            (r.0.min(v), r.1.max(v))
        });
        (range.0 < range.1).then_some(range)
    }

    /// Mean removal at a setting, µm.
    pub(super) fn removed(&self, setting: &Setting) -> Option<Estimate> {
        self.depth
            .as_ref()
            .map(|(model, judge)| model.mean(judge, setting))
    }

    /// Whether the model has a coefficient that the lever moves.
    pub(super) fn moves(model: &Model, lever: &Factor) -> bool {
        let of = |f: &Factor| model.frame.design.block_of(f).is_some();
        match lever {
            Factor::Feed | Factor::Passes => of(lever) || of(&Factor::Exposure),
            Factor::Grit | Factor::Grain => of(&Factor::Grit) || of(&Factor::Grain),
            _ => of(lever),
        }
    }

    /// Share of panels whose removal lies above (or below) a limit, 0..1.
    fn beyond(&self, setting: &Setting, limit: f64, above: bool) -> Option<Estimate> {
        let (model, judge) = self.depth.as_ref()?;
        Some(model.spread_at(judge, setting).beyond(limit.ln(), above))
    }

    /// Share of panels with too much removed by the site's limit.
    pub(super) fn above(&self, setting: &Setting) -> Option<Estimate> {
        self.beyond(setting, self.settings.removed_um.high?, true)
    }

    /// Share of panels with too little removed by the site's limit.
    pub(super) fn below(&self, setting: &Setting) -> Option<Estimate> {
        self.beyond(setting, self.settings.removed_um.low?, false)
    }

    /// Share of panels of typical size with at least one defect of the class.
    pub(super) fn hit(&self, class: DefectClass, setting: &Setting) -> Option<Estimate> {
        let (model, judge) = self.risk(class)?;
        let rate = model.mean(judge, setting);
        let chance = |rate: f64| chance_of_any(rate * self.area_m2, model.mixing);
        Some(spread_out(chance, rate))
    }

    /// The risk model of a class.
    pub(super) fn risk(&self, class: DefectClass) -> Option<&(&'a Model, Inference<'a>)> {
        match class {
            DefectClass::Over => self.over.as_ref(),
            DefectClass::Under => self.under.as_ref(),
            DefectClass::Surface | DefectClass::Incoming => None,
        }
    }

    /// The lever's limits of the site.
    pub(super) fn limits(&self, lever: &Factor) -> Limits {
        self.settings.limits_of(lever)
    }
}

/// Ages run through their range between changes: advice is for a half-worn
/// abrasive.
fn settle(mut now: Setting, seen: &[&Setting], factors: &Factors) -> Setting {
    if let Some(at) = factors.position(&Factor::AbrasiveAge) {
        let mut ages: Vec<f64> = seen.iter().filter_map(|s| number(&s[at])).collect();
        ages.sort_by(f64::total_cmp);
        now[at] = ages.get(ages.len() / 2).map(|a| Value::Number(*a));
    }
    now
}

/// A monotone function of an estimate, with the interval's ends in order.
fn spread_out(f: impl Fn(f64) -> f64, at: Estimate) -> Estimate {
    Estimate {
        estimate: f(at.estimate),
        ci: at.ci.map(|ci| {
            let (a, b) = (f(ci.low), f(ci.high));
            Interval {
                low: a.min(b),
                high: a.max(b),
                level: ci.level,
            }
        }),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_present_abrasive_is_half_worn() {
        let age = |a: f64| vec![Some(Value::Number(a))];
        let seen = [50.0, 0.0, 10.0].map(age);
        let seen = seen.each_ref();
        let factors = Factors {
            list: vec![Factor::AbrasiveAge],
        };
        assert_eq!(settle(age(50.0), &seen, &factors), age(10.0));
    }
}

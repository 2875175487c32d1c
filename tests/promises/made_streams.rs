//! Made streams in one frame, with known truth, for tests of the scan alone:
//! marks on panels of one or several sizes, backgrounds of many shapes, and
//! planted spots, lines, clouds and places that move. All invented.
#![allow(dead_code, reason = "each test uses its own part of the simulator")]

use onus::causes::{View, ViewMark, ViewPanel};
use onus::records::{Point, Rect};
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;
use rand_distr::{Distribution, Exp, Gamma, Poisson};

use crate::normal;

/// Where ordinary marks fall.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Ground {
    /// Anywhere alike.
    Flat,
    /// A share at an exponential distance from an edge, the low-x edge taking
    /// `left` times the share of each of the others.
    Edges { share: f64, mean_mm: f64, left: f64 },
    /// A share near a corner, exponential distances along both axes, the first
    /// corner taking `first` times the share of each of the others.
    Corners {
        share: f64,
        mean_mm: f64,
        first: f64,
    },
}

/// What is planted.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Planted {
    /// A place.
    Spot { x: f64, y: f64, sd: f64 },
    /// A line along y at fixed x.
    LineAlongY { x: f64, sd: f64 },
    /// A place that moves by this much along x over the whole run.
    Moving { x: f64, y: f64, sd: f64, by: f64 },
    /// Bars along y, `pitch` apart, this many marks a panel on average.
    Bars {
        pitch: f64,
        sd: f64,
        marks: f64,
        phase: BarPhase,
    },
}

/// Whether all panels' bars lie at the same places.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum BarPhase {
    /// They do.
    Fixed,
    /// Each panel has its own.
    Slips,
}

/// Settings of a made stream.
#[derive(Debug, Clone, PartialEq)]
pub struct Made {
    pub panels: usize,
    /// Ordinary marks a panel, on average.
    pub marks: f64,
    /// Shape of the gamma over panels; 0 = none.
    pub mixing: f64,
    /// Scatter of clumps of 1 + Poisson(1) marks, mm; 0 = single marks.
    pub clump_sd: f64,
    pub ground: Ground,
    pub sizes: Vec<(f64, f64)>,
    /// Every second panel turned by a quarter.
    pub turned: bool,
    /// The first two lots of ten panels have ten times the rate.
    pub bad_lots: bool,
    pub error_mm: f64,
    /// Steps in which places are written, mm, and the share of panels so written.
    pub rounding: (f64, f64),
    /// What is planted, each with its share of the panels.
    pub planted: Vec<(Planted, f64)>,
}

impl Default for Made {
    fn default() -> Self {
        Self {
            panels: 100,
            marks: 2.0,
            mixing: 1.0,
            clump_sd: 0.0,
            ground: Ground::Flat,
            sizes: vec![(600.0, 400.0)],
            turned: false,
            bad_lots: false,
            error_mm: 3.0,
            rounding: (0.0, 0.0),
            planted: Vec::new(),
        }
    }
}

impl Made {
    /// The stream of the given seed.
    pub fn view(&self, seed: u64) -> View {
        let mut rng = ChaCha8Rng::seed_from_u64(seed);
        let mut panels = Vec::new();
        let mut marks = Vec::new();
        for i in 0..self.panels {
            let (length, width) = self.sizes[rng.random_range(0..self.sizes.len())];
            let swapped = self.turned && i % 2 == 1;
            let (x1, y1) = if swapped {
                (width, length)
            } else {
                (length, width)
            };
            panels.push(ViewPanel {
                rect: Rect {
                    x0: 0.0,
                    y0: 0.0,
                    x1,
                    y1,
                },
                swapped,
            });
            let coarse = rng.random::<f64>() < self.rounding.1;
            let step = if coarse { self.rounding.0 } else { 0.0 };
            for (at, error) in self.places(i, (x1, y1), &mut rng) {
                marks.push(self.written(i, at, error, (x1, y1), step, &mut rng));
            }
        }
        for (defect, mark) in marks.iter_mut().enumerate() {
            mark.defect = defect;
        }
        View { panels, marks }
    }

    fn places(&self, i: usize, size: (f64, f64), rng: &mut ChaCha8Rng) -> Vec<(Point, f64)> {
        let mut rate = self.marks;
        if self.mixing > 0.0 {
            rate *= Gamma::new(self.mixing, 1.0 / self.mixing)
                .unwrap()
                .sample(rng);
        }
        if self.bad_lots && i < 20 {
            rate *= 10.0;
        }
        if self.clump_sd > 0.0 {
            rate /= 2.0;
        }
        let mut places = Vec::new();
        for _ in 0..poisson(rate, rng) {
            let at = self.ordinary(size, rng);
            let more = if self.clump_sd > 0.0 {
                poisson(1.0, rng)
            } else {
                0
            };
            places.push((at, self.error_mm));
            for _ in 0..more {
                let near = Point {
                    x: at.x + self.clump_sd * normal(rng),
                    y: at.y + self.clump_sd * normal(rng),
                };
                places.push((near, self.error_mm));
            }
        }
        for &(planted, share) in &self.planted {
            if rng.random::<f64>() < share {
                let when = i as f64 / self.panels as f64;
                self.plant(planted, when, size, rng, &mut places);
            }
        }
        places
    }

    fn plant(
        &self,
        planted: Planted,
        when: f64,
        (length, width): (f64, f64),
        rng: &mut ChaCha8Rng,
        places: &mut Vec<(Point, f64)>,
    ) {
        let error = self.error_mm;
        let inside = |p: &Point| p.x >= 0.0 && p.x <= length && p.y >= 0.0 && p.y <= width;
        match planted {
            Planted::Spot { x, y, sd } if inside(&Point { x, y }) => {
                let at = Point {
                    x: x + sd * normal(rng),
                    y: y + sd * normal(rng),
                };
                places.push((at, error));
            }
            Planted::Moving { x, y, sd, by } => {
                let at = Point {
                    x: x + by * when + sd * normal(rng),
                    y: y + sd * normal(rng),
                };
                places.push((at, error));
            }
            Planted::LineAlongY { x, sd } => {
                for _ in 0..1 + poisson(0.5, rng) {
                    let at = Point {
                        x: x + sd * normal(rng),
                        y: rng.random::<f64>() * width,
                    };
                    places.push((at, error));
                }
            }
            Planted::Bars {
                pitch,
                sd,
                marks,
                phase,
            } => {
                let first = match phase {
                    BarPhase::Fixed => 0.3,
                    BarPhase::Slips => rng.random::<f64>(),
                } * pitch;
                let bars = ((length - first) / pitch).floor().max(0.0) as usize + 1;
                for _ in 0..poisson(marks, rng) {
                    let bar = rng.random_range(0..bars) as f64;
                    let at = Point {
                        x: first + bar * pitch + sd * normal(rng),
                        y: rng.random::<f64>() * width,
                    };
                    places.push((at, error));
                }
            }
            Planted::Spot { .. } => {}
        }
    }

    fn ordinary(&self, (length, width): (f64, f64), rng: &mut ChaCha8Rng) -> Point {
        let anywhere = Point {
            x: rng.random::<f64>() * length,
            y: rng.random::<f64>() * width,
        };
        match self.ground {
            Ground::Flat => anywhere,
            Ground::Edges {
                share,
                mean_mm,
                left,
            } => {
                if rng.random::<f64>() >= share {
                    return anywhere;
                }
                let depth = Exp::new(1.0 / mean_mm).unwrap().sample(rng);
                let lengths = [left * width, width, length, length];
                let mut at = rng.random::<f64>() * lengths.iter().sum::<f64>();
                let edge = lengths.iter().position(|l| {
                    at -= l;
                    at < 0.0
                });
                match edge {
                    Some(0) => Point {
                        x: depth.min(length),
                        ..anywhere
                    },
                    Some(1) => Point {
                        x: (length - depth).max(0.0),
                        ..anywhere
                    },
                    Some(2) => Point {
                        y: depth.min(width),
                        ..anywhere
                    },
                    _ => Point {
                        y: (width - depth).max(0.0),
                        ..anywhere
                    },
                }
            }
            Ground::Corners {
                share,
                mean_mm,
                first,
            } => {
                if rng.random::<f64>() >= share {
                    return anywhere;
                }
                let away = Exp::new(1.0 / mean_mm).unwrap();
                let (dx, dy) = (away.sample(rng).min(length), away.sample(rng).min(width));
                let corner = rng.random::<f64>() * (first + 3.0);
                let corner = if corner < first {
                    0
                } else {
                    1 + (corner - first) as usize
                };
                Point {
                    x: if corner % 2 == 0 { dx } else { length - dx },
                    y: if corner / 2 == 0 { dy } else { width - dy },
                }
            }
        }
    }

    fn written(
        &self,
        panel: usize,
        at: Point,
        error: f64,
        (length, width): (f64, f64),
        step: f64,
        rng: &mut ChaCha8Rng,
    ) -> ViewMark {
        let mut put = |v: f64, extent: f64| {
            let v = (v + error * normal(rng)).clamp(0.0, extent);
            let step = if step > 0.0 { step } else { 0.1 };
            ((v / step).round() * step).clamp(0.0, extent)
        };
        let at = Point {
            x: put(at.x, length),
            y: put(at.y, width),
        };
        let divides = |g: f64, v: f64| ((v / g) - (v / g).round()).abs() < 1e-6;
        let grain_mm = [100.0, 50.0, 25.0, 20.0, 10.0, 5.0]
            .into_iter()
            .find(|&g| divides(g, at.x) && divides(g, at.y))
            .unwrap_or(0.0);
        ViewMark {
            panel,
            at,
            grain_mm,
            defect: 0,
        }
    }
}

fn poisson(mean: f64, rng: &mut ChaCha8Rng) -> usize {
    if mean <= 0.0 {
        return 0;
    }
    Poisson::new(mean).unwrap().sample(rng) as usize
}

//! Errors and degrees of freedom of contrasts, small samples allowed for.
//!
//! Kenward & Roger (1997), Biometrics 53, 983: the covariance of the coefficients
//! is widened by what the estimated variances add to it, and a contrast's degrees
//! of freedom follow from how well its variance is known. For one contrast at a
//! time their F test is a t test with 2·var²/Var(var) degrees of freedom, the
//! variances' covariance being the inverse of the expected information of the
//! restricted likelihood. That information counts groups even where a component
//! is estimated at zero; the observed one would count rows.
//!
//! With V = φ(D + Σ λₖ ZₖZₖ'), everything needed follows from Aₖ = Zₖ'V⁻¹X and
//! Bₖₗ = Zₖ'V⁻¹Zₗ, sums over groups.

use faer::Mat;

use super::sums::Sums;
use crate::stats::matrix::{eigen, invert, quadratic, trace};

/// What contrasts are judged by.
#[derive(Debug, Clone)]
pub(super) struct KenwardRoger {
    /// Adjusted covariance of the coefficients over φ.
    pub(super) adjusted: Mat<f64>,
    /// (X'V⁻¹X)⁻¹ over φ, and how it moves with φ and the groups' variances.
    plain: Mat<f64>,
    slopes: Vec<Mat<f64>>,
    /// Half the inverse covariance of the variances, by eigenvectors: a variance
    /// that the data say nothing of has a value near zero.
    information: Vec<(f64, Vec<f64>)>,
    /// The slopes' scale: root of the diagonal of the information.
    scale: Vec<f64>,
}

/// Eigenvalues of the scaled information below this leave their direction open.
const OPEN: f64 = 1e-8;
/// Share of a contrast's variance that may hang on open directions.
const SHARE_OPEN: f64 = 1e-6;

impl KenwardRoger {
    /// At the ratios, with `plain` the covariance over φ; none where a matrix
    /// cannot be factored.
    pub(super) fn at(sums: &Sums<'_>, ratios: &[f64], plain: &Mat<f64>) -> Option<Self> {
        let k = ratios.len();
        let (n, p) = (sums.n as f64, sums.p);
        let parts = Parts::new(sums, ratios)?;
        // C and F over groupings, then the rows' own variance put in front.
        let c: Vec<Mat<f64>> = (0..k).map(|r| parts.c(r)).collect();
        let f: Vec<Vec<Mat<f64>>> = (0..k)
            .map(|r| (0..k).map(|s| parts.f(r, s)).collect())
            .collect();
        let trace_of = |m: &Mat<f64>| trace(plain, m);
        let t1: Vec<f64> = (0..k).map(|r| parts.trace(r) - trace_of(&c[r])).collect();
        let mut t = Mat::<f64>::zeros(k + 1, k + 1);
        for r in 0..k {
            for s in 0..k {
                let cc = plain * &c[r] * plain;
                t[(r + 1, s + 1)] =
                    parts.square(r, s) - 2.0 * trace_of(&f[r][s]) + trace(&cc, &c[s]);
            }
        }
        for s in 0..k {
            let groups: f64 = (0..k).map(|r| ratios[r] * t[(r + 1, s + 1)]).sum();
            t[(0, s + 1)] = t1[s] - groups;
            t[(s + 1, 0)] = t[(0, s + 1)];
        }
        t[(0, 0)] = n
            - p as f64
            - (0..k)
                .map(|r| ratios[r] * (t1[r] + t[(0, r + 1)]))
                .sum::<f64>();

        let whole = invert(plain)?;
        let less = |from: &Mat<f64>, parts: &dyn Fn(usize) -> Mat<f64>| {
            let mut left = from.clone();
            for (r, ratio) in ratios.iter().enumerate() {
                left -= parts(r) * faer::Scale(*ratio);
            }
            left
        };
        let own = less(&whole, &|r| c[r].clone());
        let own_f: Vec<Mat<f64>> = (0..k).map(|s| less(&c[s], &|r| f[r][s].clone())).collect();
        let own_own = less(&own, &|r| own_f[r].clone());
        let mut all_c = vec![own];
        all_c.extend(c);
        let f = |r: usize, s: usize| match (r, s) {
            (0, 0) => own_own.clone(),
            (0, s) => own_f[s - 1].clone(),
            (r, 0) => own_f[r - 1].transpose().to_owned(),
            (r, s) => f[r - 1][s - 1].clone(),
        };

        let scale: Vec<f64> = (0..=k).map(|r| t[(r, r)].max(0.0).sqrt()).collect();
        let scaled = Mat::from_fn(k + 1, k + 1, |r, s| {
            let by = scale[r] * scale[s];
            if by > 0.0 { t[(r, s)] / by } else { 0.0 }
        });
        let information = eigen(&scaled)?;
        let inverse = |r: usize, s: usize| -> f64 {
            let by = scale[r] * scale[s];
            if by <= 0.0 {
                return 0.0;
            }
            let known = information.iter().filter(|(value, _)| *value > OPEN);
            known.map(|(value, u)| u[r] * u[s] / value).sum::<f64>() / by
        };
        let mut added = Mat::<f64>::zeros(p, p);
        for r in 0..=k {
            for s in 0..=k {
                let weight = inverse(r, s);
                if weight != 0.0 {
                    added += (f(r, s) - &all_c[r] * plain * &all_c[s]) * faer::Scale(4.0 * weight);
                }
            }
        }
        let adjusted = plain + plain * added * plain;
        Some(Self {
            adjusted: Mat::from_fn(p, p, |a, b| 0.5 * (adjusted[(a, b)] + adjusted[(b, a)])),
            slopes: all_c.iter().map(|c| plain * c * plain).collect(),
            plain: plain.clone(),
            information,
            scale,
        })
    }

    /// Degrees of freedom of c'β; none where its variance cannot be told.
    pub(super) fn dof(&self, c: &[f64]) -> Option<f64> {
        let total = quadratic(&self.plain, c);
        let mut slope = Vec::with_capacity(self.scale.len());
        for (m, scale) in self.slopes.iter().zip(&self.scale) {
            let moved = quadratic(m, c);
            if *scale > 0.0 {
                slope.push(moved / scale);
            } else if moved > SHARE_OPEN * total {
                return None;
            } else {
                slope.push(0.0);
            }
        }
        let size: f64 = slope.iter().map(|g| g * g).sum();
        let mut variance = 0.0;
        for (value, u) in &self.information {
            let along: f64 = slope.iter().zip(u).map(|(g, u)| g * u).sum();
            if *value > OPEN {
                variance += along * along / value;
            } else if along * along > SHARE_OPEN * size {
                return None;
            }
        }
        (variance > 0.0 && total > 0.0).then(|| total * total / variance)
    }
}

/// Aₖ and Bₖₗ. With the first grouping eliminated, W = (D + λ₁Z₁Z₁')⁻¹, the
/// others have T = Z'WZ and s = Z'WX, and meet the first in M = Z₁'WZ. Then with
/// N = Λ^½(I + Λ^½TΛ^½)⁻¹Λ^½ and H = I − NT: B = TH and A = H's of the others,
/// B₁ = MH between, B₁₁ = diag(d) − MNM' and A₁ = Z₁'WX − MNs of the first.
struct Parts<'a> {
    sums: &'a Sums<'a>,
    /// d of the first grouping and A₁, row-major.
    diagonal: Vec<f64>,
    first: Vec<f64>,
    /// N, H, TH, A of the others.
    n: Mat<f64>,
    h: Mat<f64>,
    b: Mat<f64>,
    a: Mat<f64>,
    /// M'M, M'A₁ and Σ d (MNM')ᵢᵢ, Σ (MNM')ᵢᵢ.
    mm: Mat<f64>,
    ma: Mat<f64>,
    weighted: f64,
    plain: f64,
}

impl<'a> Parts<'a> {
    fn new(sums: &'a Sums<'a>, ratios: &[f64]) -> Option<Self> {
        let p = sums.p;
        let reduced = sums.reduce(ratios);
        let q = reduced.root.len();
        let root = &reduced.root;
        let n = if q > 0 {
            let inverse = invert(&reduced.system())?;
            Mat::from_fn(q, q, |a, b| root[a] * inverse[(a, b)] * root[b])
        } else {
            Mat::zeros(0, 0)
        };
        let t = &reduced.dense;
        let s = Mat::from_fn(q, p, |k, a| reduced.sum[(k, a)]);
        let h = Mat::<f64>::identity(q, q) - &n * t;
        let ns = &n * &s;
        let own = sums.first.map_or(0.0, |k| ratios[k]);
        let groups = sums.first_weight.len();
        let mut diagonal = Vec::with_capacity(groups);
        let mut first = vec![0.0; groups * p];
        let mut mm = Mat::<f64>::zeros(q, q);
        let mut ma = Mat::<f64>::zeros(q, p);
        let (mut weighted, mut plain) = (0.0, 0.0);
        for g in 0..groups {
            let left = 1.0 / (1.0 + own * sums.first_weight[g]);
            let d = sums.first_weight[g] * left;
            diagonal.push(d);
            let row = &mut first[g * p..(g + 1) * p];
            for (a, value) in row.iter_mut().enumerate() {
                *value = left * sums.first_sum[g * (p + 1) + a];
                for &(k, w) in &sums.meets[g] {
                    *value -= left * w * ns[(k, a)];
                }
            }
            let mut mnm = 0.0;
            for &(i, wi) in &sums.meets[g] {
                for &(j, wj) in &sums.meets[g] {
                    let both = left * left * wi * wj;
                    mm[(i, j)] += both;
                    mnm += both * n[(i, j)];
                }
                for (a, value) in row.iter().enumerate() {
                    ma[(i, a)] += left * wi * value;
                }
            }
            weighted += d * mnm;
            plain += mnm;
        }
        Some(Self {
            sums,
            diagonal,
            first,
            b: t * &h,
            a: h.transpose() * &s,
            n,
            h,
            mm,
            ma,
            weighted,
            plain,
        })
    }

    fn is_first(&self, k: usize) -> bool {
        self.sums.first == Some(k)
    }

    fn range(&self, k: usize) -> std::ops::Range<usize> {
        let start = self.sums.starts[k];
        start..start + self.sums.groupings[k].count
    }

    /// tr Bₖₖ.
    fn trace(&self, k: usize) -> f64 {
        if self.is_first(k) {
            self.diagonal.iter().sum::<f64>() - self.plain
        } else {
            self.range(k).map(|i| self.b[(i, i)]).sum()
        }
    }

    /// Σ of the squares of Bᵣₛ.
    fn square(&self, r: usize, s: usize) -> f64 {
        match (self.is_first(r), self.is_first(s)) {
            (true, true) => {
                let nm = &self.n * &self.mm;
                self.diagonal.iter().map(|d| d * d).sum::<f64>() - 2.0 * self.weighted
                    + trace(&nm, &nm)
            }
            (true, false) => {
                let mh = &self.mm * &self.h;
                let rows = 0..self.h.nrows();
                self.range(s)
                    .map(|j| {
                        rows.clone()
                            .map(|i| self.h[(i, j)] * mh[(i, j)])
                            .sum::<f64>()
                    })
                    .sum()
            }
            (false, true) => self.square(s, r),
            (false, false) => self
                .range(r)
                .map(|i| self.range(s).map(|j| self.b[(i, j)].powi(2)).sum::<f64>())
                .sum(),
        }
    }

    /// Aₖ'Aₖ.
    fn c(&self, k: usize) -> Mat<f64> {
        let p = self.sums.p;
        let mut c = Mat::<f64>::zeros(p, p);
        let mut add = |row: &dyn Fn(usize) -> f64| {
            for a in 0..p {
                for b in 0..p {
                    c[(a, b)] += row(a) * row(b);
                }
            }
        };
        if self.is_first(k) {
            for row in self.first.chunks_exact(p) {
                add(&|a| row[a]);
            }
        } else {
            for i in self.range(k) {
                add(&|a| self.a[(i, a)]);
            }
        }
        c
    }

    /// Aᵣ'BᵣₛAₛ.
    fn f(&self, r: usize, s: usize) -> Mat<f64> {
        let p = self.sums.p;
        match (self.is_first(r), self.is_first(s)) {
            (true, true) => {
                let mut f = Mat::<f64>::zeros(p, p);
                for (d, row) in self.diagonal.iter().zip(self.first.chunks_exact(p)) {
                    for a in 0..p {
                        for b in 0..p {
                            f[(a, b)] += d * row[a] * row[b];
                        }
                    }
                }
                f - self.ma.transpose() * &self.n * &self.ma
            }
            (true, false) => {
                let range = self.range(s);
                let h = self.h.subcols(range.start, range.len());
                let a = self.a.subrows(range.start, range.len());
                self.ma.transpose() * (h * a)
            }
            (false, true) => self.f(s, r).transpose().to_owned(),
            (false, false) => {
                let (rows, columns) = (self.range(r), self.range(s));
                let b = self
                    .b
                    .submatrix(rows.start, columns.start, rows.len(), columns.len());
                let left = self.a.subrows(rows.start, rows.len());
                let right = self.a.subrows(columns.start, columns.len());
                left.transpose() * (b * right)
            }
        }
    }
}

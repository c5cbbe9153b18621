//! Whether a finished set keeps its tolerance on most panels like the one that was read.
//!
//! A panel like this one has parameters drawn from what the readings leave open (the covariance of the fit) and a threshold
//! and a speed of its own, log-normal about those. Its merit is the worst error, in steps, over levels, contents, rows and
//! temperatures, against the even ladder that suits the panel best, band by band: what moves all levels alike, or spreads them,
//! leaves greys even and in order. For the panel that was fitted that is no more than the merit proved, whose ladder is one of those.
//! Told beside it is the same against the set's own targets, which forgives nothing.

use super::climate::BandClimate;
use super::outcome::Design;
use super::proof::Finished;
use super::reach::{Climate, Scheme};
use crate::drive::RowTicks;
use crate::planning::Chance;
use crate::project::{Drivers, UnitSpread};
use crate::response::Response;
use crate::response::beta::least_share;
use crate::response::fit::Fit;
use crate::waveforms::Band;
use nalgebra::{DMatrix, DVector};
use rayon::prelude::*;
use serde::Serialize;

/// Panels drawn: all of them within are 99 % with the confidence below.
pub const PANELS: usize = 300;
/// Confidence of the bound on the share.
pub const CONFIDENCE: f64 = 0.95;
const SEED: u64 = 0x6772_6579;
/// Temperatures of a band on which panels are judged, beyond the first.
const PARTS: usize = 2;
/// How finely a panel's best even ladder is sought.
const HALVINGS_OF_ERROR: usize = 12;
const THIRDS: usize = 48;

/// What is asked of panels like this one.
#[derive(Debug, Clone)]
pub struct Assurance {
    /// Of all panels, within the tolerance.
    pub share: f64,
    /// Steps.
    pub tolerance_steps: f64,
    pub spread: UnitSpread,
    /// `None` where parameters make no response: not within.
    pub panels: Vec<Option<Response>>,
}

/// What panels like this one show with a set.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Assured {
    /// Asked.
    pub share: f64,
    /// Relative standard deviations from panel to panel that were counted beside the fit's covariance.
    pub threshold_v: f64,
    pub speed: f64,
    pub panels: usize,
    /// Those that keep the tolerance against the even ladder that suits each best.
    pub within: usize,
    /// What share of all panels does, with `confidence`, one-sided (Clopper and Pearson).
    pub at_least: f64,
    pub confidence: f64,
    /// The merit that the share asked of the panels drawn keeps, and that of the middle one, steps.
    pub merit_steps: f64,
    pub middle_merit_steps: f64,
    /// The same of errors against the set's own targets.
    pub targets_within: usize,
    pub targets_at_least: f64,
    /// What the set was designed to, for that, steps.
    pub inner_tolerance_steps: f64,
    /// The widest span, narrowest band, without the assurance, L*.
    pub span_without_lstar: f64,
}

impl Assured {
    pub fn holds(&self) -> bool {
        self.at_least >= self.share
    }
}

/// Panels like the one that was fitted; the same in every run.
pub fn drawn(fit: &Fit, spread: UnitSpread, count: usize, seed: u64) -> Vec<Option<Response>> {
    let root = root_of(&fit.covariance);
    let alike = root.iter().all(|&r| r == 0.0);
    let draw = |k: usize| {
        let mut chance =
            Chance::new(seed.wrapping_add(0x9e37_79b9_7f4a_7c15u64.wrapping_mul(k as u64)));
        let normal = DVector::from_fn(fit.moved.len(), |_, _| chance.normal());
        let by = &root * normal;
        let moved: Vec<f64> = fit
            .moved
            .iter()
            .zip(by.iter())
            .map(|(m, b)| m + b)
            .collect();
        let factor = |sigma: f64, z: f64| (sigma * z).exp();
        let threshold = factor(spread.threshold_v, chance.normal());
        let speed = factor(spread.speed, chance.normal());
        let mut response = match alike {
            true => fit.response.clone(),
            false => fit.response_at(&moved)?,
        };
        let kinetics = &mut response.kinetics;
        for crossing in [&mut kinetics.crossing, &mut kinetics.returning] {
            crossing.threshold_v *= threshold;
            crossing.rate_per_vs *= speed;
        }
        for exchange in [&mut kinetics.store, &mut kinetics.window]
            .into_iter()
            .flatten()
        {
            exchange.rate_per_s *= speed;
        }
        Some(response)
    };
    (0..count).into_par_iter().map(draw).collect()
}

/// A root R of a covariance, R·Rᵀ; what is not finite counts as no spread.
fn root_of(covariance: &DMatrix<f64>) -> DMatrix<f64> {
    let finite = covariance.map(|c| if c.is_finite() { c } else { 0.0 });
    if finite.iter().all(|&c| c == 0.0) {
        return finite;
    }
    let eigen = finite.symmetric_eigen();
    let roots = eigen.eigenvalues.map(|e| e.max(0.0).sqrt());
    &eigen.eigenvectors * DMatrix::from_diagonal(&roots)
}

/// A panel's merit against the even ladder that suits it best, and against the set's targets, steps.
type Merits = (f64, f64);

/// A band of a finished set, ready to be judged.
struct Judged<'a> {
    scheme: Scheme,
    ticks: RowTicks<'a>,
    targets: &'a [f64],
    climates: Vec<Climate>,
    rows: usize,
    settle_ms: f64,
    /// What the whole proof found above what is looked at here, for the fitted response, steps.
    beyond_steps: f64,
}

impl<'a> Judged<'a> {
    fn of(design: &'a Design, band: &'a Band, drivers: &Drivers, fitted: &Response) -> Self {
        let climate = BandClimate::of(band, drivers);
        let entries = band.stretch.iter().map(|s| Climate {
            temperature_c: s.temperature_c,
            stretch: s.factor,
        });
        let mut judged = Judged {
            scheme: Scheme {
                erase: band.erase.clone(),
                fields: band.fields.clone(),
            },
            ticks: band.row_ticks(),
            targets: band.targets(&design.set),
            climates: climate.proof(&entries.collect::<Vec<_>>(), PARTS),
            rows: design.set.panel.rows,
            settle_ms: design.set.panel.field_settle_ms,
            beyond_steps: 0.0,
        };
        // Both are against the set's targets.
        let (_, merit) = judged.merits(fitted);
        judged.beyond_steps = (band.figures.worst_error_steps - merit).max(0.0);
        judged
    }

    /// The rows that matter: the first two, where the erase and the row before are felt most, the middle, the last two; and where
    /// zones of rows begin and end.
    fn judged_rows(&self) -> Vec<usize> {
        let last = self.rows - 1;
        let mut rows = vec![0, 1.min(last), last / 2, last.saturating_sub(1), last];
        let zones = self
            .ticks
            .parts(self.rows)
            .filter(|(zone, _)| !zone.is_empty());
        rows.extend(zones.flat_map(|(zone, _)| [zone.start, zone.end - 1]));
        rows.sort_unstable();
        rows.dedup();
        rows
    }

    fn merits(&self, response: &Response) -> Merits {
        let finished = Finished {
            response,
            scheme: &self.scheme,
            rows: self.rows,
            settle_ms: self.settle_ms,
            ticks: self.ticks,
            correction: None,
        };
        let extremes = finished.extremes_in(&self.climates, &self.judged_rows());
        let ranges: Vec<(f64, f64)> = extremes
            .lowest
            .iter()
            .zip(&extremes.highest)
            .map(|(low, high)| (low.lstar, high.lstar))
            .collect();
        let (Some(dark), Some(light)) = (self.targets.first(), self.targets.last()) else {
            return (f64::INFINITY, f64::INFINITY);
        };
        let on_targets = worst_steps(&ranges, (*dark, *light));
        let even = least_steps(&ranges).min(on_targets);
        (even + self.beyond_steps, on_targets + self.beyond_steps)
    }
}

/// Worst error of some levels' ranges against the even ladder between two ends, steps; infinite where that doesn't rise.
fn worst_steps(ranges: &[(f64, f64)], (dark, light): (f64, f64)) -> f64 {
    let step = (light - dark) / (ranges.len().max(2) - 1) as f64;
    if step.is_nan() || step <= 0.0 {
        return f64::INFINITY;
    }
    let error = |(level, (low, high)): (usize, &(f64, f64))| {
        let target = dark + level as f64 * step;
        (target - low).max(high - target) / step
    };
    ranges.iter().enumerate().map(error).fold(0.0, f64::max)
}

/// The least worst error of some levels' ranges against any even ladder, steps, to a part in a thousand from above; infinite
/// above one step.
fn least_steps(ranges: &[(f64, f64)]) -> f64 {
    let (mut low, mut high) = (0.0, 1.0);
    if !some_ladder_within(ranges, high) {
        return f64::INFINITY;
    }
    for _ in 0..HALVINGS_OF_ERROR {
        let middle = 0.5 * (low + high);
        if some_ladder_within(ranges, middle) {
            high = middle;
        } else {
            low = middle;
        }
    }
    high
}

/// Whether an even ladder comes within `error` steps of all that levels show.
///
/// With step s the darkest target d must keep high_k − (k + e)·s ≤ d ≤ low_k − (k − e)·s for every level k. How far the largest
/// lower bound lies above the smallest upper one is convex in s, so that its least is found by thirds.
fn some_ladder_within(ranges: &[(f64, f64)], error: f64) -> bool {
    let gap = |step: f64| {
        let (mut least, mut most) = (f64::NEG_INFINITY, f64::INFINITY);
        for (k, (low, high)) in ranges.iter().enumerate() {
            least = least.max(high - (k as f64 + error) * step);
            most = most.min(low - (k as f64 - error) * step);
        }
        least - most
    };
    let steps = (ranges.len().max(2) - 1) as f64;
    let (Some(first), Some(last)) = (ranges.first(), ranges.last()) else {
        return false;
    };
    let usual = (last.1 - first.0) / steps;
    // A step that is twice the usual one, or none, leaves the outer levels far off.
    let (mut low, mut high) = (0.0, 2.0 * usual.max(0.0));
    for _ in 0..THIRDS {
        let (a, b) = (low + (high - low) / 3.0, high - (high - low) / 3.0);
        let (at_a, at_b) = (gap(a), gap(b));
        if at_a <= 0.0 && a > 0.0 || at_b <= 0.0 {
            return true;
        }
        if at_a < at_b {
            high = b;
        } else {
            low = a;
        }
    }
    false
}

impl Assurance {
    /// With panels drawn about `fit`.
    pub fn new(fit: &Fit, spread: UnitSpread, share: f64, tolerance_steps: f64) -> Self {
        Assurance {
            share,
            tolerance_steps,
            spread,
            panels: drawn(fit, spread, PANELS, SEED),
        }
    }

    /// What the panels show with a finished set whose levels were proved for the response `fitted`.
    pub fn judge(&self, design: &Design, drivers: &Drivers, fitted: &Response) -> Assured {
        let bands = design.set.bands.iter();
        let bands: Vec<Judged> = bands
            .map(|b| Judged::of(design, b, drivers, fitted))
            .collect();
        let of = |panel: &Option<Response>| -> Merits {
            let none = (f64::INFINITY, f64::INFINITY);
            panel.as_ref().map_or(none, |response| {
                let each = bands.iter().map(|b| b.merits(response));
                each.fold((0.0, 0.0), |w, m| (w.0.max(m.0), w.1.max(m.1)))
            })
        };
        let merits: Vec<Merits> = self.panels.par_iter().map(of).collect();
        let kept = |merit: f64| merit <= self.tolerance_steps * (1.0 + 1e-12);
        let within = merits.iter().filter(|m| kept(m.0)).count();
        let on_targets = merits.iter().filter(|m| kept(m.1)).count();
        let mut sorted: Vec<f64> = merits.iter().map(|m| m.0).collect();
        sorted.sort_by(f64::total_cmp);
        let count = sorted.len();
        let at = |share: f64| sorted[((share * count as f64).ceil() as usize).clamp(1, count) - 1];
        Assured {
            share: self.share,
            threshold_v: self.spread.threshold_v,
            speed: self.spread.speed,
            panels: count,
            within,
            at_least: least_share(within, count, CONFIDENCE),
            confidence: CONFIDENCE,
            merit_steps: at(self.share),
            middle_merit_steps: at(0.5),
            targets_within: on_targets,
            targets_at_least: least_share(on_targets, count, CONFIDENCE),
            inner_tolerance_steps: self.tolerance_steps,
            span_without_lstar: design.span_lstar(),
        }
    }
}

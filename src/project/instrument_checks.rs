//! What readings say of the instrument itself: whether it saturated, and whether repeats agree.

use super::folder::Warning;
use super::types::*;
use crate::error::{Error, InputError, Result};
use crate::tone::lightness::reflectance_from_lstar;
use std::cmp::Ordering;
use std::collections::BTreeSet;
use std::path::Path;

/// Patches driven differently that must share the outermost value before an instrument is said to saturate.
const PILE_MIN: usize = 4;
/// Chance below which honest readings are said not to share it.
const CHANCE: f64 = 1e-9;
/// Repeats are far apart beyond this many standard deviations of their difference, √2 times the repeatability: one pair
/// of honest normal readings in two million.
const FAR_APART: f64 = 5.0;
/// Lines and patches named one by one, at most.
const NAMED: usize = 8;

impl Measured {
    /// Errs where readings of differently driven patches pile up at the highest or the lowest value of `scans`.
    ///
    /// Were n patches equal, and their readings normal with the instrument's repeatability σ, then near the largest of
    /// them the others lie as a Poisson process, thicker by e every σ/√(2·ln n) further down, and each one more within a
    /// step q of the largest has the chance 1 − exp(−√(2·ln n)·q/σ) (Rényi's representation of spacings; H. A. David,
    /// H. N. Nagaraja, Order Statistics, 2003, from memory). Patches that differ share a value more rarely. The
    /// step q is the finest that the file's own values keep, so coarsely written readings need a larger pile. Where all
    /// have one value, the file says nothing of its step, and nothing of the panel either.
    pub fn check_saturation(&self, scans: &Path, instrument: &Instrument) -> Result<()> {
        let step = Step::of(&self.readings);
        let ends = [Ordering::Greater, Ordering::Less].into_iter();
        let mut piles: Vec<Pile> = ends
            .filter_map(|end| self.pile(end, &step, instrument.repeatability_lstar))
            .collect();
        piles.dedup_by_key(|pile| pile.lstar);
        let wrong: Vec<InputError> = piles.iter().map(|pile| pile.told(scans)).collect();
        if wrong.is_empty() {
            Ok(())
        } else {
            Err(Error::Inputs(wrong))
        }
    }

    /// The readings that share the outermost value, where chance does not explain them.
    fn pile(&self, end: Ordering, step: &Step, repeatability_lstar: f64) -> Option<Pile> {
        let outer = |a: &f64, b: &f64| if a.total_cmp(b) == end { *a } else { *b };
        let values = self.readings.iter().map(|r| r.lstar);
        let lstar = values.reduce(|a, b| outer(&a, &b))?;
        let here: Vec<&Reading> = self.readings.iter().filter(|r| r.lstar == lstar).collect();
        let driven = |r: &&Reading| {
            let page = self.chart.pages.get(r.page)?;
            Some((r.page, page.patches.get(r.patch)?.ticks.clone()))
        };
        let driven: BTreeSet<_> = here.iter().filter_map(driven).collect();
        let n = self.readings.len() as f64;
        let density = (2.0 * n.ln()).sqrt() / repeatability_lstar;
        let one_more = 1.0 - (-density * step.at(lstar)).exp();
        let chance = one_more.powf(driven.len() as f64 - 1.0);
        let beyond_chance = chance < CHANCE || here.len() == self.readings.len();
        (driven.len() >= PILE_MIN && beyond_chance).then(|| Pile {
            end,
            lstar,
            lines: here.iter().map(|r| r.line).collect(),
            driven: driven.len(),
        })
    }

    /// Patches of the file `scans` whose repeats differ by far more than the instrument's repeatability.
    pub fn repeats_apart(&self, scans: &str, instrument: &Instrument) -> Vec<Warning> {
        let repeatability_lstar = instrument.repeatability_lstar;
        let mut sorted: Vec<&Reading> = self.readings.iter().collect();
        sorted.sort_by(|a, b| {
            let place = |r: &Reading| (r.page, r.patch);
            place(a).cmp(&place(b)).then(a.lstar.total_cmp(&b.lstar))
        });
        let far = FAR_APART * 2.0f64.sqrt() * repeatability_lstar;
        let same = |a: &&Reading, b: &&Reading| (a.page, a.patch) == (b.page, b.patch);
        sorted
            .chunk_by(same)
            .filter_map(|repeats| Some((*repeats.first()?, *repeats.last()?)))
            .filter(|(low, high)| high.lstar - low.lstar > far)
            .filter_map(|(low, high)| {
                let page = self.chart.pages.get(low.page)?;
                Some(Warning::Repeats {
                    scans: scans.to_owned(),
                    page: page.name.clone(),
                    patch: page.patches.get(low.patch)?.name.clone(),
                    lines: (low.line.min(high.line), low.line.max(high.line)),
                    apart_lstar: high.lstar - low.lstar,
                    repeatability_lstar,
                })
            })
            .collect()
    }
}

/// The finest step that the values of a file keep, even in reflectance or even in L*.
struct Step {
    reflectance: f64,
    lstar: f64,
}

impl Step {
    fn of(readings: &[Reading]) -> Self {
        let mut lstar: Vec<f64> = readings.iter().map(|r| r.lstar).collect();
        lstar.sort_by(f64::total_cmp);
        lstar.dedup();
        let least = |of: fn(f64) -> f64| {
            let gaps = lstar.windows(2).map(|w| of(w[1]) - of(w[0]));
            gaps.fold(f64::INFINITY, f64::min)
        };
        Step {
            reflectance: least(reflectance_from_lstar),
            lstar: least(|l| l),
        }
    }

    /// The larger of both at a lightness, L*; infinite where all values are the same.
    fn at(&self, lstar: f64) -> f64 {
        const PART: f64 = 1e-3;
        let slope = (reflectance_from_lstar(lstar + PART) - reflectance_from_lstar(lstar)) / PART;
        self.lstar.max(self.reflectance / slope)
    }
}

struct Pile {
    end: Ordering,
    lstar: f64,
    lines: Vec<usize>,
    driven: usize,
}

impl Pile {
    fn told(&self, scans: &Path) -> InputError {
        let mut lines: Vec<String> = self
            .lines
            .iter()
            .map(usize::to_string)
            .take(NAMED)
            .collect();
        if self.lines.len() > NAMED {
            lines.push(format!("{} more", self.lines.len() - NAMED));
        }
        let outermost = match self.end {
            Ordering::Greater => "highest",
            _ => "lowest",
        };
        InputError {
            file: scans.to_owned(),
            line: self.lines.first().copied(),
            field: None,
            value: Some(format!(
                "reflectance {:.6} ({:.3} L*)",
                reflectance_from_lstar(self.lstar),
                self.lstar
            )),
            expected: format!(
                "readings that scatter as the instrument does: lines {} share the {outermost} value of the file, on {} patches \
                 driven differently; the instrument saturates there, so set its range and exposure and read these pages again",
                lines.join(", "),
                self.driven
            ),
        }
    }
}

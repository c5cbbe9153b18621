//! Which of the choices that keep a ladder's tolerance makes an ordinary picture even.

use super::choice::{Spot, Spots, step_of};
use super::proof::Finished;
use super::reach::Climate;

/// Choices that are compared for one level, at most.
const COMPARED: usize = 256;
/// As even as this, in steps, is even enough: no worst error is given up for more.
const ENOUGH_STEPS: f64 = 0.04;
/// Parts in which the room between the smallest worst error and the tolerance is given up.
const PARTS: usize = 4;
/// Places of the line through the outer levels that are tried, each end: so many either way, this far apart in steps.
const ENDS: i32 = 10;
const ENDS_APART_STEPS: f64 = 0.025;

/// The ticks of a ladder's levels, and how even they are predicted to be in an ordinary picture.
#[derive(Debug, Clone, PartialEq)]
pub struct Even {
    pub ticks: Vec<Vec<u32>>,
    /// Largest distance of a level from the line between the outer two, in steps: mixed content, middle row, design
    /// temperature.
    pub uneven_steps: f64,
}

/// The level that each row of an ordinary picture shows: all of them in turn, scattered by the golden ratio.
pub fn mixed_levels(rows: usize, levels: usize) -> Vec<usize> {
    const GOLDEN: f64 = 0.618_033_988_749_894_9;
    let level = |row: usize| ((row as f64 + 0.5) * GOLDEN).fract() * levels as f64;
    (0..rows)
        .map(|r| (level(r) as usize).min(levels - 1))
        .collect()
}

/// How far each level stands from the even ladder between the outer two, L*.
pub fn off_even_lstar(lstar: &[f64]) -> Vec<f64> {
    let (Some(darkest), step) = (lstar.first(), step_of(lstar)) else {
        return Vec::new();
    };
    let off = |(k, l): (usize, &f64)| l - (darkest + k as f64 * step);
    lstar.iter().enumerate().map(off).collect()
}

/// Largest distance of a level from the even ladder between the outer two; 0 for none.
pub fn uneven_lstar(lstar: &[f64]) -> f64 {
    let off = off_even_lstar(lstar).into_iter();
    off.map(f64::abs).fold(0.0, f64::max)
}

/// For each target one of the choices that keep the tolerance, so that an ordinary picture is as even as can be; worst
/// error is given up for evenness in parts, and no more than it takes.
///
/// `base` has the scheme; its ticks are not looked at. `None` where a target has no choice.
pub fn even_ticks(
    base: &Finished,
    spots: &Spots,
    targets_lstar: &[f64],
    tolerance_steps: f64,
    climate: Climate,
) -> Option<Even> {
    let best: Vec<(Spot, f64)> = targets_lstar
        .iter()
        .map(|&t| spots.best_for(t))
        .collect::<Option<_>>()?;
    let step = step_of(targets_lstar);
    let least = best.iter().map(|(_, error)| *error).fold(0.0, f64::max);
    let most = (tolerance_steps * step).max(least);
    let options = Options::new(base, spots, targets_lstar, &best, most, climate);
    let mut found: Option<Even> = None;
    for part in 0..=PARTS {
        let allowed = least + (most - least) * part as f64 / PARTS as f64;
        let even = options.evenest(allowed, targets_lstar, step)?;
        if found
            .as_ref()
            .is_none_or(|f| even.uneven_steps < f.uneven_steps)
        {
            found = Some(even);
        }
        if found
            .as_ref()
            .is_some_and(|f| f.uneven_steps <= ENOUGH_STEPS)
        {
            break;
        }
    }
    found
}

/// A choice for a level.
#[derive(Debug, Clone)]
struct Choice {
    ticks: Vec<u32>,
    /// Its worst error against the level's target, L*.
    error_lstar: f64,
    /// What it shows in an ordinary picture, less the target, L*.
    off_lstar: f64,
}

/// The choices of every level.
struct Options(Vec<Vec<Choice>>);

impl Options {
    /// All choices whose worst error is at most `most`, the smallest first, the best one at least.
    fn new(
        base: &Finished,
        spots: &Spots,
        targets_lstar: &[f64],
        best: &[(Spot, f64)],
        most: f64,
        climate: Climate,
    ) -> Self {
        let ticks_of = |s: &Spot| base.scheme.ticks_of(s.choice);
        let first: Vec<Vec<u32>> = best.iter().map(|(s, _)| ticks_of(s)).collect();
        let content: Vec<Vec<u32>> = mixed_levels(base.rows, first.len())
            .into_iter()
            .map(|level| first[level].clone())
            .collect();
        let level = |(i, &target): (usize, &f64)| {
            let mut kept = spots.keeping(target, most);
            if kept.is_empty() {
                kept.push(best[i].0);
            }
            kept.truncate(COMPARED);
            let ticks: Vec<Vec<u32>> = kept.iter().map(ticks_of).collect();
            let shown = Finished {
                ticks: &ticks,
                ..base.clone()
            }
            .lstar_among(climate, &content, base.rows / 2);
            let choice = |((spot, ticks), shown): ((&Spot, &Vec<u32>), f64)| Choice {
                ticks: ticks.clone(),
                error_lstar: spot.worst_error_lstar(target),
                off_lstar: shown - target,
            };
            kept.iter().zip(&ticks).zip(shown).map(choice).collect()
        };
        Options(targets_lstar.iter().enumerate().map(level).collect())
    }

    /// The evenest of the ladders whose worst errors are at most `allowed`.
    fn evenest(&self, allowed: f64, targets_lstar: &[f64], step: f64) -> Option<Even> {
        let last = targets_lstar.len() - 1;
        let mut found: Option<Even> = None;
        let end = |k: i32| f64::from(k) * ENDS_APART_STEPS * step;
        for (dark, light) in
            (-ENDS..=ENDS).flat_map(|d| (-ENDS..=ENDS).map(move |l| (end(d), end(l))))
        {
            let wanted = |level: usize| dark + (light - dark) * level as f64 / last as f64;
            let nearest = |level: usize| {
                let kept = self.0[level]
                    .iter()
                    .enumerate()
                    .filter(|(i, c)| *i == 0 || c.error_lstar <= allowed);
                let off = |c: &Choice| (c.off_lstar - wanted(level)).abs();
                kept.map(|(_, c)| c)
                    .min_by(|a, b| off(a).total_cmp(&off(b)))
            };
            let chosen: Vec<&Choice> = (0..=last).map(nearest).collect::<Option<_>>()?;
            let shown: Vec<f64> = chosen
                .iter()
                .zip(targets_lstar)
                .map(|(c, t)| t + c.off_lstar)
                .collect();
            let uneven_steps = uneven_lstar(&shown) / step;
            if found.as_ref().is_none_or(|f| uneven_steps < f.uneven_steps) {
                let ticks = chosen.iter().map(|c| c.ticks.clone()).collect();
                found = Some(Even {
                    ticks,
                    uneven_steps,
                });
            }
        }
        found
    }
}

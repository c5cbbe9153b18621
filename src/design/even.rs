//! Which of the choices that keep a ladder's tolerance makes an ordinary picture even.

use super::choice::{Spot, step_of};
use super::middle::Middle;
use super::proof::Finished;
use super::reach::Climate;
use super::zones::{ZoneSpots, Zoned};
use crate::drive::{RowTicks, Zone};
use rayon::prelude::*;
use std::ops::Range;

/// Choices that are compared for one level, at most.
const COMPARED: usize = 256;
/// As even as this, in steps, is even enough: no worst error is given up for more.
const ENOUGH_STEPS: f64 = 0.02;
/// Parts in which the room between the smallest worst error and the tolerance is given up.
const PARTS: usize = 4;
/// Share of the memory of the row before that may not be there: instruments see patches, in which that row shows the same.
/// Assumed; on the test panel nearly all of it wasn't.
const MEMORY_SHARE: f64 = 0.8;
/// As far as this, in steps, a level may stand from the line through the outer levels of an ordinary picture among whatever
/// neighbours: at half a step two levels could meet. Beyond it, the evenness that pays for a step less.
const FAR_STEPS: f64 = 0.37;
const FAR_PRICE: f64 = 0.5;
/// Times that the picture is made of the levels chosen before.
const ROUNDS: usize = 4;
/// Places of the line through the outer levels that are tried, each end: so many either way, this far apart in steps; then
/// those half as far from the best of them.
const ENDS: i32 = 5;
const ENDS_APART_STEPS: f64 = 0.05;

/// The ticks of a ladder's levels, and how even they are predicted to be in an ordinary picture.
#[derive(Debug, Clone, PartialEq)]
pub struct Even {
    /// One where all rows are alike.
    pub zones: Vec<Zone>,
    /// Largest distance of a level from the line between the outer two, in steps: mixed content, middle row of each zone,
    /// design temperature.
    pub uneven_steps: f64,
    /// The same with how well the levels are known, and with what it costs that one stands far from that line among some
    /// neighbours.
    pub expected_steps: f64,
}

/// The level that each row of an ordinary picture shows: all of them in turn, scattered by the golden ratio.
pub fn mixed_levels(rows: usize, levels: usize) -> Vec<usize> {
    const GOLDEN: f64 = 0.618_033_988_749_894_9;
    let level = |row: usize| ((row as f64 + 0.5) * GOLDEN).fract() * levels as f64;
    (0..rows)
        .map(|r| (level(r) as usize).min(levels - 1))
        .collect()
}

/// The ticks of each row of an ordinary picture of levels with these ticks.
pub fn mixed_content<'a>(rows: usize, ticks: impl Into<RowTicks<'a>>) -> Vec<Vec<u32>> {
    let ticks = ticks.into();
    let shown = mixed_levels(rows, ticks.levels()).into_iter().enumerate();
    shown.map(|(row, l)| ticks.in_row(row)[l].clone()).collect()
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

/// Standard uncertainty of how far each level stands from the even ladder between the outer two, L*, where `u_lstar` are
/// those of the levels, independent.
pub fn unsure_even_lstar(u_lstar: &[f64]) -> Vec<f64> {
    let (Some(first), Some(last)) = (u_lstar.first(), u_lstar.last()) else {
        return Vec::new();
    };
    let steps = (u_lstar.len() - 1).max(1) as f64;
    let unsure = |(k, u): (usize, &f64)| {
        let share = k as f64 / steps;
        u.hypot((1.0 - share) * first).hypot(share * last)
    };
    u_lstar.iter().enumerate().map(unsure).collect()
}

/// For each target one of the choices that keep the tolerance, in every zone of rows, so that an ordinary picture is as even as
/// can be; worst error is given up for evenness in parts, and no more than it takes.
///
/// `base` has the scheme; its ticks are not looked at. `None` where a target has no choice.
pub fn even_ticks(
    base: &Finished,
    zones: &Zoned,
    targets_lstar: &[f64],
    tolerance_steps: f64,
    climate: Climate,
) -> Option<Even> {
    let best_in = |z: &ZoneSpots| -> Option<Vec<(Spot, f64)>> {
        targets_lstar.iter().map(|&t| z.spots.best_for(t)).collect()
    };
    let best: Vec<_> = zones.zones().iter().map(best_in).collect::<Option<_>>()?;
    let picture = Picture {
        base,
        climate,
        step_lstar: step_of(targets_lstar),
    };
    let errors = best.iter().flatten().map(|(_, error)| *error);
    let least = errors.fold(0.0, f64::max);
    let most = (tolerance_steps * picture.step_lstar).max(least);
    let each = zones.zones().iter().zip(&best);
    let option =
        |(z, best): (&ZoneSpots, &Vec<_>)| ZoneOptions::new(base, z, targets_lstar, best, most);
    let mut options = Options(each.map(option).collect());
    let mut levels: Vec<Zone> = options.0.iter().map(ZoneOptions::first).collect();
    let mut found: Option<Even> = None;
    // What a level shows depends on the row before, and so on what is chosen for that.
    for _ in 0..ROUNDS {
        options.show(&picture, &levels, targets_lstar);
        let chosen = options.evenest_within(least, most, targets_lstar, picture.step_lstar)?;
        let even = picture.even(&chosen);
        let settled = even.zones == levels;
        levels = even.zones.clone();
        let evener = |f: &Even| even.expected_steps < f.expected_steps;
        if found.as_ref().is_none_or(evener) {
            found = Some(even);
        }
        if settled {
            break;
        }
    }
    found
}

/// The ordinary picture of a scheme.
struct Picture<'a> {
    base: &'a Finished<'a>,
    climate: Climate,
    step_lstar: f64,
}

impl Picture<'_> {
    /// The middle row of a zone in a picture.
    fn middle<'a>(&'a self, content: &'a [Vec<u32>], rows: &Range<usize>) -> Middle<'a> {
        let row = rows.start + rows.len() / 2;
        Middle::new(self.base, self.climate, content, row)
    }

    /// Chosen levels in a picture of themselves.
    fn even(&self, chosen: &[Chosen]) -> Even {
        let zones: Vec<Zone> = chosen.iter().map(Chosen::zone).collect();
        let content = mixed_content(self.base.rows, &zones);
        let each = chosen.iter().map(|c| self.even_zone(c, &content));
        let worst = |a: (f64, f64), b: (f64, f64)| (a.0.max(b.0), a.1.max(b.1));
        let (uneven_lstar, expected_lstar) = each.fold((0.0, 0.0), worst);
        Even {
            uneven_steps: uneven_lstar / self.step_lstar,
            expected_steps: expected_lstar / self.step_lstar,
            zones,
        }
    }

    /// How uneven a zone is predicted to be, and with how well that is known and what it costs, L*.
    fn even_zone(&self, chosen: &Chosen, content: &[Vec<u32>]) -> (f64, f64) {
        let middle = self.middle(content, chosen.rows);
        let levels = &chosen.levels;
        let shown: Vec<f64> = levels.iter().map(|c| middle.lstar(&c.ticks)).collect();
        let unsure = |c: &&Choice| c.known_lstar.hypot(memory_lstar(&middle, &c.ticks));
        let unsure: Vec<f64> = levels.iter().map(unsure).collect();
        let far = far_lstar(levels, &shown, self.step_lstar);
        (uneven_lstar(&shown), expected_lstar(&shown, &unsure) + far)
    }
}

/// What of a pixel's lightness hangs on the row before and is not known, standard, L*.
fn memory_lstar(middle: &Middle, ticks: &[u32]) -> f64 {
    MEMORY_SHARE * middle.apart_from_patch_lstar(ticks).abs()
}

/// How far the worst level may well stand from the even ladder between the outer two, L*: what it is off and how well that
/// is known.
fn expected_lstar(shown_lstar: &[f64], unsure_lstar: &[f64]) -> f64 {
    let off = off_even_lstar(shown_lstar).into_iter();
    let expected = off.zip(unsure_even_lstar(unsure_lstar));
    expected.map(|(off, u)| off.hypot(u)).fold(0.0, f64::max)
}

/// A choice for a level.
#[derive(Debug, Clone)]
struct Choice {
    ticks: Vec<u32>,
    /// Half the width of what it can show, and the middle of that less the target, L*.
    half_lstar: f64,
    mid_lstar: f64,
    /// What it shows in an ordinary picture, less the target, L*.
    off_lstar: f64,
    /// How well what readings add is known, and with it how well all is, standard, L*.
    known_lstar: f64,
    unsure_lstar: f64,
}

impl Choice {
    /// Its worst error against the level's target, L*.
    fn error_lstar(&self) -> f64 {
        self.mid_lstar.abs() + self.half_lstar
    }

    /// What it costs that the level stands far from a line among some neighbours, where the ordinary picture's is
    /// `off_lstar` from it.
    fn far_lstar(&self, off_lstar: f64, step_lstar: f64) -> f64 {
        let far = (off_lstar + self.mid_lstar - self.off_lstar).abs() + self.half_lstar;
        FAR_PRICE * (far - FAR_STEPS * step_lstar).max(0.0)
    }
}

/// The same for the worst of some levels, from the line through the outer two of what they show.
fn far_lstar(chosen: &[&Choice], shown_lstar: &[f64], step_lstar: f64) -> f64 {
    let off = off_even_lstar(shown_lstar).into_iter();
    let far = off.zip(chosen).map(|(off, c)| c.far_lstar(off, step_lstar));
    far.fold(0.0, f64::max)
}

/// A choice for each level in a zone.
struct Chosen<'a> {
    rows: &'a Range<usize>,
    levels: Vec<&'a Choice>,
}

impl Chosen<'_> {
    fn zone(&self) -> Zone {
        Zone {
            row_first: self.rows.start,
            row_last: self.rows.end.saturating_sub(1),
            ticks: self.levels.iter().map(|c| c.ticks.clone()).collect(),
        }
    }
}

/// The choices of every level in one zone.
struct ZoneOptions {
    rows: Range<usize>,
    levels: Vec<Vec<Choice>>,
}

/// Those of every zone.
struct Options(Vec<ZoneOptions>);

impl ZoneOptions {
    /// All choices whose worst error is at most `most`, the smallest first, the best one at least; not yet shown.
    fn new(
        base: &Finished,
        zone: &ZoneSpots,
        targets_lstar: &[f64],
        best: &[(Spot, f64)],
        most: f64,
    ) -> Self {
        let level = |(&target, best): (&f64, &(Spot, f64))| {
            let mut kept = zone.spots.keeping(target, most);
            if kept.is_empty() {
                kept.push(best.0);
            }
            kept.truncate(COMPARED);
            let choice = |spot: &Spot| Choice {
                ticks: base.scheme.ticks_of(spot.choice),
                half_lstar: spot.half_lstar,
                mid_lstar: spot.mid_lstar - target,
                off_lstar: f64::NAN,
                known_lstar: spot.unsure_lstar,
                unsure_lstar: f64::NAN,
            };
            kept.iter().map(choice).collect()
        };
        ZoneOptions {
            rows: zone.rows.clone(),
            levels: targets_lstar.iter().zip(best).map(level).collect(),
        }
    }

    /// The choice of the smallest worst error for each level.
    fn first(&self) -> Zone {
        let levels = self.levels.iter().filter_map(|choices| choices.first());
        Chosen {
            rows: &self.rows,
            levels: levels.collect(),
        }
        .zone()
    }

    /// Takes up what every choice shows in a picture.
    fn show(&mut self, picture: &Picture, content: &[Vec<u32>], targets_lstar: &[f64]) {
        let middle = picture.middle(content, &self.rows);
        for (choices, target) in self.levels.iter_mut().zip(targets_lstar) {
            choices.par_iter_mut().for_each(|choice| {
                choice.off_lstar = middle.lstar(&choice.ticks) - target;
                let memory = memory_lstar(&middle, &choice.ticks);
                choice.unsure_lstar = choice.known_lstar.hypot(memory);
            });
        }
    }

    /// The choices nearest to a ladder between two ends, its darkest and its lightest level so far from their targets, whose
    /// worst errors are at most `allowed`; with what they are expected to be off and what the farthest level costs, L*.
    fn nearest(
        &self,
        (dark, light): (f64, f64),
        allowed: f64,
        targets_lstar: &[f64],
        step: f64,
    ) -> Option<(f64, Chosen<'_>)> {
        let last = targets_lstar.len() - 1;
        let wanted = |level: usize| dark + (light - dark) * level as f64 / last as f64;
        let nearest = |level: usize| {
            let kept = self.levels[level]
                .iter()
                .enumerate()
                .filter(|(i, c)| *i == 0 || c.error_lstar() <= allowed);
            let cost = |c: &Choice| {
                let off = c.off_lstar - wanted(level);
                // With `hypot` choosing takes twice as long.
                (off * off + c.unsure_lstar * c.unsure_lstar).sqrt() + c.far_lstar(off, step)
            };
            kept.map(|(_, c)| c)
                .min_by(|a, b| cost(a).total_cmp(&cost(b)))
        };
        let levels: Vec<&Choice> = (0..=last).map(nearest).collect::<Option<_>>()?;
        let shown: Vec<f64> = levels
            .iter()
            .zip(targets_lstar)
            .map(|(c, t)| t + c.off_lstar)
            .collect();
        let unsure: Vec<f64> = levels.iter().map(|c| c.unsure_lstar).collect();
        let cost = expected_lstar(&shown, &unsure) + far_lstar(&levels, &shown, step);
        let rows = &self.rows;
        Some((cost, Chosen { rows, levels }))
    }
}

impl Options {
    /// Takes up what every choice shows in a picture of some levels.
    fn show(&mut self, picture: &Picture, levels: &[Zone], targets_lstar: &[f64]) {
        let content = mixed_content(picture.base.rows, levels);
        let zones = self.0.iter_mut();
        zones.for_each(|zone| zone.show(picture, &content, targets_lstar));
    }

    /// The evenest ladder, of which worst errors above `least` are given up in parts.
    fn evenest_within(
        &self,
        least: f64,
        most: f64,
        targets_lstar: &[f64],
        step: f64,
    ) -> Option<Vec<Chosen<'_>>> {
        let mut found: Option<(f64, Vec<Chosen>)> = None;
        for part in 0..=PARTS {
            let allowed = least + (most - least) * part as f64 / PARTS as f64;
            let (cost, chosen) = self.evenest(allowed, targets_lstar, step)?;
            if found.as_ref().is_none_or(|(before, _)| cost < *before) {
                found = Some((cost, chosen));
            }
            if cost <= ENOUGH_STEPS * step {
                break;
            }
        }
        found.map(|(_, chosen)| chosen)
    }

    /// The evenest of the ladders whose worst errors are at most `allowed`, one for all zones so that rows look alike, with what
    /// its worst zone is expected to be off and what the farthest level costs there, L*.
    fn evenest(
        &self,
        allowed: f64,
        targets_lstar: &[f64],
        step: f64,
    ) -> Option<(f64, Vec<Chosen<'_>>)> {
        let ladder = |&ends: &(f64, f64)| {
            let zones = self.0.iter();
            let each = zones.map(|z| z.nearest(ends, allowed, targets_lstar, step));
            let each: Vec<(f64, Chosen)> = each.collect::<Option<_>>()?;
            let cost = each.iter().map(|z| z.0).fold(0.0, f64::max);
            let chosen: Vec<Chosen> = each.into_iter().map(|z| z.1).collect();
            Some((cost, chosen, ends))
        };
        let best_around = |(dark, light): (f64, f64), count: i32, apart: f64| {
            let end = move |at: f64, k: i32| at + f64::from(k) * apart * step;
            let ends: Vec<(f64, f64)> = (-count..=count)
                .flat_map(|d| (-count..=count).map(move |l| (end(dark, d), end(light, l))))
                .collect();
            let ladders: Vec<_> = ends.par_iter().map(ladder).collect();
            // The first of equals, on any number of threads.
            let found = ladders.into_iter().flatten();
            found.reduce(|a, b| if b.0 < a.0 { b } else { a })
        };
        let (_, _, near) = best_around((0.0, 0.0), ENDS, ENDS_APART_STEPS)?;
        let (cost, chosen, _) = best_around(near, 1, 0.5 * ENDS_APART_STEPS)?;
        Some((cost, chosen))
    }
}

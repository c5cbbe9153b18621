//! A finished set corrected from what the panel showed of it.

use super::samples::{Verification, frame_of, samples};
use super::smooth::{Character, Sample, smooth, smooth_with};
use crate::design::choice::step_of;
use crate::design::climate::BandClimate;
use crate::design::correction::Correction;
use crate::design::even::{mixed_content, uneven_lstar};
use crate::design::middle::Middle;
use crate::design::proof::Finished;
use crate::design::{Design, Request, Standing, redesign};
use crate::drive::RowTicks;
use crate::error::Result;
use crate::project::{Panel, Project};
use crate::response::fit::{Fit, Residual, fit, refit};
use crate::response::propagation::COVERAGE_FACTOR;
use crate::response::{Source, pages_lstar};
use crate::waveforms::{Band, Waveforms};
use rayon::prelude::*;
use serde::Serialize;

/// A gain below this share of one reading's noise takes more than sixteen readings of every level to see at all.
const WORTH_SHARE: f64 = 0.25;

/// What became of one level.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct LevelChange {
    pub level: usize,
    pub target_before_lstar: f64,
    pub target_lstar: f64,
    /// Of the middle row, where rows have their ticks by zones.
    pub ticks_before: Vec<u32>,
    pub ticks: Vec<u32>,
    /// In an ordinary picture (mixed content, middle row, design temperature), as the readings say.
    pub shown_before_lstar: f64,
    pub shown_lstar: f64,
    /// Standard uncertainty of what is shown now.
    pub standard_u_lstar: f64,
}

/// One band, before and after.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct BandTrim {
    /// Patches whose readings were used.
    pub patches: usize,
    /// Root mean square of reading less prediction, before and after the smooth difference is added.
    pub rms_before_lstar: f64,
    pub rms_after_lstar: f64,
    /// Length over which the difference forgets, and what readings scatter beyond their own uncertainty.
    pub length_lstar: f64,
    pub rough_lstar: f64,
    /// Largest distance of a level from the even ladder between the outer two, in steps, in an ordinary picture.
    pub uneven_before_steps: f64,
    pub uneven_steps: f64,
    pub levels: Vec<LevelChange>,
    pub another: Another,
}

/// What a further round of as many readings is expected to gain.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Another {
    /// Expanded uncertainty, k = 2, of the worst known level, now and after it.
    pub expanded_u_lstar: f64,
    pub expanded_u_after_lstar: f64,
    /// By how much the worst level is expected to come nearer to its place.
    pub gain_lstar: f64,
    pub pays: bool,
}

/// The corrected set, and how it came about.
#[derive(Debug, Clone)]
pub struct Trimmed {
    /// The project with the readings of the levels behind its own.
    pub joined: Project,
    pub fit: Fit,
    pub design: Design,
    /// In the order of the set's bands.
    pub bands: Vec<BandTrim>,
    /// Readings of the verification chart, by index, that were left out as strays.
    pub strays: Vec<usize>,
    /// Levels that no reading speaks of.
    pub unread_levels: Vec<usize>,
}

/// Corrects `set` from readings of its levels: the response is fitted to them as well, a smooth difference takes what it
/// misses, and ladder and ticks are chosen and proved anew for the schemes as they stand; `laxer` as in [`redesign`].
pub fn trim(
    project: &Project,
    set: &Waveforms,
    verification: &Verification,
    request: &Request,
    laxer: bool,
    progress: &dyn Fn(&str),
) -> Result<Trimmed> {
    verification.check(set)?;
    let first = fit(project, progress)?;
    progress("fitting the readings of the levels as well");
    let joined = joined(project, verification);
    let fit = refit(&joined, &first)?;
    let strays = strays(&fit, project);
    progress("what the response misses");
    let panel = &project.panel;
    let predicted = pages_lstar(&fit.response, &verification.measured.chart.pages, panel);
    let frames: Vec<_> = set.bands.iter().map(|b| frame_of(b, panel)).collect();
    let each: Vec<Vec<Sample>> = set
        .bands
        .iter()
        .zip(&frames)
        .map(|band| samples(verification, &predicted, &strays, band, set, panel))
        .collect();
    let smoothed: Vec<Option<(Correction, Character)>> = each
        .par_iter()
        .zip(&frames)
        .map(|(samples, frame)| smooth(frame.clone(), samples))
        .collect();
    let standing: Vec<Standing> = set
        .bands
        .iter()
        .zip(&smoothed)
        .map(|(band, found)| Standing {
            band,
            correction: found.as_ref().map(|(c, _)| c.clone()),
        })
        .collect();
    let design = redesign(panel, &fit, request, &standing, laxer, progress)?;
    let counts = verification.readings_by_level(set);
    let report = |i: usize| {
        let look = Look {
            panel,
            fit: &fit,
            standing: &standing[i],
        };
        let targets = (
            set.bands[i].targets(set),
            design.set.bands[i].targets(&design.set),
        );
        look.report(
            &design.set.bands[i],
            targets,
            &each[i],
            smoothed[i].as_ref(),
        )
    };
    let bands = (0..set.bands.len()).map(report).collect();
    Ok(Trimmed {
        bands,
        strays,
        unread_levels: (0..set.levels).filter(|&l| counts[l] == 0).collect(),
        joined,
        fit,
        design,
    })
}

/// The project with the pages and readings of the verification behind its own.
fn joined(project: &Project, verification: &Verification) -> Project {
    let mut joined = project.clone();
    let pages = joined.measured.chart.pages.len();
    let more = verification.measured.clone();
    joined.measured.chart.pages.extend(more.chart.pages);
    let moved = more.readings.into_iter().map(|mut r| {
        r.page += pages;
        r
    });
    joined.measured.readings.extend(moved);
    joined
}

/// Strays among the readings of the verification, by their index there.
fn strays(fit: &Fit, project: &Project) -> Vec<usize> {
    let own = project.measured.readings.len();
    let stray = |r: &Residual| match r.source {
        Source::Patch { reading, .. } if r.stray => reading.checked_sub(own),
        _ => None,
    };
    fit.residuals.iter().filter_map(stray).collect()
}

/// A band as the readings show it.
struct Look<'a> {
    panel: &'a Panel,
    fit: &'a Fit,
    standing: &'a Standing<'a>,
}

impl Look<'_> {
    fn report(
        &self,
        after: &Band,
        (targets_before, targets): (&[f64], &[f64]),
        samples: &[Sample],
        found: Option<&(Correction, Character)>,
    ) -> BandTrim {
        let before = self.standing.band;
        let middle = self.panel.rows / 2;
        let [ticks_before, ticks] = [before, after].map(|b| b.row_ticks().in_row(middle));
        let shown_before = self.ordinary_lstar(before.row_ticks());
        let shown = self.ordinary_lstar(after.row_ticks());
        let step = step_of(targets);
        let u = |repeats: f64| self.standard_u(samples, found, ticks, &shown, repeats);
        let (now, then) = (u(1.0), u(2.0));
        let levels = (0..targets.len()).map(|level| LevelChange {
            level,
            target_before_lstar: targets_before[level],
            target_lstar: targets[level],
            ticks_before: ticks_before[level].clone(),
            ticks: ticks[level].clone(),
            shown_before_lstar: shown_before[level],
            shown_lstar: shown[level],
            standard_u_lstar: now[level],
        });
        let uneven_after_lstar = uneven_lstar(&shown);
        let noise = self.panel.instrument.repeatability_lstar;
        BandTrim {
            patches: samples.len(),
            rms_before_lstar: rms(samples.iter().map(|s| s.difference_lstar)),
            rms_after_lstar: rms(samples.iter().map(|s| {
                let added = found.map_or(0.0, |(c, _)| c.added_lstar(s.predicted_lstar, &s.terms));
                s.difference_lstar - added
            })),
            length_lstar: found.map_or(0.0, |(_, c)| c.length_lstar),
            rough_lstar: found.map_or(0.0, |(_, c)| c.rough_lstar),
            uneven_before_steps: uneven_lstar(&shown_before) / step,
            uneven_steps: uneven_after_lstar / step,
            another: Another::of(uneven_after_lstar, &now, &then, noise),
            levels: levels.collect(),
        }
    }

    /// Lightness of some choices of ticks in an ordinary picture of the levels that stood.
    fn ordinary_lstar(&self, ticks: RowTicks) -> Vec<f64> {
        let scheme = self.standing.scheme();
        let climate = BandClimate::of(self.standing.band, &self.panel.drivers);
        let finished = Finished {
            response: &self.fit.response,
            scheme: &scheme,
            rows: self.panel.rows,
            settle_ms: self.panel.drivers.field_settle_ms,
            ticks,
            correction: self.standing.correction.as_ref(),
        };
        let content = mixed_content(self.panel.rows, ticks);
        let row = self.panel.rows / 2;
        let middle = Middle::new(&finished, climate.design(), &content, row);
        ticks.in_row(row).iter().map(|t| middle.lstar(t)).collect()
    }

    /// Standard uncertainty of each level in an ordinary picture, had every patch been read `repeats` times as often.
    fn standard_u(
        &self,
        samples: &[Sample],
        found: Option<&(Correction, Character)>,
        ticks: &[Vec<u32>],
        shown: &[f64],
        repeats: f64,
    ) -> Vec<f64> {
        let Some((correction, character)) = found else {
            return vec![f64::INFINITY; ticks.len()];
        };
        let oftener = |s: &Sample| Sample {
            u_lstar: s.u_lstar / repeats.sqrt(),
            ..s.clone()
        };
        let samples: Vec<Sample> = samples.iter().map(oftener).collect();
        let again = smooth_with(correction.frame.clone(), &samples, character);
        let again = again.as_ref().unwrap_or(correction);
        let (row, design_c) = (
            0.5 * self.panel.rows as f64,
            self.standing.band.temperature_c.design,
        );
        let u = |(ticks, &lstar): (&Vec<u32>, &f64)| {
            let terms = correction.frame.terms(row, 0.0, design_c, ticks);
            again.standard_u_lstar(lstar, &terms)
        };
        ticks.iter().zip(shown).map(u).collect()
    }
}

impl Another {
    fn of(uneven_lstar: f64, now: &[f64], then: &[f64], noise_lstar: f64) -> Self {
        let worst = |u: &[f64]| COVERAGE_FACTOR * u.iter().copied().fold(0.0, f64::max);
        let (expanded_u_lstar, expanded_u_after_lstar) = (worst(now), worst(then));
        let gain_lstar =
            uneven_lstar.hypot(expanded_u_lstar) - uneven_lstar.hypot(expanded_u_after_lstar);
        Another {
            expanded_u_lstar,
            expanded_u_after_lstar,
            gain_lstar,
            pays: gain_lstar > WORTH_SHARE * noise_lstar,
        }
    }
}

/// Root mean square; 0 of nothing.
fn rms(values: impl Iterator<Item = f64>) -> f64 {
    let (mut sum, mut count) = (0.0, 0);
    for value in values {
        sum += value * value;
        count += 1;
    }
    (sum / f64::from(count.max(1))).sqrt()
}

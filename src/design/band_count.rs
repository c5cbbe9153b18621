//! How many temperature bands: as many as widen the coldest one's ladder.

use super::climate::BandClimate;
use super::outcome::{BandTrial, TrialOutcome};
use super::plan::{Effort, Planner};
use super::pool::{Pool, Shortfall};
use super::reach::{Climate, lstars_of};
use crate::drive::Field;

/// Numbers of bands that are tried, and the gain in span that pays for more of them, L*.
pub(super) const BAND_COUNTS: [usize; 8] = [1, 2, 3, 4, 6, 8, 12, 20];
pub const BAND_GAIN_LSTAR: f64 = 0.75;
/// Share of the tolerance that temperature alone may take before a number of bands is searched at all.
pub const TEMPERATURE_SHARE: f64 = 0.55;

impl Planner<'_> {
    /// As many bands as widen the coldest band's ladder, `least` or more; `trials` takes up what was considered.
    pub(super) fn band_count(
        &self,
        least: usize,
        trials: &mut Vec<BandTrial>,
    ) -> std::result::Result<(Vec<BandClimate>, Pool), Shortfall> {
        let (min_c, max_c) = self.range_c;
        (self.progress)(&format!("schemes at {min_c} °C"));
        let law = self.response.kinetics.temperature;
        let mut tried = vec![self.widest_pool(BandClimate::point(min_c), &[], self.starts())];
        let mut best: Option<(Vec<BandClimate>, Pool)> = None;
        let last = BAND_COUNTS[BAND_COUNTS.len() - 1];
        for count in BAND_COUNTS.into_iter().filter(|&c| c >= least) {
            let bands = BandClimate::split(min_c, max_c, count, law, &self.panel.drivers);
            let Some(&coldest) = bands.first() else {
                continue;
            };
            let blur = self.temperature_blur_steps(&coldest, &tried[0]);
            trials.retain(|t| t.bands != count);
            trials.push(BandTrial {
                bands: count,
                temperature_steps: blur,
                span_lstar: None,
                outcome: TrialOutcome::TooWide,
            });
            if blur > TEMPERATURE_SHARE * self.request.tolerance_steps && count != last {
                continue;
            }
            let (low_c, high_c) = (coldest.low_c, coldest.high_c);
            (self.progress)(&format!("coldest of {count} bands, {low_c} to {high_c} °C"));
            let seeds = match self.effort {
                Effort::Brief => 0,
                _ if tried.len() == 1 => self.starts(),
                _ => self.starts() / 2,
            };
            let pool = self.widest_pool(coldest, &tried, seeds);
            let before = best.as_ref().and_then(|(_, p)| p.span_lstar());
            let gained = pool
                .span_lstar()
                .is_some_and(|s| before.is_none_or(|b| s >= b + BAND_GAIN_LSTAR));
            if let Some(trial) = trials.last_mut() {
                trial.span_lstar = pool.span_lstar();
                trial.outcome = TrialOutcome::Searched;
            }
            tried.push(pool.clone());
            if gained {
                best = Some((bands, pool));
            }
            if before.is_some() && !gained || gained && self.effort != Effort::Full {
                break;
            }
        }
        best.ok_or(Shortfall {
            pools: tried,
            assured: None,
        })
    }

    /// Half of what the band's ends alone make of a grey of the pool's best scheme, the worst of a few, in steps.
    pub(super) fn temperature_blur_steps(&self, band: &BandClimate, pool: &Pool) -> f64 {
        let Some(best) = pool.schemes.first() else {
            return 0.0;
        };
        let (rows, drivers) = (self.panel.rows, &self.panel.drivers);
        let climates = band.corners(&band.fitted(self.response, &best.scheme, rows, drivers));
        let blur = |part: u32| {
            let ticks = |f: &Field| f.slot_ticks * part / GREYS;
            let settle_ms = drivers.field_settle_ms;
            let grey =
                |c: &Climate| lstars_of(self.response, &best.scheme, rows, settle_ms, *c, ticks);
            let greys: Vec<[f64; 2]> = climates.iter().map(grey).collect();
            let half = |on: usize| {
                let of = |pick: fn(f64, f64) -> f64| greys.iter().map(|g| g[on]).reduce(pick);
                of(f64::max)
                    .zip(of(f64::min))
                    .map_or(0.0, |(high, low)| 0.5 * (high - low))
            };
            half(0).max(half(1))
        };
        const GREYS: u32 = 8;
        let greys = 0..=GREYS;
        let step = best.score.value.max(1.0) / (self.request.levels - 1) as f64;
        greys.map(blur).fold(0.0, f64::max) / step
    }
}

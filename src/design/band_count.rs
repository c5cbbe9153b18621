//! How many temperature bands, and how long their ticks are played: as many as widen the coldest one's ladder.

use super::climate::BandClimate;
use super::outcome::{BandTrial, TrialOutcome};
use super::plan::{Effort, Planner};
use super::pool::{Pool, Shortfall};
use super::reach::{Climate, lstars_of};
use crate::drive::Field;

/// Numbers of bands that are tried, and the gain in span that pays for more of them, L*.
const BAND_COUNTS: [usize; 8] = [1, 2, 3, 4, 6, 8, 12, 20];
pub const BAND_GAIN_LSTAR: f64 = 0.75;
/// Share of the tolerance that temperature alone may take before a number of bands is searched at all.
pub const TEMPERATURE_SHARE: f64 = 0.55;

impl BandTrial {
    /// Whether it is that of some bands.
    pub(super) fn is_of(&self, bands: &[BandClimate]) -> bool {
        self.bands == bands.len() && bands.first().is_some_and(|b| b.factor == self.factor)
    }
}

impl Planner<'_> {
    /// The ways to split the range into bands, in the order in which they are tried: few to many with durations as they stand at
    /// the design temperature; then, where the clock has room, with durations played longer.
    pub(super) fn splits(&self) -> Vec<Vec<BandClimate>> {
        let (min_c, max_c) = self.range_c;
        let (law, drivers) = (self.response.kinetics.temperature, &self.panel.drivers);
        let counts = BAND_COUNTS.iter();
        let mut splits: Vec<Vec<BandClimate>> = counts
            .map(|&count| BandClimate::split(min_c, max_c, count, law, drivers))
            .collect();
        splits.dedup();
        let slowed = |bands: &Vec<BandClimate>| -> Option<Vec<BandClimate>> {
            bands.iter().map(|b| b.slowed(law, drivers)).collect()
        };
        let slow: Vec<_> = splits.iter().filter_map(slowed).collect();
        splits.extend(slow);
        splits
    }

    /// Whether temperature leaves enough of the tolerance in a split of which the coldest band has such a blur; always so of the last
    /// of its clock.
    pub(super) fn narrow_enough(
        &self,
        splits: &[Vec<BandClimate>],
        split: usize,
        blur_steps: f64,
    ) -> bool {
        let bands = &splits[split];
        let more = splits.get(split + 1);
        let last = more.is_none_or(|m| m.len() <= bands.len());
        let most = TEMPERATURE_SHARE * self.request.tolerance_steps;
        last || blur_steps <= most
    }

    /// Which of some splits, `first` or later, widens the coldest band's ladder, with that band's schemes; `trials` takes up what
    /// was considered.
    pub(super) fn band_count(
        &self,
        splits: &[Vec<BandClimate>],
        first: usize,
        trials: &mut Vec<BandTrial>,
    ) -> std::result::Result<(usize, Pool), Shortfall> {
        let (min_c, _) = self.range_c;
        (self.progress)(&format!("schemes at {min_c} °C"));
        let mut tried = vec![self.widest_pool(BandClimate::point(min_c), &[], self.starts())];
        let mut best: Option<(usize, Pool)> = None;
        let (plain, slow): (Vec<usize>, Vec<usize>) =
            (first..splits.len()).partition(|&i| !splits[i][0].is_slowed());
        for mut group in [plain, slow] {
            if let Some((found, _)) = &best {
                if self.effort != Effort::Full {
                    break;
                }
                // As many bands with durations played longer may do better.
                group.retain(|&i| splits[i].len() == splits[*found].len());
            }
            for split in group {
                let bands = &splits[split];
                let blur_steps = self.temperature_blur_steps(&bands[0], &tried[0]);
                let narrow = self.narrow_enough(splits, split, blur_steps);
                let pool = narrow.then(|| self.coldest_pool(bands, &tried));
                let span_lstar = pool.as_ref().and_then(Pool::span_lstar);
                trials.retain(|t| !t.is_of(bands));
                trials.push(BandTrial {
                    bands: bands.len(),
                    factor: bands[0].factor,
                    temperature_steps: blur_steps,
                    span_lstar,
                    outcome: match narrow {
                        true => TrialOutcome::Searched,
                        false => TrialOutcome::TooWide,
                    },
                });
                let Some(pool) = pool else { continue };
                let before = best.as_ref().and_then(|(_, p)| p.span_lstar());
                let gained =
                    span_lstar.is_some_and(|s| before.is_none_or(|b| s >= b + BAND_GAIN_LSTAR));
                tried.push(pool.clone());
                if gained {
                    best = Some((split, pool));
                }
                if before.is_some() && !gained || gained && self.effort != Effort::Full {
                    break;
                }
            }
        }
        best.ok_or(Shortfall {
            pools: tried,
            assured: None,
        })
    }

    /// Schemes for the coldest of some bands, also from what was tried before.
    fn coldest_pool(&self, bands: &[BandClimate], tried: &[Pool]) -> Pool {
        let (coldest, count) = (bands[0], bands.len());
        let played = match coldest.is_slowed() {
            true => format!(", durations played {:.2} times as long", coldest.factor),
            false => String::new(),
        };
        let (low_c, high_c) = (coldest.low_c, coldest.high_c);
        (self.progress)(&format!(
            "coldest of {count} bands, {low_c} to {high_c} °C{played}"
        ));
        let seeds = match self.effort {
            Effort::Brief => 0,
            _ if tried.len() == 1 => self.starts(),
            _ => self.starts() / 2,
        };
        self.widest_pool(coldest, tried, seeds)
    }

    /// Half of what the band's ends alone make of a grey of the pool's best scheme, the worst of a few, in steps.
    pub(super) fn temperature_blur_steps(&self, band: &BandClimate, pool: &Pool) -> f64 {
        let Some(best) = pool.schemes.first() else {
            return 0.0;
        };
        let (rows, drivers) = (self.panel.rows, &self.panel.drivers);
        // The scheme's durations stand as they are; where they are played longer, the clock is that much finer.
        let band = BandClimate {
            factor: 1.0,
            rounding: band.rounding / band.factor,
            ..*band
        };
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

//! Whether a panel's refreshes flash more often than is safe to look at.
//!
//! A general flash is "a pair of opposing changes in relative luminance of 10% or more of the maximum relative luminance
//! (1.0) where the relative luminance of the darker image is below 0.80", an increase followed by a decrease or the
//! reverse, and nothing may flash "more than three times in any one second period". Source: W3C Recommendation WCAG
//! 2.2, glossary "general flash and red flash thresholds" and Success Criterion 2.3.1 (wording from memory).
//!
//! How it is read here, wherever a reading is needed the stricter one:
//! - A change goes from one extreme to the next. Reversals of less than 10 % are no extremes, so many small steps
//!   one way are one change.
//! - The pair around an extreme takes from the last moment before it at which the luminance was 10 % away to the
//!   first such moment after it. That time must lie within the second, both ends included.
//! - No change belongs to two flashes. The darker image of a pair is the darkest of its three extremes.
//!
//! The exemption for small areas (a quarter of any 10° of the visual field) and the red flash are left out: the panel
//! counts as seen from near, and as grey. A series within the limit is no proof of safety: local codes
//! for public displays and flashing light, and licensed practice, decide.

use super::flash_pairs::{Pair, pairs_of};

/// The mean luminance of a panel at one moment.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Luminance {
    pub t_s: f64,
    /// Relative to the largest that the panel shows, 0…1.
    pub relative: f64,
}

/// How a series flashes.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Flashes {
    /// The most general flashes in any one second.
    pub most_in_a_second: usize,
    /// Where the first such second begins, s; the series' start where there is no flash.
    pub from_s: f64,
    /// The largest change from one extreme to the next, or, where no change is 10 %, between any two moments.
    pub largest_swing: f64,
}

/// A series of luminances that can't be judged.
#[derive(Debug, Clone, Copy, PartialEq, thiserror::Error)]
pub enum FlashError {
    #[error("no luminance in the series: expected at least one")]
    Empty,
    #[error(
        "luminance {index} is {relative} at {t_s} s: expected 0 to 1, at a moment not before the last one's"
    )]
    Sample {
        /// Place in the series, from 0.
        index: usize,
        t_s: f64,
        relative: f64,
    },
    #[error("refreshes begin every {interval_s} s: expected {least_s} s or more")]
    Interval { interval_s: f64, least_s: f64 },
}

/// The least change that counts, as a share of the largest luminance.
pub const FLASH_CHANGE: f64 = 0.10;
/// A flash whose darker image is no darker than this share of the largest luminance doesn't count.
pub const FLASH_DARKER: f64 = 0.80;
/// General flashes that one second may hold.
pub const FLASHES_A_SECOND: usize = 3;

/// Refreshes in a row are looked at no closer than this, s.
const LEAST_INTERVAL_S: f64 = 0.01;
/// Two moments this near are one, s.
const ROUNDING_S: f64 = 1e-9;

impl Flashes {
    /// Whether no second holds more than three general flashes.
    pub fn within_limit(&self) -> bool {
        self.most_in_a_second <= FLASHES_A_SECOND
    }
}

/// How `series`, straight between its moments, flashes. Two luminances at one moment make a step.
pub fn general_flashes(series: &[Luminance]) -> Result<Flashes, FlashError> {
    check(series)?;
    let pairs = pairs_of(series);
    let starts = 0..pairs.len();
    let counts = starts.map(|first| (in_a_second(&pairs[first..]), pairs[first].from_s));
    let none = (0, series[0].t_s);
    let (most_in_a_second, from_s) =
        counts.fold(none, |best, this| if this.0 > best.0 { this } else { best });
    Ok(Flashes {
        most_in_a_second,
        from_s,
        largest_swing: largest_swing(series, &pairs),
    })
}

/// How refreshes flash that each go like `refresh` and begin every `interval_s`, no less than a refresh takes.
///
/// Between two of them the luminance stays where the first left it.
pub fn repeated_flashes(refresh: &[Luminance], interval_s: f64) -> Result<Flashes, FlashError> {
    check(refresh)?;
    let least_s = duration_s(refresh).max(LEAST_INTERVAL_S);
    if !(interval_s.is_finite() && interval_s >= least_s) {
        return Err(FlashError::Interval {
            interval_s,
            least_s,
        });
    }
    // One second, and one refresh more at either end of it.
    let times = (1.0 / interval_s).ceil() as usize + 2;
    general_flashes(&repeated(refresh, interval_s, times))
}

/// The shortest time from the start of one refresh to the start of the next that keeps the limit however many
/// follow each other, s; `None` where one refresh alone is beyond it. Never below 0.01 s.
///
/// A longer interval only moves flashes apart, so bisection finds it, and from one second after the end of a refresh
/// no flash has to do with the next.
pub fn shortest_refresh_interval_s(refresh: &[Luminance]) -> Result<Option<f64>, FlashError> {
    let keeps = |interval_s| Ok(repeated_flashes(refresh, interval_s)?.within_limit());
    if !general_flashes(refresh)?.within_limit() {
        return Ok(None);
    }
    let mut low = duration_s(refresh).max(LEAST_INTERVAL_S);
    if keeps(low)? {
        return Ok(Some(low));
    }
    let mut high = duration_s(refresh) + 1.0 + 2.0 * ROUNDING_S;
    while high - low > ROUNDING_S {
        let middle = 0.5 * (low + high);
        if middle <= low || middle >= high {
            break;
        }
        if keeps(middle)? {
            high = middle;
        } else {
            low = middle;
        }
    }
    Ok(Some(high))
}

fn check(series: &[Luminance]) -> Result<(), FlashError> {
    let before = |i: usize| {
        if i == 0 {
            f64::NEG_INFINITY
        } else {
            series[i - 1].t_s
        }
    };
    let wrong = series.iter().enumerate().find(|(i, l)| {
        !(l.t_s.is_finite() && l.t_s >= before(*i) && (0.0..=1.0).contains(&l.relative))
    });
    match wrong {
        Some((index, l)) => Err(FlashError::Sample {
            index,
            t_s: l.t_s,
            relative: l.relative,
        }),
        None if series.is_empty() => Err(FlashError::Empty),
        None => Ok(()),
    }
}

fn duration_s(series: &[Luminance]) -> f64 {
    let ends = series.first().zip(series.last());
    ends.map_or(0.0, |(first, last)| last.t_s - first.t_s)
}

/// `refresh` over and over; what it ends with stays until the next begins.
fn repeated(refresh: &[Luminance], interval_s: f64, times: usize) -> Vec<Luminance> {
    let mut series: Vec<Luminance> = Vec::with_capacity(times * (refresh.len() + 1));
    for start_s in (0..times).map(|n| n as f64 * interval_s) {
        let end = series.last().copied();
        // Rounding must not put a moment before the last one.
        let at = |t_s: f64| (t_s + start_s).max(end.map_or(f64::NEG_INFINITY, |l| l.t_s));
        series.extend(end.map(|l| Luminance {
            t_s: at(refresh[0].t_s),
            ..l
        }));
        series.extend(refresh.iter().map(|l| Luminance {
            t_s: at(l.t_s),
            ..*l
        }));
    }
    series
}

/// The flashes, no change in two of them, from the first pair's on that end within a second.
fn in_a_second(pairs: &[Pair]) -> usize {
    let end_s = pairs[0].from_s + 1.0 + ROUNDING_S;
    let mut flashes = 0;
    let mut free = 0;
    for (i, pair) in pairs.iter().enumerate() {
        if pair.from_s > end_s {
            break;
        }
        if i >= free && pair.to_s <= end_s && pair.darkest < FLASH_DARKER {
            flashes += 1;
            free = i + 2;
        }
    }
    flashes
}

fn largest_swing(series: &[Luminance], pairs: &[Pair]) -> f64 {
    if let Some(largest) = pairs.iter().map(|p| p.largest_change).reduce(f64::max) {
        return largest;
    }
    let all = || series.iter().map(|l| l.relative);
    all().fold(0.0, f64::max) - all().fold(1.0, f64::min)
}

//! A band of temperatures and the stretch of time that keeps its greys.

use super::correction::Correction;
use super::reach::{Climate, Scheme, lstars_of};
use crate::drive::Field;
use crate::pigment::TemperatureLaw;
use crate::project::{Drivers, StretchRange};
use crate::response::Response;
use crate::waveforms::Band;
use argmin::core::{CostFunction, Executor};
use argmin::solver::brent::BrentRoot;

/// A band: its ends, and the temperature that its durations are chosen for.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct BandClimate {
    pub low_c: f64,
    pub design_c: f64,
    pub high_c: f64,
    /// On every duration at the design temperature; 1: durations stand as they are there.
    pub factor: f64,
    /// Half of the clock's stretch step: how far a factor may be off; 0 without stretching.
    pub rounding: f64,
}

impl BandClimate {
    /// One temperature alone.
    pub fn point(temperature_c: f64) -> Self {
        BandClimate {
            low_c: temperature_c,
            design_c: temperature_c,
            high_c: temperature_c,
            factor: 1.0,
            rounding: 0.0,
        }
    }

    /// The climate of a band as its file has it.
    pub fn of(band: &Band, drivers: &Drivers) -> Self {
        let limits = band.temperature_c;
        let wide = limits.low < limits.high;
        BandClimate {
            low_c: limits.low,
            design_c: limits.design,
            high_c: limits.high,
            factor: band.stretch_factor(limits.design),
            rounding: if wide { rounding(drivers) } else { 0.0 },
        }
    }

    /// `count` bands from `min_c` to `max_c` over which the liquid's speed changes by equal factors.
    pub fn split(
        min_c: f64,
        max_c: f64,
        count: usize,
        law: TemperatureLaw,
        drivers: &Drivers,
    ) -> Vec<Self> {
        if min_c >= max_c {
            return vec![BandClimate::point(min_c)];
        }
        let at = |k: f64| temperature_at_share(law, min_c, max_c, k / count as f64);
        let rounding = rounding(drivers);
        (0..count)
            .map(|k| BandClimate {
                low_c: if k == 0 { min_c } else { at(k as f64) },
                design_c: at(k as f64 + 0.5),
                high_c: if k + 1 == count {
                    max_c
                } else {
                    at(k as f64 + 1.0)
                },
                factor: 1.0,
                rounding,
            })
            .collect()
    }

    /// The same band with shorter durations, played as much longer: a step of the clock is then a smaller part of them. None
    /// where the clock's range leaves no room beside what the cold end needs.
    pub fn slowed(self, law: TemperatureLaw, drivers: &Drivers) -> Option<Self> {
        let range = drivers.stretch.filter(|_| !self.is_point())?;
        let cold = law.speed(self.design_c) / law.speed(self.low_c);
        let most = (range.max / (COLD_MARGIN * cold)).min(SLOWEST);
        let steps = ((most - 1.0) / range.step + 1e-9).floor();
        let factor = 1.0 + steps * range.step;
        (factor >= LEAST_SLOWED).then_some(BandClimate { factor, ..self })
    }

    /// Whether durations are played longer than they stand.
    pub(super) fn is_slowed(&self) -> bool {
        self.factor != 1.0
    }

    fn is_point(&self) -> bool {
        self.low_c == self.high_c
    }

    /// The design climate.
    pub fn design(&self) -> Climate {
        Climate {
            temperature_c: self.design_c,
            stretch: self.factor,
        }
    }

    /// The stretch at the band's ends and middle that keeps the middle greys of `scheme` where they are at the design
    /// temperature.
    pub fn fitted(
        &self,
        response: &Response,
        scheme: &Scheme,
        rows: usize,
        drivers: &Drivers,
    ) -> Vec<Climate> {
        self.fitted_to(response, None, scheme, rows, drivers)
    }

    /// The same with what readings add to the response.
    pub fn fitted_to(
        &self,
        response: &Response,
        correction: Option<&Correction>,
        scheme: &Scheme,
        rows: usize,
        drivers: &Drivers,
    ) -> Vec<Climate> {
        if self.is_point() {
            return vec![self.design()];
        }
        [self.low_c, self.design_c, self.high_c]
            .map(|t| self.suited(response, correction, scheme, rows, drivers, t))
            .to_vec()
    }

    /// The climate at a temperature of the band with the stretch that keeps the middle greys.
    pub fn suited(
        &self,
        response: &Response,
        correction: Option<&Correction>,
        scheme: &Scheme,
        rows: usize,
        drivers: &Drivers,
        temperature_c: f64,
    ) -> Climate {
        let stretch = match drivers.stretch {
            Some(range) if temperature_c != self.design_c => {
                let suited = Suited {
                    response,
                    correction,
                    scheme,
                    rows,
                    settle_ms: drivers.field_settle_ms,
                    temperature_c,
                    target_lstar: 0.0,
                };
                suited.stretch(self.design(), range)
            }
            _ => self.factor,
        };
        Climate {
            temperature_c,
            stretch,
        }
    }

    /// The stretch that the liquid's speed alone asks for.
    pub fn by_speed(&self, response: &Response, drivers: &Drivers) -> Vec<Climate> {
        let speed = |t: f64| response.kinetics.temperature.speed(t);
        let factor = |t: f64| {
            drivers
                .stretch
                .map_or(1.0, |_| self.factor * speed(self.design_c) / speed(t))
        };
        [self.low_c, self.high_c]
            .map(|t| Climate {
                temperature_c: t,
                stretch: factor(t),
            })
            .to_vec()
    }

    /// The climates among which the worst is taken for granted while schemes are compared: the ends, the factor
    /// rounded either way.
    pub fn corners(&self, stretch: &[Climate]) -> Vec<Climate> {
        if self.is_point() {
            return vec![self.design()];
        }
        let ends = [stretch.first(), stretch.last()];
        ends.into_iter()
            .flatten()
            .flat_map(|c| self.rounded_either_way(*c))
            .collect()
    }

    /// The climates that prove a finished band: `parts` + 1 temperatures, the factor rounded either way.
    pub fn proof(&self, stretch: &[Climate], parts: usize) -> Vec<Climate> {
        if self.is_point() {
            return vec![self.design()];
        }
        let at = |k: usize| self.low_c + (self.high_c - self.low_c) * k as f64 / parts as f64;
        (0..=parts)
            .flat_map(|k| self.rounded_either_way(interpolated(stretch, at(k))))
            .collect()
    }

    /// A climate with its factor as far off, up and down, as the clock's step may leave it.
    pub fn rounded_either_way(&self, c: Climate) -> Vec<Climate> {
        let turned = |by: f64| Climate {
            stretch: c.stretch + by,
            ..c
        };
        if self.rounding > 0.0 {
            vec![turned(-self.rounding), turned(self.rounding)]
        } else {
            vec![c]
        }
    }

    /// The longest stretch that the clock plays in the band: the largest entry, on the nearest of the clock's steps,
    /// which count from 1.
    pub fn longest(&self, stretch: &[Climate]) -> f64 {
        let factors = stretch.iter().map(|c| c.stretch);
        let largest = factors.fold(self.factor, f64::max);
        let step = 2.0 * self.rounding;
        if step > 0.0 {
            1.0 + ((largest - 1.0) / step).round() * step
        } else {
            largest
        }
    }
}

/// Half of the clock's stretch step: how far a factor may be off; 0 without stretching.
fn rounding(drivers: &Drivers) -> f64 {
    drivers.stretch.map_or(0.0, |s| 0.5 * s.step)
}

/// The factor at `temperature_c`, linear between the entries.
fn interpolated(stretch: &[Climate], temperature_c: f64) -> Climate {
    let within = stretch
        .windows(2)
        .find(|w| temperature_c <= w[1].temperature_c);
    let factor = match (within, stretch.last()) {
        (Some([a, b]), _) => {
            let share = (temperature_c - a.temperature_c) / (b.temperature_c - a.temperature_c);
            a.stretch + share.clamp(0.0, 1.0) * (b.stretch - a.stretch)
        }
        (_, last) => last.map_or(1.0, |c| c.stretch),
    };
    Climate {
        temperature_c,
        stretch: factor,
    }
}

/// Durations are played so many times as long at most: ticks get as much coarser.
const SLOWEST: f64 = 2.0;
/// Less than this is not worth it.
const LEAST_SLOWED: f64 = 1.2;
/// How much more stretch a cold end may need than the liquid's speed asks for: thresholds move too.
const COLD_MARGIN: f64 = 1.02;

/// A range wider than this has its band edges at tenths of a degree, which tables and people prefer.
const WIDE_C: f64 = 10.0;

/// Where ln speed has gone `share` of its way from `min_c` to `max_c`, by bisection.
fn temperature_at_share(law: TemperatureLaw, min_c: f64, max_c: f64, share: f64) -> f64 {
    let ln = |t: f64| law.speed(t).ln();
    let target = ln(min_c) + share * (ln(max_c) - ln(min_c));
    let (mut low, mut high) = (min_c, max_c);
    for _ in 0..60 {
        let middle = 0.5 * (low + high);
        if ln(middle) < target {
            low = middle
        } else {
            high = middle
        }
    }
    let found = 0.5 * (low + high);
    let tenth = (found * 10.0).round() / 10.0;
    if max_c - min_c > WIDE_C { tenth } else { found }
}

/// The middle grey of a scheme at one temperature, as a function of the stretch.
#[derive(Clone, Copy)]
struct Suited<'a> {
    response: &'a Response,
    correction: Option<&'a Correction>,
    scheme: &'a Scheme,
    rows: usize,
    settle_ms: f64,
    temperature_c: f64,
    target_lstar: f64,
}

/// Factors on the guess between which the stretch is sought, the narrow ones first.
const BRACKETS: [(f64, f64); 2] = [(0.95, 1.05), (0.7, 1.4)];

impl Suited<'_> {
    fn lstar(&self, climate: Climate) -> f64 {
        // Half of each slot on, neighbours dark and light in equal parts.
        let half = |f: &Field| f.slot_ticks.div_ceil(2);
        let (response, scheme) = (self.response, self.scheme);
        let [off, on] = lstars_of(response, scheme, self.rows, self.settle_ms, climate, half);
        let lstar = 0.5 * (off + on);
        let ticks: Vec<u32> = self.scheme.fields.iter().map(half).collect();
        self.correction.map_or(lstar, |c| {
            c.corrected(
                lstar,
                0.5 * self.rows as f64,
                0.0,
                climate.temperature_c,
                &ticks,
            )
        })
    }

    /// The factor, within the clock's range, that brings the middle grey to that at `design`.
    fn stretch(mut self, design: Climate, range: StretchRange) -> f64 {
        self.target_lstar = self.lstar(design);
        let law = self.response.kinetics.temperature;
        let faster = law.speed(design.temperature_c) / law.speed(self.temperature_c);
        let guess = design.stretch * faster;
        // Thresholds move little, so that the liquid's speed is nearly right.
        let found = BRACKETS.iter().find_map(|&(low, high)| {
            let solver = BrentRoot::new(guess * low, guess * high, 1e-5);
            let root = Executor::new(self, solver)
                .configure(|state| state.max_iters(30))
                .run();
            root.ok().and_then(|r| r.state.best_param)
        });
        let found = found.unwrap_or(guess);
        // Four digits are more than a clock of any step plays.
        ((found * 1e4).round() / 1e4).clamp(range.min, range.max)
    }
}

impl CostFunction for Suited<'_> {
    type Param = f64;
    type Output = f64;

    fn cost(&self, stretch: &f64) -> Result<f64, argmin::core::Error> {
        Ok(self.lstar(Climate {
            temperature_c: self.temperature_c,
            stretch: *stretch,
        }) - self.target_lstar)
    }
}

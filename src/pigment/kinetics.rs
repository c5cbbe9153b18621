//! Transition rates of a class as functions of pixel voltage and temperature.

use super::affine::{PACKED, SPREAD, State};
use super::chain::Rates;
use super::classes::{Class, Spread};
use super::temperature::TemperatureLaw;
use serde::{Deserialize, Serialize};

/// A transition with a soft threshold: rate = rate_per_vs · φ(v − threshold), φ(x) = s·ln(1 + e^(x/s)).
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Crossing {
    /// Rate per volt above threshold at the reference temperature, 1/(V·s).
    pub rate_per_vs: f64,
    pub threshold_v: f64,
    /// Width s of the bend at the threshold, V.
    pub softness_v: f64,
}

/// An exchange by drift and diffusion without threshold between two neighbouring places.
///
/// Forward k·B(−x), backward k·B(x), x = (v − offset)/scale, B(x) = x/(eˣ − 1): the exponentially
/// fitted flux between two cells (Scharfetter & Gummel, IEEE Trans. Electron Devices 16, 64, 1969).
/// Forward rises and backward falls with v everywhere.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Exchange {
    /// Rate of pure diffusion at the reference temperature, 1/s.
    pub rate_per_s: f64,
    /// Voltage at which drift takes over from diffusion, V.
    pub scale_v: f64,
    /// Pixel voltage at which both places are in balance, V.
    pub offset_v: f64,
}

/// How every class of a suspension moves; see the chain of [`super::Rates`].
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Kinetics {
    pub crossing: Crossing,
    /// Against −v: pigment comes back when −v passes this threshold.
    pub returning: Crossing,
    /// store ⇄ ready; absent: all pigment is ready.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub store: Option<Exchange>,
    /// crossed ⇄ spread; absent: crossed pigment stays at the edge of the window.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub window: Option<Exchange>,
    /// Change of both thresholds with temperature, V/K.
    pub threshold_slope_v_per_k: f64,
    pub temperature: TemperatureLaw,
    pub spread: Spread,
}

impl Crossing {
    /// 1/s at `drive_v` volts in the crossing's own direction with the threshold moved by `shift_v`.
    pub fn rate(&self, drive_v: f64, shift_v: f64) -> f64 {
        self.rate_per_vs * soft_plus(drive_v - self.threshold_v - shift_v, self.softness_v)
    }
}

impl Exchange {
    /// (forward, backward), 1/s.
    pub fn rates(&self, pixel_v: f64) -> (f64, f64) {
        let x = (pixel_v - self.offset_v) / self.scale_v;
        (
            self.rate_per_s * bernoulli(-x),
            self.rate_per_s * bernoulli(x),
        )
    }
}

impl Kinetics {
    /// Rates of `class` at a constant pixel voltage, V, and temperature, °C.
    pub fn rates(&self, class: &Class, pixel_v: f64, temperature_c: f64) -> Rates {
        let shift_v = self.shift_v(temperature_c);
        let crossed = (
            self.crossing
                .rate(pixel_v, class.threshold_shift_v + shift_v),
            self.returning.rate(-pixel_v, shift_v),
        );
        let speed = self.speed(class, temperature_c);
        Rates::of(speed, &self.exchanges(pixel_v), crossed)
    }

    /// Forward and backward rates of store ⇄ ready and of crossed ⇄ spread at the reference temperature, for every class.
    pub(super) fn exchanges(&self, pixel_v: f64) -> [(f64, f64); 2] {
        [self.store, self.window].map(|e| e.map_or((0.0, 0.0), |e| e.rates(pixel_v)))
    }

    /// Factor on all rates of a class at a temperature, °C.
    pub(super) fn speed(&self, class: &Class, temperature_c: f64) -> f64 {
        class.mobility * self.temperature.speed(temperature_c)
    }

    /// How far a temperature, °C, moves both thresholds, V.
    pub(super) fn shift_v(&self, temperature_c: f64) -> f64 {
        self.threshold_slope_v_per_k * self.temperature.above_reference_k(temperature_c)
    }

    /// The state below which no history can bring a class.
    pub fn lowest(&self) -> State {
        if self.store.is_some() {
            PACKED
        } else {
            [1.0, 0.0, 0.0]
        }
    }

    /// The state above which no history can bring a class: the fully dark panel.
    pub fn highest(&self) -> State {
        if self.window.is_some() {
            SPREAD
        } else {
            [1.0, 1.0, 0.0]
        }
    }

    /// The clear state at rest: nothing crossed, store and ready in balance at 0 V.
    pub fn clear(&self) -> State {
        let ready = self.store.map_or(1.0, |e| {
            let (up, down) = e.rates(0.0);
            up / (up + down)
        });
        [ready, 0.0, 0.0]
    }
}

/// s·ln(1 + e^(x/s)), ≥ 0, rising with x, for s > 0.
fn soft_plus(x: f64, s: f64) -> f64 {
    let z = x / s;
    if z > 0.0 {
        x + s * (-z).exp().ln_1p()
    } else {
        s * z.exp().ln_1p()
    }
}

/// x/(eˣ − 1), falling with x, 1 at 0.
pub(crate) fn bernoulli(x: f64) -> f64 {
    if x.abs() < 1e-5 {
        1.0 - 0.5 * x
    } else {
        x / x.exp_m1()
    }
}

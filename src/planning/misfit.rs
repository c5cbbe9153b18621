//! An allowance for what no model of the ladder has: a glass panel answers a little differently, smoothly, over all inputs.
//!
//! Without it a plan would trust readings far from the greys that will be used to tell of these through the model's form.
//! Two parts: the crossing rate is off by a smooth function of how a pixel is driven, and the lightness by one of itself.
//! Both are linear in further parameters of standard deviation 1 that readings teach and uses need.

use super::chance::Chance;
use super::model::Guess;
use crate::drive::Field;
use crate::project::{Page, Patch};
use std::f64::consts::{PI, TAU};

/// Waves of the smooth function of the drive (random Fourier features: Rahimi & Recht, NIPS 2007).
const WAVES: usize = 24;
/// Standard deviation of the rate's error, relative.
const RATE: f64 = 0.03;
/// Standard deviation of each wave of the lightness's error between clear and dark, L*.
const TONE_LSTAR: f64 = 0.25;
const TONES: usize = 3;
const SEED: u64 = 0x6d69_7366;

/// Parameters that the allowance adds.
pub const SIZE: usize = WAVES + TONES;

/// Inputs of the smooth function, and how far each must move for it to become another.
const INPUTS: usize = 8;
const REACH: [f64; INPUTS] = [
    0.35, // ln of the voltage while on
    0.5,  // ln of the data voltage
    0.8,  // ln of the slot
    0.35, // part of the slot on
    0.15, // part of the time with the select voltage that the other fields have
    15.0, // guard, ms
    25.0, // temperature, K
    0.8,  // part of the slots on outside the patch
];

/// The smooth function.
#[derive(Debug, Clone)]
pub struct Misfit {
    /// Frequency along each input, then phase.
    waves: Vec<([f64; INPUTS], f64)>,
}

impl Misfit {
    pub fn new() -> Self {
        let mut chance = Chance::new(SEED);
        let wave = |_| {
            let along = REACH.map(|reach| chance.normal() / reach);
            (along, TAU * chance.share())
        };
        Misfit {
            waves: (0..WAVES).map(wave).collect(),
        }
    }

    /// How the lightness of a patch, L*, moves with each parameter of the allowance; `rate_slope_lstar` is how it moves with the
    /// ln of the crossing rate.
    pub fn slopes<'a>(
        &'a self,
        page: &Page,
        patch: &Patch,
        lstar: f64,
        rate_slope_lstar: f64,
        guess: &Guess,
    ) -> impl Iterator<Item = f64> + 'a {
        let x = inputs(page, patch);
        let size = RATE * rate_slope_lstar * (2.0 / WAVES as f64).sqrt();
        let wave = move |(along, phase): &([f64; INPUTS], f64)| {
            let angle: f64 = along.iter().zip(&x).map(|(a, x)| a * x).sum();
            size * (angle + phase).cos()
        };
        let curve = &guess.response.curve;
        let (clear, dark) = (curve.lstar(0.0), curve.lstar(1.0));
        let share = (lstar - dark) / (clear - dark).max(1.0);
        let tone = move |k: usize| TONE_LSTAR * ((k + 1) as f64 * PI * share).sin();
        self.waves.iter().map(wave).chain((0..TONES).map(tone))
    }
}

fn inputs(page: &Page, patch: &Patch) -> [f64; INPUTS] {
    let slot_s = |f: &Field| f64::from(f.slot_ticks) * f.tick_s();
    let main = (0..page.fields.len()).max_by(|&a, &b| {
        let size = |i: usize| slot_s(&page.fields[i]);
        size(a).total_cmp(&size(b))
    });
    let Some(main) = main else {
        return [0.0; INPUTS];
    };
    let field = &page.fields[main];
    let part = |ticks: u32, f: &Field| f64::from(ticks) / f64::from(f.slot_ticks.max(1));
    let all_s: f64 = page.fields.iter().map(slot_s).sum();
    [
        field.own_on_v().abs().max(0.1).ln(),
        field.data_v.ln(),
        slot_s(field).ln(),
        part(patch.ticks[main], field),
        1.0 - slot_s(field) / all_s,
        1e3 * f64::from(field.guard_ticks) * field.tick_s(),
        page.temperature_c,
        part(page.fill_ticks[main], field),
    ]
}

//! The fitted response of a panel: pigment and curve together.

use crate::drive::{Erase, Stroke};
use crate::pigment::{Class, Kinetics, Map, Mover, State};
use crate::tone::ResponseCurve;
use serde::{Deserialize, Serialize};

/// From voltages to lightness: everything a design needs to know of the panel.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Response {
    pub kinetics: Kinetics,
    pub curve: ResponseCurve,
}

/// What of a class's pigment covers the window: all that has crossed.
pub fn coverage_of(state: &State) -> f64 {
    state[1]
}

/// [`coverage_of`] as an affine function of the state.
pub const COVERAGE_ROW: [f64; 4] = [0.0, 1.0, 0.0, 0.0];

impl Response {
    /// One mover for each class, at a temperature, °C, with every duration times `stretch`.
    pub fn movers(&self, temperature_c: f64, stretch: f64) -> Vec<Mover<'_>> {
        let mover = |class: Class| Mover {
            kinetics: &self.kinetics,
            class,
            temperature_c,
            stretch,
        };
        self.kinetics
            .spread
            .classes()
            .into_iter()
            .map(mover)
            .collect()
    }

    /// Lightness after each of several single-pixel trains of steps, from the clear state at rest.
    pub fn lstar_after_trains(&self, temperature_c: f64, trains: &[&[Stroke]]) -> Vec<f64> {
        let mut coverage = vec![0.0; trains.len()];
        for mover in self.movers(temperature_c, 1.0) {
            // Trains share most of their steps.
            let mut held: Vec<(Stroke, Map)> = Vec::new();
            for (train, coverage) in trains.iter().zip(&mut coverage) {
                let mut x = self.kinetics.clear();
                for step in *train {
                    x = held_map(&mover, step, &mut held).apply(&x);
                }
                *coverage += mover.class.share * coverage_of(&x);
            }
        }
        coverage.into_iter().map(|a| self.curve.lstar(a)).collect()
    }
}

/// The map of one step, made once for equal steps.
fn held_map(mover: &Mover, step: &Stroke, held: &mut Vec<(Stroke, Map)>) -> Map {
    if let Some((_, map)) = held.iter().find(|(s, _)| s == step) {
        return *map;
    }
    let map = mover.hold(step.pixel_v, step.ms * 1e-3);
    held.push((*step, map));
    map
}

/// The map of strokes one after another.
pub fn strokes_map(mover: &Mover, strokes: &[Stroke]) -> Map {
    let hold = |s: &Stroke| mover.hold(s.pixel_v, s.ms * 1e-3);
    strokes
        .iter()
        .fold(Map::IDENTITY, |done, s| done.then(&hold(s)))
}

/// The map of an erase's rest.
pub fn rest_map(mover: &Mover, erase: &Erase) -> Map {
    mover.hold(0.0, erase.rest_ms * 1e-3)
}

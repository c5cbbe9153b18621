//! What temperature leaves of a band's levels at its edges, with the stretch of durations and without.

use super::choice::step_of;
use super::climate::BandClimate;
use super::proof::Finished;
use super::reach::Climate;
use rayon::prelude::*;
use serde::Serialize;

/// The worst error of any level at one temperature of a band, over all rows and extreme contents.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct EdgeError {
    pub temperature_c: f64,
    /// On every duration there.
    pub factor: f64,
    /// With that factor, on the worse side of the clock's rounding.
    pub error_lstar: f64,
    pub error_steps: f64,
    /// With durations as at the design temperature.
    pub unstretched_error_lstar: f64,
    pub unstretched_error_steps: f64,
}

/// At the low edge, the design temperature and the high edge of a band; at its one temperature where it has one alone.
///
/// `stretch` has the factors at those temperatures. `None` without a level.
pub fn edge_errors(
    finished: &Finished,
    band: &BandClimate,
    stretch: &[Climate],
    targets_lstar: &[f64],
) -> Option<Vec<EdgeError>> {
    let step_lstar = step_of(targets_lstar);
    let error_lstar = |climates: &[Climate]| {
        let worst = finished.extremes_over(climates).worst(targets_lstar)?;
        Some((worst.lstar - worst.target_lstar).abs())
    };
    let at = |c: &Climate| {
        let played = if c.temperature_c == band.design_c {
            vec![*c]
        } else {
            band.rounded_either_way(*c)
        };
        let error = error_lstar(&played)?;
        let unstretched = error_lstar(&[Climate {
            stretch: band.factor,
            ..*c
        }])?;
        Some(EdgeError {
            temperature_c: c.temperature_c,
            factor: c.stretch,
            error_lstar: error,
            error_steps: error / step_lstar,
            unstretched_error_lstar: unstretched,
            unstretched_error_steps: unstretched / step_lstar,
        })
    };
    stretch.par_iter().map(at).collect()
}

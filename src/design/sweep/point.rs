//! A design of the map, with what it is worth and what it costs.

use super::pareto::Merits;
use crate::design::outcome::{BandDesign, Design};
use crate::waveforms::Band;
use serde::Serialize;

/// A design that was found and proved, and what was asked of it.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Point {
    pub levels: usize,
    /// Longest refresh asked for, s.
    pub budget_s: f64,
    /// Highest select and data voltages allowed, where lower than the panel's own, V.
    pub select_cap_v: Option<f64>,
    pub data_cap_v: Option<f64>,
    /// Longest refresh of any band, s.
    pub refresh_s: f64,
    /// Of that, strokes and rest of the erase.
    pub erase_s: f64,
    /// From the darkest to the lightest level, L*; of several bands the narrowest, as for contrast and step.
    pub span_lstar: f64,
    /// Reflectance of the lightest level over that of the darkest.
    pub contrast: f64,
    pub step_lstar: f64,
    /// Largest of any level, content, row and temperature.
    pub worst_error_steps: f64,
    pub worst_error_lstar: f64,
    /// Expanded uncertainty, k = 2, of the step between neighbours, the largest.
    pub step_expanded_u_lstar: f64,
    /// Least step: see [`Point::least_step_lstar`].
    pub least_step_lstar: f64,
    /// Whether the step is at least the least.
    pub honest: bool,
    /// Highest select and data voltages of any field, without sign.
    pub select_v: f64,
    pub data_v: f64,
    /// Highest voltage between two lines while fields are driven: select plus data.
    pub line_v: f64,
    pub bands: usize,
    /// No other design of the map is at least as good in levels, refresh, span and line voltage and better in one.
    pub pareto: bool,
    /// Found for less time or a lower cap than asked for here, and no wider one for more.
    pub carried: bool,
}

/// What was asked of a point.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub(super) struct Asked {
    pub levels: usize,
    pub budget_s: f64,
    pub select_cap_v: Option<f64>,
    pub data_cap_v: Option<f64>,
}

impl Asked {
    pub fn is_capped(&self) -> bool {
        self.select_cap_v.is_some() || self.data_cap_v.is_some()
    }

    /// Whether what was found for this keeps another: as many levels, no more time, no higher caps.
    pub fn keeps(&self, other: &Asked) -> bool {
        let under = |own: Option<f64>, cap: Option<f64>| {
            cap.is_none_or(|cap| own.is_some_and(|own| own <= cap))
        };
        self.levels == other.levels
            && self.budget_s <= other.budget_s
            && under(self.select_cap_v, other.select_cap_v)
            && under(self.data_cap_v, other.data_cap_v)
    }
}

impl Point {
    pub(super) fn of(design: &Design, asked: Asked) -> Point {
        let (bands, made) = (&design.set.bands, &design.bands);
        let largest = |of: &dyn Fn(&Band) -> f64| bands.iter().map(of).fold(0.0, f64::max);
        let fields = |of: fn(&crate::drive::Field) -> f64| {
            largest(&|b| b.fields.iter().map(of).fold(0.0, f64::max))
        };
        let least =
            |of: &dyn Fn(&BandDesign) -> f64| made.iter().map(of).fold(f64::INFINITY, f64::min);
        let span_lstar = design.span_lstar();
        let step_lstar = span_lstar / design.set.levels.saturating_sub(1).max(1) as f64;
        let worst_error_lstar = largest(&|b| b.figures.worst_error_lstar);
        let known = made.iter().flat_map(|b| &b.known.step_expanded_u_lstar);
        let step_expanded_u_lstar = known.fold(0.0, |most: f64, &u| most.max(u));
        let reading = made.iter().map(|b| b.known.told_apart.reading_lstar);
        let least_step_lstar = Self::least_step_lstar(
            worst_error_lstar,
            step_expanded_u_lstar,
            reading.fold(0.0, f64::max),
        );
        let slowest = made
            .iter()
            .zip(bands)
            .max_by(|a, b| a.1.refresh_s.total_cmp(&b.1.refresh_s));
        Point {
            levels: asked.levels,
            budget_s: asked.budget_s,
            select_cap_v: asked.select_cap_v,
            data_cap_v: asked.data_cap_v,
            refresh_s: largest(&|b| b.refresh_s),
            erase_s: slowest.map_or(0.0, |(made, _)| {
                (made.timing.erase_s + made.timing.rest_s) * made.longest_stretch
            }),
            span_lstar,
            contrast: least(&|b| b.contrast),
            step_lstar,
            worst_error_steps: largest(&|b| b.figures.worst_error_steps),
            worst_error_lstar,
            step_expanded_u_lstar,
            least_step_lstar,
            honest: step_lstar >= least_step_lstar,
            select_v: fields(|f| f.select_v.abs()),
            data_v: fields(|f| f.data_v),
            line_v: fields(|f| f.select_v.abs() + f.data_v),
            bands: bands.len(),
            pareto: false,
            carried: false,
        }
    }

    /// The least step, L*, at which neighbouring levels keep their order in any picture even where the panel differs from the
    /// prediction by as much as the expanded uncertainty allows, and at which one reading of each tells them apart:
    /// the larger of 2 · worst error + expanded uncertainty of a step, and the distance that readings tell apart.
    pub fn least_step_lstar(
        worst_error_lstar: f64,
        step_expanded_u_lstar: f64,
        reading_lstar: f64,
    ) -> f64 {
        (2.0 * worst_error_lstar + step_expanded_u_lstar).max(reading_lstar)
    }

    pub(super) fn asked(&self) -> Asked {
        Asked {
            levels: self.levels,
            budget_s: self.budget_s,
            select_cap_v: self.select_cap_v,
            data_cap_v: self.data_cap_v,
        }
    }

    pub fn merits(&self) -> Merits {
        Merits {
            levels: self.levels,
            refresh_s: self.refresh_s,
            span_lstar: self.span_lstar,
            line_v: self.line_v,
        }
    }
}

//! The contrast that a ladder must have.

use super::choice::Span;
use super::plan::Planner;
use crate::tone::lightness::reflectance_from_lstar;

/// Halvings of the interval in which the lightest place of a darkest target lies: to 1e-12 of it.
const HALVINGS: usize = 40;

impl Planner<'_> {
    /// Of the places of the darkest target those from which a ladder of this span has the contrast asked for: the darker the ladder
    /// lies, the more it has.
    pub(super) fn contrasting(&self, places: Vec<Span>, span_lstar: f64) -> Vec<Span> {
        let Some(least) = self.request.contrast else {
            return places;
        };
        let kept = |darkest: f64| contrast_from(darkest, span_lstar) >= least;
        let clipped = places.into_iter().filter_map(|place| {
            if kept(place.high) {
                return Some(place);
            }
            if !kept(place.low) {
                return None;
            }
            let (mut low, mut high) = (place.low, place.high);
            for _ in 0..HALVINGS {
                let middle = 0.5 * (low + high);
                if kept(middle) {
                    low = middle;
                } else {
                    high = middle;
                }
            }
            Some(Span { high: low, ..place })
        });
        clipped.collect()
    }
}

/// Reflectance of the lightest target over that of the darkest.
pub(super) fn contrast_from(darkest_lstar: f64, span_lstar: f64) -> f64 {
    reflectance_from_lstar(darkest_lstar + span_lstar) / reflectance_from_lstar(darkest_lstar)
}

//! Judging schemes whose voltages lie between the grid's.

use super::score::{DESCENT, Judging};
use super::{Ranked, Score, Search, worst_steps};
use crate::design::choice::Fineness;
use crate::design::reach::Scheme;

/// As finely as a span is told apart here, L*.
const FINE_LSTAR: f64 = 0.005;
/// What a whole tolerance of room on the ladder that stands is worth, L*: spans of common ladders move in steps, and this leads
/// from one to the next.
const ROOM_LSTAR: f64 = 0.05;
/// Room below which no more is told, tolerances.
const LEAST_ROOM: f64 = -20.0;

impl Search<'_> {
    /// A scheme that began as `from`, with the stretch that suits it, and how good it is, L*: the span of its ladder, and a
    /// little for room on `targets_lstar`, a ladder that stands at `tolerance_steps`. −∞ where it doesn't keep the budget.
    pub fn off_grid(
        &self,
        from: &Ranked,
        scheme: Scheme,
        (targets_lstar, tolerance_steps): (&[f64], f64),
    ) -> (f64, Ranked) {
        let (space, grid) = (&self.space, &self.grid);
        let band = &space.band;
        let stretch = band.fitted(space.response, &scheme, grid.rows, grid.drivers);
        let longest_s = grid.unstretched_s(&scheme) * band.longest(&stretch);
        let mut ranked = Ranked {
            place: from.place.clone(),
            score: Score::NONE,
            scheme,
            stretch,
        };
        if longest_s > grid.budget_s {
            return (f64::NEG_INFINITY, ranked);
        }
        let spots = self.spots(&ranked.scheme, &band.corners(&ranked.stretch));
        let spots = spots.thinned(DESCENT.thin_lstar);
        let judging = Judging {
            fineness: Fineness {
                fine_lstar: FINE_LSTAR,
                ..DESCENT.fineness
            },
            ..DESCENT
        };
        ranked.score = space.goal.score(&spots, &judging);
        let room = 1.0 - worst_steps(&spots, targets_lstar) / tolerance_steps;
        let value = ranked.score.value + ROOM_LSTAR * room.max(LEAST_ROOM);
        (value, ranked)
    }
}

//! How good a scheme is.

use crate::design::choice::{Demand, Fineness, Span, Spots, common, step_of, widest};

/// What a search makes as good as it can.
#[derive(Debug, Clone, PartialEq)]
pub enum Goal {
    /// The widest ladder at the tolerance.
    Widest(Demand),
    /// The widest ladder at the tolerance that other bands serve too.
    Common { demand: Demand, others: Others },
    /// The smallest worst error, in steps, on a ladder that stands.
    Serve { targets_lstar: Vec<f64> },
}

/// Where the darkest target of a ladder may lie for other bands, for spans that are multiples of [`SPAN_GRID_LSTAR`].
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Others {
    pub first: usize,
    pub places: Vec<Vec<Span>>,
}

/// Spans of common ladders are compared on this grid, L*.
pub const SPAN_GRID_LSTAR: f64 = 0.1;

impl Others {
    /// Whether they have any ladder wider than a span, L*.
    pub fn wider_than(&self, span_lstar: f64) -> bool {
        let spans = (self.first..).map(|i| i as f64 * SPAN_GRID_LSTAR);
        let mut each = self.places.iter().zip(spans);
        each.any(|(places, span)| span > span_lstar && !places.is_empty())
    }

    fn at(&self, span_lstar: f64) -> &[Span] {
        let index = (span_lstar / SPAN_GRID_LSTAR).round() as usize;
        index
            .checked_sub(self.first)
            .and_then(|i| self.places.get(i))
            .map_or(&[], Vec::as_slice)
    }
}

/// Higher is better.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Score {
    /// Span, L*, less the price of a laxer tolerance; less the worst error, steps, for [`Goal::Serve`].
    pub value: f64,
    /// Whether the tolerance asked is kept; always true of [`Goal::Serve`].
    pub kept: bool,
}

impl Score {
    pub const NONE: Score = Score {
        value: f64::NEG_INFINITY,
        kept: false,
    };
}

/// How closely schemes are judged.
#[derive(Debug, Clone, Copy)]
pub(super) struct Judging {
    /// Middles as close as this count as one, L*.
    pub thin_lstar: f64,
    pub fineness: Fineness,
    /// Of scores below this only that is told.
    pub floor: f64,
    /// Cost, L*, of a tolerance twice that asked.
    pub price_lstar: f64,
}

/// Least gain for which a descent goes on: span, L*; worst error, steps.
const GAIN_LSTAR: f64 = 0.02;
const GAIN_STEPS: f64 = 0.001;
/// The price at which descents begin; it leads them through schemes that miss the tolerance without ending on one.
pub(super) const PRICE_LSTAR: f64 = 30.0;
/// Factors on the tolerance at which a scheme that misses it is still ranked.
const LAXER: [f64; 7] = [1.0, 1.12, 1.3, 1.6, 2.0, 3.0, 5.0];
/// A ladder is looked for down to this share of the scheme's reach: shorter steps leave less room for the same blur.
const LEAST_SHARE: f64 = 0.6;

pub(super) const SEEDS: Judging = Judging {
    thin_lstar: 0.1,
    fineness: Fineness {
        coarse_lstar: 3.0,
        fine_lstar: 1.0,
    },
    floor: f64::NEG_INFINITY,
    price_lstar: PRICE_LSTAR,
};

pub(super) const DESCENT: Judging = Judging {
    thin_lstar: 0.04,
    fineness: Fineness {
        coarse_lstar: 1.0,
        fine_lstar: GAIN_LSTAR,
    },
    ..SEEDS
};

impl Goal {
    pub(super) fn score(&self, spots: &Spots, judging: &Judging) -> Score {
        match self {
            Goal::Widest(demand) => widest_score(spots, *demand, judging, |_, places| places),
            Goal::Common { demand, others } => {
                let fineness = Fineness {
                    fine_lstar: SPAN_GRID_LSTAR,
                    ..judging.fineness
                };
                let both = |span: f64, places: Vec<Span>| common(&places, others.at(span));
                widest_score(
                    spots,
                    *demand,
                    &Judging {
                        fineness,
                        ..*judging
                    },
                    both,
                )
            }
            Goal::Serve { targets_lstar } => Score {
                value: -worst_steps(spots, targets_lstar),
                kept: true,
            },
        }
    }

    pub(super) fn gain(&self) -> f64 {
        match self {
            Goal::Widest(_) => GAIN_LSTAR,
            Goal::Common { .. } => 0.5 * SPAN_GRID_LSTAR,
            Goal::Serve { .. } => GAIN_STEPS,
        }
    }
}

/// The widest ladder at the tolerance, or at a laxer one at its price; `kept` narrows where its darkest target may lie.
fn widest_score(
    spots: &Spots,
    demand: Demand,
    judging: &Judging,
    kept: impl Fn(f64, Vec<Span>) -> Vec<Span>,
) -> Score {
    let mut best = Score {
        value: judging.floor,
        ..Score::NONE
    };
    let Some(ends) = spots.ends() else {
        return Score::NONE;
    };
    let steps = (demand.levels - 1) as f64;
    for lax in LAXER {
        let laxer = Demand {
            tolerance_steps: demand.tolerance_steps * lax,
            ..demand
        };
        let cost = judging.price_lstar * (lax - 1.0);
        let high = ends.high - ends.low;
        let bounds = Span {
            low: (best.value + cost).max(LEAST_SHARE * high),
            high,
        };
        if bounds.high < bounds.low {
            continue;
        }
        let places = |step: f64| kept(step * steps, spots.darkest_targets(laxer, step));
        if let Some((_, step)) = widest(demand.levels, bounds, judging.fineness, places) {
            best = Score {
                value: step * steps - cost,
                kept: lax == 1.0,
            };
        }
    }
    best
}

/// The largest of the least worst errors over the targets, in steps of their ladder.
pub fn worst_steps(spots: &Spots, targets_lstar: &[f64]) -> f64 {
    let step = step_of(targets_lstar);
    let error = |&t: &f64| spots.best_for(t).map_or(f64::INFINITY, |(_, error)| error);
    targets_lstar.iter().map(error).fold(0.0, f64::max) / step
}

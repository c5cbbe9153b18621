//! Zones of rows: one scheme whose levels have ticks of their own in each.

use super::choice::{Demand, Span, Spots, common};
use super::search::worst_steps;
use std::ops::Range;

/// The choices of ticks in one zone.
#[derive(Debug, Clone)]
pub struct ZoneSpots {
    /// Neighbouring rows.
    pub rows: Range<usize>,
    /// What they show over these rows.
    pub spots: Spots,
}

/// One scheme's choices of ticks by zones that cover the panel's rows in order. A zone is like one more band that shares the
/// scheme: a ladder must be served in each.
#[derive(Debug, Clone)]
pub struct Zoned(Vec<ZoneSpots>);

impl Zoned {
    /// All rows of a panel alike.
    pub fn whole(rows: usize, spots: Spots) -> Self {
        Zoned(vec![ZoneSpots {
            rows: 0..rows,
            spots,
        }])
    }

    /// One zone at least.
    pub fn of(zones: Vec<ZoneSpots>) -> Self {
        Zoned(zones)
    }

    /// The zones in the order of rows.
    pub fn zones(&self) -> &[ZoneSpots] {
        &self.0
    }

    /// Where the darkest target of a ladder of this step may lie so that every zone serves all of it.
    pub fn darkest_targets(&self, demand: Demand, step_lstar: f64) -> Vec<Span> {
        let each = self
            .0
            .iter()
            .map(|z| z.spots.darkest_targets(demand, step_lstar));
        each.reduce(|a, b| common(&a, &b)).unwrap_or_default()
    }

    /// Wider ladders than this no choice of ticks can carry, L*.
    pub fn widest_lstar(&self) -> f64 {
        let spans = self.0.iter().map(|z| z.spots.ends());
        let both = spans.reduce(|a, b| {
            let (a, b) = (a?, b?);
            Some(Span {
                low: a.low.max(b.low),
                high: a.high.min(b.high),
            })
        });
        both.flatten().map_or(0.0, |ends| ends.high - ends.low)
    }

    /// The largest of the least worst errors over the targets and zones, in steps of their ladder.
    pub fn worst_steps(&self, targets_lstar: &[f64]) -> f64 {
        let each = self.0.iter().map(|z| worst_steps(&z.spots, targets_lstar));
        each.fold(0.0, f64::max)
    }

    /// The same, held to another share in an ordinary picture.
    pub fn as_even_as(&self, share: f64) -> Zoned {
        let zone = |z: &ZoneSpots| ZoneSpots {
            rows: z.rows.clone(),
            spots: z.spots.clone().as_even_as(share),
        };
        Zoned(self.0.iter().map(zone).collect())
    }
}

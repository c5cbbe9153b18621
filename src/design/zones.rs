//! Zones of rows: one scheme whose levels have ticks of their own in each, and where to cut them.

use super::choice::{Demand, Fineness, Span, Spots, common, widest};
use super::ladder::{Looked, choice_rows};
use super::reach::{Reach, Scope};
use super::search::{Ranked, worst_steps};
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

/// Middles of choices as close as this count as one where cuts are looked for, L*.
const THIN_LSTAR: f64 = 0.1;
/// Factors on the tolerance at which a ladder is looked for that cuts are judged on.
const LAXER: [f64; 4] = [1.0, 1.5, 2.5, 4.0];
/// How finely its span is sought, L*.
const FINENESS: Fineness = Fineness {
    coarse_lstar: 2.0,
    fine_lstar: 0.25,
};
/// Fewer zones than there may be are enough where the worst error on that ladder is larger by no more than this share.
const WORTH_SHARE: f64 = 0.02;

/// What zones are cut for.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum CutFor {
    /// The smallest worst error.
    Error,
    /// The least difference from row to row.
    Shading,
}

/// What zones of any rows would cost with one scheme.
pub(super) struct Cuts {
    /// Rows that were looked at, rising.
    rows: Vec<usize>,
    /// `costs[first][last]` of the zone between two of them, both included, L*.
    costs: Vec<Vec<f64>>,
}

impl Cuts {
    /// `None` where the second half of the rows carries no ladder at four times the tolerance.
    pub fn of(looked: &Looked, ranked: &Ranked, demand: Demand, of: CutFor) -> Option<Self> {
        let panel_rows = looked.panel.rows;
        let half = looked.zone_spots(ranked, panel_rows / 2..panel_rows);
        let few = half.thinned(THIN_LSTAR);
        let choices: Vec<usize> = few.choices().collect();
        let rows = choice_rows(panel_rows, &(0..panel_rows));
        let costs = match of {
            CutFor::Error => {
                let ladder = nearest_ladder(&few, demand)?;
                let ranges = ranges_by_row(&looked.scope(ranked, rows.clone()), ranked, &choices);
                costs(&ranges, |range| worst_on(ladder, demand.levels, range))
            }
            CutFor::Shading => {
                let scope = Scope {
                    climates: vec![looked.pool.band.design()],
                    ..looked.scope(ranked, rows.clone())
                };
                let middles = ranges_by_row(&scope, ranked, &choices).into_iter();
                let middles: Vec<Vec<Span>> = middles.map(middles_of).collect();
                costs(&middles, widest_range)
            }
        };
        Some(Cuts { rows, costs })
    }

    /// First rows of the zones behind the first, `count` zones at most, so that the worst zone costs as little as it can; fewer where more win next to nothing.
    pub fn best(&self, count: usize) -> Vec<usize> {
        let last = self.rows.len() - 1;
        // The smallest cost of the worst zone up to a row, and the row its last zone begins in, zone by zone more.
        let whole: Vec<(f64, usize)> = self.costs[0].iter().map(|&e| (e, 0)).collect();
        let mut best = vec![whole];
        while best.len() < count {
            let before = &best[best.len() - 1];
            let up_to = |end: usize| {
                let cut = |first: usize| (before[first - 1].0.max(self.costs[first][end]), first);
                let cuts = (1..=end).map(cut);
                cuts.fold((f64::INFINITY, 0), |a, b| if b.0 < a.0 { b } else { a })
            };
            let next: Vec<(f64, usize)> = (0..=last).map(up_to).collect();
            best.push(next);
        }
        let smallest = best
            .iter()
            .map(|zones| zones[last].0)
            .fold(f64::INFINITY, f64::min);
        let enough = |zones: &Vec<(f64, usize)>| zones[last].0 <= (1.0 + WORTH_SHARE) * smallest;
        let zones = best.iter().position(enough).unwrap_or(0);
        let mut cuts = Vec::new();
        let mut end = last;
        for zones in best[1..=zones].iter().rev() {
            let first = zones[end].1;
            cuts.push(self.rows[first]);
            end = first - 1;
        }
        cuts.reverse();
        cuts
    }
}

/// The widest ladder of some choices, darkest target and step, at the tolerance or as little above it as there is one.
fn nearest_ladder(spots: &Spots, demand: Demand) -> Option<(f64, f64)> {
    let ends = spots.ends()?;
    let bounds = Span {
        low: 1.0,
        high: ends.high - ends.low,
    };
    LAXER.iter().find_map(|factor| {
        let demand = Demand {
            tolerance_steps: factor * demand.tolerance_steps,
            ..demand
        };
        let darkest = |step: f64| spots.darkest_targets(demand, step);
        widest(demand.levels, bounds, FINENESS, darkest)
    })
}

/// Lowest and highest lightness of some choices in each of a scope's rows, over contents and temperatures.
fn ranges_by_row(scope: &Scope, ranked: &Ranked, choices: &[usize]) -> Vec<Vec<Span>> {
    let none = Span {
        low: f64::INFINITY,
        high: f64::NEG_INFINITY,
    };
    let mut ranges = vec![vec![none; choices.len()]; scope.rows.len()];
    let curve = &scope.response.curve;
    Reach::each(scope, &ranked.scheme, |corner, coverage| {
        let row = scope.rows.partition_point(|r| *r < corner.row);
        for (range, &choice) in ranges[row].iter_mut().zip(choices) {
            let lstar = curve.lstar(coverage[choice]);
            range.low = range.low.min(lstar);
            range.high = range.high.max(lstar);
        }
    });
    ranges
}

/// Each range shrunk to its middle.
fn middles_of(ranges: Vec<Span>) -> Vec<Span> {
    let middle = |r: Span| 0.5 * (r.low + r.high);
    let shrunk = |r: Span| Span {
        low: middle(r),
        high: middle(r),
    };
    ranges.into_iter().map(shrunk).collect()
}

/// What `cost` says of every choice's range over every zone.
fn costs(ranges: &[Vec<Span>], cost: impl Fn(&[Span]) -> f64) -> Vec<Vec<f64>> {
    let from = |first: usize| {
        let mut over = ranges[first].clone();
        let mut costs = vec![f64::NAN; ranges.len()];
        for (last, row) in ranges.iter().enumerate().skip(first) {
            for (wide, own) in over.iter_mut().zip(row) {
                wide.low = wide.low.min(own.low);
                wide.high = wide.high.max(own.high);
            }
            costs[last] = cost(&over);
        }
        costs
    };
    (0..ranges.len()).map(from).collect()
}

fn widest_range(ranges: &[Span]) -> f64 {
    let widths = ranges.iter().map(|r| r.high - r.low);
    widths.fold(0.0, f64::max)
}

/// The worst error over the targets of a ladder, each served by the best of those choices that lie nearest to it, L*.
fn worst_on((darkest_lstar, step): (f64, f64), levels: usize, ranges: &[Span]) -> f64 {
    let mut best = vec![f64::INFINITY; levels];
    for range in ranges {
        let middle = 0.5 * (range.low + range.high);
        let level = ((middle - darkest_lstar) / step).round();
        let level = (level.max(0.0) as usize).min(levels - 1);
        let target = darkest_lstar + level as f64 * step;
        let error = (middle - target).abs() + 0.5 * (range.high - range.low);
        best[level] = best[level].min(error);
    }
    let nearest = |(level, best): (usize, f64)| {
        if best.is_finite() {
            return best;
        }
        let target = darkest_lstar + level as f64 * step;
        let errors = ranges
            .iter()
            .map(|r| (r.high - target).abs().max((r.low - target).abs()));
        errors.fold(f64::INFINITY, f64::min)
    };
    let errors = best.into_iter().enumerate().map(nearest);
    errors.fold(0.0, f64::max)
}

//! The search over schemes of one band: seeds over a coarse grid, then ascents over the drivers' own grid.

mod grid;
mod near;
mod off_grid;
mod score;
mod seeds;

use super::certificate::exact::{Outer, span_beyond};
use super::certificate::stated::{Ground, Mesh};
use super::charge::ChargeLimit;
use super::choice::{Demand, Spot, Spots};
use super::climate::BandClimate;
use super::pins::Pins;
use super::reach::{Climate, Reach, Scheme, Scope};
use crate::drive::Erase;
use crate::project::{Drivers, Rail};
use crate::response::Response;
use crate::waveforms::Lattice;
use grid::Grid;
pub use grid::{Place, rail_values, same_v};
use rayon::prelude::*;
use score::{DESCENT, Judging, PRICE_LSTAR};
pub use score::{Goal, Others, SPAN_GRID_LSTAR, Score, worst_steps};
use std::sync::atomic::{AtomicUsize, Ordering};

/// What a search may use and must keep.
#[derive(Debug, Clone)]
pub struct Space<'a> {
    pub response: &'a Response,
    pub drivers: &'a Drivers,
    pub erases: Vec<Erase>,
    /// How many of them, the first, an ascent may start from.
    pub own_erases: usize,
    pub rows: usize,
    /// Longest refresh at any temperature, s.
    pub budget_s: f64,
    /// The largest stretch allowed for while places are compared; a place that comes to need more is refused.
    pub stretch: f64,
    pub goal: Goal,
    pub charge: ChargeLimit,
    /// First row that schemes are judged by: beyond 0 where the rows before get tables of their own.
    pub judged_from: usize,
    pub band: BandClimate,
    pub pins: &'a Pins,
}

/// A scheme with how good it is.
#[derive(Debug, Clone)]
pub struct Ranked {
    pub place: Place,
    pub scheme: Scheme,
    pub score: Score,
    /// The stretch that suits the scheme.
    pub stretch: Vec<Climate>,
}

/// In an ordinary picture a level comes within this share of the worst error allowed, which is for the worst picture.
pub const EVEN_SHARE: f64 = 0.25;
/// By how much the price of a laxer tolerance rises, and how often, while a descent ends on a scheme that needs one.
const PRICE_RISE: f64 = 3.0;
const PRICE_RISES: usize = 2;
/// Moves of one ascent, at most.
const MOVES: usize = 60;

/// The grid, and the judging of places on it.
pub struct Search<'a> {
    space: Space<'a>,
    grid: Grid<'a>,
    curve: CurveTable,
    evaluated: AtomicUsize,
}

impl<'a> Search<'a> {
    /// The grid of `space`, and nothing evaluated yet.
    pub fn new(space: Space<'a>) -> Self {
        let grid = Grid {
            drivers: space.drivers,
            erases: space.erases.clone(),
            rows: space.rows,
            budget_s: space.budget_s,
            stretch: space.stretch,
            select_v: selects(&space.drivers.select_v),
            data_v: rail_values(&space.drivers.data_v),
            pins: space.pins,
        };
        Search {
            curve: CurveTable::new(space.response),
            grid,
            space,
            evaluated: AtomicUsize::new(0),
        }
    }

    /// Schemes evaluated so far.
    pub fn evaluated(&self) -> usize {
        self.evaluated.load(Ordering::Relaxed)
    }

    /// The best schemes found from `starts`, best first.
    pub fn run(&self, starts: Vec<Place>) -> Vec<Ranked> {
        let mut found: Vec<Ranked> = Vec::new();
        for start in starts
            .into_iter()
            .filter_map(|s| self.grid.brought_into_budget(s))
        {
            let end = self.climb(start);
            if !found.iter().any(|f| f.place == end.place) {
                found.push(end);
            }
        }
        let order = |a: &Ranked, b: &Ranked| {
            b.score
                .kept
                .cmp(&a.score.kept)
                .then(b.score.value.total_cmp(&a.score.value))
        };
        found.sort_by(order);
        found
    }

    /// The stated grid over the same space; see [`Mesh`].
    pub fn lattice(&self, mesh: &Mesh) -> Lattice {
        let mut erases: Vec<Erase> = Vec::new();
        for erase in &self.grid.erases {
            if !erases.contains(erase) {
                erases.push(erase.clone());
            }
        }
        let ground = Ground {
            drivers: self.grid.drivers,
            erases: &erases,
            rows: self.grid.rows,
            refresh_s: self.grid.budget_s / self.grid.stretch,
            pins: self.space.pins,
        };
        ground.lattice(mesh)
    }

    /// The place of a scheme on the drivers' grid; `None` where it has none.
    pub fn place_of(&self, scheme: &Scheme) -> Option<Place> {
        self.grid.place_of(scheme)
    }

    /// The widest ladder of a scheme in the band at its own stretch, L*, where it keeps the budget and is wider than
    /// `beyond_lstar`.
    pub fn span_beyond(&self, scheme: &Scheme, demand: Demand, beyond_lstar: f64) -> Option<f64> {
        let (space, grid) = (&self.space, &self.grid);
        let last = |climates: &[Climate]| {
            let rows = vec![grid.rows - 1];
            let reach = Reach::new(&self.scope(climates, rows), scheme);
            let spots = spots_of(|a| self.curve.lstar(a), &reach);
            span_beyond(&spots, demand, beyond_lstar, Outer::Served)
        };
        // One edge and one row refuse most: the rest is looked at where they don't.
        let edge = space.band.high_c;
        let edge = space
            .band
            .suited(space.response, None, scheme, grid.rows, grid.drivers, edge);
        let mut few = space.band.rounded_either_way(edge);
        few.push(space.band.design());
        last(&few)?;
        let stretch = self.stretch_in_time(scheme)?;
        let mut corners = space.band.corners(&stretch);
        if !corners.contains(&space.band.design()) {
            corners.push(space.band.design());
        }
        last(&corners)?;
        let spots = self.spots(scheme, &corners);
        span_beyond(&spots, demand, beyond_lstar, Outer::Shown)
    }

    /// The stretch that suits a scheme; `None` where it takes longer than the budget with it.
    fn stretch_in_time(&self, scheme: &Scheme) -> Option<Vec<Climate>> {
        let (space, grid) = (&self.space, &self.grid);
        let stretch = space
            .band
            .fitted(space.response, scheme, grid.rows, grid.drivers);
        let longest_s = grid.unstretched_s(scheme) * space.band.longest(&stretch);
        (longest_s <= grid.budget_s).then_some(stretch)
    }

    /// Spots of a scheme over `climates`, in the rows that a search looks at.
    pub fn spots(&self, scheme: &Scheme, climates: &[Climate]) -> Spots {
        self.evaluated.fetch_add(1, Ordering::Relaxed);
        let scope = self.scope(
            climates,
            search_rows(self.grid.rows, self.space.judged_from),
        );
        let ordinary = Reach::ordinary(&scope, scheme, self.space.band.design());
        let ordinary = ordinary.into_iter().map(|a| self.curve.lstar(a)).collect();
        let spots = spots_of(|a| self.curve.lstar(a), &Reach::new(&scope, scheme));
        let longest = self.space.band.longest(climates);
        let kept = self.space.charge.kept(spots, scheme, longest);
        kept.even_in(ordinary, EVEN_SHARE)
    }

    fn scope(&self, climates: &[Climate], rows: Vec<usize>) -> Scope<'_> {
        Scope {
            response: self.space.response,
            panel_rows: self.grid.rows,
            settle_ms: self.grid.drivers.field_settle_ms,
            climates: climates.to_vec(),
            rows,
        }
    }

    fn score(&self, scheme: &Scheme, climates: &[Climate], judging: &Judging) -> Score {
        self.space.goal.score(
            &self.spots(scheme, climates).thinned(judging.thin_lstar),
            judging,
        )
    }

    /// An ascent, and further ones at a higher price while it ends on a scheme that misses the tolerance.
    fn climb(&self, start: Place) -> Ranked {
        let mut price = PRICE_LSTAR;
        let mut best = self.ascend(self.ranked(start, price), price);
        for _ in 0..PRICE_RISES {
            if best.score.kept {
                break;
            }
            price *= PRICE_RISE;
            best = self.ascend(self.ranked(best.place, price), price);
        }
        best
    }

    /// Moves to the best neighbour until none is better; the stretch is fitted anew to each place reached.
    fn ascend(&self, mut best: Ranked, price_lstar: f64) -> Ranked {
        for _ in 0..MOVES {
            let near = self.grid.neighbours(&best.place);
            let climates = self.space.band.corners(&best.stretch);
            let floor = best.score.value + self.space.goal.gain();
            let judging = Judging {
                floor,
                price_lstar,
                ..DESCENT
            };
            let judged = |p: &Place| self.score(&self.grid.scheme(p), &climates, &judging).value;
            let scores: Vec<f64> = near.par_iter().map(judged).collect();
            let top = (0..near.len()).reduce(|t, i| if scores[i] > scores[t] { i } else { t });
            let Some(top) = top.filter(|&t| scores[t] > floor) else {
                break;
            };
            let next = self.ranked(near[top].clone(), price_lstar);
            if next.score.value <= floor {
                break;
            }
            best = next;
        }
        best
    }

    /// The band's design temperature, with the factor on durations there.
    pub fn design_climate(&self) -> Climate {
        self.space.band.design()
    }

    /// A place with the stretch that suits it, and its score there.
    fn ranked(&self, place: Place, price_lstar: f64) -> Ranked {
        let (space, grid) = (&self.space, &self.grid);
        let scheme = grid.scheme(&place);
        let stretch = space
            .band
            .fitted(space.response, &scheme, grid.rows, grid.drivers);
        let longest_s = grid.unstretched_s(&scheme) * space.band.longest(&stretch);
        let score = if longest_s > grid.budget_s {
            Score::NONE
        } else {
            let judging = Judging {
                price_lstar,
                ..DESCENT
            };
            self.score(&scheme, &space.band.corners(&stretch), &judging)
        };
        Ranked {
            place,
            scheme,
            score,
            stretch,
        }
    }
}

/// Select voltages, without the one that selects nothing.
fn selects(rail: &Rail) -> Vec<f64> {
    rail_values(rail)
        .into_iter()
        .filter(|&v| v != 0.0)
        .collect()
}

/// Lightness of a reach's choices: middle and half-width.
pub fn spots_of(lstar: impl Fn(f64) -> f64, reach: &Reach) -> Spots {
    let spot =
        |choice: usize| Spot::between(lstar(reach.high[choice]), lstar(reach.low[choice]), choice);
    Spots::new((0..reach.low.len()).map(spot).collect())
}

/// The row after the erase, the next, which another row's data precedes, and the last; or others from the first on that counts.
fn search_rows(rows: usize, first: usize) -> Vec<usize> {
    let mut chosen = vec![first, first + 1, rows - 1];
    chosen.retain(|&r| r < rows);
    chosen.dedup();
    chosen
}

/// The response curve at even coverages, linear between: what a search can spare of the exact one, to 1e-4 L*.
pub struct CurveTable(Vec<f64>);

impl CurveTable {
    const PARTS: usize = 4096;

    /// Of a response's curve.
    pub fn new(response: &Response) -> Self {
        let at = |k: usize| response.curve.lstar(k as f64 / Self::PARTS as f64);
        CurveTable((0..=Self::PARTS).map(at).collect())
    }

    /// Lightness at a coverage.
    pub fn lstar(&self, coverage: f64) -> f64 {
        let place = coverage.clamp(0.0, 1.0) * Self::PARTS as f64;
        let at = (place as usize).min(Self::PARTS - 1);
        let (low, high) = (self.0[at], self.0[at + 1]);
        low + (place - at as f64) * (high - low)
    }

    /// The coverage that shows a lightness; 0 or 1 for what is lighter or darker than any.
    pub fn coverage(&self, lstar: f64) -> f64 {
        let at = self.0.partition_point(|&l| l > lstar);
        match at {
            0 => 0.0,
            _ if at == self.0.len() => 1.0,
            _ => {
                let (low, high) = (self.0[at - 1], self.0[at]);
                (at as f64 - (lstar - high) / (low - high)) / Self::PARTS as f64
            }
        }
    }
}

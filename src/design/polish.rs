//! Polishing the voltages of rails without a step: several general optimisers on the same exact inner search, the best kept.
//!
//! Ticks, slots, guard ticks and erase stay; what is made as good as can be is the widest ladder at the tolerance, each time with
//! the best choice of ticks. That is a piecewise smooth function with edges, so no solver is right for all: a simplex, a swarm and
//! searches along one voltage after another each get their turn.

use super::ladder::Candidates;
use super::outcome::Design;
use super::plan::Planner;
use super::pool::Shortfall;
use super::reach::Scheme;
use super::request::LadderShare;
use super::search::{Goal, Ranked, Search};
use crate::project::{Drivers, Rail};
use argmin::core::{CostFunction, Executor, State};
use argmin::solver::brent::BrentOpt;
use argmin::solver::neldermead::NelderMead;
use argmin::solver::particleswarm::ParticleSwarm;
use rand_xoshiro::Xoshiro256PlusPlus;
use rand_xoshiro::rand_core::SeedableRng;
use rayon::prelude::*;
use serde::Serialize;
use std::sync::atomic::{AtomicUsize, Ordering};

/// A voltage is looked for within this share of its rail, either way.
const REACH: f64 = 0.1;
/// Edge of the first simplex, of that.
const EDGE: f64 = 0.2;
const SIMPLEX_MOVES: u64 = 150;
/// Spread of the simplex's values at which it stops.
const SIMPLEX_ENDS: f64 = 1e-7;
const PARTICLES: usize = 24;
const SWARM_MOVES: u64 = 50;
/// Times that every voltage has its turn, and evaluations of one turn.
const TURNS: usize = 4;
const TURN_MOVES: u64 = 16;
const SEED: u64 = 7;
/// Stands for −∞ where solvers take means.
const REFUSED: f64 = 1e6;
/// Gain in the narrowest span that is worth keeping, L*.
const GAIN_LSTAR: f64 = 0.005;

/// A general optimiser as it is used here.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Solver {
    /// Nelder–Mead.
    Simplex,
    /// Particle swarm, and a simplex from where it ended.
    Swarm,
    /// Brent's search along one coordinate after another.
    Turns,
}

impl Solver {
    pub const ALL: [Solver; 3] = [Solver::Simplex, Solver::Swarm, Solver::Turns];

    /// In words.
    pub fn name(self) -> &'static str {
        match self {
            Solver::Simplex => "simplex (Nelder-Mead)",
            Solver::Swarm => "particle swarm, then simplex",
            Solver::Turns => "one voltage after another (Brent)",
        }
    }

    /// The lowest place of `cost` that is found within `bounds`, low and high of each coordinate, from `start`; never worse than
    /// that; and the evaluations it took. The same in every run.
    pub fn minimise(
        self,
        cost: &(dyn Fn(&[f64]) -> f64 + Sync),
        start: &[f64],
        bounds: &[(f64, f64)],
    ) -> (Vec<f64>, usize) {
        let problem = Problem {
            cost,
            bounds,
            evaluations: AtomicUsize::new(0),
        };
        let found = match self {
            Solver::Simplex => problem.simplex(start),
            Solver::Swarm => problem
                .swarm()
                .and_then(|x| problem.simplex(&problem.inside(&x))),
            Solver::Turns => Some(problem.turns(start)),
        };
        let found = found.map(|x| problem.inside(&x));
        let best = found.filter(|x| problem.at(x) < problem.at(start));
        let evaluations = problem.evaluations.load(Ordering::Relaxed);
        (best.unwrap_or_else(|| start.to_vec()), evaluations)
    }
}

/// A cost within bounds.
struct Problem<'a> {
    cost: &'a (dyn Fn(&[f64]) -> f64 + Sync),
    bounds: &'a [(f64, f64)],
    evaluations: AtomicUsize,
}

impl Problem<'_> {
    fn inside(&self, x: &[f64]) -> Vec<f64> {
        let clamped = x.iter().zip(self.bounds);
        clamped.map(|(x, b)| x.clamp(b.0, b.1)).collect()
    }

    /// Finite everywhere; beyond the bounds it rises from what it is at them.
    fn at(&self, x: &[f64]) -> f64 {
        self.evaluations.fetch_add(1, Ordering::Relaxed);
        let inside = self.inside(x);
        let widths = self
            .bounds
            .iter()
            .map(|b| (b.1 - b.0).max(f64::MIN_POSITIVE));
        let beyond = x
            .iter()
            .zip(&inside)
            .zip(widths)
            .map(|((x, i), w)| (x - i).abs() / w);
        let beyond: f64 = beyond.sum();
        let cost = (self.cost)(&inside);
        if cost.is_finite() {
            cost + beyond
        } else {
            REFUSED + beyond
        }
    }

    fn simplex(&self, start: &[f64]) -> Option<Vec<f64>> {
        let mut corners = vec![start.to_vec()];
        for (i, b) in self.bounds.iter().enumerate() {
            let mut corner = start.to_vec();
            let edge = 0.5 * EDGE * (b.1 - b.0);
            // Inwards where there is more room.
            corner[i] += if b.1 - corner[i] >= corner[i] - b.0 {
                edge
            } else {
                -edge
            };
            corners.push(corner);
        }
        let solver = NelderMead::new(corners)
            .with_sd_tolerance(SIMPLEX_ENDS)
            .ok()?;
        let run = Executor::new(Whole(self), solver).configure(|s| s.max_iters(SIMPLEX_MOVES));
        run.run().ok()?.state.get_best_param().cloned()
    }

    fn swarm(&self) -> Option<Vec<f64>> {
        let (low, high): (Vec<f64>, Vec<f64>) = self.bounds.iter().copied().unzip();
        let solver = ParticleSwarm::new((low, high), PARTICLES)
            .with_rng_generator(Xoshiro256PlusPlus::seed_from_u64(SEED));
        let run = Executor::new(Whole(self), solver).configure(|s| s.max_iters(SWARM_MOVES));
        let best = run.run().ok()?.state.get_best_param().cloned();
        best.map(|particle| particle.position)
    }

    fn turns(&self, start: &[f64]) -> Vec<f64> {
        let (mut x, mut lowest) = (start.to_vec(), self.at(start));
        for turn in 0..TURNS {
            for axis in 0..x.len() {
                let b = self.bounds[axis];
                // Each time round in half the room.
                let room = 0.5 * (b.1 - b.0) * 0.5f64.powi(turn as i32);
                let (low, high) = ((x[axis] - room).max(b.0), (x[axis] + room).min(b.1));
                let solver = BrentOpt::new(low, high).set_tolerance(1e-9, 1e-9);
                let along = Along {
                    problem: self,
                    x: &x,
                    axis,
                };
                let run = Executor::new(along, solver).configure(|s| s.max_iters(TURN_MOVES));
                let found = run
                    .run()
                    .ok()
                    .and_then(|r| r.state.get_best_param().copied());
                let moved = found.map(|at| moved(&x, axis, at));
                if let Some(moved) = moved.filter(|m| self.at(m) < lowest) {
                    lowest = self.at(&moved);
                    x = moved;
                }
            }
        }
        x
    }
}

fn moved(x: &[f64], axis: usize, to: f64) -> Vec<f64> {
    let mut moved = x.to_vec();
    moved[axis] = to;
    moved
}

struct Whole<'a>(&'a Problem<'a>);

impl CostFunction for Whole<'_> {
    type Param = Vec<f64>;
    type Output = f64;

    fn cost(&self, x: &Vec<f64>) -> Result<f64, argmin::core::Error> {
        Ok(self.0.at(x))
    }
}

/// One coordinate of a problem, the others standing.
struct Along<'a> {
    problem: &'a Problem<'a>,
    x: &'a [f64],
    axis: usize,
}

impl CostFunction for Along<'_> {
    type Param = f64;
    type Output = f64;

    fn cost(&self, at: &f64) -> Result<f64, argmin::core::Error> {
        Ok(self.problem.at(&moved(self.x, self.axis, *at)))
    }
}

/// What polishing did.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Polish {
    /// Of the narrowest band, before and after, both proved, L*.
    pub span_before_lstar: f64,
    pub span_after_lstar: f64,
    pub bands: Vec<BandPolish>,
}

/// What each solver made of a band's scheme.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct BandPolish {
    /// From 0.
    pub band: usize,
    pub tried: Vec<Tried>,
    /// The best of them; absent where none found anything better.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub best: Option<Solver>,
}

/// One solver's result.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Tried {
    pub solver: Solver,
    /// What its ladder gained as the search judges it, room on the present ladder counted in, L*.
    pub gain_lstar: f64,
    pub evaluations: usize,
}

/// The rails that a scheme's voltages may be polished on: whether select, whether data.
fn continuous(drivers: &Drivers) -> (bool, bool) {
    let free = |rail: &Rail| rail.step.is_none() && rail.max > rail.min;
    (free(&drivers.select_v), free(&drivers.data_v))
}

/// The voltages that may be polished, field by field, with the interval of each.
fn voltages(scheme: &Scheme, drivers: &Drivers) -> (Vec<f64>, Vec<(f64, f64)>) {
    let (select, data) = continuous(drivers);
    let mut all = Vec::new();
    for field in &scheme.fields {
        all.extend(select.then_some((field.select_v, &drivers.select_v)));
        all.extend(data.then_some((field.data_v, &drivers.data_v)));
    }
    let around = |&(v, rail): &(f64, &Rail)| {
        let reach = REACH * (rail.max - rail.min);
        ((v - reach).max(rail.min), (v + reach).min(rail.max))
    };
    let bounds = all.iter().map(around).collect();
    (all.into_iter().map(|(v, _)| v).collect(), bounds)
}

/// A scheme with its polished voltages at `at`, to the microvolt.
fn with_voltages(scheme: &Scheme, drivers: &Drivers, at: &[f64]) -> Scheme {
    let (select, data) = continuous(drivers);
    let mut polished = scheme.clone();
    let mut next = at.iter().map(|v| (v * 1e6).round() / 1e6);
    for field in &mut polished.fields {
        if select {
            field.select_v = next.next().unwrap_or(field.select_v);
        }
        if data {
            field.data_v = next.next().unwrap_or(field.data_v);
        }
    }
    polished
}

impl Planner<'_> {
    /// The widest ladder that the proof bears out, voltages polished where a rail has no step; never a narrower one for that.
    pub(super) fn certified_polished(
        &self,
        candidates: &mut [Candidates],
    ) -> std::result::Result<Design, Shortfall> {
        let plain = self.certified(candidates);
        if continuous(&self.panel.drivers) == (false, false) {
            return plain;
        }
        let mut polished = candidates.to_vec();
        let bands: Vec<BandPolish> = (0..polished.len())
            .filter_map(|i| self.polish_band(&mut polished, i))
            .collect();
        let after = self.proved(&polished);
        let before_lstar = plain.as_ref().map_or(0.0, Design::span_lstar);
        let wider = after
            .ok()
            .filter(|d| d.span_lstar() >= before_lstar + GAIN_LSTAR);
        let design = match wider {
            Some(design) => design,
            None => plain?,
        };
        Ok(Design {
            polish: Some(Polish {
                span_before_lstar: before_lstar,
                span_after_lstar: design.span_lstar(),
                bands,
            }),
            ..design
        })
    }

    /// Adds the polished scheme of a band to those that come into question.
    fn polish_band(&self, all: &mut [Candidates], i: usize) -> Option<BandPolish> {
        (self.progress)(&format!("polishing the voltages of band {}", i + 1));
        let demand = self.search_demand();
        let (targets, goal) = match self.request.share {
            LadderShare::Common if all.len() > 1 => {
                let (targets, others) = self.others(all, i, demand)?;
                (targets, Goal::Common { demand, others })
            }
            _ => (self.ladder_of(&[&all[i]], demand)?, Goal::Widest(demand)),
        };
        let from = all[i].serving(&targets)?.clone();
        let search = self.search(all[i].pool.band, goal, self.request.budget_s);
        let polishing = Polishing {
            search: &search,
            drivers: &self.panel.drivers,
            from: &from,
            ladder: (&targets, demand.tolerance_steps),
        };
        let (start, bounds) = voltages(&from.scheme, &self.panel.drivers);
        let cost = |x: &[f64]| -polishing.judged(x).0;
        let before = cost(&start);
        let run = |&solver: &Solver| {
            let (at, evaluations) = solver.minimise(&cost, &start, &bounds);
            (solver, at, evaluations)
        };
        let found: Vec<_> = Solver::ALL.par_iter().map(run).collect();
        let gain = |at: &[f64]| (before - cost(at)).max(0.0);
        let tried = found.iter().map(|(solver, at, evaluations)| Tried {
            solver: *solver,
            gain_lstar: gain(at),
            evaluations: *evaluations,
        });
        let tried: Vec<Tried> = tried.collect();
        let best = (0..tried.len()).reduce(|best, k| {
            if tried[k].gain_lstar > tried[best].gain_lstar {
                k
            } else {
                best
            }
        })?;
        let gained = tried[best].gain_lstar > 0.0;
        if gained {
            let (_, ranked) = polishing.judged(&found[best].1);
            self.add(&mut all[i], vec![ranked]);
        }
        all[i].pool.evaluated += search.evaluated();
        Some(BandPolish {
            band: i,
            best: gained.then_some(tried[best].solver),
            tried,
        })
    }
}

/// A scheme whose voltages are moved.
struct Polishing<'a> {
    search: &'a Search<'a>,
    drivers: &'a Drivers,
    from: &'a Ranked,
    ladder: (&'a [f64], f64),
}

impl Polishing<'_> {
    fn judged(&self, at: &[f64]) -> (f64, Ranked) {
        let scheme = with_voltages(&self.from.scheme, self.drivers, at);
        self.search.off_grid(self.from, scheme, self.ladder)
    }
}

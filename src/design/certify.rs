//! Exhaustive looks over stated grids: for a wider ladder of the band that binds, and for the proof that there is none.

use super::certificate::branch::{Branching, Judge, Outcome};
use super::certificate::stated::Mesh;
use super::figures::span;
use super::ladder::Candidates;
use super::outcome::Design;
use super::plan::Planner;
use super::pool::Shortfall;
use super::reach::Scheme;
use super::search::{Goal, Search};
use crate::drive::Field;
use crate::waveforms::{Certificate, Lattice, RuledOut, RunnerUp};
use std::cell::Cell;
use std::time::Instant;

/// How often the narrowest band is looked through for a start that climbing missed.
const COARSE_ROUNDS: usize = 4;
/// How often the design is begun anew from what the fine grid holds.
const FINE_ROUNDS: usize = 2;
/// Work on a grid, in regions bounded; see [`Branching`].
const WORK: u64 = 6_000_000;
const WORK_COARSE: u64 = 300_000;
/// Regions that the certificate keeps: of a frame, and in all.
const KEPT_OF_FRAME: usize = 2;
const KEPT: usize = 48;
/// Share of the set's span that a scheme of another kind must show to be named.
const OTHERS_SHARE: f64 = 0.95;
/// Shares of a grid after which progress is told.
const TOLD_SHARE: f64 = 0.1;
/// Least gain in span for which a design is begun anew, L*.
const GAIN_LSTAR: f64 = 0.05;

/// Number of fields, place of the longest slot, directions, mirrored or not.
type Kind = (usize, usize, Vec<bool>, bool);

fn kind_of(scheme: &Scheme) -> Kind {
    let fields = &scheme.fields;
    let seconds = |f: &Field| f64::from(f.slot_ticks) * f.tick_s();
    let longer = |a: usize, b: usize| {
        if seconds(&fields[b]) > seconds(&fields[a]) {
            b
        } else {
            a
        }
    };
    (
        fields.len(),
        (0..fields.len()).reduce(longer).unwrap_or(0),
        fields.iter().map(|f| f.direction() < 0.0).collect(),
        scheme.is_mirrored(),
    )
}

impl Planner<'_> {
    /// Looks through a coarse grid of the narrowest band for better starts, as long as that widens its ladder.
    pub(super) fn widen_narrowest(&self, candidates: &mut [Candidates]) {
        for _ in 0..COARSE_ROUNDS {
            let demand = self.search_demand();
            let Some((band, span)) = self.narrowest(candidates) else {
                return;
            };
            let search = self.widest_search(&candidates[band]);
            let lattice = search.lattice(&Mesh::COARSE);
            let judge = |s: &Scheme, beyond: f64| search.span_beyond(s, demand, beyond);
            (self.progress)(&format!(
                "band {}: a start anywhere on a coarse grid",
                band + 1
            ));
            let outcome = self.branching(&search, &lattice, &judge).run(span, &|_| ());
            let Some(found) = outcome.best else { return };
            self.climb_from(&mut candidates[band], &search, &found.scheme(&lattice));
            // What looked good in a few rows and temperatures may not be in all.
            if self
                .narrowest(candidates)
                .is_none_or(|(_, now)| now <= span)
            {
                return;
            }
        }
    }

    /// The design, and that nothing on the fine grid is better or by how much it could be; begun anew where it holds
    /// something better.
    pub(super) fn certified(&self, candidates: &mut [Candidates]) -> Result<Design, Shortfall> {
        let mut design = self.proved(candidates)?;
        for round in 0..=FINE_ROUNDS {
            let Some(binding) = self.binding(candidates, &design) else {
                return Ok(design);
            };
            let search = self.widest_search(&candidates[binding]);
            let lattice = search.lattice(&Mesh::FINE);
            let span = span_of(&design, binding);
            let outcome = self.gone_through(&search, &lattice, binding, span);
            let better = outcome
                .best
                .as_ref()
                .filter(|b| b.span_lstar > span + GAIN_LSTAR);
            if let Some(better) = better.filter(|_| round < FINE_ROUNDS) {
                self.climb_from(&mut candidates[binding], &search, &better.scheme(&lattice));
                self.widen_together(candidates);
                if let Ok(wider) = self.proved(candidates)
                    && wider.span_lstar() > design.span_lstar()
                {
                    design = wider;
                    continue;
                }
            }
            let certificate = self.certificate(
                &candidates[binding],
                &search,
                lattice,
                &outcome,
                (binding, span),
            );
            design.set.certificate = Some(Box::new(certificate));
            break;
        }
        Ok(design)
    }

    /// The band with the narrowest ladder of its own, and that ladder's span as searches see it, L*.
    fn narrowest(&self, candidates: &[Candidates]) -> Option<(usize, f64)> {
        let own = |c: &Candidates| {
            let ladder = self.ladder_of(&[c], self.search_demand());
            ladder.map_or(0.0, |l| span(&l))
        };
        let spans: Vec<f64> = candidates.iter().map(own).collect();
        let narrower = |a: usize, b: usize| if spans[b] < spans[a] { b } else { a };
        (0..spans.len()).reduce(narrower).map(|b| (b, spans[b]))
    }

    /// The band whose own ladder exceeds its targets least.
    fn binding(&self, candidates: &[Candidates], design: &Design) -> Option<usize> {
        let room = |b: usize| {
            let ladder = self.ladder_of(&[&candidates[b]], self.demand());
            ladder.map_or(0.0, |l| span(&l)) - span_of(design, b)
        };
        let rooms: Vec<f64> = (0..candidates.len()).map(room).collect();
        let less = |a: usize, b: usize| if rooms[b] < rooms[a] { b } else { a };
        (0..rooms.len()).reduce(less)
    }

    fn widest_search(&self, candidates: &Candidates) -> Search<'_> {
        let goal = Goal::Widest(self.search_demand());
        self.search(candidates.pool.band, goal, self.request.budget_s)
    }

    fn branching<'b>(
        &'b self,
        search: &Search,
        lattice: &'b Lattice,
        judge: &'b Judge<'b>,
    ) -> Branching<'b> {
        Branching {
            lattice,
            response: self.response,
            climate: search.design_climate(),
            demand: self.search_demand(),
            judge,
            work: WORK_COARSE,
            sample: (KEPT_OF_FRAME, KEPT),
        }
    }

    fn gone_through(
        &self,
        search: &Search,
        lattice: &Lattice,
        band: usize,
        beyond_lstar: f64,
    ) -> Outcome {
        let demand = self.demand();
        let judge = |s: &Scheme, beyond: f64| search.span_beyond(s, demand, beyond);
        let branching = Branching {
            demand,
            work: WORK,
            ..self.branching(search, lattice, &judge)
        };
        let millions = lattice.schemes() as f64 / 1e6;
        let begun = Instant::now();
        let told = Cell::new(0.0);
        branching.run(beyond_lstar, &|share| {
            if share < told.get() {
                return;
            }
            told.set(told.get() + TOLD_SHARE);
            let taken_s = begun.elapsed().as_secs_f64();
            let left = if share > 0.0 {
                format!(", about {:.0} s left", taken_s * (1.0 - share) / share)
            } else {
                String::new()
            };
            (self.progress)(&format!(
                "certificate: {millions:.1} million schemes of band {}, {:.0} %{left}",
                band + 1,
                100.0 * share
            ));
        })
    }

    /// Adds what ascents from a scheme reach to a band's own.
    fn climb_from(&self, candidates: &mut Candidates, search: &Search, scheme: &Scheme) {
        let Some(place) = search.place_of(scheme) else {
            return;
        };
        let mut found = search.run(vec![place.clone()]);
        found.push(search.standing(place));
        candidates.pool.evaluated += search.evaluated();
        self.add_own(candidates, found);
    }

    fn certificate(
        &self,
        candidates: &Candidates,
        search: &Search,
        grid: Lattice,
        outcome: &Outcome,
        (band, span_lstar): (usize, f64),
    ) -> Certificate {
        let best = outcome.best.as_ref().map_or(0.0, |b| b.span_lstar);
        let bound_lstar = span_lstar.max(best).max(outcome.open_lstar);
        let (runner_up, others_beyond_lstar) = self.runner_up(candidates, search, span_lstar);
        let frames = grid.frames();
        let ruled_out = outcome.sample.iter().map(|r| {
            let [first, last] = r.region.ends();
            RuledOut {
                why: r.why,
                beyond_lstar: r.beyond_lstar,
                frame: frames[r.frame].clone(),
                first,
                last,
            }
        });
        Certificate {
            band,
            tolerance_steps: self.request.tolerance_steps,
            span_lstar,
            bound_lstar,
            gap_percent: 100.0 * (bound_lstar / span_lstar - 1.0),
            schemes: grid.schemes(),
            tally: outcome.tally,
            runner_up,
            others_beyond_lstar,
            temperature_c: search.design_climate().temperature_c,
            ruled_out: ruled_out.collect(),
            grid,
            kinetics: self.response.kinetics,
            curve: self.response.curve.clone(),
        }
    }

    /// The best scheme of another kind than the band's widest, on a sparse grid, and what it had to beat.
    fn runner_up(
        &self,
        candidates: &Candidates,
        search: &Search,
        span_lstar: f64,
    ) -> (Option<RunnerUp>, f64) {
        let beyond = OTHERS_SHARE * span_lstar;
        let own = self.ladder_of(&[candidates], self.demand());
        let Some(widest) = own.and_then(|l| candidates.serving(&l)) else {
            return (None, beyond);
        };
        (self.progress)("the best scheme of another kind");
        let kind = kind_of(&widest.scheme);
        let mut lattice = search.lattice(&Mesh::SPARSE);
        lattice
            .kinds
            .retain(|k| (k.fields.len(), k.filling, k.lightening(), k.mirrored) != kind);
        let demand = self.demand();
        let judge = |s: &Scheme, beyond: f64| search.span_beyond(s, demand, beyond);
        let branching = Branching {
            demand,
            ..self.branching(search, &lattice, &judge)
        };
        let outcome = branching.run(beyond, &|_| ());
        let runner_up = outcome.best.as_ref().map(|best| {
            let scheme = best.scheme(&lattice);
            RunnerUp {
                span_lstar: best.span_lstar,
                erase: scheme.erase,
                fields: scheme.fields,
            }
        });
        (runner_up, beyond.max(outcome.open_lstar))
    }
}

/// Span of a band's ladder, L*.
fn span_of(design: &Design, band: usize) -> f64 {
    design.bands[band].span_lstar
}

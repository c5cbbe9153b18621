//! From a request to a finished set: bands, their schemes, one ladder, the proof.

use super::choice::{Demand, Fineness, Span, Spots, common, step_of, united, widest};
use super::climate::BandClimate;
use super::outcome::{BandDesign, Design};
use super::proof::Finished;
use super::reach::{Climate, Reach, Scope, lstar_of};
use super::request::{LadderShare, Request};
use super::search::{Goal, Place, Ranked, Search, Space, spots_of, worst_steps};
use super::unmet;
use crate::drive::{Field, Timing};
use crate::error::Result;
use crate::project::Panel;
use crate::response::Response;
use crate::response::fit::Fit;

/// Numbers of bands that are tried, and the gain in span that pays for the next, L*.
const BAND_COUNTS: [usize; 8] = [1, 2, 3, 4, 6, 8, 12, 20];
const BAND_GAIN_LSTAR: f64 = 0.75;
/// Share of the tolerance that searches allow themselves: they see fewer rows and temperatures than the proof.
const SEARCH_SHARE: f64 = 0.95;
/// Share of the tolerance that temperature alone may take before a number of bands is searched at all.
const TEMPERATURE_SHARE: f64 = 0.7;
/// Descents from the coarse grid, and schemes carried from one search to the next.
const STARTS: usize = 5;
const CARRIED: usize = 3;
/// Rows that a ladder is chosen on, at most; every row is proved at the end.
const CHOICE_ROWS: usize = 96;
/// Temperatures that a ladder is chosen on, beyond the first.
const CHOICE_PARTS: usize = 4;
/// How often a ladder is chosen anew where the proof finds more than the choice saw.
const PROOF_ROUNDS: usize = 4;
/// Refinement of the final ladder's span, L*.
const FINAL: Fineness = Fineness {
    coarse_lstar: 0.25,
    fine_lstar: 0.005,
};

/// What all steps of a design share.
pub struct Planner<'a> {
    pub panel: &'a Panel,
    pub response: &'a Response,
    pub fit: &'a Fit,
    pub request: &'a Request,
    pub progress: &'a dyn Fn(&str),
}

/// A band with the schemes that came into question, best first.
#[derive(Debug, Clone)]
pub struct Pool {
    pub band: BandClimate,
    pub schemes: Vec<Ranked>,
    pub evaluated: usize,
}

/// A band's schemes with their exact spots.
struct Candidates<'a> {
    pool: &'a Pool,
    spots: Vec<Spots>,
}

impl Planner<'_> {
    pub fn demand(&self) -> Demand {
        Demand {
            levels: self.request.levels,
            tolerance_steps: self.request.tolerance_steps,
        }
    }

    pub fn search(&self, band: BandClimate, goal: Goal, budget_s: f64) -> Search<'_> {
        Search::new(Space {
            response: self.response,
            drivers: &self.panel.drivers,
            erases: &self.panel.erases,
            rows: self.panel.rows,
            budget_s,
            stretch: self.slowest(&band),
            goal,
            reach: band,
        })
    }

    /// The longest stretch that a band may come to need, by the liquid's speed and one step of the clock.
    fn slowest(&self, band: &BandClimate) -> f64 {
        let by_speed = band.by_speed(self.response, &self.panel.drivers);
        let longest = BandClimate::longest(&by_speed);
        if longest > 1.0 {
            longest + 4.0 * band.rounding
        } else {
            1.0
        }
    }

    pub fn design(&self) -> Result<Design> {
        unmet::budget_holds_the_erase(self)?;
        let pools = self.pools()?;
        let candidates: Vec<Candidates> = pools.iter().map(|p| self.candidates(p)).collect();
        let mut demand = self.demand();
        for _ in 0..PROOF_ROUNDS {
            let ladders = self.ladders(&candidates, demand)?;
            let (design, worst) = self.finished(&candidates, &ladders)?;
            if worst <= self.request.tolerance_steps {
                return Ok(design);
            }
            // The proof saw more than the choice: choose with that much less room.
            demand.tolerance_steps *= 0.995 * self.request.tolerance_steps / worst;
        }
        Err(unmet::explain(self, &pools))
    }

    /// Bands with schemes for each: the coldest first, by its widest ladder, the others to serve that ladder.
    fn pools(&self) -> Result<Vec<Pool>> {
        let limits = &self.panel.limits;
        if let Some(temperature_c) = self.request.temperature_c {
            let band = BandClimate::point(temperature_c);
            return Ok(vec![self.first_pool(band)?]);
        }
        let (bands, coldest) =
            self.band_count(limits.temperature_min_c, limits.temperature_max_c)?;
        let mut pools = vec![coldest];
        for band in bands.into_iter().skip(1) {
            (self.progress)(&format!("band from {} to {} °C", band.low_c, band.high_c));
            let next = self.next_pool(band, &pools);
            pools.push(next);
        }
        Ok(pools)
    }

    /// As many bands as widen the coldest band's ladder, which time binds hardest.
    fn band_count(&self, min_c: f64, max_c: f64) -> Result<(Vec<BandClimate>, Pool)> {
        (self.progress)(&format!("schemes at {min_c} °C"));
        let point = self.widest_pool(BandClimate::point(min_c), &[], STARTS);
        let law = self.response.kinetics.temperature;
        let mut best: Option<(Vec<BandClimate>, Pool)> = None;
        let mut tried = vec![point.clone()];
        for count in BAND_COUNTS {
            let bands = BandClimate::split(min_c, max_c, count, law, &self.panel.drivers);
            let Some(&coldest) = bands.first() else {
                continue;
            };
            if self.temperature_blur_steps(&coldest, &point)
                > TEMPERATURE_SHARE * self.request.tolerance_steps
            {
                continue;
            }
            (self.progress)(&format!(
                "coldest of {count} bands, {} to {} °C",
                coldest.low_c, coldest.high_c
            ));
            let seeds = if tried.len() == 1 { STARTS } else { 1 };
            let pool = self.widest_pool(coldest, &tried, seeds);
            let span = |p: &Pool| {
                p.schemes
                    .first()
                    .filter(|s| s.score.kept)
                    .map(|s| s.score.value)
            };
            let before = best.as_ref().and_then(|(_, p)| span(p));
            let gained =
                span(&pool).is_some_and(|s| before.is_none_or(|b| s >= b + BAND_GAIN_LSTAR));
            tried.push(pool.clone());
            if gained {
                best = Some((bands, pool));
            } else if before.is_some() {
                break;
            }
        }
        best.ok_or_else(|| unmet::explain(self, &tried))
    }

    /// What the band's ends alone make of a middle grey, half of it, in steps.
    fn temperature_blur_steps(&self, band: &BandClimate, pool: &Pool) -> f64 {
        let Some(best) = pool.schemes.first() else {
            return 0.0;
        };
        let (rows, drivers) = (self.panel.rows, &self.panel.drivers);
        let stretch = band.fitted(self.response, &best.scheme, rows, drivers);
        let half = |f: &Field| f.slot_ticks / 2;
        let grey = |c: Climate| {
            lstar_of(
                self.response,
                &best.scheme,
                rows,
                drivers.field_settle_ms,
                c,
                half,
                false,
            )
        };
        let greys: Vec<f64> = band.corners(&stretch).into_iter().map(grey).collect();
        let low = greys.iter().copied().fold(f64::INFINITY, f64::min);
        let high = greys.iter().copied().fold(f64::NEG_INFINITY, f64::max);
        let step = best.score.value.max(1.0) / (self.request.levels - 1) as f64;
        0.5 * (high - low) / step
    }

    fn first_pool(&self, band: BandClimate) -> Result<Pool> {
        let pool = self.widest_pool(band, &[], 2 * STARTS);
        match pool.schemes.first() {
            Some(best) if best.score.kept => Ok(pool),
            _ => Err(unmet::explain(self, &[pool])),
        }
    }

    /// The schemes with the widest ladders of a band alone, from those of other bands and from the coarse grid.
    fn widest_pool(&self, band: BandClimate, from: &[Pool], seeds: usize) -> Pool {
        let search = self.search(
            band,
            Goal::Widest(self.search_demand()),
            self.request.budget_s,
        );
        let mut starts: Vec<Place> = from
            .iter()
            .rev()
            .take(2)
            .flat_map(|p| p.places(CARRIED))
            .collect();
        starts.extend(search.seeds(seeds));
        let schemes = search.run(starts);
        Pool {
            band,
            schemes,
            evaluated: search.evaluated(),
        }
    }

    /// Schemes that serve the ladder of the first pool, and those with a wide one of their own.
    fn next_pool(&self, band: BandClimate, pools: &[Pool]) -> Pool {
        let starts: Vec<Place> = pools.last().map_or(Vec::new(), |p| p.places(CARRIED));
        let own = self.search(
            band,
            Goal::Widest(self.search_demand()),
            self.request.budget_s,
        );
        let mut schemes = own.run(starts.clone());
        let mut evaluated = own.evaluated();
        if self.request.share == LadderShare::Common {
            let first = pools.first().map(|p| self.candidates(p));
            let targets = first.and_then(|c| self.ladder_of(&[c], self.search_demand()));
            let goal = Goal::Serve {
                targets_lstar: targets.unwrap_or_default(),
            };
            let serve = self.search(band, goal, self.request.budget_s);
            let mut found = serve.run(starts);
            evaluated += serve.evaluated();
            found.append(&mut schemes);
            schemes = found;
        }
        Pool {
            band,
            schemes,
            evaluated,
        }
    }

    fn search_demand(&self) -> Demand {
        let demand = self.demand();
        Demand {
            tolerance_steps: SEARCH_SHARE * demand.tolerance_steps,
            ..demand
        }
    }

    fn candidates<'p>(&self, pool: &'p Pool) -> Candidates<'p> {
        let spots = |ranked: &Ranked| {
            let scope = Scope {
                response: self.response,
                panel_rows: self.panel.rows,
                settle_ms: self.panel.drivers.field_settle_ms,
                climates: pool.band.proof(&ranked.stretch, CHOICE_PARTS),
                rows: choice_rows(self.panel.rows),
            };
            spots_of(
                |a| self.response.curve.lstar(a),
                &Reach::new(&scope, &ranked.scheme),
            )
        };
        Candidates {
            pool,
            spots: pool.schemes.iter().map(spots).collect(),
        }
    }

    /// The targets of each band.
    fn ladders(&self, candidates: &[Candidates], demand: Demand) -> Result<Vec<Vec<f64>>> {
        let pools = || {
            candidates
                .iter()
                .map(|c| c.pool.clone())
                .collect::<Vec<_>>()
        };
        let missing = || unmet::explain(self, &pools());
        match self.request.share {
            LadderShare::Common => {
                let ladder = self.ladder_of(candidates, demand).ok_or_else(missing)?;
                Ok(vec![ladder; candidates.len()])
            }
            LadderShare::PerBand => candidates
                .iter()
                .map(|c| {
                    self.ladder_of(std::slice::from_ref(c), demand)
                        .ok_or_else(missing)
                })
                .collect(),
        }
    }

    /// The widest ladder that every one of the bands serves with some scheme.
    fn ladder_of(&self, candidates: &[Candidates], demand: Demand) -> Option<Vec<f64>> {
        let reach = candidates
            .iter()
            .flat_map(|c| &c.spots)
            .filter_map(Spots::ends);
        let longest = reach.map(|e| e.high - e.low).fold(0.0, f64::max);
        let darkest = |step: f64| -> Vec<Span> {
            let served =
                |c: &Candidates| united(c.spots.iter().map(|s| s.darkest_targets(demand, step)));
            candidates
                .iter()
                .map(served)
                .reduce(|a, b| common(&a, &b))
                .unwrap_or_default()
        };
        let bounds = Span {
            low: 1.0,
            high: longest * (1.0 + 1.0 / demand.levels as f64),
        };
        let (darkest_lstar, step) = widest(demand.levels, bounds, FINAL, darkest)?;
        Some(
            (0..demand.levels)
                .map(|i| darkest_lstar + i as f64 * step)
                .collect(),
        )
    }

    /// Every band on its ladder, proved; and the worst error of all, in steps.
    fn finished(&self, candidates: &[Candidates], ladders: &[Vec<f64>]) -> Result<(Design, f64)> {
        (self.progress)("proving every level, row and content");
        let mut bands = Vec::new();
        let mut reports: Vec<BandDesign> = Vec::new();
        for (c, targets) in candidates.iter().zip(ladders) {
            let Some((band, report)) = self.finished_band(c, targets) else {
                return Err(unmet::explain(self, &[c.pool.clone()]));
            };
            bands.push(band);
            reports.push(report);
        }
        let worst = bands
            .iter()
            .map(|b| b.figures.worst_error_steps)
            .fold(0.0, f64::max);
        Ok((self.assemble(bands, reports, ladders), worst))
    }

    fn finished_band(
        &self,
        c: &Candidates,
        targets: &[f64],
    ) -> Option<(crate::waveforms::Band, BandDesign)> {
        let ranks = c.pool.schemes.iter().zip(&c.spots);
        let (ranked, spots) =
            ranks.min_by(|a, b| worst_steps(a.1, targets).total_cmp(&worst_steps(b.1, targets)))?;
        let choices: Vec<usize> = targets
            .iter()
            .map(|&t| spots.best_for(t).map(|(s, _)| s.choice))
            .collect::<Option<_>>()?;
        let ticks: Vec<Vec<u32>> = choices
            .into_iter()
            .map(|i| ranked.scheme.ticks_of(i))
            .collect();
        let finished = Finished {
            response: self.response,
            scheme: &ranked.scheme,
            rows: self.panel.rows,
            settle_ms: self.panel.drivers.field_settle_ms,
            ticks: &ticks,
        };
        let extremes = finished.extremes(&c.pool.band, &ranked.stretch);
        let alone = self.ladder_of(std::slice::from_ref(c), self.demand());
        let span_of = |l: &[f64]| step_of(l) * (l.len() - 1) as f64;
        let report = BandDesign {
            timing: Timing::of(
                &ranked.scheme.erase,
                &ranked.scheme.fields,
                self.panel.rows,
                self.panel.drivers.field_settle_ms,
            ),
            longest_stretch: BandClimate::longest(&ranked.stretch),
            worst: extremes.worst(targets)?,
            span_lstar: span_of(targets),
            contrast: super::figures::contrast(targets),
            span_alone_lstar: alone.map_or(span_of(targets), |l| span_of(&l)),
            evaluated: c.pool.evaluated,
        };
        let band = self.band(&c.pool.band, ranked, &finished, &extremes, &report, targets);
        Some((band, report))
    }
}

impl Pool {
    fn places(&self, count: usize) -> Vec<Place> {
        self.schemes
            .iter()
            .take(count)
            .map(|s| s.place.clone())
            .collect()
    }
}

/// All rows of a small panel; of a large one the first ones, where the erase is still felt, and some of the rest.
fn choice_rows(rows: usize) -> Vec<usize> {
    if rows <= CHOICE_ROWS {
        return (0..rows).collect();
    }
    let first = CHOICE_ROWS / 3;
    let rest = CHOICE_ROWS - first;
    let spread = (0..rest).map(|k| first + k * (rows - 1 - first) / (rest - 1));
    (0..first).chain(spread).collect()
}

/// The stretch entries of a band's file; none where nothing is stretched.
pub fn stretch_entries(stretch: &[Climate]) -> Vec<crate::waveforms::StretchAt> {
    if stretch.iter().all(|c| c.stretch == 1.0) {
        return Vec::new();
    }
    let entry = |c: &Climate| crate::waveforms::StretchAt {
        temperature_c: c.temperature_c,
        factor: c.stretch,
    };
    stretch.iter().map(entry).collect()
}

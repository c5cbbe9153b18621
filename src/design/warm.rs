//! A design begun with schemes that served a request like it, in place of a search from nothing.

use super::climate::BandClimate;
use super::ladder::Candidates;
use super::outcome::Design;
use super::plan::Planner;
use super::pool::{Pool, Shortfall};
use super::reach::Scheme;
use super::request::LadderShare;
use super::search::{Goal, Place, Ranked, Search};

/// Schemes that a search begins with, at most: at the coldest temperature, where the others begin; in its band; in the others.
const BEGUN_COLDEST: usize = 5;
const BEGUN_COLD: usize = 3;
const BEGUN: usize = 2;
/// Of the schemes of the coldest temperature, how many its band begins with.
const FROM_COLDEST: usize = 2;
/// Numbers of bands that are tried with each clock, beside those whose coldest band alone has no ladder.
const COUNTS_TRIED: usize = 2;
/// A band that takes less than this of the common ladder joins as it stands, L*.
const TAKEN_LSTAR: f64 = 0.15;
/// A band that takes more than this of it is searched for one that all serve, L*.
const GIVEN_UP_LSTAR: f64 = 0.5;

/// A scheme that was found, the temperature that its durations are for, and the factor on them there.
#[derive(Debug, Clone, PartialEq)]
pub struct Start {
    pub temperature_c: f64,
    pub factor: f64,
    pub scheme: Scheme,
}

/// Schemes to begin with, those before others preferred: for the coldest temperature alone, and for bands.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Starts {
    pub coldest: Vec<Start>,
    pub bands: Vec<Start>,
}

/// A design with the schemes that it was chosen from.
#[derive(Debug, Clone)]
pub struct Made {
    pub design: Design,
    pub candidates: Vec<Candidates>,
    /// Schemes for the coldest temperature alone, or the one asked for.
    pub coldest: Pool,
}

impl Pool {
    /// Its schemes, best first.
    pub(super) fn as_starts(&self) -> impl Iterator<Item = Start> + '_ {
        self.schemes.iter().map(|s| Start {
            temperature_c: self.band.design_c,
            factor: self.band.factor,
            scheme: s.scheme.clone(),
        })
    }
}

impl Made {
    /// For a request like the one it meets: its bands' schemes, and the best of the coldest temperature.
    pub fn starts(&self) -> Starts {
        let bands = self.design.set.bands.iter().map(|b| Start {
            temperature_c: b.temperature_c.design,
            factor: b.stretch_factor(b.temperature_c.design),
            scheme: Scheme {
                erase: b.erase.clone(),
                fields: b.fields.clone(),
            },
        });
        Starts {
            coldest: self.coldest.as_starts().take(FROM_COLDEST).collect(),
            bands: bands.collect(),
        }
    }
}

impl Starts {
    /// These, then those.
    pub fn and(mut self, more: &Starts) -> Starts {
        self.coldest.extend(more.coldest.iter().cloned());
        self.bands.extend(more.bands.iter().cloned());
        self
    }

    /// From pools that a search of everything left, the last searched first.
    pub(super) fn of(pools: &[Pool]) -> Starts {
        let each = pools.iter().rev();
        let all: Vec<Start> = each
            .flat_map(|p| p.as_starts().take(FROM_COLDEST))
            .collect();
        Starts {
            coldest: all.clone(),
            bands: all,
        }
    }
}

impl Planner<'_> {
    /// The design that is reached from `starts`, proved as every other; or the schemes that were found instead.
    pub(super) fn attempt_from(&self, starts: &Starts) -> Result<Made, Shortfall> {
        let at_c = self.request.temperature_c.unwrap_or(self.range_c.0);
        let coldest = BandClimate::point(at_c);
        let coldest = self.warm_pool(coldest, &starts.coldest, BEGUN_COLDEST);
        let short = || Shortfall::in_pool(coldest.clone());
        if coldest.span_lstar().is_none() {
            return Err(short());
        }
        if self.request.temperature_c.is_some() {
            return self.made(vec![self.candidates(coldest.clone())], &coldest);
        }
        let mut last = short();
        let splits = self.splits_for(&coldest);
        for clock in splits.chunk_by(|a, b| a[0].is_slowed() == b[0].is_slowed()) {
            let mut tried = 0;
            for bands in clock {
                if tried == COUNTS_TRIED {
                    break;
                }
                let Some(first) = self.first_pool(bands, &coldest, starts) else {
                    continue;
                };
                tried += 1;
                let joined = self.joined(bands, first, &starts.bands);
                match joined.and_then(|all| self.made(all, &coldest)) {
                    Ok(made) => return Ok(made),
                    Err(shortfall) => last = shortfall,
                }
            }
        }
        Err(last)
    }

    /// With the schemes that led to another design of the same panel and budget.
    pub(super) fn again(&self, made: &Made) -> Result<Made, Shortfall> {
        self.made(made.candidates.clone(), &made.coldest)
    }

    /// The best for the coldest temperature alone that so many places of the coarse grid lead to.
    pub(super) fn seeded(&self, seeds: usize) -> Starts {
        let at_c = self.request.temperature_c.unwrap_or(self.range_c.0);
        let pool = self.widest_pool(BandClimate::point(at_c), &[], seeds);
        Starts {
            coldest: pool.as_starts().take(FROM_COLDEST).collect(),
            bands: Vec::new(),
        }
    }

    /// The candidates' widest ladder, proved.
    fn made(&self, candidates: Vec<Candidates>, coldest: &Pool) -> Result<Made, Shortfall> {
        let design = self.proved(&candidates)?;
        Ok(Made {
            design,
            candidates,
            coldest: coldest.clone(),
        })
    }

    /// The splits in which temperature leaves the best scheme of a pool enough of the tolerance, fewest bands first.
    fn splits_for(&self, pool: &Pool) -> Vec<Vec<BandClimate>> {
        let splits = self.splits();
        let blur_steps = |i: usize| self.temperature_blur_steps(&splits[i][0], pool);
        let narrow = (0..splits.len()).filter(|&i| self.narrow_enough(&splits, i, blur_steps(i)));
        narrow.map(|i| splits[i].clone()).collect()
    }

    /// Schemes of the first of some bands; `None` where none of them has a ladder.
    fn first_pool(&self, bands: &[BandClimate], coldest: &Pool, starts: &Starts) -> Option<Pool> {
        let mut cold: Vec<Start> = coldest.as_starts().take(FROM_COLDEST).collect();
        cold.extend(near(&bands[0], &starts.bands));
        let first = self.warm_pool(bands[0], &cold, BEGUN_COLD);
        first.span_lstar().is_some().then_some(first)
    }

    /// Schemes for each band, from those of the first: band by band, each with the scheme of the one before where it serves.
    pub(super) fn joined(
        &self,
        bands: &[BandClimate],
        first: Pool,
        starts: &[Start],
    ) -> Result<Vec<Candidates>, Shortfall> {
        let mut all = vec![self.candidates(first)];
        for &band in &bands[1..] {
            self.join(band, &mut all, starts);
            if self.ladders(&all, self.demand()).is_none() {
                return Err(Shortfall::of(&all));
            }
        }
        Ok(all)
    }

    /// Schemes with the widest ladders of a band, reached from the first `most` of some.
    fn warm_pool(&self, band: BandClimate, starts: &[Start], most: usize) -> Pool {
        let goal = Goal::Widest(self.search_demand());
        let search = self.search(band, goal, self.request.budget_s);
        let schemes = search.run(self.begun(&search, &band, starts, most));
        Pool::of(band, schemes, search.evaluated())
    }

    /// Adds a band: with the scheme of the band before it where that keeps the common ladder, else with one that lets it be
    /// as wide as may be.
    fn join(&self, band: BandClimate, all: &mut Vec<Candidates>, starts: &[Start]) {
        let demand = self.search_demand();
        let mut from: Vec<Start> = serving(self, all).into_iter().collect();
        from.extend(near(&band, starts));
        if self.request.share == LadderShare::PerBand {
            let pool = self.warm_pool(band, &from, BEGUN);
            return all.push(self.candidates(pool));
        }
        // Where the bands so far have none with room to spare, one at the whole tolerance must do.
        let (demand, span_lstar) = [demand, self.demand()]
            .into_iter()
            .map(|d| (d, self.common_span(all, d)))
            .find(|(_, span_lstar)| *span_lstar > 0.0)
            .unwrap_or((demand, 0.0));
        let search = self.search(band, Goal::Widest(demand), self.request.budget_s);
        let places = self.begun(&search, &band, &from, BEGUN);
        let stand = places.iter().cloned();
        let schemes: Vec<Ranked> = stand.map(|p| search.standing(p)).collect();
        let pool = Pool::of(band, schemes, search.evaluated());
        all.push(self.candidates(pool));
        if self.common_span(all, demand) >= span_lstar - TAKEN_LSTAR {
            return;
        }
        let last = all.len() - 1;
        let before: Vec<&Candidates> = all[..last].iter().collect();
        if let Some(targets_lstar) = self.ladder_of(&before, demand) {
            self.look(&mut all[last], Goal::Serve { targets_lstar }, places);
        }
        if self.common_span(all, demand) >= span_lstar - GIVEN_UP_LSTAR {
            return;
        }
        let Some((targets, others)) = self.others(all, last, demand) else {
            return;
        };
        let served = all[last].serving(&targets).map(|s| s.place.clone());
        let goal = Goal::Common { demand, others };
        self.look(&mut all[last], goal, served.into_iter().collect());
    }
}

/// The scheme of the last band that serves the ladder common to all best.
fn serving(planner: &Planner, all: &[Candidates]) -> Option<Start> {
    let each: Vec<&Candidates> = all.iter().collect();
    let last = all.last()?;
    let ladder = planner.ladder_of(&each, planner.search_demand());
    let ranked = match ladder {
        Some(targets) => last.serving(&targets)?,
        None => last.pool.schemes.first()?,
    };
    Some(Start {
        temperature_c: last.pool.band.design_c,
        factor: last.pool.band.factor,
        scheme: ranked.scheme.clone(),
    })
}

/// Of each of several designs one after another, the scheme from the temperature nearest to a band's.
fn near(band: &BandClimate, starts: &[Start]) -> Vec<Start> {
    let far = |s: &Start| (s.temperature_c - band.design_c).abs();
    // A design's bands stand coldest first.
    let designs = starts.chunk_by(|a, b| a.temperature_c < b.temperature_c);
    let nearest = |d: &[Start]| d.iter().min_by(|a, b| far(a).total_cmp(&far(b))).cloned();
    designs.filter_map(nearest).collect()
}

impl Planner<'_> {
    /// Places to begin with, `most` at most: the starts' durations are as much shorter as the liquid is faster.
    fn begun(
        &self,
        search: &Search,
        band: &BandClimate,
        starts: &[Start],
        most: usize,
    ) -> Vec<Place> {
        let speed = |c: f64| self.response.kinetics.temperature.speed(c);
        let place = |s: &Start| {
            let faster = speed(s.temperature_c) / speed(band.design_c);
            search.nearest(&s.scheme, faster * s.factor / band.factor)
        };
        let mut places: Vec<Place> = Vec::new();
        for place in starts.iter().filter_map(place) {
            if places.len() < most && !places.contains(&place) {
                places.push(place);
            }
        }
        places
    }
}

//! From a request to a finished set: bands, schemes for each, one ladder, the proof.

use super::assurance::Assurance;
use super::assuring;
use super::band_count::BAND_GAIN_LSTAR;
use super::charge::ChargeLimit;
use super::choice::Demand;
use super::climate::BandClimate;
use super::erases::{sized, usable};
use super::figures::Draft;
use super::ladder::Candidates;
use super::outcome::{BandTrial, Design, TrialOutcome};
use super::pool::{Pool, Shortfall};
use super::request::{LadderShare, Request};
use super::search::{Goal, Place, Search, Space};
use super::unmet;
use super::warm::Starts;
use crate::drive::Erase;
use crate::error::Result;
use crate::project::Panel;
use crate::response::Response;
use crate::response::fit::Fit;

/// Share of the tolerance that searches allow themselves: they see fewer rows and temperatures than the proof.
const SEARCH_SHARE: f64 = 0.95;
/// Ascents from the coarse grid, and schemes carried from one search to the next.
const STARTS: usize = 8;
const CARRIED: usize = 3;
/// Ascents from the coarse grid in every band but the coldest.
const OWN_STARTS: usize = 2;
/// The same in a brief search, for the coldest temperature alone.
const STARTS_BRIEF: usize = 3;
/// Ascents from the coarse grid where only the existence of a design is asked.
const STARTS_QUICK: usize = 2;
/// How often every band in turn is searched for a wider common ladder.
const COMMON_ROUNDS: usize = 2;
/// Numbers of bands searched in full, at most, where the proof bears out none: what binds is then not the bands' width.
const FULL_SEARCHES: usize = 3;
/// Beyond so many bands each is searched for itself only where schemes found band by band don't go together.
const FEW_BANDS: usize = 6;
/// How often a ladder is chosen anew where the proof finds more than the choice saw.
const PROOF_ROUNDS: usize = 5;

const BRIEF_FAILED: &str =
    "The quick search found no scheme that meets the request, so the whole search followed.";

/// What all steps of a design share.
pub struct Planner<'a> {
    pub panel: &'a Panel,
    pub response: &'a Response,
    pub fit: &'a Fit,
    pub request: &'a Request,
    /// Coldest and warmest, °C.
    pub range_c: (f64, f64),
    pub effort: Effort,
    /// Absent: the tolerance holds for the panel that was read.
    pub assurance: Option<&'a Assurance>,
    /// Zones of rows that schemes may be given from the first.
    pub zones: usize,
    pub progress: &'a (dyn Fn(&str) + 'a),
}

/// What a brief search leaves out.
pub(super) fn brief_leaves_out() -> String {
    format!(
        "search over schemes: {STARTS_BRIEF} ascents at the coldest temperature in place of {STARTS} there and {STARTS} in the \
         coldest band, warmer bands only to serve the coldest one's ladder; of the numbers of bands only the first that serves; \
         no grid is gone through whole, voltages of rails without a step are not polished; the proof is whole"
    )
}

/// How hard a design is looked for.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Effort {
    /// As well as can be.
    Full,
    /// A good one in a fraction of the time.
    Brief,
    /// Just whether there is one.
    Quick,
}

impl<'a> Planner<'a> {
    /// Over the panel's whole range of temperatures, as well as can be.
    pub fn new(
        panel: &'a Panel,
        fit: &'a Fit,
        request: &'a Request,
        progress: &'a dyn Fn(&str),
    ) -> Self {
        let limits = &panel.limits;
        Planner {
            panel,
            response: &fit.response,
            fit,
            request,
            range_c: (limits.temperature_min_c, limits.temperature_max_c),
            effort: Effort::Full,
            assurance: None,
            zones: 1,
            progress,
        }
    }
}

impl Planner<'_> {
    pub fn design(&self) -> Result<Design> {
        let (min_c, _) = self.range_c;
        let coldest = BandClimate::point(self.request.temperature_c.unwrap_or(min_c));
        let erases = sized(self.panel, self.response, &coldest);
        unmet::budget_holds_an_erase(self.panel, self.request, &erases)?;
        self.attempt_shaded()
            .or_else(|shortfall| self.attempt_in_full(shortfall))
            .or_else(|shortfall| self.attempt_from_found(shortfall))
            .or_else(|shortfall| self.attempt_by_zones(shortfall))
            .or_else(|shortfall| self.attempt_narrower(shortfall))
            .map_err(|shortfall| match &shortfall.assured {
                Some(best) => assuring::explain(self, best),
                None => unmet::explain(self, &shortfall.pools),
            })
    }

    /// What a search of everything misses, one from the best that it found may not.
    fn attempt_from_found(&self, shortfall: Shortfall) -> std::result::Result<Design, Shortfall> {
        if self.assurance.is_some() {
            return Err(shortfall);
        }
        let again = self.attempt_from(&Starts::of(&shortfall.pools));
        again.map(|made| made.design).map_err(|_| shortfall)
    }

    /// What a brief search didn't find, a whole one may.
    fn attempt_in_full(&self, shortfall: Shortfall) -> std::result::Result<Design, Shortfall> {
        if self.effort != Effort::Brief || shortfall.assured.is_some() {
            return Err(shortfall);
        }
        let whole = Planner {
            effort: Effort::Full,
            ..*self
        };
        let mut design = whole.attempt_shaded()?;
        design.notes.push(BRIEF_FAILED.into());
        Ok(design)
    }

    /// The design, by zones of rows where these differ too much.
    fn attempt_shaded(&self) -> std::result::Result<Design, Shortfall> {
        let (design, candidates) = self.searched()?;
        Ok(self.shaded_by_zones(design, &candidates))
    }

    /// What no table serves in all rows, tables by zones may.
    fn attempt_by_zones(&self, shortfall: Shortfall) -> std::result::Result<Design, Shortfall> {
        if shortfall.assured.is_some() {
            return Err(shortfall);
        }
        self.met_by_zones().ok_or(shortfall)
    }

    /// The design, or what was found instead.
    pub fn attempt(&self) -> std::result::Result<Design, Shortfall> {
        self.searched().map(|(design, _)| design)
    }

    /// The same with the schemes that it was chosen from.
    pub(super) fn searched(&self) -> std::result::Result<(Design, Vec<Candidates>), Shortfall> {
        if let Some(temperature_c) = self.request.temperature_c {
            let alone = self.widest_pool(BandClimate::point(temperature_c), &[], 2 * self.starts());
            let mut candidates = vec![self.candidates(alone)];
            let design = self.best_of(&mut candidates)?;
            return Ok((design, candidates));
        }
        let splits = self.splits();
        let mut first = 0;
        let mut trials = Vec::new();
        let mut searched = 0;
        loop {
            searched += 1;
            let (split, coldest) = self.band_count(&splits, first, &mut trials)?;
            first = split + 1;
            match self.in_bands(&splits[..=split], coldest) {
                // The coldest band has a ladder, but not all bands together: others may.
                Err(short)
                    if short.assured.is_none()
                        && self.effort != Effort::Quick
                        && searched < FULL_SEARCHES
                        && first < splits.len() =>
                {
                    let failed = trials.iter_mut().filter(|t| t.is_of(&splits[split]));
                    failed.for_each(|t: &mut BandTrial| t.outcome = TrialOutcome::NotTogether);
                }
                outcome => {
                    let (mut design, candidates) = outcome?;
                    design.bands_tried = trials;
                    return Ok((design, candidates));
                }
            }
        }
    }

    /// The best design in the last of some splits, from schemes of its coldest band.
    fn in_bands(
        &self,
        splits: &[Vec<BandClimate>],
        coldest: Pool,
    ) -> std::result::Result<(Design, Vec<Candidates>), Shortfall> {
        let mut candidates = match self.effort {
            Effort::Full => self.widest_together(splits, coldest),
            _ => self.joined(&splits[splits.len() - 1], coldest, &[])?,
        };
        let design = self.best_of(&mut candidates)?;
        Ok((design, candidates))
    }

    /// Schemes for the bands of the last of some splits: found band by band for what the bands before leave, from the coldest's
    /// own and from those of a brief search; or each for itself. Which go better together can't be told beforehand.
    fn widest_together(&self, splits: &[Vec<BandClimate>], coldest: Pool) -> Vec<Candidates> {
        let last = splits.len() - 1;
        let bands = &splits[last];
        if self.request.share == LadderShare::PerBand {
            return self.bands(bands, coldest);
        }
        let brief = Planner {
            effort: Effort::Brief,
            ..*self
        };
        let found = brief.band_count(splits, last, &mut Vec::new());
        let briefly = found.and_then(|(_, coldest)| self.joined(bands, coldest, &[]));
        let joined = self.joined(bands, coldest.clone(), &[]);
        let mut ways: Vec<Vec<Candidates>> = joined.into_iter().chain(briefly).collect();
        if ways.is_empty() || bands.len() <= FEW_BANDS {
            ways.push(self.bands(bands, coldest));
        }
        let widened = |mut way: Vec<Candidates>| {
            self.widen_together(&mut way);
            (self.common_span(&way, self.demand()), way)
        };
        let wider = |a: (f64, Vec<Candidates>), b: (f64, Vec<Candidates>)| {
            if b.0 > a.0 { b } else { a }
        };
        let widest = ways.into_iter().map(widened).reduce(wider);
        widest.map_or(Vec::new(), |(_, way)| way)
    }

    /// The best design with these candidates and what exhaustive looks, and polished voltages, add to them; proved at once where
    /// time is short.
    fn best_of(&self, candidates: &mut [Candidates]) -> std::result::Result<Design, Shortfall> {
        if self.effort == Effort::Full {
            self.widen_narrowest(candidates);
        }
        if self.effort != Effort::Quick {
            self.widen_together(candidates);
        }
        match (self.effort, self.zones) {
            (Effort::Full, 1) => self.certified_polished(candidates),
            // The fine grid is gone through for one table in all rows.
            _ => self.proved(candidates),
        }
    }

    /// The bands on the widest ladder that the proof bears out.
    pub(super) fn proved(
        &self,
        candidates: &[Candidates],
    ) -> std::result::Result<Design, Shortfall> {
        let draft = self.draft(candidates, self.demand());
        self.proved_from(candidates, draft)
    }

    /// The same, begun with the draft of what is asked.
    pub(super) fn proved_from(
        &self,
        candidates: &[Candidates],
        mut draft: Option<Draft>,
    ) -> std::result::Result<Design, Shortfall> {
        let short = || Shortfall::of(candidates);
        let mut demand = self.demand();
        for _ in 0..PROOF_ROUNDS {
            let drafted = draft.ok_or_else(short)?;
            (self.progress)("proving every level, row and content");
            let design = self.finished(candidates, &drafted).ok_or_else(short)?;
            let errors = design.set.bands.iter().map(|b| b.figures.worst_error_steps);
            let worst = errors.fold(0.0, f64::max);
            if worst <= self.request.tolerance_steps {
                return self.assured(candidates, design);
            }
            // The proof saw more than the choice: choose with that much less room.
            demand.tolerance_steps *= 0.998 * self.request.tolerance_steps / worst;
            draft = self.draft(candidates, demand);
        }
        Err(short())
    }

    pub(super) fn starts(&self) -> usize {
        match self.effort {
            Effort::Full => STARTS,
            Effort::Brief => STARTS_BRIEF,
            Effort::Quick => STARTS_QUICK,
        }
    }

    pub fn demand(&self) -> Demand {
        Demand {
            levels: self.request.levels,
            tolerance_steps: self.request.tolerance_steps,
        }
    }

    pub fn search_demand(&self) -> Demand {
        let demand = self.demand();
        Demand {
            tolerance_steps: SEARCH_SHARE * demand.tolerance_steps,
            ..demand
        }
    }

    pub fn search(&self, band: BandClimate, goal: Goal, budget_s: f64) -> Search<'_> {
        let pins = &self.request.pins;
        let named = |e: &Erase| pins.erase.as_ref().is_none_or(|name| *name == e.name);
        let erases = sized(self.panel, self.response, &band);
        Search::new(Space {
            response: self.response,
            drivers: &self.panel.drivers,
            own_erases: usable(self.panel).iter().filter(|e| named(e)).count(),
            erases: erases.into_iter().filter(named).collect(),
            pins,
            rows: self.panel.rows,
            budget_s,
            stretch: self.slowest(&band),
            goal,
            charge: ChargeLimit::of(self.panel),
            judged_from: self.judged_from(),
            band,
        })
    }

    /// The longest stretch that a band may come to need: by the liquid's speed, and a step of the clock.
    fn slowest(&self, band: &BandClimate) -> f64 {
        let longest = band.longest(&band.by_speed(self.response, &self.panel.drivers));
        if longest > band.factor {
            longest + 2.0 * band.rounding
        } else {
            band.factor
        }
    }

    /// Schemes for each band: the coldest's by its widest ladder, which time binds hardest, the others' to serve it.
    fn bands(&self, bands: &[BandClimate], coldest: Pool) -> Vec<Candidates> {
        let mut all = vec![self.candidates(coldest)];
        for &band in bands.iter().skip(1) {
            (self.progress)(&format!("band from {} to {} °C", band.low_c, band.high_c));
            let next = self.next_pool(band, &all);
            all.push(self.candidates(next));
        }
        all
    }

    /// The schemes with the widest ladders of a band, from those of the last searches and from the coarse grid.
    pub(super) fn widest_pool(&self, band: BandClimate, from: &[Pool], seeds: usize) -> Pool {
        let search = self.search(
            band,
            Goal::Widest(self.search_demand()),
            self.request.budget_s,
        );
        let carried = |p: &'_ Pool| -> Vec<Place> {
            if p.band.factor == band.factor {
                return p.places(CARRIED);
            }
            let shorter = p.band.factor / band.factor;
            let schemes = p.schemes.iter().take(CARRIED);
            let near = schemes.filter_map(|s| search.nearest(&s.scheme, shorter));
            near.collect()
        };
        let mut starts: Vec<Place> = from.iter().rev().take(2).flat_map(carried).collect();
        starts.extend(search.seeds(seeds));
        let schemes = search.run(starts);
        Pool::of(band, schemes, search.evaluated())
    }

    /// Schemes with a wide ladder of the band's own; and, for a common ladder, those that serve the first band's.
    fn next_pool(&self, band: BandClimate, before: &[Candidates]) -> Pool {
        let coldest: Vec<Pool> = before.first().map(|c| c.pool.clone()).into_iter().collect();
        let common = self.request.share == LadderShare::Common;
        let mut pool = self.widest_pool(band, &coldest, OWN_STARTS);
        if !common {
            return pool;
        }
        let first = before
            .first()
            .and_then(|c| self.ladder_of(&[c], self.search_demand()));
        if let Some(targets_lstar) = first {
            let serve = self.search(band, Goal::Serve { targets_lstar }, self.request.budget_s);
            let starts = before
                .last()
                .map_or(Vec::new(), |c| c.pool.serving_places(CARRIED));
            pool.schemes.extend(serve.run(starts));
            pool.evaluated += serve.evaluated();
        }
        pool
    }

    /// Adds what a search of a band finds.
    pub(super) fn look(&self, band: &mut Candidates, goal: Goal, from: Vec<Place>) {
        let search = self.search(band.pool.band, goal, self.request.budget_s);
        let found = search.run(from);
        band.pool.evaluated += search.evaluated();
        self.add(band, found);
    }

    /// Each band in turn looks for a scheme that lets the common ladder be wider, the others standing; nothing to do for ladders
    /// of their own.
    pub(super) fn widen_together(&self, candidates: &mut [Candidates]) {
        if self.request.share == LadderShare::PerBand || candidates.len() < 2 {
            return;
        }
        for round in 0..COMMON_ROUNDS {
            let demand = self.search_demand();
            let before = self.common_span(candidates, demand);
            for i in 0..candidates.len() {
                let Some((targets, others)) = self.others(candidates, i, demand) else {
                    continue;
                };
                // Nothing to win where the other bands have none wider.
                if !others.wider_than(self.common_span(candidates, demand)) {
                    continue;
                }
                (self.progress)(&format!(
                    "common ladder, round {}, band {}",
                    round + 1,
                    i + 1
                ));
                let goal = Goal::Common { demand, others };
                let mut starts: Vec<Place> = candidates[i]
                    .serving(&targets)
                    .map(|s| s.place.clone())
                    .into_iter()
                    .collect();
                if round == 0 {
                    let own = candidates[i].pool.places(CARRIED).into_iter();
                    let more: Vec<Place> = own.filter(|p| !starts.contains(p)).collect();
                    starts.extend(more);
                }
                self.look(&mut candidates[i], goal, starts);
            }
            if self.common_span(candidates, demand) < before + BAND_GAIN_LSTAR * 0.1 {
                break;
            }
        }
    }
}

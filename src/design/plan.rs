//! From a request to a finished set: bands, schemes for each, one ladder, the proof.

use super::assurance::Assurance;
use super::assuring;
use super::charge::ChargeLimit;
use super::choice::Demand;
use super::climate::BandClimate;
use super::erases::{sized, usable};
use super::figures::Draft;
use super::ladder::Candidates;
use super::outcome::{BandTrial, Design, TrialOutcome};
use super::pool::{Pool, Shortfall};
use super::request::Request;
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
pub(super) const CARRIED: usize = 3;
/// Ascents from the coarse grid in a brief search, for the coldest temperature alone.
const STARTS_BRIEF: usize = 3;
/// Ascents from the coarse grid where only the existence of a design is asked.
const STARTS_QUICK: usize = 2;
/// Numbers of bands searched in full, at most, where the proof bears out none: what binds is then not the bands' width.
const FULL_SEARCHES: usize = 3;
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
         coldest band, warmer bands only for the ladder that the colder ones leave; of the numbers of bands only the first that serves; \
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

    /// The best design with these candidates and what exhaustive looks, and polished voltages, add to them; proved at once where
    /// time is short.
    pub(super) fn best_of(
        &self,
        candidates: &mut [Candidates],
    ) -> std::result::Result<Design, Shortfall> {
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

    /// Adds what a search of a band finds.
    pub(super) fn look(&self, band: &mut Candidates, goal: Goal, from: Vec<Place>) {
        let search = self.search(band.pool.band, goal, self.request.budget_s);
        let found = search.run(from);
        band.pool.evaluated += search.evaluated();
        self.add(band, found);
    }
}

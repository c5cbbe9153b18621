//! Bands that go together: schemes for each, and one ladder for all, as wide as can be.

use super::band_count::BAND_GAIN_LSTAR;
use super::climate::BandClimate;
use super::ladder::Candidates;
use super::outcome::Design;
use super::plan::{CARRIED, Effort, Planner};
use super::pool::{Pool, Shortfall};
use super::request::LadderShare;
use super::search::{Goal, Place};

/// Ascents from the coarse grid in every band but the coldest.
const OWN_STARTS: usize = 2;
/// How often every band in turn is searched for a wider common ladder.
const COMMON_ROUNDS: usize = 2;
/// Beyond so many bands each is searched for itself only where schemes found band by band don't go together.
const FEW_BANDS: usize = 6;

impl Planner<'_> {
    /// The best design in the last of some splits, from schemes of its coldest band.
    pub(super) fn in_bands(
        &self,
        splits: &[Vec<BandClimate>],
        coldest: Pool,
    ) -> Result<(Design, Vec<Candidates>), Shortfall> {
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

    /// Each band in turn looks for a scheme that lets the common ladder be wider, the others standing; nothing to do for ladders
    /// of their own.
    pub(super) fn widen_together(&self, candidates: &mut [Candidates]) {
        if self.request.share == LadderShare::PerBand || candidates.len() < 2 {
            return;
        }
        for round in 0..COMMON_ROUNDS {
            let demand = self.search_demand();
            let before = self.common_span(candidates, demand);
            let mut span_lstar = before;
            for i in 0..candidates.len() {
                let Some((targets, others)) = self.others(candidates, i, demand) else {
                    continue;
                };
                // Nothing to win where the other bands have none wider.
                if !others.wider_than(span_lstar) {
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
                span_lstar = self.common_span(candidates, demand);
            }
            if span_lstar < before + BAND_GAIN_LSTAR * 0.1 {
                break;
            }
        }
    }
}

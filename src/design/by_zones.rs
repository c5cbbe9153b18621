//! Zones of rows as a step after the search: where rows differ too much, or where nothing serves all of them.

use super::choice::Demand;
use super::climate::BandClimate;
use super::ladder::{Candidates, Looked};
use super::outcome::{BandDesign, Design, WithoutZones};
use super::plan::Planner;
use super::pool::Pool;
use super::search::Ranked;
use super::zones::{CutFor, Cuts};

/// Share of the span that zones against shading keep at least: the first row may not get as dark as the others.
const KEPT_SPAN: f64 = 0.9;
/// Where zones are looked for because nothing serves all rows alike, schemes are judged by the rows behind this share of the
/// panel.
const JUDGED_SHARE: f64 = 0.125;

impl Planner<'_> {
    /// First row that schemes are judged by.
    pub(super) fn judged_from(&self) -> usize {
        match self.zones {
            1 => 0,
            _ => (JUDGED_SHARE * self.panel.rows as f64) as usize,
        }
    }

    /// A pool's schemes in `count` zones at most, each cut where that serves it best.
    pub(super) fn zoned(&self, pool: Pool, count: usize, of: CutFor) -> Candidates {
        let demand = self.search_demand();
        let (panel, response) = (self.panel, self.response);
        let own = pool.clone();
        let looked = Looked {
            panel,
            response,
            pool: &own,
        };
        self.candidates_in(pool, |ranked| cuts(&looked, ranked, demand, (count, of)))
    }

    pub(super) fn cuts(&self, looked: &Looked, ranked: &Ranked, count: usize) -> Vec<usize> {
        cuts(looked, ranked, self.search_demand(), (count, CutFor::Error))
    }

    /// The design in as few zones as bring the shading of its rows under the tolerance, where its own is above; as it is, with a
    /// note, where no number of zones does that on nearly the same span.
    pub(super) fn shaded_by_zones(&self, design: Design, candidates: &[Candidates]) -> Design {
        let tolerance = self.request.tolerance_steps;
        let shaded = |b: &BandDesign| b.shading_steps > tolerance;
        let most = self.panel.drivers.zones_max as usize;
        if !design.bands.iter().any(shaded) {
            return design;
        }
        let mut zoned = candidates.to_vec();
        let mut least = f64::INFINITY;
        for count in 2..=most {
            (self.progress)(&format!("{count} zones of rows"));
            let bands = zoned.iter_mut().zip(&design.bands);
            for (c, _) in bands.filter(|(_, b)| shaded(b)) {
                *c = self.zoned(c.pool.clone(), count, CutFor::Shading);
            }
            let Ok(found) = self.proved(&zoned) else {
                continue;
            };
            least = least.min(worst_shading(&found));
            if worst_shading(&found) <= tolerance
                && found.span_lstar() >= KEPT_SPAN * design.span_lstar()
            {
                return Design {
                    without_zones: Some(without(&design)),
                    bands_tried: design.bands_tried,
                    ..found
                };
            }
        }
        let mut design = design;
        design.notes.insert(0, self.shaded_note(&design, least));
        design
    }

    fn shaded_note(&self, design: &Design, least: f64) -> String {
        let tolerance = self.request.tolerance_steps;
        let zones = match self.panel.drivers.zones_max {
            1 => "drivers.zones_max in panel.toml allows one table for all rows".to_owned(),
            most if least > tolerance && least.is_finite() => format!(
                "tables by up to {most} zones of rows leave {least:.3} step and are not used: rows differ by what the rows before \
                 them show more than by their place"
            ),
            most if least.is_finite() => format!(
                "tables by up to {most} zones of rows would leave {least:.3} step, at the cost of more than a tenth of the span, and \
                 are not used"
            ),
            most => format!("no design by up to {most} zones of rows was found"),
        };
        format!(
            "Row shading: in an ordinary picture one level differs by up to {:.3} step from row to row, more than the tolerance of {} \
             step; {zones}.",
            worst_shading(design),
            tolerance
        )
    }

    /// A design in zones where none serves all rows alike; `None` where zones don't help either.
    pub(super) fn met_by_zones(&self) -> Option<Design> {
        let most = self.panel.drivers.zones_max as usize;
        if most < 2 {
            return None;
        }
        (self.progress)("no scheme serves all rows alike: tables by zones of rows");
        let zoned = Planner {
            zones: most,
            ..*self
        };
        if !zoned.zones_help() {
            return None;
        }
        let (design, candidates) = zoned.searched().ok()?;
        let fewer = |count: usize| -> Option<Design> {
            let pools = candidates.iter().map(|c| c.pool.clone());
            let fewer: Vec<Candidates> = pools
                .map(|pool| self.zoned(pool, count, CutFor::Error))
                .collect();
            self.proved(&fewer).ok()
        };
        let bands_tried = design.bands_tried.clone();
        let found = (2..most).find_map(fewer).unwrap_or(design);
        Some(Design {
            bands_tried,
            ..found
        })
    }

    /// Whether zones give the coldest temperature a ladder at all.
    fn zones_help(&self) -> bool {
        let (min_c, _) = self.range_c;
        let coldest = BandClimate::point(self.request.temperature_c.unwrap_or(min_c));
        let pool = self.widest_pool(coldest, &[], self.starts());
        let zoned = self.candidates(pool);
        self.ladder_of(&[&zoned], self.demand()).is_some()
    }
}

fn cuts(
    looked: &Looked,
    ranked: &Ranked,
    demand: Demand,
    (count, of): (usize, CutFor),
) -> Vec<usize> {
    if count < 2 || looked.panel.rows < 2 {
        return Vec::new();
    }
    Cuts::of(looked, ranked, demand, of).map_or(Vec::new(), |cuts| cuts.best(count))
}

fn worst_shading(design: &Design) -> f64 {
    let bands = design.bands.iter().map(|b| b.shading_steps);
    bands.fold(0.0, f64::max)
}

fn without(design: &Design) -> WithoutZones {
    let errors = design.set.bands.iter().map(|b| b.figures.worst_error_steps);
    WithoutZones {
        span_lstar: design.span_lstar(),
        worst_error_steps: errors.fold(0.0, f64::max),
        shading_steps: worst_shading(design),
    }
}

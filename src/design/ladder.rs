//! One ladder for one band or for several: the widest that each serves with some scheme.

use super::charge::ChargeLimit;
use super::choice::{Demand, Fineness, Span, Spot, Spots, common, step_of, united, widest};
use super::correction::Correction;
use super::plan::Planner;
use super::pool::Pool;
use super::reach::{Climate, Reach, Scheme, Scope};
use super::request::LadderShare;
use super::search::{EVEN_SHARE, Others, Ranked, SPAN_GRID_LSTAR, spots_of};
use super::zones::{CutFor, ZoneSpots, Zoned};
use crate::project::Panel;
use crate::response::Response;
use rayon::prelude::*;
use std::collections::BTreeSet;
use std::ops::Range;

/// Rows that a ladder is chosen on, at most; every row is proved at the end.
const CHOICE_ROWS: usize = 96;
/// Temperatures that a ladder is chosen on, beyond the first.
const CHOICE_PARTS: usize = 4;
/// How the final ladder's span is sought, L*.
const FINAL: Fineness = Fineness {
    coarse_lstar: 0.25,
    fine_lstar: 0.01,
};
/// How far beyond the present common span a band may look for a wider one, L*.
const WIDER_LSTAR: f64 = 5.0;

/// A band's schemes with their spots over many rows and temperatures.
#[derive(Debug, Clone)]
pub struct Candidates {
    pub pool: Pool,
    /// In the order of the pool's schemes.
    pub spots: Vec<Zoned>,
    /// Wider ladders than this are not looked for, L*.
    pub widest_lstar: f64,
}

impl Candidates {
    /// The scheme that serves a ladder best.
    pub fn serving(&self, targets_lstar: &[f64]) -> Option<&Ranked> {
        self.best_for(targets_lstar).map(|i| &self.pool.schemes[i])
    }

    /// Those with a wide ladder of the band's own alone.
    pub fn own(&self) -> Candidates {
        let mut own = self.clone();
        own.pool.schemes.truncate(own.pool.own);
        own.spots.truncate(own.pool.own);
        own.widest_lstar = f64::INFINITY;
        own
    }

    /// The same, held to another share in an ordinary picture.
    pub fn as_even_as(&self, share: f64) -> Candidates {
        let spots = self.spots.iter().map(|s| s.as_even_as(share));
        Candidates {
            spots: spots.collect(),
            ..self.clone()
        }
    }

    /// Index of the scheme with the smallest worst error on a ladder.
    pub fn best_for(&self, targets_lstar: &[f64]) -> Option<usize> {
        let errors: Vec<f64> = self
            .spots
            .iter()
            .map(|s| s.worst_steps(targets_lstar))
            .collect();
        (0..errors.len()).reduce(|best, i| if errors[i] < errors[best] { i } else { best })
    }

    /// Where the darkest target may lie, with any of the schemes.
    fn darkest_targets(&self, demand: Demand, step_lstar: f64) -> Vec<Span> {
        united(
            self.spots
                .iter()
                .map(|s| s.darkest_targets(demand, step_lstar)),
        )
    }
}

impl Planner<'_> {
    pub fn candidates(&self, pool: Pool) -> Candidates {
        self.zoned(pool, self.zones, CutFor::Error)
    }

    /// The same with zones that begin, beside the first, in the rows that `cuts` tells for a scheme.
    pub fn candidates_in(
        &self,
        pool: Pool,
        cuts: impl Fn(&Ranked) -> Vec<usize> + Sync,
    ) -> Candidates {
        let looked = self.looked(&pool);
        let exact = |ranked: &Ranked| looked.exact_spots(ranked, &cuts(ranked));
        let spots = pool.schemes.par_iter().map(exact).collect();
        Candidates {
            pool,
            spots,
            widest_lstar: f64::INFINITY,
        }
    }

    /// Spots of a scheme, cut into zones where there may be some.
    fn cut_spots(&self, pool: &Pool, ranked: &Ranked) -> Zoned {
        let looked = self.looked(pool);
        looked.exact_spots(ranked, &self.cuts(&looked, ranked, self.zones))
    }

    /// Adds schemes to those of a band.
    pub fn add(&self, candidates: &mut Candidates, found: Vec<Ranked>) {
        for ranked in found {
            let spots = self.cut_spots(&candidates.pool, &ranked);
            candidates.spots.push(spots);
            candidates.pool.schemes.push(ranked);
        }
    }

    /// Puts schemes before those with a wide ladder of a band's own.
    pub fn add_own(&self, candidates: &mut Candidates, found: Vec<Ranked>) {
        for ranked in found.into_iter().rev() {
            let spots = self.cut_spots(&candidates.pool, &ranked);
            candidates.spots.insert(0, spots);
            candidates.pool.schemes.insert(0, ranked);
            candidates.pool.own += 1;
        }
    }

    /// The targets of each band.
    pub fn ladders(&self, candidates: &[Candidates], demand: Demand) -> Option<Vec<Vec<f64>>> {
        match self.request.share {
            LadderShare::Common => {
                let all: Vec<&Candidates> = candidates.iter().collect();
                let ladder = self.ladder_of(&all, demand)?;
                Some(vec![ladder; candidates.len()])
            }
            LadderShare::PerBand => candidates
                .iter()
                .map(|c| self.ladder_of(&[c], demand))
                .collect(),
        }
    }

    /// The widest ladder that every one of the bands serves with some scheme.
    pub fn ladder_of(&self, candidates: &[&Candidates], demand: Demand) -> Option<Vec<f64>> {
        let ends = |c: &&Candidates| {
            let reach = c.spots.iter().map(Zoned::widest_lstar);
            reach.fold(0.0, f64::max).min(c.widest_lstar)
        };
        let longest = candidates.iter().map(ends).fold(f64::INFINITY, f64::min);
        let darkest = |step: f64| -> Vec<Span> {
            let each = candidates.iter().map(|c| c.darkest_targets(demand, step));
            let all = each.reduce(|a, b| common(&a, &b)).unwrap_or_default();
            self.contrasting(all, (demand.levels - 1) as f64 * step)
        };
        let bounds = Span {
            low: 1.0,
            high: longest,
        };
        let (darkest_lstar, step) = widest(demand.levels, bounds, FINAL, darkest)?;
        Some(
            (0..demand.levels)
                .map(|i| darkest_lstar + i as f64 * step)
                .collect(),
        )
    }

    /// Span of the common ladder; 0 where there is none.
    pub fn common_span(&self, candidates: &[Candidates], demand: Demand) -> f64 {
        let all: Vec<&Candidates> = candidates.iter().collect();
        self.ladder_of(&all, demand)
            .map_or(0.0, |l| step_of(&l) * (l.len() - 1) as f64)
    }

    /// The present common ladder, and where the bands other than `but` let a wider one begin.
    pub fn others(
        &self,
        candidates: &[Candidates],
        but: usize,
        demand: Demand,
    ) -> Option<(Vec<f64>, Others)> {
        let all: Vec<&Candidates> = candidates.iter().collect();
        let targets = self
            .ladder_of(&all, demand)
            .or_else(|| self.ladder_of(&all[but..=but], demand))?;
        let steps = (demand.levels - 1) as f64;
        let span = step_of(&targets) * steps;
        let first = ((span - WIDER_LSTAR).max(SPAN_GRID_LSTAR) / SPAN_GRID_LSTAR).round() as usize;
        let count = (2.0 * WIDER_LSTAR / SPAN_GRID_LSTAR) as usize;
        let at = |k: usize| {
            let step = (first + k) as f64 * SPAN_GRID_LSTAR / steps;
            let rest = candidates.iter().enumerate().filter(|(i, _)| *i != but);
            let each = rest.map(|(_, c)| c.darkest_targets(demand, step));
            each.reduce(|a, b| common(&a, &b)).unwrap_or_default()
        };
        let places = (0..count).into_par_iter().map(at).collect();
        Some((targets, Others { first, places }))
    }

    pub(super) fn looked<'p>(&'p self, pool: &'p Pool) -> Looked<'p> {
        Looked {
            panel: self.panel,
            response: self.response,
            pool,
        }
    }
}

/// A band's schemes as ladders look at them.
#[derive(Clone, Copy)]
pub(super) struct Looked<'a> {
    pub panel: &'a Panel,
    pub response: &'a Response,
    pub pool: &'a Pool,
}

impl<'a> Looked<'a> {
    /// Spots of a scheme over the rows and temperatures that ladders are chosen on, in zones that begin in `cuts` beside the
    /// first row.
    pub fn exact_spots(&self, ranked: &Ranked, cuts: &[usize]) -> Zoned {
        let firsts = [0].into_iter().chain(cuts.iter().copied());
        let ends = cuts.iter().copied().chain([self.panel.rows]);
        let zone = |(first, end): (usize, usize)| ZoneSpots {
            rows: first..end,
            spots: self.zone_spots(ranked, first..end),
        };
        Zoned::of(firsts.zip(ends).map(zone).collect())
    }

    /// Those of one zone.
    pub fn zone_spots(&self, ranked: &Ranked, rows: Range<usize>) -> Spots {
        let Looked {
            panel,
            response,
            pool,
        } = *self;
        let scope = self.scope(ranked, choice_rows(panel.rows, &rows));
        let design = pool.band.design();
        let correction = pool.correction.as_ref();
        let spots = match correction {
            Some(correction) => {
                let known = (correction, pool.sure_lstar);
                corrected_spots(&scope, &ranked.scheme, known, design, &rows)
            }
            None => spots_of(
                |a| response.curve.lstar(a),
                &Reach::new(&scope, &ranked.scheme),
            ),
        };
        let longest = pool.band.longest(&ranked.stretch);
        let kept = ChargeLimit::of(panel).kept(spots, &ranked.scheme, longest);
        let ordinary = ordinary_lstar(&scope, &ranked.scheme, correction, design, &rows);
        kept.even_in(ordinary, EVEN_SHARE)
    }

    /// The temperatures that ladders are chosen on, and some rows.
    pub fn scope(&self, ranked: &Ranked, rows: Vec<usize>) -> Scope<'a> {
        Scope {
            response: self.response,
            panel_rows: self.panel.rows,
            settle_ms: self.panel.drivers.field_settle_ms,
            climates: self.pool.band.proof(&ranked.stretch, CHOICE_PARTS),
            rows,
        }
    }
}

/// What every choice shows in an ordinary picture, in the middle of a zone, with what readings add.
fn ordinary_lstar(
    scope: &Scope,
    scheme: &Scheme,
    correction: Option<&Correction>,
    climate: Climate,
    rows: &Range<usize>,
) -> Vec<f64> {
    let (row, curve) = (middle(rows), &scope.response.curve);
    let coverage = Reach::ordinary_in(scope, scheme, climate, rows.start + rows.len() / 2);
    let corrected = |(choice, a): (usize, f64)| {
        let lstar = curve.lstar(a);
        correction.map_or(lstar, |c| {
            let ticks = scheme.ticks_of(choice);
            c.corrected(lstar, row, 0.0, climate.temperature_c, &ticks)
        })
    };
    coverage.into_iter().enumerate().map(corrected).collect()
}

/// Spots of a scheme with what readings add to each corner; choices of which that is not known to `sure_lstar` are left out.
fn corrected_spots(
    scope: &Scope,
    scheme: &Scheme,
    (correction, sure_lstar): (&Correction, f64),
    design: Climate,
    rows: &Range<usize>,
) -> Spots {
    let all: Vec<Vec<u32>> = (0..scheme.choices()).map(|c| scheme.ticks_of(c)).collect();
    let mut low = vec![f64::INFINITY; all.len()];
    let mut high = vec![f64::NEG_INFINITY; all.len()];
    Reach::each(scope, scheme, |corner, coverage| {
        for (i, &a) in coverage.iter().enumerate() {
            let lstar = correction.corrected_at(scope.response.curve.lstar(a), &corner, &all[i]);
            low[i] = low[i].min(lstar);
            high[i] = high[i].max(lstar);
        }
    });
    let (row, design_c) = (middle(rows), design.temperature_c);
    let spot = |choice: usize| {
        let spot = Spot::between(low[choice], high[choice], choice);
        let terms = correction.frame.terms(row, 0.0, design_c, &all[choice]);
        Spot {
            unsure_lstar: correction.standard_u_lstar(spot.mid_lstar, &terms),
            ..spot
        }
    };
    let sure = |s: &Spot| s.unsure_lstar <= sure_lstar;
    let spots = (0..all.len()).into_par_iter().map(spot);
    Spots::new(spots.filter(sure).collect())
}

/// Half way through a zone, in rows from 0.
fn middle(rows: &Range<usize>) -> f64 {
    rows.start as f64 + 0.5 * rows.len() as f64
}

/// All rows of a zone on a small panel; on a large one the first ones, where the erase is still felt, some of the rest, and the
/// zone's own ends.
pub(super) fn choice_rows(panel_rows: usize, zone: &Range<usize>) -> Vec<usize> {
    if panel_rows <= CHOICE_ROWS {
        return zone.clone().collect();
    }
    let first = CHOICE_ROWS / 3;
    let rest = CHOICE_ROWS - first;
    let spread = (0..rest).map(|k| first + k * (panel_rows - 1 - first) / (rest - 1));
    let inside = (0..first).chain(spread).filter(|row| zone.contains(row));
    let ends = [zone.start, zone.end - 1];
    let rows: BTreeSet<usize> = inside.chain(ends).collect();
    rows.into_iter().collect()
}

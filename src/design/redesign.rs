//! The ladder and the ticks once more, for schemes that stand, from what readings of their levels add.

use super::climate::BandClimate;
use super::correction::Correction;
use super::figures::Draft;
use super::ladder::Candidates;
use super::outcome::Design;
use super::plan::Planner;
use super::pool::Pool;
use super::reach::{Climate, Scheme};
use super::request::Request;
use super::search::{EVEN_SHARE, Place, Ranked, Score};
use crate::drive::Timing;
use crate::error::{Error, Result, Unmet};
use crate::project::Panel;
use crate::response::fit::Fit;
use crate::waveforms::Band;
use rayon::prelude::*;

/// Factors on the tolerance that are tried where the one asked for can't be kept, or not evenly.
const LAXER: [f64; 9] = [1.04, 1.08, 1.12, 1.18, 1.25, 1.35, 1.5, 1.75, 2.0];

/// Laxer tolerances beyond the first that serves that are tried as well, until an ordinary picture is expected to be this even.
const ROOM: usize = 2;
const EVEN_ENOUGH_STEPS: f64 = 0.055;
/// An ordinary picture that isn't expected to be this even may cost more span.
const FAIR_STEPS: f64 = 0.075;
/// The gain in evenness, in steps, that pays for a tolerance laxer by one step.
const PRICE: f64 = 0.1;

/// Shares of the tolerance that an ordinary picture is held to, beside the search's own.
const EVENER: [f64; 6] = [0.04, 0.06, 0.08, 0.1, 0.14, 0.2];
/// Shares of the span down to which ladders are narrowed, first and where none of those is fair; less than the second is never
/// left.
const KEPT_SPAN: f64 = 0.96;
const KEPT_SPAN_UNFAIR: f64 = 0.92;
/// Ladders narrowed in so many parts, down to the least span, are looked for where none of the widest is even enough, and shares
/// of the tolerance that an ordinary picture is then held to: other targets suit other ticks.
const NARROWER: usize = 12;
const NARROWER_SHARES: [f64; 2] = [0.12, 0.2];

/// A ladder that is looked for.
#[derive(Debug, Clone, Copy, PartialEq)]
struct Try {
    /// Share of the tolerance that an ordinary picture is held to.
    share: f64,
    /// Share of the widest span.
    part: f64,
}

/// A band whose scheme stands, and what its readings add to the response.
#[derive(Debug, Clone)]
pub struct Standing<'a> {
    pub band: &'a Band,
    pub correction: Option<Correction>,
}

impl Standing<'_> {
    pub fn scheme(&self) -> Scheme {
        Scheme {
            erase: self.band.erase.clone(),
            fields: self.band.fields.clone(),
        }
    }

    /// The stretch that suits the response and the readings, or that of the file where the budget leaves no more.
    fn stretch(
        &self,
        climate: &BandClimate,
        fit: &Fit,
        panel: &Panel,
        budget_s: f64,
    ) -> Vec<Climate> {
        let (scheme, drivers) = (self.scheme(), &panel.drivers);
        let correction = self.correction.as_ref();
        let fitted = climate.fitted_to(&fit.response, correction, &scheme, panel.rows, drivers);
        let timing = Timing::of(
            &scheme.erase,
            &scheme.fields,
            panel.rows,
            drivers.field_settle_ms,
        );
        if timing.total_s() * climate.longest(&fitted) <= budget_s {
            return fitted;
        }
        let at = |temperature_c: f64| Climate {
            temperature_c,
            stretch: self.band.stretch_factor(temperature_c),
        };
        fitted.iter().map(|c| at(c.temperature_c)).collect()
    }

    fn pool(&self, fit: &Fit, panel: &Panel, request: &Request) -> Pool {
        let band = BandClimate::of(self.band, &panel.drivers);
        let ranked = Ranked {
            place: Place::default(),
            scheme: self.scheme(),
            score: Score::NONE,
            stretch: self.stretch(&band, fit, panel, request.budget_s),
        };
        Pool {
            band,
            schemes: vec![ranked],
            own: 1,
            evaluated: 1,
            correction: self.correction.clone(),
            sure_lstar: EVEN_SHARE * request.tolerance_steps * self.band.figures.step_lstar,
        }
    }
}

/// Chooses the widest ladder and the ticks anew for bands whose schemes stand, and proves them.
///
/// Where the schemes have no ladder that keeps the tolerance on the panel as it was read, or none that is even in an ordinary
/// picture, `laxer` allows as little more as that takes, with a note. Errs with [`Error::Unmet`] where the tolerance can't be kept
/// without `laxer`, or twice the tolerance with it.
pub fn redesign(
    panel: &Panel,
    fit: &Fit,
    request: &Request,
    bands: &[Standing],
    laxer: bool,
    progress: &dyn Fn(&str),
) -> Result<Design> {
    let pool = |s: &Standing| {
        let planner = Planner::new(panel, fit, request, progress);
        let zones = s.band.zones.iter().skip(1);
        let cuts: Vec<usize> = zones.map(|z| z.row_first).collect();
        planner.candidates_in(s.pool(fit, panel, request), |_| cuts.clone())
    };
    let candidates: Vec<Candidates> = bands.iter().map(pool).collect();
    let steps = bands.iter().map(|s| s.band.figures.step_lstar);
    let stood_lstar = (request.levels - 1) as f64 * steps.fold(f64::INFINITY, f64::min);
    let attempt = |request: &Request| {
        let planner = Planner::new(panel, fit, request, progress);
        evenest(&planner, &candidates, stood_lstar)
    };
    let asked = request.tolerance_steps;
    let within = |factor: f64| {
        let tolerance_steps = factor * asked;
        let request = Request {
            tolerance_steps,
            ..request.clone()
        };
        attempt(&request).map(|design| (tolerance_steps, design))
    };
    let factors = [1.0].into_iter().chain(LAXER);
    let mut kept: Option<(f64, Design)> = None;
    for found in factors.filter_map(within).take(1 + ROOM) {
        let cost = |k: &(f64, Design)| uneven(&k.1) + PRICE * (k.0 - asked);
        let evener = |k: &(f64, Design)| cost(&found) < cost(k);
        if kept.as_ref().is_none_or(evener) {
            kept = Some(found);
        }
        let enough = |k: &(f64, Design)| !laxer || uneven(&k.1) <= EVEN_ENOUGH_STEPS;
        if kept.as_ref().is_some_and(enough) {
            break;
        }
    }
    match kept {
        Some((tolerance_steps, design)) if tolerance_steps <= asked => Ok(design),
        Some((tolerance_steps, mut design)) if laxer => {
            design.notes.insert(0, format!(
                "Tolerance: on the panel as it was read these schemes have no ladder within {asked:.3} step for all rows, contents \
                 and temperatures that is even in an ordinary picture as well; within {tolerance_steps:.3} step they have. \
                 `greyloom fit` with more readings like these may choose schemes that keep it."
            ));
            Ok(design)
        }
        kept => Err(unmet(request, kept.map(|(steps, _)| steps))),
    }
}

/// The design with the evenest ordinary picture that costs next to no span against the widest and what stood, or the one that
/// there is.
fn evenest(planner: &Planner, candidates: &[Candidates], stood_lstar: f64) -> Option<Design> {
    let widest = planner.proved(candidates).ok()?;
    // As shares of the widest.
    let [narrow, narrowest] = [KEPT_SPAN, KEPT_SPAN_UNFAIR]
        .map(|kept| kept * (stood_lstar / widest.span_lstar()).min(1.0));
    let least_lstar = narrowest * widest.span_lstar();
    let spans_lstar: Vec<f64> = widest.bands.iter().map(|b| b.span_lstar).collect();
    let held = |t: &Try| -> Vec<Candidates> {
        let each = candidates.iter().zip(&spans_lstar);
        let held = each.map(|(c, span)| Candidates {
            widest_lstar: t.part * span,
            ..c.as_even_as(t.share)
        });
        held.collect()
    };
    let (panel, fit, request) = (planner.panel, planner.fit, planner.request);
    let drafted = |tries: Vec<Try>| -> Vec<(Try, Draft)> {
        let draft = |t: Try| {
            let planner = Planner::new(panel, fit, request, &|_| ());
            let draft = planner.draft(&held(&t), planner.demand())?;
            (draft.span_lstar() >= least_lstar).then_some((t, draft))
        };
        let drafts: Vec<_> = tries.into_par_iter().map(draft).collect();
        drafts.into_iter().flatten().collect()
    };
    let part = f64::INFINITY;
    let mut tried = drafted(EVENER.map(|share| Try { share, part }).to_vec());
    let mut above = 1.0;
    for (narrower, enough) in [(narrow, EVEN_ENOUGH_STEPS), (narrowest, FAIR_STEPS)] {
        if tried.iter().any(|t| t.1.uneven_steps() <= enough) {
            break;
        }
        let part = |k: usize| above - (above - narrower) * (k + 1) as f64 / NARROWER as f64;
        let tries = (0..NARROWER)
            .map(part)
            .flat_map(|part| NARROWER_SHARES.map(|share| Try { share, part }));
        tried.extend(drafted(tries.collect()));
        above = narrower;
    }
    tried.sort_by(|a, b| a.1.uneven_steps().total_cmp(&b.1.uneven_steps()));
    let evener = |(t, draft)| {
        let design = planner.proved_from(&held(&t), Some(draft)).ok()?;
        let evener = design.span_lstar() >= least_lstar && uneven(&design) < uneven(&widest);
        evener.then_some(design)
    };
    tried.into_iter().find_map(evener).or(Some(widest))
}

/// How uneven an ordinary picture may well be in the worst band, in steps.
fn uneven(design: &Design) -> f64 {
    design
        .bands
        .iter()
        .map(|b| b.expected_steps)
        .fold(0.0, f64::max)
}

fn unmet(request: &Request, kept_steps: Option<f64>) -> Error {
    let wider =
        kept_steps.map(|t| format!("a tolerance of {t:.3} step: a ladder that keeps it was found"));
    let again = "`greyloom fit` with more readings, which may choose other schemes".to_owned();
    Error::Unmet(Unmet {
        request: format!(
            "{} levels within {} step with the schemes of these waveforms",
            request.levels, request.tolerance_steps
        ),
        binding: "on the panel as it was read, no even ladder keeps that for all rows, contents and temperatures".into(),
        would_do: wider.into_iter().chain([again]).collect(),
    })
}

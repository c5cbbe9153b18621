//! The ladder and the ticks once more, for schemes that stand, from what readings of their levels add.

use super::climate::{BandClimate, rounding};
use super::correction::Correction;
use super::even::unsure_even_lstar;
use super::ladder::Candidates;
use super::outcome::{BandDesign, Design};
use super::plan::{Planner, Pool};
use super::reach::{Climate, Scheme};
use super::request::Request;
use super::search::{EVEN_SHARE, Place, Ranked, Score};
use crate::drive::Timing;
use crate::error::{Error, Result, Unmet};
use crate::project::{Drivers, Panel};
use crate::response::fit::Fit;
use crate::waveforms::Band;

/// Factors on the tolerance that are tried where the one asked for can't be kept.
const LAXER: [f64; 9] = [1.04, 1.08, 1.12, 1.18, 1.25, 1.35, 1.5, 1.75, 2.0];

/// Laxer tolerances beyond the first that serves that are tried as well, until an ordinary picture is expected to be this even.
const ROOM: usize = 5;
const EVEN_ENOUGH_STEPS: f64 = 0.07;

/// Shares of the tolerance that an ordinary picture is held to, beside the search's own.
const EVENER: [f64; 6] = [0.04, 0.06, 0.08, 0.1, 0.14, 0.2];
/// Share of the span that must be left where an ordinary picture is held to less.
const KEPT_SPAN: f64 = 0.96;

/// A band whose scheme stands, and what its readings add to the response.
#[derive(Debug, Clone)]
pub struct Standing<'a> {
    pub band: &'a Band,
    pub correction: Option<Correction>,
}

impl BandClimate {
    /// The climate of a band as its file has it.
    pub fn of(band: &Band, drivers: &Drivers) -> Self {
        let limits = band.temperature_c;
        let wide = limits.low < limits.high;
        BandClimate {
            low_c: limits.low,
            design_c: limits.design,
            high_c: limits.high,
            rounding: if wide { rounding(drivers) } else { 0.0 },
        }
    }
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
/// Where the schemes have no ladder that keeps the tolerance on the panel as it was read, `laxer` allows as little more as they
/// need to be even, with a note; without it, and beyond twice the tolerance, errs with [`Error::Unmet`].
pub fn redesign(
    panel: &Panel,
    fit: &Fit,
    request: &Request,
    bands: &[Standing],
    laxer: bool,
    progress: &dyn Fn(&str),
) -> Result<Design> {
    let pool = |s: &Standing| {
        Planner::new(panel, fit, request, progress).candidates(s.pool(fit, panel, request))
    };
    let candidates: Vec<Candidates> = bands.iter().map(pool).collect();
    let steps = bands.iter().map(|s| s.band.figures.step_lstar);
    let stood_lstar = (request.levels - 1) as f64 * steps.fold(f64::INFINITY, f64::min);
    let attempt = |request: &Request| {
        let planner = Planner::new(panel, fit, request, progress);
        evenest(&planner, &candidates, stood_lstar)
    };
    if let Some(design) = attempt(request) {
        return Ok(design);
    }
    let asked = request.tolerance_steps;
    let steps: Vec<f64> = LAXER.iter().map(|factor| factor * asked).collect();
    let within = |&tolerance_steps: &f64| {
        let request = Request {
            tolerance_steps,
            ..request.clone()
        };
        attempt(&request).map(|design| (tolerance_steps, design))
    };
    // Where hardly a ladder is left, a little more room makes it evener.
    let mut kept: Option<(f64, Design)> = None;
    for found in steps.iter().filter_map(within).take(1 + ROOM) {
        if kept
            .as_ref()
            .is_none_or(|(_, k)| uneven(&found.1) < uneven(k))
        {
            kept = Some(found);
        }
        if kept
            .as_ref()
            .is_some_and(|(_, k)| uneven(k) <= EVEN_ENOUGH_STEPS)
        {
            break;
        }
    }
    match kept {
        Some((tolerance_steps, mut design)) if laxer => {
            design.notes.insert(0, format!(
                "Tolerance: on the panel as it was read these schemes have no even ladder within {asked:.3} step for all rows, \
                 contents and temperatures; within {tolerance_steps:.3} step they have. `greyloom fit` with more readings like \
                 these may choose schemes that keep it."
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
    let evener = EVENER.iter().filter_map(|share| {
        let narrowed: Vec<Candidates> = candidates.iter().map(|c| c.as_even_as(*share)).collect();
        planner.proved(&narrowed).ok()
    });
    let least_lstar = KEPT_SPAN * span_lstar(&widest).min(stood_lstar);
    evener
        .filter(|d| span_lstar(d) >= least_lstar)
        .chain([widest.clone()])
        .min_by(|a, b| uneven(a).total_cmp(&uneven(b)))
}

/// Of the narrowest band.
fn span_lstar(design: &Design) -> f64 {
    let spans = design.bands.iter().map(|b| b.span_lstar);
    spans.fold(f64::INFINITY, f64::min)
}

/// How uneven an ordinary picture may well be in the worst band, in steps.
fn uneven(design: &Design) -> f64 {
    design.bands.iter().map(expected_steps).fold(0.0, f64::max)
}

/// The same for one band: what is predicted and how well that is known.
fn expected_steps(band: &BandDesign) -> f64 {
    let u_lstar = &band.known.standard_u_lstar;
    let step = band.span_lstar / u_lstar.len().saturating_sub(1).max(1) as f64;
    let unsure = unsure_even_lstar(u_lstar).into_iter().fold(0.0, f64::max);
    band.uneven_steps.hypot(unsure / step)
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

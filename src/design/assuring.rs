//! The set that keeps its tolerance on enough panels like the one that was read, or what would do.

use super::assurance::{Assurance, Assured};
use super::ladder::Candidates;
use super::outcome::Design;
use super::plan::{Effort, Planner};
use super::pool::Shortfall;
use super::request::Request;
use super::unmet::{asked, span_of};
use crate::error::{Error, Unmet};

/// Inner tolerances tried between this share of the one asked and that itself, by halving.
const LEAST_INNER: f64 = 0.2;
const HALVINGS: usize = 5;
const HALVINGS_QUICK: usize = 3;
/// Share of the tolerance for which schemes are searched anew where those at hand don't hold.
const NARROWER: f64 = 0.8;
/// What is proposed where none holds.
const TOLERANCES: [f64; 3] = [0.3, 0.4, 0.5];
const LEVEL_SHARES: [f64; 3] = [0.75, 0.5, 0.25];

impl Planner<'_> {
    /// A proved design, or the one of the smaller inner tolerance that the share of panels asked holds with; the largest
    /// such tolerance, to a part.
    pub(super) fn assured(
        &self,
        candidates: &[Candidates],
        design: Design,
    ) -> std::result::Result<Design, Shortfall> {
        let Some(assurance) = self.assurance else {
            return Ok(design);
        };
        let span_without_lstar = design.span_lstar();
        let judge = |design: &Design, inner_tolerance_steps: f64| {
            (self.progress)(&format!(
                "{} panels like this one, designed to {inner_tolerance_steps:.3} step",
                assurance.panels.len()
            ));
            Assured {
                inner_tolerance_steps,
                span_without_lstar,
                ..assurance.judge(design, &self.panel.drivers, self.response)
            }
        };
        let most = self.request.tolerance_steps;
        let first = judge(&design, most);
        if first.holds() {
            return Ok(design.with(first));
        }
        let (mut best, mut found) = (first, None);
        let (mut low, mut high) = (LEAST_INNER * most, most);
        let halvings = if self.effort == Effort::Quick {
            HALVINGS_QUICK
        } else {
            HALVINGS
        };
        for _ in 0..halvings {
            let middle = 0.5 * (low + high);
            let Some(design) = self.proved_to(candidates, middle) else {
                low = middle;
                continue;
            };
            let judged = judge(&design, middle);
            if judged.at_least > best.at_least {
                best = judged.clone();
            }
            if judged.holds() {
                low = middle;
                found = Some(design.with(judged));
            } else {
                high = middle;
            }
        }
        found.ok_or_else(|| Shortfall {
            assured: Some(Box::new(best)),
            ..Shortfall::of(candidates)
        })
    }

    /// The widest ladder at an inner tolerance, with the schemes at hand.
    fn proved_to(&self, candidates: &[Candidates], tolerance_steps: f64) -> Option<Design> {
        let request = Request {
            tolerance_steps,
            ..self.request.clone()
        };
        let inner = Planner {
            request: &request,
            assurance: None,
            ..*self
        };
        inner.proved(candidates).ok()
    }

    /// Schemes searched anew for a smaller tolerance, where those for the one asked don't hold on enough panels.
    pub(super) fn attempt_narrower(
        &self,
        shortfall: Shortfall,
    ) -> std::result::Result<Design, Shortfall> {
        if shortfall.assured.is_none() || self.effort == Effort::Quick {
            return Err(shortfall);
        }
        let request = Request {
            tolerance_steps: NARROWER * self.request.tolerance_steps,
            ..self.request.clone()
        };
        let narrower = Planner {
            request: &request,
            ..*self
        };
        narrower.attempt().map_err(|other| match other.assured {
            Some(best)
                if shortfall
                    .assured
                    .as_ref()
                    .is_none_or(|a| best.at_least > a.at_least) =>
            {
                Shortfall {
                    assured: Some(best),
                    ..shortfall
                }
            }
            _ => shortfall,
        })
    }
}

/// Why the share of panels can't be assured, and what would do: each way is tried, on the same panels.
pub(super) fn explain(planner: &Planner, best: &Assured) -> Error {
    let binding = format!(
        "of {} panels like this one {} keep it with the best set found (designed to {:.3} step), which vouches for {:.3} of all with {} \
         confidence; a panel's threshold varies by {} and its speed by {} (relative standard deviation) beside what the readings \
         leave open",
        best.panels,
        best.within,
        best.inner_tolerance_steps,
        floored(best.at_least),
        best.confidence,
        best.threshold_v,
        best.speed
    );
    let mut would_do = Vec::new();
    if best.within > 0 && best.at_least >= 0.5 {
        would_do.push(format!(
            "--assure {:.2}, on the same panels",
            (best.at_least * 100.0).floor() / 100.0
        ));
    }
    would_do.extend(laxer(planner));
    would_do.extend(fewer_levels(planner));
    if would_do.is_empty() {
        would_do.push(
            "neither a laxer tolerance nor fewer levels alone, as far as these were tried; panels that vary less, or a correction of each \
             from readings of its levels (trim)"
                .into(),
        );
    }
    Error::Unmet(Unmet {
        request: format!(
            "{} on a share of {} of panels like this one,",
            asked(planner.request, planner.range_c).trim_end_matches(','),
            best.share
        ),
        binding,
        would_do,
    })
}

fn floored(share: f64) -> f64 {
    (share * 1000.0).floor() / 1000.0
}

fn laxer(planner: &Planner) -> Option<String> {
    let assurance = planner.assurance?;
    let lax = TOLERANCES
        .iter()
        .filter(|&&t| t > planner.request.tolerance_steps);
    for &tolerance_steps in lax {
        (planner.progress)(&format!("would a tolerance of {tolerance_steps} do?"));
        let request = Request {
            tolerance_steps,
            ..planner.request.clone()
        };
        let assurance = Assurance {
            tolerance_steps,
            ..assurance.clone()
        };
        let laxer = Planner {
            assurance: Some(&assurance),
            ..*planner
        };
        if let Some(span) = span_of(&laxer, &request, planner.range_c) {
            return Some(format!(
                "a tolerance of {tolerance_steps} step, over {span:.1} L*"
            ));
        }
    }
    None
}

fn fewer_levels(planner: &Planner) -> Option<String> {
    let asked = planner.request.levels;
    for share in LEVEL_SHARES {
        let levels = (asked as f64 * share) as usize;
        if levels < 2 {
            break;
        }
        (planner.progress)(&format!("would {levels} levels do?"));
        let request = Request {
            levels,
            ..planner.request.clone()
        };
        if let Some(span) = span_of(planner, &request, planner.range_c) {
            return Some(format!(
                "{levels} levels over {span:.1} L* at the same tolerance"
            ));
        }
    }
    None
}

impl Design {
    fn with(self, assured: Assured) -> Self {
        Design {
            assured: Some(assured),
            ..self
        }
    }
}

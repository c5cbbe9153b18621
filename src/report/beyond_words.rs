//! What was asked beyond the request, in words: panels like this one, and polished voltages.

use super::FitReport;
use super::lines::passage;
use super::words::number;
use crate::design::Assured;
use crate::design::polish::{BandPolish, Tried};

/// What panels like this one show; nothing where that was not asked.
pub(super) fn assured(report: &FitReport) -> String {
    let Some(a) = &report.design.assured else {
        return String::new();
    };
    let tolerance = number(report.request.tolerance_steps, 4);
    let shares = format!(
        "{} of {} panels drawn keep {tolerance} step against the even ladder that suits each best: at least {} of all such panels, with {} confidence \
         (asked: {}); {} of them keep {:.3} step, half {:.3}",
        a.within,
        a.panels,
        floored(a.at_least),
        a.confidence,
        a.share,
        a.share,
        a.merit_steps,
        a.middle_merit_steps
    );
    let own = format!(
        "Against the set's own targets {} keep it, at least {} of all.",
        a.targets_within,
        floored(a.targets_at_least)
    );
    [
        passage("assured", &shares),
        passage("", &own),
        passage("", &drawn(a)),
        passage("", &cost(a, report.request.tolerance_steps)),
    ]
    .concat()
}

fn floored(share: f64) -> String {
    format!("{:.3}", (share * 1000.0).floor() / 1000.0)
}

fn drawn(a: &Assured) -> String {
    let spread = if a.threshold_v == 0.0 && a.speed == 0.0 {
        "panel.toml states no [spread] from panel to panel, so that counts as none".to_owned()
    } else {
        format!(
            "threshold and speed of a panel vary by {} and {} % (standard deviation, from panel.toml)",
            number(100.0 * a.threshold_v, 3),
            number(100.0 * a.speed, 3)
        )
    };
    format!("Panels are drawn from what the readings leave open of the response; {spread}.")
}

fn cost(a: &Assured, tolerance_steps: f64) -> String {
    if a.inner_tolerance_steps == tolerance_steps {
        return "The set is the one without the assurance.".to_owned();
    }
    format!(
        "For that it was designed to {:.3} step; without the assurance the span would be {:.2} L*.",
        a.inner_tolerance_steps, a.span_without_lstar
    )
}

/// What polishing did; nothing where every rail has a step.
pub(super) fn polish(report: &FitReport) -> String {
    let Some(p) = &report.design.polish else {
        return String::new();
    };
    let gained = p.span_after_lstar - p.span_before_lstar;
    let gained = if gained > 0.0 {
        format!(
            "voltages of rails without a step widen the ladder by {gained:.2} L*, from {:.2} to {:.2}",
            p.span_before_lstar, p.span_after_lstar
        )
    } else {
        format!(
            "no voltages between those of the grid widen the ladder of {:.2} L*",
            p.span_before_lstar
        )
    };
    let bands = p.bands.iter().map(band).collect::<Vec<_>>().join(" ");
    passage(
        "polish",
        &format!("{gained}. Gain by solver, L*, on the rows and temperatures of a search: {bands}"),
    )
}

fn band(b: &BandPolish) -> String {
    let tried = |t: &Tried| {
        let kept = if b.best == Some(t.solver) {
            ", kept"
        } else {
            ""
        };
        format!("{} {:+.3}{kept}", t.solver.name(), t.gain_lstar)
    };
    let each: Vec<String> = b.tried.iter().map(tried).collect();
    format!("band {}: {};", b.band + 1, each.join(", "))
}

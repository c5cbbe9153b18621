//! Temperature in words: how many bands, why, and what is left at their edges.

use super::FitReport;
use super::lines::{Side, passage, table};
use super::words::{count, listed, number, played_longer};
use crate::design::{BAND_GAIN_LSTAR, BandTrial, EdgeError, TEMPERATURE_SHARE, TrialOutcome};

/// How the number of bands came about; nothing for one temperature alone.
pub(super) fn bands_tried(report: &FitReport) -> String {
    let (design, tolerance_steps) = (report.design, report.request.tolerance_steps);
    let of = |outcome: TrialOutcome| -> Vec<&BandTrial> {
        let tried = design.bands_tried.iter();
        tried.filter(|t| t.outcome == outcome).collect()
    };
    let mut parts = Vec::new();
    let (wide, wide_slowed): (Vec<&BandTrial>, Vec<&BandTrial>) = of(TrialOutcome::TooWide)
        .into_iter()
        .partition(|t| t.factor == 1.0);
    if let Some(last) = wide.last() {
        parts.push(format!(
            "{} {} not searched: the edges of the coldest alone move a grey by {} step, and temperature may take {} of the tolerance of {}",
            numbers_of(&wide),
            if last.bands == 1 { "band was" } else { "bands were" },
            steps_of(&wide),
            number(TEMPERATURE_SHARE, 2),
            number(tolerance_steps, 4)
        ));
    }
    if !wide_slowed.is_empty() {
        parts.push(format!(
            "nor {} with durations played longer, for {} step",
            numbers_of(&wide_slowed),
            steps_of(&wide_slowed)
        ));
    }
    let span = |t: &&BandTrial| {
        let span = t.span_lstar;
        let reached = span.map_or("no ladder".into(), |s| format!("a ladder of {s:.2} L*"));
        format!("the coldest of {} reaches {reached}", number_of(t))
    };
    parts.extend(of(TrialOutcome::NotTogether).iter().map(|t| {
        let bands = count(t.bands, "band");
        format!("{}, but {bands} together have none", span(t))
    }));
    parts.extend(of(TrialOutcome::Searched).iter().map(span));
    let kept = count(design.set.bands.len(), "band");
    let gain = number(BAND_GAIN_LSTAR, 2);
    parts.push(if report.left_out.is_empty() {
        format!(
            "{kept} kept: more are taken only where they widen the coldest one's ladder by {gain} L*"
        )
    } else {
        format!("{kept} kept: the first number that serves")
    });
    if design.bands_tried.is_empty() || design.bands.iter().all(|b| b.edges.len() < 2) {
        return String::new();
    }
    passage("bands", &parts.join("; "))
}

fn numbers_of(trials: &[&BandTrial]) -> String {
    let numbers: Vec<String> = trials.iter().map(|t| t.bands.to_string()).collect();
    listed(&numbers)
}

fn steps_of(trials: &[&BandTrial]) -> String {
    let steps = trials.iter().map(|t| number(t.temperature_steps, 2));
    listed(&steps.collect::<Vec<_>>())
}

/// A number of bands, and how their ticks are played.
fn number_of(trial: &BandTrial) -> String {
    let played = played_longer(trial.factor);
    let played = played.map_or(String::new(), |p| format!(" with {p}"));
    format!("{}{played}", trial.bands)
}

/// Errors at the edges of every band; nothing where all bands are single temperatures.
pub(super) fn edges(report: &FitReport) -> String {
    let bands = &report.design.bands;
    if bands.iter().all(|b| b.edges.len() < 2) {
        return String::new();
    }
    let head = [
        "band",
        "°C",
        "stretch",
        "error, steps",
        "L*",
        "unstretched, steps",
        "L*",
    ];
    let mut rows = vec![head.map(str::to_owned).to_vec()];
    for (i, band) in bands.iter().enumerate() {
        rows.extend(band.edges.iter().enumerate().map(|(k, e)| {
            let label = if k == 0 {
                (i + 1).to_string()
            } else {
                String::new()
            };
            edge_row(label, e)
        }));
    }
    let note = "error is the worst of any level, over all contents and rows, at the low edge, the design temperature and the \
                high edge of a band: with the durations stretched by the factor beside it, off by half a step of the clock \
                either way, and with that of the design temperature";
    format!(
        "\n{}{}",
        table(&[Side::Right; 7], &rows, 2),
        passage("", note)
    )
}

fn edge_row(label: String, e: &EdgeError) -> Vec<String> {
    vec![
        label,
        number(e.temperature_c, 2),
        number(e.factor, 4),
        format!("{:.3}", e.error_steps),
        format!("{:.3}", e.error_lstar),
        format!("{:.3}", e.unstretched_error_steps),
        format!("{:.3}", e.unstretched_error_lstar),
    ]
}

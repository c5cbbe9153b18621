//! A design in words: the scheme of a band, what it reaches, where it is worst, where its seconds go.

use super::FitReport;
use super::lines::passage;
use super::words::number;
use crate::design::{BandDesign, Content, Worst};
use crate::drive::{Erase, Field};
use crate::waveforms::Band;

/// One band, several lines.
pub(super) fn band(report: &FitReport, i: usize, band: &Band, made: &BandDesign) -> String {
    let figures = &band.figures;
    let limits = &report.limits;
    let greatest = |list: &[f64]| list.iter().copied().fold(0.0, f64::max);
    let lines = [
        title(report, i, band),
        passage("scheme", &scheme(&band.fields)),
        passage("erase", &erase(&band.erase)),
        passage("greys", &greys(report, band, made)),
        passage(
            "merit",
            &format!(
                "{:.3} step ({:.3} L*), {}",
                figures.worst_error_steps,
                figures.worst_error_lstar,
                worst(&made.worst)
            ),
        ),
        passage(
            "uncertainty",
            &format!(
                "±{:.2} L* at most on a level (expanded, k = 2)",
                greatest(&band.predicted.expanded_u_lstar)
            ),
        ),
        passage("refresh", &refresh(band, made)),
        passage(
            "limits",
            &format!(
                "ghost {:.2} L* (limit {}), net impulse {:.1} V·s (limit {}), energy {:.2} mJ",
                figures.ghost_lstar,
                number(limits.ghost_lstar, 3),
                figures.net_impulse_vs,
                number(limits.net_impulse_vs, 3),
                figures.energy_mj
            ),
        ),
    ];
    lines.concat()
}

fn title(report: &FitReport, i: usize, band: &Band) -> String {
    let t = &band.temperature_c;
    let range = if t.low == t.high {
        format!("{} °C alone", number(t.low, 2))
    } else {
        format!(
            "{} to {} °C, designed at {} °C",
            number(t.low, 2),
            number(t.high, 2),
            number(t.design, 2)
        )
    };
    format!(
        "Band {} of {}: {range}\n",
        i + 1,
        report.design.set.bands.len()
    )
}

/// Such as "a strong field: select 9 V, data 3 V, 70 ticks of 1 ms a row, 8 guard ticks; then a weak field: …".
fn scheme(fields: &[Field]) -> String {
    let words: Vec<String> = fields
        .iter()
        .map(|field| format!("{}: {}", role(field, fields), field_in_words(field)))
        .collect();
    words.join("; then ")
}

/// How a field stands among the others.
fn role(field: &Field, fields: &[Field]) -> String {
    let reach = |f: &Field| f.own_on_v().abs();
    let strongest = fields.iter().map(reach).fold(0.0, f64::max);
    let weakest = fields.iter().map(reach).fold(f64::INFINITY, f64::min);
    let strength = match reach(field) {
        _ if fields.len() == 1 => "one",
        _ if strongest == weakest => "a",
        v if v == strongest => "a strong",
        _ => "a weak",
    };
    let kind = if field.select_v < 0.0 {
        " lightening field"
    } else {
        " field"
    };
    format!("{strength}{kind}")
}

fn field_in_words(field: &Field) -> String {
    let guard = match field.guard_ticks {
        0 => "no guard ticks".to_owned(),
        1 => "1 guard tick".to_owned(),
        n => format!("{n} guard ticks"),
    };
    let mirrored = if field.mirrored { ", mirrored" } else { "" };
    format!(
        "select {} V, data {} V, {} ticks of {} ms a row, {guard}{mirrored}",
        number(field.select_v, 3),
        number(field.data_v, 3),
        field.slot_ticks,
        number(f64::from(field.tick_us) / 1e3, 3)
    )
}

fn erase(erase: &Erase) -> String {
    let strokes: Vec<String> = erase
        .strokes
        .iter()
        .map(|s| format!("{:+} V for {} ms", s.pixel_v, number(s.ms, 1)))
        .collect();
    format!(
        "{}: {}; rest {} ms",
        erase.name,
        strokes.join(", "),
        number(erase.rest_ms, 1)
    )
}

fn greys(report: &FitReport, band: &Band, made: &BandDesign) -> String {
    let targets = band.targets(&report.design.set);
    let ends = targets.first().zip(targets.last());
    let (dark, light) = ends.map_or((f64::NAN, f64::NAN), |(d, l)| (*d, *l));
    format!(
        "{} levels from {dark:.2} to {light:.2} L*: span {:.2}, step {:.3} L*, contrast {:.1} : 1",
        targets.len(),
        made.span_lstar,
        band.figures.step_lstar,
        made.contrast
    )
}

fn worst(w: &Worst) -> String {
    let content = match w.content {
        Content::AllOn => "all other rows on",
        Content::AllOff => "all other rows off",
    };
    format!(
        "worst at level {}, {content}, row {}, {} °C: {:.2} for {:.2} L*",
        w.level,
        w.row,
        number(w.temperature_c, 2),
        w.lstar,
        w.target_lstar
    )
}

fn refresh(band: &Band, made: &BandDesign) -> String {
    let t = &made.timing;
    let fields: Vec<String> = t.fields_s.iter().map(|s| format!("{s:.3}")).collect();
    format!(
        "{:.2} s at most = (erase {:.3} + fields {} + settling {:.3} + rest {:.3}) s × {} stretch",
        band.refresh_s,
        t.erase_s,
        fields.join(" + "),
        t.settle_s,
        t.rest_s,
        number(made.longest_stretch, 4)
    )
}

/// What sharing a ladder costs, or what the bands' own ladders reach.
pub(super) fn ladder(report: &FitReport) -> String {
    let bands = || report.design.set.bands.iter().zip(&report.design.bands);
    if report.design.set.bands.len() < 2 {
        return String::new();
    }
    let text = match report.request.ladder {
        "common" => {
            let gains: Vec<String> = bands()
                .map(|(b, d)| {
                    let range = &b.temperature_c;
                    format!(
                        "{:.2} L* at {} to {} °C ({:+.2})",
                        d.span_alone_lstar,
                        number(range.low, 2),
                        number(range.high, 2),
                        d.span_alone_lstar - d.span_lstar
                    )
                })
                .collect();
            format!(
                "common to all bands; with --ladder per-band the spans would be {}",
                gains.join(", ")
            )
        }
        _ => "each band has its own: a level changes its lightness from band to band".to_owned(),
    };
    passage("ladder", &text)
}

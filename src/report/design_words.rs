//! A design in words: the scheme of a band, what it reaches, where it is worst, where its seconds go.

use super::FitReport;
use super::lines::{Side, passage, table};
use super::words::{number, played_longer, row_zones};
use crate::design::{BandDesign, Content, Worst};
use crate::drive::{Erase, Field};
use crate::waveforms::Band;

/// Every band on a line of its own: when it serves, what it takes, what it reaches, where it is worst.
pub(super) fn overview(report: &FitReport) -> String {
    use Side::Right;
    let head = [
        "band",
        "°C",
        "refresh, s",
        "greys, L*",
        "span, L*",
        "contrast",
        "merit",
        "at level",
        "row",
        "others",
        "°C",
        "uneven",
    ];
    let mut rows = vec![head.map(str::to_owned).to_vec()];
    let bands = report.design.set.bands.iter().zip(&report.design.bands);
    rows.extend(
        bands
            .enumerate()
            .map(|(i, (band, made))| overview_row(report, i, band, made)),
    );
    table(&[Right; 12], &rows, 2)
}

fn overview_row(report: &FitReport, i: usize, band: &Band, made: &BandDesign) -> Vec<String> {
    let (dark, light) = ends(band.targets(&report.design.set));
    let w = &made.worst;
    vec![
        (i + 1).to_string(),
        range(band),
        format!("{:.2}", band.refresh_s),
        format!("{dark:.2}…{light:.2}"),
        format!("{:.2}", made.span_lstar),
        format!("{:.1} : 1", made.contrast),
        format!("{:.3}", band.figures.worst_error_steps),
        w.level.to_string(),
        w.row.to_string(),
        others(w).to_owned(),
        number(w.temperature_c, 2),
        format!("{:.3}", made.uneven_steps),
    ]
}

/// What the columns of the overview leave open.
pub(super) fn overview_note(report: &FitReport) -> String {
    let text = format!(
        "merit is the worst error of any level, in steps of the ladder, over all contents of the other rows, all rows and \
         the band's temperatures; beside it where that sits: level (0 is the darkest), row (0 to {}), what the other \
         rows show, temperature. uneven is the largest distance of a level from the even ladder between the outer two, in \
         steps, in an ordinary picture: mixed content, middle row, the band's design temperature",
        report.design.set.panel.rows.saturating_sub(1)
    );
    passage("", &text)
}

/// Every erase that a band uses, once, with the bands that use it.
pub(super) fn erases(report: &FitReport) -> String {
    let mut used: Vec<(&Erase, Vec<String>)> = Vec::new();
    for (i, band) in report.design.set.bands.iter().enumerate() {
        let number = (i + 1).to_string();
        match used.iter_mut().find(|(e, _)| *e == &band.erase) {
            Some((_, bands)) => bands.push(number),
            None => used.push((&band.erase, vec![number])),
        }
    }
    let alone = used.len() == 1;
    let words = |(e, bands): &(&Erase, Vec<String>)| {
        let bands = match bands.len() {
            _ if alone => String::new(),
            1 => format!("band {}: ", bands[0]),
            _ => format!("bands {}: ", bands.join(", ")),
        };
        bands + &erase(e)
    };
    let labels = std::iter::once("erase").chain(std::iter::repeat(""));
    let lines = used.iter().zip(labels);
    let each: String = lines.map(|(e, label)| passage(label, &words(e))).collect();
    each + &passage("", &shortest(report))
}

/// How short the strokes of an erase might be, band by band.
fn shortest(report: &FitReport) -> String {
    let bands = report.design.bands.iter();
    let each: Vec<String> = bands.map(|b| number(b.shortest_erase_s, 2)).collect();
    format!(
        "The limit on ghosts, and half of what readings saw at the coldest, allow strokes down to {} s before stretching; the \
         search takes what serves the ladder best.",
        each.join(", ")
    )
}

/// How rows differ, and what tables by zones of rows win.
pub(super) fn rows(report: &FitReport) -> String {
    let design = report.design;
    let bands = || design.bands.iter().enumerate();
    let zoned = bands().filter_map(|(i, b)| Some((i, b, b.zones.as_ref()?)));
    let mut lines: Vec<String> = zoned
        .map(|(i, b, won)| {
            format!(
                "band {}: a table each for {}; with one table for all rows the same fields would be off by {:.3} \
                 step on this ladder, not {:.3}, and one level would differ by {:.3} step from row to row, not {:.3}",
                i + 1,
                row_zones(won.rows.iter().copied()),
                won.alike_error_steps,
                design.set.bands[i].figures.worst_error_steps,
                won.alike_shading_steps,
                b.shading_steps
            )
        })
        .collect();
    if lines.is_empty() {
        let worst = bands().max_by(|a, b| a.1.shading_steps.total_cmp(&b.1.shading_steps));
        lines.extend(worst.map(|(i, b)| {
            format!(
                "one table for all; in an ordinary picture one level differs by up to {:.3} step from row to row (band {})",
                b.shading_steps,
                i + 1
            )
        }));
    } else {
        lines.push(match &design.without_zones {
            Some(w) => format!(
                "without zones of rows the ladder spans {:.2} L*, merit {:.3}, and one level differs by up to {:.3} step from \
                 row to row",
                w.span_lstar, w.worst_error_steps, w.shading_steps
            ),
            None => "without zones of rows no design was found".to_owned(),
        });
    }
    let labels = std::iter::once("rows").chain(std::iter::repeat(""));
    let each = lines.iter().zip(labels);
    each.map(|(line, label)| passage(label, line)).collect()
}

/// One band, several lines.
pub(super) fn band(report: &FitReport, i: usize, band: &Band, made: &BandDesign) -> String {
    let lines = [
        title(report, i, band),
        passage(
            "scheme",
            &format!("{} erase; then {}", band.erase.name, scheme(&band.fields)),
        ),
        passage("greys", &greys(band, made)),
        passage("merit", &merit(report, band, made)),
        passage("refresh", &refresh(band, made)),
        passage("limits", &limits(report, band)),
    ];
    lines.concat()
}

/// `5…13`, or `23` for one temperature alone.
fn range(band: &Band) -> String {
    let t = &band.temperature_c;
    if t.low == t.high {
        number(t.low, 2)
    } else {
        format!("{}…{}", number(t.low, 2), number(t.high, 2))
    }
}

fn title(report: &FitReport, i: usize, band: &Band) -> String {
    let t = &band.temperature_c;
    let played = played_longer(band.stretch_factor(t.design));
    let played = played.map_or(String::new(), |p| format!(", {p}"));
    let range = if t.low == t.high {
        format!("{} °C alone", number(t.low, 2))
    } else {
        format!(
            "{} to {} °C, designed at {} °C{played}",
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
        .map(|field| format!("{}: {}", role(field, fields), field.in_words()))
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

fn erase(erase: &Erase) -> String {
    let strokes: Vec<String> = erase
        .strokes
        .iter()
        .map(|s| format!("{:+} V for {} ms", s.pixel_v, number(s.ms, 1)))
        .collect();
    format!(
        "{}, {}; rest {} ms",
        erase.name,
        strokes.join(", "),
        number(erase.rest_ms, 1)
    )
}

fn ends(list: &[f64]) -> (f64, f64) {
    let ends = list.first().zip(list.last());
    ends.map_or((f64::NAN, f64::NAN), |(d, l)| (*d, *l))
}

fn greys(band: &Band, made: &BandDesign) -> String {
    let (dark, light) = ends(&band.predicted.lstar);
    let known = &made.known;
    let largest = |list: &[f64]| list.iter().copied().fold(0.0, f64::max);
    format!(
        "step {:.3} L*; predicted from {dark:.2} to {light:.2} L* at the middle of each level's range, known to ±{:.2} \
         L* or better (expanded uncertainty, k = 2; standard {:.3} L*), a step between neighbours to ±{:.2} L*; every \
         level is in levels.csv",
        band.figures.step_lstar,
        largest(&known.expanded_u_lstar),
        largest(&known.standard_u_lstar),
        largest(&known.step_expanded_u_lstar)
    )
}

/// What the other rows of the column show.
fn others(w: &Worst) -> &'static str {
    match w.content {
        Content::AllOn => "all on",
        Content::AllOff => "all off",
    }
}

fn merit(report: &FitReport, band: &Band, made: &BandDesign) -> String {
    let w = &made.worst;
    format!(
        "{:.3} step ({:.3} L*): level {} shows {:.2} where {:.2} L* is wanted, other rows {}, row {} of 0 to {}, {} °C",
        band.figures.worst_error_steps,
        band.figures.worst_error_lstar,
        w.level,
        w.lstar,
        w.target_lstar,
        others(w),
        w.row,
        report.design.set.panel.rows.saturating_sub(1),
        number(w.temperature_c, 2),
    )
}

fn refresh(band: &Band, made: &BandDesign) -> String {
    let t = &made.timing;
    let fields: Vec<String> = t.fields_s.iter().map(|s| format!("{s:.3}")).collect();
    let parts = format!(
        "erase {:.3} + fields {} + settling {:.3} + rest {:.3}",
        t.erase_s,
        fields.join(" + "),
        t.settle_s,
        t.rest_s
    );
    if band.stretch.is_empty() {
        return format!("{:.2} s = {parts} s", band.refresh_s);
    }
    format!(
        "{:.2} s at most = ({parts}) s × {} stretch",
        band.refresh_s,
        number(made.longest_stretch, 4)
    )
}

fn limits(report: &FitReport, band: &Band) -> String {
    let (figures, limits) = (&band.figures, &report.limits);
    let against = |value: f64, limit: f64| {
        let limit_text = number(limit, 3);
        if value.abs() > limit {
            format!("above its limit, {limit_text}")
        } else {
            format!("limit {limit_text}")
        }
    };
    format!(
        "ghost {:.2} L* ({}), net impulse {:.1} V·s{} ({}), energy {:.2} mJ",
        figures.ghost_lstar,
        against(figures.ghost_lstar, limits.ghost_lstar),
        figures.net_impulse_vs,
        if band.resting_balance_v.is_some() {
            " after the resting balance"
        } else {
            ""
        },
        against(figures.net_impulse_vs, limits.net_impulse_vs),
        figures.energy_mj
    )
}

/// What sharing a ladder costs, or what the bands' own ladders reach.
pub(super) fn ladder(report: &FitReport) -> String {
    let bands = || report.design.set.bands.iter().zip(&report.design.bands);
    if report.design.set.bands.len() < 2 {
        return String::new();
    }
    let text = match report.request.ladder {
        "common" if !report.left_out.is_empty() => {
            "common to all bands; what each might show alone was not searched".to_owned()
        }
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

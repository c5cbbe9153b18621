//! The map of levels, time, contrast and voltage: which levels in which time, what span, what lower voltages cost.

use super::axes::{Axes, Chart, axes, padded};
use super::fit::Frame;
use super::pen::{BLUE, GREEN, Heading, INK, QUIET, Type, VERMILION, disc, path, raster, text};
use super::sheet::{Area, Drawn, Page, SCALE};
use super::sweep_voltage::{VOLTAGE_HEIGHT, voltage_panels};
use super::text::wrapped;
use crate::design::sweep::{Knees, MostAt, Point};
use crate::error::Result;
use plotters::prelude::{Circle, Polygon, RGBColor};
use plotters::style::Color;
use plotters_backend::text_anchor::{HPos, VPos};

const FILE: &str = "sweep.png";
pub(super) const PAGE: u32 = 1280;
pub(super) const LEFT: f64 = 36.0;
pub(super) const GAP: f64 = 26.0;
const MAP_WIDTH: f64 = 690.0;
const MAP_HEIGHT: f64 = 500.0;
const SENTENCE: Type = Type::regular(14.0, INK);
const SENTENCE_LINE: f64 = 20.0;
pub(super) const LABEL: Type = Type::regular(12.0, INK);
const SPAN_LABEL: Type = Type::regular(12.0, BLUE);

/// Spans that lines are drawn for, L*, apart by this.
const SPAN_STEP_LSTAR: f64 = 5.0;

/// What is drawn.
pub struct SweepPicture<'a> {
    pub title: &'a str,
    /// Numbers of levels that were mapped.
    pub levels: &'a [usize],
    /// All designs, and the widest for each time and number of levels.
    pub points: &'a [Point],
    pub best: &'a [Point],
    pub knees: &'a Knees,
    /// Longest refresh that the panel's description allows, s.
    pub limit_s: f64,
    pub sentences: &'a [String],
}

const CAPTION: &str = "Each dot is a design that was found and proved; full dots are those that no other betters in levels, time, span and line voltage at \
     once. Shaded: levels whose step is no finer than worst case and expanded uncertainty allow. Blue lines join equal lightness spans (interpolated \
     over time); rings mark the shortest time found for a number of levels.";

/// The map, span against time, what lower voltages cost, and the knees in words.
pub fn sweep_png(picture: &SweepPicture) -> Result<Vec<u8>> {
    let mut page = Page::new(FILE, PAGE);
    let width = f64::from(PAGE) - 2.0 * LEFT;
    let heading = Heading::new(picture.title, CAPTION, width);
    page.strip(heading.height() as u32, |area| heading.draw(area, LEFT))?;
    page.strip((MAP_HEIGHT + 16.0) as u32, |area| {
        levels_panel(area, picture)?;
        spans_panel(area, picture)
    })?;
    if !picture.knees.voltage.is_empty() {
        page.strip((VOLTAGE_HEIGHT + 16.0) as u32, |area| {
            voltage_panels(area, picture)
        })?;
    }
    let lines: Vec<String> = picture
        .sentences
        .iter()
        .flat_map(|s| wrapped(&format!("•  {s}"), SENTENCE.face, SENTENCE.size, width))
        .collect();
    let height = SENTENCE_LINE * lines.len() as f64 + 24.0;
    page.strip(height as u32, |area| {
        for (i, line) in lines.iter().enumerate() {
            let at = (LEFT, 4.0 + SENTENCE_LINE * i as f64);
            text(area, at, line, SENTENCE, HPos::Left, VPos::Top)?;
        }
        Ok(())
    })?;
    page.png()
}

/// In picture pixels.
pub(super) fn place((x, y): (i32, i32)) -> (f64, f64) {
    (
        f64::from(x) / f64::from(SCALE),
        f64::from(y) / f64::from(SCALE),
    )
}

fn is_free(p: &&Point) -> bool {
    p.select_cap_v.is_none() && p.data_cap_v.is_none()
}

fn free<'a>(picture: &'a SweepPicture) -> impl Iterator<Item = &'a Point> {
    picture.best.iter().filter(is_free)
}

/// Numbers of levels that were mapped and found.
fn lined(picture: &SweepPicture) -> Vec<usize> {
    let found = |l: &&usize| free(picture).any(|p| p.levels == **l);
    picture.levels.iter().filter(found).copied().collect()
}

fn times(picture: &SweepPicture) -> std::ops::Range<f64> {
    let most = &picture.knees.most;
    // One time before the first in which anything was found.
    let first = most.iter().position(|m| m.levels.is_some()).unwrap_or(0);
    let shown = &most[first.saturating_sub(1)..];
    padded(shown.iter().map(|m| m.budget_s), 0.25)
}

fn levels_panel(area: &Area, picture: &SweepPicture) -> Drawn {
    let frame = Frame {
        left: LEFT,
        top: 0.0,
        width: MAP_WIDTH,
        height: MAP_HEIGHT,
    };
    let most = free(picture).map(|p| p.levels).max().unwrap_or(2) as f64;
    let x = times(picture);
    let chart = axes(
        area,
        &frame,
        &Axes {
            title: "How many levels, in which time",
            x: x.clone(),
            y: 0.0..most * 1.12 + 1.0,
            x_words: "refresh, s",
            y_words: "levels",
        },
    )?;
    shade(area, &chart, picture, x.end)?;
    limit(area, &chart, picture, x.end, most * 1.12 + 1.0)?;
    spans(area, &chart, picture)?;
    for p in picture.points.iter().filter(is_free).filter(|p| !p.carried) {
        let at = chart.backend_coord(&(p.budget_s, p.levels as f64));
        if p.pareto {
            disc(area, at, 3.6, INK.mix(0.95))?;
        } else {
            area.draw(&Circle::new(
                at,
                raster(3.0),
                QUIET.stroke_width(raster(1.2) as u32),
            ))?;
        }
    }
    for n in &picture.knees.need {
        let at = chart.backend_coord(&(n.budget_s, n.levels as f64));
        area.draw(&Circle::new(
            at,
            raster(7.0),
            VERMILION.stroke_width(raster(1.6) as u32),
        ))?;
    }
    Ok(())
}

/// What may honestly be claimed: a staircase over time.
fn shade(area: &Area, chart: &Chart, picture: &SweepPicture, end_s: f64) -> Drawn {
    let found = |m: &&MostAt| m.levels.is_some();
    let most: Vec<&MostAt> = picture.knees.most.iter().filter(found).collect();
    let mut corners: Vec<(f64, f64)> = Vec::new();
    corners.extend(most.first().map(|m| (m.budget_s, 0.0)));
    for (i, m) in most.iter().enumerate() {
        let next_s = most.get(i + 1).map_or(end_s, |n| n.budget_s);
        let levels = m.levels.unwrap_or(0) as f64;
        corners.push((m.budget_s, levels));
        corners.push((next_s, levels));
    }
    let outline: Vec<(i32, i32)> = corners.iter().map(|c| chart.backend_coord(c)).collect();
    let Some((first, last)) = corners.first().zip(corners.last()) else {
        return Ok(());
    };
    let mut closed = outline.clone();
    closed.push(chart.backend_coord(&(last.0, 0.0)));
    closed.push(chart.backend_coord(&(first.0, 0.0)));
    area.draw(&Polygon::new(closed, GREEN.mix(0.10).filled()))?;
    path(area, outline, 2.2, GREEN.mix(0.9))?;
    let Some(m) = most.last() else {
        return Ok(());
    };
    let (x, y) = place(chart.backend_coord(&(m.budget_s, m.levels.unwrap_or(0) as f64)));
    let face = Type {
        ink: GREEN,
        ..LABEL
    };
    let words = format!("most that count: {}", m.levels.unwrap_or(0));
    text(
        area,
        (x + 8.0, y - 12.0),
        &words,
        face,
        HPos::Right,
        VPos::Center,
    )
}

/// The longest refresh that the panel's description allows, where the map goes beyond.
fn limit(area: &Area, chart: &Chart, picture: &SweepPicture, end_s: f64, top: f64) -> Drawn {
    let longest = picture
        .knees
        .most
        .iter()
        .map(|m| m.budget_s)
        .fold(0.0, f64::max);
    if picture.limit_s >= longest || picture.limit_s >= end_s {
        return Ok(());
    }
    let ends = [0.0, top].map(|y| chart.backend_coord(&(picture.limit_s, y)));
    path(area, ends.to_vec(), 1.2, VERMILION.mix(0.8))?;
    let (x, y) = place(ends[1]);
    text(
        area,
        (x + 5.0, y + 8.0),
        "limits.refresh_s",
        LABEL,
        HPos::Left,
        VPos::Center,
    )
}

/// Lines of equal span.
fn spans(area: &Area, chart: &Chart, picture: &SweepPicture) -> Drawn {
    let levels = lined(picture);
    let widest = free(picture).map(|p| p.span_lstar).fold(0.0, f64::max);
    let count = (widest / SPAN_STEP_LSTAR) as usize;
    for k in 1..=count {
        let span_lstar = k as f64 * SPAN_STEP_LSTAR;
        let line: Vec<(f64, f64)> = levels
            .iter()
            .filter_map(|&l| Some((reached_s(picture, l, span_lstar)?, l as f64)))
            .collect();
        let places: Vec<(i32, i32)> = line.iter().map(|p| chart.backend_coord(p)).collect();
        let Some(&lowest) = places.first().filter(|_| places.len() > 1) else {
            continue;
        };
        path(area, places, 1.3, BLUE.mix(0.75))?;
        let (x, y) = place(lowest);
        let words = format!("{span_lstar} L*");
        text(
            area,
            (x, y + 13.0),
            &words,
            SPAN_LABEL,
            HPos::Center,
            VPos::Center,
        )?;
    }
    Ok(())
}

/// When so many levels first span so much, linear between times.
fn reached_s(picture: &SweepPicture, levels: usize, span_lstar: f64) -> Option<f64> {
    let line: Vec<&Point> = free(picture).filter(|p| p.levels == levels).collect();
    line.windows(2).find_map(|w| {
        let (a, b) = (w[0], w[1]);
        if a.span_lstar > span_lstar || b.span_lstar < span_lstar {
            return None;
        }
        let rise = b.span_lstar - a.span_lstar;
        let share = if rise > 0.0 {
            (span_lstar - a.span_lstar) / rise
        } else {
            0.0
        };
        Some(a.budget_s + share * (b.budget_s - a.budget_s))
    })
}

/// Light to dark, fewest levels first.
fn ink_of(i: usize, count: usize) -> RGBColor {
    let share = i as f64 / count.saturating_sub(1).max(1) as f64;
    let between =
        |a: u8, b: u8| (f64::from(a) + share * (f64::from(b) - f64::from(a))).round() as u8;
    let (light, dark) = (RGBColor(120, 190, 225), RGBColor(0, 52, 96));
    RGBColor(
        between(light.0, dark.0),
        between(light.1, dark.1),
        between(light.2, dark.2),
    )
}

fn spans_panel(area: &Area, picture: &SweepPicture) -> Drawn {
    let left = LEFT + MAP_WIDTH + GAP;
    let frame = Frame {
        left,
        top: 0.0,
        width: f64::from(PAGE) - LEFT - left,
        height: MAP_HEIGHT,
    };
    let levels = lined(picture);
    let widest = free(picture).map(|p| p.span_lstar).fold(1.0, f64::max);
    let x = times(picture);
    // Room for what stands at the ends of the lines.
    let end = x.end + 0.2 * (x.end - x.start);
    let chart = axes(
        area,
        &frame,
        &Axes {
            title: "What span, darkest to lightest",
            x: x.start..end,
            y: 0.0..widest * 1.08,
            x_words: "refresh, s",
            y_words: "span, L*",
        },
    )?;
    let mut ends: Vec<(f64, String, RGBColor)> = Vec::new();
    let mut right = 0.0;
    for (i, &l) in levels.iter().enumerate() {
        let line: Vec<&Point> = free(picture).filter(|p| p.levels == l).collect();
        let ink = ink_of(i, levels.len());
        let places: Vec<(i32, i32)> = line
            .iter()
            .map(|p| chart.backend_coord(&(p.budget_s, p.span_lstar)))
            .collect();
        path(area, places.clone(), 1.8, ink.mix(1.0))?;
        for at in &places {
            disc(area, *at, 2.6, ink.mix(1.0))?;
        }
        if let Some((last, at)) = line.last().zip(places.last()) {
            let (x, y) = place(*at);
            right = f64::max(right, x);
            ends.push((y, format!("{l}: {:.1} : 1", last.contrast), ink));
        }
    }
    for (y, words, ink) in apart(ends) {
        let face = Type { ink, ..LABEL };
        text(
            area,
            (right + 8.0, y),
            &words,
            face,
            HPos::Left,
            VPos::Center,
        )?;
    }
    let (x, y) = place(chart.backend_coord(&(end, 0.0)));
    let legend = [
        (22.0, "at the end of a line: levels,"),
        (8.0, "contrast in the longest time"),
    ];
    for (above, words) in legend {
        let at = (x - 4.0, y - above);
        let face = Type::regular(12.0, QUIET);
        text(area, at, words, face, HPos::Right, VPos::Center)?;
    }
    Ok(())
}

/// Labels moved down as far as they would cover each other.
fn apart(mut labels: Vec<(f64, String, RGBColor)>) -> Vec<(f64, String, RGBColor)> {
    const LINE: f64 = 14.0;
    labels.sort_by(|a, b| a.0.total_cmp(&b.0));
    let mut last = f64::NEG_INFINITY;
    for label in &mut labels {
        label.0 = label.0.max(last + LINE);
        last = label.0;
    }
    labels
}

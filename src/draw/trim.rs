//! How even the levels of each band stood, and stand after trimming.

use super::axes::{Axes, axes};
use super::fit::Frame;
use super::pen::{BLUE, Heading, INK, ORANGE, QUIET, Type, VERMILION, disc, path, raster, text};
use super::sheet::{Area, Drawn, Page};
use crate::error::Result;
use plotters::style::Color;
use plotters_backend::text_anchor::{HPos, VPos};

const FILE: &str = "trim.png";
const PAGE: u32 = 1200;
const LEFT: f64 = 40.0;
const PANEL_HEIGHT: f64 = 250.0;
const KEY_HEIGHT: f64 = 30.0;
const HALF_STEP: f64 = 0.5;

/// Distance of a level from the even ladder between the outer two, in steps.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct TrimLevel {
    pub before_steps: f64,
    pub after_steps: f64,
    /// Expanded uncertainty of what is shown after, k = 2.
    pub expanded_u_steps: f64,
}

#[derive(Debug, Clone, PartialEq)]
pub struct TrimBand {
    pub title: String,
    /// Darkest first.
    pub levels: Vec<TrimLevel>,
}

/// A panel a band, level by level: before, after, and how well the latter is known.
pub fn trim_png(bands: &[TrimBand], title: &str, caption: &str) -> Result<Vec<u8>> {
    let mut page = Page::new(FILE, PAGE);
    let heading = Heading::new(title, caption, f64::from(PAGE) - 2.0 * LEFT);
    page.strip(heading.height() as u32, |area| heading.draw(area, LEFT))?;
    let halves_drawn = bands.iter().any(|b| reach_steps(b) > HALF_STEP);
    page.strip(KEY_HEIGHT as u32, |area| key(area, halves_drawn))?;
    for band in bands {
        page.strip((PANEL_HEIGHT + 14.0) as u32, |area| panel(area, band))?;
    }
    page.png()
}

const KEY: Type = Type::regular(13.0, INK);

fn key(area: &Area, halves_drawn: bool) -> Drawn {
    let y = 12.0;
    let entries = [
        (ORANGE, "before trimming"),
        (BLUE, "after; bar: expanded uncertainty, k = 2"),
    ];
    let mut x = LEFT + 52.0;
    for (ink, words) in entries {
        disc(area, (raster(x), raster(y)), 4.0, ink.mix(1.0))?;
        text(area, (x + 10.0, y), words, KEY, HPos::Left, VPos::Center)?;
        x += 170.0;
    }
    if !halves_drawn {
        return Ok(());
    }
    text(
        area,
        (f64::from(PAGE) - LEFT, y),
        "dashed: half a step, where neighbours could change places",
        Type::regular(13.0, QUIET),
        HPos::Right,
        VPos::Center,
    )
}

/// How far a band's picture reaches either way, steps.
fn reach_steps(band: &TrimBand) -> f64 {
    let sizes = band.levels.iter().flat_map(|l| {
        [
            l.before_steps.abs(),
            l.after_steps.abs() + l.expanded_u_steps,
        ]
    });
    let finite = sizes.filter(|s| s.is_finite());
    finite.fold(0.3, f64::max).min(20.0) * 1.08
}

fn panel(area: &Area, band: &TrimBand) -> Drawn {
    let frame = Frame {
        left: LEFT,
        top: 0.0,
        width: f64::from(PAGE) - 2.0 * LEFT,
        height: PANEL_HEIGHT,
    };
    let largest = reach_steps(band);
    let last = band.levels.len().saturating_sub(1) as f64;
    let chart = axes(
        area,
        &frame,
        &Axes {
            title: &band.title,
            x: -0.5..last + 0.5,
            y: -largest..largest,
            x_words: "level, darkest first",
            y_words: "off even, steps",
        },
    )?;
    let at = |level: f64, steps: f64| chart.backend_coord(&(level, steps.clamp(-largest, largest)));
    let level_line = |steps: f64, ink, width| {
        path(
            area,
            vec![at(-0.5, steps), at(last + 0.5, steps)],
            width,
            ink,
        )
    };
    level_line(0.0, QUIET.mix(0.9), 1.0)?;
    if largest > HALF_STEP {
        for steps in [-HALF_STEP, HALF_STEP] {
            dashed(area, at(-0.5, steps), at(last + 0.5, steps).0)?;
        }
    }
    for (i, l) in band.levels.iter().enumerate() {
        let x = i as f64;
        disc(area, at(x, l.before_steps), 3.4, ORANGE.mix(0.9))?;
        let bar = [
            l.after_steps - l.expanded_u_steps,
            l.after_steps + l.expanded_u_steps,
        ];
        path(area, bar.map(|s| at(x, s)).to_vec(), 1.6, BLUE.mix(0.8))?;
        disc(area, at(x, l.after_steps), 3.4, BLUE.mix(1.0))?;
    }
    Ok(())
}

/// A level line of dashes between raster points.
fn dashed(area: &Area, from: (i32, i32), to_x: i32) -> Drawn {
    let (dash, gap) = (raster(5.0), raster(4.0));
    let mut x = from.0;
    while x < to_x {
        let end = (x + dash).min(to_x);
        path(
            area,
            vec![(x, from.1), (end, from.1)],
            1.0,
            VERMILION.mix(0.8),
        )?;
        x += dash + gap;
    }
    Ok(())
}

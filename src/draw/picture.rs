//! A picture as it was meant, as the panel will show it, and how far apart the two are.

use super::grey::grey_byte;
use super::pen::{BLUE, Heading, INK, QUIET, Type, VERMILION, fill, text};
use super::sheet::{Area, Drawn, Page};
use crate::error::Result;
use plotters::prelude::RGBColor;
use plotters_backend::text_anchor::{HPos, VPos};

const FILE: &str = "picture.png";
const LEFT: u32 = 40;
const GAP: u32 = 24;
/// Narrowest page on which headings can be read.
const NARROWEST: u32 = 760;
const LABELS: u32 = 30;
const KEY: u32 = 70;
/// Between the pictures.
const GROUND: [u8; 3] = [255, 255, 255];

/// Three pictures of the same size, row by row.
#[derive(Debug, Clone, Copy)]
pub struct Shown<'a> {
    pub columns: usize,
    /// What was asked for, L*.
    pub wanted_lstar: &'a [f64],
    /// What the panel shows, L*.
    pub shown_lstar: &'a [f64],
    /// Shown less the target of the pixel's level, L*.
    pub error_lstar: &'a [f64],
    /// The error at which the colour is full, L*.
    pub full_lstar: f64,
}

/// The three side by side, `magnify` picture pixels to a pixel of the panel.
pub fn picture_png(shown: &Shown, magnify: u32, title: &str, caption: &str) -> Result<Vec<u8>> {
    let width = shown.columns as u32 * magnify;
    let page_width = (2 * LEFT + 3 * width + 2 * GAP).max(NARROWEST);
    let mut page = Page::new(FILE, page_width);
    let heading = Heading::new(title, caption, f64::from(page_width - 2 * LEFT));
    page.strip(heading.height() as u32, |area| {
        heading.draw(area, f64::from(LEFT))
    })?;
    page.strip(LABELS, |area| labels(area, width))?;
    let rows = shown.wanted_lstar.len() / shown.columns.max(1);
    page.append(rows as u32 * magnify, |x, y| {
        shown.at(x, y / magnify, magnify)
    });
    page.strip(KEY, |area| key(area, shown.full_lstar))?;
    page.png()
}

impl Shown<'_> {
    /// The colour at a place of the page, `row` of the panel.
    fn at(&self, x: u32, row: u32, magnify: u32) -> [u8; 3] {
        let width = self.columns as u32 * magnify;
        let Some(x) = x.checked_sub(LEFT) else {
            return GROUND;
        };
        let (which, within) = (x / (width + GAP), x % (width + GAP));
        if which > 2 || within >= width {
            return GROUND;
        }
        let pixel = row as usize * self.columns + (within / magnify) as usize;
        match which {
            0 => [grey_byte(self.wanted_lstar[pixel]); 3],
            1 => [grey_byte(self.shown_lstar[pixel]); 3],
            _ => error_colour(self.error_lstar[pixel] / self.full_lstar),
        }
    }
}

/// White for none, blue for lighter, vermilion for darker, full at ±1.
fn error_colour(share: f64) -> [u8; 3] {
    let full = if share > 0.0 { BLUE } else { VERMILION };
    let share = share.abs().min(1.0);
    let mix = |ink: u8| (255.0 + (f64::from(ink) - 255.0) * share).round() as u8;
    [mix(full.0), mix(full.1), mix(full.2)]
}

fn labels(area: &Area, width: u32) -> Drawn {
    let each = [
        "asked for",
        "as the panel shows it",
        "shown less the level's target",
    ];
    for (k, words) in (0..).zip(each) {
        let x = f64::from(LEFT + k * (width + GAP));
        let style = Type::regular(14.0, INK);
        text(area, (x, 8.0), words, style, HPos::Left, VPos::Top)?;
    }
    Ok(())
}

/// Swatches from darker to lighter.
fn key(area: &Area, full_lstar: f64) -> Drawn {
    const SWATCHES: i32 = 9;
    const SIZE: f64 = 26.0;
    let (x, y) = (f64::from(LEFT), 18.0);
    for k in 0..SWATCHES {
        let share = 2.0 * f64::from(k) / f64::from(SWATCHES - 1) - 1.0;
        let [r, g, b] = error_colour(share);
        let from = (x + SIZE * f64::from(k), y);
        let to = (from.0 + SIZE, y + 14.0);
        fill(area, from, to, RGBColor(r, g, b))?;
    }
    let words =
        format!("−{full_lstar:.2} … +{full_lstar:.2} L*: darker, lighter than the level's target");
    let at = (x + SIZE * f64::from(SWATCHES) + 12.0, y + 7.0);
    let style = Type::regular(13.0, QUIET);
    text(area, at, &words, style, HPos::Left, VPos::Center)
}

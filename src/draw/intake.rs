//! What was read, over the scan it was read from.

use super::pen::{BLUE, Heading, INK, Type, VERMILION, fill, path, raster, text};
use super::sheet::{Area, Drawn, Page};
use crate::error::Result;
use crate::intake::frame::{Point, Rectangle};
use crate::intake::scan::{Preview, Scan};
use plotters::prelude::{Color, RGBColor};
use plotters_backend::text_anchor::{HPos, VPos};

const FILE: &str = "intake.png";
const LEFT: u32 = 40;
const WIDTH: u32 = 1120;
/// Tallest drawings of the whole scan and of the panel.
const WHOLE_MAX: f64 = 620.0;
const CLOSE_MAX: f64 = 1200.0;
const GAP: f64 = 18.0;
const KEY: f64 = 54.0;
/// The scan is drawn paler, so that what lies over it shows.
const PALER: f32 = 0.35;

/// Words for a patch: its name and its value.
#[derive(Debug, Clone)]
pub struct PatchWords {
    pub name: String,
    pub lstar: f64,
    pub u_lstar: f64,
}

/// The scan with the marks that were found, the patches that were read, their values and the spots that were left out.
pub fn intake_png(
    scan: &Scan,
    words: &[PatchWords],
    title: &str,
    caption: &str,
) -> Result<Vec<u8>> {
    let mut page = Page::new(FILE, WIDTH + 2 * LEFT);
    let heading = Heading::new(title, caption, f64::from(WIDTH));
    page.strip(heading.height() as u32, |area| {
        heading.draw(area, f64::from(LEFT))
    })?;
    let left = f64::from(LEFT);
    let whole = View::new(scan, &scan.preview, WHOLE_MAX, left);
    page.strip((whole.height() + GAP) as u32, |area| {
        whole.draw(area, words, false)
    })?;
    let close = View::new(scan, &scan.close, CLOSE_MAX, left);
    page.strip((close.height() + KEY) as u32, |area| {
        close.draw(area, words, true)?;
        key(area, left, close.height() + 26.0)
    })?;
    page.png()
}

/// A part of a scan as it is drawn.
struct View<'a> {
    scan: &'a Scan,
    preview: &'a Preview,
    /// Drawn pixels to a pixel of the preview.
    scale: f64,
    left: f64,
}

impl<'a> View<'a> {
    /// As large as the page is wide, and no higher than `tallest`.
    fn new(scan: &'a Scan, preview: &'a Preview, tallest: f64, left: f64) -> Self {
        let fit = |most: f64, length: usize| most / length.max(1) as f64;
        View {
            scan,
            preview,
            scale: fit(f64::from(WIDTH), preview.width).min(fit(tallest, preview.height)),
            left,
        }
    }

    fn height(&self) -> f64 {
        (self.scale * self.preview.height as f64).ceil()
    }

    /// `close` shows values and spots, otherwise the marks.
    fn draw(&self, area: &Area, words: &[PatchWords], close: bool) -> Drawn {
        paint(area, self.preview, self.scale, self.left)?;
        if !close {
            for mark in &self.scan.found.marks {
                cross(area, self.of_picture(*mark), VERMILION)?;
            }
        }
        for (patch, words) in self.scan.patches.iter().zip(words) {
            self.outline(area, patch.region, 1.6, BLUE)?;
            if close {
                self.label(area, patch.region, words)?;
                for spot in &patch.reading.left {
                    self.outline(area, spot.region.grown(0.1), 1.2, VERMILION)?;
                }
            }
        }
        Ok(())
    }

    fn of_picture(&self, at: Point) -> Point {
        let scale = self.scale / self.preview.factor as f64;
        let (x, y) = self.preview.origin;
        (
            self.left + (at.0 - x as f64) * scale,
            (at.1 - y as f64) * scale,
        )
    }

    fn of_frame(&self, at: Point) -> Point {
        self.of_picture(self.scan.found.to_picture.at(at))
    }

    fn outline(&self, area: &Area, region: Rectangle, width: f64, ink: RGBColor) -> Drawn {
        let corners = region.corners().map(|c| self.of_frame(c));
        let round = [corners[0], corners[1], corners[2], corners[3], corners[0]];
        let points = round.map(|(x, y)| (raster(x), raster(y))).to_vec();
        path(area, points, width, ink.mix(1.0))
    }

    /// Name above value, on a pale plate, as large as the patch has room for.
    fn label(&self, area: &Area, region: Rectangle, words: &PatchWords) -> Drawn {
        let corners = region.corners().map(|c| self.of_frame(c));
        let xs = corners.map(|c| c.0);
        let width = xs.iter().copied().fold(f64::NEG_INFINITY, f64::max)
            - xs.iter().copied().fold(f64::INFINITY, f64::min);
        let size = (width / 9.0).clamp(7.0, 16.0);
        let (x, y) = self.of_frame(region.centre());
        let value = format!("{:.2}", words.lstar);
        let u = format!("± {:.2}", 2.0 * words.u_lstar);
        let (half, tall) = (2.1 * size, 1.7 * size);
        let plate = RGBColor(255, 255, 255).mix(0.78);
        fill(area, (x - half, y - tall), (x + half, y + tall), plate)?;
        let lines = [
            (words.name.as_str(), Type::bold(size), -1.1),
            (value.as_str(), Type::regular(size, INK), 0.0),
            (u.as_str(), Type::regular(0.85 * size, INK), 1.1),
        ];
        for (line, face, down) in lines {
            text(
                area,
                (x, y + down * size),
                line,
                face,
                HPos::Center,
                VPos::Center,
            )?;
        }
        Ok(())
    }
}

fn key(area: &Area, left: f64, y: f64) -> Drawn {
    let each = [
        (
            BLUE,
            "read, inside its margin: L* and expanded uncertainty (k = 2)",
        ),
        (VERMILION, "marks found; spots left out"),
    ];
    let mut x = left;
    for (ink, words) in each {
        fill(area, (x, y - 5.0), (x + 18.0, y + 5.0), ink)?;
        text(
            area,
            (x + 24.0, y),
            words,
            Type::regular(13.0, INK),
            HPos::Left,
            VPos::Center,
        )?;
        x += 470.0;
    }
    Ok(())
}

/// The scan's pixels as squares.
fn paint(area: &Area, preview: &Preview, scale: f64, left: f64) -> Drawn {
    let brightest = preview.values.iter().copied().fold(0.05f32, f32::max);
    for y in 0..preview.height {
        for x in 0..preview.width {
            let share = preview.values[y * preview.width + x] / brightest;
            let grey = (255.0 * (PALER + (1.0 - PALER) * share.clamp(0.0, 1.0))) as u8;
            let from = (left + x as f64 * scale, y as f64 * scale);
            let to = (from.0 + scale, from.1 + scale);
            fill(area, from, to, RGBColor(grey, grey, grey))?;
        }
    }
    Ok(())
}

fn cross(area: &Area, (x, y): Point, ink: RGBColor) -> Drawn {
    const ARM: f64 = 9.0;
    for (dx, dy) in [(ARM, 0.0), (0.0, ARM)] {
        let points = vec![
            (raster(x - dx), raster(y - dy)),
            (raster(x + dx), raster(y + dy)),
        ];
        path(area, points, 2.0, ink.mix(1.0))?;
    }
    Ok(())
}

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
/// Tallest drawing of a scan.
const HEIGHT_MAX: f64 = 1500.0;
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
    let preview = &scan.preview;
    let fit = |most: f64, length: usize| most / length.max(1) as f64;
    let scale = fit(f64::from(WIDTH), preview.width).min(fit(HEIGHT_MAX, preview.height));
    let over = Over {
        scan,
        words,
        scale,
        left: f64::from(LEFT),
    };
    let height = (scale * preview.height as f64).ceil() + KEY;
    page.strip(height as u32, |area| over.draw(area))?;
    page.png()
}

struct Over<'a> {
    scan: &'a Scan,
    words: &'a [PatchWords],
    /// Drawn pixels to a pixel of the preview.
    scale: f64,
    left: f64,
}

impl Over<'_> {
    fn draw(&self, area: &Area) -> Drawn {
        let preview = &self.scan.preview;
        paint(area, preview, self.scale, self.left)?;
        for mark in &self.scan.found.marks {
            let at = self.of_picture(*mark);
            cross(area, at, VERMILION)?;
        }
        for (patch, words) in self.scan.patches.iter().zip(self.words) {
            self.outline(area, patch.region, 1.6, BLUE)?;
            for spot in &patch.reading.left {
                self.outline(area, spot.region.grown(0.1), 1.2, VERMILION)?;
            }
            self.label(area, patch.region, words)?;
        }
        self.key(area)
    }

    fn of_picture(&self, at: Point) -> Point {
        let scale = self.scale / self.scan.preview.factor as f64;
        (self.left + at.0 * scale, at.1 * scale)
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
        let size = (width / 6.0).clamp(7.0, 15.0);
        let (x, y) = self.of_frame(region.centre());
        let value = format!("{:.2}", words.lstar);
        let u = format!("± {:.2}", 2.0 * words.u_lstar);
        let (half, tall) = (2.3 * size, 1.75 * size);
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

    fn key(&self, area: &Area) -> Drawn {
        let y = self.scale * self.scan.preview.height as f64 + 26.0;
        let each = [
            (BLUE, "read, inside its margin: L* and expanded uncertainty"),
            (VERMILION, "marks found; spots left out"),
        ];
        let mut x = self.left;
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
            x += 430.0;
        }
        Ok(())
    }
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

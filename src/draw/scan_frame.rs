//! The sheets that are printed for scanning: the frame that the panel is laid into, and the strips with the page marks.

use super::text::{Face, Line, cut};
use crate::error::{Error, Result};
use crate::intake::frame::*;
use crate::intake::page_mark::{PageMark, chart_byte};
use crate::project::{Chart, Panel};
use std::path::Path;

/// Dots to the inch.
const DPI: f64 = 300.0;
const DOTS_MM: f64 = DPI / 25.4;
/// A4.
const SHEET_MM: (f64, f64) = (210.0, 297.0);
const SHEET_EDGE_MM: f64 = 15.0;
/// From one strip to the next.
const STRIP_PITCH_MM: (f64, f64) = (90.0, 12.0);
/// Parts of a dot each way by which a disc's edge is smoothed.
const PARTS: usize = 4;
const WHITE: u8 = 255;
const BLACK: u8 = 0;
const LINE: u8 = 120;
const HAIR_MM: f64 = 0.15;

/// Strips on one sheet.
pub fn strips_on_a_sheet() -> usize {
    let (across, down) = strip_grid();
    across * down
}

fn strip_grid() -> (usize, usize) {
    let fit = |length: f64, pitch: f64| ((length - 2.0 * SHEET_EDGE_MM) / pitch) as usize;
    (
        fit(SHEET_MM.0, STRIP_PITCH_MM.0),
        fit(SHEET_MM.1, STRIP_PITCH_MM.1),
    )
}

/// The frame of a panel, to be printed at its true size. Errs where it is larger than A3.
pub fn scan_frame_png(panel: &Panel, file: &Path) -> Result<Vec<u8>> {
    let frame = Frame::of(panel);
    let mut sheet = Sheet::new((frame.width_mm, frame.height_mm));
    sheet.outline(Rectangle {
        x: 0.0,
        y: 0.0,
        width: frame.width_mm,
        height: frame.height_mm,
    });
    for (k, at) in frame.corner_marks().into_iter().enumerate() {
        sheet.disc(at, MARK_RADIUS_MM, BLACK);
        for (x, y) in Frame::holes(k) {
            sheet.disc((at.0 + x, at.1 + y), HOLE_RADIUS_MM, WHITE);
        }
    }
    for at in frame.side_marks() {
        sheet.disc(at, MARK_RADIUS_MM, BLACK);
    }
    sheet.outline(frame.strip);
    let strip = frame.strip.centre();
    sheet.words("page strip", strip, 2.4);
    for place in &frame.places {
        sheet.outline(Rectangle::square(place.centre, STEP_MM));
        sheet.words(&place.name, place.centre, 2.2);
    }
    sheet.outline(frame.panel.grown(WINDOW_EDGE_MM));
    window_words(&mut sheet, frame.panel);
    ruler(&mut sheet, panel, &frame);
    sheet.png(file)
}

/// What to do with the window, as large as it has room for.
fn window_words(sheet: &mut Sheet, panel: Rectangle) {
    const WORDS: [&str; 4] = [
        "cut out",
        "the panel's pixels in the middle:",
        "row 0 at the top,",
        "column 0 at the left",
    ];
    const LARGEST_MM: f64 = 2.6;
    let widest = WORDS.iter().map(|w| Line::set(w, Face::Regular, 1.0).width);
    let ems = widest.fold(1.0, f64::max);
    let size = (0.9 * panel.width / ems)
        .min(panel.height / (1.6 * WORDS.len() as f64))
        .min(LARGEST_MM);
    let (x, y) = panel.centre();
    for (k, words) in WORDS.into_iter().enumerate() {
        let down = (k as f64 - (WORDS.len() - 1) as f64 / 2.0) * 1.4 * size;
        sheet.words(words, (x, y + down), size);
    }
}

/// The bar by which the print is checked, and whose frame it is.
fn ruler(sheet: &mut Sheet, panel: &Panel, frame: &Frame) {
    const BAR_MM: f64 = 50.0;
    let (middle, y) = (frame.width_mm / 2.0, frame.height_mm - 6.5);
    sheet.fill(
        Rectangle {
            x: middle - BAR_MM / 2.0,
            y,
            width: BAR_MM,
            height: 0.6,
        },
        LINE,
    );
    for x in [middle - BAR_MM / 2.0, middle + BAR_MM / 2.0 - HAIR_MM] {
        let end = Rectangle {
            x,
            y: y - 0.8,
            width: HAIR_MM,
            height: 2.2,
        };
        sheet.fill(end, LINE);
    }
    let words = format!("{}: print at true size, this bar is 50 mm", panel.name);
    sheet.words(&words, (middle, y + 3.4), 2.4);
}

/// Sheets with a strip for each page of a chart, to be printed at their true size and cut out.
pub fn page_strips_png(chart: &Chart, file: &Path) -> Result<Vec<Vec<u8>>> {
    let (across, _) = strip_grid();
    let chart_byte = chart_byte(chart);
    let numbered: Vec<(usize, &str)> = (1..)
        .zip(chart.pages.iter().map(|p| p.name.as_str()))
        .collect();
    numbered
        .chunks(strips_on_a_sheet())
        .map(|pages| {
            let mut sheet = Sheet::new(SHEET_MM);
            for (k, &(number, name)) in pages.iter().enumerate() {
                let at = (
                    SHEET_EDGE_MM + (k % across) as f64 * STRIP_PITCH_MM.0,
                    SHEET_EDGE_MM + (k / across) as f64 * STRIP_PITCH_MM.1,
                );
                let mark = PageMark {
                    number: number as u16,
                    chart: chart_byte,
                };
                sheet.strip(at, mark, name);
            }
            sheet.png(file)
        })
        .collect()
}

/// A grey raster with true lengths.
struct Sheet {
    size_mm: Point,
    width: usize,
    height: usize,
    dots: Vec<u8>,
}

impl Sheet {
    fn new(size_mm: Point) -> Self {
        let dots = |mm: f64| (mm.min(SIDE_MAX_MM + 1.0) * DOTS_MM).round() as usize;
        let (width, height) = (dots(size_mm.0), dots(size_mm.1));
        Sheet {
            size_mm,
            width,
            height,
            dots: vec![WHITE; width * height],
        }
    }

    fn set(&mut self, x: usize, y: usize, ink: u8, share: f64) {
        if x < self.width && y < self.height {
            let dot = &mut self.dots[y * self.width + x];
            let mixed =
                f64::from(*dot) + (f64::from(ink) - f64::from(*dot)) * share.clamp(0.0, 1.0);
            *dot = mixed.round() as u8;
        }
    }

    fn fill(&mut self, r: Rectangle, ink: u8) {
        let dot = |mm: f64| (mm * DOTS_MM).round().max(0.0) as usize;
        let (right, bottom) = (dot(r.x + r.width), dot(r.y + r.height));
        for y in dot(r.y)..bottom.max(dot(r.y) + 1) {
            for x in dot(r.x)..right.max(dot(r.x) + 1) {
                self.set(x, y, ink, 1.0);
            }
        }
    }

    fn outline(&mut self, r: Rectangle) {
        let (right, bottom) = (r.x + r.width - HAIR_MM, r.y + r.height - HAIR_MM);
        for y in [r.y, bottom] {
            let height = HAIR_MM;
            self.fill(Rectangle { y, height, ..r }, LINE);
        }
        for x in [r.x, right] {
            let width = HAIR_MM;
            self.fill(Rectangle { x, width, ..r }, LINE);
        }
    }

    fn disc(&mut self, centre: Point, radius: f64, ink: u8) {
        let (cx, cy, r) = (centre.0 * DOTS_MM, centre.1 * DOTS_MM, radius * DOTS_MM);
        let from = |c: f64| (c - r - 1.0).max(0.0) as usize;
        let to = |c: f64| (c + r + 2.0).max(0.0) as usize;
        for y in from(cy)..to(cy) {
            for x in from(cx)..to(cx) {
                let part = |k: usize| (k as f64 + 0.5) / PARTS as f64;
                let inside = |k: &usize| {
                    let dx = x as f64 + part(k % PARTS) - cx;
                    let dy = y as f64 + part(k / PARTS) - cy;
                    dx * dx + dy * dy <= r * r
                };
                let share = (0..PARTS * PARTS).filter(inside).count() as f64;
                self.set(x, y, ink, share / (PARTS * PARTS) as f64);
            }
        }
    }

    /// Words centred on a place, `size` mm to the em.
    fn words(&mut self, words: &str, centre: Point, size: f64) {
        let line = Line::set(words, Face::Regular, size * DOTS_MM);
        let at = (
            centre.0 * DOTS_MM - line.width / 2.0,
            centre.1 * DOTS_MM + 0.36 * size * DOTS_MM,
        );
        line.paint(at, |x, y, share| {
            if let (Ok(x), Ok(y)) = (usize::try_from(x), usize::try_from(y)) {
                self.set(x, y, LINE, share);
            }
        });
    }

    /// A strip with its upper left corner at a place.
    fn strip(&mut self, (x, y): Point, mark: PageMark, name: &str) {
        let (width, height) = STRIP_MM;
        let from = x + (width - CELLS as f64 * CELL_MM) / 2.0;
        for (k, _) in mark
            .cells()
            .into_iter()
            .enumerate()
            .filter(|(_, dark)| *dark)
        {
            let cell = Rectangle {
                x: from + k as f64 * CELL_MM,
                y,
                width: CELL_MM,
                height: CELL_HEIGHT_MM,
            };
            self.fill(cell, BLACK);
        }
        self.outline(Rectangle {
            x,
            y,
            width,
            height,
        });
        let size = 2.0;
        let words = format!("page {name} (no. {} of the chart)", mark.number);
        let words = cut(&words, Face::Regular, size, width - 4.0);
        let middle = y + (CELL_HEIGHT_MM + height) / 2.0;
        self.words(&words, (x + width / 2.0, middle), size);
    }

    fn png(&self, file: &Path) -> Result<Vec<u8>> {
        let failed = |why: String| Error::file(file, "draw", std::io::Error::other(why));
        if self.size_mm.0.max(self.size_mm.1) > SIDE_MAX_MM {
            return Err(failed(format!(
                "the frame would be {:.0} × {:.0} mm, and no side may be longer than {SIDE_MAX_MM} mm; give the corners of such a panel by \
                 hand",
                self.size_mm.0, self.size_mm.1
            )));
        }
        let mut bytes = Vec::new();
        let mut encoder = png::Encoder::new(&mut bytes, self.width as u32, self.height as u32);
        encoder.set_color(png::ColorType::Grayscale);
        encoder.set_depth(png::BitDepth::Eight);
        let per_metre = (DOTS_MM * 1000.0).round() as u32;
        encoder.set_pixel_dims(Some(png::PixelDimensions {
            xppu: per_metre,
            yppu: per_metre,
            unit: png::Unit::Meter,
        }));
        let mut writer = encoder.write_header().map_err(|e| failed(e.to_string()))?;
        writer
            .write_image_data(&self.dots)
            .map_err(|e| failed(e.to_string()))?;
        writer.finish().map_err(|e| failed(e.to_string()))?;
        Ok(bytes)
    }
}

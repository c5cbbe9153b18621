//! A page of a chart, to scale: where each patch sits and what it shows.

use super::pen::{HAIR, Heading, INK, QUIET, Type, fill, path, raster, rule, text, upright};
use super::sheet::{Area, Drawn, Page as Paper};
use super::text::cut;
use crate::error::Result;
use crate::project::{Page, Patch};
use plotters::prelude::{Circle, Color, RGBColor};
use plotters_backend::text_anchor::{HPos, VPos};

const FILE: &str = "chart-page.png";
const PAGE: u32 = 1200;
const LEFT: f64 = 40.0;
/// Room for the rulers.
const RULER: f64 = 46.0;
const TICK: f64 = 5.0;
/// Tallest drawing of a panel.
const HEIGHT_MAX: f64 = 1100.0;
/// Marks along a ruler, at most.
const MARKS: usize = 12;
const SMALL: Type = Type::regular(12.0, QUIET);

/// The panel that a page is driven on.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Ground {
    pub rows: usize,
    pub columns: usize,
    pub pixel_pitch_um: f64,
    pub aperture_mm: f64,
}

/// The panel as the reader sees it, row 0 on top, with each patch, its ticks and the instrument's aperture.
pub fn chart_page_png(page: &Page, ground: &Ground, title: &str, caption: &str) -> Result<Vec<u8>> {
    let width = f64::from(PAGE) - 2.0 * LEFT;
    let mut paper = Paper::new(FILE, PAGE);
    let heading = Heading::new(title, caption, width);
    paper.strip(heading.height() as u32, |area| heading.draw(area, LEFT))?;
    let scale = ((width - RULER) / ground.columns as f64).min(HEIGHT_MAX / ground.rows as f64);
    let drawing = Drawing {
        page,
        ground,
        scale,
    };
    let height = scale * ground.rows as f64 + RULER + 30.0;
    paper.strip(height.ceil() as u32, |area| drawing.draw(area))?;
    paper.png()
}

struct Drawing<'a> {
    page: &'a Page,
    ground: &'a Ground,
    /// Picture pixels to a pixel of the panel.
    scale: f64,
}

impl Drawing<'_> {
    /// Upper left corner of a pixel of the panel.
    fn at(&self, column: usize, row: usize) -> (f64, f64) {
        (
            LEFT + RULER + column as f64 * self.scale,
            RULER + row as f64 * self.scale,
        )
    }

    fn draw(&self, area: &Area) -> Drawn {
        let ground = self.ground;
        let corner = self.at(ground.columns, ground.rows);
        fill(area, self.at(0, 0), corner, RGBColor(244, 244, 244))?;
        self.rulers(area)?;
        for patch in &self.page.patches {
            self.patch(area, patch)?;
        }
        outline(area, self.at(0, 0), corner, 1.6, INK)
    }

    fn rulers(&self, area: &Area) -> Drawn {
        let (left, top) = self.at(0, 0);
        for column in marks(self.ground.columns) {
            let x = self.at(column, 0).0 + 0.5 * self.scale;
            rule(area, (x, top - TICK), (x, top), 1.0, QUIET)?;
            let at = (x, top - TICK - 3.0);
            text(
                area,
                at,
                &column.to_string(),
                SMALL,
                HPos::Center,
                VPos::Bottom,
            )?;
        }
        for row in marks(self.ground.rows) {
            let y = self.at(0, row).1 + 0.5 * self.scale;
            rule(area, (left - TICK, y), (left, y), 1.0, QUIET)?;
            let at = (left - TICK - 4.0, y);
            text(area, at, &row.to_string(), SMALL, HPos::Right, VPos::Center)?;
        }
        let (right, bottom) = self.at(self.ground.columns, self.ground.rows);
        let words = ((left + right) / 2.0, 8.0);
        text(
            area,
            words,
            "column, from 0",
            SMALL,
            HPos::Center,
            VPos::Top,
        )?;
        upright(
            area,
            (LEFT + 4.0, (top + bottom) / 2.0),
            "row, from 0",
            SMALL,
        )
    }

    fn patch(&self, area: &Area, patch: &Patch) -> Drawn {
        let from = self.at(patch.column_first, patch.row_first);
        let to = self.at(patch.column_last + 1, patch.row_last + 1);
        fill(area, from, to, RGBColor(255, 255, 255))?;
        outline(area, from, to, 1.4, INK)?;
        let middle = ((from.0 + to.0) / 2.0, (from.1 + to.1) / 2.0);
        let aperture = self.ground.aperture_mm * 1e3 / self.ground.pixel_pitch_um * self.scale;
        let ring = Circle::new(
            (raster(middle.0), raster(middle.1)),
            raster(aperture / 2.0),
            HAIR.stroke_width(raster(1.4) as u32),
        );
        area.draw(&ring)?;
        let width = to.0 - from.0;
        let size = (0.17 * width).clamp(6.0, 17.0);
        let (name, ticks) = (Type::bold(size), Type::regular(0.9 * size, INK));
        let shown: Vec<String> = patch.ticks.iter().map(u32::to_string).collect();
        let line = |face: Type, words: &str| cut(words, face.face, face.size, width - 4.0);
        text(
            area,
            (middle.0, middle.1 - 0.15 * size),
            &line(name, &patch.name),
            name,
            HPos::Center,
            VPos::Bottom,
        )?;
        text(
            area,
            (middle.0, middle.1 + 0.15 * size),
            &line(ticks, &shown.join(" · ")),
            ticks,
            HPos::Center,
            VPos::Top,
        )
    }
}

/// Even numbers from 0 that a ruler names.
fn marks(lines: usize) -> impl Iterator<Item = usize> {
    let steps = [1, 2, 5, 10, 20, 50, 100, 200, 500, 1000];
    let fits = |s: &&usize| lines / **s <= MARKS;
    let step = *steps.iter().find(fits).unwrap_or(&2000);
    (0..lines).step_by(step)
}

fn outline(area: &Area, from: (f64, f64), to: (f64, f64), width: f64, ink: RGBColor) -> Drawn {
    let corners = [from, (to.0, from.1), to, (from.0, to.1), from];
    let points = corners.map(|(x, y)| (raster(x), raster(y))).to_vec();
    path(area, points, width, ink.mix(1.0))
}

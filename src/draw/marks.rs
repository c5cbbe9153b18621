//! The marks of the kinds of point: colour and shape both differ, so either is enough.

use super::fit::PointKind;
use super::pen::{BLUE, GREEN, INK, ORANGE, VERMILION, disc, raster};
use super::sheet::{Area, Drawn};
use plotters::prelude::{Circle, Color, Cross, Polygon, RGBColor, Rectangle, ShapeStyle};

impl PointKind {
    pub(super) const ALL: [PointKind; 4] = [
        PointKind::Page,
        PointKind::Mirrored,
        PointKind::Cell,
        PointKind::Holdout,
    ];

    pub(super) fn words(self) -> &'static str {
        match self {
            PointKind::Page => "fitted, page",
            PointKind::Mirrored => "fitted, mirrored page",
            PointKind::Cell => "fitted, test cell",
            PointKind::Holdout => "held out, never fitted",
        }
    }

    /// Of the palette of Okabe and Ito.
    pub(super) fn ink(self) -> RGBColor {
        match self {
            PointKind::Page => BLUE,
            PointKind::Mirrored => ORANGE,
            PointKind::Cell => GREEN,
            PointKind::Holdout => VERMILION,
        }
    }
}

/// The mark of a kind at a raster point.
pub(super) fn mark(area: &Area, kind: PointKind, (x, y): (i32, i32)) -> Drawn {
    let at = |dx: f64, dy: f64| (x + raster(dx), y + raster(dy));
    match kind {
        PointKind::Page => disc(area, (x, y), 2.6, kind.ink().mix(0.6)),
        PointKind::Mirrored => {
            let corners = vec![at(0.0, -3.9), at(3.5, 2.3), at(-3.5, 2.3)];
            area.draw(&Polygon::new(corners, kind.ink().mix(0.85)))
        }
        PointKind::Cell => {
            let style = kind.ink().mix(0.75).filled();
            area.draw(&Rectangle::new([at(-2.5, -2.5), at(2.5, 2.5)], style))
        }
        PointKind::Holdout => {
            let style = stroke(kind.ink(), 1.5);
            area.draw(&Cross::new((x, y), raster(2.9), style))
        }
    }
}

/// The ring around a stray.
pub(super) fn ring(area: &Area, at: (i32, i32)) -> Drawn {
    area.draw(&Circle::new(at, raster(6.5), stroke(INK, 1.2)))
}

fn stroke(ink: RGBColor, width: f64) -> ShapeStyle {
    ink.stroke_width(raster(width) as u32)
}

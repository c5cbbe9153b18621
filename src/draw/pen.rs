//! Rectangles, lines and text in the picture's own pixels.

use super::sheet::{Area, Drawn, SCALE};
use super::text::{Face, wrapped};
use plotters::prelude::{
    Circle, Color, FontStyle, FontTransform, IntoFont, PathElement, RGBAColor, RGBColor, Rectangle,
    ShapeStyle, Text, TextStyle,
};
use plotters_backend::text_anchor::{HPos, Pos, VPos};

/// Text and lines: near-black, quiet grey, hairline.
pub(super) const INK: RGBColor = RGBColor(34, 34, 34);
pub(super) const QUIET: RGBColor = RGBColor(104, 104, 104);
pub(super) const HAIR: RGBColor = RGBColor(206, 206, 206);

/// From the palette of Okabe and Ito (2008), which colour-blind readers can tell apart.
pub(super) const BLUE: RGBColor = RGBColor(0, 114, 178);
pub(super) const ORANGE: RGBColor = RGBColor(230, 159, 0);
pub(super) const GREEN: RGBColor = RGBColor(0, 158, 115);
pub(super) const VERMILION: RGBColor = RGBColor(213, 94, 0);

pub(super) type Point = (f64, f64);

/// Size in pixels to the em, weight and colour of a text.
#[derive(Debug, Clone, Copy)]
pub(super) struct Type {
    pub size: f64,
    pub face: Face,
    pub ink: RGBColor,
}

impl Type {
    pub const fn regular(size: f64, ink: RGBColor) -> Type {
        Type {
            size,
            face: Face::Regular,
            ink,
        }
    }

    pub const fn bold(size: f64) -> Type {
        Type {
            size,
            face: Face::Bold,
            ink: INK,
        }
    }

    /// As plotters takes it, at the size of the raster.
    pub fn style(self, h: HPos, v: VPos) -> TextStyle<'static> {
        let weight = match self.face {
            Face::Regular => FontStyle::Normal,
            Face::Bold => FontStyle::Bold,
        };
        let font = ("sans-serif", self.size * f64::from(SCALE))
            .into_font()
            .style(weight);
        TextStyle {
            font,
            color: self.ink.to_backend_color(),
            pos: Pos::new(h, v),
        }
    }
}

/// Raster pixels of a length.
pub(super) fn raster(length: f64) -> i32 {
    (length * f64::from(SCALE)).round() as i32
}

fn raster_point((x, y): Point) -> (i32, i32) {
    (raster(x), raster(y))
}

pub(super) fn fill(area: &Area, from: Point, to: Point, ink: impl Color) -> Drawn {
    area.draw(&Rectangle::new(
        [raster_point(from), raster_point(to)],
        ink.filled(),
    ))
}

/// A line of even width along a row or a column of pixels, centred on it.
pub(super) fn rule(area: &Area, from: Point, to: Point, width: f64, ink: impl Color) -> Drawn {
    let half = width / 2.0;
    if from.1 == to.1 {
        fill(
            area,
            (from.0.min(to.0), from.1 - half),
            (from.0.max(to.0), to.1 + half),
            ink,
        )
    } else {
        fill(
            area,
            (from.0 - half, from.1.min(to.1)),
            (to.0 + half, from.1.max(to.1)),
            ink,
        )
    }
}

/// A level line of dashes.
pub(super) fn dashes(area: &Area, from: Point, to_x: f64, width: f64, ink: RGBColor) -> Drawn {
    const DASH: f64 = 5.0;
    const GAP: f64 = 3.0;
    let mut x = from.0;
    while x < to_x {
        rule(
            area,
            (x, from.1),
            ((x + DASH).min(to_x), from.1),
            width,
            ink,
        )?;
        x += DASH + GAP;
    }
    Ok(())
}

/// A polyline through raster points.
pub(super) fn path(area: &Area, points: Vec<(i32, i32)>, width: f64, ink: RGBAColor) -> Drawn {
    let stroke = ShapeStyle {
        color: ink,
        filled: false,
        stroke_width: raster(width) as u32,
    };
    area.draw(&PathElement::new(points, stroke))
}

pub(super) fn disc(area: &Area, at: (i32, i32), radius: f64, ink: impl Color) -> Drawn {
    area.draw(&Circle::new(at, raster(radius), ink.filled()))
}

pub(super) fn text(area: &Area, at: Point, words: &str, face: Type, h: HPos, v: VPos) -> Drawn {
    area.draw(&Text::new(words, raster_point(at), face.style(h, v)))
}

/// Text that reads upwards, centred on `at`.
pub(super) fn upright(area: &Area, at: Point, words: &str, face: Type) -> Drawn {
    let style = face
        .style(HPos::Center, VPos::Center)
        .transform(FontTransform::Rotate270);
    area.draw(&Text::new(words, raster_point(at), style))
}

/// A title with wrapped lines of caption under it, ready to be drawn.
pub(super) struct Heading {
    title: Vec<String>,
    caption: Vec<String>,
}

const TITLE: Type = Type::bold(23.0);
const CAPTION: Type = Type::regular(14.0, QUIET);
const TITLE_LINE: f64 = 30.0;
const CAPTION_LINE: f64 = 20.0;
const HEADING_MARGIN: f64 = 26.0;

impl Heading {
    pub fn new(title: &str, caption: &str, width: f64) -> Heading {
        Heading {
            title: wrapped(title, TITLE.face, TITLE.size, width),
            caption: wrapped(caption, CAPTION.face, CAPTION.size, width),
        }
    }

    pub fn height(&self) -> f64 {
        let title = TITLE_LINE * self.title.len() as f64;
        HEADING_MARGIN + title + CAPTION_LINE * self.caption.len() as f64 + 10.0
    }

    pub fn draw(&self, area: &Area, left: f64) -> Drawn {
        let mut y = HEADING_MARGIN;
        for line in &self.title {
            text(area, (left, y), line, TITLE, HPos::Left, VPos::Top)?;
            y += TITLE_LINE;
        }
        for line in &self.caption {
            text(area, (left, y), line, CAPTION, HPos::Left, VPos::Top)?;
            y += CAPTION_LINE;
        }
        Ok(())
    }
}

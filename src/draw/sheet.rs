//! A page of strips, each drawn at three times its size and reduced, then written as PNG.

use super::text::{ASCENT_EM, CAPITAL_EM, DESCENT_EM, Face, Line};
use crate::error::{Error, Result};
use image::codecs::png::{CompressionType, FilterType, PngEncoder};
use image::{ExtendedColorType, ImageEncoder};
use plotters::coord::Shift;
use plotters::prelude::{BitMapBackend, DrawingArea, DrawingAreaErrorKind, IntoDrawingArea};
use plotters_backend::text_anchor::{HPos, Pos, VPos};
use plotters_backend::{
    BackendColor, BackendCoord, BackendStyle, BackendTextStyle, DrawingBackend, DrawingErrorKind,
    FontStyle,
};
use std::path::Path;

/// Raster pixels to a pixel of the picture, each way.
pub(super) const SCALE: u32 = 3;

const CHANNELS: usize = 3;

pub(super) type Area<'a> = DrawingArea<Sheet<'a>, Shift>;
type RasterError = <BitMapBackend<'static> as DrawingBackend>::ErrorType;
pub(super) type DrawError = DrawingAreaErrorKind<RasterError>;
pub(super) type Drawn = std::result::Result<(), DrawError>;

/// A picture that grows downwards, in RGB.
pub(super) struct Page {
    name: &'static str,
    width: u32,
    pixels: Vec<u8>,
}

impl Page {
    /// An empty page; `name` is that of its file, for errors.
    pub fn new(name: &'static str, width: u32) -> Page {
        Page {
            name,
            width,
            pixels: Vec::new(),
        }
    }

    /// Adds a white strip of `height` pixels and what `draw` puts on it, in raster pixels.
    pub fn strip(&mut self, height: u32, draw: impl FnOnce(&Area) -> Drawn) -> Result<()> {
        let size = (self.width * SCALE, height * SCALE);
        let mut raster = vec![255; size.0 as usize * size.1 as usize * CHANNELS];
        let drawn = {
            let raster = BitMapBackend::with_buffer(&mut raster, size);
            let area = Sheet { raster }.into_drawing_area();
            draw(&area).and_then(|()| area.present())
        };
        drawn.map_err(|e| self.failed(e.to_string()))?;
        self.reduce(&raster);
        Ok(())
    }

    /// Adds `height` lines of pixels as they are: the colour at each place, counted from the first of these lines.
    pub fn append(&mut self, height: u32, colour: impl Fn(u32, u32) -> [u8; CHANNELS]) {
        for y in 0..height {
            self.pixels
                .extend((0..self.width).flat_map(|x| colour(x, y)));
        }
    }

    /// Adds the mean of each SCALE × SCALE square.
    fn reduce(&mut self, raster: &[u8]) {
        let scale = SCALE as usize;
        let stride = self.width as usize * scale * CHANNELS;
        let squares = SCALE * SCALE;
        for rows in raster.chunks_exact(stride * scale) {
            for x in 0..self.width as usize {
                for channel in 0..CHANNELS {
                    let first = x * scale * CHANNELS + channel;
                    let across =
                        |y: usize| (0..scale).map(move |i| y * stride + first + i * CHANNELS);
                    let sum: u32 = (0..scale)
                        .flat_map(across)
                        .map(|i| u32::from(rows[i]))
                        .sum();
                    self.pixels.push(((sum + squares / 2) / squares) as u8);
                }
            }
        }
    }

    /// The page as a PNG file.
    pub fn png(self) -> Result<Vec<u8>> {
        let height = self.pixels.len() / (self.width as usize * CHANNELS);
        let mut bytes = Vec::new();
        PngEncoder::new_with_quality(&mut bytes, CompressionType::Best, FilterType::Adaptive)
            .write_image(
                &self.pixels,
                self.width,
                height as u32,
                ExtendedColorType::Rgb8,
            )
            .map_err(|e| self.failed(e.to_string()))?;
        Ok(bytes)
    }

    fn failed(&self, why: String) -> Error {
        Error::file(Path::new(self.name), "draw", std::io::Error::other(why))
    }
}

/// The bitmap backend with its own text: glyphs keep their side bearings and fractions of a pixel.
pub(super) struct Sheet<'a> {
    raster: BitMapBackend<'a>,
}

type BackendResult = std::result::Result<(), DrawingErrorKind<RasterError>>;

impl DrawingBackend for Sheet<'_> {
    type ErrorType = RasterError;

    fn get_size(&self) -> (u32, u32) {
        self.raster.get_size()
    }

    fn ensure_prepared(&mut self) -> BackendResult {
        self.raster.ensure_prepared()
    }

    fn present(&mut self) -> BackendResult {
        self.raster.present()
    }

    fn draw_pixel(&mut self, at: BackendCoord, color: BackendColor) -> BackendResult {
        self.raster.draw_pixel(at, color)
    }

    fn draw_rect<S: BackendStyle>(
        &mut self,
        upper_left: BackendCoord,
        bottom_right: BackendCoord,
        style: &S,
        fill: bool,
    ) -> BackendResult {
        self.raster.draw_rect(upper_left, bottom_right, style, fill)
    }

    fn draw_text<T: BackendTextStyle>(
        &mut self,
        text: &str,
        style: &T,
        pos: BackendCoord,
    ) -> BackendResult {
        let line = Line::set(text, face(style), style.size());
        let origin = origin(style.anchor(), line.width, style.size());
        let (turn, ink) = (style.transform(), style.color());
        let mut drawn = Ok(());
        line.paint(origin, |x, y, coverage| {
            let (x, y) = turn.transform(x, y);
            let alpha = ink.alpha * coverage.min(1.0);
            let dot = BackendColor { alpha, ..ink };
            if drawn.is_ok() && alpha > 0.0 {
                drawn = self.raster.draw_pixel((pos.0 + x, pos.1 + y), dot);
            }
        });
        drawn
    }

    fn estimate_text_size<T: BackendTextStyle>(
        &self,
        text: &str,
        style: &T,
    ) -> std::result::Result<(u32, u32), DrawingErrorKind<RasterError>> {
        let line = Line::set(text, face(style), style.size());
        Ok((line.width.ceil() as u32, style.size().ceil() as u32))
    }
}

fn face<T: BackendTextStyle>(style: &T) -> Face {
    match style.style() {
        FontStyle::Bold => Face::Bold,
        _ => Face::Regular,
    }
}

/// Where the baseline starts, seen from the anchor.
fn origin(anchor: Pos, width: f64, size: f64) -> (f64, f64) {
    let x = match anchor.h_pos {
        HPos::Left => 0.0,
        HPos::Center => -width / 2.0,
        HPos::Right => -width,
    };
    let y = match anchor.v_pos {
        VPos::Top => ASCENT_EM * size,
        VPos::Center => CAPITAL_EM * size / 2.0,
        VPos::Bottom => -DESCENT_EM * size,
    };
    (x, y)
}

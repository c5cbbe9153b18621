//! A scan as the scanner's own signal, one number a pixel, not yet light.

use super::frame::{Point, Rectangle};
use super::projection::Projection;
use crate::error::{Error, InputError, Result};
use crate::picture::decoded_picture;
use image::{DynamicImage, ImageBuffer, Pixel};
use std::path::{Path, PathBuf};

/// Weights of red, green and blue in the signal: those of luminance in Rec. ITU-R BT.709. Greys are nearly neutral, and the
/// wedge is read through the same weights.
const WEIGHTS: [f64; 3] = [0.2126, 0.7152, 0.0722];
/// The signal of a pixel at the scanner's upper end.
pub const MOST: u16 = u16::MAX;

/// Row by row, 0 to [`MOST`]; a colour pixel of which any channel stands at its upper end counts as at the upper end.
#[derive(Debug, Clone)]
pub struct Plane {
    pub file: PathBuf,
    pub width: usize,
    pub height: usize,
    pub values: Vec<u16>,
    /// Bits of a sample: 8 or 16.
    pub bits: u32,
}

/// What a small region holds.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Sample {
    /// Signal, mean without outliers.
    pub signal: f64,
    /// Standard deviation of one pixel.
    pub spread: f64,
    pub pixels: usize,
    /// Share of pixels at the upper or lower end of the scanner's range.
    pub clipped: f64,
}

impl Plane {
    /// Errs as [`crate::picture::read_picture`] does.
    pub fn read(file: &Path) -> Result<Self> {
        let picture = decoded_picture(file, "scan at a lower resolution: 600 dpi is plenty")?;
        let bits = match picture {
            DynamicImage::ImageLuma8(_)
            | DynamicImage::ImageLumaA8(_)
            | DynamicImage::ImageRgb8(_)
            | DynamicImage::ImageRgba8(_) => 8,
            _ => 16,
        };
        Ok(Plane {
            file: file.to_owned(),
            width: picture.width() as usize,
            height: picture.height() as usize,
            values: signal(picture),
            bits,
        })
    }

    /// One step of the scanner's own codes.
    pub fn code(&self) -> f64 {
        if self.bits == 8 { 257.0 } else { 1.0 }
    }

    pub fn at(&self, x: usize, y: usize) -> u16 {
        self.values.get(y * self.width + x).copied().unwrap_or(0)
    }

    /// An error about this picture.
    pub fn wrong(&self, value: Option<String>, expected: impl Into<String>) -> Error {
        Error::Input(InputError {
            file: self.file.clone(),
            line: None,
            field: None,
            value,
            expected: expected.into(),
        })
    }

    /// Calls `see(x, y, place, signal)` for each pixel whose centre falls within a rectangle; `to_picture` takes it there.
    pub fn each_within(
        &self,
        region: Rectangle,
        (to_picture, from_picture): (&Projection, &Projection),
        mut see: impl FnMut(Point, u16),
    ) {
        let corners = region.corners().map(|c| to_picture.at(c));
        let bound = |of: fn(&Point) -> f64, limit: usize| {
            let values = corners.iter().map(of);
            let low = values.clone().fold(f64::INFINITY, f64::min);
            let high = values.fold(f64::NEG_INFINITY, f64::max);
            let most = limit as f64;
            (
                low.clamp(0.0, most).floor() as usize,
                high.clamp(0.0, most).ceil() as usize,
            )
        };
        let (x, y) = (bound(|c| c.0, self.width), bound(|c| c.1, self.height));
        let (right, bottom) = (region.x + region.width, region.y + region.height);
        for row in y.0..y.1 {
            for column in x.0..x.1 {
                let place = from_picture.at((column as f64 + 0.5, row as f64 + 0.5));
                let inside = place.0 >= region.x
                    && place.0 < right
                    && place.1 >= region.y
                    && place.1 < bottom;
                if inside {
                    see(place, self.at(column, row));
                }
            }
        }
    }

    /// The signal of a small even region, specks left out; `None` where no pixel falls into it.
    pub fn sample(&self, region: Rectangle, maps: (&Projection, &Projection)) -> Option<Sample> {
        let mut values = Vec::new();
        self.each_within(region, maps, |_, signal| values.push(f64::from(signal)));
        let ends = |v: &&f64| **v <= 0.0 || **v >= f64::from(MOST);
        let clipped = values.iter().filter(ends).count() as f64 / values.len().max(1) as f64;
        values.sort_by(f64::total_cmp);
        let kept = super::outliers::without_far(&values, self.code());
        let n = kept.len() as f64;
        let mean = kept.iter().sum::<f64>() / n;
        let squares: f64 = kept.iter().map(|v| (v - mean).powi(2)).sum();
        (!kept.is_empty()).then(|| Sample {
            signal: mean,
            spread: (squares / (n - 1.0).max(1.0)).sqrt(),
            pixels: kept.len(),
            clipped,
        })
    }

    /// Means of `factor` × `factor` pixels, in parts of the full signal, with their width and height.
    pub fn reduced(&self, factor: usize) -> (Vec<f32>, usize, usize) {
        self.part_reduced([0, 0, self.width, self.height], factor)
    }

    /// The same for a part of the picture: left, top, right and bottom, the last two not included.
    pub fn part_reduced(
        &self,
        [left, top, right, bottom]: [usize; 4],
        factor: usize,
    ) -> (Vec<f32>, usize, usize) {
        let cells = |from: usize, to: usize| to.saturating_sub(from) / factor;
        let (width, height) = (cells(left, right), cells(top, bottom));
        let mut means = vec![0f32; width * height];
        let scale = 1.0 / (factor * factor) as f32 / f32::from(MOST);
        for (row, line) in means.chunks_mut(width.max(1)).enumerate() {
            for y in top + row * factor..top + (row + 1) * factor {
                let from = &self.values[y * self.width + left..];
                for (mean, group) in line.iter_mut().zip(from.chunks(factor)) {
                    *mean += group.iter().map(|&v| f32::from(v)).sum::<f32>();
                }
            }
            line.iter_mut().for_each(|m| *m *= scale);
        }
        (means, width, height)
    }
}

fn signal(picture: DynamicImage) -> Vec<u16> {
    match picture {
        DynamicImage::ImageLuma8(p) => p.iter().map(|&v| u16::from(v) * 257).collect(),
        DynamicImage::ImageLuma16(p) => p.into_raw(),
        DynamicImage::ImageLumaA8(p) => weighted(&p, 257),
        DynamicImage::ImageRgb8(p) => weighted(&p, 257),
        DynamicImage::ImageRgba8(p) => weighted(&p, 257),
        DynamicImage::ImageLumaA16(p) => weighted(&p, 1),
        DynamicImage::ImageRgb16(p) => weighted(&p, 1),
        DynamicImage::ImageRgba16(p) => weighted(&p, 1),
        // No other kind is left.
        other => weighted(&other.to_rgb16(), 1),
    }
}

fn weighted<P>(picture: &ImageBuffer<P, Vec<P::Subpixel>>, scale: u16) -> Vec<u16>
where
    P: Pixel,
    P::Subpixel: Into<u32>,
{
    let most = u32::from(MOST / scale);
    let of = |p: P| match *p.channels() {
        [grey] | [grey, _] => (grey.into() * u32::from(scale)) as u16,
        [r, g, b, ..] => {
            let rgb: [u32; 3] = [r.into(), g.into(), b.into()];
            if rgb.contains(&most) {
                return MOST;
            }
            let sum: f64 = rgb
                .iter()
                .zip(WEIGHTS)
                .map(|(c, w)| f64::from(*c) * w)
                .sum();
            (sum * f64::from(scale)).round() as u16
        }
        [] => 0,
    };
    picture.pixels().map(|p| of(*p)).collect()
}

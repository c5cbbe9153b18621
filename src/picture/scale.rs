//! A picture scaled to the pixels of the panel, in linear light, as the eye averages.

use super::Luminance;
use image::imageops::{FilterType, resize};
use image::{ImageBuffer, Luma};
use std::ops::Range;

/// What becomes of a picture of other proportions than the panel.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Fitting {
    /// The panel is full, what hangs over is cut off evenly.
    Cover,
    /// The whole picture shows, on white.
    Contain,
    /// Both sides fit, proportions don't.
    Stretch,
}

/// The picture on `rows` × `columns` square pixels, both at least 1: areas are averaged where it shrinks, pixels
/// interpolated where it grows.
pub fn scaled(picture: &Luminance, rows: usize, columns: usize, fitting: Fitting) -> Luminance {
    let (w, h) = (picture.width as f64, picture.height as f64);
    let (across, down) = (columns as f64 / w, rows as f64 / h);
    match fitting {
        Fitting::Stretch => sampled(picture, (0.0..w, 0.0..h), rows, columns),
        Fitting::Cover => {
            let scale = across.max(down);
            let (keep_w, keep_h) = (columns as f64 / scale, rows as f64 / scale);
            let (left, top) = (0.5 * (w - keep_w), 0.5 * (h - keep_h));
            let cut = (left..left + keep_w, top..top + keep_h);
            sampled(picture, cut, rows, columns)
        }
        Fitting::Contain => {
            let scale = across.min(down);
            let part = |size: f64, most: usize| ((size * scale).round() as usize).clamp(1, most);
            let (inner_rows, inner_columns) = (part(h, rows), part(w, columns));
            let inner = sampled(picture, (0.0..w, 0.0..h), inner_rows, inner_columns);
            on_white(&inner, rows, columns)
        }
    }
}

/// A part of the picture, in its own pixels, on so many pixels.
fn sampled(
    picture: &Luminance,
    (across, down): (Range<f64>, Range<f64>),
    rows: usize,
    columns: usize,
) -> Luminance {
    let shrinks = |size: f64, pixels: usize| size >= pixels as f64;
    let width = across.end - across.start;
    let height = down.end - down.start;
    let values = if shrinks(width, columns) && shrinks(height, rows) {
        averaged(picture, (across, down), rows, columns)
    } else {
        interpolated(picture, (across, down), rows, columns)
    };
    Luminance {
        width: columns,
        height: rows,
        values,
    }
}

/// The mean over the area of each pixel, parts of pixels counted as such.
fn averaged(
    picture: &Luminance,
    (across, down): (Range<f64>, Range<f64>),
    rows: usize,
    columns: usize,
) -> Vec<f32> {
    let columns = shares(&across, columns, picture.width);
    let rows = shares(&down, rows, picture.height);
    let mut all = Vec::with_capacity(rows.len() * columns.len());
    for row in &rows {
        for column in &columns {
            let mut sum = 0.0;
            for &(y, share_y) in row {
                let line = &picture.values[y * picture.width..(y + 1) * picture.width];
                let along: f64 = column.iter().map(|&(x, s)| s * f64::from(line[x])).sum();
                sum += share_y * along;
            }
            all.push(sum as f32);
        }
    }
    all
}

/// For each of `parts` of a range, the pixels of `0..size` in it with their shares, which sum to 1.
fn shares(range: &Range<f64>, parts: usize, size: usize) -> Vec<Vec<(usize, f64)>> {
    let each = (range.end - range.start) / parts as f64;
    let part = |k: usize| {
        let (from, to) = (
            range.start + k as f64 * each,
            range.start + (k + 1) as f64 * each,
        );
        let (first, last) = (
            from.floor().max(0.0) as usize,
            (to.ceil() as usize).min(size),
        );
        let first = first.min(size - 1);
        let overlap = |x: usize| ((x + 1) as f64).min(to) - (x as f64).max(from);
        let pixels: Vec<(usize, f64)> = (first..last.max(first + 1))
            .map(|x| (x, overlap(x).max(0.0)))
            .collect();
        let sum: f64 = pixels.iter().map(|p| p.1).sum();
        let even = 1.0 / pixels.len() as f64;
        let share = |s: f64| if sum > 0.0 { s / sum } else { even };
        pixels.iter().map(|&(x, s)| (x, share(s))).collect()
    };
    (0..parts).map(part).collect()
}

/// By the image library's triangle filter, which interpolates linearly where a picture grows.
fn interpolated(
    picture: &Luminance,
    (across, down): (Range<f64>, Range<f64>),
    rows: usize,
    columns: usize,
) -> Vec<f32> {
    let whole = |r: &Range<f64>, size: usize| {
        let from = (r.start.round().max(0.0) as usize).min(size - 1);
        let to = (r.end.round() as usize).clamp(from + 1, size);
        from..to
    };
    let (xs, ys) = (whole(&across, picture.width), whole(&down, picture.height));
    let value = |x: u32, y: u32| {
        let at = (ys.start + y as usize) * picture.width + xs.start + x as usize;
        Luma([picture.values[at]])
    };
    let part = ImageBuffer::from_fn(xs.len() as u32, ys.len() as u32, value);
    resize(&part, columns as u32, rows as u32, FilterType::Triangle).into_raw()
}

fn on_white(inner: &Luminance, rows: usize, columns: usize) -> Luminance {
    let (top, left) = ((rows - inner.height) / 2, (columns - inner.width) / 2);
    let mut values = vec![1.0; rows * columns];
    for y in 0..inner.height {
        let to = (top + y) * columns + left;
        let from = y * inner.width;
        values[to..to + inner.width].copy_from_slice(&inner.values[from..from + inner.width]);
    }
    Luminance {
        width: columns,
        height: rows,
        values,
    }
}

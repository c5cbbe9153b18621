//! Finding the frame in a scan: four discs with one to four holes at its corners, two without at its sides.
//!
//! How many holes a disc has stays the same however the picture is turned, tilted or lit, so each corner is known by
//! itself; the order in which they run tells a mirrored picture.

use super::blobs::{Blob, blobs};
use super::frame::{Frame, HOLE_RADIUS_MM, MARK_RADIUS_MM, Point};
use super::plane::Plane;
use super::projection::{Projection, convex, turning};
use crate::error::Result;
use std::f64::consts::PI;

/// Longest side of the reduced picture in which marks are looked for.
const LOOKED_AT: usize = 1600;
/// A mark must be this wide there, pixels, for its holes to show.
const LEAST: usize = 14;
/// Dark is below this part of the brightest signal nearby: between black ink and paper whether or not a gamma is applied.
const DARK: f32 = 0.55;
/// Tiles of the picture whose brightest signal is compared with, along its longer side.
const TILES: usize = 40;
/// A disc: no more than this lies outside its ellipse.
const OFF_ELLIPSE_MAX: f64 = 0.02;
/// Part of a disc's area that a hole takes, and what counts as one: smaller ones are dust.
const HOLE_SHARE: f64 = (HOLE_RADIUS_MM / MARK_RADIUS_MM) * (HOLE_RADIUS_MM / MARK_RADIUS_MM);
const HOLE_MIN: f64 = 0.3 * HOLE_SHARE;
const HOLE_MAX: f64 = 2.2 * HOLE_SHARE;
/// Candidates for one mark, at most.
const CANDIDATES: usize = 6;
/// How far a mark's area may be from that of the map through the others.
const AREA_OFF: f64 = 1.35;
/// How far the marks may lie from where the map puts them, mm.
const RESIDUAL_MAX_MM: f64 = 0.6;

/// The frame as it lies in a picture.
#[derive(Debug, Clone)]
pub struct Found {
    /// From the frame, mm, to the picture, pixels.
    pub to_picture: Projection,
    pub from_picture: Projection,
    /// Where the six marks were seen, corners first.
    pub marks: Vec<Point>,
    /// Rms distance of the marks from where the map puts them, mm.
    pub residual_mm: f64,
}

/// Errs where there is no frame, more than one, a mirrored one or one that doesn't lie flat.
pub fn find(plane: &Plane, frame: &Frame) -> Result<Found> {
    let factor = plane.width.max(plane.height).div_ceil(LOOKED_AT).max(1);
    let discs = discs(plane, factor);
    let corners = corners(plane, &discs)?;
    let mut seen: Vec<(Vec<Point>, bool)> = Vec::new();
    for indices in combinations(&corners) {
        let four: [&Blob; 4] = std::array::from_fn(|k| corners[k][indices[k]]);
        if let Some(marks) = belong(frame, four, &discs) {
            let mirrored = turning(&marks[..4]) < 0.0;
            seen.push((marks, mirrored));
        }
    }
    let [(marks, mirrored)] = &seen[..] else {
        return Err(if seen.is_empty() {
            plane.wrong(
                Some("four corner marks that don't belong together".into()),
                "one flat scan frame with its two side marks, printed for this panel; its marks are not where this panel's \
                 frame has them",
            )
        } else {
            plane.wrong(
                Some(format!("{} scan frames", seen.len())),
                "one panel in its scan frame in each picture: cut the picture apart",
            )
        });
    };
    if *mirrored {
        return Err(plane.wrong(
            Some("a mirrored picture".into()),
            "a picture as the eye sees the panel: switch mirroring off in the scanner's settings",
        ));
    }
    located(plane, frame, marks, factor)
}

/// The discs that may be each corner's mark. Errs where a corner has none.
fn corners<'a>(plane: &Plane, discs: &'a [Blob]) -> Result<[Vec<&'a Blob>; 4]> {
    let mut corners: [Vec<&Blob>; 4] = Default::default();
    for disc in discs {
        let holes = holes(disc);
        if let Some(list) = holes.checked_sub(1).and_then(|k| corners.get_mut(k)) {
            list.push(disc);
        }
    }
    let missing: Vec<String> = (1..=4)
        .filter(|k| corners[k - 1].is_empty())
        .map(|k| k.to_string())
        .collect();
    if !missing.is_empty() {
        return Err(plane.wrong(
            Some(format!("{} of 4 corner marks", 4 - missing.len())),
            format!(
                "a scan frame with its four corner marks, black discs with one to four white holes: no disc with {} hole(s) was found; \
                 scan the whole frame at 150 dpi or more, sharp and without shade over its corners, or give --corners",
                missing.join(", nor with ")
            ),
        ));
    }
    corners.iter_mut().for_each(|c| c.truncate(CANDIDATES));
    Ok(corners)
}

/// Marks at full resolution, and the map through them.
fn located(plane: &Plane, frame: &Frame, marks: &[Point], factor: usize) -> Result<Found> {
    let lost = || {
        plane.wrong(
            Some("marks without a map".into()),
            "four corners that make a figure",
        )
    };
    let known: Vec<Point> = frame
        .corner_marks()
        .into_iter()
        .chain(frame.side_marks())
        .collect();
    let rough: Vec<Point> = marks
        .iter()
        .map(|p| (p.0 * factor as f64, p.1 * factor as f64))
        .collect();
    let map = Projection::through(&known, &rough).ok_or_else(lost)?;
    let fine: Vec<Point> = known
        .iter()
        .zip(&rough)
        .map(|(k, r)| sharpened(plane, *r, map.area_factor(*k).abs().sqrt()).unwrap_or(*r))
        .collect();
    let to_picture = Projection::through(&known, &fine).ok_or_else(lost)?;
    let from_picture = to_picture.inverse().ok_or_else(lost)?;
    let off = known.iter().zip(&fine).map(|(k, f)| {
        let at = from_picture.at(*f);
        (at.0 - k.0).powi(2) + (at.1 - k.1).powi(2)
    });
    let residual_mm = (off.sum::<f64>() / known.len() as f64).sqrt();
    if residual_mm > RESIDUAL_MAX_MM {
        return Err(plane.wrong(
            Some(format!("marks {residual_mm:.2} mm off a flat frame")),
            format!(
                "marks within {RESIDUAL_MAX_MM} mm of a flat frame: press it flat, and photograph through a lens that draws straight \
                 lines straight"
            ),
        ));
    }
    Ok(Found {
        to_picture,
        from_picture,
        marks: fine,
        residual_mm,
    })
}

/// The centre of a mark in the full picture, where a disc is found near `at`.
fn sharpened(plane: &Plane, at: Point, pixels_per_mm: f64) -> Option<Point> {
    let reach = 1.3 * MARK_RADIUS_MM * pixels_per_mm + 2.0;
    let low = |v: f64| (v - reach).max(0.0) as usize;
    let high = |v: f64, limit: usize| ((v + reach).max(0.0) as usize).min(limit);
    let (x0, y0) = (low(at.0), low(at.1));
    let (x1, y1) = (high(at.0, plane.width), high(at.1, plane.height));
    let (w, h) = (x1.checked_sub(x0)?, y1.checked_sub(y0)?);
    let pixels = || (y0..y1).flat_map(|y| (x0..x1).map(move |x| plane.at(x, y)));
    let mut sorted: Vec<u16> = pixels().collect();
    sorted.sort_unstable();
    let part = |share: f64| {
        let at = (share * sorted.len() as f64) as usize;
        sorted.get(at.min(sorted.len().saturating_sub(1))).copied()
    };
    let half = (u32::from(part(0.15)?) + u32::from(part(0.85)?)) / 2;
    let dark: Vec<bool> = pixels().map(|v| u32::from(v) < half).collect();
    let found = blobs(&dark, w, h, LEAST.min(w / 3), w.max(h));
    let largest = found.into_iter().max_by(|a, b| a.area.total_cmp(&b.area))?;
    let near = (largest.area.sqrt() - MARK_RADIUS_MM * pixels_per_mm * PI.sqrt()).abs()
        < 0.3 * MARK_RADIUS_MM * pixels_per_mm * PI.sqrt();
    // The centre of a pixel lies half a pixel inside.
    near.then_some((x0 as f64 + largest.centre.0, y0 as f64 + largest.centre.1))
}

/// Every disc in the reduced picture.
fn discs(plane: &Plane, factor: usize) -> Vec<Blob> {
    let (values, width, height) = plane.reduced(factor);
    if width < LEAST || height < LEAST {
        return Vec::new();
    }
    let tile = (width.max(height) / TILES).max(4);
    let white = white_nearby(&values, width, height, tile);
    let across = width.div_ceil(tile);
    let dark: Vec<bool> = values
        .iter()
        .enumerate()
        .map(|(at, v)| *v < DARK * white[at / width / tile * across + at % width / tile])
        .collect();
    let most = width.min(height) / 3;
    let mut found = blobs(&dark, width, height, LEAST, most);
    let round = |b: &Blob| {
        b.off_ellipse <= OFF_ELLIPSE_MAX
            && (0.95..=1.05).contains(&b.fullness)
            && b.holes.iter().all(|h| *h <= HOLE_MAX * b.area)
    };
    found.retain(round);
    found
}

fn holes(disc: &Blob) -> usize {
    let counts = |h: &&f64| **h >= HOLE_MIN * disc.area;
    disc.holes.iter().filter(counts).count()
}

/// The brightest signal in each tile and those around it, specks aside.
fn white_nearby(values: &[f32], width: usize, height: usize, tile: usize) -> Vec<f32> {
    const AROUND: usize = 2;
    let (across, down) = (width.div_ceil(tile), height.div_ceil(tile));
    let mut bright = Vec::with_capacity(across * down);
    for ty in 0..down {
        for tx in 0..across {
            let rows = ty * tile..((ty + 1) * tile).min(height);
            let mut held: Vec<f32> = rows
                .flat_map(|y| {
                    let line = y * width;
                    &values[line + tx * tile..line + ((tx + 1) * tile).min(width)]
                })
                .copied()
                .collect();
            held.sort_by(f32::total_cmp);
            bright.push(held[held.len() * 9 / 10]);
        }
    }
    let around = |t: usize, limit: usize| t.saturating_sub(AROUND)..(t + AROUND + 1).min(limit);
    let brightest = |ty: usize, tx: usize| {
        let tiles = around(ty, down).flat_map(|y| around(tx, across).map(move |x| (y, x)));
        tiles
            .map(|(y, x)| bright[y * across + x])
            .fold(0.0, f32::max)
    };
    (0..down)
        .flat_map(|ty| (0..across).map(move |tx| (ty, tx)))
        .map(|(ty, tx)| brightest(ty, tx))
        .collect()
}

/// One index into each list, in every way.
fn combinations(lists: &[Vec<&Blob>; 4]) -> Vec<[usize; 4]> {
    let count = lists.iter().map(Vec::len).product();
    let split = |mut n: usize| {
        std::array::from_fn(|k| {
            let at = n % lists[k].len();
            n /= lists[k].len();
            at
        })
    };
    (0..count).map(split).collect()
}

/// The six marks where four corners, and two discs without holes where these put the side marks, make a frame.
fn belong(frame: &Frame, corners: [&Blob; 4], discs: &[Blob]) -> Option<Vec<Point>> {
    let mut marks: Vec<Point> = corners.iter().map(|b| b.centre).collect();
    let four = [marks[0], marks[1], marks[2], marks[3]];
    let map = Projection::through(&frame.corner_marks(), &marks).filter(|_| convex(&four))?;
    let mark_mm2 = PI * MARK_RADIUS_MM * MARK_RADIUS_MM;
    let sized = |at: Point, b: &Blob| {
        let off = b.area / (mark_mm2 * map.area_factor(at).abs());
        (1.0 / AREA_OFF..AREA_OFF).contains(&off)
    };
    let all = frame.corner_marks().into_iter().zip(corners);
    if !all.into_iter().all(|(at, b)| sized(at, b)) {
        return None;
    }
    for side in frame.side_marks() {
        let near = map.at(side);
        let reach = 0.5 * MARK_RADIUS_MM * map.area_factor(side).abs().sqrt();
        let found = discs.iter().find(|b| {
            let off = (b.centre.0 - near.0).hypot(b.centre.1 - near.1);
            holes(b) == 0 && off <= reach && sized(side, b)
        });
        marks.push(found?.centre);
    }
    Some(marks)
}

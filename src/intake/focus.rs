//! How sharp a scan is: the width of the edge of the marks' discs.

use super::frame::{Frame, MARK_RADIUS_MM, Point};
use super::marks::Found;
use super::plane::Plane;
use crate::response::robust::median;
use std::f64::consts::TAU;

const RAYS: usize = 90;
const STEPS: usize = 60;
/// From and to, in radii; the holes end at 0.7.
const FROM: f64 = 0.74;
const TO: f64 = 1.26;

/// Median over the marks of the way from 10 to 90 % of the edge from black to white, mm; `None` where no mark shows one.
pub fn edge_mm(plane: &Plane, frame: &Frame, found: &Found) -> Option<f64> {
    let marks = frame.corner_marks().into_iter().chain(frame.side_marks());
    let mut widths: Vec<f64> = marks.filter_map(|m| of_mark(plane, found, m)).collect();
    widths.sort_by(f64::total_cmp);
    (!widths.is_empty()).then(|| median(&widths))
}

fn of_mark(plane: &Plane, found: &Found, mark: Point) -> Option<f64> {
    let radius = |k: usize| MARK_RADIUS_MM * (FROM + (TO - FROM) * k as f64 / (STEPS - 1) as f64);
    let ray = |i: usize, r: f64| {
        let turn = TAU * i as f64 / RAYS as f64;
        let at = found
            .to_picture
            .at((mark.0 + r * turn.cos(), mark.1 + r * turn.sin()));
        between(plane, at)
    };
    let mean = |k: usize| (0..RAYS).map(|i| ray(i, radius(k))).sum::<f64>() / RAYS as f64;
    let profile: Vec<f64> = (0..STEPS).map(mean).collect();
    let part = STEPS / 6;
    let dark = profile[..part].iter().sum::<f64>() / part as f64;
    let light = profile[STEPS - part..].iter().sum::<f64>() / part as f64;
    let crossing = |share: f64| {
        let level = dark + share * (light - dark);
        let k = profile
            .windows(2)
            .position(|w| w[0] <= level && w[1] > level)?;
        let within = (level - profile[k]) / (profile[k + 1] - profile[k]);
        Some(radius(k) + within * (radius(k + 1) - radius(k)))
    };
    Some(crossing(0.9)? - crossing(0.1)?).filter(|w| *w > 0.0)
}

/// The signal between pixels, linear each way.
fn between(plane: &Plane, at: Point) -> f64 {
    let (x, y) = ((at.0 - 0.5).max(0.0), (at.1 - 0.5).max(0.0));
    let (column, row) = (x as usize, y as usize);
    let (u, v) = (x.fract(), y.fract());
    let value = |dx: usize, dy: usize| f64::from(plane.at(column + dx, row + dy));
    (1.0 - v) * ((1.0 - u) * value(0, 0) + u * value(1, 0))
        + v * ((1.0 - u) * value(0, 1) + u * value(1, 1))
}

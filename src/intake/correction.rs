//! What stands between the panel and its reading: a cover sheet, and a geometry other than 45:0.

use crate::project::{Cover, Instrument, ToNormal};
use crate::tone::lightness::{lstar_from_reflectance, lstar_slope, reflectance_from_lstar};

/// Geometries whose readings are those of 45:0: light at 45°, seen along the normal, or the reverse; ring or one side.
/// Source: CIE 15:2018, 5.2; ISO 13655 (from memory).
const LIKE_45_0: [&str; 6] = ["45:0", "0:45", "45a:0", "0:45a", "45x:0", "0:45x"];

/// Whether a geometry needs no conversion to 45:0.
pub fn is_45_0(geometry: &str) -> bool {
    LIKE_45_0.contains(&geometry)
}

/// What a reading says once the cover is off and the geometry is 45:0, and the standard uncertainty that the stated numbers add.
///
/// `reflectance` is as read, luminous. Cover first, then geometry.
pub fn corrected(reflectance: f64, instrument: &Instrument) -> (f64, f64) {
    let (mut value, mut u) = (reflectance, 0.0);
    if let Some(cover) = &instrument.cover {
        let part = (
            uncovered(value, cover.reflectance + cover.u, cover.transmittance)
                - uncovered(value, cover.reflectance, cover.transmittance),
            uncovered(value, cover.reflectance, cover.transmittance - cover.u)
                - uncovered(value, cover.reflectance, cover.transmittance),
        );
        u = part.0.hypot(part.1);
        value = uncover(value, cover);
    }
    if let Some(to) = &instrument.to_45_0 {
        u = (u * to.gain).hypot(to.u);
        value = to_45_0(value, to);
    }
    (value, u)
}

/// A reading in L* once it is corrected.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct CorrectedLstar {
    pub lstar: f64,
    /// What the stated numbers add, standard.
    pub u_lstar: f64,
    /// By how much an uncertainty of the reading grows.
    pub factor: f64,
}

/// The same as [`corrected`], in L*.
pub fn corrected_lstar(reading_lstar: f64, instrument: &Instrument) -> CorrectedLstar {
    const NUDGE: f64 = 1e-4;
    let read = reflectance_from_lstar(reading_lstar);
    let (value, u) = corrected(read, instrument);
    let (more, _) = corrected(read + NUDGE, instrument);
    CorrectedLstar {
        lstar: lstar_from_reflectance(value),
        u_lstar: u * lstar_slope(value),
        factor: (more - value) / NUDGE * lstar_slope(value) / lstar_slope(read),
    }
}

/// Reflectance of what lies under a cover, from the reading through it.
///
/// R_m = ρ + T²·R/(1 − ρ·R), solved for R: a plate over a diffuser, light going to and fro between them. Source: G. G. Stokes,
/// Proc. R. Soc. 11 (1862) 545 (from memory).
pub fn uncover(reading: f64, cover: &Cover) -> f64 {
    uncovered(reading, cover.reflectance, cover.transmittance)
}

fn uncovered(reading: f64, rho: f64, transmittance: f64) -> f64 {
    let through = reading - rho;
    through / (transmittance * transmittance + rho * through)
}

/// The reading through a cover: the inverse of [`uncover`].
pub fn covered(reflectance: f64, cover: &Cover) -> f64 {
    let (rho, t) = (cover.reflectance, cover.transmittance);
    rho + t * t * reflectance / (1.0 - rho * reflectance)
}

/// gain·reading − specular.
pub fn to_45_0(reading: f64, to: &ToNormal) -> f64 {
    to.gain * reading - to.specular
}

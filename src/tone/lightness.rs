//! CIE 1976 lightness from luminous reflectance, and back.
//!
//! Source: CIE 15:2018, equations 8.3 to 8.5; the rational constants are those of its exact continuity.

/// Reflectance below which lightness runs straight: (6/29)³.
pub const STRAIGHT_BELOW_REFLECTANCE: f64 = 216.0 / 24389.0;

/// Lightness at [`STRAIGHT_BELOW_REFLECTANCE`].
pub const STRAIGHT_BELOW_LSTAR: f64 = 8.0;

/// Slope of the straight part, L* per unit of reflectance: (29/3)³.
pub const STRAIGHT_SLOPE: f64 = 24389.0 / 27.0;

/// Lightness L* of a luminous reflectance (0…1, against the perfect diffuser).
///
/// Above 1 and below 0 the same branches go on, so the map is continuous and rises everywhere.
/// L* = 116·R^(1/3) − 16, or (24389/27)·R for R ≤ 216/24389.
pub fn lstar_from_reflectance(reflectance: f64) -> f64 {
    if reflectance <= STRAIGHT_BELOW_REFLECTANCE {
        STRAIGHT_SLOPE * reflectance
    } else {
        116.0 * reflectance.cbrt() - 16.0
    }
}

/// Luminous reflectance (0…1) of a lightness L* (0…100): the inverse of [`lstar_from_reflectance`].
pub fn reflectance_from_lstar(lstar: f64) -> f64 {
    if lstar <= STRAIGHT_BELOW_LSTAR {
        lstar / STRAIGHT_SLOPE
    } else {
        ((lstar + 16.0) / 116.0).powi(3)
    }
}

/// dL*/dR at a luminous reflectance, L* per unit of reflectance.
///
/// (116/3)·R^(−2/3), or 24389/27 for R ≤ 216/24389; the two meet without a step.
pub fn lstar_slope(reflectance: f64) -> f64 {
    if reflectance <= STRAIGHT_BELOW_REFLECTANCE {
        STRAIGHT_SLOPE
    } else {
        116.0 / 3.0 / reflectance.cbrt().powi(2)
    }
}

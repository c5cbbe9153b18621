//! The grayscale standard display function: luminance by just-noticeable difference.
//!
//! Source: DICOM PS3.14 section 7.1, equation 7-1 and its coefficients.

use std::ops::RangeInclusive;

/// Indices over which the function is defined.
pub const JND_RANGE: RangeInclusive<f64> = 1.0..=1023.0;

/// Coefficients a, c, e, g, m of the numerator and 1, b, d, f, h, k of the denominator, by rising power of ln j.
const NUMERATOR: [f64; 5] = [
    -1.301_187_7,
    8.024_263_6e-2,
    1.364_669_9e-1,
    -2.546_840_4e-2,
    1.363_533_4e-3,
];
const DENOMINATOR: [f64; 6] = [
    1.0,
    -2.584_019_1e-2,
    -1.032_022_9e-1,
    2.874_562_0e-2,
    -3.197_897_7e-3,
    1.299_263_4e-4,
];

/// Luminance, cd/m², at the index `j` (1…1023, need not be whole); `None` outside.
pub fn luminance_cd_m2(j: f64) -> Option<f64> {
    JND_RANGE.contains(&j).then(|| luminance_at(j.ln()))
}

/// The index, 1…1023, of a luminance in cd/m²; `None` outside 0.05…3993 cd/m².
///
/// Bisection on [`luminance_cd_m2`], which rises throughout: the standard's own inverse is an approximation.
pub fn jnd_index(luminance_cd_m2: f64) -> Option<f64> {
    let (mut low, mut high) = (JND_RANGE.start().ln(), JND_RANGE.end().ln());
    if !(luminance_at(low)..=luminance_at(high)).contains(&luminance_cd_m2) {
        return None;
    }
    for _ in 0..60 {
        let middle = 0.5 * (low + high);
        if luminance_at(middle) < luminance_cd_m2 {
            low = middle;
        } else {
            high = middle;
        }
    }
    Some((0.5 * (low + high)).exp())
}

fn luminance_at(ln_j: f64) -> f64 {
    let along = |powers: &[f64]| powers.iter().rev().fold(0.0, |sum, c| sum * ln_j + c);
    10f64.powf(along(&NUMERATOR) / along(&DENOMINATOR))
}

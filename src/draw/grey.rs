//! The grey of a screen that looks like a lightness.

use crate::tone::reflectance_from_lstar;
use crate::tone::srgb::grey_from_reflectance;

/// sRGB byte of a neutral of lightness `lstar`, 0 … 100 against the perfect diffuser; beyond is clipped.
pub(super) fn grey_byte(lstar: f64) -> u8 {
    grey_from_reflectance(reflectance_from_lstar(lstar))
}

#[cfg(test)]
mod tests {
    use super::*;

    /// sRGB of mid-grey L* 50 is 119 of 255 (from memory); the ends are exact by definition.
    #[test]
    fn bytes_of_known_greys() {
        assert_eq!([0.0, 50.0, 100.0].map(grey_byte), [0, 119, 255]);
        assert_eq!([-3.0, 130.0].map(grey_byte), [0, 255]);
        assert!((1..=100).all(|l| grey_byte(f64::from(l)) >= grey_byte(f64::from(l - 1))));
    }
}

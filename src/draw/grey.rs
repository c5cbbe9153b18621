//! The grey of a screen that looks like a lightness.

/// sRGB byte of a neutral of lightness `lstar`, 0 … 100 against the perfect diffuser; beyond is clipped.
///
/// CIE 1976 L* to luminance (CIE 15), luminance to sRGB (IEC 61966-2-1).
pub(super) fn grey_byte(lstar: f64) -> u8 {
    let y = luminance(lstar).clamp(0.0, 1.0);
    let encoded = if y <= 0.003_130_8 {
        12.92 * y
    } else {
        1.055 * y.powf(1.0 / 2.4) - 0.055
    };
    (255.0 * encoded).round() as u8
}

/// Luminous reflectance of a lightness, 1 for the perfect diffuser.
pub(super) fn luminance(lstar: f64) -> f64 {
    if lstar > 8.0 {
        ((lstar + 16.0) / 116.0).powi(3)
    } else {
        lstar * 27.0 / 24389.0
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Inverse of CIE 1976 L*, computed with colour-science 0.4.7.
    #[test]
    fn luminance_of_known_lightness() {
        /// The table gives four decimals of a per cent.
        const TOLERANCE: f64 = 0.6e-6;
        for (lstar, percent) in [
            (10.0, 1.1260),
            (25.0, 4.4155),
            (50.0, 18.4187),
            (75.0, 48.2781),
            (90.0, 76.3034),
        ] {
            assert!((luminance(lstar) - percent / 100.0).abs() <= TOLERANCE);
        }
    }

    /// sRGB of mid-grey L* 50 is 119 of 255 (from memory); the ends are exact by definition.
    #[test]
    fn bytes_of_known_greys() {
        assert_eq!([0.0, 50.0, 100.0].map(grey_byte), [0, 119, 255]);
        assert_eq!([-3.0, 130.0].map(grey_byte), [0, 255]);
        assert!((1..=100).all(|l| grey_byte(f64::from(l)) >= grey_byte(f64::from(l - 1))));
    }
}

//! Greys as sRGB code values, for pictures of what the panel will show.
//!
//! A perfect diffuser is drawn as the display's white, 255. Source: IEC 61966-2-1:1999 section 5.2.

/// Linear light, 0…1 of white, to the sRGB signal, 0…1; past the ends, that of the end.
pub fn encode(linear: f64) -> f64 {
    let linear = linear.clamp(0.0, 1.0);
    if linear <= 0.003_130_8 {
        12.92 * linear
    } else {
        1.055 * linear.powf(1.0 / 2.4) - 0.055
    }
}

/// The sRGB signal, 0…1, to linear light, 0…1 of white; past the ends, that of the end.
pub fn decode(signal: f64) -> f64 {
    let signal = signal.clamp(0.0, 1.0);
    if signal <= 0.040_45 {
        signal / 12.92
    } else {
        ((signal + 0.055) / 1.055).powf(2.4)
    }
}

/// The 8-bit grey of a luminous reflectance.
pub fn grey_from_reflectance(reflectance: f64) -> u8 {
    (encode(reflectance) * 255.0).round() as u8
}

/// The luminous reflectance, 0…1, that an 8-bit grey stands for.
pub fn reflectance_from_grey(grey: u8) -> f64 {
    decode(f64::from(grey) / 255.0)
}

//! Cautions in plain words. The program knows voltages and times, not the apparatus or the people: codes decide.

use super::{Erase, Field};

/// Extra-low voltage, alternating, rms: IEC 61140.
pub const EXTRA_LOW_AC_V: f64 = 50.0;
/// Extra-low voltage, direct: IEC 61140.
pub const EXTRA_LOW_DC_V: f64 = 120.0;

/// The largest voltage between any two lines, V: strokes, S + D across a pixel, 2·D from column to column.
pub fn largest_line_difference_v(erase: &Erase, fields: &[Field]) -> f64 {
    let strokes = erase.strokes.iter().map(|s| s.pixel_v.abs());
    let pixels = fields.iter().map(|f| f.select_v.abs() + f.data_v);
    let columns = fields.iter().map(|f| 2.0 * f.data_v);
    strokes.chain(pixels).chain(columns).fold(0.0, f64::max)
}

/// What to say where lines differ by up to `max_abs_v`, V.
///
/// A drive waveform can stand at its peak with either sign, so its rms can reach the peak: the peak itself is held
/// against the limit for alternating voltage. A voltage that isn't a number counts as too high.
pub fn voltage_caution(max_abs_v: f64) -> String {
    let limits = format!(
        "extra-low voltage ({EXTRA_LOW_AC_V} V alternating, {EXTRA_LOW_DC_V} V direct; IEC 61140)"
    );
    if max_abs_v <= EXTRA_LOW_AC_V {
        format!(
            "Two lines of the panel differ by up to {max_abs_v:.1} V, within {limits}. Lower limits hold in wet \
             places and near the public; the supply that makes these rails may carry more. Local codes and \
             licensed practice decide."
        )
    } else {
        format!(
            "Two lines of the panel differ by up to {max_abs_v:.1} V, above {limits}: they can give a dangerous \
             shock. Guard against touch, discharge before work, and have the apparatus designed and checked by \
             qualified people. Local codes and licensed practice decide."
        )
    }
}

/// What to say of erase strokes that blink the whole panel.
///
/// Source: WCAG 2, general flash threshold.
pub fn flash_caution() -> &'static str {
    "Each refresh darkens and clears the whole panel. More than three flashes in any one second (pairs of \
     opposing changes of 10 % or more of the largest luminance, the darker below 0.80 of it; WCAG 2) can set off \
     seizures in some people. Don't chain refreshes so fast; local codes for public displays decide."
}

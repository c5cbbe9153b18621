//! The intervals that numbers of a project must lie in, both ends allowed. The physical ones are wide on purpose:
//! they stop slips of the pen (a unit, a decimal point) and panels that no memory holds, not unusual panels.

use crate::drive::ZONES_MAX;
use std::fmt;

/// An interval of real numbers, both ends allowed; NaN lies in none.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Bounds {
    pub min: f64,
    pub max: f64,
    pub unit: &'static str,
}

impl Bounds {
    pub fn contains(&self, value: f64) -> bool {
        value >= self.min && value <= self.max
    }
}

impl fmt::Display for Bounds {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "a number from {} to {}{}", self.min, self.max, self.unit)
    }
}

/// An interval of whole numbers, both ends allowed.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Count {
    pub min: u32,
    pub max: u32,
}

impl Count {
    pub fn contains(&self, value: usize) -> bool {
        value >= self.min as usize && value <= self.max as usize
    }
}

impl fmt::Display for Count {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "a whole number from {} to {}", self.min, self.max)
    }
}

pub(crate) const fn bounds(min: f64, max: f64, unit: &'static str) -> Bounds {
    Bounds { min, max, unit }
}

pub(crate) const fn count(min: u32, max: u32) -> Count {
    Count { min, max }
}

/// Largest `panel.toml`, bytes: 1 MiB.
pub const PANEL_BYTES_MAX: u64 = 1 << 20;
/// Largest table, bytes: 64 MiB.
pub const TABLE_BYTES_MAX: u64 = 64 << 20;
/// Length of a name, characters.
pub const NAME_LENGTH: Count = count(1, 64);

/// Rows, and columns, of a panel.
pub const LINES: Count = count(1, 4096);
pub const PITCH_UM: Bounds = bounds(1.0, 1e5, " µm");
pub const LINE_OHM: Bounds = bounds(0.0, 1e9, " Ω");
pub const PIXEL_F: Bounds = bounds(0.0, 1e-6, " F");

/// A voltage on a line or a pixel, either sign.
pub const VOLTAGE_V: Bounds = bounds(-200.0, 200.0, " V");
/// A data voltage: its sign is in the data.
pub const DATA_V: Bounds = bounds(0.01, 200.0, " V");
pub const RAIL_STEP_V: Bounds = bounds(0.001, 200.0, " V");
/// Values on one rail.
pub const RAIL_VALUES: Count = count(1, 1001);
pub const TICK_US: Count = count(1, 1_000_000);
/// Different ticks, erases of a panel.
pub const CHOICES: Count = count(1, 16);
pub const SLOT_TICKS: Count = count(1, 4096);
pub const GUARD_TICKS: Count = count(0, 4096);
pub const FIELDS: Count = count(1, 8);
/// Zones of rows with tables of their own, and what a controller can hold where panel.toml is silent.
pub const ZONES: Count = count(1, ZONES_MAX as u32);
pub const USUAL_ZONES: u32 = 4;
pub const STRETCH: Bounds = bounds(0.01, 100.0, "");
pub const STRETCH_STEP: Bounds = bounds(1e-4, 100.0, "");

/// Strokes of an erase, steps of a train.
pub const STROKES: Count = count(1, 64);
/// A stroke or a step of a train.
pub const STROKE_MS: Bounds = bounds(0.001, 600_000.0, " ms");
/// A rest or a pause; may be absent, so 0.
pub const PAUSE_MS: Bounds = bounds(0.0, 600_000.0, " ms");

pub const REFRESH_S: Bounds = bounds(0.001, 3600.0, " s");
pub const GHOST_LSTAR: Bounds = bounds(0.001, 100.0, " L*");
pub const NET_IMPULSE_VS: Bounds = bounds(0.0, 1e6, " V·s");
pub const TEMPERATURE_C: Bounds = bounds(-60.0, 120.0, " °C");
/// It weights the readings, so it can't be 0.
pub const REPEATABILITY_LSTAR: Bounds = bounds(0.001, 10.0, " L*");

/// Sampling aperture of the instrument, and what it usually is where panel.toml is silent (common practice, no source).
pub const APERTURE_MM: Bounds = bounds(0.1, 100.0, " mm");
pub const USUAL_APERTURE_MM: f64 = 4.0;

/// Relative standard deviation of a panel's threshold, and speed, from panel to panel.
pub const UNIT_SPREAD: Bounds = bounds(0.0, 0.5, "");

/// How much a grey moves with temperature, either sign, and how well the panel's temperature is known.
pub const LSTAR_PER_C: Bounds = bounds(-20.0, 20.0, " L*/°C");
pub const TEMPERATURE_U_C: Bounds = bounds(0.0, 20.0, " °C");
/// What a cover, or a surface's gloss, sends back, and what a cover lets through.
pub const COVER_REFLECTANCE: Bounds = bounds(0.0, 0.5, "");
pub const COVER_TRANSMITTANCE: Bounds = bounds(0.1, 1.0, "");
pub const GEOMETRY_GAIN: Bounds = bounds(0.5, 2.0, "");
/// Standard uncertainty of a correction, reflectance.
pub const READING_U: Bounds = bounds(0.0, 0.2, "");

/// Luminous reflectance against the perfect diffuser; above 1 for glossy or fluorescent samples.
pub const REFLECTANCE: Bounds = bounds(0.0, 1.2, "");
/// The same in L*: a reflectance of 1.2 is 107.3.
pub const LSTAR: Bounds = bounds(0.0, 107.0, "");
/// Standard uncertainty of one reading's reflectance; it weights the reading, so it can't be 0.
pub const REFLECTANCE_U: Bounds = bounds(1e-6, 0.2, "");
pub const REPEAT: Count = count(1, 1000);
/// Patches of one page.
pub const PATCHES: Count = count(1, 10_000);

//! What a project holds once read and checked.

use crate::drive::{Erase, Field, Matrix, PanelLoad, Stroke};
pub use crate::tone::spectra::Illuminant;
use std::ops::Range;
use std::path::PathBuf;

/// A rail of the drivers: min..=max on a step, or continuous where `step` is absent.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Rail {
    pub min: f64,
    pub max: f64,
    pub step: Option<f64>,
}

#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Lines {
    /// End to end.
    pub row_ohm: f64,
    pub column_ohm: f64,
    pub pixel_f: f64,
    pub driver_ohm: f64,
}

/// Factors by which the drivers' clock can stretch every duration.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct StretchRange {
    pub min: f64,
    pub max: f64,
    pub step: f64,
}

#[derive(Debug, Clone, PartialEq)]
pub struct Drivers {
    pub select_v: Rail,
    pub data_v: Rail,
    pub tick_us: Vec<u32>,
    pub slot_ticks_max: u32,
    pub guard_ticks_max: u32,
    pub fields_max: u32,
    /// Tables by zones of rows that the controller can hold for a band; 1 where every row has the same.
    pub zones_max: u32,
    pub field_settle_ms: f64,
    /// Whether the controller can hold each column at its opposite data voltage for a while as the picture stands.
    pub resting_balance: bool,
    /// Absent: durations can't be stretched.
    pub stretch: Option<StretchRange>,
}

impl Drivers {
    /// Data voltage of the resting balance: the lowest there is, since the disturb falls faster with voltage than time grows.
    pub fn balance_v(&self) -> f64 {
        self.data_v.min
    }

    /// The factor that the clock plays for one asked for: to its step, the nearest.
    pub fn played(&self, factor: f64) -> f64 {
        self.stretch
            .map_or(1.0, |s| (factor / s.step).round() * s.step)
    }
}

#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Limits {
    pub refresh_s: f64,
    pub ghost_lstar: f64,
    pub net_impulse_vs: f64,
    pub temperature_min_c: f64,
    pub temperature_max_c: f64,
}

#[derive(Debug, Clone, PartialEq)]
pub struct Instrument {
    pub geometry: String,
    pub illuminant: Illuminant,
    /// Diameter of the sampling aperture.
    pub aperture_mm: f64,
    /// Standard deviation of a repeated reading.
    pub repeatability_lstar: f64,
    /// How much a grey moves with the panel's temperature, and how well that is known (standard); 0 where panel.toml is silent.
    pub lstar_per_c: f64,
    pub temperature_u_c: f64,
    /// A sheet that lies over the panel while it is read.
    pub cover: Option<Cover>,
    /// How readings of another geometry become readings at 45:0.
    pub to_45_0: Option<ToNormal>,
}

/// A sheet over the panel while it is read, shares of the light.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Cover {
    pub reflectance: f64,
    pub transmittance: f64,
    /// Standard uncertainty of both.
    pub u: f64,
}

/// Reflectance at 45:0 = gain · reading − specular.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ToNormal {
    pub gain: f64,
    /// What the geometry takes in of the surface's gloss.
    pub specular: f64,
    /// Standard uncertainty of the result, reflectance.
    pub u: f64,
}

#[derive(Debug, Clone, PartialEq)]
pub struct Panel {
    pub name: String,
    pub rows: usize,
    pub columns: usize,
    pub pixel_pitch_um: f64,
    pub lines: Lines,
    pub drivers: Drivers,
    pub erases: Vec<Erase>,
    pub limits: Limits,
    pub instrument: Instrument,
    pub spread: UnitSpread,
}

/// How much panels of one make differ, relative standard deviations; 0 where panel.toml is silent.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct UnitSpread {
    /// Of both crossing thresholds.
    pub threshold_v: f64,
    /// Of all rates.
    pub speed: f64,
}

impl Panel {
    /// The rows and columns as lines.
    pub fn matrix(&self) -> Matrix {
        Matrix {
            rows: self.rows,
            columns: self.columns,
            row_ohm: self.lines.row_ohm,
            column_ohm: self.lines.column_ohm,
            pixel_f: self.lines.pixel_f,
            driver_ohm: self.lines.driver_ohm,
        }
    }

    /// What the lines' capacitances depend on.
    pub fn load(&self) -> PanelLoad {
        PanelLoad {
            rows: self.rows,
            columns: self.columns,
            pixel_f: self.lines.pixel_f,
        }
    }
}

/// A rectangle of pixels that get the same ticks.
#[derive(Debug, Clone, PartialEq)]
pub struct Patch {
    pub name: String,
    /// First and last row and column, both included, counted from 0.
    pub row_first: usize,
    pub row_last: usize,
    pub column_first: usize,
    pub column_last: usize,
    /// Ticks on in each field, in field order.
    pub ticks: Vec<u32>,
    /// Line of the chart file where the patch first stands.
    pub line: usize,
}

/// The patches driven in one refresh, from a fully dark panel.
#[derive(Debug, Clone, PartialEq)]
pub struct Page {
    pub name: String,
    pub temperature_c: f64,
    /// Factor on every duration of the refresh; 1 but on pages that verify a finished set.
    pub stretch: f64,
    /// Named [`BAND_ERASE`](super::BAND_ERASE) on pages that verify a finished set.
    pub erase: Erase,
    pub fields: Vec<Field>,
    /// Ticks of the pixels outside every patch, in field order.
    pub fill_ticks: Vec<u32>,
    pub patches: Vec<Patch>,
}

impl Page {
    /// The patches, by index, that hold all of some columns, from the first row down. `columns` is a range that every patch
    /// holds wholly or not at all.
    pub fn patches_in(&self, columns: &Range<usize>) -> Vec<usize> {
        let holds = |p: &Patch| p.column_first <= columns.start && columns.end <= p.column_last + 1;
        let mut here: Vec<usize> = (0..self.patches.len())
            .filter(|&i| holds(&self.patches[i]))
            .collect();
        here.sort_by_key(|&i| self.patches[i].row_first);
        here
    }
}

#[derive(Debug, Clone, PartialEq)]
pub struct Chart {
    pub pages: Vec<Page>,
}

/// One reading of one patch.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Reading {
    /// Index into `Chart::pages`.
    pub page: usize,
    /// Index into `Page::patches`.
    pub patch: usize,
    pub repeat: u32,
    pub lstar: f64,
    /// Its own standard uncertainty, L*, where one is stated.
    pub u_lstar: Option<f64>,
    /// Line in the scans file.
    pub line: usize,
}

/// A pulse train on a test cell, from the clear state, and what was read after it.
#[derive(Debug, Clone, PartialEq)]
pub struct Train {
    pub name: String,
    pub temperature_c: f64,
    pub steps: Vec<Stroke>,
    /// One lightness per repeat.
    pub readings_lstar: Vec<f64>,
    pub line: usize,
}

/// A chart with its readings.
#[derive(Debug, Clone, PartialEq)]
pub struct Measured {
    pub chart: Chart,
    pub readings: Vec<Reading>,
}

impl Measured {
    /// Rms of the standard uncertainties that readings state of themselves, L*; `None` where none does.
    pub fn stated_u_lstar(&self) -> Option<f64> {
        let stated: Vec<f64> = self.readings.iter().filter_map(|r| r.u_lstar).collect();
        let squares: f64 = stated.iter().map(|u| u * u).sum();
        (!stated.is_empty()).then(|| (squares / stated.len() as f64).sqrt())
    }
}

/// A patch on the chart that no reading speaks of.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Unread {
    /// The file where its reading would stand.
    pub scans: &'static str,
    pub page: String,
    pub patch: String,
}

#[derive(Debug, Clone, PartialEq)]
pub struct Project {
    /// The folder that it was read from.
    pub folder: PathBuf,
    pub panel: Panel,
    pub measured: Measured,
    /// Never fitted: the prediction error on it is reported.
    pub holdout: Option<Measured>,
    pub trains: Vec<Train>,
    pub unread: Vec<Unread>,
}

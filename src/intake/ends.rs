//! What limits contrast: the ends of the scale split into window, liquid and pigment, from transmission readings.
//!
//! A product of layers. With T of the empty cell, of the cell filled with clear liquid, of the cleared and of the dark panel:
//! window = T_empty, liquid = T_filled/T_empty, and what the pigment leaves is T_clear/T_filled or T_dark/T_filled. Packed pigment is
//! taken as opaque, so what it leaves in the clear state is its open aperture.

use crate::error::Result;
use crate::project::input_file::InputFile;
use crate::project::limits::{Bounds, TABLE_BYTES_MAX, bounds};
use crate::project::table::Table;
use crate::tone::lightness::lstar_from_reflectance;
use serde::Serialize;
use std::path::Path;

const STATES: [&str; 4] = ["empty", "filled", "clear", "dark"];
const TRANSMITTANCE: Bounds = bounds(1e-4, 1.0, "");
const TRANSMITTANCE_U: Bounds = bounds(0.0, 0.2, "");

/// A value and its standard uncertainty.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Known {
    pub value: f64,
    pub u: f64,
}

impl Known {
    /// The quotient of two independent readings.
    fn over(self, below: Known) -> Known {
        let value = self.value / below.value;
        let u = value * (self.u / self.value).hypot(below.u / below.value);
        Known { value, u }
    }

    /// Optical density, −log₁₀.
    pub fn density(self) -> f64 {
        -self.value.log10()
    }
}

/// Transmittances of the four states, luminous, 0 to 1.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Transmission {
    pub empty: Known,
    pub filled: Known,
    pub clear: Known,
    pub dark: Known,
}

/// The parts of both ends.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Ends {
    pub window: Known,
    pub liquid: Known,
    /// Share of the area that packed pigment leaves open.
    pub open_aperture: Known,
    /// What spread pigment lets through.
    pub spread_pigment: Known,
    /// Clear over dark, seen once through the cell.
    pub contrast: Known,
    /// The same twice through the cell, before a reflector.
    pub reflective_contrast: f64,
}

/// One loss at the white end, and what removing it would give.
#[derive(Debug, Clone, Serialize)]
pub struct Loss {
    pub part: &'static str,
    pub density: f64,
    /// Lightness of the white end before a perfect reflector, light going twice through, as it is and without this loss.
    pub white_lstar: f64,
    pub without_lstar: f64,
}

/// Reads the states of a cell: `state,transmittance`, optionally `transmittance_u`; each of the four states once or more, repeats
/// averaged. Errs where one is missing, or lets through more than the one before it.
pub fn read_transmission(path: &Path) -> Result<Transmission> {
    let file = InputFile::read(
        path,
        "read the transmission of the cell (state,transmittance for empty, filled, clear and dark)",
        TABLE_BYTES_MAX,
    )?;
    let transmission = transmission(&file);
    file.finish(transmission)
}

fn transmission(file: &InputFile) -> Option<Transmission> {
    let table = Table::read_with(file, &["state", "transmittance"], &[], &["transmittance_u"])?;
    let mut readings: [Vec<(f64, f64, usize)>; 4] = Default::default();
    for row in table.rows() {
        let state = STATES.iter().position(|s| *s == row.text("state"));
        if state.is_none() {
            row.wrong("state", "empty, filled, clear or dark");
        }
        let value = row.number("transmittance", TRANSMITTANCE);
        let u = match table.has("transmittance_u") {
            true => row.number("transmittance_u", TRANSMITTANCE_U),
            false => Some(0.0),
        };
        if let (Some(state), Some(value), Some(u)) = (state, value, u) {
            readings[state].push((value, u, row.line));
        }
    }
    if !file.all_right() {
        return None;
    }
    for (state, found) in STATES.iter().zip(&readings) {
        if found.is_empty() {
            file.wrong(
                1,
                "state",
                None,
                format!("a reading of the state `{state}`, found none"),
            );
        }
    }
    for k in 1..STATES.len() {
        if let (Some(above), Some(own)) = (mean(&readings[k - 1]), mean(&readings[k]))
            && own.value > above.value
        {
            file.wrong(
                readings[k][0].2,
                "transmittance",
                Some(&format!("{:.4} for `{}`", own.value, STATES[k])),
                format!("at most that of `{}`, {:.4}", STATES[k - 1], above.value),
            );
        }
    }
    let all: Option<Vec<Known>> = readings.iter().map(|r| mean(r)).collect();
    let [empty, filled, clear, dark] = all?[..] else {
        return None;
    };
    Some(Transmission {
        empty,
        filled,
        clear,
        dark,
    })
}

/// Mean of repeats; its uncertainty is the larger of what is stated and what they scatter by, over the root of their number.
fn mean(readings: &[(f64, f64, usize)]) -> Option<Known> {
    let n = readings.len() as f64;
    let value = readings.iter().map(|r| r.0).sum::<f64>() / n;
    let squares: f64 = readings.iter().map(|r| (r.0 - value).powi(2)).sum();
    let stated = readings.iter().map(|r| r.1).fold(0.0, f64::max);
    let scatter = (squares / (n - 1.0).max(1.0)).sqrt();
    (!readings.is_empty()).then(|| Known {
        value,
        u: stated.max(scatter) / n.sqrt(),
    })
}

impl Transmission {
    pub fn ends(&self) -> Ends {
        let contrast = self.clear.over(self.dark);
        Ends {
            window: self.empty,
            liquid: self.filled.over(self.empty),
            open_aperture: self.clear.over(self.filled),
            spread_pigment: self.dark.over(self.filled),
            contrast,
            reflective_contrast: contrast.value.powi(2),
        }
    }
}

impl Ends {
    /// The losses at the white end, the costliest first.
    pub fn white_losses(&self) -> Vec<Loss> {
        let parts = [
            ("window", self.window),
            ("liquid", self.liquid),
            ("packed pigment", self.open_aperture),
        ];
        let white: f64 = parts.iter().map(|p| p.1.value).product();
        let twice = |t: f64| lstar_from_reflectance(t * t);
        let mut losses: Vec<Loss> = parts
            .iter()
            .map(|(part, known)| Loss {
                part,
                density: known.density(),
                white_lstar: twice(white),
                without_lstar: twice(white / known.value),
            })
            .collect();
        losses.sort_by(|a, b| b.density.total_cmp(&a.density));
        losses
    }
}

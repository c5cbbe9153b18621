//! What limits contrast, as a table.

use super::lines::{Side, passage, table};
use super::to_json;
use crate::intake::ends::{Ends, Known, Loss, Transmission};
use serde::Serialize;
use std::fmt;

/// Everything that `greyloom intake ends` tells.
#[derive(Debug, Clone, Serialize)]
pub struct EndsReport {
    pub file: String,
    pub transmission: Transmission,
    pub ends: Ends,
    pub white_losses: Vec<Loss>,
}

impl EndsReport {
    pub fn of(file: String, transmission: Transmission) -> Self {
        let ends = transmission.ends();
        EndsReport {
            file,
            transmission,
            white_losses: ends.white_losses(),
            ends,
        }
    }

    /// One JSON document, two spaces deep, newline at the end.
    pub fn to_json(&self) -> String {
        to_json(self)
    }
}

impl fmt::Display for EndsReport {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        writeln!(f, "{}: what limits contrast\n", self.file)?;
        let line = |part: &str, known: &Known| {
            vec![
                part.to_owned(),
                format!("{:.4}", known.value),
                format!("{:.4}", 2.0 * known.u),
                format!("{:.3}", known.density()),
            ]
        };
        let head = ["part", "transmittance", "±, k = 2", "density"].map(str::to_owned);
        let rows = vec![
            head.to_vec(),
            line("window", &self.ends.window),
            line("liquid", &self.ends.liquid),
            line("open aperture, pigment packed", &self.ends.open_aperture),
            line("pigment spread", &self.ends.spread_pigment),
        ];
        let sides = [Side::Left, Side::Right, Side::Right, Side::Right];
        writeln!(f, "{}", table(&sides, &rows, 4))?;
        let contrast = format!(
            "{:.1} : 1 once through the cell, ±{:.1} (k = 2); {:.0} : 1 twice through it before a reflector, surfaces aside",
            self.ends.contrast.value,
            2.0 * self.ends.contrast.u,
            self.ends.reflective_contrast
        );
        f.write_str(&passage("contrast", &contrast))?;
        for loss in &self.white_losses {
            let text = format!(
                "{}: without it the white end, twice through the cell before a perfect reflector, would be {:.1} L* in place of {:.1}",
                loss.part, loss.without_lstar, loss.white_lstar
            );
            f.write_str(&passage("white end", &text))?;
        }
        let share = 100.0 * (1.0 - self.ends.open_aperture.value);
        let packed =
            format!("packed pigment covers {share:.1} % of the area, taken as opaque there");
        f.write_str(&passage("aperture", &packed))
    }
}

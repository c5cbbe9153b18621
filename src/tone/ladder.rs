//! Ladders: the lightness targets of the levels, between two ends.

use serde::{Deserialize, Serialize};

use super::gsdf;
use super::lightness::{lstar_from_reflectance, reflectance_from_lstar};

/// In what the steps of a ladder are equal.
#[derive(Debug, Clone, Copy, PartialEq, Default, Serialize, Deserialize)]
#[serde(rename_all = "snake_case", deny_unknown_fields)]
pub enum Ladder {
    /// CIE 1976 lightness L*.
    #[default]
    Lightness,
    /// Luminous reflectance.
    Reflectance,
    /// Optical density, −log10 of reflectance.
    Density,
    /// Just-noticeable differences of DICOM PS3.14, by the luminance that the panel shows where it hangs.
    Jnd {
        /// Luminance of a perfect diffuser in the panel's place: illuminance in lux over π.
        diffuser_cd_m2: f64,
        /// Luminance that the surroundings add to every grey, by reflection at the front.
        veil_cd_m2: f64,
    },
}

/// Why no ladder stands between two ends.
#[derive(Debug, Clone, Copy, PartialEq, thiserror::Error)]
pub enum LadderError {
    #[error("{0} levels: at least 2 are needed")]
    TooFewLevels(usize),
    #[error("a ladder from {low_lstar} to {high_lstar} L*: expected 0 ≤ low < high")]
    Ends { low_lstar: f64, high_lstar: f64 },
    #[error("a ladder even in density needs a darkest level above 0 L*")]
    BlackHasNoDensity,
    #[error(
        "a perfect diffuser of {diffuser_cd_m2} cd/m² under a veil of {veil_cd_m2} cd/m²: expected more than 0, and 0 or more"
    )]
    Light {
        diffuser_cd_m2: f64,
        veil_cd_m2: f64,
    },
    #[error("a grey of {0} cd/m² lies outside the display function's 0.05 to 3993 cd/m²")]
    OutsideDisplayFunction(f64),
}

impl Ladder {
    /// `levels` targets in L*, darkest first, from `low_lstar` to `high_lstar`, both exact.
    ///
    /// Errs for fewer than 2 levels, for ends that don't rise from 0 or more, and for ends at which the ladder's own
    /// scale isn't defined.
    pub fn targets_lstar(
        &self,
        low_lstar: f64,
        high_lstar: f64,
        levels: usize,
    ) -> Result<Vec<f64>, LadderError> {
        if levels < 2 {
            return Err(LadderError::TooFewLevels(levels));
        }
        if !(0.0 <= low_lstar && low_lstar < high_lstar && high_lstar.is_finite()) {
            return Err(LadderError::Ends {
                low_lstar,
                high_lstar,
            });
        }
        let mut targets = match *self {
            Ladder::Lightness => even_in_lightness(low_lstar, high_lstar, levels),
            Ladder::Reflectance => even_in_reflectance(low_lstar, high_lstar, levels),
            Ladder::Density => even_in_density(low_lstar, high_lstar, levels)?,
            Ladder::Jnd {
                diffuser_cd_m2,
                veil_cd_m2,
            } => {
                let light = Light::new(diffuser_cd_m2, veil_cd_m2)?;
                even_in_jnd(low_lstar, high_lstar, levels, light)?
            }
        };
        targets[0] = low_lstar;
        targets[levels - 1] = high_lstar;
        Ok(targets)
    }
}

fn even_in_lightness(low_lstar: f64, high_lstar: f64, levels: usize) -> Vec<f64> {
    even(low_lstar, high_lstar, levels).collect()
}

fn even_in_reflectance(low_lstar: f64, high_lstar: f64, levels: usize) -> Vec<f64> {
    let (low, high) = (
        reflectance_from_lstar(low_lstar),
        reflectance_from_lstar(high_lstar),
    );
    even(low, high, levels)
        .map(lstar_from_reflectance)
        .collect()
}

fn even_in_density(
    low_lstar: f64,
    high_lstar: f64,
    levels: usize,
) -> Result<Vec<f64>, LadderError> {
    if low_lstar == 0.0 {
        return Err(LadderError::BlackHasNoDensity);
    }
    let density = |lstar: f64| -reflectance_from_lstar(lstar).log10();
    let lstar = |density: f64| lstar_from_reflectance(10f64.powf(-density));
    Ok(even(density(low_lstar), density(high_lstar), levels)
        .map(lstar)
        .collect())
}

fn even_in_jnd(
    low_lstar: f64,
    high_lstar: f64,
    levels: usize,
    light: Light,
) -> Result<Vec<f64>, LadderError> {
    let index = |lstar: f64| {
        let luminance = light.luminance_cd_m2(reflectance_from_lstar(lstar));
        gsdf::jnd_index(luminance).ok_or(LadderError::OutsideDisplayFunction(luminance))
    };
    let (low, high) = (index(low_lstar)?, index(high_lstar)?);
    let lstar = |j: f64| {
        // Both ends are inside, so every step between them is; rounding may leave by the last bit.
        let j = j.clamp(*gsdf::JND_RANGE.start(), *gsdf::JND_RANGE.end());
        let luminance = gsdf::luminance_cd_m2(j).ok_or(LadderError::OutsideDisplayFunction(j))?;
        Ok(lstar_from_reflectance(light.reflectance(luminance)))
    };
    even(low, high, levels).map(lstar).collect()
}

/// `levels` equal steps from `from` to `to`.
fn even(from: f64, to: f64, levels: usize) -> impl Iterator<Item = f64> {
    let last = (levels - 1) as f64;
    (0..levels).map(move |level| from + (to - from) * (level as f64 / last))
}

/// The light in which the panel is seen.
#[derive(Clone, Copy)]
struct Light {
    diffuser_cd_m2: f64,
    veil_cd_m2: f64,
}

impl Light {
    fn new(diffuser_cd_m2: f64, veil_cd_m2: f64) -> Result<Self, LadderError> {
        let finite = diffuser_cd_m2.is_finite() && veil_cd_m2.is_finite();
        if finite && diffuser_cd_m2 > 0.0 && veil_cd_m2 >= 0.0 {
            Ok(Self {
                diffuser_cd_m2,
                veil_cd_m2,
            })
        } else {
            Err(LadderError::Light {
                diffuser_cd_m2,
                veil_cd_m2,
            })
        }
    }

    fn luminance_cd_m2(self, reflectance: f64) -> f64 {
        self.veil_cd_m2 + self.diffuser_cd_m2 * reflectance
    }

    fn reflectance(self, luminance_cd_m2: f64) -> f64 {
        (luminance_cd_m2 - self.veil_cd_m2) / self.diffuser_cd_m2
    }
}

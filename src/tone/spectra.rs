//! Reflectance spectra to tristimulus values and CIE 1976 L*a*b*.
//!
//! After ASTM E308: a spectrum is brought to the steps of the observer's table by third-order Lagrange interpolation
//! (as in ASTM E2022), held constant past its ends, weighted with illuminant × observer and summed. Observer: CIE
//! 1931, 2°.

use std::sync::LazyLock;

use serde::{Deserialize, Serialize};

use super::lightness::{STRAIGHT_BELOW_REFLECTANCE, STRAIGHT_SLOPE};

/// The CIE illuminant under which a reflectance is reckoned.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize, Deserialize)]
pub enum Illuminant {
    #[default]
    D50,
    D65,
}

/// Widest gap, nm, between two wavelengths of a spectrum (ASTM E308 has no tables past 20 nm).
pub const WIDEST_GAP_NM: f64 = 20.0;

/// A spectrum must reach at least from the first to the second, nm: outside lies 0.04 % of the light that counts
/// for Y.
pub const NEEDED_NM: (f64, f64) = (400.0, 700.0);

/// Why numbers make no spectrum.
#[derive(Debug, Clone, Copy, PartialEq, thiserror::Error)]
pub enum SpectrumError {
    #[error("{wavelengths} wavelengths and {values} reflectances: expected as many of each")]
    Lengths { wavelengths: usize, values: usize },
    #[error("wavelength {at}, {nm} nm: expected at most 20 nm above the one before")]
    Spacing { at: usize, nm: f64 },
    #[error("reflectance {value} at {nm} nm: expected 0 to 1.2 (fluorescence is not covered)")]
    Reflectance { nm: f64, value: f64 },
    #[error(
        "the spectrum reaches from {first_nm} to {last_nm} nm: at least 400 to 700 nm are needed"
    )]
    Reach { first_nm: f64, last_nm: f64 },
}

/// Spectral reflectance against the perfect diffuser, wavelengths rising.
#[derive(Debug, Clone, PartialEq)]
pub struct Spectrum {
    wavelengths_nm: Vec<f64>,
    reflectance: Vec<f64>,
}

/// Tristimulus values on the scale on which the perfect diffuser has Y = 100.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Tristimulus {
    pub x: f64,
    pub y: f64,
    pub z: f64,
}

/// CIE 1976 L*a*b*.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Lab {
    pub lstar: f64,
    pub a: f64,
    pub b: f64,
}

impl Spectrum {
    /// Errs unless wavelengths (nm) rise by at most 20 nm, reach from 400 to 700 nm or further, and each has a
    /// reflectance from 0 to 1.2.
    pub fn new(wavelengths_nm: Vec<f64>, reflectance: Vec<f64>) -> Result<Self, SpectrumError> {
        let (wavelengths, values) = (wavelengths_nm.len(), reflectance.len());
        if wavelengths != values {
            return Err(SpectrumError::Lengths {
                wavelengths,
                values,
            });
        }
        let first_nm = wavelengths_nm.first().copied().unwrap_or(f64::NAN);
        let last_nm = wavelengths_nm.last().copied().unwrap_or(f64::NAN);
        if !(first_nm <= NEEDED_NM.0 && last_nm >= NEEDED_NM.1) {
            return Err(SpectrumError::Reach { first_nm, last_nm });
        }
        let spaced = |gap: f64| gap > 0.0 && gap <= WIDEST_GAP_NM;
        if let Some(k) = wavelengths_nm.windows(2).position(|w| !spaced(w[1] - w[0])) {
            return Err(SpectrumError::Spacing {
                at: k + 1,
                nm: wavelengths_nm[k + 1],
            });
        }
        let outside = |value: &f64| !(0.0..=1.2).contains(value);
        if let Some(k) = reflectance.iter().position(outside) {
            return Err(SpectrumError::Reflectance {
                nm: wavelengths_nm[k],
                value: reflectance[k],
            });
        }
        Ok(Self {
            wavelengths_nm,
            reflectance,
        })
    }

    /// Reflectance at a wavelength, nm: the cubic through the four nearest points, the parabola through three in
    /// the first and last gap; past the ends, the value there.
    pub fn at(&self, nm: f64) -> f64 {
        let (points, last) = (&self.wavelengths_nm, self.wavelengths_nm.len() - 1);
        let nm = nm.clamp(points[0], points[last]);
        let gap = points.partition_point(|p| *p <= nm).clamp(1, last) - 1;
        let (from, to) = (gap.saturating_sub(1), (gap + 2).min(last));
        (from..=to)
            .map(|k| self.reflectance[k] * lagrange(&points[from..=to], k - from, nm))
            .sum()
    }

    /// The spectrum as an instrument of narrow bandpass would read it, from one whose bandpass is a triangle as wide at half its
    /// height as the even steps of the wavelengths; uneven steps stay as they are.
    ///
    /// R' = R − α·(R₋ − 2R + R₊), α = 0.083; at the ends the neighbour that isn't there counts as R itself. Source: E. I. Stearns,
    /// R. E. Stearns, Color Res. Appl. 13 (1988) 257; ASTM E308 (from memory).
    pub fn without_bandpass(&self) -> Spectrum {
        const ALPHA: f64 = 0.083;
        let r = &self.reflectance;
        let steps: Vec<f64> = self
            .wavelengths_nm
            .windows(2)
            .map(|w| w[1] - w[0])
            .collect();
        if steps.iter().any(|s| (s - steps[0]).abs() > 1e-6 * steps[0]) {
            return self.clone();
        }
        let corrected = |k: usize| {
            let below = r[k.saturating_sub(1)];
            let above = r[(k + 1).min(r.len() - 1)];
            (r[k] - ALPHA * (below - 2.0 * r[k] + above)).max(0.0)
        };
        Spectrum {
            wavelengths_nm: self.wavelengths_nm.clone(),
            reflectance: (0..r.len()).map(corrected).collect(),
        }
    }

    pub fn tristimulus(&self, illuminant: Illuminant) -> Tristimulus {
        weighted(illuminant, |nm| self.at(nm))
    }

    /// Luminous reflectance, 0…1 against the perfect diffuser.
    pub fn luminous_reflectance(&self, illuminant: Illuminant) -> f64 {
        self.tristimulus(illuminant).y / 100.0
    }

    /// L*a*b* against the perfect diffuser under the same illuminant.
    pub fn lab(&self, illuminant: Illuminant) -> Lab {
        self.tristimulus(illuminant).lab(white(illuminant))
    }
}

impl Tristimulus {
    /// L*a*b* against a white. Source: CIE 15:2018, section 8.2.1.
    pub fn lab(self, white: Tristimulus) -> Lab {
        let (x, y, z) = (
            compressed(self.x / white.x),
            compressed(self.y / white.y),
            compressed(self.z / white.z),
        );
        Lab {
            lstar: 116.0 * y - 16.0,
            a: 500.0 * (x - y),
            b: 200.0 * (y - z),
        }
    }
}

/// Tristimulus values of the perfect diffuser.
pub fn white(illuminant: Illuminant) -> Tristimulus {
    weighted(illuminant, |_| 1.0)
}

/// Cube root with the straight foot of CIE 1976.
fn compressed(ratio: f64) -> f64 {
    if ratio <= STRAIGHT_BELOW_REFLECTANCE {
        (STRAIGHT_SLOPE * ratio + 16.0) / 116.0
    } else {
        ratio.cbrt()
    }
}

/// The polynomial that is 1 at `points[k]` and 0 at the others.
fn lagrange(points: &[f64], k: usize, at: f64) -> f64 {
    let others = points.iter().enumerate().filter(|(other, _)| *other != k);
    others.map(|(_, p)| (at - p) / (points[k] - p)).product()
}

fn weighted(illuminant: Illuminant, reflectance: impl Fn(f64) -> f64) -> Tristimulus {
    let mut sum = Tristimulus {
        x: 0.0,
        y: 0.0,
        z: 0.0,
    };
    let mut full = 0.0;
    for row in OBSERVER.iter() {
        let light = row.light(illuminant);
        let seen = light * reflectance(row.nm);
        sum.x += seen * row.x_bar;
        sum.y += seen * row.y_bar;
        sum.z += seen * row.z_bar;
        full += light * row.y_bar;
    }
    let scale = 100.0 / full;
    Tristimulus {
        x: sum.x * scale,
        y: sum.y * scale,
        z: sum.z * scale,
    }
}

/// Colour-matching functions and illuminants at one wavelength.
struct Row {
    nm: f64,
    x_bar: f64,
    y_bar: f64,
    z_bar: f64,
    d50: f64,
    d65: f64,
}

impl Row {
    fn light(&self, illuminant: Illuminant) -> f64 {
        match illuminant {
            Illuminant::D50 => self.d50,
            Illuminant::D65 => self.d65,
        }
    }
}

/// The table that ships with the program, 380 to 780 nm by 5 nm.
static OBSERVER: LazyLock<Vec<Row>> = LazyLock::new(|| {
    include_str!("../../calibration/cie-1931-d50-d65-5nm.csv")
        .lines()
        .filter_map(row)
        .collect()
});

/// `None` for the lines above the table.
fn row(line: &str) -> Option<Row> {
    let values: Vec<f64> = line
        .split(',')
        .map(|v| v.trim().parse().ok())
        .collect::<Option<_>>()?;
    let [nm, x_bar, y_bar, z_bar, d50, d65] = values[..] else {
        return None;
    };
    Some(Row {
        nm,
        x_bar,
        y_bar,
        z_bar,
        d50,
        d65,
    })
}

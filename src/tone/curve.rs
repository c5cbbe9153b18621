//! The measured grey-level response curve: coverage of the window to luminous reflectance.
//!
//! Yule–Nielsen between the clear and the dark reflectance, with a monotone correction of the coverage where the
//! data show one:
//!
//! R^(1/n) = (1 − c)·R_clear^(1/n) + c·R_dark^(1/n),  c = correction(a)
//!
//! Source: J. A. C. Yule, W. J. Nielsen, "The penetration of light into paper and its effect on halftone
//! reproduction", TAGA Proc. 3 (1951) 65–76 (from memory).

use serde::{Deserialize, Serialize};

use super::lightness::lstar_from_reflectance;
use super::pchip::{KnotError, MonotoneCubic};

/// Largest reflectance that a clear pixel may have: fluorescent or glossy whites pass 1 a little.
pub const LARGEST_REFLECTANCE: f64 = 1.2;

/// Largest Yule–Nielsen factor: past it R^(1/n) is all but log R, and n can't be told from a larger one.
pub const LARGEST_FACTOR: f64 = 20.0;

/// One point of the correction: where the pigment says `coverage`, the light sees `effective`.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Knot {
    pub coverage: f64,
    pub effective: f64,
}

/// Why numbers make no response curve.
#[derive(Debug, Clone, Copy, PartialEq, thiserror::Error)]
pub enum CurveError {
    #[error(
        "clear reflectance {clear} and dark reflectance {dark}: expected 0 ≤ dark < clear ≤ {LARGEST_REFLECTANCE}"
    )]
    Reflectance { clear: f64, dark: f64 },
    #[error("Yule–Nielsen factor {0}: expected 1 to {LARGEST_FACTOR}")]
    Factor(f64),
    #[error(
        "correction {0} knots must lie strictly between coverage 0 and 1, and so must their values"
    )]
    Outside(Knot),
    #[error("correction: {0}")]
    Knots(#[from] KnotError),
}

impl std::fmt::Display for Knot {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        write!(f, "({}, {})", self.coverage, self.effective)
    }
}

/// Coverage (0 clear … 1 spread) to luminous reflectance, strictly falling.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(try_from = "Written", into = "Written")]
pub struct ResponseCurve {
    clear_reflectance: f64,
    dark_reflectance: f64,
    yule_nielsen: f64,
    knots: Vec<Knot>,
    correction: Option<MonotoneCubic>,
    clear_root: f64,
    dark_root: f64,
}

impl ResponseCurve {
    /// The curve without a correction.
    ///
    /// Errs unless 0 ≤ `dark_reflectance` < `clear_reflectance` ≤ 1.2 and 1 ≤ `yule_nielsen` ≤ 20.
    pub fn new(
        clear_reflectance: f64,
        dark_reflectance: f64,
        yule_nielsen: f64,
    ) -> Result<Self, CurveError> {
        Self::with_correction(
            clear_reflectance,
            dark_reflectance,
            yule_nielsen,
            Vec::new(),
        )
    }

    /// The curve with a correction through `knots`; the ends (0, 0) and (1, 1) are added.
    ///
    /// Errs as [`ResponseCurve::new`], and unless the knots rise strictly inside 0…1.
    pub fn with_correction(
        clear_reflectance: f64,
        dark_reflectance: f64,
        yule_nielsen: f64,
        knots: Vec<Knot>,
    ) -> Result<Self, CurveError> {
        let (clear, dark) = (clear_reflectance, dark_reflectance);
        if !(0.0 <= dark && dark < clear && clear <= LARGEST_REFLECTANCE) {
            return Err(CurveError::Reflectance { clear, dark });
        }
        if !(1.0..=LARGEST_FACTOR).contains(&yule_nielsen) {
            return Err(CurveError::Factor(yule_nielsen));
        }
        Ok(Self {
            clear_reflectance,
            dark_reflectance,
            yule_nielsen,
            correction: correction(&knots)?,
            knots,
            clear_root: clear.powf(1.0 / yule_nielsen),
            dark_root: dark.powf(1.0 / yule_nielsen),
        })
    }

    pub fn clear_reflectance(&self) -> f64 {
        self.clear_reflectance
    }

    pub fn dark_reflectance(&self) -> f64 {
        self.dark_reflectance
    }

    /// The Yule–Nielsen factor n.
    pub fn yule_nielsen(&self) -> f64 {
        self.yule_nielsen
    }

    /// The knots between the ends; empty without a correction.
    pub fn knots(&self) -> &[Knot] {
        &self.knots
    }

    /// Luminous reflectance at a coverage; coverages past 0 and 1 count as those.
    pub fn reflectance(&self, coverage: f64) -> f64 {
        self.root(self.effective(coverage)).powf(self.yule_nielsen)
    }

    /// CIE 1976 lightness at a coverage.
    pub fn lstar(&self, coverage: f64) -> f64 {
        lstar_from_reflectance(self.reflectance(coverage))
    }

    /// dR/da at a coverage, never positive.
    pub fn slope(&self, coverage: f64) -> f64 {
        let coverage = coverage.clamp(0.0, 1.0);
        let bend = self.correction.as_ref().map_or(1.0, |c| c.slope(coverage));
        let root = self.root(self.effective(coverage));
        let n = self.yule_nielsen;
        n * root.powf(n - 1.0) * (self.dark_root - self.clear_root) * bend
    }

    /// The coverage that shows a reflectance; `None` where the curve doesn't reach it.
    pub fn coverage(&self, reflectance: f64) -> Option<f64> {
        if !(self.dark_reflectance..=self.clear_reflectance).contains(&reflectance) {
            return None;
        }
        let root = reflectance.powf(1.0 / self.yule_nielsen);
        let effective = (self.clear_root - root) / (self.clear_root - self.dark_root);
        let effective = effective.clamp(0.0, 1.0);
        Some(
            self.correction
                .as_ref()
                .map_or(effective, |c| c.inverse(effective)),
        )
    }

    fn effective(&self, coverage: f64) -> f64 {
        let coverage = coverage.clamp(0.0, 1.0);
        self.correction
            .as_ref()
            .map_or(coverage, |c| c.value(coverage))
    }

    fn root(&self, effective: f64) -> f64 {
        (1.0 - effective) * self.clear_root + effective * self.dark_root
    }
}

fn correction(knots: &[Knot]) -> Result<Option<MonotoneCubic>, CurveError> {
    let inside = |share: f64| 0.0 < share && share < 1.0;
    if let Some(&knot) = knots
        .iter()
        .find(|k| !inside(k.coverage) || !inside(k.effective))
    {
        return Err(CurveError::Outside(knot));
    }
    if knots.is_empty() {
        return Ok(None);
    }
    let with_ends = |pick: fn(&Knot) -> f64| {
        [0.0]
            .into_iter()
            .chain(knots.iter().map(pick))
            .chain([1.0])
            .collect()
    };
    Ok(Some(MonotoneCubic::new(
        with_ends(|k| k.coverage),
        with_ends(|k| k.effective),
    )?))
}

/// The curve as it stands in a file.
#[derive(Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
struct Written {
    clear_reflectance: f64,
    dark_reflectance: f64,
    yule_nielsen: f64,
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    correction: Vec<Knot>,
}

impl TryFrom<Written> for ResponseCurve {
    type Error = CurveError;

    fn try_from(w: Written) -> Result<Self, CurveError> {
        Self::with_correction(
            w.clear_reflectance,
            w.dark_reflectance,
            w.yule_nielsen,
            w.correction,
        )
    }
}

impl From<ResponseCurve> for Written {
    fn from(curve: ResponseCurve) -> Self {
        Self {
            clear_reflectance: curve.clear_reflectance,
            dark_reflectance: curve.dark_reflectance,
            yule_nielsen: curve.yule_nielsen,
            correction: curve.knots,
        }
    }
}

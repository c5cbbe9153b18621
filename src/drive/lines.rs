//! Row and column lines as distributed RC: when an edge arrives, and how soft.
//!
//! A line of resistance R and capacitance C, even along its length, is driven through Rs at x = 0 and carries CL at its
//! open end x = 1. With r = Rs/R and c = CL/C, a unit step answers with
//!
//! v(x, t) = 1 − Σ aₖ·[sin(σₖx) + rσₖ·cos(σₖx)]·exp(−σₖ²·t/RC),
//! σₖ + atan(rσₖ) + atan(cσₖ) = (k + ½)π, k = 0, 1, 2, …
//!
//! by separation of variables; aₖ from the modes' orthogonality under the weight 1 + c·δ(x − 1). For r = c = 0 it is
//! the standard series (4/π) Σ sin((2k+1)πx/2)/(2k+1)·exp(−((2k+1)π/2)²·t/RC).

use std::f64::consts::PI;

/// One line with its driver and the load at its far end.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Line {
    /// End to end, ≥ 0.
    pub ohm: f64,
    /// The whole line's, ≥ 0.
    pub farad: f64,
    /// At x = 0, ≥ 0.
    pub driver_ohm: f64,
    /// At x = 1, ≥ 0.
    pub load_farad: f64,
}

/// The lines of a panel: rows driven at column 0, columns at row 0.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Matrix {
    pub rows: usize,
    pub columns: usize,
    pub row_ohm: f64,
    pub column_ohm: f64,
    pub pixel_f: f64,
    pub driver_ohm: f64,
}

/// The modes of a line before a place is chosen.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Series {
    /// Wave numbers, smallest first; none for a line that answers at once.
    sigmas: Vec<f64>,
    /// Driver's and load's share: Rs/R, CL/C.
    r: f64,
    c: f64,
    rc_s: f64,
}

/// The answer of one place of a line to a unit step at its driver: 1 − Σ amplitude·exp(−rate·t).
#[derive(Debug, Clone, PartialEq)]
pub struct StepResponse {
    /// Slowest first; empty for a line without resistance or capacitance, which answers at once.
    pub(super) modes: Vec<Mode>,
}

/// One decaying part of a step response.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Mode {
    pub amplitude: f64,
    pub rate_per_s: f64,
}

/// Modes kept: enough from t = 4e-6·RC on.
const MODES: usize = 1000;
/// Modes weaker than e to the power of minus this are below rounding.
pub(super) const DEAD: f64 = 40.0;
/// A resistance or capacitance below this share of the lumped one counts as this share.
const LEAST_SHARE: f64 = 1e-9;

impl Line {
    /// Mean delay of an edge at `x`, s: Rs·(C + CL) + R·(C·(x − x²/2) + CL·x).
    ///
    /// It is also the impulse that a settled unit pulse lacks at `x` within its own time, V·s per volt.
    /// Source: W. C. Elmore, J. Appl. Phys. 19 (1948) 55 (from memory).
    pub fn elmore_s(&self, x: f64) -> f64 {
        let x = x.clamp(0.0, 1.0);
        self.driver_ohm * (self.farad + self.load_farad)
            + self.ohm * (self.farad * (x - 0.5 * x * x) + self.load_farad * x)
    }

    /// The exact answer to a unit step at `x`, 0 at the driver … 1 at the far end.
    pub fn step_at(&self, x: f64) -> StepResponse {
        self.series().at(x)
    }

    /// What the answers of all places have in common; worked out once, it makes each of them cheap.
    pub fn series(&self) -> Series {
        let ohm = self.ohm.max(LEAST_SHARE * self.driver_ohm);
        let farad = self.farad.max(LEAST_SHARE * self.load_farad);
        let rc_s = ohm * farad;
        if rc_s <= 0.0 {
            return Series::default();
        }
        let (r, c) = (self.driver_ohm / ohm, self.load_farad / farad);
        let sigmas = (0..MODES).map(|k| wave_number(k, r, c)).collect();
        Series { sigmas, r, c, rc_s }
    }
}

impl Series {
    /// The answer to a unit step at `x`, 0 at the driver … 1 at the far end.
    pub fn at(&self, x: f64) -> StepResponse {
        let x = x.clamp(0.0, 1.0);
        let mode = |&sigma: &f64| Mode {
            amplitude: amplitude(sigma, self.r, self.c, x),
            rate_per_s: sigma * sigma / self.rc_s,
        };
        StepResponse {
            modes: self.sigmas.iter().map(mode).collect(),
        }
    }
}

/// σₖ of σ + atan(rσ) + atan(cσ) = (k + ½)π; the left side rises, so bisection finds the only root.
fn wave_number(k: usize, r: f64, c: f64) -> f64 {
    let phase = (k as f64 + 0.5) * PI;
    let (mut low, mut high) = ((phase - PI).max(0.0), phase);
    // One halving a bit of the mantissa, and more for a root near 0.
    for _ in 0..200 {
        let middle = 0.5 * (low + high);
        if middle <= low || middle >= high {
            break;
        }
        if middle + (r * middle).atan() + (c * middle).atan() < phase {
            low = middle;
        } else {
            high = middle;
        }
    }
    0.5 * (low + high)
}

/// aₖ·u(x) with u = sin σx + rσ·cos σx: ∫u + c·u(1) is 1/σ, and the norm is ∫u² + c·u(1)².
fn amplitude(sigma: f64, r: f64, c: f64, x: f64) -> f64 {
    let a = r * sigma;
    let (sin, cos) = sigma.sin_cos();
    let end = sin + a * cos;
    let norm = 0.5 * (1.0 + a * a)
        + (a * a - 1.0) * sin * cos / (2.0 * sigma)
        + r * sin * sin
        + c * end * end;
    let here = (sigma * x).sin() + a * (sigma * x).cos();
    here / (sigma * norm)
}

impl StepResponse {
    /// Share of the step that has arrived after `seconds`, 0…1.
    pub fn value(&self, seconds: f64) -> f64 {
        if seconds < 0.0 {
            return 0.0;
        }
        let alive = self
            .modes
            .iter()
            .take_while(|m| m.rate_per_s * seconds < DEAD);
        let missing: f64 = alive
            .map(|m| m.amplitude * (-m.rate_per_s * seconds).exp())
            .sum();
        (1.0 - missing).clamp(0.0, 1.0)
    }

    /// The slowest mode; `None` for a line that answers at once.
    pub fn dominant(&self) -> Option<Mode> {
        self.modes.first().copied()
    }

    /// Time until `share` (0…1, both excluded) of the step has arrived, s.
    pub fn delay_s(&self, share: f64) -> f64 {
        let Some(slowest) = self.dominant() else {
            return 0.0;
        };
        let (mut low, mut high) = (0.0, DEAD / slowest.rate_per_s);
        for _ in 0..100 {
            let middle = 0.5 * (low + high);
            if self.value(middle) < share {
                low = middle;
            } else {
                high = middle;
            }
        }
        0.5 * (low + high)
    }

    /// The same by the slowest mode alone: good past about half the step, s.
    pub fn dominant_delay_s(&self, share: f64) -> f64 {
        let of = |m: Mode| (m.amplitude / (1.0 - share)).ln().max(0.0) / m.rate_per_s;
        self.dominant().map_or(0.0, of)
    }
}

impl Matrix {
    /// One row as a distributed line with its driver: `columns` pixels of capacitance.
    pub fn row_line(&self) -> Line {
        Line {
            ohm: self.row_ohm,
            farad: self.columns as f64 * self.pixel_f,
            driver_ohm: self.driver_ohm,
            load_farad: 0.0,
        }
    }

    /// One column as a distributed line with its driver: `rows` pixels of capacitance.
    pub fn column_line(&self) -> Line {
        Line {
            ohm: self.column_ohm,
            farad: self.rows as f64 * self.pixel_f,
            driver_ohm: self.driver_ohm,
            load_farad: 0.0,
        }
    }

    /// By how much a pulse on the pixel at (`row`, `column`) is effectively shortened, s, at most.
    ///
    /// The pixel voltage is row less column, and each line lacks its own mean delay of its pulse, so the sum is what a
    /// full-height pulse lacks where all rows or all columns swing alike (see [`super::Swing::All`]), and a bound
    /// where fewer do. The pulse must be longer than a few time constants.
    pub fn lag_s(&self, row: usize, column: usize) -> f64 {
        self.row_line().elmore_s(self.along_row(column))
            + self.column_line().elmore_s(self.along_column(row))
    }

    /// Where on its row the middle of a pixel in `column` is, 0 at the driver … 1 at the far end.
    pub fn along_row(&self, column: usize) -> f64 {
        (column as f64 + 0.5) / self.columns.max(1) as f64
    }

    /// Where on its column the middle of a pixel in `row` is.
    pub fn along_column(&self, row: usize) -> f64 {
        (row as f64 + 0.5) / self.rows.max(1) as f64
    }

    /// Whether lines can be so: at least one pixel, nothing negative, no time constant beyond all numbers.
    pub(super) fn is_real(&self) -> bool {
        let parts = [self.row_ohm, self.column_ohm, self.pixel_f, self.driver_ohm];
        let pixels = self.rows.max(self.columns) as f64;
        let ohm = self.row_ohm + self.column_ohm + self.driver_ohm;
        self.rows > 0
            && self.columns > 0
            && parts.iter().all(|p| *p >= 0.0)
            && (pixels * self.pixel_f * ohm * pixels).is_finite()
    }

    /// [`Self::lag_s`] of the pixel farthest from both drivers, s.
    pub fn far_corner_lag_s(&self) -> f64 {
        self.lag_s(self.rows.saturating_sub(1), self.columns.saturating_sub(1))
    }
}

//! Drift of an instrument over a session, by a reference that is read again and again.

use super::student::t_quantile;
use crate::tone::lightness::{lstar_slope, reflectance_from_lstar};
use serde::Serialize;

/// References that are needed to tell drift from scatter.
pub const READINGS_MIN: usize = 3;
/// Drift over the session, L*, past which readings are refused: something else than slow drift happened.
pub const DRIFT_MAX_LSTAR: f64 = 1.0;
/// Significance at which drift counts.
const LEVEL: f64 = 0.05;

/// A straight line through the reference's lightness over the session.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Drift {
    pub readings: usize,
    /// At the first reading, L*.
    pub start_lstar: f64,
    /// L* for one reading of the session.
    pub slope_lstar: f64,
    pub slope_u_lstar: f64,
    /// From the session's first reading to its last, L*.
    pub total_lstar: f64,
    /// Standard deviation about the line, L*.
    pub scatter_lstar: f64,
    pub significant: bool,
}

impl Drift {
    /// `references` holds place in the session and lightness, at least three at different places; `length` is the number of
    /// readings in the session. Ordinary least squares, the slope tested with Student's t (ISO 5725-4 and NIST/SEMATECH
    /// e-Handbook 2.2.2, from memory). `None` where there are too few.
    pub fn of(references: &[(f64, f64)], length: usize) -> Option<Self> {
        let n = references.len() as f64;
        if references.len() < READINGS_MIN {
            return None;
        }
        let mean = |of: fn(&(f64, f64)) -> f64| references.iter().map(of).sum::<f64>() / n;
        let (x, y) = (mean(|r| r.0), mean(|r| r.1));
        let xx: f64 = references.iter().map(|r| (r.0 - x).powi(2)).sum();
        let xy: f64 = references.iter().map(|r| (r.0 - x) * (r.1 - y)).sum();
        if xx <= 0.0 {
            return None;
        }
        let slope = xy / xx;
        let start = y - slope * x;
        let squares: f64 = references
            .iter()
            .map(|r| (r.1 - start - slope * r.0).powi(2))
            .sum();
        let scatter = (squares / (n - 2.0)).sqrt();
        let slope_u = scatter / xx.sqrt();
        let t = t_quantile(1.0 - LEVEL / 2.0, n - 2.0);
        Some(Drift {
            readings: references.len(),
            start_lstar: start,
            slope_lstar: slope,
            slope_u_lstar: slope_u,
            total_lstar: slope * (length.max(1) - 1) as f64,
            scatter_lstar: scatter,
            significant: slope.abs() > t * slope_u,
        })
    }

    /// What a reading's reflectance at a place of the session is to be multiplied by, and the relative standard uncertainty of that: an
    /// instrument's lamp and its detector drift in proportion.
    pub fn gain(&self, place: f64) -> (f64, f64) {
        if !self.significant {
            return (1.0, 0.0);
        }
        let start = reflectance_from_lstar(self.start_lstar);
        let there = reflectance_from_lstar(self.start_lstar + self.slope_lstar * place);
        let u = self.slope_u_lstar * place / (lstar_slope(there) * there);
        (start / there, u)
    }
}

//! The prediction error on readings that were never fitted.

use super::model::Response;
use super::pages::pages_lstar;
use crate::project::{Measured, Panel};

/// Measured and predicted lightness of each reading of `measured`, in its order.
pub fn predict(response: &Response, measured: &Measured, panel: &Panel) -> Vec<(f64, f64)> {
    let pages = pages_lstar(response, &measured.chart.pages, panel);
    measured
        .readings
        .iter()
        .map(|r| (r.lstar, pages[r.page][r.patch]))
        .collect()
}

/// Root mean square and largest absolute difference; zero for no readings.
pub fn errors(pairs: &[(f64, f64)]) -> (f64, f64) {
    let squares: f64 = pairs.iter().map(|(m, p)| (p - m).powi(2)).sum();
    let largest = pairs.iter().map(|(m, p)| (p - m).abs()).fold(0.0, f64::max);
    ((squares / pairs.len().max(1) as f64).sqrt(), largest)
}

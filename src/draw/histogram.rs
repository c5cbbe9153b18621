//! How the residuals are spread, beside the normal curve.

use super::axes::{Axes, axes};
use super::fit::{FitPoint, Frame};
use super::pen::{BLUE, INK, VERMILION, path, raster};
use super::sheet::{Area, Drawn};
use plotters::prelude::{Color, Rectangle};

/// Shares of residual ÷ u, fitted and held out.
pub(super) struct Histogram {
    fitted: Vec<f64>,
    held_out: Vec<f64>,
    bars: usize,
    /// Whether some point lies beyond the outermost bars and is counted in them.
    cut: bool,
}

/// Width of a bar, and where the outermost ones end, in standard uncertainties.
const BAR: f64 = 0.5;
const REACH_MIN: f64 = 4.0;
const REACH_MAX: f64 = 6.0;

impl Histogram {
    pub fn of(points: &[&FitPoint]) -> Histogram {
        let largest = points
            .iter()
            .map(|p| p.standardised().abs())
            .fold(0.0, f64::max);
        let reach = largest.ceil().clamp(REACH_MIN, REACH_MAX);
        let bars = (2.0 * reach / BAR) as usize;
        let shares = |fitted: bool| {
            let these = points
                .iter()
                .filter(|p| p.fitted() == fitted)
                .map(|p| p.standardised());
            shares(these, reach, bars)
        };
        Histogram {
            fitted: shares(true),
            held_out: shares(false),
            bars,
            cut: largest > reach,
        }
    }

    fn reach(&self) -> f64 {
        self.bars as f64 * BAR / 2.0
    }

    fn edge(&self, bar: usize) -> f64 {
        bar as f64 * BAR - self.reach()
    }

    pub fn panel(&self, area: &Area, frame: &Frame) -> Drawn {
        let reach = self.reach();
        let tallest = self
            .fitted
            .iter()
            .chain(&self.held_out)
            .copied()
            .fold(normal(0.0), f64::max);
        let spec = Axes {
            title: "Residual ÷ u, and the normal curve",
            x: -reach..reach,
            y: 0.0..1.12 * tallest,
            x_words: if self.cut {
                "(measured − predicted) ÷ u; the outermost bars hold all beyond"
            } else {
                "(measured − predicted) ÷ u"
            },
            y_words: "share of the points, for each u",
        };
        let chart = axes(area, frame, &spec)?;
        for (bar, share) in self.fitted.iter().enumerate() {
            let corners = [(self.edge(bar), 0.0), (self.edge(bar + 1), *share)];
            let [(left, bottom), (right, top)] = corners.map(|c| chart.backend_coord(&c));
            // A slit between two bars; the axis below stays free.
            let corners = [
                (left + raster(0.7), bottom - raster(0.5)),
                (right - raster(0.7), top),
            ];
            area.draw(&Rectangle::new(corners, BLUE.mix(0.4).filled()))?;
        }
        let outline = self
            .outline()
            .into_iter()
            .map(|p| chart.backend_coord(&p))
            .collect();
        path(area, outline, 1.6, VERMILION.to_rgba())?;
        let curve = (0..=200).map(|i| (f64::from(i) / 100.0 - 1.0) * reach);
        let curve = curve
            .map(|z| chart.backend_coord(&(z, normal(z))))
            .collect();
        path(area, curve, 1.6, INK.to_rgba())
    }

    /// The held-out shares as stairs.
    fn outline(&self) -> Vec<(f64, f64)> {
        let stairs = self.held_out.iter().enumerate();
        stairs
            .flat_map(|(i, share)| [(self.edge(i), *share), (self.edge(i + 1), *share)])
            .collect()
    }
}

/// Share of the values in each bar, for each unit; those beyond are counted in the outermost. Empty
/// where there is no value.
fn shares(values: impl Iterator<Item = f64>, reach: f64, bars: usize) -> Vec<f64> {
    let mut counts = vec![0_usize; bars];
    for z in values {
        let bar = ((z + reach) / BAR).floor().max(0.0) as usize;
        if let Some(count) = counts.get_mut(bar.min(bars - 1)) {
            *count += 1;
        }
    }
    let total: usize = counts.iter().sum();
    if total == 0 {
        return Vec::new();
    }
    counts
        .iter()
        .map(|n| *n as f64 / (total as f64 * BAR))
        .collect()
}

fn normal(z: f64) -> f64 {
    (-z * z / 2.0).exp() / std::f64::consts::TAU.sqrt()
}

//! What a chart comes to: JSON and a summary.

use super::lines::{Side, passage, table};
use super::to_json;
use super::words::{count, listed, number, row_zones};
use crate::planning::{Cost, CurvePoint, Foreseen, HANDLING_MIN, Plan, READING_S, SOAK_MIN};
use crate::project::{Chart, Panel};
use serde::Serialize;
use std::fmt;
use std::path::PathBuf;

/// Everything that `greyloom chart` tells.
#[derive(Debug, Clone, Serialize)]
pub struct ChartReport {
    pub panel: String,
    pub patches: usize,
    pub pages: usize,
    pub patch_pixels: usize,
    pub patch_mm: f64,
    pub temperatures_c: Vec<f64>,
    /// What the chart will teach; absent in a chart that verifies a finished set.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub forecast: Option<Forecast>,
    pub cost: Cost,
    /// First and last rows of zones of a finished set that no patch fits into: their levels are not read.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub unread_rows: Vec<(usize, usize)>,
    /// Where each file stands, in the order of their names.
    pub files: Vec<String>,
}

/// Means over the panels that may turn up.
#[derive(Debug, Clone, Serialize)]
pub struct Forecast {
    /// Error of the greys that will be used, rms: uncertainty and likely bias together.
    pub grey_error_lstar: f64,
    pub parameters: Vec<ParameterForecast>,
    pub curve: Vec<CurvePoint>,
}

#[derive(Debug, Clone, Serialize)]
pub struct ParameterForecast {
    pub symbol: &'static str,
    pub unit: &'static str,
    pub meaning: &'static str,
    pub typical: f64,
    pub sigma_before: f64,
    pub sigma: f64,
    /// In standard deviations of the prior.
    pub share_of_prior: f64,
}

impl ChartReport {
    pub fn of(panel: &Panel, chart: &Chart, cost: Cost) -> Self {
        let mut temperatures_c: Vec<f64> = chart.pages.iter().map(|p| p.temperature_c).collect();
        temperatures_c.dedup();
        let first = chart.pages.iter().flat_map(|p| &p.patches).next();
        let patch_pixels = first.map_or(0, |p| p.row_last + 1 - p.row_first);
        ChartReport {
            panel: panel.name.clone(),
            patches: cost.patches,
            pages: cost.pages,
            patch_pixels,
            patch_mm: patch_pixels as f64 * panel.pixel_pitch_um * 1e-3,
            temperatures_c,
            forecast: None,
            cost,
            unread_rows: Vec::new(),
            files: Vec::new(),
        }
    }

    pub fn of_plan(panel: &Panel, plan: &Plan) -> Self {
        let parameter = |f: &Foreseen| ParameterForecast {
            symbol: f.parameter.symbol,
            unit: f.parameter.unit,
            meaning: f.parameter.meaning,
            typical: f.parameter.prior,
            sigma_before: f.sigma_before,
            sigma: f.sigma_after,
            share_of_prior: f.share_of_prior,
        };
        ChartReport {
            forecast: Some(Forecast {
                grey_error_lstar: plan.grey_error_lstar,
                parameters: plan.parameters.iter().map(parameter).collect(),
                curve: plan.curve.clone(),
            }),
            ..Self::of(panel, &plan.chart, plan.cost)
        }
    }

    /// The same with rows that no patch fits into.
    pub fn unread(self, unread_rows: Vec<(usize, usize)>) -> Self {
        ChartReport {
            unread_rows,
            ..self
        }
    }

    /// The same with the files that were written.
    pub fn written(self, files: &[PathBuf]) -> Self {
        ChartReport {
            files: files.iter().map(|p| p.display().to_string()).collect(),
            ..self
        }
    }

    /// One JSON document, two spaces deep, newline at the end.
    pub fn to_json(&self) -> String {
        to_json(self)
    }

    /// The chart, and how many pictures stand beside it.
    fn files_in_words(&self) -> String {
        let (pictures, charts): (Vec<&String>, Vec<&String>) =
            self.files.iter().partition(|f| f.ends_with(".png"));
        let mut words: Vec<String> = charts.into_iter().cloned().collect();
        if let (Some(first), Some(last)) = (pictures.first(), pictures.last()) {
            words.push(match pictures.len() {
                1 => (*first).clone(),
                n => format!("{n} pictures, {first} to {last}"),
            });
        }
        listed(&words)
    }

    fn cost_in_words(&self) -> String {
        let c = &self.cost;
        format!(
            "about {:.0} min: {:.0} min at {} ({SOAK_MIN} min each to get there), {:.0} min handling ({HANDLING_MIN} min a page), \
             {:.1} min of refreshes, {:.0} min of readings ({READING_S} s each); common practice, no source",
            c.total_min,
            c.soak_min,
            count(c.temperatures, "temperature"),
            c.handling_min,
            c.refresh_min,
            c.reading_min
        )
    }
}

impl fmt::Display for ChartReport {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        writeln!(
            f,
            "{}: a chart of {} on {}",
            self.panel,
            count(self.patches, "patch"),
            count(self.pages, "page")
        )?;
        let degrees: Vec<String> = self.temperatures_c.iter().map(|&t| number(t, 2)).collect();
        let patches = format!(
            "{} × {} pixels, {} mm a side",
            self.patch_pixels,
            self.patch_pixels,
            number(self.patch_mm, 2)
        );
        write!(f, "{}", passage("patches", &patches))?;
        write!(f, "{}", passage("at", &format!("{} °C", listed(&degrees))))?;
        write!(f, "{}", passage("cost", &self.cost_in_words()))?;
        if !self.unread_rows.is_empty() {
            let rows = row_zones(self.unread_rows.iter().copied());
            let text = format!(
                "{rows}: tables of their own, and no room for a patch; what they show is not read"
            );
            write!(f, "{}", passage("not read", &text))?;
        }
        if let Some(forecast) = &self.forecast {
            write!(f, "{forecast}")?;
        }
        write!(f, "{}", passage("files", &self.files_in_words()))
    }
}

impl fmt::Display for Forecast {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let will = format!(
            "the greys that will be used to {:.2} L* rms, over panels that may turn up: the readings' noise, and what the model is \
             likely to miss",
            self.grey_error_lstar
        );
        write!(f, "{}", passage("will teach", &will))?;
        let mut rows = vec![
            ["parameter", "unit", "before", "after", "of prior"]
                .map(str::to_owned)
                .to_vec(),
        ];
        rows.extend(self.parameters.iter().map(|p| {
            vec![
                p.symbol.to_owned(),
                p.unit.to_owned(),
                format!("± {}", number(p.sigma_before, 4)),
                format!("± {}", number(p.sigma, 4)),
                format!("{:.0} %", 100.0 * p.share_of_prior),
            ]
        }));
        let sides = [
            Side::Left,
            Side::Left,
            Side::Right,
            Side::Right,
            Side::Right,
        ];
        write!(f, "\n{}", table(&sides, &rows, 2))?;
        let mut rows = vec![
            ["patches", "planned, L*", "at random, L*"]
                .map(str::to_owned)
                .to_vec(),
        ];
        rows.extend(self.curve.iter().map(|c| {
            vec![
                c.patches.to_string(),
                format!("{:.3}", c.planned_lstar),
                format!("{:.3}", c.random_lstar),
            ]
        }));
        writeln!(f, "\n{}", table(&[Side::Right; 3], &rows, 2))
    }
}

//! What a rehearsal comes to.

use super::lines::passage;
use super::to_json;
use super::words::{count, listed, number};
use crate::project::{Chart, Reading};
use crate::rehearsal::{Instrument, Start, TestPanel};
use serde::Serialize;
use std::fmt;

/// Everything that `greyloom rehearse` tells.
#[derive(Debug, Clone, Serialize)]
pub struct RehearsalReport {
    pub panel: String,
    pub test_panel: String,
    pub pages: usize,
    pub patches: usize,
    pub readings: usize,
    /// Rising, each once.
    pub temperatures_c: Vec<f64>,
    pub darkest_lstar: f64,
    pub lightest_lstar: f64,
    /// Whether each page started from what the page before it left.
    pub starts_from_last: bool,
    /// Standard deviation of the readings' noise; 0 for exact ones.
    pub noise_lstar: f64,
    pub seed: u64,
    pub file: String,
}

impl RehearsalReport {
    /// `file` is where the readings stand.
    pub fn of(
        panel: &str,
        test_panel: &TestPanel,
        chart: &Chart,
        readings: &[Reading],
        (start, instrument): (Start, &Instrument),
        file: String,
    ) -> Self {
        let mut temperatures_c: Vec<f64> = chart.pages.iter().map(|p| p.temperature_c).collect();
        temperatures_c.sort_by(f64::total_cmp);
        temperatures_c.dedup();
        let lstar = || readings.iter().map(|r| r.lstar);
        RehearsalReport {
            panel: panel.to_owned(),
            test_panel: test_panel.name.clone(),
            pages: chart.pages.len(),
            patches: chart.pages.iter().map(|p| p.patches.len()).sum(),
            readings: readings.len(),
            temperatures_c,
            darkest_lstar: lstar().fold(f64::INFINITY, f64::min),
            lightest_lstar: lstar().fold(f64::NEG_INFINITY, f64::max),
            starts_from_last: start == Start::Last,
            noise_lstar: instrument.repeatability_lstar,
            seed: instrument.seed,
            file,
        }
    }

    /// One JSON document, two spaces deep, newline at the end.
    pub fn to_json(&self) -> String {
        to_json(self)
    }

    fn noise_in_words(&self) -> String {
        if self.noise_lstar == 0.0 {
            return "none: the readings are exact".into();
        }
        let sd = number(self.noise_lstar, 3);
        format!("normal, standard deviation {sd} L*, seed {}", self.seed)
    }

    fn start_in_words(&self) -> &'static str {
        if self.starts_from_last {
            "each page from what the page before it left, the first from the fully dark panel"
        } else {
            "each page from the fully dark panel"
        }
    }
}

impl fmt::Display for RehearsalReport {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let title = "as the test panel shows it; no glass was driven";
        writeln!(f, "{}: the chart {title}\n", self.panel)?;
        let temperatures: Vec<String> = self.temperatures_c.iter().map(|t| number(*t, 2)).collect();
        let chart = format!(
            "{}, {}, {} at {} °C",
            count(self.pages, "page"),
            count(self.patches, "patch"),
            count(self.readings, "reading"),
            listed(&temperatures)
        );
        let range = format!("{:.2} to {:.2} L*", self.darkest_lstar, self.lightest_lstar);
        for (label, text) in [
            ("test panel", self.test_panel.as_str()),
            ("chart", &chart),
            ("start", self.start_in_words()),
            ("lightness", &range),
            ("noise", &self.noise_in_words()),
            ("written", &self.file),
        ] {
            f.write_str(&passage(label, text))?;
        }
        Ok(())
    }
}

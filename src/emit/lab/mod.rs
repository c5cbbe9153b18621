//! Waveforms of lines for the laboratory: what instruments and simulators read.

mod pwl;
mod samples;
mod vcd;

pub use pwl::{pwl_csv, pwl_sources};
pub use samples::{SampleOptions, samples_csv};
pub use vcd::vcd;

use super::lines::{Hold, Refresh, merged};
use crate::drive::Field;
use std::fmt;

/// Something whose voltage is asked for.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Probe {
    Row(usize),
    Column(usize),
    /// A row less a column.
    Pixel(usize, usize),
}

impl fmt::Display for Probe {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Probe::Row(row) => write!(f, "row_{row}"),
            Probe::Column(column) => write!(f, "column_{column}"),
            Probe::Pixel(row, column) => write!(f, "pixel_{row}_{column}"),
        }
    }
}

/// A refresh at one temperature.
#[derive(Debug, Clone)]
pub struct Lab<'a> {
    pub refresh: Refresh<'a>,
    pub temperature_c: f64,
    /// What the picture is, in words.
    pub picture: String,
}

/// From a moment, s, on a voltage, V.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Step {
    pub at_s: f64,
    pub v: f64,
}

impl Lab<'_> {
    /// Factor on every duration.
    pub fn stretch(&self) -> f64 {
        self.refresh.band.stretch_factor(self.temperature_c)
    }

    fn tick_s(&self, hold: &Hold) -> f64 {
        f64::from(hold.tick_us) * 1e-6 * self.stretch()
    }

    fn holds(&self, probe: Probe) -> Vec<Hold> {
        let holds = match probe {
            Probe::Row(row) => self.refresh.row(row),
            Probe::Column(column) => self.refresh.column(column),
            Probe::Pixel(row, column) => self.refresh.pixel(row, column),
        };
        merged(&holds)
    }

    /// Where its voltage changes, the first at 0 s.
    pub fn steps(&self, probe: Probe) -> Vec<Step> {
        let (mut steps, mut at_s): (Vec<Step>, f64) = (Vec::new(), 0.0);
        for hold in self.holds(probe) {
            if steps.last().is_none_or(|s| s.v != hold.v) {
                steps.push(Step { at_s, v: hold.v });
            }
            at_s += f64::from(hold.ticks) * self.tick_s(&hold);
        }
        steps
    }

    /// Of the whole refresh, with the resting balance where it is played, s.
    pub fn duration_s(&self) -> f64 {
        let rows = self.refresh.rows();
        let ticks = rows
            .iter()
            .map(|(_, h)| f64::from(h.ticks) * self.tick_s(h));
        ticks.sum()
    }

    /// The shortest time for which a line can keep a voltage, s.
    pub fn shortest_tick_s(&self) -> f64 {
        f64::from(self.refresh.tick_us()) * 1e-6 * self.stretch()
    }

    /// What it is, and the cautions; a line each.
    pub fn description(&self) -> Vec<String> {
        let panel = &self.refresh.set.panel;
        let fields: Vec<String> = self
            .refresh
            .band
            .fields
            .iter()
            .map(Field::in_words)
            .collect();
        let mut lines = vec![
            format!(
                "Panel \"{}\" at {} degree Celsius: {}; {}.",
                super::describe::plain_text(&panel.name),
                self.temperature_c,
                self.picture,
                fields.join("; ")
            ),
            format!(
                "Every duration times {}; {:.6} s in all. Voltages in V, row minus column on a pixel.",
                decimal(self.stretch(), 6),
                self.duration_s()
            ),
        ];
        let highest = self.highest_v();
        lines.push(format!(
            "CAUTION. Up to {highest} V on a line. Where people can touch the circuit, or a panel flashes,"
        ));
        lines.push(
            "follow the local codes and have licensed practice review the installation.".into(),
        );
        lines
    }

    /// [`Lab::description`], each line behind a sign that marks a comment.
    fn comments(&self, sign: &str) -> String {
        let lines = self.description();
        lines.iter().map(|l| format!("{sign} {l}\n")).collect()
    }

    fn highest_v(&self) -> f64 {
        let band = self.refresh.band;
        let strokes = band.erase.strokes.iter().map(|s| s.pixel_v.abs());
        let fields = band
            .fields
            .iter()
            .flat_map(|f| [f.select_v.abs(), f.data_v]);
        strokes.chain(fields).fold(0.0, f64::max)
    }
}

/// A time as text with so many decimals, without needless zeros.
fn decimal(x: f64, decimals: usize) -> String {
    let text = format!("{x:.decimals$}");
    let short = text.trim_end_matches('0').trim_end_matches('.');
    if short == "-0" {
        "0".into()
    } else {
        short.into()
    }
}

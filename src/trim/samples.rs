//! Readings of a verification chart as samples of each band: what was read against what the response predicts there.

use super::smooth::Sample;
use crate::design::climate::BandClimate;
use crate::design::correction::Frame;
use crate::error::{Error, InputError, Result};
use crate::project::{BAND_ERASE, Chart, Measured, Page, Panel, Patch, read_chart_of};
use crate::waveforms::{Band, Waveforms};
use std::path::{Path, PathBuf};

/// A chart of a finished set with its readings, and where both were read from.
#[derive(Debug, Clone)]
pub struct Verification {
    pub measured: Measured,
    pub chart_file: PathBuf,
    pub scans_file: PathBuf,
}

/// A page needs this many levels before their order can be judged.
const LEVELS_IN_ORDER: usize = 4;

impl Verification {
    /// Reads a chart of the levels of `set` and its readings; errs where either file is wrong.
    pub fn read(chart: &Path, scans: &Path, panel: &Panel, set: &Waveforms) -> Result<Self> {
        Ok(Verification {
            measured: Measured::of(read_chart_of(chart, panel, set)?, scans, panel)?,
            chart_file: chart.to_owned(),
            scans_file: scans.to_owned(),
        })
    }

    /// How many readings speak of each level of the set.
    pub fn readings_by_level(&self, set: &Waveforms) -> Vec<usize> {
        let mut counts = vec![0; set.levels];
        for reading in &self.measured.readings {
            let page = &self.measured.chart.pages[reading.page];
            let level = band_of(set, page).and_then(|b| level_of(b, &page.patches[reading.patch]));
            if let Some(level) = level {
                counts[level] += 1;
            }
        }
        counts
    }

    /// Errs where the readings have nothing to do with the levels of `set`.
    pub fn check(&self, set: &Waveforms) -> Result<()> {
        let pages = &self.measured.chart.pages;
        if !pages.iter().any(|p| p.erase.name == BAND_ERASE) {
            return Err(self.wrong_chart(format!(
                "a chart that verifies these waveforms: pages with the erase `{BAND_ERASE}`, as `greyloom chart PROJECT --waveforms W` \
                 writes them"
            )));
        }
        if self.readings_by_level(set).iter().all(|&n| n == 0) {
            return Err(self.wrong_chart(
                "patches with the ticks of a level of these waveforms, with readings: the chart belongs to another set, or \
                 no level was read"
                    .into(),
            ));
        }
        self.check_order(set)
    }

    fn wrong_chart(&self, expected: String) -> Error {
        Error::Input(InputError {
            file: self.chart_file.clone(),
            line: None,
            field: None,
            value: None,
            expected,
        })
    }

    /// Errs where the levels of a page were read in an order that runs against their lightness.
    fn check_order(&self, set: &Waveforms) -> Result<()> {
        let mut wrong = Vec::new();
        for (index, page) in self.measured.chart.pages.iter().enumerate() {
            let Some(band) = band_of(set, page) else {
                continue;
            };
            let here = self.measured.readings.iter().filter(|r| r.page == index);
            let read: Vec<(usize, f64, usize)> = here
                .filter_map(|r| {
                    let level = level_of(band, &page.patches[r.patch])?;
                    Some((level, r.lstar, r.line))
                })
                .collect();
            let mut levels: Vec<usize> = read.iter().map(|r| r.0).collect();
            levels.sort_unstable();
            levels.dedup();
            if levels.len() < LEVELS_IN_ORDER || concordance(&read) > 0.0 {
                continue;
            }
            let (_, lstar, line) = read.iter().copied().min_by_key(|r| r.0).unwrap_or_default();
            wrong.push(InputError {
                file: self.scans_file.clone(),
                line: Some(line),
                field: None,
                value: Some(format!("{lstar:.2} L*")),
                expected: format!(
                    "readings of page `{}` that rise with the level, darkest first: as they stand they don't; were patches \
                     swapped, the page turned round, or another page read?",
                    page.name
                ),
            });
        }
        if wrong.is_empty() {
            Ok(())
        } else {
            Err(Error::Inputs(wrong))
        }
    }
}

/// Kendall's tau of level and lightness, ties left out: 1 in order, −1 against it.
fn concordance(read: &[(usize, f64, usize)]) -> f64 {
    let (mut sum, mut pairs) = (0.0, 0.0);
    for (i, a) in read.iter().enumerate() {
        for b in read.iter().skip(i + 1).filter(|b| b.0 != a.0) {
            let along = (b.0 as f64 - a.0 as f64) * (b.1 - a.1);
            sum += along.signum();
            pairs += 1.0;
        }
    }
    if pairs > 0.0 { sum / pairs } else { 1.0 }
}

/// The band that a page of a verification chart drives.
pub fn band_of<'a>(set: &'a Waveforms, page: &Page) -> Option<&'a Band> {
    (page.erase.name == BAND_ERASE)
        .then(|| set.band_with(page.temperature_c, &page.fields))
        .flatten()
}

/// The level that a patch shows: in every zone of its rows, where rows have their ticks by zones.
pub fn level_of(band: &Band, patch: &Patch) -> Option<usize> {
    let ticks = band.row_ticks();
    let zones = ticks.zone_of(patch.row_first)..=ticks.zone_of(patch.row_last);
    let shows = |level: &usize| zones.clone().all(|z| ticks.table(z)[*level] == patch.ticks);
    (0..ticks.levels()).find(shows)
}

/// The samples of one band: every patch of its pages that was read, repeats merged; `left_out` holds readings, by index, that
/// don't count.
pub fn samples(
    verification: &Verification,
    predicted: &[Vec<f64>],
    left_out: &[usize],
    band: (&Band, &Frame),
    set: &Waveforms,
    panel: &Panel,
) -> Vec<Sample> {
    let chart: &Chart = &verification.measured.chart;
    let u_lstar = panel.instrument.repeatability_lstar;
    let mut all = Vec::new();
    for (index, page) in chart.pages.iter().enumerate() {
        if !band_of(set, page).is_some_and(|b| std::ptr::eq(b, band.0)) {
            continue;
        }
        let mut read: Vec<(f64, usize)> = vec![(0.0, 0); page.patches.len()];
        let readings = verification.measured.readings.iter().enumerate();
        for (_, r) in readings.filter(|(i, r)| r.page == index && !left_out.contains(i)) {
            read[r.patch].0 += r.lstar;
            read[r.patch].1 += 1;
        }
        for (at, (sum, count)) in read.into_iter().enumerate().filter(|(_, r)| r.1 > 0) {
            let patch = &page.patches[at];
            let row = 0.5 * (patch.row_first + patch.row_last) as f64;
            let content = content(page, at, band.1, panel.rows);
            all.push(Sample {
                predicted_lstar: predicted[index][at],
                terms: band.1.terms(row, content, page.temperature_c, &patch.ticks),
                difference_lstar: sum / count as f64 - predicted[index][at],
                u_lstar: u_lstar / (count as f64).sqrt(),
            });
        }
    }
    all
}

/// What the other rows of a patch's columns show, −1 lightest … 1 darkest.
fn content(page: &Page, at: usize, frame: &Frame, rows: usize) -> f64 {
    let here = &page.patches[at];
    let fill = frame.content(&page.fill_ticks);
    let columns = (here.column_last + 1 - here.column_first) as f64;
    let overlap = |p: &Patch| {
        let first = p.column_first.max(here.column_first);
        let end = (p.column_last + 1).min(here.column_last + 1);
        end.saturating_sub(first) as f64 / columns
    };
    let height = |p: &Patch| (p.row_last + 1 - p.row_first) as f64;
    let mut sum = fill * rows as f64;
    for patch in &page.patches {
        let share = overlap(patch);
        if share > 0.0 {
            sum += share * height(patch) * (frame.content(&patch.ticks) - fill);
        }
    }
    // Its own row is not another's.
    (sum - frame.content(&here.ticks)) / (rows.max(2) - 1) as f64
}

/// The frame of a band of a set.
pub fn frame_of(band: &Band, panel: &Panel) -> Frame {
    Frame::new(
        panel.rows,
        &BandClimate::of(band, &panel.drivers),
        &band.fields,
    )
}

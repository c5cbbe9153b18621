//! The project folder as a whole.

use super::types::*;
use super::{read_chart, read_panel, read_scans, read_trains};
use crate::error::{Error, InputError, Result};
use std::fmt;
use std::path::{Path, PathBuf};

const SCANS: &str = "scans.csv";
const HOLDOUT_SCANS: &str = "holdout-scans.csv";

/// Something odd in a project that does not keep it from being used.
#[derive(Debug, Clone, PartialEq)]
pub enum Warning {
    /// A patch on the chart that no reading speaks of.
    Unread(Unread),
    /// A page read at a temperature outside the panel's limits.
    Temperature {
        page: String,
        temperature_c: f64,
        min_c: f64,
        max_c: f64,
    },
    /// Repeats of one patch that differ by far more than the instrument's repeatability.
    Repeats {
        scans: String,
        page: String,
        patch: String,
        /// Where the two that differ most stand.
        lines: (usize, usize),
        apart_lstar: f64,
        repeatability_lstar: f64,
    },
}

impl fmt::Display for Warning {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Warning::Unread(unread) => write!(
                f,
                "page `{}`, patch `{}`: no reading in {}",
                unread.page, unread.patch, unread.scans
            ),
            Warning::Repeats {
                scans,
                page,
                patch,
                lines: (first, second),
                apart_lstar,
                repeatability_lstar,
            } => write!(
                f,
                "page `{page}`, patch `{patch}`: lines {first} and {second} of {scans} differ by {apart_lstar:.2} L*, and a reading \
                 carries {repeatability_lstar} L*: was another patch read, or the panel refreshed between?"
            ),
            Warning::Temperature {
                page,
                temperature_c,
                min_c,
                max_c,
            } => {
                write!(
                    f,
                    "page `{page}`: {temperature_c} °C lies outside the panel's limits, {min_c} to {max_c} °C"
                )
            }
        }
    }
}

impl Project {
    /// Reads and checks a project folder: `panel.toml`, `chart.csv`, `scans.csv`, and where they are present `cell.csv` and
    /// the pair `holdout-chart.csv`, `holdout-scans.csv`. Errs with every wrong place of the first file that has one.
    pub fn read(dir: &Path) -> Result<Project> {
        std::fs::read_dir(dir).map_err(|e| Error::file(dir, "read the project folder", e))?;
        let panel = read_panel(&dir.join("panel.toml"))?;
        let measured = Measured::read(&dir.join("chart.csv"), &dir.join(SCANS), &panel)?;
        let holdout = read_holdout(dir, &panel)?;
        let cell = dir.join("cell.csv");
        let trains = if present(&cell)? {
            read_trains(&cell)?
        } else {
            Vec::new()
        };
        let held_out = holdout.iter().flat_map(|h| h.unread(HOLDOUT_SCANS));
        let unread = measured.unread(SCANS).into_iter().chain(held_out).collect();
        Ok(Project {
            folder: dir.to_owned(),
            panel,
            measured,
            holdout,
            trains,
            unread,
        })
    }

    /// Patches without a reading, pages outside the panel's temperatures, repeats that don't agree.
    pub fn warnings(&self) -> Vec<Warning> {
        let limits = &self.panel.limits;
        let (min_c, max_c) = (limits.temperature_min_c, limits.temperature_max_c);
        let pages = std::iter::once(&self.measured)
            .chain(&self.holdout)
            .flat_map(|m| &m.chart.pages);
        let outside = pages
            .filter(|page| page.temperature_c < min_c || page.temperature_c > max_c)
            .map(|page| Warning::Temperature {
                page: page.name.clone(),
                temperature_c: page.temperature_c,
                min_c,
                max_c,
            });
        self.unread
            .iter()
            .cloned()
            .map(Warning::Unread)
            .chain(outside)
            .chain(self.repeats_apart())
            .collect()
    }
}

impl Project {
    fn repeats_apart(&self) -> impl Iterator<Item = Warning> + '_ {
        let instrument = &self.panel.instrument;
        let held_out = self.holdout.iter();
        let held_out = held_out.flat_map(|h| h.repeats_apart(HOLDOUT_SCANS, instrument));
        let own = self.measured.repeats_apart(SCANS, instrument);
        own.into_iter().chain(held_out)
    }
}

impl Measured {
    fn read(chart: &Path, scans: &Path, panel: &Panel) -> Result<Measured> {
        let chart = read_chart(chart, panel)?;
        Measured::of(chart, scans, panel)
    }

    /// A chart with its readings in the file `scans`. Errs where those are wrong, or the instrument saturated.
    pub fn of(chart: Chart, scans: &Path, panel: &Panel) -> Result<Measured> {
        let readings = read_scans(scans, &chart)?;
        let measured = Measured { chart, readings };
        measured.check_saturation(scans, &panel.instrument)?;
        Ok(measured)
    }

    /// Patches that no reading of the file `scans` speaks of, in the order of the chart.
    fn unread(&self, scans: &'static str) -> Vec<Unread> {
        let mut read: Vec<Vec<bool>> = self
            .chart
            .pages
            .iter()
            .map(|p| vec![false; p.patches.len()])
            .collect();
        for reading in &self.readings {
            if let Some(patch) = read
                .get_mut(reading.page)
                .and_then(|page| page.get_mut(reading.patch))
            {
                *patch = true;
            }
        }
        let pages = self.chart.pages.iter().zip(read);
        let patches = pages.flat_map(|(page, read)| {
            page.patches
                .iter()
                .zip(read)
                .map(move |(patch, r)| (page, patch, r))
        });
        patches
            .filter(|(_, _, read)| !read)
            .map(|(page, patch, _)| Unread {
                scans,
                page: page.name.clone(),
                patch: patch.name.clone(),
            })
            .collect()
    }
}

fn read_holdout(dir: &Path, panel: &Panel) -> Result<Option<Measured>> {
    let (chart, scans) = (dir.join("holdout-chart.csv"), dir.join(HOLDOUT_SCANS));
    match (present(&chart)?, present(&scans)?) {
        (false, false) => Ok(None),
        (true, true) => Measured::read(&chart, &scans, panel).map(Some),
        (true, false) => Err(alone(scans, "holdout-chart.csv")),
        (false, true) => Err(alone(chart, HOLDOUT_SCANS)),
    }
}

fn alone(missing: PathBuf, other: &str) -> Error {
    let expected = format!(
        "this file beside `{other}`: held-out pages need their chart and their scans, or neither"
    );
    Error::Inputs(vec![InputError {
        file: missing,
        line: None,
        field: None,
        value: None,
        expected,
    }])
}

fn present(path: &Path) -> Result<bool> {
    path.try_exists()
        .map_err(|e| Error::file(path, "look for this file", e))
}

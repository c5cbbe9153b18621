//! The laboratory's part of `greyloom emit`: waveforms of lines for viewers, simulators and generators.

use super::arguments;
use super::picture::PatternName;
use super::preview::serving;
use crate::emit::lab::{Lab, Probe, SampleOptions, pwl_csv, pwl_sources, samples_csv, vcd};
use crate::emit::lines::{Refresh, check_size};
use crate::error::{Error, Result};
use crate::panel::Levels;
use crate::picture::{Dither, Fitting, Pattern, read_picture, scaled, to_levels};
use crate::waveforms::{Band, Waveforms};
use std::path::PathBuf;

/// Most lines of one list.
const LINES_MAX: usize = 64;

/// Which line, in which picture, at which temperature
#[derive(Debug, clap::Args)]
#[command(next_help_heading = "Laboratory: vcd, pwl, samples")]
pub(super) struct LabArguments {
    /// Rows, several with commas between, from 0
    #[arg(long, value_name = "ROW", value_delimiter = ',', default_value = "0")]
    row: Vec<usize>,
    /// Columns, several with commas between, from 0
    #[arg(
        long,
        value_name = "COLUMN",
        value_delimiter = ',',
        default_value = "0"
    )]
    column: Vec<usize>,
    /// Every pixel shows this level [default: 0, the darkest]
    #[arg(long, value_name = "LEVEL", conflicts_with_all = ["pattern", "picture"])]
    level: Option<usize>,
    /// The panel shows a built-in picture
    #[arg(long, value_enum, value_name = "NAME", conflicts_with = "picture")]
    pattern: Option<PatternName>,
    /// The panel shows a PNG, JPEG or TIFF, by the nearest levels
    #[arg(long, value_name = "FILE")]
    picture: Option<PathBuf>,
    /// Temperature, °C [default: that for which the middle band is designed]
    #[arg(long, value_name = "T", allow_negative_numbers = true, value_parser = arguments::temperature_c)]
    temperature: Option<f64>,
    /// With the resting balance, where the band asks for it
    #[arg(long)]
    balance: bool,
    /// Samples a second, with its unit: 10kHz, 2500Hz
    #[arg(long, value_name = "RATE", default_value = "10kHz", value_parser = hertz)]
    rate: f64,
    /// Voltage that a sample of 1 gives on the cell, V
    #[arg(long, value_name = "V", default_value = "20", value_parser = arguments::cell_v)]
    full_scale: f64,
    /// Most samples that the generator holds
    #[arg(long, value_name = "N", default_value = "1000000", value_parser = samples)]
    samples: usize,
}

/// A form for the laboratory.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum LabForm {
    Vcd,
    Pwl,
    Samples,
}

impl LabArguments {
    /// Files of the forms.
    pub fn files(
        &self,
        forms: &[LabForm],
        set: &Waveforms,
    ) -> Result<Vec<(&'static str, Vec<u8>)>> {
        if forms.is_empty() {
            return Ok(Vec::new());
        }
        let set = &set.rounded();
        check_size(set)?;
        self.check(set)?;
        let (band, temperature_c) = self.band(set)?;
        let levels = self.levels(set, band)?;
        let picture = Levels {
            columns: set.panel.columns,
            levels: &levels,
        };
        let lab = Lab {
            refresh: Refresh::new(set, band, picture, self.balance),
            temperature_c,
            picture: self.picture_in_words(),
        };
        let mut files = Vec::new();
        for form in forms {
            files.extend(self.form(*form, &lab)?);
        }
        Ok(files)
    }

    fn form(&self, form: LabForm, lab: &Lab) -> Result<Vec<(&'static str, Vec<u8>)>> {
        let rows = self.row.iter().map(|r| Probe::Row(*r));
        let columns = self.column.iter().map(|c| Probe::Column(*c));
        let lines: Vec<Probe> = rows.chain(columns).collect();
        let texts = match form {
            LabForm::Vcd => {
                let of_row = |r: &usize| {
                    self.column
                        .iter()
                        .map(|c| Probe::Pixel(*r, *c))
                        .collect::<Vec<_>>()
                };
                let pixels: Vec<Probe> = self.row.iter().flat_map(of_row).collect();
                vec![("lines.vcd", vcd(lab, &[lines, pixels].concat()))]
            }
            LabForm::Pwl => vec![
                ("lines.cir", pwl_sources(lab, &lines)),
                ("lines.csv", pwl_csv(lab, &lines)),
            ],
            LabForm::Samples => {
                let options = SampleOptions {
                    rate_hz: self.rate,
                    full_scale_v: self.full_scale,
                    samples_max: self.samples,
                };
                let pixel = (self.row[0], self.column[0]);
                vec![("samples.csv", samples_csv(lab, pixel, &options)?)]
            }
        };
        Ok(texts
            .into_iter()
            .map(|(name, text)| (name, text.into_bytes()))
            .collect())
    }

    fn check(&self, set: &Waveforms) -> Result<()> {
        let panel = &set.panel;
        for (option, list, count) in [
            ("--row", &self.row, panel.rows),
            ("--column", &self.column, panel.columns),
        ] {
            if list.len() > LINES_MAX {
                let told = format!(
                    "{option}: {} lines; expected at most {LINES_MAX}",
                    list.len()
                );
                return Err(Error::Usage(told));
            }
            let repeated = |(i, line): (usize, &usize)| list[..i].contains(line).then_some(*line);
            if let Some(line) = list.iter().enumerate().find_map(repeated) {
                return Err(Error::Usage(format!(
                    "{option} {line}: expected each line once"
                )));
            }
            if let Some(line) = list.iter().find(|line| **line >= count) {
                let told = format!(
                    "{option} {line}: expected 0 to {}, the lines of this panel",
                    count - 1
                );
                return Err(Error::Usage(told));
            }
        }
        match self.level.filter(|level| *level >= set.levels) {
            Some(level) => Err(Error::Usage(format!(
                "--level {level}: expected 0 to {}, the levels of these waveforms",
                set.levels - 1
            ))),
            None => Ok(()),
        }
    }

    fn band<'a>(&self, set: &'a Waveforms) -> Result<(&'a Band, f64)> {
        match self.temperature {
            Some(t) => Ok((serving(set, t)?, t)),
            None => {
                let band = &set.bands[set.bands.len() / 2];
                Ok((band, band.temperature_c.design))
            }
        }
    }

    fn levels(&self, set: &Waveforms, band: &Band) -> Result<Vec<u16>> {
        let (rows, columns) = (set.panel.rows, set.panel.columns);
        if let Some(file) = &self.picture {
            let picture = scaled(&read_picture(file)?, rows, columns, Fitting::Cover);
            return Ok(to_levels(&picture, band.targets(set), Dither::None).levels);
        }
        let Some(name) = self.pattern else {
            return Ok(vec![self.level.unwrap_or(0) as u16; rows * columns]);
        };
        let pattern = match name {
            PatternName::Ramp => Pattern::Ramp,
            PatternName::Bars => Pattern::Bars,
            PatternName::Checker => Pattern::Checker,
            PatternName::Window => Pattern::Window,
            PatternName::Text => Pattern::Text,
            PatternName::Pull => {
                return Err(Error::Usage(
                    "--pattern pull: expected one of the others; `greyloom preview` finds that one from the response".into(),
                ));
            }
        };
        Ok(pattern.drawn(rows, columns, set.levels).levels)
    }

    fn picture_in_words(&self) -> String {
        match (&self.picture, self.pattern) {
            (Some(_), _) => "a picture file".into(),
            (None, Some(name)) => format!("the pattern {name:?}").to_lowercase(),
            (None, None) => format!("all pixels at level {}", self.level.unwrap_or(0)),
        }
    }
}

/// A frequency with its unit.
fn hertz(text: &str) -> std::result::Result<f64, String> {
    const MOST_HZ: f64 = 1e9;
    let text = text.trim();
    let units = [("MHz", 1e6), ("kHz", 1e3), ("Hz", 1.0)];
    let split = units
        .iter()
        .find_map(|(unit, hz)| Some((text.strip_suffix(unit)?, hz)));
    let number = split.and_then(|(digits, hz)| Some(arguments::above_zero(digits).ok()? * hz));
    number.filter(|hz| *hz <= MOST_HZ).ok_or_else(|| {
        "expected a rate with its unit, such as 10kHz or 2500Hz, at most 1000MHz".to_owned()
    })
}

fn samples(text: &str) -> std::result::Result<usize, String> {
    const MOST: usize = 16_777_216;
    let number = text.trim().parse().ok().filter(|n| (1..=MOST).contains(n));
    number.ok_or_else(|| format!("expected a whole number from 1 to {MOST}"))
}

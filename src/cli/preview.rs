//! `greyloom preview`: what the panel will look like.

use super::{arguments, say};
use crate::draw::{RampBand, ramp_png};
use crate::error::{Error, Result};
use crate::output;
use crate::waveforms::{Band, Waveforms};
use std::path::PathBuf;

pub(super) const RAMP: &str = "ramp.png";

/// Draw the grey ramp of a finished set of waveforms as the panel will show it
#[derive(Debug, clap::Args)]
pub(super) struct Arguments {
    /// A waveforms.json
    #[arg(value_name = "W")]
    waveforms: PathBuf,
    /// PNG to write [default: ramp.png beside W; with --temperature, ramp-<T>C.png]
    #[arg(long, value_name = "FILE")]
    out: Option<PathBuf>,
    /// Only the band that serves this temperature, °C
    #[arg(long, value_name = "T", allow_negative_numbers = true, value_parser = arguments::temperature_c)]
    temperature: Option<f64>,
    /// The tolerance to draw, in steps of the ladder: above 0, at most 0.5; as given to fit
    #[arg(long, value_name = "STEPS", default_value_t = arguments::TOLERANCE_STEPS, allow_negative_numbers = true, value_parser = arguments::tolerance_steps)]
    tolerance: f64,
    /// Replace a file that this program did not write, or that was edited since
    #[arg(long)]
    force: bool,
}

pub(super) fn run(arguments: &Arguments) -> Result<()> {
    let set = Waveforms::read(&arguments.waveforms)?;
    let bands: Vec<&Band> = match arguments.temperature {
        Some(t) => vec![serving(&set, t)?],
        None => set.bands.iter().collect(),
    };
    let out = arguments.out.clone().unwrap_or_else(|| {
        let name = arguments
            .temperature
            .map_or(RAMP.to_owned(), |t| format!("ramp-{t}C.png"));
        arguments.waveforms.with_file_name(name)
    });
    output::check_file(&out, arguments.force)?;
    output::write_file(
        &out,
        ramp(&set, &bands, arguments.tolerance)?,
        arguments.force,
    )?;
    say(&format!("{}\n", out.display()))
}

fn serving(set: &Waveforms, temperature_c: f64) -> Result<&Band> {
    set.band_at(temperature_c).ok_or_else(|| {
        let low = set.bands.first().map_or(f64::NAN, |b| b.temperature_c.low);
        let high = set.bands.last().map_or(f64::NAN, |b| b.temperature_c.high);
        Error::Usage(format!(
            "--temperature {temperature_c}: no band serves it; expected {low} to {high} °C, the range of these waveforms"
        ))
    })
}

/// The ramp of some bands of a set.
pub(super) fn ramp(set: &Waveforms, bands: &[&Band], tolerance_steps: f64) -> Result<Vec<u8>> {
    let drawn: Vec<RampBand> = bands.iter().map(|band| RampBand::of(set, band)).collect();
    let title = format!("{}: {} levels", set.panel.name, set.levels);
    let caption = "Predicted lightness, L*, of each level; bars from the lowest to the highest that any content, row and temperature of the band can make it.";
    ramp_png(&drawn, tolerance_steps, &title, caption)
}

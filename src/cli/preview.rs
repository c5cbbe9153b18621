//! `greyloom preview`: what the panel will look like.

use super::picture::{DitherName, FittingName, PatternName};
use super::{arguments, picture, say};
use crate::draw::{RampBand, ramp_png};
use crate::error::{Error, Result};
use crate::output;
use crate::waveforms::{Band, Waveforms};
use std::path::PathBuf;

pub(super) const RAMP: &str = "ramp.png";

/// Draw what a finished set of waveforms makes the panel show: its grey ramp, a picture or a pattern
#[derive(Debug, clap::Args)]
pub(super) struct Arguments {
    /// A waveforms.json; for pictures and patterns with the response.json and panel.toml beside it
    #[arg(value_name = "W")]
    pub waveforms: PathBuf,
    /// PNG, JPEG or TIFF to drive: every pixel with its own column, row, lines and past
    #[arg(long, value_name = "FILE", conflicts_with = "pattern")]
    pub picture: Option<PathBuf>,
    /// Built-in picture that shows faults
    #[arg(long, value_enum, value_name = "NAME")]
    pub pattern: Option<PatternName>,
    /// Picture that stood there before [default: the fully dark panel]
    #[arg(long, value_name = "FILE")]
    pub from: Option<PathBuf>,
    /// How greys between levels are shown
    #[arg(long, value_enum, value_name = "HOW", default_value_t = DitherName::None)]
    pub dither: DitherName,
    /// What becomes of a picture of other proportions
    #[arg(long, value_enum, value_name = "HOW", default_value_t = FittingName::Cover)]
    pub fit: FittingName,
    /// Picture pixels to a pixel of the panel, 1 to 32 [default: so that the panel is easily seen]
    #[arg(long, value_name = "N", allow_negative_numbers = true, value_parser = arguments::magnify)]
    pub magnify: Option<usize>,
    /// Folder whose panel.toml describes the panel [default: that of W]
    #[arg(long, value_name = "PROJECT")]
    pub project: Option<PathBuf>,
    /// PNG to write [default: ramp.png beside W, ramp-<T>C.png with --temperature; shown-<NAME>.png for a picture or pattern]
    #[arg(long, value_name = "FILE")]
    pub out: Option<PathBuf>,
    /// Temperature, °C: the ramp of the band that serves it, or the picture there [default: all bands; a picture, the middle band]
    #[arg(long, value_name = "T", allow_negative_numbers = true, value_parser = arguments::temperature_c)]
    pub temperature: Option<f64>,
    /// The tolerance to draw, in steps of the ladder: above 0, at most 0.5; as given to fit
    #[arg(long, value_name = "STEPS", default_value_t = arguments::TOLERANCE_STEPS, allow_negative_numbers = true, value_parser = arguments::tolerance_steps)]
    pub tolerance: f64,
    /// Replace a file that this program did not write, or that was edited since
    #[arg(long)]
    pub force: bool,
    /// Threads to work on [default: one a core]; the result is the same
    #[arg(long, value_name = "N", allow_negative_numbers = true, value_parser = arguments::threads)]
    pub threads: Option<usize>,
}

pub(super) fn run(arguments: &Arguments) -> Result<()> {
    if arguments.picture.is_some() || arguments.pattern.is_some() {
        return picture::run(arguments);
    }
    if arguments.from.is_some() {
        return Err(Error::Usage(
            "--from: expected with --picture or --pattern; the ramp has no picture before it"
                .into(),
        ));
    }
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

pub(super) fn serving(set: &Waveforms, temperature_c: f64) -> Result<&Band> {
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

//! `greyloom verify-image`: reads a binary table back, checks it, compares it with its waveforms.

use super::tell;
use crate::emit::{Built, TableOptions, Tables, read_image};
use crate::error::{Error, InputError, Result};
use crate::report::ImageReport;
use crate::waveforms::Waveforms;
use std::fs::File;
use std::io::Read;
use std::path::{Path, PathBuf};

/// Largest image, bytes: 16 MiB.
const BYTES_MAX: u64 = 16 << 20;
/// Differences named in one go; more would only hide the first.
const DIFFERENCES_MAX: usize = 20;

/// Read a binary table back, check it and print what it holds; compare it with its waveforms
#[derive(Debug, clap::Args)]
pub(super) struct Arguments {
    /// A table.bin
    #[arg(value_name = "FILE")]
    image: PathBuf,
    /// The waveforms.json that it should hold
    #[arg(long, value_name = "W")]
    waveforms: Option<PathBuf>,
    /// Print one JSON document in place of the summary
    #[arg(long)]
    json: bool,
}

pub(super) fn run(arguments: &Arguments) -> Result<()> {
    let bytes = read(&arguments.image)?;
    let (tables, notes) = read_image(&bytes).map_err(|e| wrong(&arguments.image, e.to_string()))?;
    if let Some(file) = &arguments.waveforms {
        compare(&arguments.image, &tables, file)?;
    }
    let report = ImageReport {
        file: arguments.image.display().to_string(),
        bytes: bytes.len(),
        waveforms: arguments
            .waveforms
            .as_ref()
            .map(|w| w.display().to_string()),
        tables: &tables,
        notes: &notes,
    };
    tell(arguments.json, || report.to_json(), &report)
}

fn read(path: &Path) -> Result<Vec<u8>> {
    let cannot = |e| Error::file(path, "read the image", e);
    let mut bytes = Vec::new();
    let file = File::open(path).map_err(cannot)?;
    file.take(BYTES_MAX + 1)
        .read_to_end(&mut bytes)
        .map_err(cannot)?;
    if bytes.len() as u64 > BYTES_MAX {
        return Err(wrong(
            path,
            format!("more than {} MiB: expected an image", BYTES_MAX >> 20),
        ));
    }
    Ok(bytes)
}

/// `told` says what was found and what was expected.
fn wrong(path: &Path, told: String) -> Error {
    let (found, expected) = told
        .split_once(": expected ")
        .unwrap_or((&told, "an image as this program writes it"));
    Error::Input(InputError {
        file: path.to_owned(),
        line: None,
        field: None,
        value: Some(found.to_owned()),
        expected: expected.to_owned(),
    })
}

/// Errs with every place where an image does not hold what a set makes with the image's own codes and hysteresis.
fn compare(image: &Path, tables: &Tables, file: &Path) -> Result<()> {
    let set = Waveforms::read(file)?;
    let options = TableOptions {
        hysteresis_c: f64::from(tables.hysteresis_16) / 16.0,
        codes: None,
    };
    let mut expected = Built::of(&set, &options)?.tables;
    for (found, own) in [
        (&tables.row_rails, &mut expected.row_rails),
        (&tables.column_rails, &mut expected.column_rails),
    ] {
        // Codes are the driver's, not the set's.
        if found.iter().map(|r| r.mv).eq(own.iter().map(|r| r.mv)) {
            own.clone_from(found);
        }
    }
    let all = tables.differences(&expected);
    let listed = all.iter().take(DIFFERENCES_MAX).map(|d| InputError {
        file: image.to_owned(),
        line: None,
        field: Some(d.path.clone()),
        value: Some(d.found.clone()),
        expected: format!("{}, as {} makes it", d.expected, file.display()),
    });
    let mut listed: Vec<InputError> = listed.collect();
    if all.is_empty() {
        return Ok(());
    }
    if all.len() > DIFFERENCES_MAX {
        listed.push(InputError {
            file: image.to_owned(),
            line: None,
            field: None,
            value: None,
            expected: format!(
                "these {DIFFERENCES_MAX} places to be as the waveforms make them, and {} more",
                all.len() - DIFFERENCES_MAX
            ),
        });
    }
    Err(Error::Inputs(listed))
}

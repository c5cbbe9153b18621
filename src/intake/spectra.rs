//! Spectra to readings: luminous reflectance and colour, drift taken off, cover and geometry corrected.

use super::correction::corrected_lstar;
use super::drift::{DRIFT_MAX_LSTAR, Drift};
use super::scan::PatchUncertainty;
use super::session::Taken;
use super::spectra_file::{Measured, SpectraFile, Target};
use crate::error::{Error, InputError, Result};
use crate::project::limits::LSTAR;
use crate::project::{Chart, Instrument};
use crate::tone::lightness::{lstar_from_reflectance, lstar_slope, reflectance_from_lstar};
use crate::tone::spectra::Lab;
use std::collections::BTreeMap;
use std::path::Path;

/// Distance in a*, b* between greys from which they are said to drift in hue (common practice, no source).
pub const HUE_DRIFT: f64 = 2.0;

/// The colour of a patch's reading.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Coloured {
    pub page: usize,
    pub patch: usize,
    pub lab: Lab,
}

/// What the spectra of one file give.
pub struct FromSpectra {
    pub taken: Vec<Taken>,
    pub colours: Vec<Coloured>,
    /// Of each reference that was read often enough, by name.
    pub drifts: Vec<(String, Drift)>,
}

/// Turns a file's spectra into readings; the order of the file is that of the session. `bandpass` corrects for an instrument whose
/// bandpass is as wide as its steps.
///
/// # Errors
/// [`Error::Input`] where the reference moved by more than [`DRIFT_MAX_LSTAR`], or a correction leaves no reflectance.
pub fn from_spectra(
    path: &Path,
    file: &SpectraFile,
    instrument: &Instrument,
    chart: &Chart,
    bandpass: bool,
) -> Result<FromSpectra> {
    let lab = |m: &Measured| match bandpass {
        true => m.spectrum.without_bandpass().lab(instrument.illuminant),
        false => m.spectrum.lab(instrument.illuminant),
    };
    let labs: Vec<Lab> = file.spectra.iter().map(lab).collect();
    let drifts = drifts(path, file, &labs)?;
    let drift = drifts.iter().map(|d| d.1).find(|d| d.significant);
    let (mut taken, mut colours) = (Vec::new(), Vec::new());
    for (place, (measured, lab)) in file.spectra.iter().zip(labs).enumerate() {
        let Target::Patch { page, patch } = measured.target else {
            continue;
        };
        let (gain, gain_u) = drift.map_or((1.0, 0.0), |d| d.gain(place as f64));
        let read = reflectance_from_lstar(lab.lstar) * gain;
        let value = corrected_lstar(lstar_from_reflectance(read), instrument);
        check(path, measured, chart, read, value.lstar)?;
        let drift_u = gain_u * read * lstar_slope(read);
        taken.push(Taken {
            page,
            patch,
            lstar: value.lstar,
            u: PatchUncertainty {
                repeatability: instrument.repeatability_lstar * value.factor,
                ..PatchUncertainty::default()
            },
            correction_lstar: value.u_lstar.hypot(drift_u * value.factor),
            from: format!("{}, line {}", path.display(), measured.line),
        });
        colours.push(Coloured { page, patch, lab });
    }
    Ok(FromSpectra {
        taken,
        colours,
        drifts,
    })
}

fn check(path: &Path, measured: &Measured, chart: &Chart, read: f64, lstar: f64) -> Result<()> {
    if LSTAR.contains(lstar) {
        return Ok(());
    }
    let named = match measured.target {
        Target::Patch { page, patch } => {
            let page = &chart.pages[page];
            format!("page {}, patch {}", page.name, page.patches[patch].name)
        }
        Target::Reference(ref name) => name.clone(),
    };
    Err(Error::Input(InputError {
        file: path.to_owned(),
        line: Some(measured.line),
        field: None,
        value: Some(format!("reflectance {read:.4} of {named}")),
        expected: format!(
            "a reading that the cover and the geometry of panel.toml leave something of; they make it {lstar:.2} L*"
        ),
    }))
}

fn drifts(path: &Path, file: &SpectraFile, labs: &[Lab]) -> Result<Vec<(String, Drift)>> {
    let mut references: BTreeMap<&str, Vec<(f64, f64)>> = BTreeMap::new();
    for (place, (measured, lab)) in file.spectra.iter().zip(labs).enumerate() {
        if let Target::Reference(name) = &measured.target {
            references
                .entry(name)
                .or_default()
                .push((place as f64, lab.lstar));
        }
    }
    let mut drifts = Vec::new();
    for (name, readings) in references {
        let Some(drift) = Drift::of(&readings, file.spectra.len()) else {
            continue;
        };
        if drift.significant && drift.total_lstar.abs() > DRIFT_MAX_LSTAR {
            return Err(Error::Input(InputError {
                file: path.to_owned(),
                line: None,
                field: Some(format!("reference/{name}")),
                value: Some(format!(
                    "a drift of {:+.2} L* over the session",
                    drift.total_lstar
                )),
                expected: format!(
                    "at most {DRIFT_MAX_LSTAR} L*, which a straight line takes off: let the instrument warm up, calibrate it and read again"
                ),
            }));
        }
        drifts.push((name.to_owned(), drift));
    }
    Ok(drifts)
}

/// The two readings whose greys differ most in a*, b*, and by how much.
pub fn widest_hue(colours: &[Coloured]) -> Option<(Coloured, Coloured, f64)> {
    let apart = |a: &Coloured, b: &Coloured| (a.lab.a - b.lab.a).hypot(a.lab.b - b.lab.b);
    // The widest pair has one end farthest from the middle.
    let n = colours.len().max(1) as f64;
    let middle = Coloured {
        page: 0,
        patch: 0,
        lab: Lab {
            lstar: 0.0,
            a: colours.iter().map(|c| c.lab.a).sum::<f64>() / n,
            b: colours.iter().map(|c| c.lab.b).sum::<f64>() / n,
        },
    };
    let farthest = |from: &Coloured| {
        let off = |c: &&Coloured| apart(from, c);
        colours
            .iter()
            .max_by(|a, b| off(a).total_cmp(&off(b)))
            .copied()
    };
    let first = farthest(&middle)?;
    let second = farthest(&first)?;
    Some((first, second, apart(&first, &second)))
}

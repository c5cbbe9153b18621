//! `greyloom intake spectra`: spectra of patches to readings.

use super::super::talk::Talk;
use super::super::{on_threads, tell};
use super::{Place, unread};
use crate::error::Result;
use crate::intake::correction::is_45_0;
use crate::intake::drift::Drift;
use crate::intake::session::Session;
use crate::intake::spectra::{Coloured, HUE_DRIFT, from_spectra, widest_hue};
use crate::intake::spectra_file::{Scale, SpectraFile, read_spectra};
use crate::output;
use crate::project::{Chart, Panel, scans_csv};
use crate::report::IntakeReport;
use std::path::{Path, PathBuf};

/// Parts of the ramp whose colour is told.
const PARTS: usize = 6;

/// Read reflectance spectra: CSV with page, patch and one column a wavelength, or ISO 28178 text
#[derive(Debug, clap::Args)]
pub(in crate::cli) struct Arguments {
    /// Files of spectra; page `reference` names a tile that is read again and again, whose drift is taken off
    #[arg(value_name = "FILE", required = true)]
    files: Vec<PathBuf>,
    #[command(flatten)]
    place: Place,
    /// Correct for an instrument whose bandpass is as wide as its steps
    #[arg(long)]
    bandpass: bool,
}

pub(super) fn run(arguments: &Arguments) -> Result<()> {
    on_threads(arguments.place.how.threads, || read(arguments))
}

fn read(arguments: &Arguments) -> Result<()> {
    let talk = Talk::new();
    let place = &arguments.place;
    let (panel, chart) = place.read()?;
    place.named()?;
    output::check_file(&place.out, place.how.force)?;
    let (mut taken, mut colours, mut notes) = (Vec::new(), Vec::new(), Vec::new());
    for path in &arguments.files {
        talk.step(&format!("reading {}", path.display()));
        let file = read_spectra(path, &chart)?;
        let found = from_spectra(path, &file, &panel.instrument, &chart, arguments.bandpass)?;
        notes.push(("file".to_owned(), of_file(path, &file)));
        notes.extend(
            found
                .drifts
                .iter()
                .map(|d| ("drift".to_owned(), of_drift(d))),
        );
        taken.extend(found.taken);
        colours.extend(found.colours);
    }
    let session = Session::of(&taken, &chart, &panel.instrument);
    let source = format!(
        "readings from {} spectra, CIE 1931 2°, {:?}, ASTM E308{}",
        taken.len(),
        panel.instrument.illuminant,
        if arguments.bandpass {
            ", bandpass corrected"
        } else {
            ""
        }
    );
    let mut report = IntakeReport::of(&panel, &chart, source, Vec::new(), &session);
    report.notes = notes;
    report.notes.push(("colour".to_owned(), ramp(&colours)));
    report.notes.extend(corrections(&panel));
    report.warnings = hue(&colours, &chart).into_iter().collect();
    report.warnings.extend(geometry(&panel));
    report
        .warnings
        .extend(session.scattered(&chart, &panel.instrument));
    report.warnings.extend(unread(&session, &chart));
    output::write_file(
        &place.out,
        scans_csv(&chart, &session.readings()),
        place.how.force,
    )?;
    report.files = vec![place.out.display().to_string()];
    report.warnings.iter().for_each(|w| talk.warn(w));
    drop(talk);
    tell(place.how.json, || report.to_json(), &report)
}

fn of_file(path: &Path, file: &SpectraFile) -> String {
    let scale = match file.scale {
        Scale::Factor => "as a factor",
        Scale::Percent => "in percent",
    };
    let told = if file.scale_stated {
        "the fields say"
    } else {
        "the values say"
    };
    format!(
        "{}: {}, {} spectra of {} wavelengths, {} to {} nm, reflectance {scale} ({told})",
        path.display(),
        file.format,
        file.spectra.len(),
        file.count,
        file.first_nm,
        file.last_nm
    )
}

fn of_drift((name, drift): &(String, Drift)) -> String {
    let verdict = if drift.significant {
        "taken off"
    } else {
        "no more than the readings scatter by, left as it is"
    };
    format!(
        "reference {name}, {} readings: {:+.3} L* over the session, scatter {:.3} L*: {verdict}",
        drift.readings, drift.total_lstar, drift.scatter_lstar
    )
}

/// a* and b* along the ramp.
fn ramp(colours: &[Coloured]) -> String {
    let mut sorted: Vec<&Coloured> = colours.iter().collect();
    sorted.sort_by(|a, b| a.lab.lstar.total_cmp(&b.lab.lstar));
    let part = |part: &[&Coloured]| {
        let n = part.len() as f64;
        let mean = |of: fn(&Coloured) -> f64| part.iter().map(|c| of(c)).sum::<f64>() / n;
        format!(
            "{:+.2}, {:+.2} at {:.1} L*",
            mean(|c| c.lab.a),
            mean(|c| c.lab.b),
            mean(|c| c.lab.lstar)
        )
    };
    let size = sorted.len().div_ceil(PARTS).max(1);
    let parts: Vec<String> = sorted.chunks(size).map(part).collect();
    format!("a*, b* from the darkest: {}", parts.join("; "))
}

fn hue(colours: &[Coloured], chart: &Chart) -> Option<String> {
    let (a, b, apart) = widest_hue(colours)?;
    let named = |c: &Coloured| {
        let page = &chart.pages[c.page];
        format!(
            "{}/{} (L* {:.1}, a* {:+.2}, b* {:+.2})",
            page.name, page.patches[c.patch].name, c.lab.lstar, c.lab.a, c.lab.b
        )
    };
    (apart > HUE_DRIFT).then(|| {
        format!(
            "the greys drift in hue: {} and {} are {apart:.2} apart in a*, b*; below {HUE_DRIFT} is hard to see",
            named(&a),
            named(&b)
        )
    })
}

fn geometry(panel: &Panel) -> Option<String> {
    let instrument = &panel.instrument;
    let converted = is_45_0(&instrument.geometry) || instrument.to_45_0.is_some();
    (!converted).then(|| {
        format!(
            "geometry {} is taken as if it were 45:0: a sphere also takes in gloss; state instrument.to_45_0 = {{ gain, specular, u }} \
             in panel.toml, from patches read both ways",
            instrument.geometry
        )
    })
}

fn corrections(panel: &Panel) -> Vec<(String, String)> {
    let mut told = Vec::new();
    if let Some(c) = &panel.instrument.cover {
        let text = format!(
            "taken off: reflectance {}, transmittance {}, each ±{} (standard)",
            c.reflectance, c.transmittance, c.u
        );
        told.push(("cover".to_owned(), text));
    }
    if let Some(to) = &panel.instrument.to_45_0 {
        let text = format!(
            "{} to 45:0: {} · reading − {}, ±{} (standard)",
            panel.instrument.geometry, to.gain, to.specular, to.u
        );
        told.push(("geometry".to_owned(), text));
    }
    told
}

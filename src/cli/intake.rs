//! `greyloom intake`: scans and spectra to readings.

use super::talk::Talk;
use super::{How, arguments, on_threads, tell};
use crate::draw::{PatchWords, intake_png};
use crate::error::{Error, InputError, Result};
use crate::intake::correction::{corrected, is_45_0};
use crate::intake::flat::Flat;
use crate::intake::frame::{Frame, Point};
use crate::intake::scan::{Scan, Setting, read_scan};
use crate::intake::session::{Session, Taken};
use crate::intake::wedge_file::read_wedge;
use crate::output::OutputFolder;
use crate::project::{Chart, Panel, read_chart, read_chart_of, read_panel, scans_csv};
use crate::report::{IntakeReport, ScanReport};
use crate::tone::lightness::{lstar_from_reflectance, lstar_slope, reflectance_from_lstar};
use crate::waveforms::Waveforms;
use std::path::{Path, PathBuf};

/// Turn scans of driven pages, or spectra of their patches, into readings with their uncertainty
#[derive(Debug, clap::Args)]
#[command(arg_required_else_help = true)]
pub(super) struct Arguments {
    #[command(subcommand)]
    from: From,
}

#[derive(Debug, clap::Subcommand)]
enum From {
    Image(ImageArguments),
}

/// Where readings belong, and where they go.
#[derive(Debug, clap::Args)]
pub(super) struct Place {
    /// Folder with panel.toml, and with chart.csv unless --chart names another
    #[arg(long, value_name = "P")]
    pub project: PathBuf,
    /// Chart that was driven [default: chart.csv of the project]
    #[arg(long, value_name = "FILE")]
    pub chart: Option<PathBuf>,
    /// Finished set that the chart verifies
    #[arg(long, value_name = "W")]
    pub waveforms: Option<PathBuf>,
    /// Scans to write
    #[arg(long, value_name = "FILE")]
    pub out: PathBuf,
    #[command(flatten)]
    pub how: How,
}

impl Place {
    pub fn panel(&self) -> Result<Panel> {
        read_panel(&self.project.join("panel.toml"))
    }

    pub fn chart(&self, panel: &Panel) -> Result<Chart> {
        let own = || self.project.join("chart.csv");
        let file = self.chart.clone().unwrap_or_else(own);
        match &self.waveforms {
            Some(set) => read_chart_of(&file, panel, &Waveforms::read(set)?),
            None => read_chart(&file, panel),
        }
    }

    /// The folder of `--out`, and the file's name in it.
    pub fn named(&self) -> Result<(&Path, &str)> {
        let name = self.out.file_name().and_then(|n| n.to_str());
        let dir = self.out.parent().unwrap_or(Path::new(""));
        let wrong = || {
            Error::Usage(format!(
                "--out {}: expected the name of a file",
                self.out.display()
            ))
        };
        name.map(|name| (dir, name)).ok_or_else(wrong)
    }
}

/// Read scanned or photographed pages: PNG, TIFF or JPEG, 8 or 16 bit, grey or colour
#[derive(Debug, clap::Args)]
struct ImageArguments {
    /// Pictures of the panel in its scan frame (greyloom chart --scan-frame), several of one page are repeats
    #[arg(value_name = "FILE", required = true)]
    files: Vec<PathBuf>,
    #[command(flatten)]
    place: Place,
    /// Page that all the files show [default: each by its page mark]
    #[arg(long, value_name = "NAME")]
    page: Option<String>,
    /// Known reflectances of the grey steps in the scan [default: wedge.csv of the project]
    #[arg(long, value_name = "FILE")]
    wedge: Option<PathBuf>,
    /// Picture of a uniform sheet, taken like the scans, that flattens the light [default: by the frame's blank paper and
    /// the wedge's copies]
    #[arg(long, value_name = "FILE")]
    flat: Option<PathBuf>,
    /// Corners of the panel's pixels in a picture without frame, "x,y x,y x,y x,y", clockwise from row 0, column 0; the wedge then
    /// states its places in the picture, and --page the page
    #[arg(long, value_name = "CORNERS", allow_hyphen_values = true, requires = "page", value_parser = arguments::corners)]
    corners: Option<[Point; 4]>,
}

pub(super) fn run(arguments: &Arguments) -> Result<()> {
    match &arguments.from {
        From::Image(image) => on_threads(image.place.how.threads, || from_images(image)),
    }
}

fn from_images(arguments: &ImageArguments) -> Result<()> {
    let talk = Talk::new();
    let place = &arguments.place;
    let panel = place.panel()?;
    let chart = place.chart(&panel)?;
    let page = arguments.page.as_ref().map(|name| page_index(name, &chart)).transpose()?;
    let wedge_file = arguments.wedge.clone().unwrap_or_else(|| place.project.join("wedge.csv"));
    let frame = Frame::of(&panel);
    let on_frame = arguments.corners.is_none().then_some(&frame);
    let steps = read_wedge(&wedge_file, on_frame, panel.instrument.repeatability_lstar)?;
    let (dir, name) = place.named()?;
    let pictures = picture_names(arguments.files.len());
    let mut names = pictures.clone();
    names.push(name.to_owned());
    let mut folder = OutputFolder::open(dir, place.how.force, &names)?;
    let flat = arguments.flat.as_deref().map(Flat::read).transpose()?;
    let setting = Setting {
        panel: &panel,
        chart: &chart,
        wedge_file: &wedge_file,
        steps: &steps,
        flat: flat.as_ref(),
        corners: arguments.corners,
        page,
    };
    let (mut taken, mut reports, mut warnings) = (Vec::new(), Vec::new(), Vec::new());
    for (file, picture) in arguments.files.iter().zip(&pictures) {
        talk.step(&format!("reading {}", file.display()));
        let scan = read_scan(file, &setting)?;
        folder.stage(picture, drawn(&scan, &panel, &chart)?)?;
        taken.extend(readings(&scan));
        warnings.extend(scan.warnings.iter().map(|w| format!("{}: {w}", file.display())));
        reports.push(ScanReport::of(&scan, &chart));
    }
    let mut session = Session::of(&taken, &chart, &panel.instrument);
    // The wedge is read in the same geometry, so only what lies over the panel alone is taken off.
    if panel.instrument.cover.is_some() {
        uncover(&mut session, &panel);
    }
    folder.stage(name, scans_csv(&chart, &session.readings()))?;
    let source = format!("readings from {} picture(s)", arguments.files.len());
    let mut report = IntakeReport::of(&panel, &chart, source, reports, &session);
    report.warnings = warnings;
    report.warnings.extend(unread(&session, &chart));
    report.files = folder.commit()?.iter().map(|f| f.display().to_string()).collect();
    report.warnings.iter().for_each(|w| talk.warn(w));
    drop(talk);
    tell(place.how.json, || report.to_json(), &report)
}

fn page_index(name: &str, chart: &Chart) -> Result<usize> {
    let found = chart.pages.iter().position(|p| p.name == name);
    found.ok_or_else(|| {
        let names: Vec<&str> = chart.pages.iter().map(|p| p.name.as_str()).take(20).collect();
        Error::Usage(format!(
            "--page {name}: expected a page of the chart: {}{}",
            names.join(", "),
            if chart.pages.len() > 20 { ", …" } else { "" }
        ))
    })
}

fn picture_names(files: usize) -> Vec<String> {
    if files == 1 {
        return vec!["intake.png".to_owned()];
    }
    let digits = files.to_string().len().max(2);
    (1..=files).map(|k| format!("intake-{k:0digits$}.png")).collect()
}

fn readings(scan: &Scan) -> Vec<Taken> {
    let from = scan.file.display().to_string();
    let taken = |p: &crate::intake::scan::ScannedPatch| Taken {
        page: scan.page,
        patch: p.patch,
        lstar: p.lstar,
        u: p.u,
        from: from.clone(),
    };
    scan.patches.iter().map(taken).collect()
}

/// Takes the cover's light off every value.
pub(super) fn uncover(session: &mut Session, panel: &Panel) {
    let mut instrument = panel.instrument.clone();
    instrument.to_45_0 = None;
    for m in &mut session.merged {
        let read = reflectance_from_lstar(m.lstar);
        let (value, u) = corrected(read, &instrument);
        // The same uncertainty in reflectance weighs more under the cover.
        let (wider, _) = corrected(read + 1e-4, &instrument);
        let factor = (wider - value) / 1e-4 * lstar_slope(value) / lstar_slope(read);
        m.lstar = lstar_from_reflectance(value);
        m.u = m.u.scaled(factor);
        m.correction_lstar = u * lstar_slope(value);
    }
}

/// Pages that were read in part.
fn unread(session: &Session, chart: &Chart) -> Vec<String> {
    let pages: std::collections::BTreeSet<usize> = session.merged.iter().map(|m| m.page).collect();
    let missing = chart.pages.len() - pages.len();
    if missing == 0 {
        return Vec::new();
    }
    let names: Vec<&str> = (0..chart.pages.len())
        .filter(|p| !pages.contains(p))
        .map(|p| chart.pages[p].name.as_str())
        .take(8)
        .collect();
    let more = if missing > names.len() { ", …" } else { "" };
    vec![format!(
        "{missing} of {} pages of the chart have no reading: {}{more}",
        chart.pages.len(),
        names.join(", ")
    )]
}

fn drawn(scan: &Scan, panel: &Panel, chart: &Chart) -> Result<Vec<u8>> {
    let page = &chart.pages[scan.page];
    let words: Vec<PatchWords> = scan
        .patches
        .iter()
        .map(|p| PatchWords {
            name: page.patches[p.patch].name.clone(),
            lstar: p.lstar,
            u_lstar: p.u.combined(),
        })
        .collect();
    let file = scan.file.file_name().map_or(String::new(), |n| n.to_string_lossy().into_owned());
    let title = format!("{}: page {} in {file}", panel.name, page.name);
    let spots: usize = scan.patches.iter().map(|p| p.reading.left.len()).sum();
    let caption = format!(
        "{} patches read, {} not; {spots} spots left out. Turned by {:.1}°, {:.2} pixels per mm, marks {:.3} mm off a flat frame, steps of \
         the wedge {:.3} L* off the response.",
        scan.patches.len(),
        scan.unread.len(),
        scan.turned_deg,
        scan.pixels_per_mm,
        scan.found.residual_mm,
        scan.step_rms_lstar
    );
    intake_png(scan, &words, &title, &caption)
}

/// Errs where a geometry is not that of the readings and nothing says how to convert it.
#[allow(dead_code)]
pub(super) fn check_geometry(panel: &Panel, file: &Path) -> Result<()> {
    if is_45_0(&panel.instrument.geometry) || panel.instrument.to_45_0.is_some() {
        return Ok(());
    }
    Err(Error::Input(InputError {
        file: file.to_owned(),
        line: None,
        field: Some("instrument.geometry".into()),
        value: Some(panel.instrument.geometry.clone()),
        expected: "45:0 or 0:45, or beside it instrument.to_45_0 = { gain, specular, u }".into(),
    }))
}

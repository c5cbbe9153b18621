//! `greyloom intake image`: scanned pages to readings.

use super::super::talk::Talk;
use super::super::{arguments, on_threads, tell};
use super::{Place, unread};
use crate::draw::{PatchWords, intake_png};
use crate::error::{Error, Result};
use crate::intake::correction::corrected_lstar;
use crate::intake::flat::Flat;
use crate::intake::frame::{Frame, Point};
use crate::intake::scan::{Scan, Setting, read_scan};
use crate::intake::session::{Session, Taken};
use crate::intake::wedge_file::read_wedge;
use crate::output::OutputFolder;
use crate::project::{Chart, Panel, scans_csv};
use crate::report::{IntakeReport, ScanReport};
use std::path::PathBuf;

/// Read scanned or photographed pages: PNG, TIFF or JPEG, 8 or 16 bit, grey or colour
#[derive(Debug, clap::Args)]
pub(in crate::cli) struct Arguments {
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
    on_threads(arguments.place.how.threads, || from_images(arguments))
}

fn from_images(arguments: &Arguments) -> Result<()> {
    let talk = Talk::new();
    let place = &arguments.place;
    let (panel, chart) = place.read()?;
    let page = arguments.page.as_ref();
    let page = page.map(|name| page_index(name, &chart)).transpose()?;
    let own = || place.project.join("wedge.csv");
    let wedge_file = arguments.wedge.clone().unwrap_or_else(own);
    let frame = Frame::of(&panel);
    let on_frame = arguments.corners.is_none().then_some(&frame);
    let steps = read_wedge(&wedge_file, on_frame, panel.instrument.repeatability_lstar)?;
    let pictures = picture_names(arguments.files.len());
    let mut folder = open(place, &pictures)?;
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
    let mut read = Read::default();
    for (file, picture) in arguments.files.iter().zip(&pictures) {
        talk.step(&format!("reading {}", file.display()));
        let scan = read_scan(file, &setting)?;
        folder.stage(picture, drawn(&scan, &panel, &chart)?)?;
        read.add(&scan, &chart);
    }
    let report = written(read, place, folder, &panel, &chart)?;
    report.warnings.iter().for_each(|w| talk.warn(w));
    drop(talk);
    tell(place.how.json, || report.to_json(), &report)
}

/// What was read of all scans so far.
#[derive(Default)]
struct Read {
    taken: Vec<Taken>,
    scans: Vec<ScanReport>,
    warnings: Vec<String>,
}

impl Read {
    fn add(&mut self, scan: &Scan, chart: &Chart) {
        let from = scan.file.display().to_string();
        let told = scan.warnings.iter().map(|w| format!("{from}: {w}"));
        self.warnings.extend(told);
        self.scans.push(ScanReport::of(scan, chart));
        self.taken.extend(scan.patches.iter().map(|p| Taken {
            page: scan.page,
            patch: p.patch,
            lstar: p.lstar,
            u: p.u,
            correction_lstar: 0.0,
            from: from.clone(),
        }));
    }
}

/// The output folder, for the readings and the pictures.
fn open(place: &Place, pictures: &[String]) -> Result<OutputFolder> {
    let (dir, name) = place.named()?;
    if pictures.iter().any(|p| p == name) {
        return Err(Error::Usage(format!(
            "--out {}: expected another name: {name} will be the picture of what was read",
            place.out.display()
        )));
    }
    let mut names = pictures.to_vec();
    names.push(name.to_owned());
    OutputFolder::open(dir, place.how.force, &names)
}

/// Merges what was read, and writes it with the pictures.
fn written(
    read: Read,
    place: &Place,
    mut folder: OutputFolder,
    panel: &Panel,
    chart: &Chart,
) -> Result<IntakeReport> {
    let mut session = Session::of(&read.taken, chart, &panel.instrument);
    // The wedge is read in the same geometry, so only what lies over the panel alone is taken off.
    if panel.instrument.cover.is_some() {
        uncover(&mut session, panel);
    }
    folder.stage(place.named()?.1, scans_csv(chart, &session.readings()))?;
    let source = match read.scans.len() {
        1 => "readings from 1 picture".to_owned(),
        n => format!("readings from {n} pictures"),
    };
    let mut report = IntakeReport::of(panel, chart, source, read.scans, &session);
    report.warnings = read.warnings;
    let scattered = session.scattered(chart, &panel.instrument);
    report.warnings.extend(scattered);
    report.warnings.extend(unread(&session, chart));
    let files = folder.commit()?;
    report.files = files.iter().map(|f| f.display().to_string()).collect();
    Ok(report)
}

fn page_index(name: &str, chart: &Chart) -> Result<usize> {
    let found = chart.pages.iter().position(|p| p.name == name);
    found.ok_or_else(|| {
        let names: Vec<&str> = chart
            .pages
            .iter()
            .map(|p| p.name.as_str())
            .take(20)
            .collect();
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
    (1..=files)
        .map(|k| format!("intake-{k:0digits$}.png"))
        .collect()
}

/// Takes the cover's light off every value.
fn uncover(session: &mut Session, panel: &Panel) {
    let mut instrument = panel.instrument.clone();
    instrument.to_45_0 = None;
    for m in &mut session.merged {
        let taken_off = corrected_lstar(m.lstar, &instrument);
        m.lstar = taken_off.lstar;
        m.u = m.u.scaled(taken_off.factor);
        m.correction_lstar = taken_off.u_lstar;
    }
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
    let file = scan
        .file
        .file_name()
        .map_or(String::new(), |n| n.to_string_lossy().into_owned());
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

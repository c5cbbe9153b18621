//! One scan of one page: the panel found, the scanner's response learnt, every patch read with what its value is unsure by.

use super::evidence::{evidence, no_scanner};
use super::flat::Flat;
use super::focus::edge_mm;
use super::frame::{Point, Rectangle};
use super::marks::Found;
use super::patches::PatchReading;
use super::plane::Plane;
use super::scanner::{Evidence, Scanner};
use super::sheet::{Sheet, by_hand, on_frame, page_of};
use super::sitting::Sitting;
use super::wedge_file::Step;
use crate::error::Result;
use crate::project::{Chart, Panel};
use std::path::{Path, PathBuf};

/// Share of a region's pixels at the scanner's end from which it counts as saturated.
pub(super) const CLIPPED_MAX: f64 = 0.02;
/// One step of the scanner's codes must not be more than this, L*.
pub const CODE_MAX_LSTAR: f64 = 1.0;
/// Edge, 10 to 90 %, mm, from which a scan is refused as blurred.
const BLURRED_MM: f64 = 0.9;

/// What all scans of a call share.
pub struct Setting<'a> {
    pub panel: &'a Panel,
    pub chart: &'a Chart,
    pub wedge_file: &'a Path,
    pub steps: &'a [Step],
    pub flat: Option<&'a Flat>,
    /// Corners of the panel's pixels in the picture, clockwise from row 0, column 0; `None` looks for the frame.
    pub corners: Option<[Point; 4]>,
    /// Index of the page; `None` reads the page mark.
    pub page: Option<usize>,
}

/// Standard uncertainties of one patch, L*.
#[derive(Debug, Clone, Copy, PartialEq, Default, serde::Serialize)]
pub struct PatchUncertainty {
    pub repeatability: f64,
    pub wedge: f64,
    pub curve: f64,
    pub flatness: f64,
    pub positioning: f64,
    pub quantisation: f64,
}

impl PatchUncertainty {
    pub fn parts(&self) -> [f64; 6] {
        [
            self.repeatability,
            self.wedge,
            self.curve,
            self.flatness,
            self.positioning,
            self.quantisation,
        ]
    }

    /// Each times a factor.
    pub fn scaled(&self, factor: f64) -> Self {
        PatchUncertainty {
            repeatability: self.repeatability * factor,
            wedge: self.wedge * factor,
            curve: self.curve * factor,
            flatness: self.flatness * factor,
            positioning: self.positioning * factor,
            quantisation: self.quantisation * factor,
        }
    }

    pub fn combined(&self) -> f64 {
        self.parts().iter().map(|p| p * p).sum::<f64>().sqrt()
    }
}

/// A patch in a scan.
#[derive(Debug, Clone)]
pub struct ScannedPatch {
    /// Index into the page's patches.
    pub patch: usize,
    pub lstar: f64,
    pub u: PatchUncertainty,
    pub reading: PatchReading,
    /// What was read, mm on the frame.
    pub region: Rectangle,
}

/// A patch that is not read.
#[derive(Debug, Clone)]
pub struct Unread {
    /// Index into the page's patches.
    pub patch: usize,
    pub why: String,
}

/// What a scan gives.
pub struct Scan {
    pub file: PathBuf,
    pub bits: u32,
    pub size: (usize, usize),
    /// Index into the chart's pages.
    pub page: usize,
    pub found: Found,
    /// Degrees by which the frame lies turned clockwise in the picture.
    pub turned_deg: f64,
    pub pixels_per_mm: f64,
    pub edge_mm: Option<f64>,
    pub scanner: Scanner,
    pub evidence: Evidence,
    /// Rms of the steps about the response, and of the paper about the light, L*.
    pub step_rms_lstar: f64,
    pub paper_rms_lstar: Option<f64>,
    /// Light at the brightest place of the panel over that at the darkest.
    pub light_ratio: f64,
    /// One code of the scanner at the darkest patch, L*.
    pub code_lstar: f64,
    pub patches: Vec<ScannedPatch>,
    pub unread: Vec<Unread>,
    pub warnings: Vec<String>,
    /// For the picture that shows what was read: the whole scan, and the panel alone.
    pub preview: Preview,
    pub close: Preview,
}

/// A part of the scan made small.
pub struct Preview {
    /// Where it begins in the scan, pixels.
    pub origin: (usize, usize),
    pub values: Vec<f32>,
    pub width: usize,
    pub height: usize,
    pub factor: usize,
}

/// Reads one scan.
///
/// # Errors
/// [`crate::Error::Input`] where the file is no picture, shows no panel, two or a mirrored one, its page is not on the chart, the wedge
/// doesn't rise, or it is saturated, blurred or too coarse in its greys.
pub fn read_scan(file: &Path, setting: &Setting) -> Result<Scan> {
    let plane = Plane::read(file)?;
    let sheet = match setting.corners {
        Some(corners) => by_hand(&plane, setting.panel, corners)?,
        None => on_frame(&plane, setting.panel)?,
    };
    if let Some(flat) = setting.flat
        && (flat.width, flat.height) != (plane.width, plane.height)
    {
        return Err(plane.wrong(
            Some(format!("{} × {} pixels", plane.width, plane.height)),
            format!(
                "a scan of the size of the uniform sheet's picture, {} × {}",
                flat.width, flat.height
            ),
        ));
    }
    let page = page_of(&plane, &sheet, setting)?;
    let edge = check_focus(&plane, &sheet)?;
    let evidence = evidence(&plane, &sheet, setting)?;
    let scanner = Scanner::of(&evidence).map_err(|e| no_scanner(e, setting, &plane))?;
    Sitting {
        plane: &plane,
        sheet: &sheet,
        setting,
        page: &setting.chart.pages[page],
        evidence: &evidence,
        scanner: &scanner,
    }
    .scan(page, edge)
}

fn check_focus(plane: &Plane, sheet: &Sheet) -> Result<Option<f64>> {
    let Some(frame) = &sheet.frame else {
        return Ok(None);
    };
    let edge = edge_mm(plane, frame, &sheet.found);
    match edge {
        Some(edge) if edge > BLURRED_MM => Err(plane.wrong(
            Some(format!("edges {edge:.2} mm wide (10 to 90 %)")),
            format!("a sharp scan, edges of at most {BLURRED_MM} mm: each patch would take in its neighbours' light"),
        )),
        edge => Ok(edge),
    }
}

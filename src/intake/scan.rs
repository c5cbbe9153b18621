//! One scan of one page: the panel found, the scanner's response learnt, every patch read with what its value is unsure by.

use super::flat::Flat;
use super::focus::edge_mm;
use super::frame::{CELLS, Frame, PAPER_READ_MM, Point, Rectangle};
use super::marks::{self, Found};
use super::page_mark::{PageMark, chart_byte};
use super::patches::{LOST_MAX, PatchReading, Reader, inside};
use super::plane::{MOST, Plane, Sample};
use super::projection::{Projection, convex, turning};
use super::scanner::{Evidence, Known, LIGHT_TERMS, NoScanner, Paper, Scanner, Shifts, Spot};
use super::wedge_file::Step;
use crate::error::{Error, InputError, Result};
use crate::project::limits::LSTAR;
use crate::project::{Chart, Page, Panel, Patch};
use crate::tone::lightness::{lstar_from_reflectance, lstar_slope};
use rayon::prelude::*;
use std::path::{Path, PathBuf};

/// How far the panel may lie from the middle of its window, mm, standard as half-width of an even distribution.
const PLACED_WITHIN_MM: f64 = 0.5;
/// Share of a region's pixels at the scanner's end from which it counts as saturated.
const CLIPPED_MAX: f64 = 0.02;
/// One step of the scanner's codes must not be more than this, L*.
pub const CODE_MAX_LSTAR: f64 = 1.0;
/// Edge, 10 to 90 %, mm: told from the first, refused from the second.
const SOFT_MM: f64 = 0.5;
const BLURRED_MM: f64 = 0.9;
/// How far past the wedge's ends a patch may be read, L*.
const PAST_WEDGE_LSTAR: f64 = 4.0;
/// Spots of paper by which the light is judged, at least.
const PAPER_MIN: usize = 10;

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
    /// Patches that are not read, and why.
    pub unread: Vec<(usize, String)>,
    pub warnings: Vec<String>,
    /// For the picture that shows what was read.
    pub preview: Preview,
}

/// The scan made small.
pub struct Preview {
    pub values: Vec<f32>,
    pub width: usize,
    pub height: usize,
    pub factor: usize,
}

/// Where things lie: on the frame in mm, or with corners given by hand on the panel alone.
struct Sheet {
    frame: Option<Frame>,
    panel: Rectangle,
    found: Found,
}

/// Reads one scan.
///
/// # Errors
/// [`Error::Input`] where the file is no picture, shows no panel, two or a mirrored one, its page is not on the chart, the wedge
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

fn on_frame(plane: &Plane, panel: &Panel) -> Result<Sheet> {
    let frame = Frame::of(panel);
    let found = marks::find(plane, &frame)?;
    Ok(Sheet {
        panel: frame.panel,
        frame: Some(frame),
        found,
    })
}

fn by_hand(plane: &Plane, panel: &Panel, corners: [Point; 4]) -> Result<Sheet> {
    let shown = || corners.map(|c| format!("{},{}", c.0, c.1)).join(" ");
    let wrong = |expected: &str| Err(plane.wrong(Some(shown()), expected));
    let (width, height) = (plane.width as f64, plane.height as f64);
    let inside = |c: &Point| (0.0..=width).contains(&c.0) && (0.0..=height).contains(&c.1);
    if !corners.iter().all(inside) {
        return wrong(&format!(
            "corners inside the picture of {width} × {height} pixels"
        ));
    }
    if !convex(&corners) {
        return wrong(
            "corners that go round the panel without crossing: row 0 column 0 first, then along row 0, then round",
        );
    }
    if turning(&corners) < 0.0 {
        return wrong(
            "corners that go round clockwise; these run the other way, as in a mirrored picture",
        );
    }
    let mm = |pixels: usize| pixels as f64 * panel.pixel_pitch_um * 1e-3;
    let panel = Rectangle {
        x: 0.0,
        y: 0.0,
        width: mm(panel.columns),
        height: mm(panel.rows),
    };
    let map = Projection::through(&panel.corners(), &corners);
    let Some((to_picture, from_picture)) = map.and_then(|m| Some((m, m.inverse()?))) else {
        return wrong("four corners of which no three lie on a line");
    };
    Ok(Sheet {
        frame: None,
        panel,
        found: Found {
            to_picture,
            from_picture,
            marks: corners.to_vec(),
            residual_mm: 0.0,
        },
    })
}

fn page_of(plane: &Plane, sheet: &Sheet, setting: &Setting) -> Result<usize> {
    if let Some(page) = setting.page {
        return Ok(page);
    }
    let mark = sheet
        .frame
        .as_ref()
        .and_then(|f| page_mark(plane, f, &sheet.found));
    let Some(mark) = mark else {
        return Err(plane.wrong(
            Some("no page mark".into()),
            "the strip of the page in its field at the top of the frame, cells to the outside, or --page with its name",
        ));
    };
    let pages = setting.chart.pages.len();
    if mark.chart != chart_byte(setting.chart) {
        return Err(plane.wrong(
            Some(format!("the page mark of page {} of another chart", mark.number)),
            "a page of this project's chart: was the chart planned anew after its strips were printed? --page overrules the mark",
        ));
    }
    let page = usize::from(mark.number) - 1;
    if page >= pages {
        return Err(plane.wrong(
            Some(format!("page mark {}", mark.number)),
            format!("a page of the chart, which has {pages}"),
        ));
    }
    Ok(page)
}

/// The mark in its field, also where the strip lies a little off.
fn page_mark(plane: &Plane, frame: &Frame, found: &Found) -> Option<PageMark> {
    const READ_MM: f64 = 1.2;
    let maps = (&found.to_picture, &found.from_picture);
    let signal = |at: Point| {
        let sample = plane.sample(Rectangle::square(at, READ_MM), maps);
        sample.map(|s| s.signal)
    };
    let moves = [0.0, 0.5, -0.5, 1.0, -1.0];
    let by = moves
        .iter()
        .flat_map(|y| moves.iter().map(move |x| (*x, *y)));
    by.filter_map(|(dx, dy)| {
        let cells: Option<Vec<f64>> = (0..CELLS)
            .map(|k| {
                let at = frame.cell(k);
                signal((at.0 + dx, at.1 + dy))
            })
            .collect();
        let cells = cells?;
        let most = cells.iter().copied().fold(f64::NEG_INFINITY, f64::max);
        let least = cells.iter().copied().fold(f64::INFINITY, f64::min);
        let half = (most + least) / 2.0;
        let bits: [bool; CELLS] = std::array::from_fn(|k| cells[k] < half);
        PageMark::read(&bits).filter(|_| least < 0.7 * most)
    })
    .next()
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

fn spot(plane: &Plane, flat: Option<&Flat>, at: Point) -> Spot {
    let over = |v: f64, length: usize| 2.0 * v / length as f64 - 1.0;
    Spot {
        over: (over(at.0, plane.width), over(at.1, plane.height)),
        flat: flat.map(|f| f.at(at)),
    }
}

fn evidence(plane: &Plane, sheet: &Sheet, setting: &Setting) -> Result<Evidence> {
    let whole = f64::from(MOST);
    let found = &sheet.found;
    let identity = Projection::through(&SQUARE, &SQUARE).unwrap_or(found.to_picture);
    let in_picture = (&identity, &identity);
    let on_frame = (&found.to_picture, &found.from_picture);
    let maps = if sheet.frame.is_some() {
        on_frame
    } else {
        in_picture
    };
    let mut steps = Vec::new();
    for step in setting.steps {
        let sample = plane.sample(step.region, maps).filter(|s| s.pixels >= 9);
        let sample = sample.ok_or_else(|| {
            wedge_wrong(
                setting,
                step,
                &format!("a step inside {}", plane.file.display()),
            )
        })?;
        check_step(plane, setting, step, &sample)?;
        let at = maps.0.at(step.region.centre());
        // The wedge's own grain and the scanner's noise, as far as they move the mean.
        let slope = lstar_slope(step.reflectance) * step.reflectance;
        let read = sample.spread / (sample.pixels as f64).sqrt() / sample.signal.max(1.0) * slope;
        steps.push(Known {
            spot: spot(plane, setting.flat, at),
            row: step
                .place
                .bytes()
                .next()
                .filter(|_| sheet.frame.is_some())
                .unwrap_or(0),
            signal: sample.signal / whole,
            reflectance: step.reflectance,
            u_lstar: step.u_lstar.hypot(2.2 * read),
        });
    }
    let paper = sheet.frame.as_ref().map_or(Vec::new(), |frame| {
        let read = |at: Point| {
            let sample = plane.sample(Rectangle::square(at, PAPER_READ_MM), on_frame)?;
            let usable = sample.clipped < CLIPPED_MAX && sample.pixels >= 4;
            usable.then(|| Paper {
                spot: spot(plane, setting.flat, found.to_picture.at(at)),
                signal: sample.signal / whole,
            })
        };
        without_specks(frame.paper().into_iter().filter_map(read).collect())
    });
    let light_terms = if setting.flat.is_none() && paper.len() >= PAPER_MIN {
        LIGHT_TERMS
    } else {
        0
    };
    Ok(Evidence {
        steps,
        paper,
        light_terms,
        flat_middle: setting.flat.map(Flat::middle),
    })
}

const SQUARE: [Point; 4] = [(0.0, 0.0), (1.0, 0.0), (1.0, 1.0), (0.0, 1.0)];

/// Spots far darker than the others have something on them.
fn without_specks(paper: Vec<Paper>) -> Vec<Paper> {
    let signals: Vec<f64> = paper.iter().map(|p| p.signal).collect();
    let (middle, _) = super::outliers::median_deviation(&signals);
    let kept = paper.into_iter().filter(|p| p.signal > 0.5 * middle);
    kept.collect()
}

fn check_step(plane: &Plane, setting: &Setting, step: &Step, sample: &Sample) -> Result<()> {
    if sample.clipped > CLIPPED_MAX && sample.signal > f64::from(MOST) / 2.0 {
        return Err(plane.wrong(
            Some(format!(
                "{:.0} % of pixels at the upper end on step {} of {}",
                100.0 * sample.clipped,
                step.place,
                setting.wedge_file.display()
            )),
            "a scan that doesn't saturate: lower the exposure, switch automatic contrast off and scan again",
        ));
    }
    Ok(())
}

fn wedge_wrong(setting: &Setting, step: &Step, expected: &str) -> Error {
    Error::Input(InputError {
        file: setting.wedge_file.to_owned(),
        line: Some(step.line),
        field: Some("place".into()),
        value: Some(step.place.clone()),
        expected: expected.to_owned(),
    })
}

fn no_scanner(why: NoScanner, setting: &Setting, plane: &Plane) -> Error {
    let scan = plane.file.display();
    let stated = |k: usize| {
        let step = &setting.steps[k];
        format!(
            "{} (line {}, reflectance {})",
            step.place, step.line, step.reflectance
        )
    };
    let (at, value, expected) = match why {
        NoScanner::NotRising { darker, lighter } => (
            lighter,
            format!("step {}", stated(lighter)),
            format!(
                "a wedge that rises: in {scan} this step gives no more signal than step {}; are they where the file says, and is the \
                 scan neither saturated nor black?",
                stated(darker)
            ),
        ),
        NoScanner::Mislabelled { step, looks_lstar } => (
            step,
            format!("step {}", stated(step)),
            format!(
                "a step as the others bear out: in {scan} it looks like {:.3}",
                crate::tone::reflectance_from_lstar(looks_lstar)
            ),
        ),
        NoScanner::TooFew(n) => (
            0,
            format!("{n} steps"),
            "steps that can be told apart".into(),
        ),
    };
    Error::Input(InputError {
        file: setting.wedge_file.to_owned(),
        line: setting.steps.get(at).map(|s| s.line),
        field: Some("reflectance".into()),
        value: Some(value),
        expected,
    })
}

/// Everything at hand while patches are read.
struct Sitting<'a> {
    plane: &'a Plane,
    sheet: &'a Sheet,
    setting: &'a Setting<'a>,
    page: &'a Page,
    evidence: &'a Evidence,
    scanner: &'a Scanner,
}

impl Sitting<'_> {
    fn scan(&self, page: usize, edge_mm: Option<f64>) -> Result<Scan> {
        let (patches, unread) = self.patches()?;
        let code_lstar = self.check_codes(&patches)?;
        let steps = self.scanner.step_residuals_lstar(self.evidence);
        let paper = self.scanner.paper_residuals_lstar(self.evidence);
        let mut scan = Scan {
            file: self.plane.file.clone(),
            bits: self.plane.bits,
            size: (self.plane.width, self.plane.height),
            page,
            found: self.sheet.found.clone(),
            turned_deg: self.turned_deg(),
            pixels_per_mm: self.pixels_per_mm(),
            edge_mm,
            scanner: self.scanner.clone(),
            evidence: self.evidence.clone(),
            step_rms_lstar: rms(&steps),
            paper_rms_lstar: (!paper.is_empty()).then(|| rms(&paper)),
            light_ratio: self.light_ratio(),
            code_lstar,
            patches,
            unread,
            warnings: Vec::new(),
            preview: preview(self.plane),
        };
        scan.warnings = self.warnings(&scan);
        Ok(scan)
    }

    fn light(&self, place: Point) -> f64 {
        let at = self.sheet.found.to_picture.at(place);
        self.scanner.light(&spot(self.plane, self.setting.flat, at))
    }

    fn region(&self, patch: &Patch) -> Rectangle {
        let pitch = self.setting.panel.pixel_pitch_um * 1e-3;
        let panel = self.sheet.panel;
        inside(Rectangle {
            x: panel.x + patch.column_first as f64 * pitch,
            y: panel.y + patch.row_first as f64 * pitch,
            width: (patch.column_last + 1 - patch.column_first) as f64 * pitch,
            height: (patch.row_last + 1 - patch.row_first) as f64 * pitch,
        })
    }

    fn patches(&self) -> Result<(Vec<ScannedPatch>, Vec<(usize, String)>)> {
        let lit: Vec<f32> = (0..=MOST)
            .map(|s| self.scanner.lit(f64::from(s) / f64::from(MOST)) as f32)
            .collect();
        let light = |place: Point| self.light(place);
        let reader = Reader {
            plane: self.plane,
            found: &self.sheet.found,
            lit: &lit,
            light: &light,
            pitch_mm: self.setting.panel.pixel_pitch_um * 1e-3,
        };
        let each = self.page.patches.par_iter().map(|patch| {
            let region = self.region(patch);
            let read = reader.read(region)?;
            let lstar = lstar_from_reflectance(read.reflectance);
            let placed = reader.placement_lstar(region, lstar, PLACED_WITHIN_MM);
            Some((region, read, lstar, placed))
        });
        let read: Vec<_> = each.collect();
        let (mut patches, mut unread) = (Vec::new(), Vec::new());
        for (k, read) in read.into_iter().enumerate() {
            let Some((region, reading, lstar, placed)) = read else {
                unread.push((k, "too small in this picture, or outside it".to_owned()));
                continue;
            };
            if reading.lost > LOST_MAX {
                let why = format!("{:.0} % of it had to be left out", 100.0 * reading.lost);
                unread.push((k, why));
                continue;
            }
            if !LSTAR.contains(lstar) {
                let why = format!("it reads {lstar:.1} L*, past what the wedge can tell");
                unread.push((k, why));
                continue;
            }
            self.check_clipped(k, &reading)?;
            let u = PatchUncertainty {
                repeatability: reading.u_mean_lstar,
                positioning: placed / 3f64.sqrt(),
                ..PatchUncertainty::default()
            };
            patches.push(ScannedPatch {
                patch: k,
                lstar,
                u,
                reading,
                region,
            });
        }
        self.shared_uncertainty(&mut patches);
        Ok((patches, unread))
    }

    /// What comes from the wedge, the curve through it, the light and the codes.
    fn shared_uncertainty(&self, patches: &mut [ScannedPatch]) {
        let at = |p: &ScannedPatch| {
            let at = self.sheet.found.to_picture.at(p.region.centre());
            (p.reading.signal, spot(self.plane, self.setting.flat, at))
        };
        let readings: Vec<(f64, Spot)> = patches.iter().map(at).collect();
        let shifts = self.scanner.shifts_lstar(self.evidence, &readings);
        let paper = self.scanner.paper_u_lstar(self.evidence);
        for (k, patch) in patches.iter_mut().enumerate() {
            patch.u.wedge = Shifts::combined(&shifts.steps, k);
            patch.u.flatness = match self.setting.flat {
                Some(_) => paper,
                None => Shifts::combined(&shifts.paper, k),
            };
            patch.u.curve = self.scanner.open_lstar(patch.reading.signal).abs() / 3f64.sqrt();
            patch.u.quantisation = self.code_lstar(patch) * rounding(patch.reading.noise_codes);
        }
    }

    /// One code of the scanner at a patch, L*.
    fn code_lstar(&self, patch: &ScannedPatch) -> f64 {
        let code = self.plane.code() / f64::from(MOST);
        let at = |s: f64| lstar_from_reflectance(self.scanner.lit(s));
        let half = 0.5 * code;
        at(patch.reading.signal + half) - at(patch.reading.signal - half)
    }

    fn check_codes(&self, patches: &[ScannedPatch]) -> Result<f64> {
        let coarse = patches.iter().map(|p| (self.code_lstar(p), p.patch));
        let Some((coarsest, patch)) = coarse.max_by(|a, b| a.0.total_cmp(&b.0)) else {
            return Err(self.plane.wrong(
                Some(format!(
                    "page {} without a patch that can be read",
                    self.page.name
                )),
                "patches large enough in the picture and clear of dirt",
            ));
        };
        if coarsest > CODE_MAX_LSTAR {
            return Err(self.plane.wrong(
                Some(format!(
                    "greys {coarsest:.2} L* apart at patch {}",
                    self.page.patches[patch].name
                )),
                format!(
                    "a scan whose greys are at most {CODE_MAX_LSTAR} L* apart: scan with 16 bits, or with more exposure or the scanner's \
                     usual gamma"
                ),
            ));
        }
        Ok(coarsest)
    }

    fn check_clipped(&self, patch: usize, reading: &PatchReading) -> Result<()> {
        let (low, high) = reading.clipped;
        let name = &self.page.patches[patch].name;
        let (share, end, what) = if high > CLIPPED_MAX {
            (high, "upper", "less exposure")
        } else if low > CLIPPED_MAX {
            (low, "lower", "more exposure or a lower black point")
        } else {
            return Ok(());
        };
        Err(self.plane.wrong(
            Some(format!(
                "{:.0} % of the pixels of patch {name} at the {end} end of the scanner's range",
                100.0 * share
            )),
            format!("a scan that doesn't saturate: scan again with {what}, automatic contrast off"),
        ))
    }

    fn turned_deg(&self) -> f64 {
        let c = self
            .sheet
            .panel
            .corners()
            .map(|c| self.sheet.found.to_picture.at(c));
        (c[1].1 - c[0].1).atan2(c[1].0 - c[0].0).to_degrees()
    }

    fn pixels_per_mm(&self) -> f64 {
        let factor = self
            .sheet
            .found
            .to_picture
            .area_factor(self.sheet.panel.centre());
        factor.abs().sqrt()
    }

    fn light_ratio(&self) -> f64 {
        let panel = self.sheet.panel;
        let at = |k: usize, length: f64| length * k as f64 / 8.0;
        let lights: Vec<f64> = (0..9)
            .flat_map(|i| (0..9).map(move |j| (i, j)))
            .map(|(i, j)| self.light((panel.x + at(i, panel.width), panel.y + at(j, panel.height))))
            .collect();
        let most = lights.iter().copied().fold(f64::NEG_INFINITY, f64::max);
        most / lights.iter().copied().fold(f64::INFINITY, f64::min)
    }

    fn warnings(&self, scan: &Scan) -> Vec<String> {
        let mut told = Vec::new();
        if let Some(edge) = scan.edge_mm.filter(|e| *e > SOFT_MM) {
            told.push(format!("soft: edges are {edge:.2} mm wide (10 to 90 %)"));
        }
        let (dark, bright) = scan.scanner.reach_lstar();
        for p in &scan.patches {
            let past = (dark - p.lstar).max(p.lstar - bright);
            if past > PAST_WEDGE_LSTAR {
                told.push(format!(
                    "patch `{}` reads {:.1} L*, {past:.1} past the wedge's end: its value rests on the response drawn on; use a wedge \
                     that reaches from {:.0} to {:.0} L*",
                    self.page.patches[p.patch].name,
                    p.lstar,
                    dark.min(p.lstar).floor(),
                    bright.max(p.lstar).ceil()
                ));
            }
        }
        for (k, why) in &scan.unread {
            told.push(format!(
                "patch `{}` is not read: {why}",
                self.page.patches[*k].name
            ));
        }
        if self.sheet.frame.is_some()
            && self.setting.flat.is_none()
            && scan.evidence.light_terms == 0
        {
            told.push(
                "the frame's blank paper is clipped or covered, so the light is taken as even; --flat would flatten it".into(),
            );
        }
        told
    }
}

/// Part of a code, standard, by which rounding moves the mean of pixels whose noise is so many codes: none once the noise spans
/// a code (B. Widrow, I. Kollár, Quantization Noise, 2008, from memory).
fn rounding(noise_codes: f64) -> f64 {
    let spread = (-2.0 * (std::f64::consts::PI * noise_codes).powi(2)).exp();
    (spread * std::f64::consts::FRAC_1_SQRT_2 / std::f64::consts::PI).min(1.0 / 12f64.sqrt())
}

fn rms(values: &[f64]) -> f64 {
    (values.iter().map(|v| v * v).sum::<f64>() / values.len().max(1) as f64).sqrt()
}

fn preview(plane: &Plane) -> Preview {
    const SIDE: usize = 1200;
    let factor = plane.width.max(plane.height).div_ceil(SIDE).max(1);
    let (values, width, height) = plane.reduced(factor);
    Preview {
        values,
        width,
        height,
        factor,
    }
}

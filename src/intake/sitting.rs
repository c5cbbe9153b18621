//! Every patch of one scan, with what its value is unsure by, and what is odd about the scan.

use super::evidence::spot;
use super::frame::{Point, Rectangle};
use super::patches::{LOST_MAX, PatchReading, Reader, inside};
use super::plane::{MOST, Plane};
use super::scan::{
    CLIPPED_MAX, CODE_MAX_LSTAR, PatchUncertainty, Preview, Scan, ScannedPatch, Setting, Unread,
};
use super::scanner::{Evidence, LIGHT_TERMS, Scanner, Shifts, Spot};
use super::sheet::Sheet;
use crate::error::Result;
use crate::project::limits::LSTAR;
use crate::project::{Page, Patch};
use crate::tone::lightness::lstar_from_reflectance;
use rayon::prelude::*;

/// How far the panel may lie from the middle of its window, mm, standard as half-width of an even distribution.
const PLACED_WITHIN_MM: f64 = 0.5;
/// Edge, 10 to 90 %, mm, from which a scan is told to be soft.
const SOFT_MM: f64 = 0.5;
/// How far past the wedge's ends a patch may be read, L*.
const PAST_WEDGE_LSTAR: f64 = 4.0;

/// Everything at hand while patches are read.
pub(super) struct Sitting<'a> {
    pub plane: &'a Plane,
    pub sheet: &'a Sheet,
    pub setting: &'a Setting<'a>,
    pub page: &'a Page,
    pub evidence: &'a Evidence,
    pub scanner: &'a Scanner,
}

impl Sitting<'_> {
    pub fn scan(&self, page: usize, edge_mm: Option<f64>) -> Result<Scan> {
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
            preview: preview(self.plane, [0, 0, self.plane.width, self.plane.height]),
            close: preview(self.plane, self.panel_box()),
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

    fn patches(&self) -> Result<(Vec<ScannedPatch>, Vec<Unread>)> {
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
        for (patch, read) in read.into_iter().enumerate() {
            let mut leave = |why: String| unread.push(Unread { patch, why });
            let Some((region, reading, lstar, placed)) = read else {
                leave("too small in this picture, or outside it".to_owned());
                continue;
            };
            if reading.lost > LOST_MAX {
                let why = format!("{:.0} % of it had to be left out", 100.0 * reading.lost);
                leave(why);
                continue;
            }
            if !LSTAR.contains(lstar) {
                let why = format!("it reads {lstar:.1} L*, past what the wedge can tell");
                leave(why);
                continue;
            }
            self.check_clipped(patch, &reading)?;
            let u = PatchUncertainty {
                repeatability: reading.u_mean_lstar,
                positioning: placed / 3f64.sqrt(),
                ..PatchUncertainty::default()
            };
            patches.push(ScannedPatch {
                patch,
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

    /// The part of the picture that holds the panel, with some room: left, top, right, bottom.
    fn panel_box(&self) -> [usize; 4] {
        const ROOM_MM: f64 = 2.0;
        let corners = self.sheet.panel.grown(ROOM_MM).corners();
        let seen = corners.map(|c| self.sheet.found.to_picture.at(c));
        let (width, height) = (self.plane.width, self.plane.height);
        let end = |of: fn(&Point) -> f64, pick: fn(f64, f64) -> f64, limit: usize| {
            let values = seen.iter().map(of).reduce(pick);
            values.unwrap_or(0.0).clamp(0.0, limit as f64) as usize
        };
        [
            end(|c| c.0, f64::min, width),
            end(|c| c.1, f64::min, height),
            end(|c| c.0, f64::max, width),
            end(|c| c.1, f64::max, height),
        ]
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
        for Unread { patch, why } in &scan.unread {
            told.push(format!(
                "patch `{}` is not read: {why}",
                self.page.patches[*patch].name
            ));
        }
        if self.sheet.frame.is_some() && self.setting.flat.is_none() {
            told.extend(light_words(scan.evidence.light_terms));
        }
        told
    }
}

/// What is said where the light can't be told from the paper.
fn light_words(terms: usize) -> Option<String> {
    let taken = match terms {
        LIGHT_TERMS => return None,
        0 => "taken as even",
        _ => "taken as a slope that the wedge's copies show",
    };
    Some(format!(
        "the frame's blank paper is clipped or covered, so the light is {taken}; less exposure, or --flat, would tell it"
    ))
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

fn preview(plane: &Plane, part: [usize; 4]) -> Preview {
    const SIDE: usize = 1200;
    let longest = part[2].abs_diff(part[0]).max(part[3].abs_diff(part[1]));
    let factor = longest.div_ceil(SIDE).max(1);
    let (values, width, height) = plane.part_reduced(part, factor);
    Preview {
        origin: (part[0], part[1]),
        values,
        width,
        height,
        factor,
    }
}

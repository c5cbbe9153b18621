//! What a scan says of its scanner: the wedge's steps and the blank paper, sampled.

use super::flat::Flat;
use super::frame::{PAPER_READ_MM, Point, Rectangle};
use super::outliers::median_deviation;
use super::plane::{MOST, Plane, Sample};
use super::projection::Projection;
use super::scan::{CLIPPED_MAX, Setting};
use super::scanner::{Evidence, Known, LIGHT_SLOPES, LIGHT_TERMS, NoScanner, Paper, Spot};
use super::sheet::Sheet;
use super::wedge_file::{SAME_LSTAR, Step};
use crate::error::{Error, InputError, Result};
use crate::tone::lightness::{lstar_from_reflectance, lstar_slope, reflectance_from_lstar};

/// Spots of paper by which the light is judged, at least.
const PAPER_MIN: usize = 10;
/// Copies of steps by which the light's slopes are judged where no paper can be read, at least.
const COPIES_MIN: usize = 4;
/// Pixels of a step that are read, at least.
const PIXELS_MIN: usize = 9;
const SQUARE: [Point; 4] = [(0.0, 0.0), (1.0, 0.0), (1.0, 1.0), (0.0, 1.0)];

/// A place of the picture as the light sees it.
pub(super) fn spot(plane: &Plane, flat: Option<&Flat>, at: Point) -> Spot {
    let over = |v: f64, length: usize| 2.0 * v / length as f64 - 1.0;
    Spot {
        over: (over(at.0, plane.width), over(at.1, plane.height)),
        flat: flat.map(|f| f.at(at)),
    }
}

/// Steps that stand in two rows of the wedge.
fn copies(steps: &[Known]) -> usize {
    let lstar = |k: &Known| lstar_from_reflectance(k.reflectance);
    let copied = |a: &&Known| {
        let same = |b: &Known| b.row > a.row && (lstar(a) - lstar(b)).abs() < SAME_LSTAR;
        steps.iter().any(same)
    };
    steps.iter().filter(copied).count()
}

/// Samples every step and every spot of paper. Errs where a step is saturated or outside the picture.
pub(super) fn evidence(plane: &Plane, sheet: &Sheet, setting: &Setting) -> Result<Evidence> {
    let steps = setting
        .steps
        .iter()
        .map(|s| known(plane, sheet, setting, s));
    let steps: Vec<Known> = steps.collect::<Result<_>>()?;
    let paper = paper(plane, sheet, setting);
    let light_terms = match setting.flat {
        Some(_) => 0,
        None if paper.len() >= PAPER_MIN => LIGHT_TERMS,
        None if copies(&steps) >= COPIES_MIN => LIGHT_SLOPES,
        None => 0,
    };
    Ok(Evidence {
        steps,
        paper,
        light_terms,
        flat_middle: setting.flat.map(Flat::middle),
    })
}

/// One step as it was sampled.
fn known(plane: &Plane, sheet: &Sheet, setting: &Setting, step: &Step) -> Result<Known> {
    let found = &sheet.found;
    // Without a frame the wedge's places are the picture's own.
    let identity = Projection::through(&SQUARE, &SQUARE).unwrap_or(found.to_picture);
    let (maps, row) = match sheet.frame {
        Some(_) => (
            (&found.to_picture, &found.from_picture),
            step.place.bytes().next().unwrap_or(0),
        ),
        None => ((&identity, &identity), 0),
    };
    let sample = plane
        .sample(step.region, maps)
        .filter(|s| s.pixels >= PIXELS_MIN);
    let sample = sample.ok_or_else(|| {
        wedge_wrong(
            setting,
            step,
            &format!("a step inside {}", plane.file.display()),
        )
    })?;
    check_step(plane, setting, step, &sample)?;
    // The wedge's own grain and the scanner's noise move the mean; a gamma of 2.2 is the most that stretches them.
    const STRETCH: f64 = 2.2;
    let relative = sample.spread / (sample.pixels as f64).sqrt() / sample.signal.max(1.0);
    let read = STRETCH * relative * step.reflectance * lstar_slope(step.reflectance);
    Ok(Known {
        spot: spot(plane, setting.flat, maps.0.at(step.region.centre())),
        row,
        signal: sample.signal / f64::from(MOST),
        reflectance: step.reflectance,
        u_lstar: step.u_lstar.hypot(read),
    })
}

/// The frame's blank paper, where it is neither clipped nor covered.
fn paper(plane: &Plane, sheet: &Sheet, setting: &Setting) -> Vec<Paper> {
    let Some(frame) = &sheet.frame else {
        return Vec::new();
    };
    let found = &sheet.found;
    let maps = (&found.to_picture, &found.from_picture);
    let read = |at: Point| {
        let sample = plane.sample(Rectangle::square(at, PAPER_READ_MM), maps)?;
        let usable = sample.clipped < CLIPPED_MAX && sample.pixels >= 4;
        usable.then(|| Paper {
            spot: spot(plane, setting.flat, found.to_picture.at(at)),
            signal: sample.signal / f64::from(MOST),
        })
    };
    without_specks(frame.paper().into_iter().filter_map(read).collect())
}

/// Spots far darker than the others have something on them.
fn without_specks(paper: Vec<Paper>) -> Vec<Paper> {
    let signals: Vec<f64> = paper.iter().map(|p| p.signal).collect();
    let (middle, _) = median_deviation(&signals);
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

/// Why no response follows, as an error about the wedge.
pub(super) fn no_scanner(why: NoScanner, setting: &Setting, plane: &Plane) -> Error {
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
                reflectance_from_lstar(looks_lstar)
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

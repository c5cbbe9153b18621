//! `wedge.csv`: the known reflectances of a grey wedge, and where its steps lie on the scan frame or in the picture.

use super::frame::{Frame, Point, Rectangle, STEP_READ_MM};
use crate::error::Result;
use crate::project::input_file::InputFile;
use crate::project::limits::{Bounds, REFLECTANCE, REFLECTANCE_U, TABLE_BYTES_MAX, bounds};
use crate::project::table::{Row, Table};
use crate::tone::lightness::{lstar_from_reflectance, lstar_slope};
use std::collections::BTreeMap;
use std::path::Path;

/// Steps that differ, at least.
pub const STEPS_MIN: usize = 5;
/// Steps nearer than this count as copies of one, L*.
pub const SAME_LSTAR: f64 = 0.8;
const PIXEL: Bounds = bounds(0.0, 65_535.0, " pixels");
const SIDE_PX: Bounds = bounds(2.0, 4_000.0, " pixels");

/// One step of the wedge.
#[derive(Debug, Clone, PartialEq)]
pub struct Step {
    /// Its place on the frame, or its name.
    pub place: String,
    /// The square to read: on the frame, mm, or in the picture, pixels.
    pub region: Rectangle,
    pub reflectance: f64,
    /// Standard uncertainty of the stated reflectance, in L*.
    pub u_lstar: f64,
    pub line: usize,
}

/// Reads the steps of a wedge: `place` and `reflectance`, optionally `reflectance_u`; without a frame also `x_px`, `y_px`
/// (middle of the step in the picture) and `side_px` (of the square that is read). A step without a stated uncertainty gets
/// `usual_u_lstar`. Errs with every wrong place, and where fewer than [`STEPS_MIN`] steps differ.
pub fn read_wedge(path: &Path, frame: Option<&Frame>, usual_u_lstar: f64) -> Result<Vec<Step>> {
    let file = InputFile::read(
        path,
        "read the wedge, which holds the known reflectances (place,reflectance) of the grey steps in the scan",
        TABLE_BYTES_MAX,
    )?;
    let steps = steps(&file, frame, usual_u_lstar);
    file.finish(steps)
}

fn steps(file: &InputFile, frame: Option<&Frame>, usual_u_lstar: f64) -> Option<Vec<Step>> {
    let mut columns = vec!["place", "reflectance"];
    if frame.is_none() {
        columns.extend(["x_px", "y_px", "side_px"]);
    }
    let table = Table::read_with(file, &columns, &[], &["reflectance_u"])?;
    let mut lines: BTreeMap<String, usize> = BTreeMap::new();
    let mut steps = Vec::new();
    for row in table.rows() {
        let region = match frame {
            Some(frame) => on_frame(&row, frame),
            None => in_picture(&row),
        };
        let reflectance = row.number("reflectance", REFLECTANCE);
        let u = if table.has("reflectance_u") {
            row.number("reflectance_u", REFLECTANCE_U).map(Some)
        } else {
            Some(None)
        };
        let (Some(region), Some(reflectance), Some(u)) = (region, reflectance, u) else {
            continue;
        };
        let place = row.text("place").to_owned();
        if let Some(earlier) = lines.insert(place.clone(), row.line) {
            row.wrong(
                "place",
                format!("each place once: line {earlier} has it too"),
            );
        }
        steps.push(Step {
            place,
            region,
            reflectance,
            u_lstar: u.map_or(usual_u_lstar, |u| u * lstar_slope(reflectance)),
            line: row.line,
        });
    }
    let different = different(&steps);
    if file.all_right() && different < STEPS_MIN {
        let last = steps.last().map_or(1, |s| s.line);
        file.wrong(
            last,
            "reflectance",
            Some(&format!("{different} different steps")),
            format!("at least {STEPS_MIN} steps more than {SAME_LSTAR} L* apart, from the darkest to the lightest of the panel"),
        );
    }
    Some(steps)
}

/// Steps that are told apart.
fn different(steps: &[Step]) -> usize {
    let mut lstar: Vec<f64> = steps
        .iter()
        .map(|s| lstar_from_reflectance(s.reflectance))
        .collect();
    lstar.sort_by(f64::total_cmp);
    let mut last = f64::NEG_INFINITY;
    lstar.retain(|l| {
        let new = l - last > SAME_LSTAR;
        if new {
            last = *l;
        }
        new
    });
    lstar.len()
}

fn on_frame(row: &Row, frame: &Frame) -> Option<Rectangle> {
    let place = frame.place(row.text("place"));
    if place.is_none() {
        row.wrong("place", "a place of the scan frame, A1 to A12 or B1 to B12");
    }
    place.map(|p| Rectangle::square(p.centre, STEP_READ_MM))
}

fn in_picture(row: &Row) -> Option<Rectangle> {
    let x = row.number("x_px", PIXEL);
    let y = row.number("y_px", PIXEL);
    let side = row.number("side_px", SIDE_PX);
    let centre: Point = (x?, y?);
    Some(Rectangle::square(centre, side?))
}

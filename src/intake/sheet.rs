//! Where the panel lies in a scan, and which page it shows.

use super::frame::{CELLS, Frame, Point, Rectangle};
use super::marks::{self, Found};
use super::page_mark::{PageMark, chart_byte};
use super::plane::Plane;
use super::projection::{Projection, convex, turning};
use super::scan::Setting;
use crate::error::Result;
use crate::project::Panel;

/// Where things lie: on the frame in mm, or with corners given by hand on the panel alone.
pub(super) struct Sheet {
    pub frame: Option<Frame>,
    pub panel: Rectangle,
    pub found: Found,
}

pub(super) fn on_frame(plane: &Plane, panel: &Panel) -> Result<Sheet> {
    let frame = Frame::of(panel);
    let found = marks::find(plane, &frame)?;
    Ok(Sheet {
        panel: frame.panel,
        frame: Some(frame),
        found,
    })
}

pub(super) fn by_hand(plane: &Plane, panel: &Panel, corners: [Point; 4]) -> Result<Sheet> {
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

pub(super) fn page_of(plane: &Plane, sheet: &Sheet, setting: &Setting) -> Result<usize> {
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

//! The scan frame: a printed sheet with a window that the panel is laid into, marks that tell how it lies, places for the
//! steps of a grey wedge and a field for the page mark.
//!
//! Lengths in mm from the sheet's upper left corner, x to the right, y down. The pattern is this program's own.

use crate::project::Panel;

/// Radius of a mark, a black disc.
pub const MARK_RADIUS_MM: f64 = 4.5;
/// Radius of a white hole in a corner mark, and of the ring on which the holes lie.
pub const HOLE_RADIUS_MM: f64 = 0.95;
pub const HOLE_RING_MM: f64 = 2.2;
/// By how much the window is cut larger than the panel's pixels, on each side, so that their edges can be seen.
pub const WINDOW_EDGE_MM: f64 = 1.0;
/// Side of a place for a step of the wedge.
pub const STEP_MM: f64 = 7.0;
/// Side of the square that is read of a step, and of a spot of blank paper.
pub const STEP_READ_MM: f64 = 4.0;
pub const PAPER_READ_MM: f64 = 2.5;
/// Places in one row of the wedge.
pub const STEPS: usize = 12;
/// Cells of the page mark, and their size.
pub const CELLS: usize = 24;
pub const CELL_MM: f64 = 3.0;
pub const CELL_HEIGHT_MM: f64 = 5.5;
/// The strip that carries the page mark: cells above, the page's name below.
pub const STRIP_MM: (f64, f64) = (76.0, 8.0);
/// Longest side of a frame that is drawn: A3.
pub const SIDE_MAX_MM: f64 = 420.0;

const BAND_MM: f64 = 15.0;
const MARK_AT_MM: f64 = 8.0;
const GAP_MM: f64 = 6.0;
const WINDOW_TOP_MM: f64 = 31.0;
const BELOW_MM: f64 = 30.0;
const PAPER_ACROSS: usize = 8;
const PAPER_DOWN: usize = 4;

/// A place on the sheet or in a picture: x to the right, y down.
pub type Point = (f64, f64);

/// A rectangle by its upper left corner and its size.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Rectangle {
    pub x: f64,
    pub y: f64,
    pub width: f64,
    pub height: f64,
}

impl Rectangle {
    pub fn square(centre: Point, side: f64) -> Self {
        let half = side / 2.0;
        Rectangle {
            x: centre.0 - half,
            y: centre.1 - half,
            width: side,
            height: side,
        }
    }

    /// The same, larger by `by` on each side; smaller where `by` is negative.
    pub fn grown(self, by: f64) -> Self {
        Rectangle {
            x: self.x - by,
            y: self.y - by,
            width: self.width + 2.0 * by,
            height: self.height + 2.0 * by,
        }
    }

    pub fn moved(self, (x, y): Point) -> Self {
        Rectangle {
            x: self.x + x,
            y: self.y + y,
            ..self
        }
    }

    /// Clockwise from the upper left.
    pub fn corners(self) -> [Point; 4] {
        let (right, bottom) = (self.x + self.width, self.y + self.height);
        [
            (self.x, self.y),
            (right, self.y),
            (right, bottom),
            (self.x, bottom),
        ]
    }

    pub fn centre(self) -> Point {
        (self.x + self.width / 2.0, self.y + self.height / 2.0)
    }
}

/// A place for one step of the wedge: `A1` to `A12` below the window from the left, `B1` to `B12` above it from the right.
#[derive(Debug, Clone, PartialEq)]
pub struct Place {
    pub name: String,
    pub centre: Point,
}

/// Where everything lies on the frame of one panel.
#[derive(Debug, Clone, PartialEq)]
pub struct Frame {
    pub width_mm: f64,
    pub height_mm: f64,
    /// The panel's pixels: row 0 on top, column 0 on the left.
    pub panel: Rectangle,
    /// Where the strip with the page mark is laid.
    pub strip: Rectangle,
    pub places: Vec<Place>,
}

impl Frame {
    pub fn of(panel: &Panel) -> Self {
        let mm = |pixels: usize| pixels as f64 * panel.pixel_pitch_um * 1e-3;
        let (width, height) = (mm(panel.columns), mm(panel.rows));
        let inner = (width + 2.0 * (WINDOW_EDGE_MM + GAP_MM)).max(STEPS as f64 * STEP_MM);
        let width_mm = inner + 2.0 * BAND_MM;
        let middle = width_mm / 2.0;
        let step_x = |k: usize| middle + (k as f64 - (STEPS - 1) as f64 / 2.0) * STEP_MM;
        let place = |row: char, k: usize, centre: Point| Place {
            name: format!("{row}{}", k + 1),
            centre,
        };
        let below = (0..STEPS).map(|k| place('A', k, (step_x(k), WINDOW_TOP_MM + height + 10.5)));
        let above = (0..STEPS).map(|k| place('B', k, (step_x(STEPS - 1 - k), 20.5)));
        Frame {
            width_mm,
            height_mm: WINDOW_TOP_MM + height + BELOW_MM,
            panel: Rectangle {
                x: middle - width / 2.0,
                y: WINDOW_TOP_MM,
                width,
                height,
            },
            strip: Rectangle {
                x: middle - STRIP_MM.0 / 2.0,
                y: 4.0,
                width: STRIP_MM.0,
                height: STRIP_MM.1,
            },
            places: below.chain(above).collect(),
        }
    }

    /// Centres of the corner marks, clockwise from the upper left; the mark at index k has k + 1 holes.
    pub fn corner_marks(&self) -> [Point; 4] {
        let (right, bottom) = (self.width_mm - MARK_AT_MM, self.height_mm - MARK_AT_MM);
        [
            (MARK_AT_MM, MARK_AT_MM),
            (right, MARK_AT_MM),
            (right, bottom),
            (MARK_AT_MM, bottom),
        ]
    }

    /// Centres of the marks without holes, left and right of the window: they check the map that the corners give.
    pub fn side_marks(&self) -> [Point; 2] {
        let y = self.panel.centre().1;
        [(MARK_AT_MM, y), (self.width_mm - MARK_AT_MM, y)]
    }

    /// Holes of the corner mark of index `k`.
    pub fn holes(k: usize) -> Vec<Point> {
        let turn = |i: usize| std::f64::consts::TAU * i as f64 / (k + 1) as f64;
        (0..=k)
            .map(|i| (HOLE_RING_MM * turn(i).sin(), -HOLE_RING_MM * turn(i).cos()))
            .collect()
    }

    /// Spots of blank paper round the window.
    pub fn paper(&self) -> Vec<Point> {
        let out = WINDOW_EDGE_MM + GAP_MM / 2.0;
        let (left, right) = (BAND_MM + 3.0, self.width_mm - BAND_MM - 3.0);
        let across = |k: usize| left + (right - left) * k as f64 / (PAPER_ACROSS - 1) as f64;
        let down =
            |k: usize| self.panel.y + self.panel.height * (k as f64 + 0.5) / PAPER_DOWN as f64;
        let (top, bottom) = (self.panel.y - out, self.panel.y + self.panel.height + out);
        let sides = [self.panel.x - out, self.panel.x + self.panel.width + out];
        (0..PAPER_ACROSS)
            .flat_map(|k| [(across(k), top), (across(k), bottom)])
            .chain((0..PAPER_DOWN).flat_map(|k| sides.map(|x| (x, down(k)))))
            .collect()
    }

    /// Middle of a cell of the page mark, counted from the left.
    pub fn cell(&self, k: usize) -> Point {
        let from = self.strip.x + (self.strip.width - CELLS as f64 * CELL_MM) / 2.0;
        (
            from + (k as f64 + 0.5) * CELL_MM,
            self.strip.y + CELL_HEIGHT_MM / 2.0,
        )
    }

    pub fn place(&self, name: &str) -> Option<&Place> {
        self.places.iter().find(|p| p.name == name)
    }

    /// Every place as a table, for whoever draws or checks a frame by other means.
    pub fn csv(&self) -> String {
        let line = |what: &str, r: Rectangle| {
            format!(
                "{what},{:.3},{:.3},{:.3},{:.3}\n",
                r.x, r.y, r.width, r.height
            )
        };
        let mark = |at: Point| Rectangle::square(at, 2.0 * MARK_RADIUS_MM);
        let sheet = Rectangle {
            x: 0.0,
            y: 0.0,
            width: self.width_mm,
            height: self.height_mm,
        };
        let mut text = "place,x_mm,y_mm,width_mm,height_mm\n".to_owned();
        text += &line("sheet", sheet);
        text += &line("panel", self.panel);
        text += &line("window", self.panel.grown(WINDOW_EDGE_MM));
        text += &line("strip", self.strip);
        for (k, at) in self.corner_marks().into_iter().enumerate() {
            text += &line(&format!("corner {}", k + 1), mark(at));
        }
        for (k, at) in self.side_marks().into_iter().enumerate() {
            text += &line(&format!("side {}", k + 1), mark(at));
        }
        for place in &self.places {
            text += &line(&place.name, Rectangle::square(place.centre, STEP_MM));
        }
        text
    }
}

//! One patch of the panel in a scan: its pixels as cells, what doesn't belong left out and named, the mean of the rest.

use super::frame::{Point, Rectangle};
use super::marks::Found;
use super::outliers::{MODIFIED_Z, modified_z};
use super::plane::{MOST, Plane};
use crate::tone::lightness::lstar_from_reflectance;

/// Room left inside a patch's edge: this part of its side, at least [`MARGIN_MM`], at most a quarter.
const MARGIN_SHARE: f64 = 0.12;
const MARGIN_MM: f64 = 1.0;
/// Pixels of the picture across a cell, at least.
const ACROSS: f64 = 2.0;
/// Smallest spread of cells that counts, L*: finer is the grain of the codes.
const LEAST_LSTAR: f64 = 0.05;
/// Blocks each way by which the mean's own spread is judged.
const BLOCKS: usize = 4;
/// A patch that loses more than this part of its cells is not read.
pub const LOST_MAX: f64 = 0.3;
/// A spot this many times longer than wide is a scratch.
const SCRATCH: f64 = 4.0;

/// What a spot that was left out looks like.
#[derive(Debug, Clone, Copy, PartialEq, Eq, serde::Serialize)]
#[serde(rename_all = "lowercase")]
pub enum SpotKind {
    /// Darker or lighter than its patch, compact.
    Dust,
    /// Long and thin.
    Scratch,
    /// Lighter, compact, with pixels at the scanner's upper end.
    Glare,
}

/// A spot of a patch that was left out.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Left {
    pub kind: SpotKind,
    /// Middle and size, where the panel lies, mm.
    pub region: Rectangle,
    pub cells: usize,
    /// Mean lightness less that of the patch.
    pub off_lstar: f64,
}

/// What was read of a patch.
#[derive(Debug, Clone, PartialEq)]
pub struct PatchReading {
    pub reflectance: f64,
    /// Mean signal of the cells that count, 0 to 1.
    pub signal: f64,
    /// Standard deviation of the cells, L*.
    pub spread_lstar: f64,
    /// Of the mean, from the spread of blocks, L*.
    pub u_mean_lstar: f64,
    /// Standard deviation of one pixel's signal within its patch, codes of the scanner.
    pub noise_codes: f64,
    pub cells: usize,
    /// Share of cells left out.
    pub lost: f64,
    /// Share of pixels at the lower and the upper end of the scanner's range, among those that count.
    pub clipped: (f64, f64),
    pub left: Vec<Left>,
}

/// The part of a patch that is read, mm.
pub fn inside(patch: Rectangle) -> Rectangle {
    let side = patch.width.min(patch.height);
    patch.grown(-(MARGIN_SHARE * side).max(MARGIN_MM).min(0.25 * side))
}

/// Sums of one cell.
#[derive(Clone, Copy, Default)]
struct Cell {
    lit: f64,
    signal: f64,
    squares: f64,
    pixels: f64,
    high: u32,
    low: u32,
}

/// How a picture's signal becomes reflectance.
pub struct Reader<'a> {
    pub plane: &'a Plane,
    pub found: &'a Found,
    /// Light times reflectance of every signal.
    pub lit: &'a [f32],
    /// Light at a place of the frame.
    pub light: &'a (dyn Fn(Point) -> f64 + Sync),
    /// A pixel of the panel, mm.
    pub pitch_mm: f64,
}

impl Reader<'_> {
    /// Reads a region, mm; `None` where fewer than four cells of it are in the picture.
    pub fn read(&self, region: Rectangle) -> Option<PatchReading> {
        let grid = Grid::over(region, self.cell_mm(region));
        let cells = self.cells(region, &grid);
        let seen: Vec<usize> = (0..cells.len())
            .filter(|&k| cells[k].pixels > 0.0)
            .collect();
        if seen.len() < 4 {
            return None;
        }
        let reflectance: Vec<f64> = seen
            .iter()
            .map(|&k| cells[k].lit / cells[k].pixels / (self.light)(grid.middle(k)))
            .collect();
        let lstar: Vec<f64> = reflectance
            .iter()
            .map(|r| lstar_from_reflectance(*r))
            .collect();
        let z = modified_z(&lstar, LEAST_LSTAR);
        let (kept, far): (Vec<usize>, Vec<usize>) =
            (0..seen.len()).partition(|&i| z[i].abs() <= MODIFIED_Z);
        let n = kept.len() as f64;
        let mean = |of: &dyn Fn(usize) -> f64| kept.iter().map(|&i| of(i)).sum::<f64>() / n;
        let mean_lstar = mean(&|i| lstar[i]);
        let squares = mean(&|i| (lstar[i] - mean_lstar).powi(2));
        let counted: Vec<Cell> = kept.iter().map(|&i| cells[seen[i]]).collect();
        let placed: Vec<(usize, f64)> = kept.iter().map(|&i| (seen[i], lstar[i])).collect();
        let off: Vec<(usize, f64)> = far
            .iter()
            .map(|&i| (seen[i], lstar[i] - mean_lstar))
            .collect();
        Some(PatchReading {
            reflectance: mean(&|i| reflectance[i]),
            signal: mean(&|i| cells[seen[i]].signal / cells[seen[i]].pixels) / f64::from(MOST),
            spread_lstar: (squares * n / (n - 1.0).max(1.0)).sqrt(),
            u_mean_lstar: grid.u_of_mean(&placed),
            noise_codes: noise(&counted) / self.plane.code(),
            cells: seen.len(),
            lost: far.len() as f64 / seen.len() as f64,
            clipped: (at_end(&counted, |c| c.low), at_end(&counted, |c| c.high)),
            left: grid.spots(&off, &cells),
        })
    }

    /// Sums over a region's cells.
    fn cells(&self, region: Rectangle, grid: &Grid) -> Vec<Cell> {
        let mut cells = vec![Cell::default(); grid.across * grid.down];
        let maps = (&self.found.to_picture, &self.found.from_picture);
        self.plane.each_within(region, maps, |place, signal| {
            if let Some(cell) = grid.at(place).and_then(|at| cells.get_mut(at)) {
                let value = f64::from(signal);
                cell.lit += f64::from(self.lit[usize::from(signal)]);
                cell.signal += value;
                cell.squares += value * value;
                cell.pixels += 1.0;
                cell.high += u32::from(signal == MOST);
                cell.low += u32::from(signal == 0);
            }
        });
        cells
    }

    /// The most that the mean of a region moves when it is read `by_mm` further to any side, L*.
    pub fn placement_lstar(&self, region: Rectangle, lstar: f64, by_mm: f64) -> f64 {
        let moves = [(by_mm, 0.0), (-by_mm, 0.0), (0.0, by_mm), (0.0, -by_mm)];
        let moved = moves.iter().filter_map(|by| self.read(region.moved(*by)));
        moved
            .map(|r| (lstar_from_reflectance(r.reflectance) - lstar).abs())
            .fold(0.0, f64::max)
    }

    /// Side of a cell: whole pixels of the panel, wide enough in the picture.
    fn cell_mm(&self, region: Rectangle) -> f64 {
        let factor = self
            .found
            .to_picture
            .area_factor(region.centre())
            .abs()
            .sqrt();
        let pixels = (ACROSS / (self.pitch_mm * factor)).ceil().max(1.0);
        pixels * self.pitch_mm
    }
}

/// Share of pixels at one end of the scanner's range.
fn at_end(cells: &[Cell], of: fn(&Cell) -> u32) -> f64 {
    let total: f64 = cells.iter().map(|c| c.pixels).sum();
    cells.iter().map(|c| f64::from(of(c))).sum::<f64>() / total
}

/// Pixel noise within cells, signal.
fn noise(cells: &[Cell]) -> f64 {
    let (mut squares, mut freedom) = (0.0, 0.0);
    for c in cells {
        squares += (c.squares - c.signal * c.signal / c.pixels).max(0.0);
        freedom += c.pixels - 1.0;
    }
    (squares / f64::max(freedom, 1.0)).sqrt()
}

/// Cells over a region.
struct Grid {
    region: Rectangle,
    across: usize,
    down: usize,
}

impl Grid {
    fn over(region: Rectangle, cell_mm: f64) -> Self {
        let cells = |length: f64| (length / cell_mm).round().clamp(1.0, 4096.0) as usize;
        Grid {
            region,
            across: cells(region.width),
            down: cells(region.height),
        }
    }

    fn at(&self, place: Point) -> Option<usize> {
        let x = (place.0 - self.region.x) / self.region.width * self.across as f64;
        let y = (place.1 - self.region.y) / self.region.height * self.down as f64;
        let (x, y) = (x as usize, y as usize);
        (x < self.across && y < self.down).then_some(y * self.across + x)
    }

    fn size(&self) -> Point {
        (
            self.region.width / self.across as f64,
            self.region.height / self.down as f64,
        )
    }

    fn middle(&self, cell: usize) -> Point {
        let (w, h) = self.size();
        (
            self.region.x + ((cell % self.across) as f64 + 0.5) * w,
            self.region.y + ((cell / self.across) as f64 + 0.5) * h,
        )
    }

    /// Standard uncertainty of the mean, from the spread of the means of blocks: neighbours may go together.
    fn u_of_mean(&self, kept: &[(usize, f64)]) -> f64 {
        let mut blocks = vec![(0.0, 0.0); BLOCKS * BLOCKS];
        for &(cell, lstar) in kept {
            let x = (cell % self.across) * BLOCKS / self.across;
            let y = (cell / self.across) * BLOCKS / self.down;
            let block = &mut blocks[y * BLOCKS + x];
            *block = (block.0 + lstar, block.1 + 1.0);
        }
        let means: Vec<f64> = blocks
            .iter()
            .filter(|b| b.1 > 0.0)
            .map(|b| b.0 / b.1)
            .collect();
        let n = means.len() as f64;
        let mean = means.iter().sum::<f64>() / n;
        let squares: f64 = means.iter().map(|m| (m - mean).powi(2)).sum();
        (squares / (n - 1.0).max(1.0) / n).sqrt()
    }

    /// Cells that were left out, neighbours together.
    fn spots(&self, far: &[(usize, f64)], cells: &[Cell]) -> Vec<Left> {
        let mut open: Vec<(usize, f64)> = far.to_vec();
        let mut spots = Vec::new();
        while let Some(first) = open.pop() {
            let (mut spot, mut next) = (vec![first], 0);
            while next < spot.len() {
                let (here, sign) = (spot[next].0, first.1.signum());
                let near = |other: &(usize, f64)| {
                    let off = |a: usize, b: usize| a.abs_diff(b) <= 1;
                    other.1.signum() == sign
                        && off(other.0 % self.across, here % self.across)
                        && off(other.0 / self.across, here / self.across)
                };
                let (joined, rest): (Vec<_>, Vec<_>) = open.iter().copied().partition(near);
                spot.extend(joined);
                open = rest;
                next += 1;
            }
            spots.push(self.spot(&spot, cells));
        }
        spots.sort_by(|a, b| {
            b.cells
                .cmp(&a.cells)
                .then(a.region.y.total_cmp(&b.region.y))
        });
        spots
    }

    fn spot(&self, cells_off: &[(usize, f64)], cells: &[Cell]) -> Left {
        let (w, h) = self.size();
        let at = cells_off.iter().map(|c| self.middle(c.0));
        let low = |of: fn(&Point) -> f64| at.clone().map(|p| of(&p)).fold(f64::INFINITY, f64::min);
        let high =
            |of: fn(&Point) -> f64| at.clone().map(|p| of(&p)).fold(f64::NEG_INFINITY, f64::max);
        let region = Rectangle {
            x: low(|p| p.0) - w / 2.0,
            y: low(|p| p.1) - h / 2.0,
            width: high(|p| p.0) - low(|p| p.0) + w,
            height: high(|p| p.1) - low(|p| p.1) + h,
        };
        let n = cells_off.len() as f64;
        let length = (region.width / w).hypot(region.height / h);
        let at_top = cells_off.iter().any(|c| cells[c.0].high > 0);
        let kind = match n {
            n if n >= 4.0 && length * length / n > SCRATCH => SpotKind::Scratch,
            _ if at_top => SpotKind::Glare,
            _ => SpotKind::Dust,
        };
        Left {
            kind,
            region,
            cells: cells_off.len(),
            off_lstar: cells_off.iter().map(|c| c.1).sum::<f64>() / n,
        }
    }
}

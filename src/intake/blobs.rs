//! Connected dark shapes of a black-and-white picture, and their holes.

use super::frame::Point;

/// A dark shape, its holes filled.
#[derive(Debug, Clone, PartialEq)]
pub struct Blob {
    /// Mean of its pixels' centres.
    pub centre: Point,
    /// Pixels, holes included.
    pub area: f64,
    /// Leftmost, uppermost, rightmost, lowest pixel.
    pub bounds: [usize; 4],
    /// Area of each hole, pixels.
    pub holes: Vec<f64>,
    /// Share of the pixels outside the ellipse of the same second moments: a hundredth or so for a disc.
    pub off_ellipse: f64,
    /// Area over that of the ellipse: 1 for an ellipse.
    pub fullness: f64,
}

/// Dark shapes between `least` and `most` pixels wide and high that don't touch the picture's edge.
pub fn blobs(dark: &[bool], width: usize, height: usize, least: usize, most: usize) -> Vec<Blob> {
    let mut label = vec![0u32; dark.len()];
    let (mut found, mut next, mut stack) = (Vec::new(), 0u32, Vec::new());
    for start in 0..dark.len() {
        if !dark[start] || label[start] != 0 {
            continue;
        }
        next += 1;
        let (mut bounds, mut pixels) = ([width, height, 0, 0], 0usize);
        label[start] = next;
        stack.push(start);
        while let Some(at) = stack.pop() {
            let (x, y) = (at % width, at / width);
            pixels += 1;
            bounds = [
                bounds[0].min(x),
                bounds[1].min(y),
                bounds[2].max(x),
                bounds[3].max(y),
            ];
            for ny in y.saturating_sub(1)..=(y + 1).min(height - 1) {
                for nx in x.saturating_sub(1)..=(x + 1).min(width - 1) {
                    let n = ny * width + nx;
                    if dark[n] && label[n] == 0 {
                        label[n] = next;
                        stack.push(n);
                    }
                }
            }
        }
        let size = [bounds[2] + 1 - bounds[0], bounds[3] + 1 - bounds[1]];
        let inner =
            bounds[0] > 0 && bounds[1] > 0 && bounds[2] + 1 < width && bounds[3] + 1 < height;
        let fits = size.iter().all(|s| (least..=most).contains(s));
        // A disc fills its box by more than half, however it is turned.
        if inner && fits && 2 * pixels > size[0] * size[1] / 2 {
            found.push(shape(&label, width, next, bounds));
        }
    }
    found
}

/// The shape of one label within its bounds.
fn shape(label: &[u32], width: usize, own: u32, bounds: [usize; 4]) -> Blob {
    // One pixel of room on each side, from which the outside is flooded.
    let (w, h) = (bounds[2] + 3 - bounds[0], bounds[3] + 3 - bounds[1]);
    let is_own = |x: usize, y: usize| {
        let inside = x > 0 && y > 0 && x + 1 < w && y + 1 < h;
        inside && label[(y - 1 + bounds[1]) * width + x - 1 + bounds[0]] == own
    };
    const OUTSIDE: u32 = 1;
    let mut region: Vec<u32> = vec![0; w * h];
    flood(&mut region, (w, h), 0, OUTSIDE, &is_own);
    let mut holes = Vec::new();
    for at in 0..w * h {
        if region[at] == 0 && !is_own(at % w, at / w) {
            let number = OUTSIDE + 1 + holes.len() as u32;
            holes.push(flood(&mut region, (w, h), at, number, &is_own) as f64);
        }
    }
    let filled = || {
        let inside = (0..w * h).filter(|&at| region[at] != OUTSIDE);
        inside.map(|at| ((at % w) as f64 - 0.5, (at / w) as f64 - 0.5))
    };
    let area = filled().count() as f64;
    let (sx, sy) = filled().fold((0.0, 0.0), |s, p| (s.0 + p.0, s.1 + p.1));
    let (cx, cy) = (sx / area, sy / area);
    // A pixel is a square, of variance 1/12.
    let (mut xx, mut xy, mut yy) = (1.0 / 12.0, 0.0, 1.0 / 12.0);
    for (x, y) in filled() {
        let (dx, dy) = (x - cx, y - cy);
        xx += dx * dx / area;
        xy += dx * dy / area;
        yy += dy * dy / area;
    }
    let det = (xx * yy - xy * xy).max(f64::MIN_POSITIVE);
    // An ellipse lies within 2 standard deviations of its own moments; a little room for the pixels' stairs.
    const EDGE: f64 = 4.0 * 1.15;
    let outside = |(x, y): &Point| {
        let (dx, dy) = (x - cx, y - cy);
        (yy * dx * dx - 2.0 * xy * dx * dy + xx * dy * dy) / det > EDGE
    };
    Blob {
        centre: (bounds[0] as f64 + cx, bounds[1] as f64 + cy),
        area,
        bounds,
        holes,
        off_ellipse: filled().filter(outside).count() as f64 / area,
        fullness: area / (4.0 * std::f64::consts::PI * det.sqrt()),
    }
}

/// Gives every pixel that can be reached from `start` without crossing the shape a number; how many there are.
fn flood(
    region: &mut [u32],
    (w, h): (usize, usize),
    start: usize,
    number: u32,
    wall: &impl Fn(usize, usize) -> bool,
) -> usize {
    let (mut stack, mut count) = (vec![start], 0);
    region[start] = number;
    while let Some(at) = stack.pop() {
        count += 1;
        let (x, y) = (at % w, at / w);
        let around = [
            (x.wrapping_sub(1), y),
            (x + 1, y),
            (x, y.wrapping_sub(1)),
            (x, y + 1),
        ];
        for (nx, ny) in around {
            if nx < w && ny < h && region[ny * w + nx] == 0 && !wall(nx, ny) {
                region[ny * w + nx] = number;
                stack.push(ny * w + nx);
            }
        }
    }
    count
}

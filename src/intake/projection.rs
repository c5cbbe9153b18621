//! The projective map of a plane onto another.

use super::frame::Point;
use nalgebra::{DMatrix, DVector, Matrix3, Vector3};

/// x' = (h₁₁x + h₁₂y + h₁₃)/(h₃₁x + h₃₂y + h₃₃), y' likewise.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Projection(Matrix3<f64>);

impl Projection {
    /// The map that takes `from` to `to`, at least four points of each: exactly for four, by least squares for more.
    /// `None` where there are fewer, or three of four lie on a line.
    ///
    /// Points are centred and scaled first. Source: R. Hartley, A. Zisserman, Multiple View Geometry, 2nd ed., 4.1 and
    /// 4.4 (from memory).
    pub fn through(from: &[Point], to: &[Point]) -> Option<Self> {
        if from.len() < 4 || from.len() != to.len() {
            return None;
        }
        let (a, b) = (normaliser(from)?, normaliser(to)?);
        let mut rows = DMatrix::zeros(2 * from.len(), 8);
        let mut right = DVector::zeros(2 * from.len());
        for (k, (f, t)) in from.iter().zip(to).enumerate() {
            let ((x, y), (u, v)) = (Projection(a).at(*f), Projection(b).at(*t));
            let u_row = [x, y, 1.0, 0.0, 0.0, 0.0, -u * x, -u * y];
            let v_row = [0.0, 0.0, 0.0, x, y, 1.0, -v * x, -v * y];
            for c in 0..8 {
                rows[(2 * k, c)] = u_row[c];
                rows[(2 * k + 1, c)] = v_row[c];
            }
            right[2 * k] = u;
            right[2 * k + 1] = v;
        }
        let svd = rows.svd(true, true);
        let (least, most) = (svd.singular_values.min(), svd.singular_values.max());
        if least.is_nan() || least < 1e-9 * most {
            return None;
        }
        let h = svd.solve(&right, 0.0).ok()?;
        let h = Matrix3::new(h[0], h[1], h[2], h[3], h[4], h[5], h[6], h[7], 1.0);
        let h = b.try_inverse()? * h * a;
        let scale = h[(2, 2)];
        (scale.abs() > f64::MIN_POSITIVE && h.iter().all(|e| e.is_finite()))
            .then(|| Projection(h / scale))
    }

    pub fn at(&self, (x, y): Point) -> Point {
        let p = self.0 * Vector3::new(x, y, 1.0);
        (p.x / p.z, p.y / p.z)
    }

    pub fn inverse(&self) -> Option<Self> {
        self.0.try_inverse().map(Projection)
    }

    /// How many times an area grows at a point; negative where the map mirrors.
    pub fn area_factor(&self, (x, y): Point) -> f64 {
        let z = (self.0 * Vector3::new(x, y, 1.0)).z;
        self.0.determinant() / z.powi(3)
    }

    /// Row by row, the last 1.
    pub fn elements(&self) -> [f64; 9] {
        let h = &self.0;
        std::array::from_fn(|k| h[(k / 3, k % 3)])
    }
}

/// Moves the mean to the origin and scales the mean distance to √2.
fn normaliser(points: &[Point]) -> Option<Matrix3<f64>> {
    let n = points.len() as f64;
    let (x, y) = points
        .iter()
        .fold((0.0, 0.0), |(x, y), p| (x + p.0 / n, y + p.1 / n));
    let distance = points.iter().map(|p| (p.0 - x).hypot(p.1 - y)).sum::<f64>() / n;
    let s = std::f64::consts::SQRT_2 / distance;
    s.is_finite()
        .then(|| Matrix3::new(s, 0.0, -s * x, 0.0, s, -s * y, 0.0, 0.0, 1.0))
}

/// Twice the signed area of a polygon: above 0 where it runs clockwise as seen (y down).
pub fn turning(corners: &[Point]) -> f64 {
    let next = corners.iter().cycle().skip(1);
    corners
        .iter()
        .zip(next)
        .map(|(a, b)| a.0 * b.1 - b.0 * a.1)
        .sum()
}

/// Whether four corners, in order, make a figure without crossing or bending inwards.
pub fn convex(corners: &[Point; 4]) -> bool {
    let turn = |k: usize| {
        let (a, b, c) = (corners[k], corners[(k + 1) % 4], corners[(k + 2) % 4]);
        (b.0 - a.0) * (c.1 - b.1) - (b.1 - a.1) * (c.0 - b.0)
    };
    (0..4).all(|k| turn(k) > 0.0) || (0..4).all(|k| turn(k) < 0.0)
}

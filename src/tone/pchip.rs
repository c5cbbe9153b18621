//! Monotone cubic interpolation between knots.
//!
//! Source: F. N. Fritsch, R. E. Carlson, "Monotone piecewise cubic interpolation", SIAM J. Numer. Anal. 17 (1980)
//! 238–246; slopes by the weighted harmonic mean of F. N. Fritsch, J. Butland, SIAM J. Sci. Stat. Comput. 5 (1984)
//! 300–304 (both from memory).

/// Why knots make no monotone curve.
#[derive(Debug, Clone, Copy, PartialEq, thiserror::Error)]
pub enum KnotError {
    #[error("{0} knots: at least 2 are needed")]
    TooFew(usize),
    #[error("knot {index} is ({x}, {y}): both must be finite and above those of the knot before")]
    NotRising { index: usize, x: f64, y: f64 },
}

/// A strictly rising cubic Hermite curve through knots (x, y), x and y both rising.
#[derive(Debug, Clone, PartialEq)]
pub struct MonotoneCubic {
    x: Vec<f64>,
    y: Vec<f64>,
    slopes: Vec<f64>,
}

impl MonotoneCubic {
    pub fn new(x: Vec<f64>, y: Vec<f64>) -> Result<Self, KnotError> {
        let knots = x.len().min(y.len());
        if knots < 2 || x.len() != y.len() {
            return Err(KnotError::TooFew(knots));
        }
        for index in 0..knots {
            let finite = x[index].is_finite() && y[index].is_finite();
            let rising = index == 0 || (x[index] > x[index - 1] && y[index] > y[index - 1]);
            if !finite || !rising {
                return Err(KnotError::NotRising {
                    index,
                    x: x[index],
                    y: y[index],
                });
            }
        }
        let slopes = slopes(&x, &y);
        Ok(Self { x, y, slopes })
    }

    /// The curve at `x`; past the ends, the value of the end knot.
    pub fn value(&self, x: f64) -> f64 {
        let x = self.clamped(x);
        let (k, width) = self.piece(&self.x, x);
        self.on_piece(k, (x - self.x[k]) / width)
    }

    /// dy/dx at `x`; past the ends, that of the end knot.
    pub fn slope(&self, x: f64) -> f64 {
        let x = self.clamped(x);
        let (k, width) = self.piece(&self.x, x);
        let t = (x - self.x[k]) / width;
        let chord = (self.y[k + 1] - self.y[k]) / width;
        6.0 * t * (1.0 - t) * chord
            + (1.0 - t) * (1.0 - 3.0 * t) * self.slopes[k]
            + t * (3.0 * t - 2.0) * self.slopes[k + 1]
    }

    /// The x at which the curve takes the value `y`; past the ends, the x of the end knot.
    pub fn inverse(&self, y: f64) -> f64 {
        let y = y.clamp(self.y[0], self.y[self.y.len() - 1]);
        let (k, _) = self.piece(&self.y, y);
        let (mut low, mut high) = (0.0, 1.0);
        // One bit a step: enough for every bit of the fraction.
        for _ in 0..60 {
            let middle = 0.5 * (low + high);
            if self.on_piece(k, middle) < y {
                low = middle;
            } else {
                high = middle;
            }
        }
        self.x[k] + 0.5 * (low + high) * (self.x[k + 1] - self.x[k])
    }

    fn clamped(&self, x: f64) -> f64 {
        x.clamp(self.x[0], self.x[self.x.len() - 1])
    }

    /// The piece in which `at` lies along `axis`, and its width there.
    fn piece(&self, axis: &[f64], at: f64) -> (usize, f64) {
        let k = axis
            .partition_point(|knot| *knot <= at)
            .clamp(1, axis.len() - 1)
            - 1;
        (k, axis[k + 1] - axis[k])
    }

    /// The cubic of piece `k` at the share `t` of its width.
    fn on_piece(&self, k: usize, t: f64) -> f64 {
        let width = self.x[k + 1] - self.x[k];
        let s = 1.0 - t;
        let smooth = t * t * (3.0 - 2.0 * t);
        self.y[k]
            + smooth * (self.y[k + 1] - self.y[k])
            + width * t * s * (s * self.slopes[k] - t * self.slopes[k + 1])
    }
}

fn slopes(x: &[f64], y: &[f64]) -> Vec<f64> {
    let widths: Vec<f64> = x.windows(2).map(|w| w[1] - w[0]).collect();
    let chords: Vec<f64> = y
        .windows(2)
        .zip(&widths)
        .map(|(w, h)| (w[1] - w[0]) / h)
        .collect();
    let last = chords.len() - 1;
    if last == 0 {
        return vec![chords[0]; 2];
    }
    let mut slopes = vec![end_slope(widths[0], widths[1], chords[0], chords[1])];
    slopes.extend(
        (1..=last).map(|k| inner_slope(widths[k - 1], widths[k], chords[k - 1], chords[k])),
    );
    slopes.push(end_slope(
        widths[last],
        widths[last - 1],
        chords[last],
        chords[last - 1],
    ));
    slopes
}

/// Weighted harmonic mean of the chords on both sides: never more than three times the flatter one.
fn inner_slope(left: f64, right: f64, left_chord: f64, right_chord: f64) -> f64 {
    let (a, b) = (2.0 * right + left, right + 2.0 * left);
    (a + b) / (a / left_chord + b / right_chord)
}

/// Three-point slope at an end, kept between 0 and three times the end's own chord.
fn end_slope(own: f64, next: f64, own_chord: f64, next_chord: f64) -> f64 {
    let slope = ((2.0 * own + next) * own_chord - own * next_chord) / (own + next);
    slope.clamp(0.0, 3.0 * own_chord)
}

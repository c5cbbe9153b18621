//! Drift and diffusion along one dimension by finite volumes.
//!
//! ∂(A·c)/∂t = −∂/∂x [A·(−D·∂c/∂x − μ·c·∂φ/∂x)], no flux through either end; A the open cross-section, φ the potential.
//! Between neighbouring cells the flux is the exact one of a linear potential (Scharfetter & Gummel, IEEE Trans. Electron
//! Devices 16, 64, 1969). It is linear in the amounts, and its matrix has no negative entry beside its diagonal and columns
//! that sum to zero: amounts stay positive and none is lost, on any grid and at any field.

use crate::pigment::bernoulli;

/// One cell.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Cell {
    pub width_m: f64,
    /// Open cross-section, in any one unit.
    pub open: f64,
    /// Potential at the middle, V; pigment drifts down it.
    pub potential_v: f64,
}

/// The tridiagonal generator of the amounts in the cells: dn/dt = G·n, 1/s.
#[derive(Debug, Clone, PartialEq)]
pub struct Transport {
    /// Rate from cell i to i + 1.
    up: Vec<f64>,
    /// Rate from cell i + 1 to i.
    down: Vec<f64>,
}

/// TR-BDF2 (Bank et al., IEEE Trans. Electron Devices 32, 1992, 1985) with both stages of one matrix: γ = 2 − √2.
const GAMMA: f64 = 2.0 - std::f64::consts::SQRT_2;

impl Transport {
    /// Cells in order; `mobility` in m²/(V·s); `thermal_v` is diffusivity over mobility, V.
    pub fn new(cells: &[Cell], mobility_m2_per_vs: f64, thermal_v: f64) -> Self {
        let (mut up, mut down) = (Vec::new(), Vec::new());
        for pair in cells.windows(2) {
            let (a, b) = (pair[0], pair[1]);
            // Two half cells in series.
            let conductance = 1.0 / (0.5 * a.width_m / a.open + 0.5 * b.width_m / b.open);
            let diffusion = mobility_m2_per_vs * thermal_v * conductance;
            let rise = (b.potential_v - a.potential_v) / thermal_v;
            up.push(diffusion * bernoulli(rise) / (a.width_m * a.open));
            down.push(diffusion * bernoulli(-rise) / (b.width_m * b.open));
        }
        Transport { up, down }
    }

    pub fn cells(&self) -> usize {
        self.up.len() + 1
    }

    /// dn/dt.
    pub fn rate(&self, amounts: &[f64]) -> Vec<f64> {
        let mut rate = vec![0.0; amounts.len()];
        for (i, (up, down)) in self.up.iter().zip(&self.down).enumerate() {
            let flux = up * amounts[i] - down * amounts[i + 1];
            rate[i] -= flux;
            rate[i + 1] += flux;
        }
        rate
    }

    /// The scheme's step of `seconds`.
    pub fn stepper(&self, seconds: f64) -> Stepper<'_> {
        // γ/2 of the step is also the weight of the second stage, (1 − γ)/(2 − γ).
        let weight = 0.5 * GAMMA * seconds;
        Stepper {
            transport: self,
            weight,
            factors: Factors::new(self, weight),
        }
    }
}

/// The amounts without any flux, summing to 1: Boltzmann's, width × open × exp(−potential/thermal).
pub fn balance(cells: &[Cell], thermal_v: f64) -> Vec<f64> {
    let lowest_v = cells
        .iter()
        .map(|c| c.potential_v)
        .fold(f64::INFINITY, f64::min);
    let amount = |c: &Cell| c.width_m * c.open * (-(c.potential_v - lowest_v) / thermal_v).exp();
    let sum: f64 = cells.iter().map(amount).sum();
    cells.iter().map(|c| amount(c) / sum).collect()
}

/// One time step, ready to be taken: L-stable, of order two, and conserving.
#[derive(Debug, Clone)]
pub struct Stepper<'a> {
    transport: &'a Transport,
    weight: f64,
    factors: Factors,
}

impl Stepper<'_> {
    /// Trapezoidal rule over γ of the step, then the second-order backward formula over the whole.
    pub fn step(&self, amounts: &mut [f64]) {
        let rate = self.transport.rate(amounts);
        let mut middle: Vec<f64> = amounts
            .iter()
            .zip(&rate)
            .map(|(n, r)| n + self.weight * r)
            .collect();
        self.factors.solve(&mut middle);
        let (new, old) = (
            1.0 / (GAMMA * (2.0 - GAMMA)),
            (1.0 - GAMMA).powi(2) / (GAMMA * (2.0 - GAMMA)),
        );
        for (n, m) in amounts.iter_mut().zip(&middle) {
            *n = new * m - old * *n;
        }
        self.factors.solve(amounts);
    }
}

/// 1 − weight·G, eliminated.
#[derive(Debug, Clone)]
struct Factors {
    /// Below the diagonal over the pivot above it.
    lower: Vec<f64>,
    /// One over each pivot.
    inverse: Vec<f64>,
    upper: Vec<f64>,
}

impl Factors {
    fn new(transport: &Transport, weight: f64) -> Self {
        let n = transport.cells();
        let leaving = |i: usize| {
            let up = transport.up.get(i).copied().unwrap_or(0.0);
            let down = if i > 0 { transport.down[i - 1] } else { 0.0 };
            up + down
        };
        let upper: Vec<f64> = transport.down.iter().map(|d| -weight * d).collect();
        let (mut lower, mut inverse) = (Vec::new(), vec![1.0 / (1.0 + weight * leaving(0))]);
        for i in 1..n {
            let factor = -weight * transport.up[i - 1] * inverse[i - 1];
            inverse.push(1.0 / (1.0 + weight * leaving(i) - factor * upper[i - 1]));
            lower.push(factor);
        }
        Factors {
            lower,
            inverse,
            upper,
        }
    }

    fn solve(&self, x: &mut [f64]) {
        for i in 1..x.len() {
            x[i] -= self.lower[i - 1] * x[i - 1];
        }
        let last = x.len() - 1;
        x[last] *= self.inverse[last];
        for i in (0..last).rev() {
            x[i] = (x[i] - self.upper[i] * x[i + 1]) * self.inverse[i];
        }
    }
}

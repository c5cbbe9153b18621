//! The test panel: what a pixel is made of, and how pigment moves in it under a pixel voltage.

use super::liquid::{Viscosity, ZERO_C_K, mobility_m2_per_vs, thermal_v};
use super::propagator::{Amounts, Propagator};
use super::transport::{Cell, Transport, balance};

/// One region of the gap.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Region {
    pub length_m: f64,
    /// Share of the pixel voltage that drops along it.
    pub field_share: f64,
    pub cells: usize,
}

/// Across the pixel: well, barrier, window.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Gap {
    pub well: Region,
    pub barrier: Region,
    pub window: Region,
    /// Open share of the barrier's cross-section.
    pub open_share: f64,
}

/// Particles of one kind.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Population {
    /// Share of the pigment; the shares sum to 1.
    pub share: f64,
    pub radius_m: f64,
    /// Elementary charges.
    pub charges: f64,
    /// Height of the barrier in its middle, V.
    pub barrier_v: f64,
}

#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Liquid {
    pub viscosity: Viscosity,
    /// Factor on diffusion: stirring by the ions of the liquid.
    pub agitation: f64,
}

#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Optics {
    /// Of the window without pigment.
    pub white_reflectance: f64,
    /// Share of the area that is well and barrier.
    pub covered_share: f64,
    /// Of that share.
    pub covered_reflectance: f64,
    /// Decadic, both ways through the window, with all pigment evenly spread over it.
    pub density: f64,
}

/// What the panel goes through outside its refreshes, at 0 V but for the first.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct History {
    /// Pixel voltage held until nothing moves: the fully dark panel.
    pub dark_v: f64,
    /// From then to the refresh.
    pub dark_rest_s: f64,
    /// From the end of a refresh to its reading.
    pub reading_s: f64,
    /// From a reading to the next refresh of the same panel.
    pub between_s: f64,
}

/// A panel in numbers, SI units; see `calibration/test-panel.toml`.
#[derive(Debug, Clone, PartialEq)]
pub struct TestPanel {
    pub name: String,
    pub threshold_shift_v: f64,
    pub speed_factor: f64,
    pub liquid: Liquid,
    pub gap: Gap,
    pub populations: Vec<Population>,
    pub optics: Optics,
    pub history: History,
    /// Longest time step.
    pub step_s: f64,
}

impl TestPanel {
    /// The same panel with every population's threshold moved by so many volts of pixel voltage, over any earlier shift.
    pub fn with_threshold_shift_v(mut self, shift_v: f64) -> Self {
        self.threshold_shift_v += shift_v;
        self
    }

    /// The same panel with every mobility, and with it every diffusivity, times `factor`.
    pub fn with_speed_factor(mut self, factor: f64) -> Self {
        self.speed_factor *= factor;
        self
    }

    /// Pixel voltage at which the barrier's slope vanishes for a population, V, the shift included.
    pub fn threshold_v(&self, population: &Population) -> f64 {
        2.0 * population.barrier_v / self.gap.barrier.field_share + self.threshold_shift_v
    }

    /// m²/(V·s).
    pub fn mobility_m2_per_vs(&self, population: &Population, temperature_c: f64) -> f64 {
        let viscosity = self.liquid.viscosity.pa_s(temperature_c + ZERO_C_K);
        self.speed_factor * mobility_m2_per_vs(population.charges, population.radius_m, viscosity)
    }

    /// Diffusivity over mobility, V: that of Einstein times the agitation.
    pub fn thermal_v(&self, population: &Population, temperature_c: f64) -> f64 {
        self.liquid.agitation * thermal_v(population.charges, temperature_c + ZERO_C_K)
    }

    /// The rates of one population at a pixel voltage and a temperature.
    pub fn transport(
        &self,
        population: &Population,
        pixel_v: f64,
        temperature_c: f64,
    ) -> Transport {
        Transport::new(
            &self.cells(population, pixel_v),
            self.mobility_m2_per_vs(population, temperature_c),
            self.thermal_v(population, temperature_c),
        )
    }

    /// The cells of the gap as a population feels them; positive voltages drive it into the window.
    pub fn cells(&self, population: &Population, pixel_v: f64) -> Vec<Cell> {
        let gap = &self.gap;
        let height_v = 0.5 * self.threshold_v(population).max(0.0) * gap.barrier.field_share;
        let mut fallen_v = 0.0;
        let mut cells = Vec::new();
        for (region, open, height_v) in [
            (&gap.well, 1.0, 0.0),
            (&gap.barrier, gap.open_share, height_v),
            (&gap.window, 1.0, 0.0),
        ] {
            for i in 0..region.cells {
                let along = (i as f64 + 0.5) / region.cells as f64;
                // A roof: up to the middle, down after it.
                let roof = 1.0 - (2.0 * along - 1.0).abs();
                cells.push(Cell {
                    width_m: region.length_m / region.cells as f64,
                    open,
                    potential_v: height_v * roof - fallen_v - along * region.field_share * pixel_v,
                });
            }
            fallen_v += region.field_share * pixel_v;
        }
        cells
    }

    /// First cell of the window.
    pub fn window_start(&self) -> usize {
        self.gap.well.cells + self.gap.barrier.cells
    }

    /// Luminous reflectance from the amounts of each population in the cells, each summing to 1: Beer–Lambert in every
    /// cell of the window, and the covered share.
    pub fn reflectance<'a>(&self, amounts: impl Iterator<Item = &'a [f64]>) -> f64 {
        let (start, cells) = (self.window_start(), self.gap.window.cells);
        let mut window = vec![0.0; cells];
        for (population, amounts) in self.populations.iter().zip(amounts) {
            for (sum, n) in window.iter_mut().zip(&amounts[start..]) {
                *sum += population.share * n;
            }
        }
        let optics = &self.optics;
        let passed = |n: &f64| 10f64.powf(-optics.density * n * cells as f64);
        let mean = window.iter().map(passed).sum::<f64>() / cells as f64;
        (1.0 - optics.covered_share) * optics.white_reflectance * mean
            + optics.covered_share * optics.covered_reflectance
    }

    /// All pigment over the window by the voltage `dark_v`, then at rest: one vector a population.
    pub fn dark(&self, temperature_c: f64) -> Vec<Amounts> {
        let of = |p: &Population| {
            let cells = self.cells(p, self.history.dark_v);
            let full = balance(&cells, self.thermal_v(p, temperature_c));
            let rest = self.transport(p, 0.0, temperature_c);
            Propagator::hold(&rest, self.history.dark_rest_s, self.step_s).apply(&full.into())
        };
        self.populations.iter().map(of).collect()
    }
}

//! Particles in a liquid: drag, diffusion, viscosity.

use std::f64::consts::PI;

/// Elementary charge, C: exact since the 2019 SI (CODATA 2018).
pub const ELEMENTARY_CHARGE_C: f64 = 1.602_176_634e-19;
/// Boltzmann constant, J/K: exact since the 2019 SI (CODATA 2018).
pub const BOLTZMANN_J_PER_K: f64 = 1.380_649e-23;
/// 0 °C, K.
pub const ZERO_C_K: f64 = 273.15;

/// Viscosity by temperature: ln(η / mPa·s) = offset + strength/(T − vogel), T in K (Vogel, Fulcher, Tammann).
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Viscosity {
    pub offset: f64,
    pub strength_k: f64,
    pub vogel_k: f64,
}

impl Viscosity {
    /// Pa·s at `temperature_k`, which is held 1 K above `vogel_k`.
    pub fn pa_s(&self, temperature_k: f64) -> f64 {
        let above = (temperature_k - self.vogel_k).max(1.0);
        1e-3 * (self.offset + self.strength_k / above).exp()
    }
}

/// Drift speed per field of a sphere, m²/(V·s): μ = z·e/(6πηr) (Stokes).
pub fn mobility_m2_per_vs(charges: f64, radius_m: f64, viscosity_pa_s: f64) -> f64 {
    charges * ELEMENTARY_CHARGE_C / (6.0 * PI * viscosity_pa_s * radius_m)
}

/// kT/(z·e), V: diffusivity over mobility (Einstein), D = μ·kT/(z·e).
pub fn thermal_v(charges: f64, temperature_k: f64) -> f64 {
    BOLTZMANN_J_PER_K * temperature_k / (charges * ELEMENTARY_CHARGE_C)
}

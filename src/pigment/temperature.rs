//! How the speed of everything follows the viscosity of the liquid.

use serde::{Deserialize, Serialize};

/// Speed is 1 here, °C.
pub const REFERENCE_C: f64 = 23.0;
const ZERO_C_K: f64 = 273.15;
/// Molar gas constant, kJ/(mol·K): exact since the 2019 SI (CODATA 2018).
const GAS_KJ_PER_MOL_K: f64 = 8.314_462_618e-3;

/// The temperature law of the liquid's viscosity, as speed relative to the reference temperature.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case", deny_unknown_fields)]
pub enum TemperatureLaw {
    /// A(T) = exp(−E/R · (1/T − 1/T₀)).
    Arrhenius { activation_kj_per_mol: f64 },
    /// Vogel–Fulcher–Tammann: A(T) = exp(B/(T₀ − T_V) − B/(T − T_V)).
    Vft { strength_k: f64, vogel_k: f64 },
}

impl TemperatureLaw {
    /// A(T), 1 at the reference temperature; for VFT the temperature is held 1 K above `vogel_k`.
    pub fn speed(&self, temperature_c: f64) -> f64 {
        let (t, t0) = (temperature_c + ZERO_C_K, REFERENCE_C + ZERO_C_K);
        match *self {
            TemperatureLaw::Arrhenius {
                activation_kj_per_mol: e,
            } => (-e / GAS_KJ_PER_MOL_K * (1.0 / t - 1.0 / t0)).exp(),
            TemperatureLaw::Vft {
                strength_k,
                vogel_k,
            } => {
                let over = |t: f64| strength_k / (t - vogel_k).max(1.0);
                (over(t0) - over(t)).exp()
            }
        }
    }

    /// Temperature, °C, less the reference temperature, K.
    pub fn above_reference_k(&self, temperature_c: f64) -> f64 {
        temperature_c - REFERENCE_C
    }
}

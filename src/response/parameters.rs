//! The parameters of a response: symbol, unit, range, prior; and the way between them and the model.

use super::model::Response;
use super::rung::Rung;
use crate::pigment::{Crossing, Exchange, Kinetics, Spread, TemperatureLaw};
use crate::tone::ResponseCurve;

/// How a parameter is moved by the fit so that it stays in its range.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Scale {
    /// Any value.
    Linear,
    /// > 0; moved in its logarithm.
    Log,
    /// Strictly between; moved in ln((x − low)/(high − x)).
    Between { low: f64, high: f64 },
}

impl Scale {
    /// The value as the fit moves it.
    pub fn inward(self, value: f64) -> f64 {
        match self {
            Scale::Linear => value,
            Scale::Log => value.ln(),
            Scale::Between { low, high } => ((value - low) / (high - value)).ln(),
        }
    }

    /// The parameter, in its unit, from the value that the fit moves; inside its range for every finite one.
    pub fn outward(self, moved: f64) -> f64 {
        match self {
            Scale::Linear => moved,
            Scale::Log => moved.exp(),
            Scale::Between { low, high } => low + (high - low) / (1.0 + (-moved).exp()),
        }
    }

    /// d(value)/d(moved) at `moved`.
    pub fn slope(self, moved: f64) -> f64 {
        match self {
            Scale::Linear => 1.0,
            Scale::Log => moved.exp(),
            Scale::Between { low, high } => {
                let share = 1.0 / (1.0 + (-moved).exp());
                (high - low) * share * (1.0 - share)
            }
        }
    }
}

/// One parameter of the response, with what is known of it before any reading.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Parameter {
    pub symbol: &'static str,
    pub unit: &'static str,
    pub meaning: &'static str,
    pub scale: Scale,
    /// Most likely value before any reading.
    pub prior: f64,
    /// Standard deviation before any reading, as the fit moves the parameter.
    pub prior_sigma: f64,
}

/// What the chart and the panel say before any reading: typical voltages and times.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Scene {
    /// Typical pixel voltage of a selected row while its column is on, V.
    pub on_v: f64,
    /// Typical disturb, V.
    pub data_v: f64,
    /// Typical time of a slot, s.
    pub slot_s: f64,
    /// Typical time of an erase, s.
    pub erase_s: f64,
}

/// The smallest 1/n of the Yule–Nielsen factor n: past 20 the curve can't be told from an exponential one.
const LEAST_INVERSE_N: f64 = 1.0 / 20.0;

/// The free parameters of `rung`, in order; `parameters` and `build` walk the same list.
pub fn parameters(rung: Rung, scene: &Scene) -> Vec<Parameter> {
    let threshold_v = (scene.on_v * scene.data_v).sqrt();
    let rate_per_vs = 1.0 / ((scene.on_v - threshold_v).max(0.1 * scene.on_v) * scene.slot_s);
    let p = |symbol, unit, meaning, scale, prior, prior_sigma| Parameter {
        symbol,
        unit,
        meaning,
        scale,
        prior,
        prior_sigma,
    };
    let inverse_n = Scale::Between {
        low: LEAST_INVERSE_N,
        high: 1.0,
    };
    let mut list = vec![
        p(
            "R_clear",
            "",
            "reflectance of the clear pixel",
            Scale::Log,
            0.72,
            0.2,
        ),
        p(
            "R_dark",
            "",
            "reflectance at full coverage",
            Scale::Log,
            0.03,
            1.0,
        ),
        p(
            "1/n",
            "",
            "inverse of the Yule–Nielsen factor",
            inverse_n,
            0.4,
            1.5,
        ),
        p(
            "kappa_cross",
            "1/(V s)",
            "crossing rate per volt above threshold",
            Scale::Log,
            rate_per_vs,
            1.5,
        ),
        p(
            "u_cross",
            "V",
            "crossing threshold",
            Scale::Log,
            threshold_v,
            0.5,
        ),
        p(
            "s_cross",
            "V",
            "softness of the crossing threshold",
            Scale::Log,
            0.1 * threshold_v,
            1.0,
        ),
        p(
            "kappa_return",
            "1/(V s)",
            "return rate per volt above threshold",
            Scale::Log,
            rate_per_vs,
            1.5,
        ),
        p(
            "u_return",
            "V",
            "return threshold",
            Scale::Log,
            threshold_v,
            0.5,
        ),
        p(
            "s_return",
            "V",
            "softness of the return threshold",
            Scale::Log,
            0.1 * threshold_v,
            1.0,
        ),
        p(
            "du/dT",
            "V/K",
            "change of both thresholds with temperature",
            Scale::Linear,
            0.0,
            2e-3 * threshold_v,
        ),
        p("sigma_m", "", "spread of ln mobility", Scale::Log, 0.3, 1.0),
        p(
            "sigma_u",
            "V",
            "spread of the crossing threshold",
            Scale::Log,
            0.1 * threshold_v,
            1.0,
        ),
    ];
    if rung.vft {
        let vogel = Scale::Between {
            low: 20.0,
            high: 250.0,
        };
        list.push(p(
            "B",
            "K",
            "strength of the VFT law",
            Scale::Log,
            900.0,
            0.7,
        ));
        list.push(p("T_V", "K", "Vogel temperature", vogel, 80.0, 1.0));
    } else {
        list.push(p(
            "E_A",
            "kJ/mol",
            "activation energy of the viscosity",
            Scale::Log,
            13.0,
            0.5,
        ));
    }
    if rung.store {
        list.push(p(
            "k_store",
            "1/s",
            "rate of store-ready diffusion",
            Scale::Log,
            1.0 / scene.slot_s,
            1.5,
        ));
        list.push(p(
            "v_store",
            "V",
            "voltage where drift takes over in the store",
            Scale::Log,
            threshold_v,
            1.0,
        ));
    }
    if rung.window {
        let rate = 3.0 / scene.erase_s;
        list.push(p(
            "k_window",
            "1/s",
            "rate of diffusion into the window",
            Scale::Log,
            rate,
            1.5,
        ));
        list.push(p(
            "v_window",
            "V",
            "voltage where drift takes over in the window",
            Scale::Log,
            0.5 * threshold_v,
            1.0,
        ));
        list.push(p(
            "b_window",
            "V",
            "pixel voltage that holds pigment at the window's edge",
            Scale::Linear,
            -0.5 * threshold_v,
            threshold_v,
        ));
    }
    if rung.independent_spread {
        list.push(p(
            "rho",
            "",
            "correlation of mobility and threshold",
            Scale::Between {
                low: -1.0,
                high: 1.0,
            },
            0.8,
            1.5,
        ));
    }
    list
}

/// Quadrature nodes across mobility, where the spreads are independent, and along it there.
const NODES_INDEPENDENT: usize = 3;

/// The response whose parameters, in the order of [`parameters`], have these values, with `nodes` classes along the
/// spread of mobility; `None` where no curve has them.
pub fn build(rung: Rung, values: &[f64], nodes: usize) -> Option<Response> {
    let mut next = values.iter().copied();
    let mut take = || next.next();
    let (clear, dark, inverse_n) = (take()?, take()?, take()?);
    let mut crossing = || {
        Some(Crossing {
            rate_per_vs: take()?,
            threshold_v: take()?,
            softness_v: take()?,
        })
    };
    let (crossing, returning) = (crossing()?, crossing()?);
    let (threshold_slope_v_per_k, mobility_sigma, threshold_sigma_v) = (take()?, take()?, take()?);
    let temperature = if rung.vft {
        TemperatureLaw::Vft {
            strength_k: take()?,
            vogel_k: take()?,
        }
    } else {
        TemperatureLaw::Arrhenius {
            activation_kj_per_mol: take()?,
        }
    };
    let store = if rung.store {
        Some(Exchange {
            rate_per_s: take()?,
            scale_v: take()?,
            offset_v: 0.0,
        })
    } else {
        None
    };
    let window = if rung.window {
        Some(Exchange {
            rate_per_s: take()?,
            scale_v: take()?,
            offset_v: take()?,
        })
    } else {
        None
    };
    let correlation = if rung.independent_spread {
        take()?
    } else {
        1.0
    };
    let across = if rung.independent_spread {
        NODES_INDEPENDENT
    } else {
        1
    };
    let spread = Spread {
        mobility_sigma,
        threshold_sigma_v,
        correlation,
        mobility_nodes: if rung.independent_spread {
            NODES_INDEPENDENT
        } else {
            nodes
        },
        threshold_nodes: across,
    };
    let kinetics = Kinetics {
        crossing,
        returning,
        store,
        window,
        threshold_slope_v_per_k,
        temperature,
        spread,
    };
    let curve = ResponseCurve::new(clear, dark, 1.0 / inverse_n).ok()?;
    Some(Response { kinetics, curve })
}

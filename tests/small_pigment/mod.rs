//! A pigment with every stage and both spreads, near what a panel at room temperature asks for.

use greyloom::pigment::{
    Class, Crossing, Exchange, Kinetics, Mover, Spread, State, TemperatureLaw,
};
use proptest::prelude::*;

/// Shares: rounding of up to some hundred compositions.
pub const ROUNDING: f64 = 1e-12;

pub fn near(got: &State, wanted: &State, tolerance: f64) -> bool {
    got.iter()
        .zip(wanted)
        .all(|(g, w)| (g - w).abs() <= tolerance)
}

pub fn kinetics() -> Kinetics {
    Kinetics {
        crossing: Crossing {
            rate_per_vs: 3.8,
            threshold_v: 6.5,
            softness_v: 0.5,
        },
        returning: Crossing {
            rate_per_vs: 2.5,
            threshold_v: 5.7,
            softness_v: 0.5,
        },
        store: Some(Exchange {
            rate_per_s: 60.0,
            scale_v: 15.0,
            offset_v: 0.0,
        }),
        window: Some(Exchange {
            rate_per_s: 3.0,
            scale_v: 2.5,
            offset_v: -6.0,
        }),
        threshold_slope_v_per_k: -0.0075,
        temperature: TemperatureLaw::Arrhenius {
            activation_kj_per_mol: 12.0,
        },
        spread: Spread {
            mobility_sigma: 0.3,
            threshold_sigma_v: 0.6,
            correlation: 0.5,
            mobility_nodes: 3,
            threshold_nodes: 2,
        },
    }
}

pub fn movers(kinetics: &Kinetics) -> Vec<Mover<'_>> {
    let mover = |class: Class| Mover {
        kinetics,
        class,
        temperature_c: 14.0,
        stretch: 1.1,
    };
    kinetics.spread.classes().into_iter().map(mover).collect()
}

/// Shares in cumulative form, which fall from place to place.
pub fn any_state() -> impl Strategy<Value = State> {
    prop::array::uniform3(0.0..=1.0f64).prop_map(|mut x| {
        x.sort_by(|a, b| b.total_cmp(a));
        x
    })
}

//! Invariants of the pigment: closed forms, independent exponentials, bounds and order of shares, spreads.

mod small_pigment;

use greyloom::pigment::{
    Class, Exchange, Map, PACKED, Rates, SPREAD, Spread, State, gauss_hermite,
};
use nalgebra::{DMatrix, DVector};
use proptest::prelude::*;
use small_pigment::{ROUNDING, any_state, kinetics, movers, near};

/// Shares: some ten squarings, each of which doubles the rounding error.
const SERIES: f64 = 1e-12;

/// Shares: up to 3000 jumps are 2¹⁵ pieces, which multiply the rounding of one, 1e-16, as often.
const LONG_SERIES: f64 = 1e-11;

/// Shares: fourth-order Runge–Kutta at 2·10⁴ steps, relative step error below (rate·step)⁵/120 each.
const RUNGE_KUTTA: f64 = 1e-10;

/// The chain in the plain shares of its places, one column a place, straight from the words store ⇄ ready ⇄ crossed ⇄ spread:
/// dp/dt = G·p.
fn generator(r: &Rates) -> DMatrix<f64> {
    let jumps = [
        (0, 1, r.store_to_ready),
        (1, 0, r.ready_to_store),
        (1, 2, r.ready_to_crossed),
        (2, 1, r.crossed_to_ready),
        (2, 3, r.crossed_to_spread),
        (3, 2, r.spread_to_crossed),
    ];
    let mut g = DMatrix::zeros(4, 4);
    for (from, to, rate) in jumps {
        g[(to, from)] += rate;
        g[(from, from)] -= rate;
    }
    g
}

fn plain_shares(x: &State) -> DVector<f64> {
    DVector::from_vec(vec![1.0 - x[0], x[0] - x[1], x[1] - x[2], x[2]])
}

fn cumulative(p: &DVector<f64>) -> State {
    [p[1] + p[2] + p[3], p[2] + p[3], p[3]]
}

fn rates_of(values: [f64; 6]) -> Rates {
    Rates {
        store_to_ready: values[0],
        ready_to_store: values[1],
        ready_to_crossed: values[2],
        crossed_to_ready: values[3],
        crossed_to_spread: values[4],
        spread_to_crossed: values[5],
    }
}

/// One crossing stage at constant voltage: 1 − exp(−k·t).
#[test]
fn one_stage_has_its_closed_form() {
    for k in [0.01, 1.0, 80.0] {
        for seconds in [1e-4, 0.05, 3.0] {
            let rates = Rates {
                ready_to_crossed: k,
                ..Rates::default()
            };
            let x = rates.map(seconds).apply(&[1.0, 0.0, 0.0]);
            let wanted = 1.0 - (-k * seconds).exp();
            assert!(
                near(&x, &[1.0, wanted, 0.0], SERIES),
                "{k} {seconds}: {x:?}"
            );
        }
    }
}

/// Two places in exchange: the way to balance a/(a+b) is one exponential of rate a + b.
#[test]
fn crossing_and_return_have_their_closed_form() {
    let (a, b, t): (f64, f64, f64) = (7.0, 3.0, 0.13);
    let rates = Rates {
        ready_to_crossed: a,
        crossed_to_ready: b,
        ..Rates::default()
    };
    let x = rates.map(t).apply(&[1.0, 1.0, 0.0]);
    let wanted = a / (a + b) + b / (a + b) * (-(a + b) * t).exp();
    assert!((x[1] - wanted).abs() <= SERIES);
}

/// The whole chain against the matrix exponential of nalgebra (Padé), a route of its own.
#[test]
fn chain_against_a_matrix_exponential() {
    let sets = [
        [60.0, 40.0, 20.0, 0.1, 3.0, 5.0],
        [0.3, 0.0, 150.0, 0.0, 0.01, 0.0],
        [1.0, 400.0, 0.0, 30.0, 2.0, 90.0],
    ];
    for rates in sets.map(rates_of) {
        for seconds in [5e-4, 0.063, 1.1] {
            let exact = (generator(&rates) * seconds).exp();
            for start in [PACKED, [1.0, 0.0, 0.0], [0.8, 0.5, 0.1], SPREAD] {
                let wanted = cumulative(&(&exact * plain_shares(&start)));
                let got = rates.map(seconds).apply(&start);
                assert!(
                    near(&got, &wanted, SERIES),
                    "{rates:?}, {seconds} s: {got:?}, not {wanted:?}"
                );
            }
        }
    }
}

/// The whole chain against fine fourth-order Runge–Kutta steps.
#[test]
fn chain_against_runge_kutta() {
    const STEPS: u32 = 20_000;
    let rates = rates_of([60.0, 40.0, 20.0, 0.1, 3.0, 5.0]);
    let g = generator(&rates);
    let seconds = 0.5;
    let h = seconds / f64::from(STEPS);
    let mut p = plain_shares(&[0.8, 0.5, 0.1]);
    for _ in 0..STEPS {
        let k1 = &g * &p;
        let k2 = &g * (&p + &k1 * (h / 2.0));
        let k3 = &g * (&p + &k2 * (h / 2.0));
        let k4 = &g * (&p + &k3 * h);
        p += (k1 + k2 * 2.0 + k3 * 2.0 + k4) * (h / 6.0);
    }
    let got = rates.map(seconds).apply(&[0.8, 0.5, 0.1]);
    assert!(near(&got, &cumulative(&p), RUNGE_KUTTA), "{got:?}");
}

#[test]
fn composed_maps_are_steps_one_after_another() {
    let a = rates_of([60.0, 40.0, 20.0, 0.1, 3.0, 5.0]).map(0.02);
    let b = rates_of([1.0, 400.0, 0.0, 30.0, 2.0, 90.0]).map(0.007);
    let start = [0.7, 0.4, 0.2];
    assert!(near(
        &a.then(&b).apply(&start),
        &b.apply(&a.apply(&start)),
        ROUNDING
    ));
    let mut stepped = start;
    for n in 0..=40usize {
        assert!(near(&a.power(n).apply(&start), &stepped, ROUNDING), "{n}");
        assert!(
            near(&a.powers(40)[n].apply(&start), &stepped, ROUNDING),
            "{n}"
        );
        stepped = a.apply(&stepped);
    }
    assert_eq!(Map::IDENTITY.then(&a), a);
}

/// In balance the flux there equals the flux back: forward/backward of an exchange is e^x, x = (v − offset)/scale.
#[test]
fn exchange_keeps_detailed_balance() {
    let exchange = Exchange {
        rate_per_s: 3.0,
        scale_v: 2.5,
        offset_v: -1.5,
    };
    for v in [-18.0, -1.6, -1.5, -1.5 + 1e-9, 0.0, 4.0, 18.0] {
        let (forward, backward) = exchange.rates(v);
        let x: f64 = (v + 1.5) / 2.5;
        assert!(
            (forward / backward / x.exp() - 1.0).abs() <= ROUNDING,
            "{v}"
        );
        // Drift alone is left of the difference: forward − backward = rate·x.
        assert!(
            (forward - backward - 3.0 * x).abs() <= ROUNDING * (1.0 + x.abs()),
            "{v}"
        );
        let far = Rates {
            store_to_ready: forward,
            ready_to_store: backward,
            ..Rates::default()
        };
        let balance = forward / (forward + backward);
        assert!(
            (far.map(100.0).apply(&PACKED)[0] - balance).abs() <= ROUNDING,
            "{v}"
        );
    }
    let k = kinetics();
    let rested = movers(&k)[0].hold(0.0, 0.0).apply(&k.clear());
    assert!((rested[0] - 0.5).abs() <= ROUNDING);
}

/// Every forward rate rises and every backward rate falls with the voltage: what monotone order rests on.
#[test]
fn rates_are_monotone_in_voltage() {
    let k = kinetics();
    for mover in movers(&k) {
        let at = |v: f64| k.rates(&mover.class, v, mover.temperature_c);
        for step in -400..400 {
            let (low, high) = (at(f64::from(step) * 0.05), at(f64::from(step + 1) * 0.05));
            let rises = [
                (low.store_to_ready, high.store_to_ready),
                (low.ready_to_crossed, high.ready_to_crossed),
                (low.crossed_to_spread, high.crossed_to_spread),
                (high.ready_to_store, low.ready_to_store),
                (high.crossed_to_ready, low.crossed_to_ready),
                (high.spread_to_crossed, low.spread_to_crossed),
            ];
            assert!(
                rises.iter().all(|(a, b)| 0.0 <= *a && a <= b),
                "{low:?} {high:?}"
            );
        }
    }
}

/// Moments of the standard normal: odd ones 0, even ones (m−1)!!, exact to order 2n − 1.
#[test]
fn gauss_hermite_moments_are_exact() {
    for n in 1..=7usize {
        let rule = gauss_hermite(n);
        assert_eq!(rule.len(), n);
        for order in 0..2 * n as i32 {
            let moment: f64 = rule.iter().map(|(x, w)| w * x.powi(order)).sum();
            let wanted: f64 = if order % 2 == 1 {
                0.0
            } else {
                (1..order).step_by(2).map(f64::from).product()
            };
            let size: f64 = rule.iter().map(|(x, w)| w * x.abs().powi(order)).sum();
            assert!(
                (moment - wanted).abs() <= ROUNDING * size.max(1.0),
                "{n} nodes, order {order}: {moment}"
            );
        }
    }
}

/// The classes carry the spread that was asked for: shares 1, variances and correlation, at 5 × 3 nodes.
#[test]
fn classes_carry_their_spread() {
    let spread = Spread {
        mobility_sigma: 0.3,
        threshold_sigma_v: 0.6,
        correlation: 0.5,
        mobility_nodes: 5,
        threshold_nodes: 3,
    };
    let classes = spread.classes();
    let mean = |of: &dyn Fn(&Class) -> f64| classes.iter().map(|c| c.share * of(c)).sum::<f64>();
    let speed = |c: &Class| c.mobility.ln();
    let wanted = [
        (mean(&|_| 1.0), 1.0),
        (mean(&speed), 0.0),
        (mean(&|c| speed(c).powi(2)), 0.09),
        (mean(&|c| c.threshold_shift_v.powi(2)), 0.36),
        (mean(&|c| speed(c) * c.threshold_shift_v), 0.5 * 0.3 * 0.6),
    ];
    for (i, (got, wanted)) in wanted.into_iter().enumerate() {
        assert!((got - wanted).abs() <= ROUNDING, "{i}: {got}, not {wanted}");
    }
}

fn any_rates() -> impl Strategy<Value = Rates> {
    prop::array::uniform6(prop_oneof![Just(0.0), 1e-6..500.0f64]).prop_map(rates_of)
}

proptest! {
    /// No entry of a map is negative, whatever the rates: order is kept to the last bit.
    #[test]
    fn maps_have_no_negative_entry(rates in any_rates(), seconds in 0.0..3.0f64) {
        let map = rates.map(seconds);
        prop_assert!(map.rows.iter().flatten().all(|m| *m >= 0.0), "{map:?}");
    }

    /// Shares stay in 0…1 and in order: ready or further ≥ crossed or further ≥ spread.
    #[test]
    fn shares_stay_ordered_within_their_bounds(rates in any_rates(), seconds in 0.0..3.0f64, start in any_state()) {
        let x = rates.map(seconds).apply(&start);
        prop_assert!(x[0] <= 1.0 + LONG_SERIES && x[2] >= 0.0, "{x:?}");
        prop_assert!(x[0] + LONG_SERIES >= x[1] && x[1] + LONG_SERIES >= x[2], "{x:?}");
    }

}

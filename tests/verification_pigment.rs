//! Invariants of the pigment: closed forms, independent exponentials, bounds and order, columns against plain stepping.

use greyloom::drive::Field;
use greyloom::pigment::{
    Class, Column, Crossing, Exchange, Kinetics, Map, Mover, PACKED, Rates, Run, SPREAD, SlotMaps,
    Spread, State, TemperatureLaw, gauss_hermite, step_pieces,
};
use nalgebra::{DMatrix, DVector};
use proptest::prelude::*;

/// Shares: rounding of up to some hundred compositions.
const ROUNDING: f64 = 1e-12;

/// Shares: some ten squarings, each of which doubles the rounding error.
const SERIES: f64 = 1e-12;

/// Shares: up to 3000 jumps are 2¹⁵ pieces, which multiply the rounding of one, 1e-16, as often.
const LONG_SERIES: f64 = 1e-11;

/// Shares: fourth-order Runge–Kutta at 2·10⁴ steps, relative step error below (rate·step)⁵/120 each.
const RUNGE_KUTTA: f64 = 1e-10;

fn near(got: &State, wanted: &State, tolerance: f64) -> bool {
    got.iter()
        .zip(wanted)
        .all(|(g, w)| (g - w).abs() <= tolerance)
}

/// Near what a panel of 23 °C asks for.
fn kinetics() -> Kinetics {
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

fn movers(kinetics: &Kinetics) -> Vec<Mover<'_>> {
    let mover = |class: Class| Mover {
        kinetics,
        class,
        temperature_c: 14.0,
        stretch: 1.1,
    };
    kinetics.spread.classes().into_iter().map(mover).collect()
}

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

fn field(select_v: f64, data_v: f64, slot_ticks: u32, guard_ticks: u32, mirrored: bool) -> Field {
    Field {
        select_v,
        data_v,
        tick_us: 1000,
        slot_ticks,
        guard_ticks,
        mirrored,
    }
}

/// One to three fields: plain, guarded, mirrored, lightening.
fn schemes() -> Vec<Vec<Field>> {
    let (strong, weak) = (
        field(9.0, 3.0, 40, 0, false),
        field(5.5, 2.25, 16, 4, false),
    );
    let mirrored = field(9.0, 3.5, 31, 3, true);
    let lightening = field(-7.0, 2.5, 20, 2, false);
    vec![
        vec![strong],
        vec![mirrored],
        vec![strong, weak],
        vec![strong, lightening],
        vec![mirrored, lightening, weak],
    ]
}

const SETTLE_S: f64 = 2e-3;

/// One pixel of a column, slot by slot, piece by piece.
fn stepped(
    mover: &Mover,
    fields: &[Field],
    content: &[Vec<u32>],
    row: usize,
    start: State,
) -> State {
    let mut x = start;
    for (f, field) in fields.iter().enumerate() {
        for (other, ticks) in content.iter().enumerate() {
            let pieces = if other == row {
                field.own_slot(ticks[f])
            } else {
                field.other_slot(ticks[f])
            };
            x = step_pieces(mover, field.tick_s(), &pieces, x);
        }
        x = mover.hold(0.0, SETTLE_S).apply(&x);
    }
    x
}

/// Runs of unlike length, one of a single row, with ticks at both ends and between.
fn runs(fields: &[Field]) -> Vec<Run> {
    let spans = [(0, 0), (1, 7), (8, 9), (10, 12)];
    let ticks = |i: u32, f: &Field| [0, f.slot_ticks, f.slot_ticks / 3, 1][i as usize];
    let each = spans.iter().zip(0u32..);
    each.map(|(&(first, last), i)| Run {
        first,
        last,
        ticks: fields.iter().map(|f| ticks(i, f)).collect(),
    })
    .collect()
}

#[test]
fn columns_are_slots_one_after_another() {
    let k = kinetics();
    for fields in schemes() {
        let runs = runs(&fields);
        let content: Vec<Vec<u32>> = runs
            .iter()
            .flat_map(|r| std::iter::repeat_n(r.ticks.clone(), r.rows()))
            .collect();
        for mover in movers(&k) {
            let slots: Vec<SlotMaps> = fields.iter().map(|f| SlotMaps::new(&mover, f)).collect();
            let column = Column::new(&slots, mover.hold(0.0, SETTLE_S), &runs);
            for (i, run) in runs.iter().enumerate() {
                for row in run.first..=run.last {
                    for start in [PACKED, k.clear(), SPREAD] {
                        let got = column.end_state(i, row, start);
                        let wanted = stepped(&mover, &fields, &content, row, start);
                        assert!(
                            near(&got, &wanted, ROUNDING),
                            "{fields:?}, row {row}: {got:?}, not {wanted:?}"
                        );
                    }
                }
            }
        }
    }
}

/// Every content of a column of 5 rows: each of the four others with any ticks of a slot of 4. For plain fields the extremes
/// of every stage of every class are all others on and all off, before and after one's own slot.
#[test]
fn all_on_and_all_off_bound_every_content() {
    const ROWS: usize = 5;
    const TICKS: u32 = 4;
    let k = kinetics();
    let plain = [
        field(9.0, 3.0, TICKS, 0, false),
        field(9.0, 4.5, TICKS, 2, false),
        field(-7.0, 2.5, TICKS, 1, false),
    ]
    .map(|f| Field {
        tick_us: 15_000,
        ..f
    });
    for (field, mover) in plain
        .iter()
        .flat_map(|f| movers(&k).into_iter().map(move |m| (f, m)))
    {
        let slots = SlotMaps::new(&mover, field);
        let others: Vec<Map> = (0..=TICKS).map(|t| slots.other(t)).collect();
        // On in a lightening field is the lower voltage.
        let (low, high) = if field.select_v < 0.0 {
            (TICKS, 0)
        } else {
            (0, TICKS)
        };
        for (row, own) in [(0, 2), (2, 0), (2, 3), (4, TICKS)] {
            let end = |content: [u32; ROWS - 1]| {
                let own = slots.own(own);
                let before = content[..row]
                    .iter()
                    .fold(k.clear(), |x, &t| others[t as usize].apply(&x));
                content[row..]
                    .iter()
                    .fold(own.apply(&before), |x, &t| others[t as usize].apply(&x))
            };
            let (lowest, highest) = (end([low; 4]), end([high; 4]));
            for n in 0..(TICKS + 1).pow(4) {
                let x = end([0, 1, 2, 3].map(|place| n / (TICKS + 1).pow(place) % (TICKS + 1)));
                for stage in 0..3 {
                    assert!(
                        lowest[stage] - 1e-15 <= x[stage] && x[stage] <= highest[stage] + 1e-15,
                        "{field:?}, row {row}, content {n}, stage {stage}"
                    );
                }
            }
            assert!(highest[1] > lowest[1]);
        }
    }
}

fn any_rates() -> impl Strategy<Value = Rates> {
    prop::array::uniform6(prop_oneof![Just(0.0), 1e-6..500.0f64]).prop_map(rates_of)
}

fn any_state() -> impl Strategy<Value = State> {
    prop::array::uniform3(0.0..=1.0f64).prop_map(|mut x| {
        x.sort_by(|a, b| b.total_cmp(a));
        x
    })
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

    /// Two waveforms, one nowhere below the other: it never gives the lower coverage, at any moment, in any class, from
    /// any start nowhere below the other's.
    #[test]
    fn a_higher_voltage_never_gives_a_lower_coverage(
        waveform in prop::collection::vec((-20.0..20.0f64, 0.0..6.0f64, 1e-4..0.3f64), 1..12),
        start in any_state(),
        class in 0..6usize,
    ) {
        let k = kinetics();
        let mover = movers(&k)[class];
        let (mut low, mut high) = (start, start);
        for (v, above, seconds) in waveform {
            low = mover.hold(v, seconds).apply(&low);
            high = mover.hold(v + above, seconds).apply(&high);
            for stage in 0..3 {
                prop_assert!(high[stage] >= low[stage] - SERIES, "{low:?} {high:?}");
            }
        }
    }
}

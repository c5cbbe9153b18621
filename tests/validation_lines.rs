//! Delays of row and column lines against the exact series' published values and against independent ladders.

use greyloom::drive::{Line, Matrix};
use nalgebra::{DMatrix, DVector};

/// Units of RC: the table's values carry five decimals.
const PRINTED_RC: f64 = 0.5e-5 + 1e-9;

/// Units of RC: the ladder values carry five decimals.
const PRINTED_LADDER_RC: f64 = 0.5e-5 + 1e-9;

/// Share of a step: the table's values carry six decimals.
const PRINTED_SHARE: f64 = 0.5e-6 + 1e-9;

/// Relative: handbook constants are rounded to one or two digits, most within 3.1 %; 0.1 for 0.130 is 30.2 % low.
const HANDBOOK_SHARE: f64 = 0.032;
const HANDBOOK_EARLY_SHARE: f64 = 0.302;

/// Share of a step: a ladder of 240 π-sections lies within (1/240)²·10 of the distributed line.
const FINE_LADDER_SHARE: f64 = 2e-4;

/// What the table prints as 63.2 %: 1 − 1/e (0.632 itself would give 0.50305).
const ONE_TIME_CONSTANT: f64 = 1.0 - 1.0 / std::f64::consts::E;

const BARE: Line = Line {
    ohm: 2.0,
    farad: 0.5,
    driver_ohm: 0.0,
    load_farad: 0.0,
};

fn near(got: f64, wanted: f64, tolerance: f64) -> bool {
    (got - wanted).abs() <= tolerance
}

/// The standard series for an ideal step source and an open far end, calculated outside this program. BARE has RC = 1 s.
#[test]
fn arrival_times_at_the_far_end() {
    let step = BARE.step_at(1.0);
    let table = [
        (0.1, 0.13016),
        (0.5, 0.37875),
        (ONE_TIME_CONSTANT, 0.50318),
        (0.9, 1.03110),
        (0.99, 1.96431),
    ];
    for (share, units) in table {
        let got = step.delay_s(share);
        assert!(near(got, units, PRINTED_RC), "{share}: {got}, not {units}");
    }
    let rise = step.delay_s(0.9) - step.delay_s(0.1);
    assert!(near(rise, 0.90095, PRINTED_RC), "{rise}");
}

/// Weste & Harris; Bakoglu 1990 (from memory): 0.1, 0.38, 0.5, 1.0, 0.9.
#[test]
fn handbook_constants() {
    let step = BARE.step_at(1.0);
    for (share, constant) in [(0.5, 0.38), (0.632, 0.5), (0.9, 1.0)] {
        let got = step.delay_s(share);
        assert!(near(got / constant, 1.0, HANDBOOK_SHARE), "{share}: {got}");
    }
    assert!(near(step.delay_s(0.1) / 0.1, 1.0, HANDBOOK_EARLY_SHARE));
    let rise = step.delay_s(0.9) - step.delay_s(0.1);
    assert!(near(rise / 0.9, 1.0, HANDBOOK_SHARE));
}

/// The same table: v(0.5 RC), v(RC), and the slowest time constant 4·RC/π².
#[test]
fn shares_and_slowest_time_constant() {
    let step = BARE.step_at(1.0);
    assert!(near(step.value(0.5), 0.629223, PRINTED_SHARE));
    assert!(near(step.value(1.0), 0.892023, PRINTED_SHARE));
    let slowest = step.dominant().unwrap();
    assert!(near(1.0 / slowest.rate_per_s, 0.405285, PRINTED_SHARE));
    assert!(near(slowest.amplitude, 4.0 / std::f64::consts::PI, 1e-12));
}

/// The printed series itself, at places along the line.
#[test]
fn series_along_the_line() {
    let series = |x: f64, t: f64| {
        let term = |k: i32| {
            let w = f64::from(2 * k + 1) * std::f64::consts::PI / 2.0;
            2.0 / w * (w * x).sin() * (-w * w * t).exp()
        };
        1.0 - (0..200).map(term).sum::<f64>()
    };
    for x in [0.05, 0.3, 0.5, 0.8, 1.0] {
        let step = BARE.step_at(x);
        for t in [0.01, 0.1, 0.4, 1.0, 3.0] {
            assert!(near(step.value(t), series(x, t), 1e-12), "x {x}, t {t}");
        }
    }
}

/// An RC ladder solved by its eigenvalues: the node's answer to a unit step.
struct Ladder {
    rates: DVector<f64>,
    weights: Vec<f64>,
}

impl Ladder {
    /// `ohms[i]` leads to node i, which carries `farads[i]`; the source stands before the first.
    fn new(ohms: &[f64], farads: &[f64], node: usize) -> Self {
        let n = farads.len();
        let after = |i: usize| if i + 1 < n { 1.0 / ohms[i + 1] } else { 0.0 };
        let symmetric = DMatrix::from_fn(n, n, |i, j| {
            let conductance = match i.abs_diff(j) {
                0 => 1.0 / ohms[i] + after(i),
                1 => -1.0 / ohms[i.max(j)],
                _ => 0.0,
            };
            conductance / (farads[i] * farads[j]).sqrt()
        });
        let eigen = symmetric.symmetric_eigen();
        let vectors = &eigen.eigenvectors;
        let start = |k: usize| {
            (0..n)
                .map(|j| vectors[(j, k)] * farads[j].sqrt())
                .sum::<f64>()
        };
        let weights = (0..n)
            .map(|k| vectors[(node, k)] / farads[node].sqrt() * start(k))
            .collect();
        Ladder {
            rates: eigen.eigenvalues,
            weights,
        }
    }

    fn value(&self, t: f64) -> f64 {
        let modes = self.weights.iter().zip(self.rates.iter());
        1.0 - modes.map(|(w, rate)| w * (-rate * t).exp()).sum::<f64>()
    }

    fn delay(&self, share: f64) -> f64 {
        let (mut low, mut high) = (0.0, 100.0);
        for _ in 0..80 {
            let middle = 0.5 * (low + high);
            if self.value(middle) < share {
                low = middle
            } else {
                high = middle
            }
        }
        low
    }

    /// ∫(1 − v) dt.
    fn mean_delay(&self) -> f64 {
        self.weights
            .iter()
            .zip(self.rates.iter())
            .map(|(w, rate)| w / rate)
            .sum()
    }
}

/// t50, t63 and t90 of N even sections, and their Elmore delay (N+1)/(2N)·RC, calculated outside this program: here they
/// check the ladder that stands in for a circuit simulator below.
#[test]
fn ladders_of_few_sections() {
    let table = [
        (2, [0.55623, 0.75762, 1.61028]),
        (10, [0.41625, 0.55370, 1.13683]),
        (100, [0.38253, 0.50821, 1.04144]),
    ];
    for (n, units) in table {
        let part = vec![1.0 / n as f64; n];
        let ladder = Ladder::new(&part, &part, n - 1);
        let shares = [0.5, ONE_TIME_CONSTANT, 0.9];
        for (share, wanted) in shares.into_iter().zip(units) {
            let got = ladder.delay(share);
            assert!(
                near(got, wanted, PRINTED_LADDER_RC),
                "{n} sections, {share}: {got}, not {wanted}"
            );
        }
        let elmore = (n as f64 + 1.0) / (2.0 * n as f64);
        assert!(near(ladder.mean_delay(), elmore, 1e-9));
    }
}

/// Driver and load, at several places: the series against a ladder of 240 π-sections.
#[test]
fn driver_and_load_against_a_fine_ladder() {
    const N: usize = 240;
    for (driver_ohm, load_farad) in [(0.3, 0.0), (1e-6, 0.4), (2.0, 0.7), (20.0, 3.0)] {
        let line = Line {
            ohm: 1.0,
            farad: 1.0,
            driver_ohm,
            load_farad,
        };
        let part = 1.0 / N as f64;
        let mut ohms = vec![part; N + 1];
        ohms[0] = driver_ohm;
        let mut farads = vec![part; N + 1];
        farads[0] = 0.5 * part;
        farads[N] = 0.5 * part + load_farad;
        for node in [0, N / 4, N / 2, N] {
            let x = node as f64 / N as f64;
            let (ladder, step) = (Ladder::new(&ohms, &farads, node), line.step_at(x));
            let slow = line.elmore_s(1.0);
            for t in [0.1, 0.3, 1.0, 2.0].map(|units| units * slow) {
                let (got, wanted) = (step.value(t), ladder.value(t));
                assert!(
                    near(got, wanted, FINE_LADDER_SHARE),
                    "Rs {driver_ohm}, CL {load_farad}, x {x}, t {t}: {got}, not {wanted}"
                );
            }
            let elmore = ladder.mean_delay();
            assert!(
                near(line.elmore_s(x), elmore, 1e-4 * elmore),
                "{x}: {elmore}"
            );
        }
    }
}

/// Rs(C+CL) + R(C/2+CL) at the far end, and its equality with ∫(1 − v) dt of the series.
#[test]
fn elmore_delay_with_driver_and_load() {
    let line = Line {
        ohm: 9e3,
        farad: 2.4e-10,
        driver_ohm: 1.5e3,
        load_farad: 3e-11,
    };
    let wanted = 1.5e3 * (2.4e-10 + 3e-11) + 9e3 * (1.2e-10 + 3e-11);
    assert!(near(line.elmore_s(1.0) / wanted, 1.0, 1e-12));
    let step = line.step_at(1.0);
    const PARTS: usize = 4000;
    let width = 30.0 * wanted / PARTS as f64;
    let middles = (0..PARTS).map(|i| (i as f64 + 0.5) * width);
    let integral: f64 = middles.map(|t| (1.0 - step.value(t)) * width).sum();
    assert!(near(integral / wanted, 1.0, 1e-5), "{integral} {wanted}");
}

/// Past half the step the slowest mode alone gives the delay within 1 % of RC.
#[test]
fn slowest_mode_carries_the_late_part() {
    let step = BARE.step_at(1.0);
    for share in [0.5, 0.632, 0.9, 0.99] {
        assert!(near(
            step.dominant_delay_s(share),
            step.delay_s(share),
            1e-2
        ));
    }
}

/// Lines without resistance answer at once; with a driver alone as a single RC.
#[test]
fn lines_without_resistance() {
    let free = Line {
        ohm: 0.0,
        driver_ohm: 0.0,
        ..BARE
    };
    assert_eq!(
        (free.step_at(1.0).value(0.0), free.step_at(1.0).delay_s(0.5)),
        (1.0, 0.0)
    );
    let lumped = Line {
        ohm: 0.0,
        driver_ohm: 2.0,
        ..BARE
    };
    let step = lumped.step_at(1.0);
    for t in [0.1f64, 0.7, 2.0] {
        assert!(
            near(step.value(t), 1.0 - (-t).exp(), 1e-8),
            "{t}: {}",
            step.value(t)
        );
    }
}

/// The invented harbour tile: the corner's lag is microseconds, far below its ticks of 500 µs.
#[test]
fn lag_of_the_far_corner() {
    let matrix = Matrix {
        rows: 80,
        columns: 120,
        row_ohm: 9000.0,
        column_ohm: 6000.0,
        pixel_f: 2e-12,
        driver_ohm: 1500.0,
    };
    // 1500·2.4e-10 + 9000·1.2e-10 and 1500·1.6e-10 + 6000·0.8e-10, at the very end; the last pixel sits half a pitch before it.
    let ends_s = 1.44e-6 + 0.72e-6;
    let lag_s = matrix.far_corner_lag_s();
    assert!(near(lag_s / ends_s, 1.0, 1e-4), "{lag_s}");
    assert!(matrix.lag_s(0, 0) < 0.4 * lag_s);
    assert!(
        matrix.lag_s(10, 10) < matrix.lag_s(10, 11) && matrix.lag_s(10, 10) < matrix.lag_s(11, 10)
    );
}

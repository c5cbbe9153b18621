//! Drift and diffusion of the test panel against closed forms, handbook values and what small cells are known to do.

mod dodecane;

use dodecane::DODECANE;
use greyloom::rehearsal::liquid::{
    BOLTZMANN_J_PER_K, ELEMENTARY_CHARGE_C, Viscosity, ZERO_C_K, mobility_m2_per_vs, thermal_v,
};
use greyloom::rehearsal::transport::{Cell, Transport, balance};
use greyloom::rehearsal::{Amounts, Propagator, TestPanel};

/// m²/(V·s), V, s: round numbers near the test panel's own.
const MOBILITY: f64 = 1e-9;
const THERMAL_V: f64 = 0.05;
const LENGTH_M: f64 = 100e-6;

fn assert_near(found: f64, expected: f64, relative: f64, what: &str) {
    let off = (found / expected - 1.0).abs();
    assert!(off <= relative, "{what}: {found:e}, expected {expected:e}");
}

/// (2/√π) Σ (−1)ᵏ x^(2k+1)/(k!(2k+1)), and 1 beyond 5, where erfc is below 2e-12 (Abramowitz & Stegun 7.1.5).
fn erf(x: f64) -> f64 {
    if x.abs() > 5.0 {
        return x.signum();
    }
    let (mut sum, mut term) = (0.0, x);
    for k in 0..200 {
        sum += term / f64::from(2 * k + 1);
        term *= -x * x / f64::from(k + 1);
    }
    sum * 2.0 / std::f64::consts::PI.sqrt()
}

/// `n` equal cells over `LENGTH_M` with the field `field_v_per_m` towards larger x.
fn channel(n: usize, field_v_per_m: f64) -> Transport {
    let width_m = LENGTH_M / n as f64;
    let cell = |i: usize| Cell {
        width_m,
        open: 1.0,
        potential_v: -field_v_per_m * (i as f64 + 0.5) * width_m,
    };
    let cells: Vec<Cell> = (0..n).map(cell).collect();
    Transport::new(&cells, MOBILITY, THERMAL_V)
}

/// What `n` cells hold of a distribution with this cumulative share.
fn held(n: usize, cumulative: impl Fn(f64) -> f64) -> Vec<f64> {
    let edge = |i: usize| cumulative(LENGTH_M * i as f64 / n as f64);
    (0..n).map(|i| edge(i + 1) - edge(i)).collect()
}

fn gaussian(middle_m: f64, sigma_m: f64) -> impl Fn(f64) -> f64 {
    move |x| 0.5 * (1.0 + erf((x - middle_m) / (sigma_m * std::f64::consts::SQRT_2)))
}

fn walk(transport: &Transport, seconds: f64, steps: u32, mut amounts: Vec<f64>) -> Vec<f64> {
    let stepper = transport.stepper(seconds / f64::from(steps));
    (0..steps).for_each(|_| stepper.step(&mut amounts));
    amounts
}

/// Σ |difference|: the share of the pigment that is in the wrong place, twice.
fn misplaced(a: &[f64], b: &[f64]) -> f64 {
    a.iter().zip(b).map(|(a, b)| (a - b).abs()).sum()
}

/// Mean and variance of the place, m and m².
fn moments(amounts: &[f64]) -> (f64, f64) {
    let n = amounts.len() as f64;
    let place = |i: usize| (i as f64 + 0.5) / n * LENGTH_M;
    let sum = |f: &dyn Fn(f64) -> f64| -> f64 {
        amounts
            .iter()
            .enumerate()
            .map(|(i, a)| a * f(place(i)))
            .sum()
    };
    let mean = sum(&|x| x);
    (mean, sum(&|x| (x - mean).powi(2)))
}

const SIGMA_M: f64 = 6e-6;
/// More than four standard deviations from either end at all times here.
const MIDDLE_M: f64 = 0.5 * LENGTH_M;

/// A Gaussian pulse after `seconds` in a field, numerical and exact: it moves by μEt and widens to σ² + 2Dt.
fn pulse(n: usize, steps: u32, field_v_per_m: f64, seconds: f64) -> (Vec<f64>, Vec<f64>) {
    let moved = MIDDLE_M + MOBILITY * field_v_per_m * seconds;
    let wide = (SIGMA_M.powi(2) + 2.0 * MOBILITY * THERMAL_V * seconds).sqrt();
    let start = held(n, gaussian(MIDDLE_M, SIGMA_M));
    let end = walk(&channel(n, field_v_per_m), seconds, steps, start);
    (end, held(n, gaussian(moved, wide)))
}

#[test]
fn a_pulse_spreads_as_the_closed_form_says() {
    // D·t of σ²/2, so that the variance doubles.
    let seconds = 0.5 * SIGMA_M.powi(2) / (MOBILITY * THERMAL_V);
    let (end, exact) = pulse(400, 400, 0.0, seconds);
    // Share of the pigment; of order (cell/σ)² = 2e-3 / 12.
    assert!(
        misplaced(&end, &exact) < 1e-3,
        "{}",
        misplaced(&end, &exact)
    );
    let (mean, variance) = moments(&end);
    assert_near(mean, MIDDLE_M, 1e-9, "mean");
    assert_near(variance, 2.0 * SIGMA_M.powi(2), 1e-3, "variance");
}

/// Crank, The Mathematics of Diffusion, 2nd ed., eq. 2.14: c = ½·erfc((x − x₀)/(2√(Dt))) (from memory).
#[test]
fn a_step_spreads_as_the_error_function() {
    let (n, seconds) = (400, 1.0);
    let middle = 0.5 * LENGTH_M;
    let half = |x: f64| (x / middle).min(1.0);
    let end = walk(&channel(n, 0.0), seconds, 400, held(n, half));
    let length = 2.0 * (MOBILITY * THERMAL_V * seconds).sqrt();
    let width_m = LENGTH_M / n as f64;
    for (i, amount) in end.iter().enumerate() {
        let x = (i as f64 + 0.5) * width_m - middle;
        let expected = 0.5 * (1.0 - erf(x / length)) * width_m / middle;
        // Share of a full cell.
        let off = (amount - expected).abs() * middle / width_m;
        assert!(off < 2e-4, "cell {i}: off by {off}");
    }
}

/// Without flux the share of each cell is width × open × exp(−φ/thermal) (Boltzmann); here reached by waiting.
#[test]
fn what_is_left_alone_becomes_boltzmanns_profile() {
    let n = 60;
    type Profile<'a> = (&'a str, &'a dyn Fn(f64) -> f64, f64);
    let profiles: [Profile; 3] = [
        ("a field", &|x| -0.3 * x, 1.0),
        ("a wall", &|x| 0.2 * (1.0 - (2.0 * x - 1.0).abs()), 1.0),
        ("a narrow in a field", &|x| 0.15 * x, 0.05),
    ];
    for (what, potential_v, narrow) in profiles {
        let cell = |i: usize| Cell {
            width_m: 0.1 * LENGTH_M / n as f64,
            open: if i.abs_diff(n / 2) < 5 { narrow } else { 1.0 },
            potential_v: potential_v((i as f64 + 0.5) / n as f64),
        };
        let cells: Vec<Cell> = (0..n).map(cell).collect();
        let weight = |c: &Cell| c.open * (-c.potential_v / THERMAL_V).exp();
        let sum: f64 = cells.iter().map(weight).sum();
        let transport = Transport::new(&cells, MOBILITY, THERMAL_V);
        let mut start = vec![0.0; n];
        start[0] = 1.0;
        let waited = Propagator::hold(&transport, 1000.0, 1e-3).apply(&start.into());
        let said = balance(&cells, THERMAL_V);
        for (i, cell) in cells.iter().enumerate() {
            let expected = weight(cell) / sum;
            assert_near(waited[i], expected, 1e-6, &format!("{what}, cell {i}"));
            assert_near(said[i], expected, 1e-12, &format!("{what}, cell {i}"));
        }
        let largest = transport
            .rate(&said)
            .iter()
            .fold(0.0f64, |m, r| m.max(r.abs()));
        // 1/s, against rates of thousands a second within the profile.
        assert!(largest < 1e-9, "{what}: {largest} /s at rest");
    }
}

/// A pulse drifts at μE; fitted fluxes keep that exact on any grid, and widen it by D·(p/2)·coth(p/2) in place of D, p = μEh/D
/// (from up- and down-rates of the scheme; Scharfetter & Gummel, IEEE Trans. Electron Devices 16, 64, 1969).
#[test]
fn a_front_drifts_at_mobility_times_field() {
    let field_v_per_m = 3e4;
    let seconds = 0.3;
    for n in [50, 100, 400] {
        let (end, _) = pulse(n, 4000, field_v_per_m, seconds);
        let (mean, variance) = moments(&end);
        let start = moments(&held(n, gaussian(MIDDLE_M, SIGMA_M)));
        let drift = MOBILITY * field_v_per_m * seconds;
        assert_near(mean - start.0, drift, 1e-4, &format!("drift on {n} cells"));
        let p = field_v_per_m * LENGTH_M / n as f64 / THERMAL_V;
        let diffusivity = MOBILITY * THERMAL_V * 0.5 * p / (0.5 * p).tanh();
        let growth = variance - start.1;
        assert_near(
            growth,
            2.0 * diffusivity * seconds,
            1e-3,
            &format!("spread on {n} cells"),
        );
    }
}

/// Order seen between a grid and one twice as fine.
fn order(coarse: f64, fine: f64) -> f64 {
    (coarse / fine).log2()
}

/// Fitted fluxes err by the square of the cell where diffusion rules within it (p = μEh/D ≪ 1), and by the cell where drift does
/// (p ≫ 1: upwind).
#[test]
fn errors_fall_with_the_cell_as_expected() {
    let seconds = 0.5 * SIGMA_M.powi(2) / (MOBILITY * THERMAL_V);
    let diffusing = [50, 100, 200].map(|n| {
        let (end, exact) = pulse(n, 2000, 0.0, seconds);
        misplaced(&end, &exact)
    });
    for pair in diffusing.windows(2) {
        let seen = order(pair[0], pair[1]);
        assert!((seen - 2.0).abs() < 0.1, "diffusing: order {seen}");
    }
    // p = 24 and 12 and 6: so little time that the exact spread hardly grows.
    let drifting = [250, 500, 1000].map(|n| {
        let (end, exact) = pulse(n, 4000, 3e6, 0.005);
        misplaced(&end, &exact)
    });
    for pair in drifting.windows(2) {
        let seen = order(pair[0], pair[1]);
        assert!((0.8..1.3).contains(&seen), "drifting: order {seen}");
    }
}

#[test]
fn errors_fall_with_the_square_of_the_step() {
    let (n, field_v_per_m, seconds) = (100, 3e4, 1.0);
    let (reference, _) = pulse(n, 6400, field_v_per_m, seconds);
    let errors = [50, 100, 200]
        .map(|steps| misplaced(&pulse(n, steps, field_v_per_m, seconds).0, &reference));
    for pair in errors.windows(2) {
        let seen = order(pair[0], pair[1]);
        assert!((seen - 2.0).abs() < 0.1, "order {seen}");
    }
}

/// L-stability: one step of any length takes out what moves fast.
#[test]
fn one_huge_step_comes_to_rest() {
    let n = 60;
    let mut amounts = vec![0.0; n];
    amounts[3] = 1.0;
    let end = walk(&channel(n, 0.0), 1e9, 1, amounts);
    for amount in end {
        assert_near(amount, 1.0 / n as f64, 1e-6, "share of a cell");
    }
}

/// Computed from the formulas: viscosity 1.359 mPa·s, 298.15 K, radius 100 nm, 10 elementary charges; 100 µm at 30 V.
#[test]
fn mobility_and_diffusivity_are_those_of_stokes_and_einstein() {
    // Half a unit of the last printed digit.
    let printed = 1e-3;
    let mobility = mobility_m2_per_vs(10.0, 100e-9, 1.359e-3);
    assert_near(mobility, 6.254e-10, printed, "mobility");
    let diffusivity = mobility * thermal_v(10.0, 298.15);
    assert_near(diffusivity, 1.607e-12, printed, "diffusivity");
    assert_near(
        100e-6f64.powi(2) / (mobility * 30.0),
        0.533,
        printed,
        "crossing time",
    );
    let drag = 10.0 * ELEMENTARY_CHARGE_C / mobility;
    assert_near(
        diffusivity * drag,
        BOLTZMANN_J_PER_K * 298.15,
        1e-12,
        "D times drag is kT",
    );
}

#[test]
fn the_liquid_thins_as_dodecane_does() {
    let viscosity: Viscosity = TestPanel::shipped().unwrap().liquid.viscosity;
    for (celsius, mpa_s) in DODECANE {
        let found = 1e3 * viscosity.pa_s(celsius + ZERO_C_K);
        assert_near(found, mpa_s, 1e-3, &format!("viscosity at {celsius} °C"));
    }
    // The reference correlation of Huber et al. (2004) lies 1.8 % lower.
    assert_near(
        1e3 * viscosity.pa_s(298.15),
        1.3589,
        0.02,
        "viscosity at 25 °C",
    );
}

fn seen(panel: &TestPanel, amounts: &[Amounts]) -> f64 {
    panel.reflectance(amounts.iter().map(|a| a.as_slice()))
}

/// A voltage held for a time at 23 °C, then a second of rest.
fn driven(panel: &TestPanel, from: &[Amounts], pixel_v: f64, seconds: f64) -> Vec<Amounts> {
    let populations = panel.populations.iter().zip(from);
    let moved = populations.map(|(p, amounts)| {
        let hold = |v: f64, s: f64| Propagator::hold(&panel.transport(p, v, 23.0), s, panel.step_s);
        hold(0.0, 1.0).apply(&hold(pixel_v, seconds).apply(amounts))
    });
    moved.collect()
}

/// Common practice, no source: small cells switch at about 5 V in a few seconds; pigment packs into about a tenth of the area; a good
/// white is 70 % at 45°; contrast is 10 : 1 and better.
#[test]
fn the_shipped_panel_does_what_small_cells_are_known_to_do() {
    let panel = TestPanel::shipped().unwrap();
    let dark = panel.dark(23.0);
    let clear = driven(&panel, &dark, -18.0, 5.0);
    let (black, white) = (seen(&panel, &dark), seen(&panel, &clear));
    assert!((0.65..=0.75).contains(&white), "white {white}");
    assert!(white / black >= 10.0, "contrast {}", white / black);
    for (what, from, pixel_v, goal) in [
        ("clears", &dark, -5.0, white),
        ("darkens", &clear, 5.0, black),
    ] {
        let left = |s: f64| {
            (seen(&panel, &driven(&panel, from, pixel_v, s)) - goal).abs() / (white - black)
        };
        assert!(left(0.5) > 0.01, "{what} in half a second");
        assert!(left(10.0) < 0.01, "{what}: {} left after 10 s", left(10.0));
        // And keeps its picture below the threshold: two volts for as long leave it.
        let held = seen(&panel, &driven(&panel, from, pixel_v.signum() * 2.0, 10.0));
        assert!(
            (held - seen(&panel, from)).abs() < 0.005 * (white - black),
            "{what} at 2 V: {held}"
        );
    }
    let gap = &panel.gap;
    let covered = gap.well.length_m / (gap.well.length_m + gap.window.length_m);
    assert_near(covered, 0.1, 0.01, "well over well and window");
    assert_near(panel.optics.covered_share, 0.1, 0.01, "covered share");
    let outside: f64 = panel
        .populations
        .iter()
        .zip(&clear)
        .map(|(p, a)| p.share * a.as_slice()[panel.window_start()..].iter().sum::<f64>())
        .sum();
    assert!(
        outside < 0.001,
        "{outside} of the pigment outside the well when clear"
    );
}

/// The law of conservation: what leaves a cell comes into the next.
#[test]
fn no_pigment_is_lost_or_made() {
    // Share of the pigment. A bare step rounds by half a unit of the last place, so 1000 of them stay below 1e-12; the panel's own maps
    // are rescaled, so that theirs don't add up.
    const LOST_MAX: f64 = 1e-12;
    let channel = channel(40, 3e5);
    let start = held(40, gaussian(MIDDLE_M, SIGMA_M));
    let before: f64 = start.iter().sum();
    let after: f64 = walk(&channel, 10.0, 1_000, start).iter().sum();
    assert!(
        (after / before - 1.0).abs() < LOST_MAX,
        "{after} of {before}"
    );
    let worked = "calibration/harbour-tile".as_ref();
    let project = greyloom::project::Project::read(worked).unwrap();
    let panel = TestPanel::shipped().unwrap();
    for page in &project.measured.chart.pages[..2] {
        for (row, column) in [(0, 0), (41, 17), (79, 119)] {
            for amounts in panel.pixel(&project.panel, page, row, column).unwrap() {
                let sum = amounts.sum();
                assert!((sum - 1.0).abs() < LOST_MAX, "row {row}: {sum}");
                // The scheme may undershoot nothing by as much as shows.
                assert!(amounts.min() > -1e-9, "row {row}: {}", amounts.min());
            }
        }
    }
}

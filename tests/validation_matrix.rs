//! Pixels between resistive lines against a circuit simulator (tests/data/matrix-4x4), a line's energy against the
//! textbook.

use greyloom::drive::{DriveStep, Erase, Lag, Line, Matrix, Mesh, PanelLoad, Stroke, Swing};

/// V, of up to 19 V: the simulator's relative tolerance of 1e-6 a step, and edges of 2 ns in place of steps.
const SIMULATED_V: f64 = 1e-4;

/// V, of 1 V: likewise; the simulator convolves in steps of 2 ns, and steps of 10 ns move its first values by 3e-4.
const SIMULATED_LINE_V: f64 = 1e-4;

/// Share of a stroke: four pixels in place of a line. Lumping moves an edge by R·C/(8·4²) a line, here 62 ns and
/// 38 ns, and the fastest pixel charges within about a microsecond; twice that is allowed.
const FOUR_PIXELS_SHARE: f64 = 0.02;

/// Relative: what a thousand modes leave out at the driver is 2/(3π⁴·r²·1000³) of r = Rs/R, 1.4e-6 for the smallest here.
const SERIES_SHARE: f64 = 2e-6;

/// Relative: products of a few factors.
const ROUNDING: f64 = 1e-12;

const MATRIX: Matrix = Matrix {
    rows: 4,
    columns: 4,
    row_ohm: 40e3,
    column_ohm: 24e3,
    pixel_f: 50e-12,
    driver_ohm: 6e3,
};

const START_S: f64 = 0.5e-6;
const TICK_S: f64 = 10e-6;

/// The lines of a case of the table: moment and pixel voltages.
fn simulated(case: &str) -> Vec<(f64, Vec<f64>)> {
    let table = include_str!("data/matrix-4x4/matrix.csv");
    let rows = table.lines().filter_map(|l| l.strip_prefix(case));
    rows.map(|l| numbers(&l[1..])).collect()
}

/// The first number, from µs to s, and the others.
fn numbers(line: &str) -> (f64, Vec<f64>) {
    let mut each = line.split(',').map(|x| x.parse::<f64>().unwrap());
    (each.next().unwrap() * 1e-6, each.collect())
}

fn step(tick: u32, row_v: [f64; 4], column_v: [f64; 4]) -> DriveStep {
    DriveStep {
        at_s: START_S + f64::from(tick) * TICK_S,
        row_v: row_v.into(),
        column_v: column_v.into(),
    }
}

const STILL: [f64; 4] = [0.0; 4];

/// The drive of each case, from the words of the fixture's README.
fn cases() -> [(&'static str, Vec<DriveStep>); 4] {
    let (row_1, row_2) = ([0.0, 12.0, 0.0, 0.0], [0.0, 0.0, 12.0, 0.0]);
    let data = [0.0, 0.0, -4.0, 0.0];
    [
        ("select", vec![step(0, row_1, STILL), step(2, STILL, STILL)]),
        ("data", vec![step(0, STILL, data), step(1, STILL, STILL)]),
        (
            "stroke",
            vec![step(0, [15.0; 4], STILL), step(2, STILL, STILL)],
        ),
        (
            "slots",
            vec![
                step(0, row_1, [4.0, -4.0, -4.0, -4.0]),
                step(1, row_1, [4.0, 4.0, -4.0, 4.0]),
                step(2, row_2, [-4.0, 4.0, -4.0, -4.0]),
                step(3, row_2, [-4.0, 4.0, 4.0, 4.0]),
                step(4, STILL, STILL),
            ],
        ),
    ]
}

#[test]
fn pixel_voltages_over_time() {
    let mesh = Mesh::of(&MATRIX).unwrap();
    for (case, steps) in cases() {
        let table = simulated(case);
        assert_eq!(table.len(), 47, "{case}");
        let mut largest_v: f64 = 0.0;
        for (t, wanted) in &table {
            let got = mesh.pixel_v(&steps, *t).unwrap();
            assert_eq!(wanted.len(), got.len());
            for (pixel, (got, wanted)) in got.iter().zip(wanted).enumerate() {
                let near = (got - wanted).abs() <= SIMULATED_V;
                assert!(
                    near,
                    "{case}, {t} s, pixel {pixel}: {got} V, not {wanted} V"
                );
                largest_v = largest_v.max(wanted.abs());
            }
        }
        assert!(largest_v > 1.5, "{case}: {largest_v} V");
    }
}

/// All rows at once: the series whose time constants are sums, against the simulator's four lumped pixels a line.
#[test]
fn a_stroke_by_the_distributed_series() {
    let lag = Lag::of(&MATRIX).unwrap();
    for (row, column) in [(0, 0), (0, 3), (3, 0), (2, 1), (3, 3)] {
        let answer = lag.step(row, column, Swing::All).unwrap();
        for (t, voltages) in simulated("stroke") {
            let since_s = t - START_S;
            let share = answer.value(since_s) - answer.value(since_s - 2.0 * TICK_S);
            let wanted = voltages[4 * row + column] / 15.0;
            assert!(
                (share - wanted).abs() <= FOUR_PIXELS_SHARE,
                "{row}, {column}, {t} s: {share}, not {wanted}"
            );
        }
    }
}

const LINE: Line = Line {
    ohm: 10e3,
    farad: 1e-9,
    driver_ohm: 3e3,
    load_farad: 0.2e-9,
};

#[test]
fn a_pulse_on_a_distributed_line() {
    let table = include_str!("data/matrix-4x4/line.csv");
    let table: Vec<_> = table.lines().skip(1).map(numbers).collect();
    assert_eq!(table.len(), 47);
    for (place, x) in [0.0, 0.5, 1.0].into_iter().enumerate() {
        let answer = LINE.step_at(x);
        for (t, voltages) in &table {
            let since_s = t - START_S;
            let got = answer.value(since_s) - answer.value(since_s - TICK_S);
            let wanted = voltages[place];
            let near = (got - wanted).abs() <= SIMULATED_LINE_V;
            assert!(near, "x {x}, {t} s: {got}, not {wanted}");
        }
    }
}

/// What pulses of some widths reach, and how wide one must be to reach it.
#[test]
fn peaks_on_a_distributed_line() {
    let table = include_str!("data/matrix-4x4/peaks.csv");
    let table: Vec<_> = table.lines().skip(1).map(numbers).collect();
    assert_eq!(table.len(), 4);
    for (place, x) in [0.0, 0.5, 1.0].into_iter().enumerate() {
        let answer = LINE.step_at(x);
        for (width_s, peaks) in &table {
            let wanted = peaks[place];
            let got = answer.pulse(*width_s).unwrap().peak_share;
            let near = (got - wanted).abs() <= SIMULATED_LINE_V;
            assert!(near, "x {x}, {width_s} s: {got}, not {wanted}");
            let shortest = |share| answer.shortest_pulse_s(share).unwrap();
            assert!(shortest(wanted - SIMULATED_LINE_V) < *width_s);
            assert!(shortest(wanted + SIMULATED_LINE_V) > *width_s);
        }
    }
}

/// Charging C to V through any resistance draws C·V² from the supply: V²/Rs·∫(1 − v) dt behind the driver. Standard, in
/// any textbook of circuits.
#[test]
fn a_charged_line_draws_c_v_squared() {
    let (farad, volt) = (2.4e-10, 18.0);
    for (ohm, driver_ohm) in [(9e3, 1.5e3), (200.0, 1.5e3), (9e3, 20.0)] {
        let line = Line {
            ohm,
            farad,
            driver_ohm,
            load_farad: 0.0,
        };
        let lacking_s = line.step_at(0.0).lacking_s(1.0);
        let drawn_j = volt * volt / driver_ohm * lacking_s;
        let share = drawn_j / (farad * volt * volt) - 1.0;
        assert!(share.abs() <= SERIES_SHARE, "{ohm}, {driver_ohm}: {share}");
    }
    // 80 rows of that, up and down again: 2 · 80 · 2.4e-10 · 18² J = 12.4416 µJ.
    let load = PanelLoad {
        rows: 80,
        columns: 120,
        pixel_f: 2e-12,
    };
    let erase = Erase {
        name: "one stroke".into(),
        strokes: vec![Stroke {
            pixel_v: volt,
            ms: 100.0,
        }],
        rest_ms: 0.0,
    };
    let drawn = load.picture_energy(&erase, &[], &[vec![]], &[0; 9600]);
    let share = drawn.unwrap().erase_mj / 12.4416e-3 - 1.0;
    assert!(share.abs() <= ROUNDING, "{share}");
}

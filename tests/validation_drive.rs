//! The drive model's own pixel voltages against the algebra of matrix addressing.

use greyloom::drive::{Field, Piece};

/// Ratio: the table's values carry four decimals.
const PRINTED_RATIO: f64 = 0.5e-4 + 1e-9;

/// Ratio: the worked example carries three decimals.
const PRINTED_EXAMPLE: f64 = 0.5e-3 + 1e-9;

/// V: exact but for rounding.
const ROUNDING_V: f64 = 1e-12;

const SLOT_TICKS: u32 = 12;

fn field(select_v: f64, data_v: f64) -> Field {
    Field {
        select_v,
        data_v,
        tick_us: 1000,
        slot_ticks: SLOT_TICKS,
        guard_ticks: 0,
        mirrored: false,
    }
}

/// Σ v²·ticks of a slot.
fn square_ticks(pieces: &[Piece]) -> f64 {
    pieces
        .iter()
        .map(|p| p.pixel_v.powi(2) * f64::from(p.ticks))
        .sum()
}

/// Root mean square of a pixel's voltage over a field of `rows` rows, its own data on for `ticks`; the other rows show
/// all sorts of data.
fn rms_v(field: &Field, rows: u32, ticks: u32) -> f64 {
    let others = (1..rows).map(|row| square_ticks(&field.other_slot(row * 5 % (SLOT_TICKS + 1))));
    let sum = square_ticks(&field.own_slot(ticks)) + others.sum::<f64>();
    (sum / f64::from(rows * field.ticks_per_row())).sqrt()
}

fn selection_ratio(field: &Field, rows: u32) -> f64 {
    rms_v(field, rows, SLOT_TICKS) / rms_v(field, rows, 0)
}

/// Alt & Pleshko, IEEE Trans. Electron Devices ED-21 (1974) 146: sqrt((√N+1)/(√N−1)) at S = √N·D (formula from memory,
/// values calculated outside this program). It holds for media that answer to rms voltage; here it checks the algebra.
#[test]
fn rms_selection_ratio_of_an_optimally_biased_matrix() {
    let table = [
        (2, 2.4142),
        (4, 1.7321),
        (8, 1.4470),
        (16, 1.2910),
        (32, 1.1956),
        (64, 1.1339),
        (100, 1.1055),
        (128, 1.0927),
        (240, 1.0668),
        (256, 1.0646),
        (480, 1.0467),
        (1000, 1.0321),
    ];
    for (rows, wanted) in table {
        let data_v = 1.75;
        let best = selection_ratio(&field(f64::from(rows).sqrt() * data_v, data_v), rows);
        assert!(
            (best - wanted).abs() <= PRINTED_RATIO,
            "{rows} rows: {best}, not {wanted}"
        );
        for off_optimum in [0.9, 1.1] {
            let select_v = off_optimum * f64::from(rows).sqrt() * data_v;
            assert!(
                selection_ratio(&field(select_v, data_v), rows) < best,
                "{rows} rows"
            );
        }
    }
}

/// A liquid-crystal application note on multiplexed drive, N = 64: bias ratio (S+D)/D and selection ratio.
#[test]
fn worked_example_of_64_rows() {
    for (bias, wanted) in [(7, 1.128), (8, 1.133), (9, 1.134), (10, 1.133), (11, 1.130)] {
        let data_v = 2.0;
        let field = field((f64::from(bias) - 1.0) * data_v, data_v);
        assert!((field.own_on_v() / field.other_on_v() - f64::from(bias)).abs() <= ROUNDING_V);
        let got = selection_ratio(&field, 64);
        assert!(
            (got - wanted).abs() <= PRINTED_EXAMPLE,
            "bias ratio {bias}: {got}, not {wanted}"
        );
    }
}

/// The mirror image in a lightening field: all voltages change sign, so rms and ratios stay.
#[test]
fn lightening_field_is_the_mirror_image() {
    let (dark, light) = (field(8.0, 2.0), field(-8.0, 2.0));
    for ticks in [0, 5, SLOT_TICKS] {
        let pairs = dark.own_slot(ticks).into_iter().zip(light.own_slot(ticks));
        let others = dark
            .other_slot(ticks)
            .into_iter()
            .zip(light.other_slot(ticks));
        for (d, l) in pairs.chain(others) {
            assert_eq!((d.pixel_v, d.ticks), (-l.pixel_v, l.ticks));
        }
    }
}

/// Crossbar schemes (names: Nature Communications 10, 2019, s41467-019-11187-9; values of V/3 calculated).
///
/// Mapping: V = S + D is the selected cell, own row and column on. V/2 is S = D: a cell of another row whose column is
/// on feels V/2; one whose column idles at 0 V, as in a guard, feels 0; a column that is off (+D) gives 0 on the selected
/// row. V/3 is S = 2·D: own off V/3, another row's on V/3, another row's off −V/3, the unselected cell.
#[test]
fn half_and_third_voltage_schemes() {
    let v = 9.0;
    let near = |got: f64, wanted: f64| (got - wanted).abs() <= ROUNDING_V;
    let half = Field {
        guard_ticks: 3,
        ..field(v / 2.0, v / 2.0)
    };
    assert!(near(half.own_on_v(), v) && near(half.other_on_v(), v / 2.0));
    assert!(near(half.own_off_v(), 0.0));
    let idle = half.other_slot(4)[4];
    assert_eq!((idle.pixel_v, idle.ticks), (0.0, 3));
    let third = field(2.0 * v / 3.0, v / 3.0);
    assert!(near(third.own_on_v(), v));
    assert!(near(third.own_off_v(), v / 3.0) && near(third.other_on_v(), v / 3.0));
    let unselected = third.other_slot(0)[1];
    assert!(near(unselected.pixel_v, -v / 3.0) && unselected.ticks == SLOT_TICKS);
}

/// V/2 needs Vth < V < 2·Vth, V/3 needs Vth < V < 3·Vth (from memory): then the selected cell alone passes the threshold.
#[test]
fn no_disturb_windows() {
    let threshold_v = 4.0;
    let clean = |field: &Field| {
        let passes = |p: &Piece| p.ticks > 0 && p.pixel_v.abs() > threshold_v;
        let selected = field.own_slot(SLOT_TICKS).iter().any(passes);
        let disturbed = field.own_slot(0).iter().any(passes)
            || (0..=SLOT_TICKS).any(|t| field.other_slot(t).iter().any(passes));
        selected && !disturbed
    };
    // Select voltage over V, data voltage over V, upper end of the window over the threshold.
    for (select, data, end) in [(1.0 / 2.0, 1.0 / 2.0, 2.0), (2.0 / 3.0, 1.0 / 3.0, 3.0)] {
        let at = |units: f64| {
            clean(&field(
                select * units * threshold_v,
                data * units * threshold_v,
            ))
        };
        assert!(!at(0.999) && at(1.001), "lower end");
        assert!(at(end - 0.001) && !at(end + 0.001), "upper end {end}");
    }
}

//! Lag of pulses on resistive lines: invariants, plain integration and search.

mod fine_lines;

use fine_lines::{FAR, MATRIX, lag};
use greyloom::drive::{Lag, Matrix, Mesh, StepResponse, Swing};

/// Relative: midpoint rule over 20 000 parts of a pulse whose edge the series resolves.
const INTEGRATED: f64 = 1e-4;

/// Share of a pulse: the largest of 4000 samples lies this near the peak.
const SAMPLED_PEAK: f64 = 1e-5;

/// Relative: 1 % on either side of the shortest pulse decides whether the share is reached.
const BESIDE: f64 = 0.01;

const SWINGS: [Swing; 3] = [Swing::Row, Swing::Column, Swing::All];

fn far(swing: Swing) -> StepResponse {
    lag().step(FAR.0, FAR.1, swing).unwrap()
}

/// ∫(1 − v) over the pulse by the midpoint rule, s.
fn integrated_s(answer: &StepResponse, width_s: f64) -> f64 {
    const PARTS: usize = 20_000;
    let part_s = width_s / PARTS as f64;
    let middles = (0..PARTS).map(|i| (i as f64 + 0.5) * part_s);
    middles.map(|t| 1.0 - answer.value(t)).sum::<f64>() * part_s
}

/// The largest voltage that `width_s` leaves, by looking at many moments.
fn sampled_peak(answer: &StepResponse, width_s: f64) -> f64 {
    let after_s = 3.0 * answer.delay_s(0.7);
    let gone = |s: f64| if s > 0.0 { answer.value(s) } else { 0.0 };
    let at = |t: f64| answer.value(t) - gone(t - width_s);
    // Closest together just past the pulse's end, before which nothing falls.
    let moments = (0..=4000).map(|i| width_s + after_s * (f64::from(i) / 4000.0).powi(3));
    moments.map(at).fold(0.0, f64::max)
}

#[test]
fn edges_come_later_and_softer_along_the_lines() {
    let lag = lag();
    let edge = |row, column, swing| {
        let answer = lag.step(row, column, swing).unwrap();
        (answer.delay_s(0.5), answer.rise_s(), answer.lacking_s(5e-6))
    };
    let later = |a: (f64, f64, f64), b: (f64, f64, f64)| a.0 < b.0 && a.1 < b.1 && a.2 < b.2;
    for swing in SWINGS {
        for i in 0..19 {
            let (here, down) = (edge(i, i, swing), edge(i + 1, i, swing));
            let along = edge(i, i + 1, swing);
            assert!(here.0 > 0.0);
            assert_eq!(later(here, down), swing != Swing::Row, "{swing:?} {i}");
            assert_eq!(later(here, along), swing != Swing::Column, "{swing:?} {i}");
        }
        let delays = |row, column| lag.delays(row, column).unwrap();
        assert!(delays(0, 0).select_s < delays(0, 1).select_s);
        assert!(delays(0, 0).data_s < delays(1, 0).data_s);
    }
    for (row, column) in [(0, 0), (7, 11), FAR] {
        let slowest = edge(row, column, Swing::All);
        assert!(later(edge(row, column, Swing::Row), slowest));
        assert!(later(edge(row, column, Swing::Column), slowest));
    }
}

#[test]
fn what_a_pulse_lacks_is_its_integral() {
    for swing in SWINGS {
        let answer = far(swing);
        for width_s in [0.5e-6, 5e-6, 50e-6, 500e-6] {
            let pulse = answer.pulse(width_s).unwrap();
            let wanted = integrated_s(&answer, width_s);
            let share = pulse.lacking_s / wanted - 1.0;
            assert!(share.abs() <= INTEGRATED, "{swing:?} {width_s}: {share}");
            let on_share = 1.0 - wanted / width_s;
            assert!((pulse.on_share - on_share).abs() <= INTEGRATED);
        }
    }
}

/// The longest pulses lack the Elmore delay: R·C along each line, driver and all.
#[test]
fn a_long_pulse_lacks_the_elmore_delay() {
    let (row, column) = (MATRIX.row_line(), MATRIX.column_line());
    let row_s = row.elmore_s(23.5 / 24.0);
    let column_s = column.elmore_s(19.5 / 20.0);
    for (swing, wanted) in SWINGS.into_iter().zip([row_s, column_s, row_s + column_s]) {
        let got = far(swing).pulse(1.0).unwrap().lacking_s;
        assert!(
            (got / wanted - 1.0).abs() <= 1e-5,
            "{swing:?}: {got}, {wanted}"
        );
    }
    assert_eq!(
        lag().delays(19, 23).unwrap().data_alike_s,
        MATRIX.lag_s(19, 23)
    );
}

#[test]
fn peaks_are_the_largest_of_many_moments() {
    let lag = lag();
    for swing in SWINGS {
        for (row, column) in [(0, 0), (3, 20), FAR] {
            let answer = lag.step(row, column, swing).unwrap();
            let mut before = 0.0;
            for width_s in [0.05e-6, 0.5e-6, 2e-6, 8e-6, 40e-6] {
                let got = answer.pulse(width_s).unwrap().peak_share;
                let wanted = sampled_peak(&answer, width_s);
                let near = (got - wanted).abs() <= SAMPLED_PEAK;
                assert!(near, "{swing:?} {row} {column} {width_s}: {got}, {wanted}");
                assert!(got > before && got <= 1.0);
                before = got;
            }
        }
    }
}

#[test]
fn a_shorter_tick_is_lost() {
    let lag = lag();
    for swing in SWINGS {
        let answer = far(swing);
        let mut before = 0.0;
        for share in [0.1, 0.5, 0.9] {
            let tick_us = lag.lost_tick_us(share, swing).unwrap();
            let peak = |factor: f64| sampled_peak(&answer, tick_us * 1e-6 * factor);
            assert!(peak(1.0 - BESIDE) < share, "{swing:?} {share}");
            assert!(peak(1.0 + BESIDE) > share, "{swing:?} {share}");
            assert!(tick_us > before);
            before = tick_us;
        }
    }
    let shares = [0.0, 1.0, -0.5, f64::NAN];
    assert!(
        shares
            .iter()
            .all(|&s| lag.lost_tick_us(s, Swing::All).is_none())
    );
}

#[test]
fn without_resistance_nothing_lags() {
    let free = Matrix {
        row_ohm: 0.0,
        column_ohm: 0.0,
        driver_ohm: 0.0,
        ..MATRIX
    };
    let lag = Lag::of(&free).unwrap();
    for swing in SWINGS {
        let pulse = lag.pulse(19, 23, swing, 1e-6).unwrap();
        assert_eq!(
            (pulse.delay_s, pulse.rise_s, pulse.lacking_s),
            (0.0, 0.0, 0.0)
        );
        assert_eq!((pulse.peak_share, pulse.on_share), (1.0, 1.0));
        assert_eq!(lag.lost_tick_us(0.9, swing), Some(0.0));
    }
    let delays = lag.delays(19, 23).unwrap();
    assert_eq!(
        (delays.select_s, delays.data_s, delays.data_alike_s),
        (0.0, 0.0, 0.0)
    );
    // A free row: what is left is the column's.
    let half = Matrix {
        row_ohm: 0.0,
        driver_ohm: 0.0,
        ..MATRIX
    };
    let lag = Lag::of(&half).unwrap();
    let at = |swing| lag.step(19, 23, swing).unwrap().value(1e-6);
    assert!((at(Swing::All) - at(Swing::Column)).abs() <= 1e-4 && at(Swing::Column) < 0.9);
}

#[test]
fn corners_hold_the_extremes() {
    let lag = lag();
    let tick_s = 20e-6;
    for swing in SWINGS {
        let found = lag.uniformity(tick_s, swing).unwrap();
        let pixels = (0..20).flat_map(|row| (0..24).step_by(3).map(move |column| (row, column)));
        for (row, column) in pixels {
            let pulse = lag.pulse(row, column, swing, tick_s).unwrap();
            let inside = |v: f64, least: f64, most: f64| v >= least && v <= most;
            assert!(inside(
                pulse.delay_s,
                found.delay_s.least,
                found.delay_s.most
            ));
            assert!(inside(pulse.rise_s, found.rise_s.least, found.rise_s.most));
            assert!(inside(
                pulse.on_share,
                found.on_share.least,
                found.on_share.most
            ));
        }
        assert!(found.on_share.least > 0.0 && found.on_share.most < 1.0);
        assert_eq!(found.places[3].delay_s, found.delay_s.most);
        assert_eq!((found.places[4].row, found.places[4].column), (10, 12));
    }
}

#[test]
fn a_thousand_lines_each_way() {
    let large = Matrix {
        rows: 1000,
        columns: 1000,
        ..MATRIX
    };
    let lag = Lag::of(&large).unwrap();
    let pixels = (0..1000).flat_map(|row| (0..1000).map(move |column| (row, column)));
    let sum: f64 = pixels
        .map(|(r, c)| lag.delays(r, c).unwrap().data_alike_s)
        .sum();
    // The mean of x − x²/2 is 1/3, and drivers carry all of both lines; midpoints are off by 1e-6.
    let mean_s = 1e-8 * (64e3 / 3.0 + 8e3);
    assert!((sum / 1e6 / mean_s - 1.0).abs() <= 1e-5, "{}", sum / 1e6);
    assert!(lag.lost_tick_us(0.5, Swing::All).unwrap() > 100.0);
}

#[test]
fn what_is_no_panel_or_no_pulse_has_no_lag() {
    let odd = [
        Matrix { rows: 0, ..MATRIX },
        Matrix {
            columns: 0,
            ..MATRIX
        },
        Matrix {
            row_ohm: -1.0,
            ..MATRIX
        },
        Matrix {
            column_ohm: f64::NAN,
            ..MATRIX
        },
        Matrix {
            pixel_f: f64::INFINITY,
            ..MATRIX
        },
        Matrix {
            driver_ohm: 1e300,
            pixel_f: 1e300,
            ..MATRIX
        },
    ];
    assert!(
        odd.iter()
            .all(|m| Lag::of(m).is_none() && Mesh::of(m).is_none())
    );
    let lag = lag();
    assert!(lag.step(20, 0, Swing::Row).is_none() && lag.delays(0, 24).is_none());
    for width_s in [-1e-6, f64::NAN, f64::INFINITY] {
        assert!(lag.pulse(0, 0, Swing::All, width_s).is_none());
        assert!(lag.uniformity(width_s, Swing::All).is_none());
    }
}

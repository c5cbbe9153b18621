//! Errors at the edges of a band against pixels followed slot by slot.

mod small_panel;

use greyloom::design::EdgeError;
use greyloom::design::climate::BandClimate;
use greyloom::design::edges::edge_errors;
use greyloom::design::proof::Finished;
use greyloom::design::reach::{Climate, Scheme};
use greyloom::drive::{Erase, Field, Stroke};
use greyloom::response::Response;
use small_panel::{Numbers, RUNG, SlotTable, response};

const ROWS: usize = 5;
const SETTLE_MS: f64 = 2.0;
/// L*: rounding of some hundred compositions, through the curve.
const ROUNDING_LSTAR: f64 = 1e-9;

/// Two fields of 8 ms a tick, so that a few ticks on five rows take a pixel from white to dark.
fn scheme() -> Scheme {
    let field = |select_v, data_v, slot_ticks| Field {
        select_v,
        data_v,
        tick_us: 8000,
        slot_ticks,
        guard_ticks: 1,
        mirrored: false,
    };
    let stroke = |(pixel_v, ms)| Stroke { pixel_v, ms };
    Scheme {
        erase: Erase {
            name: "primed".into(),
            strokes: [(18.0, 150.0), (-18.0, 300.0), (-2.0, 200.0)]
                .map(stroke)
                .to_vec(),
            rest_ms: 1000.0,
        },
        fields: vec![field(9.0, 3.0, 12), field(5.5, 2.25, 4)],
    }
}

fn ticks() -> Vec<Vec<u32>> {
    (0..6u32)
        .map(|level| vec![12 - 2 * level, level % 5])
        .collect()
}

const TARGETS_LSTAR: [f64; 6] = [40.0, 48.0, 56.0, 64.0, 72.0, 80.0];
const STEP_LSTAR: f64 = 8.0;

const BAND: BandClimate = BandClimate {
    low_c: 12.0,
    design_c: 18.0,
    factor: 1.0,
    high_c: 25.0,
    rounding: 0.005,
};

fn stretch() -> Vec<Climate> {
    [(12.0, 1.23), (18.0, 1.0), (25.0, 0.8)]
        .map(|(temperature_c, stretch)| Climate {
            temperature_c,
            stretch,
        })
        .to_vec()
}

/// What `look` makes of the finished scheme.
fn finished<T>(look: impl Fn(&Finished) -> T) -> T {
    let (response, scheme, ticks) = (response(RUNG, 2), scheme(), ticks());
    look(&Finished {
        response: &response,
        scheme: &scheme,
        rows: ROWS,
        settle_ms: SETTLE_MS,
        ticks: (&ticks).into(),
        correction: None,
    })
}

fn edges(band: &BandClimate, stretch: &[Climate]) -> Vec<EdgeError> {
    finished(|f| edge_errors(f, band, stretch, &TARGETS_LSTAR)).expect("levels")
}

/// The worst error over rows, extreme contents and what stood before, slot by slot.
fn stepped_error_lstar(response: &Response, temperature_c: f64, factors: &[f64]) -> f64 {
    let scheme = scheme();
    let full: Vec<u32> = scheme.fields.iter().map(|f| f.slot_ticks).collect();
    let mut worst = 0.0f64;
    for &factor in factors {
        let tables: Vec<SlotTable> = response
            .movers(temperature_c, factor)
            .iter()
            .map(|m| SlotTable::new(m, &scheme, SETTLE_MS))
            .collect();
        for (own, target) in ticks().iter().zip(TARGETS_LSTAR) {
            for others in [&full, &vec![0; full.len()]] {
                for row in 0..ROWS {
                    let mut content = vec![others.clone(); ROWS];
                    content[row] = own.clone();
                    for start in [response.kinetics.highest(), response.kinetics.lowest()] {
                        let parts = tables.iter().map(|t| t.coverage(start, row, &content));
                        let error = (response.curve.lstar(parts.sum()) - target).abs();
                        assert!(error.is_finite());
                        worst = worst.max(error);
                    }
                }
            }
        }
    }
    worst
}

#[test]
fn errors_at_the_limits_are_those_of_pixels_followed_slot_by_slot() {
    let response = response(RUNG, 2);
    let got = edges(&BAND, &stretch());
    let half = BAND.rounding;
    let expected = [
        (12.0, 1.23, vec![1.23 - half, 1.23 + half]),
        // At the design temperature the durations stand as they are: the clock has nothing to round.
        (18.0, 1.0, vec![1.0]),
        (25.0, 0.8, vec![0.8 - half, 0.8 + half]),
    ];
    assert_eq!(got.len(), expected.len());
    for (edge, (temperature_c, factor, played)) in got.iter().zip(expected) {
        assert_eq!((edge.temperature_c, edge.factor), (temperature_c, factor));
        let with = stepped_error_lstar(&response, temperature_c, &played);
        let without = stepped_error_lstar(&response, temperature_c, &[1.0]);
        assert!(
            (edge.error_lstar - with).abs() <= ROUNDING_LSTAR,
            "{edge:?} {with}"
        );
        assert!(
            (edge.unstretched_error_lstar - without).abs() <= ROUNDING_LSTAR,
            "{edge:?} {without}"
        );
        assert!((edge.error_steps * STEP_LSTAR - with).abs() <= ROUNDING_LSTAR);
        assert!((edge.unstretched_error_steps * STEP_LSTAR - without).abs() <= ROUNDING_LSTAR);
    }
}

/// Any picture of the levels, not only the extremes.
#[test]
fn no_picture_errs_more_than_an_edge_says() {
    const PICTURES: usize = 300;
    let (response, scheme, ticks) = (response(RUNG, 2), scheme(), ticks());
    let mut numbers = Numbers(17);
    for edge in edges(&BAND, &stretch()) {
        let tables: Vec<SlotTable> = response
            .movers(edge.temperature_c, edge.factor)
            .iter()
            .map(|m| SlotTable::new(m, &scheme, SETTLE_MS))
            .collect();
        for _ in 0..PICTURES {
            let levels: Vec<usize> = (0..ROWS).map(|_| numbers.below(ticks.len())).collect();
            let content: Vec<Vec<u32>> = levels.iter().map(|&l| ticks[l].clone()).collect();
            let row = numbers.below(ROWS);
            let dark = response.kinetics.highest();
            let parts = tables.iter().map(|t| t.coverage(dark, row, &content));
            let error = (response.curve.lstar(parts.sum()) - TARGETS_LSTAR[levels[row]]).abs();
            assert!(
                error <= edge.error_lstar + ROUNDING_LSTAR,
                "{error} {edge:?}"
            );
        }
    }
}

#[test]
fn an_edge_is_part_of_the_proof() {
    let proved = finished(|f| f.extremes(&BAND, &stretch()));
    let worst = proved.worst(&TARGETS_LSTAR).expect("levels");
    let proved_lstar = (worst.lstar - worst.target_lstar).abs();
    let edges = edges(&BAND, &stretch());
    for limit in [edges[0], edges[2]] {
        assert!(
            limit.error_lstar <= proved_lstar + ROUNDING_LSTAR,
            "{limit:?}"
        );
    }
}

#[test]
fn one_temperature_alone_has_one_entry() {
    let point = BandClimate::point(18.0);
    let [edge] = edges(&point, &[point.design()])[..] else {
        panic!("more than one")
    };
    assert_eq!(edge.factor, 1.0);
    assert_eq!(edge.error_lstar, edge.unstretched_error_lstar);
    assert!(edge.error_lstar > 0.0);
}

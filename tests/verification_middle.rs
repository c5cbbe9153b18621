//! A pixel of an ordinary picture against slot-by-slot stepping of the whole column.

mod small_panel;

use greyloom::design::middle::Middle;
use greyloom::design::proof::Finished;
use greyloom::design::reach::{Climate, Scheme};
use greyloom::drive::{Erase, Field, Stroke};
use greyloom::response::Response;
use small_panel::{Numbers, RUNG, SlotTable, response};

const ROWS: usize = 7;
const SETTLE_MS: f64 = 2.0;
/// L*: rounding of some hundred compositions, through the curve.
const ROUNDING_LSTAR: f64 = 1e-9;
const CLIMATE: Climate = Climate {
    temperature_c: 17.0,
    stretch: 1.1,
};

fn field(select_v: f64, data_v: f64, slot_ticks: u32, guard_ticks: u32) -> Field {
    Field {
        select_v,
        data_v,
        tick_us: 8000,
        slot_ticks,
        guard_ticks,
        mirrored: false,
    }
}

fn schemes() -> Vec<Scheme> {
    let stroke = |(pixel_v, ms)| Stroke { pixel_v, ms };
    let erase = Erase {
        name: "primed".into(),
        strokes: [(18.0, 150.0), (-18.0, 900.0)].map(stroke).to_vec(),
        rest_ms: 800.0,
    };
    let (strong, weak) = (field(9.0, 3.0, 12, 0), field(5.5, 2.25, 4, 2));
    [
        vec![strong],
        vec![weak, strong],
        vec![strong, weak, field(8.0, 2.0, 3, 1)],
    ]
    .into_iter()
    .map(|fields| Scheme {
        erase: erase.clone(),
        fields,
    })
    .collect()
}

fn ticks(scheme: &Scheme, numbers: &mut Numbers) -> Vec<u32> {
    let of = |f: &Field| numbers.below(f.slot_ticks as usize + 1) as u32;
    scheme.fields.iter().map(of).collect()
}

fn stepped(response: &Response, scheme: &Scheme, content: &[Vec<u32>], row: usize) -> f64 {
    let movers = response.movers(CLIMATE.temperature_c, CLIMATE.stretch);
    let start = response.kinetics.highest();
    let coverage = movers
        .iter()
        .map(|m| SlotTable::new(m, scheme, SETTLE_MS).coverage(start, row, content));
    response.curve.lstar(coverage.sum())
}

#[test]
fn any_ticks_among_any_rows_are_slots_one_after_another() {
    let response = response(RUNG, 4);
    let mut numbers = Numbers(3);
    let (mut seen, mut apart) = (0.0f64, 0.0f64);
    for scheme in schemes() {
        let base = Finished {
            response: &response,
            scheme: &scheme,
            rows: ROWS,
            settle_ms: SETTLE_MS,
            ticks: &[],
            correction: None,
        };
        for row in [0, 1, ROWS / 2, ROWS - 1] {
            let content: Vec<Vec<u32>> = (0..ROWS).map(|_| ticks(&scheme, &mut numbers)).collect();
            let middle = Middle::new(&base, CLIMATE, &content, row);
            for _ in 0..5 {
                let own = ticks(&scheme, &mut numbers);
                let mut shown = content.clone();
                shown[row] = own.clone();
                let expected = stepped(&response, &scheme, &shown, row);
                let found = middle.lstar(&own);
                assert!(
                    (found - expected).abs() < ROUNDING_LSTAR,
                    "{found} {expected}"
                );
                if row > 0 {
                    shown[row - 1] = own.clone();
                }
                let expected = expected - stepped(&response, &scheme, &shown, row);
                let found = middle.apart_from_patch_lstar(&own);
                assert!(
                    (found - expected).abs() < ROUNDING_LSTAR,
                    "{found} {expected}"
                );
                seen = seen.max(middle.lstar(&own));
                apart = apart.max(found.abs());
            }
        }
    }
    assert!(seen > 30.0 && apart > 0.01, "{seen} {apart}");
}

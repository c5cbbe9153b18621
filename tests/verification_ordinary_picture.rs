//! Ordinary pictures: a pixel against slot-by-slot stepping of the whole column, and the evenest ticks against every
//! combination of a small ladder.

mod slow_fields;
mod small_panel;

use greyloom::design::choice::{Spot, Spots};
use greyloom::design::even::{
    even_ticks, mixed_content, off_even_lstar, uneven_lstar, unsure_even_lstar,
};
use greyloom::design::middle::Middle;
use greyloom::design::proof::Finished;
use greyloom::design::reach::{Climate, Reach, Scheme, Scope};
use greyloom::design::zones::Zoned;
use greyloom::drive::{Erase, Field, RowTicks, Stroke};
use greyloom::response::Response;
use slow_fields::plain as field;
use small_panel::{Numbers, RUNG, SlotTable, response};

const ROWS: usize = 7;
const SETTLE_MS: f64 = 2.0;
/// L*: rounding of some hundred compositions, through the curve.
const ROUNDING_LSTAR: f64 = 1e-9;
const CLIMATE: Climate = Climate {
    temperature_c: 17.0,
    stretch: 1.1,
};

/// How far above the least worst error errors may go.
const ROOM: f64 = 1.6;
/// As in the program: what of the row before may not be there.
const MEMORY_SHARE: f64 = 0.8;
/// Combinations that are compared, at most.
const COMBINATIONS: usize = 20_000;
/// The lines that are tried lie this far apart, in steps, and what a level shows hangs a little on the row before.
const NEAR_STEPS: f64 = 0.02;

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

fn unfinished<'a>(response: &'a Response, scheme: &'a Scheme) -> Finished<'a> {
    Finished {
        response,
        scheme,
        rows: ROWS,
        settle_ms: SETTLE_MS,
        ticks: RowTicks::Alike(&[]),
        correction: None,
    }
}

#[test]
fn any_ticks_among_any_rows_are_slots_one_after_another() {
    let response = response(RUNG, 4);
    let mut numbers = Numbers(3);
    let (mut seen, mut apart) = (0.0f64, 0.0f64);
    for scheme in schemes() {
        let base = unfinished(&response, &scheme);
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

fn spots(response: &Response, scheme: &Scheme) -> Spots {
    let scope = Scope {
        response,
        panel_rows: ROWS,
        settle_ms: SETTLE_MS,
        climates: vec![CLIMATE],
        rows: (0..ROWS).collect(),
    };
    let reach = Reach::new(&scope, scheme);
    let lstar = |a: f64| response.curve.lstar(a);
    let spot = |c: usize| Spot::between(lstar(reach.high[c]), lstar(reach.low[c]), c);
    Spots::new((0..reach.low.len()).map(spot).collect())
}

/// Every combination of some choices, one a level.
fn combinations(choices: &[Vec<Spot>]) -> Vec<Vec<Spot>> {
    let with = |all: Vec<Vec<Spot>>, level: &Vec<Spot>| {
        let longer = |c: &Vec<Spot>| {
            let with = |s: &Spot| c.iter().chain([s]).copied().collect();
            level.iter().map(with).collect::<Vec<Vec<Spot>>>()
        };
        all.iter().flat_map(longer).collect()
    };
    choices.iter().fold(vec![Vec::new()], with)
}

#[test]
fn next_to_no_combination_is_evener() {
    let (response, scheme) = (response(RUNG, 2), schemes().remove(1));
    let spots = spots(&response, &scheme);
    let ends = spots.ends().expect("choices");
    let base = unfinished(&response, &scheme);
    let mut gained = false;
    for levels in 4..=6usize {
        let low = ends.low + 2.0;
        let step = (ends.high - 2.0 - low) / (levels - 1) as f64;
        let targets: Vec<f64> = (0..levels).map(|k| low + k as f64 * step).collect();
        let best: Vec<(Spot, f64)> = targets
            .iter()
            .map(|&t| spots.best_for(t).unwrap())
            .collect();
        let least = best.iter().map(|b| b.1).fold(0.0, f64::max);
        let whole = Zoned::whole(ROWS, spots.clone());
        let tolerance_steps = ROOM * least / step;
        let even =
            even_ticks(&base, &whole, &targets, tolerance_steps, CLIMATE).expect("a choice each");
        let choices: Vec<Vec<Spot>> = targets
            .iter()
            .map(|&t| spots.keeping(t, tolerance_steps * step))
            .collect();
        // Every level keeps the tolerance.
        for (ticks, choices) in even.zones[0].ticks.iter().zip(&choices) {
            let one = |s: &Spot| scheme.ticks_of(s.choice) == *ticks;
            assert!(choices.iter().any(one), "{ticks:?}");
        }
        let uneven = |ticks: &[Vec<u32>]| {
            let content = mixed_content(ROWS, ticks);
            let middle = Middle::new(&base, CLIMATE, &content, ROWS / 2);
            let shown: Vec<f64> = ticks.iter().map(|t| middle.lstar(t)).collect();
            let memory = |t: &Vec<u32>| MEMORY_SHARE * middle.apart_from_patch_lstar(t).abs();
            let unsure = unsure_even_lstar(&ticks.iter().map(memory).collect::<Vec<_>>());
            let expected = off_even_lstar(&shown).into_iter().zip(unsure);
            let expected = expected.map(|(off, u)| off.hypot(u)).fold(0.0, f64::max);
            (uneven_lstar(&shown) / step, expected / step)
        };
        let (uneven_steps, expected_steps) = uneven(&even.zones[0].ticks);
        assert!((uneven_steps - even.uneven_steps).abs() < ROUNDING_LSTAR);
        assert!((expected_steps - even.expected_steps).abs() < ROUNDING_LSTAR);
        let all = combinations(&choices);
        assert!((40..=COMBINATIONS).contains(&all.len()), "{}", all.len());
        let ticks = |c: &Vec<Spot>| {
            c.iter()
                .map(|s| scheme.ticks_of(s.choice))
                .collect::<Vec<_>>()
        };
        let evenest = all
            .iter()
            .map(|c| uneven(&ticks(c)).1)
            .fold(f64::INFINITY, f64::min);
        assert!(evenest <= expected_steps + ROUNDING_LSTAR);
        assert!(
            expected_steps <= evenest + NEAR_STEPS,
            "{expected_steps} {evenest}"
        );
        let plain: Vec<Vec<u32>> = best.iter().map(|b| scheme.ticks_of(b.0.choice)).collect();
        gained |= expected_steps < uneven(&plain).1;
    }
    assert!(gained);
    assert_eq!(off_even_lstar(&[10.0, 21.0, 30.0]), [0.0, 1.0, 0.0]);
}

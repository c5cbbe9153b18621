//! The worst of all pictures against every picture of a small panel; charge against integrating what the pixels feel.

mod row_zones;
mod slow_fields;
mod small_panel;

use greyloom::design::proof::Finished;
use greyloom::design::reach::{Climate, Scheme};
use greyloom::drive::{Erase, Field, RowTicks, Stroke, Zone, worst_net_impulse_vs};
use greyloom::panel::{
    Before, Levels, PictureRun, Played, balance_shift, column_impulse_vs, extreme_contents,
    greedy_apart, picture_impulse_vs, pulling_content, resting_balance,
};
use greyloom::response::Response;
use row_zones::zones;
use slow_fields::plain;
use small_panel::{Numbers, RUNG, SlotTable, response};

const ROWS: usize = 5;
const LEVELS: usize = 4;
const SETTLE_MS: f64 = 2.0;
/// L*: rounding of some hundred compositions, through the curve.
const ROUNDING_LSTAR: f64 = 1e-9;
/// V·s.
const ROUNDING_VS: f64 = 1e-12;
const CLIMATE: Climate = Climate {
    temperature_c: 21.0,
    stretch: 1.0,
};

fn field(select_v: f64, data_v: f64, slot_ticks: u32, guard_ticks: u32, mirrored: bool) -> Field {
    Field {
        mirrored,
        ..plain(select_v, data_v, slot_ticks, guard_ticks)
    }
}

fn scheme(fields: &[Field]) -> Scheme {
    let stroke = |(pixel_v, ms)| Stroke { pixel_v, ms };
    Scheme {
        erase: Erase {
            name: "primed".into(),
            strokes: [(18.0, 150.0), (-18.0, 900.0)].map(stroke).to_vec(),
            rest_ms: 600.0,
        },
        fields: fields.to_vec(),
    }
}

fn played<'a>(scheme: &'a Scheme, ticks: &'a [Zone]) -> Played<'a> {
    Played {
        erase: &scheme.erase,
        fields: &scheme.fields,
        ticks: ticks.into(),
        settle_ms: SETTLE_MS,
        temperature_c: CLIMATE.temperature_c,
        stretch: CLIMATE.stretch,
    }
}

/// Every column of a panel of [`ROWS`] rows and [`LEVELS`] levels.
fn every_content() -> impl Iterator<Item = Vec<usize>> {
    (0..LEVELS.pow(ROWS as u32)).map(|mut code| {
        let mut level = || {
            let l = code % LEVELS;
            code /= LEVELS;
            l
        };
        (0..ROWS).map(|_| level()).collect()
    })
}

/// Lightest and darkest of one level in one row over every picture.
fn extremes(
    response: &Response,
    scheme: &Scheme,
    ticks: &[Zone],
    (row, level): (usize, usize),
) -> (f64, f64) {
    let movers = response.movers(CLIMATE.temperature_c, CLIMATE.stretch);
    let tables: Vec<SlotTable> = movers
        .iter()
        .map(|m| SlotTable::new(m, scheme, SETTLE_MS))
        .collect();
    let start = response.kinetics.highest();
    let shown = every_content()
        .filter(|content| content[row] == level)
        .map(|content| {
            let content = ticks_of(ticks, content.iter().copied());
            let coverage = tables.iter().map(|t| t.coverage(start, row, &content));
            response.curve.lstar(coverage.sum())
        });
    shown.fold((f64::NEG_INFINITY, f64::INFINITY), |(light, dark), l| {
        (light.max(l), dark.min(l))
    })
}

/// The ticks of each row that shows some levels.
fn ticks_of(ticks: &[Zone], levels: impl Iterator<Item = usize>) -> Vec<Vec<u32>> {
    let ticks = RowTicks::Zones(ticks);
    let rows = levels.enumerate();
    rows.map(|(row, l)| ticks.in_row(row)[l].clone()).collect()
}

fn one_field(ticks: [u32; LEVELS]) -> Vec<Vec<u32>> {
    ticks.map(|t| vec![t]).to_vec()
}

fn two_fields(ticks: [[u32; 2]; LEVELS]) -> Vec<Vec<u32>> {
    ticks.map(|t| t.to_vec()).to_vec()
}

/// Ticks of levels in one field, and in two where no level is the extreme of both; in all rows alike, then by zones of them.
fn cases() -> Vec<(Scheme, Vec<Zone>)> {
    let (strong, weak) = (field(9.0, 3.0, 12, 1, false), field(5.5, 2.25, 5, 0, false));
    let (one, two) = (scheme(&[strong]), scheme(&[weak, strong]));
    let zoned = |cuts: &[usize], tables: Vec<Vec<Vec<u32>>>| {
        let mut tables = tables.into_iter();
        zones(ROWS, cuts, || tables.next().expect("a table each"))
    };
    let alone = one_field([12, 7, 3, 0]);
    let both = two_fields([[1, 11], [5, 6], [0, 4], [3, 0]]);
    vec![
        (one.clone(), zoned(&[], vec![alone.clone()])),
        (two.clone(), zoned(&[], vec![both.clone()])),
        (
            one,
            zoned(
                &[1, 4],
                vec![one_field([10, 9, 2, 1]), alone, one_field([8, 8, 6, 5])],
            ),
        ),
        (
            two,
            zoned(
                &[2],
                vec![both, two_fields([[2, 9], [4, 7], [1, 3], [2, 1]])],
            ),
        ),
    ]
}

#[test]
fn the_bound_holds_for_every_picture_and_is_reached_where_one_level_is_extreme() {
    let response = response(RUNG, 3);
    for (scheme, ticks) in cases() {
        let base = Finished {
            response: &response,
            scheme: &scheme,
            rows: ROWS,
            settle_ms: SETTLE_MS,
            ticks: RowTicks::Zones(&ticks),
            correction: None,
        };
        let contents = extreme_contents(&scheme.fields, &ticks, ROWS);
        let bound = base.contents_apart(&[CLIMATE], &contents);
        for (level, apart) in bound.iter().enumerate() {
            let mut widest = 0.0f64;
            for row in 0..ROWS {
                let (light, dark) = extremes(&response, &scheme, &ticks, (row, level));
                widest = widest.max(light - dark);
                if row == apart.row {
                    assert!(
                        light <= apart.lstar[0] + ROUNDING_LSTAR,
                        "{light} {apart:?}"
                    );
                    assert!(dark >= apart.lstar[1] - ROUNDING_LSTAR, "{dark} {apart:?}");
                }
            }
            assert!(widest > 0.05, "nothing to see: {widest}");
            let slack = apart.size_lstar() - widest;
            assert!(slack >= -ROUNDING_LSTAR, "{slack}");
            if scheme.fields.len() == 1 {
                assert!(slack < ROUNDING_LSTAR, "not reached: {slack}");
            }
        }
    }
}

/// The content that is found pulls as far as any of all pictures.
#[test]
fn the_content_found_is_the_worst_of_all() {
    let response = response(RUNG, 3);
    for (scheme, ticks) in cases() {
        for (row, level) in [(0, 1), (2, 2), (4, 3)] {
            let (light, dark) = extremes(&response, &scheme, &ticks, (row, level));
            for (darkest, expected) in [(false, light), (true, dark)] {
                let played = played(&scheme, &ticks);
                let found = pulling_content(&response, &played, ROWS, (row, level), darkest);
                assert!(
                    (found.lstar - expected).abs() < ROUNDING_LSTAR,
                    "{found:?} {expected}"
                );
                assert_eq!(usize::from(found.content[row]), level);
                // It shows what it says.
                let picture = Levels {
                    columns: 1,
                    levels: &found.content,
                };
                let shown = PictureRun::new(&response, &played, None).lstar(picture, Before::Dark);
                assert!((shown[row] - found.lstar).abs() < ROUNDING_LSTAR);
            }
        }
    }
}

/// The bound that holds for mirrored fields: no picture goes beyond, and it is not far beyond any; with plain fields it is
/// the plain bound.
#[test]
fn the_greedy_bound_holds_for_mirrored_fields() {
    /// Of what the pictures reach.
    const WIDER: f64 = 1.05;
    let response = response(RUNG, 3);
    let mirrored = field(9.0, 3.0, 12, 1, true);
    let weak = field(6.0, 2.25, 5, 0, true);
    let cases = [
        (scheme(&[mirrored]), cases().remove(0).1),
        (scheme(&[weak, mirrored]), cases().remove(1).1),
        (scheme(&[mirrored]), cases().remove(2).1),
    ];
    for (scheme, ticks) in cases {
        let bound = greedy_apart(&response, &played(&scheme, &ticks), ROWS);
        for (level, apart) in bound.iter().enumerate() {
            let mut widest = 0.0f64;
            for row in 0..ROWS {
                let (light, dark) = extremes(&response, &scheme, &ticks, (row, level));
                widest = widest.max(light - dark);
            }
            assert!(widest > 1e-3, "nothing to see: {widest}");
            let bound = apart.size_lstar();
            assert!(bound >= widest - ROUNDING_LSTAR, "{bound} {widest}");
            assert!(bound <= WIDER * widest, "{bound} {widest}");
        }
    }
    let (scheme, ticks) = two_plain_fields();
    let base = Finished {
        response: &response,
        scheme: &scheme,
        rows: ROWS,
        settle_ms: SETTLE_MS,
        ticks: RowTicks::Zones(&ticks),
        correction: None,
    };
    let contents = extreme_contents(&scheme.fields, &ticks, ROWS);
    let plain = base.contents_apart(&[CLIMATE], &contents);
    let greedy = greedy_apart(&response, &played(&scheme, &ticks), ROWS);
    for (a, b) in plain.iter().zip(&greedy) {
        assert_eq!(a.row, b.row);
        assert!((a.size_lstar() - b.size_lstar()).abs() < ROUNDING_LSTAR);
    }
}

fn two_plain_fields() -> (Scheme, Vec<Zone>) {
    cases().remove(3)
}

/// Net impulse of a pixel, piece by piece of every slot.
fn integrated_vs(scheme: &Scheme, ticks: &[Zone], content: &[u16], row: usize) -> f64 {
    let strokes = scheme.erase.strokes.iter().map(|s| s.pixel_v * s.ms * 1e-3);
    let mut sum: f64 = strokes.sum();
    for (f, field) in scheme.fields.iter().enumerate() {
        for (r, &level) in content.iter().enumerate() {
            let d = RowTicks::Zones(ticks).in_row(r)[usize::from(level)][f];
            let pieces = if r == row {
                field.own_slot(d)
            } else {
                field.other_slot(d)
            };
            let each = pieces.iter().map(|p| p.pixel_v * f64::from(p.ticks));
            sum += each.sum::<f64>() * field.tick_s();
        }
    }
    sum
}

/// Levels of a picture of ROWS rows.
fn drawn(columns: usize, numbers: &mut Numbers) -> Vec<u16> {
    let level = |_| numbers.below(LEVELS) as u16;
    (0..ROWS * columns).map(level).collect()
}

#[test]
fn charge_is_the_integral_of_what_every_pixel_feels() {
    let mut numbers = Numbers(17);
    let mut cases = cases();
    let mirrored = field(9.0, 3.0, 12, 1, true);
    let alone = cases[0].1.clone();
    cases.push((scheme(&[mirrored]), alone));
    let mut largest = 0.0f64;
    for (scheme, ticks) in cases {
        let columns = 3;
        let levels = drawn(columns, &mut numbers);
        let picture = Levels {
            columns,
            levels: &levels,
        };
        let found = picture_impulse_vs(&scheme.erase, &scheme.fields, &ticks, picture);
        let worst = worst_net_impulse_vs(&scheme.erase, &scheme.fields, &ticks, ROWS);
        for (column, found) in found.iter().enumerate() {
            let content: Vec<u16> = (0..ROWS).map(|r| levels[r * columns + column]).collect();
            for row in 0..ROWS {
                let expected = integrated_vs(&scheme, &ticks, &content, row);
                assert!((found - expected).abs() < ROUNDING_VS, "{found} {expected}");
            }
            assert!(found.abs() <= worst.expect("rows").value_vs.abs() + ROUNDING_VS);
            largest = largest.max(found.abs());
        }
        // The resting balance takes away exactly the columns' part.
        let parts = column_impulse_vs(&scheme.fields, &ticks, picture);
        for (part, balance) in parts.iter().zip(resting_balance(&parts, 2.0)) {
            assert!((part + balance.pixel_v * balance.seconds).abs() < ROUNDING_VS);
            assert!(balance.pixel_v.abs() == 2.0 && balance.seconds >= 0.0);
        }
        let none = scheme.fields.iter().all(|f| f.mirrored);
        assert_eq!(none, parts.iter().all(|p| *p == 0.0));
    }
    assert!(largest > 0.1, "{largest}");
}

/// The largest charge of any picture, zone by zone and by trying every column.
#[test]
fn the_worst_charge_is_that_of_every_picture() {
    for (scheme, ticks) in cases() {
        let worst = worst_net_impulse_vs(&scheme.erase, &scheme.fields, &ticks, ROWS);
        let worst = worst.expect("rows");
        let (mut largest, mut column) = (0.0f64, 0.0f64);
        for content in every_content() {
            let levels: Vec<u16> = content.iter().map(|&l| l as u16).collect();
            let picture = Levels {
                columns: 1,
                levels: &levels,
            };
            let part = column_impulse_vs(&scheme.fields, &ticks, picture)[0];
            column = column.max(part.abs());
            largest = largest.max(integrated_vs(&scheme, &ticks, &levels, 2).abs());
        }
        assert!((worst.value_vs.abs() - largest).abs() < ROUNDING_VS);
        assert!((worst.column_vs - column).abs() < ROUNDING_VS && column > 1e-3);
    }
}

/// A balance is a hold at its voltage: slot by slot, then the rest, then the hold.
#[test]
fn a_balanced_picture_is_held_after_its_rest() {
    let response = response(RUNG, 3);
    for case in [1, 3] {
        balanced_as_held(&response, cases().remove(case));
    }
}

fn balanced_as_held(response: &Response, (scheme, ticks): (Scheme, Vec<Zone>)) {
    let levels: Vec<u16> = vec![0, 1, 2, 3, 1];
    let picture = Levels {
        columns: 1,
        levels: &levels,
    };
    let played = played(&scheme, &ticks);
    let run = PictureRun::new(response, &played, None);
    let parts = column_impulse_vs(&scheme.fields, &ticks, picture);
    let balance = resting_balance(&parts, 6.0);
    let held = run.balanced_lstar(picture, Before::Dark, &balance);
    // The same as a longer rest at that voltage.
    let longer = Scheme {
        erase: Erase {
            rest_ms: 0.0,
            ..scheme.erase.clone()
        },
        ..scheme.clone()
    };
    let content = ticks_of(&ticks, levels.iter().map(|&l| usize::from(l)));
    let mut moved = 0.0f64;
    let plain = run.lstar(picture, Before::Dark);
    for row in 0..ROWS {
        let mut coverage = 0.0;
        for mover in response.movers(CLIMATE.temperature_c, CLIMATE.stretch) {
            let mut x = response.kinetics.highest();
            for s in &longer.erase.strokes {
                x = mover.hold(s.pixel_v, s.ms * 1e-3).apply(&x);
            }
            for (f, field) in longer.fields.iter().enumerate() {
                for (r, ticks) in content.iter().enumerate() {
                    let pieces = if r == row {
                        field.own_slot(ticks[f])
                    } else {
                        field.other_slot(ticks[f])
                    };
                    x = greyloom::pigment::step_pieces(&mover, field.tick_s(), &pieces, x);
                }
                x = mover.hold(0.0, SETTLE_MS * 1e-3).apply(&x);
            }
            x = mover.hold(0.0, scheme.erase.rest_ms * 1e-3).apply(&x);
            x = mover.hold(balance[0].pixel_v, balance[0].seconds).apply(&x);
            coverage += mover.class.share * x[1];
        }
        let expected = response.curve.lstar(coverage);
        assert!(
            (held[row] - expected).abs() < ROUNDING_LSTAR,
            "{} {expected}",
            held[row]
        );
        moved = moved.max((held[row] - plain[row]).abs());
    }
    assert!(moved > 1e-3, "{moved}");
}

/// No picture's resting balance shifts a pixel by more than is told of the worst, whatever stands in its column.
#[test]
fn no_resting_balance_shifts_a_level_farther_than_the_worst() {
    let response = response(RUNG, 3);
    const DATA_V: f64 = 6.0;
    let mut numbers = Numbers(23);
    for (scheme, ticks) in cases() {
        let played = played(&scheme, &ticks);
        let run = PictureRun::new(&response, &played, None);
        let worst = balance_shift(&run, &played, ROWS, DATA_V);
        let columns = 400;
        let levels = drawn(columns, &mut numbers);
        let picture = Levels {
            columns,
            levels: &levels,
        };
        let balance = resting_balance(&column_impulse_vs(&scheme.fields, &ticks, picture), DATA_V);
        let before = run.lstar(picture, Before::Dark);
        let after = run.balanced_lstar(picture, Before::Dark, &balance);
        let moved = before.iter().zip(&after).map(|(a, b)| (a - b).abs());
        let largest = moved.fold(0.0, f64::max);
        assert!(
            largest <= worst.lstar + ROUNDING_LSTAR,
            "{largest} {worst:?}"
        );
        assert!(largest > 0.3 * worst.lstar, "{largest} {worst:?}");
    }
}

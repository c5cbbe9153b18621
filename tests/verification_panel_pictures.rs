//! Whole pictures against slot-by-slot stepping of every pixel.

mod row_zones;
mod slow_fields;
mod small_panel;

use greyloom::design::reach::Scheme;
use greyloom::drive::{Erase, Field, Piece, RowTicks, Stroke};
use greyloom::panel::{Before, Levels, LineLag, PictureRun, Played};
use greyloom::pigment::{Mover, State, step_pieces};
use greyloom::response::{Response, coverage_of};
use row_zones::zones;
use slow_fields::plain;
use small_panel::{Numbers, RUNG, SlotTable, response};

const ROWS: usize = 6;
const COLUMNS: usize = 6;
const LEVELS: usize = 5;
const SETTLE_MS: f64 = 2.0;
/// Coverage: rounding of some hundred compositions.
const ROUNDING: f64 = 1e-10;

fn field(select_v: f64, data_v: f64, slot_ticks: u32, guard_ticks: u32, mirrored: bool) -> Field {
    Field {
        mirrored,
        ..plain(select_v, data_v, slot_ticks, guard_ticks)
    }
}

fn erase() -> Erase {
    let stroke = |(pixel_v, ms)| Stroke { pixel_v, ms };
    Erase {
        name: "short".into(),
        // Short enough that what stood before still shows.
        strokes: [(18.0, 50.0), (-18.0, 120.0)].map(stroke).to_vec(),
        rest_ms: 700.0,
    }
}

fn schemes() -> Vec<Vec<Field>> {
    let strong = field(9.0, 3.0, 12, 0, false);
    let weak = field(5.5, 2.25, 4, 2, false);
    let mirrored = field(9.0, 3.5, 9, 1, true);
    let lightening = field(-7.0, 2.5, 6, 0, false);
    vec![
        vec![strong],
        vec![mirrored],
        vec![strong, weak],
        vec![mirrored, lightening, weak],
    ]
}

/// Levels with random ticks.
fn ticks(fields: &[Field], numbers: &mut Numbers) -> Vec<Vec<u32>> {
    let mut level = || {
        let of = |f: &Field| numbers.below(f.slot_ticks as usize + 1) as u32;
        fields.iter().map(of).collect()
    };
    (0..LEVELS).map(|_| level()).collect()
}

fn picture(numbers: &mut Numbers) -> Vec<u16> {
    (0..ROWS * COLUMNS)
        .map(|_| numbers.below(LEVELS) as u16)
        .collect()
}

/// One pixel of one class, from `x` before the erase, piece by piece.
struct Pixel<'a> {
    mover: &'a Mover<'a>,
    played: &'a Played<'a>,
    row: usize,
    column: usize,
    /// Whole ticks by which its own select pulse is late, in each field.
    late: u32,
}

impl Pixel<'_> {
    fn after(&self, picture: &[u16], mut x: State) -> State {
        let played = self.played;
        for stroke in &played.erase.strokes {
            x = self.mover.hold(stroke.pixel_v, stroke.ms * 1e-3).apply(&x);
        }
        for (f, field) in played.fields.iter().enumerate() {
            for row in 0..ROWS {
                let level = usize::from(picture[row * COLUMNS + self.column]);
                let ticks = played.ticks.in_row(row)[level][f];
                x = if row == self.row {
                    step_pieces(self.mover, field.tick_s(), &self.own(field, ticks), x)
                } else {
                    step_pieces(self.mover, field.tick_s(), &field.other_slot(ticks), x)
                };
            }
            x = self.mover.hold(0.0, SETTLE_MS * 1e-3).apply(&x);
        }
        self.mover.hold(0.0, played.erase.rest_ms * 1e-3).apply(&x)
    }

    /// The own slot tick by tick, the first ones as others feel them where the pulse is late.
    fn own(&self, field: &Field, ticks: u32) -> Vec<Piece> {
        let each = |pieces: &[Piece]| -> Vec<Piece> {
            let tick = |p: &Piece| {
                let one = Piece { ticks: 1, ..*p };
                std::iter::repeat_n(one, p.ticks as usize)
            };
            pieces.iter().flat_map(tick).collect()
        };
        let mut own = each(&field.own_slot(ticks));
        let other = each(&field.other_slot(ticks));
        let late = (self.late as usize).min(own.len());
        own[..late].copy_from_slice(&other[..late]);
        own
    }
}

fn brute(
    response: &Response,
    played: &Played,
    picture: &[u16],
    before: Option<&[u16]>,
    (start, late): (State, u32),
) -> Vec<f64> {
    let mut coverage = vec![0.0; ROWS * COLUMNS];
    for mover in response.movers(played.temperature_c, played.stretch) {
        for row in 0..ROWS {
            for column in 0..COLUMNS {
                let pixel = Pixel {
                    mover: &mover,
                    played,
                    row,
                    column,
                    late,
                };
                let x = before.map_or(start, |old| pixel.after(old, start));
                let end = pixel.after(picture, x);
                coverage[row * COLUMNS + column] += mover.class.share * coverage_of(&end);
            }
        }
    }
    coverage
}

fn assert_same(found: &[f64], expected: &[f64], what: &str) {
    assert_eq!(found.len(), expected.len());
    let mut spread = (f64::INFINITY, 0.0f64);
    for (i, (a, b)) in found.iter().zip(expected).enumerate() {
        assert!((a - b).abs() <= ROUNDING, "{what}, pixel {i}: {a} for {b}");
        spread = (spread.0.min(*a), spread.1.max(*a));
    }
    assert!(spread.1 - spread.0 > 0.01, "{what}: nothing to see");
}

fn levels(levels: &[u16]) -> Levels<'_> {
    Levels {
        columns: COLUMNS,
        levels,
    }
}

/// Every scheme with random levels, alike in all rows or by zones of them, a random picture and another one before it.
fn each(mut see: impl FnMut(&Response, &Played, &[u16], &[u16])) {
    let response = response(RUNG, 5);
    let erase = erase();
    let mut numbers = Numbers(11);
    for fields in schemes() {
        for (temperature_c, stretch) in [(8.0, 1.3), (31.0, 0.8)] {
            let alike = ticks(&fields, &mut numbers);
            let (now, old) = (picture(&mut numbers), picture(&mut numbers));
            let cuts = [numbers.below(ROWS), numbers.below(ROWS)];
            let zones = zones(ROWS, &cuts, || ticks(&fields, &mut numbers));
            for ticks in [RowTicks::Alike(&alike), RowTicks::Zones(&zones)] {
                let played = Played {
                    erase: &erase,
                    fields: &fields,
                    ticks,
                    settle_ms: SETTLE_MS,
                    temperature_c,
                    stretch,
                };
                see(&response, &played, &now, &old);
            }
        }
    }
}

#[test]
fn pictures_are_slots_one_after_another() {
    each(|response, played, now, old| {
        let run = PictureRun::new(response, played, None);
        let kinetics = &response.kinetics;
        let expected = |before, start| brute(response, played, now, before, (start, 0));
        let dark = run.coverage(levels(now), Before::Dark);
        assert_same(&dark, &expected(None, kinetics.highest()), "from dark");
        let clear = run.coverage(levels(now), Before::Clear);
        assert_same(&clear, &expected(None, kinetics.lowest()), "from clear");
        let after = run.coverage(levels(now), Before::Picture(levels(old)));
        let from_old = expected(Some(old), kinetics.highest());
        assert_same(&after, &from_old, "after another picture");
        // By whole slots as well.
        let scheme = Scheme {
            erase: played.erase.clone(),
            fields: played.fields.to_vec(),
        };
        let mut by_slots = vec![0.0; now.len()];
        for mover in response.movers(played.temperature_c, played.stretch) {
            let table = SlotTable::new(&mover, &scheme, SETTLE_MS);
            for (i, coverage) in by_slots.iter_mut().enumerate() {
                let (row, column) = (i / COLUMNS, i % COLUMNS);
                let level = |r: usize| usize::from(now[r * COLUMNS + column]);
                let content: Vec<Vec<u32>> = (0..ROWS)
                    .map(|r| played.ticks.in_row(r)[level(r)].clone())
                    .collect();
                *coverage += table.coverage(kinetics.highest(), row, &content);
            }
        }
        assert_same(&dark, &by_slots, "slot by slot");
        let shown = run.lstar(levels(now), Before::Dark);
        for (l, a) in shown.iter().zip(&dark) {
            assert_eq!(l.to_bits(), response.curve.lstar(*a).to_bits());
        }
    });
}

/// A select pulse that comes a whole tick late, and one that comes between.
#[test]
fn late_pulses_lose_their_beginning() {
    each(|response, played, now, _| {
        let tick_s = played.fields[0].tick_s() * played.stretch;
        let lag = |share: f64| LineLag {
            select_s: vec![0.4 * share * tick_s; COLUMNS],
            data_s: vec![0.6 * share * tick_s; ROWS],
        };
        let start = response.kinetics.highest();
        let run = |share| {
            PictureRun::new(response, played, Some(lag(share))).coverage(levels(now), Before::Dark)
        };
        let (none, whole) = (run(0.0), run(1.0));
        assert_same(
            &none,
            &brute(response, played, now, None, (start, 0)),
            "in time",
        );
        assert_same(
            &whole,
            &brute(response, played, now, None, (start, 1)),
            "late",
        );
        for ((a, b), half) in none.iter().zip(&whole).zip(run(0.5)) {
            assert!(
                half >= a.min(*b) - ROUNDING && half <= a.max(*b) + ROUNDING,
                "{half} between {a} and {b}"
            );
        }
    });
}

/// Any number of threads, any place of a column in the picture.
#[test]
fn columns_stand_alone() {
    each(|response, played, now, _| {
        let run = PictureRun::new(response, played, None);
        let whole = run.coverage(levels(now), Before::Dark);
        for column in 0..COLUMNS {
            let alone: Vec<u16> = (0..ROWS).map(|r| now[r * COLUMNS + column]).collect();
            let one = Levels {
                columns: 1,
                levels: &alone,
            };
            for (row, a) in run.coverage(one, Before::Dark).into_iter().enumerate() {
                assert_eq!(a.to_bits(), whole[row * COLUMNS + column].to_bits());
            }
        }
    });
}

//! A whole picture on panels of many sizes: seconds, time a pixel, and slot-by-slot stepping where that is possible.
//!
//! `cargo bench --bench whole_picture`

use greyloom::drive::{Erase, Field, Stroke};
use greyloom::panel::{Before, Levels, PictureRun, Played};
use greyloom::pigment::{Map, Mover, SlotMaps};
use greyloom::response::parameters::build;
use greyloom::response::{Response, Rung, coverage_of, rest_map, strokes_map};
use std::time::Instant;

const LEVELS: usize = 32;
/// Nodes along the spread of mobility; with a correlated spread of thresholds there are as many classes.
const CLASSES: usize = 16;
const SIZES: [(usize, usize); 5] = [
    (250, 400),
    (500, 500),
    (1000, 1000),
    (1414, 1414),
    (2000, 2000),
];
/// Stepping takes rows² slots a column: a few of its pixels stand for all.
const STEPPED: usize = 40;
const RUNS: usize = 5;

fn main() {
    let rung = Rung {
        store: true,
        window: true,
        independent_spread: false,
        vft: false,
    };
    let values = [
        0.73, 0.03, 0.25, 3.8, 6.5, 0.5, 2.5, 5.7, 0.5, -0.0075, 0.3, 0.6, 12.0, 60.0, 15.0, 3.0,
        2.5, -6.0,
    ];
    let Some(response) = build(rung, &values, CLASSES) else {
        eprintln!("no response has these parameters");
        return;
    };
    let stroke = |(pixel_v, ms)| Stroke { pixel_v, ms };
    let erase = Erase {
        name: "primed".into(),
        strokes: [(18.0, 150.0), (-18.0, 1100.0), (-2.0, 200.0)]
            .map(stroke)
            .to_vec(),
        rest_ms: 1000.0,
    };
    let field = |select_v, data_v, slot_ticks| Field {
        select_v,
        data_v,
        tick_us: 100,
        slot_ticks,
        guard_ticks: 8,
        mirrored: false,
    };
    let fields = [field(9.0, 3.0, 70), field(5.5, 2.25, 32)];
    let ticks: Vec<Vec<u32>> = (0..LEVELS as u32)
        .map(|l| vec![70 - 2 * l, (7 * l) % 33])
        .collect();
    let played = Played {
        erase: &erase,
        fields: &fields,
        ticks: (&ticks).into(),
        settle_ms: 2.0,
        temperature_c: 23.0,
        stretch: 1.0,
    };
    println!(
        "{} classes, {} fields, {LEVELS} levels; the best of {RUNS}; {} threads",
        response.kinetics.spread.classes().len(),
        fields.len(),
        rayon::current_num_threads()
    );
    println!("   rows  columns      pixels       s   ns a pixel   slot by slot, s");
    for (rows, columns) in SIZES {
        let pixel = |i: usize| ((i * 2_654_435_761) >> 7) % LEVELS;
        let levels: Vec<u16> = (0..rows * columns).map(|i| pixel(i) as u16).collect();
        let picture = Levels {
            columns,
            levels: &levels,
        };
        let run = PictureRun::new(&response, &played, None);
        let best = (0..RUNS).map(|_| {
            let begun = Instant::now();
            let lstar = run.lstar(picture, Before::Dark);
            assert!(lstar.iter().all(|l| l.is_finite()));
            begun.elapsed().as_secs_f64()
        });
        let best = best.fold(f64::INFINITY, f64::min);
        let pixels = (rows * columns) as f64;
        println!(
            "{rows:7}  {columns:7}  {pixels:10}  {best:6.3}  {:11.0}  {:16.0}",
            1e9 * best / pixels,
            stepped_s(&response, &played, picture)
        );
    }
}

/// Seconds of one thread that takes every pixel through every slot, from a few pixels.
fn stepped_s(response: &Response, played: &Played, picture: Levels) -> f64 {
    let begun = Instant::now();
    let rows = picture.rows();
    let mut sum = 0.0;
    let movers = response.movers(played.temperature_c, played.stretch);
    let maps: Vec<Vec<(Vec<Map>, Vec<Map>)>> = movers.iter().map(|m| slots(m, played)).collect();
    let tables = begun.elapsed().as_secs_f64();
    let begun = Instant::now();
    for k in 0..STEPPED {
        let (row, column) = (k * rows / STEPPED, k * picture.columns / STEPPED);
        for (mover, maps) in movers.iter().zip(&maps) {
            let mut x =
                strokes_map(mover, &played.erase.strokes).apply(&response.kinetics.highest());
            for (own, other) in maps {
                for r in 0..rows {
                    let level = usize::from(picture.levels[r * picture.columns + column]);
                    x = if r == row {
                        own[level].apply(&x)
                    } else {
                        other[level].apply(&x)
                    };
                }
                x = mover.hold(0.0, played.settle_ms * 1e-3).apply(&x);
            }
            sum += mover.class.share * coverage_of(&rest_map(mover, played.erase).apply(&x));
        }
    }
    assert!(sum.is_finite());
    tables + begun.elapsed().as_secs_f64() * (rows * picture.columns) as f64 / STEPPED as f64
}

fn slots(mover: &Mover, played: &Played) -> Vec<(Vec<Map>, Vec<Map>)> {
    let field = |(f, field): (usize, &Field)| {
        let slots = SlotMaps::new(mover, field);
        let each =
            |of: &dyn Fn(u32) -> Map| played.ticks.table(0).iter().map(|t| of(t[f])).collect();
        (each(&|d| slots.own(d)), each(&|d| slots.other(d)))
    };
    played.fields.iter().enumerate().map(field).collect()
}

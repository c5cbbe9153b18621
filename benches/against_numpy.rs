//! One scheme with all its ticks over climates, rows and contents, and its widest ladder: Greyloom beside NumPy
//! (`benches/numpy/schemes.py`) on equal inputs, results compared.

use greyloom::design::choice::{Demand, Fineness, Span, widest};
use greyloom::design::reach::{Climate, Reach, Scheme, Scope};
use greyloom::design::search::{CurveTable, spots_of};
use greyloom::drive::{Field, Timing};
use greyloom::project::{Panel, Project};
use greyloom::response::Response;
use greyloom::response::fit::fit_quickly;
use greyloom::waveforms::{Band, Waveforms};
use rand_xoshiro::Xoshiro256PlusPlus;
use rand_xoshiro::rand_core::{RngCore, SeedableRng};
use rayon::prelude::*;
use serde_json::{Value, json};
use std::path::{Path, PathBuf};
use std::process::Command;
use std::time::Instant;

const SCHEMES: usize = 200;
/// Each side takes the fastest of so many.
const ROUNDS: usize = 20;
const BUDGET_S: f64 = 12.0;
/// As a search has it.
const DEMAND: Demand = Demand {
    levels: 32,
    tolerance_steps: 0.2375,
};
const FINENESS: Fineness = Fineness {
    coarse_lstar: 1.0,
    fine_lstar: 0.02,
};
const BUCKET_LSTAR: f64 = 0.04;
const LEAST_SHARE: f64 = 0.6;
/// Coverages, and L* of a ladder's darkest target: both sides sum in another order, and the curve is as steep as a few hundred
/// L* in a place.
const EQUAL: f64 = 1e-9;
const EQUAL_LSTAR: f64 = 1e-7;
/// What the comparison is held to, on as many threads.
const RATIO: f64 = 30.0;

fn root() -> PathBuf {
    PathBuf::from(env!("CARGO_MANIFEST_DIR"))
}

fn main() {
    let project =
        Project::read(&root().join("calibration/harbour-tile")).expect("the shipped project");
    let set = Waveforms::read(&root().join("waveforms/harbour-tile/waveforms.json"));
    let bands = set.expect("the shipped set").bands;
    let fit = fit_quickly(&project, &|_| ()).expect("a fit");
    let Some(python) = python() else {
        eprintln!(
            "Skipped: no Python with NumPy. Looked at $PYTHON and python3; try\n  \
             python3 -m venv venv && venv/bin/pip install numpy && PYTHON=venv/bin/python cargo bench --bench against_numpy"
        );
        return;
    };
    let scopes: Vec<Scope> = bands
        .iter()
        .map(|b| scope(&project, &fit.response, b))
        .collect();
    for fields in [1, 2] {
        let schemes = met(&project.panel, &bands, fields);
        compare(&python, &scopes, &schemes, fields);
    }
}

fn python() -> Option<String> {
    let named = std::env::var("PYTHON").ok();
    let has_numpy = |python: &String| {
        let asked = Command::new(python).args(["-c", "import numpy"]).output();
        asked.is_ok_and(|o| o.status.success())
    };
    named
        .into_iter()
        .chain(["python3".to_owned()])
        .find(has_numpy)
}

/// Both ends of a band, the factor rounded either way; the first two rows and the last.
fn scope<'a>(project: &Project, response: &'a Response, band: &Band) -> Scope<'a> {
    let ends = [band.stretch.first(), band.stretch.last()];
    let climates = ends.into_iter().flatten().flat_map(|end| {
        [-0.005, 0.005].map(|by| Climate {
            temperature_c: end.temperature_c,
            stretch: end.factor + by,
        })
    });
    let rows = project.panel.rows;
    Scope {
        response,
        panel_rows: rows,
        settle_ms: project.panel.drivers.field_settle_ms,
        climates: climates.collect(),
        rows: vec![0, 1, rows - 1],
    }
}

/// A scheme with the index of its band.
type Met = (usize, Scheme);

/// Schemes as an ascent meets them: a band's own, one to three parts of it moved by 1, 3 or 8 steps; the strong field's slot
/// fills the budget.
fn met(panel: &Panel, bands: &[Band], fields: usize) -> Vec<Met> {
    let mut random = Xoshiro256PlusPlus::seed_from_u64(fields as u64);
    let mut draw = move |n: usize| (random.next_u64() % n as u64) as usize;
    let mut all = Vec::new();
    while all.len() < SCHEMES {
        let band = all.len() % bands.len();
        let mut scheme = Scheme {
            erase: bands[band].erase.clone(),
            fields: bands[band].fields.clone(),
        };
        while scheme.fields.len() > fields {
            scheme.fields.remove(0);
        }
        for _ in 0..1 + draw(3) {
            let by = [1.0, -1.0, 3.0, -3.0, 8.0, -8.0][draw(6)];
            let field = draw(fields);
            moved(panel, &mut scheme.fields[field], draw(4), by);
        }
        if filled(panel, &mut scheme) {
            all.push((band, scheme));
        }
    }
    all
}

fn moved(panel: &Panel, field: &mut Field, gene: usize, by: f64) {
    let drivers = &panel.drivers;
    let volts = |at: f64, step: Option<f64>, (min, max): (f64, f64)| {
        (at + by * step.unwrap_or(0.1)).clamp(min, max)
    };
    let (select, data) = (&drivers.select_v, &drivers.data_v);
    match gene {
        0 => field.select_v = volts(field.select_v, select.step, (select.min, select.max)),
        1 => field.data_v = volts(field.data_v, data.step, (data.min, data.max)),
        2 => {
            let most = f64::from(drivers.guard_ticks_max);
            field.guard_ticks = (f64::from(field.guard_ticks) + by).clamp(0.0, most) as u32;
        }
        _ => {
            let most = f64::from(drivers.slot_ticks_max);
            field.slot_ticks = (f64::from(field.slot_ticks) + by).clamp(1.0, most) as u32;
        }
    }
}

/// Gives the last field's slot what the budget leaves; whether that is anything.
fn filled(panel: &Panel, scheme: &mut Scheme) -> bool {
    const LONGEST_STRETCH: f64 = 1.08;
    let settle_ms = panel.drivers.field_settle_ms;
    let taken = Timing::of(&scheme.erase, &scheme.fields, panel.rows, settle_ms).total_s();
    let Some(last) = scheme.fields.last_mut() else {
        return false;
    };
    let spare_s = BUDGET_S / LONGEST_STRETCH - taken;
    let more = (spare_s / (panel.rows as f64 * last.tick_s())).floor();
    let ticks = f64::from(last.slot_ticks) + more;
    let fits = ticks >= 1.0 && ticks <= f64::from(panel.drivers.slot_ticks_max);
    if fits {
        last.slot_ticks = ticks as u32;
    }
    fits
}

/// Coverage of every choice, and the darkest target and step of the widest ladder.
type Evaluated = (Reach, Option<(f64, f64)>);

fn evaluated(scope: &Scope, curve: &CurveTable, scheme: &Scheme) -> Evaluated {
    let reach = Reach::new(scope, scheme);
    let spots = spots_of(|a| curve.lstar(a), &reach).thinned(BUCKET_LSTAR);
    let ladder = spots.ends().and_then(|ends| {
        let high = ends.high - ends.low;
        let bounds = Span {
            low: LEAST_SHARE * high,
            high,
        };
        widest(DEMAND.levels, bounds, FINENESS, |step| {
            spots.darkest_targets(DEMAND, step)
        })
    });
    (reach, ladder)
}

fn compare(python: &str, scopes: &[Scope], schemes: &[Met], fields: usize) {
    let curve = CurveTable::new(scopes[0].response);
    let one = |(band, scheme): &Met| evaluated(&scopes[*band], &curve, scheme);
    let ours: Vec<Evaluated> = schemes.iter().map(one).collect();
    // As on NumPy's side, of each scheme the fastest of some rounds, so that what else the machine does counts little.
    let on = |threads: usize| -> f64 {
        let pool = rayon::ThreadPoolBuilder::new().num_threads(threads).build();
        let each = |met: &Met| fastest_s(|| drop(one(met)));
        let sum: f64 = pool
            .expect("threads")
            .install(|| schemes.par_iter().map(each).sum());
        sum / threads as f64
    };
    let (alone_s, two_s) = (on(1), on(2));
    let (numpy, version, threads) = numpy(python, scopes, schemes);
    let numpy_s = numpy["seconds"].as_f64().expect("seconds");
    let (apart, apart_lstar) = largest_differences(&ours, &numpy["results"]);
    let ladders = ours.iter().filter(|(_, ladder)| ladder.is_some()).count();
    let choices: usize = schemes.iter().map(|(_, s)| s.choices()).sum();
    let each_ms = |s: f64| 1e3 * s / schemes.len() as f64;
    println!(
        "{} schemes of {fields} field(s), {} choices of ticks on average, {ladders} with a ladder; largest difference of a coverage \
         {apart:.1e}, of a darkest target {apart_lstar:.1e} L*, ladders equal",
        schemes.len(),
        choices / schemes.len()
    );
    println!(
        "  NumPy {version} as it comes ({threads} cores)  {:8.3} ms a scheme",
        each_ms(numpy_s)
    );
    for (threads, seconds) in [(1, alone_s), (2, two_s)] {
        println!(
            "  Greyloom on {threads} thread(s)            {:8.3} ms a scheme, ratio {:.0}",
            each_ms(seconds),
            numpy_s / seconds
        );
    }
    if numpy_s / two_s < RATIO {
        println!("  below the ratio of {RATIO} that is looked for");
    }
}

fn fastest_s(mut run: impl FnMut()) -> f64 {
    let once = |_| {
        let began = Instant::now();
        run();
        began.elapsed().as_secs_f64()
    };
    (0..ROUNDS).map(once).fold(f64::INFINITY, f64::min)
}

/// What NumPy makes of the same, its version, and the cores that it may use.
fn numpy(python: &str, scopes: &[Scope], schemes: &[Met]) -> (Value, String, usize) {
    let dir = tempfile::tempdir().expect("a folder");
    let (given, told) = (dir.path().join("given.json"), dir.path().join("told.json"));
    std::fs::write(&given, given_to_numpy(scopes, schemes).to_string()).expect("a file");
    let script: &Path = &root().join("benches/numpy/schemes.py");
    let output = Command::new(python)
        .arg(script)
        .arg(&given)
        .arg(&told)
        .output();
    let output = output.expect("Python");
    assert!(output.status.success(), "{output:?}");
    let told = std::fs::read_to_string(&told).expect("results");
    let told: Value = serde_json::from_str(&told).expect("JSON");
    let version = told["numpy"].as_str().unwrap_or("?").to_owned();
    let threads = std::thread::available_parallelism().map_or(1, |n| n.get());
    (told, version, threads)
}

fn given_to_numpy(scopes: &[Scope], schemes: &[Met]) -> Value {
    const PARTS: usize = 4096;
    let response = scopes[0].response;
    let curve = |k: usize| response.curve.lstar(k as f64 / PARTS as f64);
    let climates = scopes.iter().map(|s| {
        let each = s.climates.iter();
        let each = each.map(|c| json!({"temperature_c": c.temperature_c, "stretch": c.stretch}));
        each.collect::<Vec<_>>()
    });
    let scheme = |(band, s): &Met| json!({"climates": band, "erase": s.erase, "fields": s.fields});
    json!({
        "kinetics": response.kinetics,
        "curve_lstar": (0..=PARTS).map(curve).collect::<Vec<f64>>(),
        "climates": climates.collect::<Vec<_>>(),
        "rows": scopes[0].rows,
        "panel_rows": scopes[0].panel_rows,
        "settle_ms": scopes[0].settle_ms,
        "rounds": ROUNDS,
        "demand": {
            "levels": DEMAND.levels, "tolerance_steps": DEMAND.tolerance_steps, "bucket_lstar": BUCKET_LSTAR,
            "least_share": LEAST_SHARE, "coarse_lstar": FINENESS.coarse_lstar, "fine_lstar": FINENESS.fine_lstar,
        },
        "schemes": schemes.iter().map(scheme).collect::<Vec<_>>(),
    })
}

/// Largest difference of a coverage and of a darkest target, L*; steps of ladders must be the same.
fn largest_differences(ours: &[Evaluated], theirs: &Value) -> (f64, f64) {
    let theirs = theirs.as_array().expect("results");
    assert_eq!(ours.len(), theirs.len());
    let (mut largest, mut largest_lstar) = (0.0_f64, 0.0_f64);
    for (i, ((reach, ladder), their)) in ours.iter().zip(theirs).enumerate() {
        for (ours, key) in [(&reach.low, "low"), (&reach.high, "high")] {
            let their = their[key].as_array().expect("coverages");
            assert_eq!(ours.len(), their.len(), "scheme {i}");
            let apart = ours
                .iter()
                .zip(their)
                .map(|(a, b)| (a - b.as_f64().unwrap_or(f64::NAN)).abs());
            largest = apart.fold(largest, f64::max);
        }
        let pair = |v: &Value| Some((v[0].as_f64()?, v[1].as_f64()?));
        match (ladder, pair(&their["ladder"])) {
            (None, None) => {}
            (Some((darkest, step)), Some((their_darkest, their_step))) => {
                assert!(
                    (step - their_step).abs() < EQUAL,
                    "scheme {i}: step {step} and {their_step}"
                );
                largest_lstar = largest_lstar.max((darkest - their_darkest).abs());
            }
            (ours, theirs) => panic!("scheme {i}: ladder {ours:?} and {theirs:?}"),
        }
    }
    assert!(largest < EQUAL, "{largest}");
    assert!(largest_lstar < EQUAL_LSTAR, "{largest_lstar}");
    (largest, largest_lstar)
}

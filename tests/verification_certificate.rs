//! Branch and bound over grids of schemes against going through every one of them; mirrored fields against every content.

mod primed;
mod small_panel;

use greyloom::design::certificate::branch::{Branching, Outcome, scheme};
use greyloom::design::certificate::exact::{Outer, span_beyond};
use greyloom::design::choice::Demand;
use greyloom::design::reach::{Climate, Reach, Scheme, Scope};
use greyloom::design::search::spots_of;
use greyloom::drive::Field;
use greyloom::response::Response;
use greyloom::waveforms::{Certificate, FieldAxes, Frame, Kind, Lattice, Waveforms};
use primed::erase;
use small_panel::{Numbers, RUNG, SlotTable, response};
use std::path::Path;

const ROWS: usize = 4;
const SETTLE_MS: f64 = 2.0;
const CLIMATE: Climate = Climate {
    temperature_c: 23.0,
    stretch: 1.0,
};
/// Random grids; more than the twenty that are asked for.
const GRIDS: u64 = 30;
/// Coverage: rounding of some hundred compositions.
const ROUNDING: f64 = 1e-12;

/// What every scheme is judged by: all rows, both extreme contents.
fn judged(response: &Response, demand: Demand, scheme: &Scheme, beyond_lstar: f64) -> Option<f64> {
    let scope = Scope {
        response,
        panel_rows: ROWS,
        settle_ms: SETTLE_MS,
        climates: vec![CLIMATE],
        rows: (0..ROWS).collect(),
    };
    let spots = spots_of(|a| response.curve.lstar(a), &Reach::new(&scope, scheme));
    span_beyond(&spots, demand, beyond_lstar, Outer::Shown)
}

/// A random grid of one kind: one to three fields, with and without mirrored and lightening ones.
fn grid(seed: u64) -> (Lattice, Demand) {
    let mut r = Numbers(seed);
    let count = 1 + (seed % 3) as usize;
    let mirrored = seed % 4 == 3;
    let filling = r.below(count);
    let axes = |f: usize, r: &mut Numbers| {
        let lightening = f > 0 && seed % 5 < 2;
        let sign = if lightening { -1.0 } else { 1.0 };
        let voltages = if count == 3 { 2 } else { 3 };
        let first = 4.0 + r.below(4) as f64;
        let mut select_v: Vec<f64> = (0..voltages)
            .map(|i| sign * (first + 1.5 * i as f64))
            .collect();
        select_v.sort_by(f64::total_cmp);
        FieldAxes {
            select_v,
            data_v: (0..voltages).map(|i| 1.5 + 0.75 * i as f64).collect(),
            tick_us: if count == 3 {
                vec![8000]
            } else {
                vec![4000, 8000]
            },
            slot_ticks: if f == filling {
                Vec::new()
            } else {
                vec![1, 2 + r.below(3) as u32]
            },
            guard_ticks: if count == 1 {
                vec![0, 1, 2]
            } else {
                vec![r.below(2) as u32]
            },
        }
    };
    let fields = (0..count).map(|f| axes(f, &mut r)).collect();
    let lattice = Lattice {
        rows: ROWS,
        settle_ms: SETTLE_MS,
        refresh_s: 2.6 + 0.2 * r.below(6) as f64,
        slot_ticks_max: 14,
        erases: vec![erase(1100.0), erase(300.0)],
        kinds: vec![Kind {
            fields,
            filling,
            mirrored,
        }],
    };
    let demand = Demand {
        levels: 3 + r.below(4),
        tolerance_steps: 0.15 + 0.05 * r.below(4) as f64,
    };
    (lattice, demand)
}

fn places_of(lattice: &Lattice, frame: &Frame) -> Vec<Vec<usize>> {
    let axes = lattice.kinds[frame.kind].fields.iter();
    let sizes = axes.flat_map(|f| [f.select_v.len(), f.data_v.len()]);
    sizes.fold(vec![Vec::new()], |all, size| {
        let longer = |p: &Vec<usize>| {
            let p = p.clone();
            (0..size).map(move |i| [p.as_slice(), &[i]].concat())
        };
        all.iter().flat_map(longer).collect()
    })
}

fn gone_through(response: &Response, lattice: &Lattice, demand: Demand, beyond: f64) -> Outcome {
    let judge = |s: &Scheme, beyond: f64| judged(response, demand, s, beyond);
    let branching = Branching {
        lattice,
        response,
        climate: CLIMATE,
        demand,
        judge: &judge,
        work: u64::MAX,
        sample: (usize::MAX, usize::MAX),
    };
    branching.run(beyond, &|_| ())
}

/// Every scheme's ladder, frame by frame.
fn every_span(
    response: &Response,
    lattice: &Lattice,
    demand: Demand,
) -> Vec<Vec<(Vec<usize>, f64)>> {
    let of = |frame: &Frame| {
        let span = |places: Vec<usize>| {
            let span = judged(response, demand, &scheme(lattice, frame, &places), 0.0);
            (places, span.unwrap_or(0.0))
        };
        places_of(lattice, frame).into_iter().map(span).collect()
    };
    lattice.frames().iter().map(of).collect()
}

#[test]
fn the_winner_is_that_of_going_through_every_scheme_and_no_region_ruled_out_holds_better() {
    let response = response(RUNG, 2);
    let (mut found, mut pruned) = (0, 0);
    for seed in 0..GRIDS {
        let (lattice, demand) = grid(seed);
        let every = every_span(&response, &lattice, demand);
        let all = || every.iter().flatten();
        assert_eq!(lattice.schemes(), all().count() as u64, "grid {seed}");
        let best = all().map(|(_, span)| *span).fold(0.0, f64::max);
        let outcome = gone_through(&response, &lattice, demand, 0.0);
        assert_eq!(outcome.tally.schemes(), lattice.schemes(), "grid {seed}");
        match &outcome.best {
            None => assert_eq!(best, 0.0, "grid {seed}"),
            Some(winner) => {
                found += 1;
                assert_eq!(winner.span_lstar, best, "grid {seed}");
                let there = every[winner.frame]
                    .iter()
                    .find(|(p, _)| *p == winner.places);
                assert_eq!(there.map(|(_, s)| *s), Some(best), "grid {seed}");
            }
        }
        for region in &outcome.sample {
            let [first, last] = region.region.ends();
            let inside = |p: &[usize]| {
                p.iter()
                    .zip(first.iter().zip(&last))
                    .all(|(p, (f, l))| f <= p && p <= l)
            };
            for (places, span) in every[region.frame].iter().filter(|(p, _)| inside(p)) {
                assert!(
                    *span <= region.beyond_lstar,
                    "grid {seed}: {places:?} shows {span}, ruled out by {:?} beyond {}",
                    region.why,
                    region.beyond_lstar
                );
            }
            pruned += usize::from(region.region.schemes() > 1);
        }
    }
    // The grids say something: most hold a ladder, and many schemes were ruled out together.
    assert!(found >= 20, "{found} grids hold a ladder");
    assert!(pruned >= 200, "{pruned} regions of more than one scheme");
}

#[test]
fn nothing_is_found_beyond_the_best_and_the_best_is_found_just_below_it() {
    let response = response(RUNG, 2);
    let (lattice, demand) = grid(1);
    let best = gone_through(&response, &lattice, demand, 0.0)
        .best
        .expect("a ladder");
    assert!(
        gone_through(&response, &lattice, demand, best.span_lstar)
            .best
            .is_none()
    );
    let again = gone_through(&response, &lattice, demand, best.span_lstar - 0.05).best;
    assert_eq!(again.map(|b| b.span_lstar), Some(best.span_lstar));
}

#[test]
fn a_search_cut_short_says_how_wide_a_ladder_may_be_left() {
    let response = response(RUNG, 2);
    let (lattice, demand) = grid(4);
    let judge = |s: &Scheme, beyond: f64| judged(&response, demand, s, beyond);
    let branching = Branching {
        lattice: &lattice,
        response: &response,
        climate: CLIMATE,
        demand,
        judge: &judge,
        work: 3,
        sample: (0, 0),
    };
    let cut = branching.run(0.0, &|_| ());
    assert!(cut.tally.open > 0);
    assert_eq!(cut.tally.schemes(), lattice.schemes());
    let best = every_span(&response, &lattice, demand);
    let best = best.iter().flatten().map(|(_, s)| *s).fold(0.0, f64::max);
    let found = cut.best.map_or(0.0, |b| b.span_lstar);
    assert!(
        cut.open_lstar.max(found) >= best,
        "{} for {best}",
        cut.open_lstar
    );
}

#[test]
fn any_number_of_threads_goes_the_same_way() {
    let response = response(RUNG, 2);
    let (lattice, demand) = grid(7);
    let on = |threads: usize| {
        let pool = rayon::ThreadPoolBuilder::new().num_threads(threads).build();
        pool.expect("threads")
            .install(|| gone_through(&response, &lattice, demand, 0.0))
    };
    let (one, two) = (on(1), on(2));
    assert_eq!(one.tally, two.tally);
    assert_eq!(one.best, two.best);
    assert_eq!(one.sample, two.sample);
}

/// No content of a column goes beyond what a mirrored scheme's reach says, and what it says is near what some content does.
#[test]
fn mirrored_reach_holds_every_content() {
    let response = response(RUNG, 2);
    let field = |select_v, data_v, slot_ticks, guard_ticks, mirrored| Field {
        select_v,
        data_v,
        tick_us: 8000,
        slot_ticks,
        guard_ticks,
        mirrored,
    };
    let schemes = [
        vec![field(9.0, 3.0, 5, 1, true)],
        vec![field(6.0, 2.0, 1, 0, false), field(8.0, 3.5, 2, 0, true)],
        vec![field(8.0, 3.5, 2, 0, true), field(6.0, 2.0, 1, 1, true)],
    ];
    for fields in schemes {
        let scheme = Scheme {
            erase: erase(400.0),
            fields,
        };
        check_mirrored(&response, &scheme);
    }
}

fn check_mirrored(response: &Response, scheme: &Scheme) {
    let choices: Vec<Vec<u32>> = (0..scheme.choices()).map(|c| scheme.ticks_of(c)).collect();
    let tables: Vec<SlotTable> = response
        .movers(CLIMATE.temperature_c, CLIMATE.stretch)
        .iter()
        .map(|m| SlotTable::new(m, scheme, SETTLE_MS))
        .collect();
    let scope = |row| Scope {
        response,
        panel_rows: ROWS,
        settle_ms: SETTLE_MS,
        climates: vec![CLIMATE],
        rows: vec![row],
    };
    let starts = [response.kinetics.highest(), response.kinetics.lowest()];
    let mut r = Numbers(5);
    for row in 0..ROWS {
        let reach = Reach::new(&scope(row), scheme);
        for (choice, own) in choices.iter().enumerate() {
            let (mut low, mut high) = (f64::INFINITY, 0.0f64);
            for _ in 0..200 {
                let mut content: Vec<Vec<u32>> = (0..ROWS)
                    .map(|_| choices[r.below(choices.len())].clone())
                    .collect();
                content[row] = own.clone();
                for start in starts {
                    let covered: f64 = tables
                        .iter()
                        .map(|t| t.coverage(start, row, &content))
                        .sum();
                    low = low.min(covered);
                    high = high.max(covered);
                }
            }
            let (lowest, highest) = (reach.low[choice], reach.high[choice]);
            assert!(
                lowest <= low + ROUNDING && high <= highest + ROUNDING,
                "row {row}, {own:?}"
            );
        }
    }
}

/// The shipped set with its certificate bent: refused, with the place.
#[test]
fn a_certificate_that_cannot_be_is_refused_with_the_place() {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("waveforms/harbour-tile/waveforms.json");
    let shipped = Waveforms::read(&path).expect("the shipped set");
    type Bend = fn(&mut Certificate);
    let bent: [(Bend, &str); 12] = [
        (|c| c.band = 4, "certificate.band"),
        (|c| c.tolerance_steps = 0.0, "certificate.tolerance_steps"),
        (|c| c.grid.rows = 79, "certificate.grid.rows"),
        (|c| c.grid.refresh_s = -1.0, "certificate.grid.refresh_s"),
        (
            |c| c.grid.kinds[0].filling = 1,
            "certificate.grid.kinds[0].filling",
        ),
        (
            |c| c.grid.kinds[0].fields.clear(),
            "certificate.grid.kinds[0].fields",
        ),
        (
            |c| c.grid.kinds[0].fields[0].data_v.clear(),
            "fields[0].data_v",
        ),
        (
            |c| c.grid.kinds[0].fields[0].select_v[0] = 0.0,
            "fields[0].select_v[0]",
        ),
        (
            |c| c.grid.kinds[0].fields[0].guard_ticks = vec![0; 1 << 22],
            "certificate.grid",
        ),
        (
            |c| c.ruled_out[0].frame.kind = 99,
            "ruled_out[0].frame.kind",
        ),
        (|c| c.ruled_out[0].last[0] = 999, "ruled_out[0].last[0]"),
        (
            |c| c.ruled_out[0].frame.fields[0].slot_ticks = u32::MAX,
            "ruled_out[0].frame.fields",
        ),
    ];
    for (bend, place) in bent {
        let mut set = shipped.clone();
        bend(set.certificate.as_deref_mut().expect("a certificate"));
        let told = Waveforms::parse(&path, set.to_json().as_bytes());
        let told = told.expect_err(place).to_string();
        assert!(
            told.contains(place) && told.contains("expected"),
            "{place}: {told}"
        );
    }
}

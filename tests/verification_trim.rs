//! Trimming: the smooth difference against planted ones, the chart that verifies a set against what it promises.

#[path = "small_panel/numbers.rs"]
mod numbers;
mod support;

use greyloom::design::climate::BandClimate;
use greyloom::design::correction::{Bumps, Correction, Frame, TERMS, Terms};
use greyloom::drive::Field;
use greyloom::planning::Grid;
use greyloom::project::{Chart, Page, Panel, chart_csv, read_chart_of, read_panel};
use greyloom::trim::{Character, Sample, smooth, smooth_with, verification_chart};
use numbers::Numbers;
use std::fs;
use std::path::Path;

/// Bumps stand half a length apart: their sum is even to 1e-7. They end 1.5 lengths beyond the readings, which leaves
/// out the tail of a normal curve past 1.5·2 of its deviations: under 2e-4 at the very ends.
const KERNEL: f64 = 1e-7;
const KERNEL_AT_THE_ENDS: f64 = 2e-4;
const NOISE_LSTAR: f64 = 0.15;
const ROWS: usize = 80;

fn panel() -> Panel {
    let file = Path::new(env!("CARGO_MANIFEST_DIR")).join("calibration/harbour-tile/panel.toml");
    read_panel(&file).expect("the shipped panel")
}

fn frame() -> Frame {
    let field = |select_v: f64, data_v: f64, slot_ticks: u32| Field {
        select_v,
        data_v,
        tick_us: 1000,
        slot_ticks,
        guard_ticks: 4,
        mirrored: false,
    };
    let band = BandClimate {
        low_c: 10.0,
        design_c: 15.0,
        factor: 1.0,
        high_c: 20.0,
        rounding: 0.0,
    };
    Frame::new(ROWS, &band, &[field(6.0, 1.5, 8), field(9.0, 2.5, 80)])
}

#[test]
fn bumps_with_normal_weights_have_the_squared_exponential_covariance() {
    let bumps = Bumps::over(40.0, 80.0, 9.0);
    for (a, b, tolerance) in [
        (55.3, 55.3, KERNEL),
        (61.0, 64.5, KERNEL),
        (50.0, 70.0, KERNEL),
        (40.0, 40.0, KERNEL_AT_THE_ENDS),
        (80.0, 74.0, KERNEL_AT_THE_ENDS),
    ] {
        let pairs = bumps.at(a).into_iter().zip(bumps.at(b));
        let covariance: f64 = pairs.map(|(x, y)| x * y).sum();
        let difference: f64 = (a - b) / 9.0;
        // Rasmussen & Williams 2006, eq. 4.9 (from memory).
        let kernel = (-0.5 * difference * difference).exp();
        assert!(
            (covariance - kernel).abs() < tolerance,
            "{a} {b}: {covariance} {kernel}"
        );
    }
}

#[test]
fn terms_run_from_minus_one_to_one() {
    let frame = frame();
    let first = frame.terms(0.0, -1.0, 10.0, &[0, 80]);
    let last = frame.terms(79.0, 1.0, 20.0, &[8, 0]);
    // Off altogether in the first, on all the time in the strong field but not in the weak one.
    let faint = |ticks: f64| (-ticks / 1.5).exp();
    assert_eq!(
        first,
        [
            1.0,
            -1.0 + 1.0 / 80.0,
            -1.0,
            -1.0,
            1.0,
            -1.0,
            1.0,
            faint(80.0),
            1.0,
            -faint(80.0)
        ]
    );
    assert_eq!(
        last,
        [
            1.0,
            1.0 - 1.0 / 80.0,
            1.0,
            1.0,
            1.0,
            1.0,
            0.0,
            1.0,
            1.0,
            1.0
        ]
    );
    assert_eq!(frame.content(&[0, 0]), -1.0);
    assert_eq!(frame.content(&[8, 80]), 1.0);
    assert_eq!(frame.content(&[4, 40]), 0.0);
}

/// A difference of the kind that is looked for, L*.
fn planted(lstar: f64, terms: &Terms) -> f64 {
    let x = (lstar - 60.0) / 20.0;
    0.4 * (1.7 * x).sin() + 0.2 * terms[1] * x - 0.15 * terms[2] * (1.0 - 0.3 * x) + 0.1 * terms[3]
}

fn scattered(count: usize, seed: u64) -> Vec<Sample> {
    let mut numbers = Numbers(seed);
    let frame = frame();
    (0..count)
        .map(|_| {
            let predicted_lstar = 42.0 + 44.0 * numbers.share();
            let ticks = [numbers.below(9) as u32, numbers.below(81) as u32];
            let row = 79.0 * numbers.share();
            let (content, celsius) = (2.0 * numbers.share() - 1.0, 10.0 + 10.0 * numbers.share());
            let terms = frame.terms(row, content, celsius, &ticks);
            // Nearly normal: the sum of twelve even numbers.
            let noise: f64 = (0..12).map(|_| numbers.share()).sum::<f64>() - 6.0;
            Sample {
                predicted_lstar,
                terms,
                difference_lstar: planted(predicted_lstar, &terms) + NOISE_LSTAR * noise,
                u_lstar: NOISE_LSTAR,
            }
        })
        .collect()
}

#[test]
fn a_planted_difference_is_found_within_its_uncertainty() {
    let (mut within, mut places) = (0, 0);
    for seed in 0..6 {
        let samples = scattered(240, seed);
        let (correction, character) = smooth(frame(), &samples).expect("a difference");
        assert!(character.rough_lstar < NOISE_LSTAR, "{character:?}");
        for fresh in scattered(100, 1000 + seed) {
            let truth = planted(fresh.predicted_lstar, &fresh.terms);
            let found = correction.added_lstar(fresh.predicted_lstar, &fresh.terms);
            let u = correction.standard_u_lstar(fresh.predicted_lstar, &fresh.terms);
            assert!((found - truth).abs() < 2.0 * NOISE_LSTAR);
            // 240 readings and about 20 degrees of freedom: well below one reading's noise, never beyond it; but first pulses,
            // of which there are hardly any, are less sure.
            let first_pulses = fresh.terms[7] > 0.01;
            assert!(u < NOISE_LSTAR || first_pulses, "{u} {:?}", fresh.terms);
            places += 1;
            within += usize::from((found - truth).abs() <= 2.0 * u);
        }
    }
    let share = f64::from(within as u32) / f64::from(places as u32);
    assert!((0.85..=1.0).contains(&share), "within k = 2: {share}");
}

#[test]
fn readings_without_a_difference_get_none() {
    let mut samples = scattered(240, 5);
    for s in &mut samples {
        s.difference_lstar -= planted(s.predicted_lstar, &s.terms);
    }
    let (correction, _) = smooth(frame(), &samples).expect("a difference");
    let largest = scattered(100, 77)
        .iter()
        .map(|s| correction.added_lstar(s.predicted_lstar, &s.terms).abs())
        .fold(0.0, f64::max);
    assert!(largest < NOISE_LSTAR, "{largest}");
    assert!(smooth(frame(), &[]).is_none());
}

#[test]
fn more_readings_make_it_surer() {
    let character = Character {
        scales: [0.3, 0.1, 0.1, 0.1, 0.05, 0.05, 0.05, 0.05, 0.05, 0.05],
        length_lstar: 15.0,
        rough_lstar: 0.02,
    };
    let u = |count: usize| {
        let correction: Correction =
            smooth_with(frame(), &scattered(count, 3), &character).expect("a difference");
        let mut terms = [0.0; TERMS];
        terms[0] = 1.0;
        correction.standard_u_lstar(60.0, &terms)
    };
    assert!(
        u(400) < 0.8 * u(100) && u(100) < 0.8 * u(25),
        "{} {} {}",
        u(25),
        u(100),
        u(400)
    );
}

/// Ticks unlike any that were read are less sure, however smooth the difference is.
#[test]
fn ticks_that_were_not_tried_are_less_sure() {
    let frame = frame();
    let tried: Vec<Sample> = scattered(400, 9)
        .into_iter()
        .filter(|s| s.terms[7] < 0.01)
        .collect();
    assert!(tried.len() > 300);
    let (correction, _) = smooth(frame.clone(), &tried).expect("a difference");
    let u =
        |ticks: [u32; 2]| correction.standard_u_lstar(60.0, &frame.terms(40.0, 0.0, 15.0, &ticks));
    let like_those_read = u([4, 40]);
    assert!(like_those_read < 0.1, "{like_those_read}");
    for pulses in [[4, 0], [4, 1]] {
        assert!(
            u(pulses) > 3.0 * like_those_read,
            "{pulses:?} {}",
            u(pulses)
        );
    }
}

fn verifying() -> (Chart, Panel) {
    let panel = panel();
    let grid = Grid::new(&panel, Path::new("panel.toml")).expect("room");
    (
        verification_chart(&support::harbour_tile(), &panel, grid).expect("a chart"),
        panel,
    )
}

#[test]
fn every_level_stands_among_dark_light_and_mixed_neighbours() {
    let set = support::harbour_tile();
    let (chart, _) = verifying();
    for (i, band) in set.bands.iter().enumerate() {
        let pages = |content: &str| -> Vec<&Page> {
            let begins = format!("b{}-{}C-{content}", i + 1, band.temperature_c.design);
            chart
                .pages
                .iter()
                .filter(|p| p.name.starts_with(&begins))
                .collect()
        };
        for content in ["dark", "light", "mixed"] {
            let shown = |level: usize| {
                let here = |p: &&Page| p.patches.iter().any(|q| q.ticks == band.ticks[level]);
                pages(content).iter().any(here)
            };
            assert!((0..set.levels).all(shown), "band {} {content}", i + 1);
        }
        assert!(pages("dark").iter().all(|p| p.fill_ticks == band.ticks[0]));
        assert!(
            pages("light")
                .iter()
                .all(|p| p.fill_ticks == band.ticks[31])
        );
    }
    let rises = |w: &[Page]| w[0].temperature_c <= w[1].temperature_c;
    assert!(chart.pages.windows(2).all(rises));
}

/// Places left over on the mixed pages hold short pulses of one field alone, each once, none of them a level's ticks.
#[test]
fn mixed_pages_hold_first_pulses_too() {
    let set = support::harbour_tile();
    let (chart, _) = verifying();
    let mut seen = 0;
    for page in chart.pages.iter().filter(|p| p.name.ends_with("mixed")) {
        let band = set
            .band_with(page.temperature_c, &page.fields)
            .expect("its band");
        let mut pulses = Vec::new();
        for patch in page.patches.iter().filter(|p| p.name.starts_with('F')) {
            assert!(
                patch.ticks.iter().filter(|&&t| t > 0).count() == 1,
                "{patch:?}"
            );
            assert!(!band.ticks.contains(&patch.ticks) && !pulses.contains(&patch.ticks));
            pulses.push(patch.ticks.clone());
        }
        seen += pulses.len();
    }
    assert!(seen >= 8 * set.bands.len(), "{seen}");
}

#[test]
fn patches_lie_on_the_panel_and_apart() {
    let (chart, panel) = verifying();
    for page in &chart.pages {
        for (i, a) in page.patches.iter().enumerate() {
            assert!(a.row_last < panel.rows && a.column_last < panel.columns);
            for b in &page.patches[..i] {
                let apart = a.row_first > b.row_last
                    || b.row_first > a.row_last
                    || a.column_first > b.column_last
                    || b.column_first > a.column_last;
                assert!(apart, "{} {} {}", page.name, a.name, b.name);
            }
        }
    }
}

#[test]
fn the_chart_reads_back_as_it_was_made() {
    let (mut chart, panel) = verifying();
    let dir = tempfile::tempdir().expect("a folder");
    let file = dir.path().join("verify.csv");
    fs::write(&file, chart_csv(&chart)).expect("written");
    let mut read = read_chart_of(&file, &panel, &support::harbour_tile()).expect("read");
    // Lines are known only once it is a file.
    for page in chart.pages.iter_mut().chain(&mut read.pages) {
        page.patches.iter_mut().for_each(|p| p.line = 0);
    }
    assert_eq!(read, chart);
}

#[test]
fn a_page_that_the_set_does_not_drive_is_refused() {
    let (chart, panel) = verifying();
    let dir = tempfile::tempdir().expect("a folder");
    let file = dir.path().join("verify.csv");
    let text = chart_csv(&chart).replace(",2.25,", ",2.5,");
    fs::write(&file, text).expect("written");
    let error = read_chart_of(&file, &panel, &support::harbour_tile()).expect_err("another drive");
    let told = error.to_string();
    assert!(
        told.contains("driven as the waveforms drive the panel") && told.contains("line 2"),
        "{told}"
    );
}

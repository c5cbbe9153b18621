//! The test panel's file, its two knobs, and the noise of its instrument.

mod on_the_test_panel;
mod small_project;

use greyloom::Error;
use greyloom::project::Reading;
use greyloom::rehearsal::{Instrument, Start, TestPanel};
use on_the_test_panel::*;
use std::fs;

#[test]
fn the_two_knobs_do_what_their_names_say() {
    let panel = shipped();
    let moved = panel
        .clone()
        .with_threshold_shift_v(1.0)
        .with_threshold_shift_v(-2.5)
        .with_speed_factor(2.0)
        .with_speed_factor(0.8);
    for (a, b) in panel.populations.iter().zip(&moved.populations) {
        assert!((moved.threshold_v(b) - panel.threshold_v(a) + 1.5).abs() < 1e-12);
        let speed = moved.mobility_m2_per_vs(b, 14.0) / panel.mobility_m2_per_vs(a, 14.0);
        assert!((speed - 1.6).abs() < 1e-12);
        assert_eq!(moved.thermal_v(b, 14.0), panel.thermal_v(a, 14.0));
    }
}

fn instrument(seed: u64, repeats: u32) -> Instrument {
    Instrument {
        repeatability_lstar: 0.15,
        seed,
        repeats,
    }
}

#[test]
fn noise_belongs_to_the_seed_and_the_reading_alone() {
    let lstar = vec![vec![40.0, 60.0, 80.0], vec![30.0, 50.0]];
    let read = |seed, repeats, lstar: &[Vec<f64>]| instrument(seed, repeats).read(lstar);
    let key = |r: &Reading| (r.page, r.patch, r.repeat, r.lstar);
    let all = read(7, 3, &lstar);
    assert_eq!(all.len(), 15);
    assert_eq!(all, read(7, 3, &lstar));
    // Fewer repeats and fewer pages leave the others' noise as it was.
    for reading in read(7, 1, &lstar[..1]) {
        assert!(all.iter().any(|r| key(r) == key(&reading)));
    }
    let other = read(8, 3, &lstar);
    assert!(all.iter().zip(&other).all(|(a, b)| a.lstar != b.lstar));
    let exact = Instrument {
        repeatability_lstar: 0.0,
        ..instrument(7, 2)
    }
    .read(&lstar);
    assert!(exact.iter().all(|r| r.lstar == lstar[r.page][r.patch]));
    // Never what no scans may hold.
    let ends = instrument(1, 50).read(&[vec![0.0, 107.0]]);
    assert!(ends.iter().all(|r| (0.0..=107.0).contains(&r.lstar)));
}

#[test]
fn noise_has_the_stated_spread() {
    let lstar = vec![vec![50.0; 100]; 50];
    for seed in [1, 2, u64::MAX] {
        let noise: Vec<f64> = instrument(seed, 4)
            .read(&lstar)
            .iter()
            .map(|r| (r.lstar - 50.0) / 0.15)
            .collect();
        let n = noise.len() as f64;
        let mean = noise.iter().sum::<f64>() / n;
        let variance = noise.iter().map(|x| (x - mean).powi(2)).sum::<f64>() / n;
        let beyond = noise.iter().filter(|x| x.abs() > 2.0).count() as f64 / n;
        let beside = noise.windows(2).map(|w| w[0] * w[1]).sum::<f64>() / n;
        // Four standard errors of 20 000 normal numbers: 1/√n; √(2/n); √(p(1−p)/n), p = 0.0455; 1/√n.
        assert!(mean.abs() < 0.0283, "mean {mean}");
        assert!((variance - 1.0).abs() < 0.04, "variance {variance}");
        assert!(
            (beyond - 0.0455).abs() < 0.0059,
            "beyond two deviations {beyond}"
        );
        assert!(beside.abs() < 0.0283, "correlation of neighbours {beside}");
    }
}

const SHIPPED: &str = include_str!("../calibration/test-panel.toml");

fn read_edited(from: &str, to: &str) -> Result<TestPanel, Error> {
    assert!(SHIPPED.contains(from), "no {from:?}");
    let dir = tempfile::tempdir().unwrap();
    let file = dir.path().join("mine.toml");
    fs::write(&file, SHIPPED.replacen(from, to, 1)).unwrap();
    TestPanel::read(&file)
}

#[test]
fn the_shipped_file_reads_as_the_built_in_panel() {
    assert_eq!(
        TestPanel::read("calibration/test-panel.toml".as_ref()).unwrap(),
        shipped()
    );
    assert_eq!(
        read_edited("speed_factor = 1.0", "speed_factor = 2").unwrap(),
        shipped().with_speed_factor(2.0)
    );
}

#[test]
fn slips_in_a_test_panel_are_named() {
    for (from, to, field, value, word) in [
        (
            "speed_factor = 1.0",
            "speed_factor = 0.0",
            "speed_factor",
            "0.0",
            "0.01 to 100",
        ),
        (
            "speed_factor = 1.0",
            "speed_factor = nan",
            "speed_factor",
            "nan",
            "0.01 to 100",
        ),
        ("speed_factor = 1.0", "", "speed_factor", "", "this key"),
        (
            "agitation = 30.0",
            "agitation = 0.9",
            "liquid.agitation",
            "0.9",
            "1 to 1000",
        ),
        (
            "agitation = 30.0",
            "stirring = 30.0",
            "liquid.agitation",
            "",
            "this key",
        ),
        (
            "charges = 18.0",
            "charges = \"18\"",
            "population[1].charges",
            "\"18\"",
            "0.1 to 10000",
        ),
        (
            "share = 0.2",
            "share = 0.3",
            "population",
            "",
            "sum to 1, found 1.1000",
        ),
        (
            "field_share = 0.15",
            "field_share = 0.25",
            "gap.well",
            "",
            "sum to 1, found 1.1000",
        ),
        ("cells = 11", "cells = 12", "gap.barrier", "", "odd number"),
        (
            "open_share = 0.0040",
            "open_share = 0",
            "gap.open_share",
            "0",
            "0.0001 to 1",
        ),
        (
            "density = 1.4",
            "density = 1.4.1",
            "optics.density",
            "",
            "valid TOML",
        ),
        (
            "dark_v = 20.0",
            "dark_v = -20.0",
            "history.dark_v",
            "-20.0",
            "0 to 200",
        ),
        (
            "step_s = 1.0e-4",
            "step_s = 1.0e-4\nextra = 1",
            "extra",
            "extra",
            "only the keys",
        ),
    ] {
        let result = read_edited(from, to);
        assert_eq!(result.as_ref().err().map(Error::exit_code), Some(3), "{to}");
        let Err(Error::Inputs(places)) = result else {
            panic!("{to}: accepted or told otherwise")
        };
        let told = places
            .iter()
            .map(ToString::to_string)
            .collect::<Vec<_>>()
            .join("\n");
        let found = places.iter().any(|p| {
            p.field.as_deref() == Some(field)
                && p.line.is_some()
                && p.expected.contains(word)
                && (value.is_empty() || p.value.as_deref() == Some(value))
        });
        assert!(found, "{to}: {told}");
        assert!(told.contains("mine.toml"), "{told}");
    }
}

/// A barrier that nothing passes, and one that is none, are odd panels, not errors: what is shown stays a lightness.
#[test]
fn odd_panels_show_a_lightness() {
    let (panel, chart) = small();
    for (from, to) in [
        ("barrier_v = 1.72", "barrier_v = 100.0"),
        ("threshold_shift_v = 0.0", "threshold_shift_v = -50.0"),
        ("agitation = 30.0", "agitation = 1.0"),
        ("dark_v = 20.0", "dark_v = 0.0"),
        ("step_s = 1.0e-4", "step_s = 1.0e-2"),
    ] {
        let test_panel = read_edited(from, to).unwrap();
        for lstar in shown(&test_panel, &panel, &chart, Start::Dark).concat() {
            assert!((0.0..=100.0).contains(&lstar), "{to}: {lstar}");
        }
    }
}

//! `reflectance_u` of scans.csv: read, written, and honoured as weight by the fit.

mod slips;
mod small_project;

use greyloom::project::{Project, scans_csv};
use greyloom::response::least_squares::Residuals;
use greyloom::response::parameters::{Scene, parameters};
use greyloom::response::{Grain, ReadingProblem, Rung};
use greyloom::tone::lstar_slope;
use slips::*;

const STATED: &str = "page,patch,repeat,reflectance,reflectance_u\na,p,1,0.25,0.002\na,p,2,0.26,0.004\na,q,1,0.35,0.001\nb,p,1,0.45,0.003\n";

const SCENE: Scene = Scene {
    on_v: 12.0,
    data_v: 3.0,
    slot_s: 0.03,
    erase_s: 1.2,
};

fn residuals(project: &Project) -> Vec<f64> {
    let rung = Rung::LADDER[0];
    let grain = Grain {
        rows: 1,
        classes: 3,
    };
    let list = parameters(rung, &SCENE);
    let problem = ReadingProblem::new(project, rung, list, grain);
    let mut all = problem.residuals(&problem.prior()).unwrap();
    all.truncate(problem.sources().len());
    all
}

#[test]
fn a_stated_uncertainty_weighs_its_reading_and_no_other() {
    let plain = read_with("scans.csv", small_project::SCANS.as_bytes()).unwrap();
    let stated = read_with("scans.csv", STATED.as_bytes()).unwrap();
    let repeatability = plain.panel.instrument.repeatability_lstar;
    let (a, b) = (residuals(&plain), residuals(&stated));
    assert_eq!(a.len(), b.len());
    let u = [
        0.002 * lstar_slope(0.25),
        0.004 * lstar_slope(0.26),
        0.001 * lstar_slope(0.35),
        0.003 * lstar_slope(0.45),
    ];
    for (k, (a, b)) in a.iter().zip(&b).enumerate() {
        // Trains state none, so theirs stay.
        let expected = u.get(k).map_or(*a, |u| a * repeatability / u);
        assert!(
            a.abs() > 0.0 && (b - expected).abs() <= 1e-9 * expected.abs(),
            "{k}: {b} for {expected}"
        );
    }
    assert!(a[4..] == b[4..]);
}

#[test]
fn stated_uncertainties_are_written_and_read_back() {
    let stated = read_with("scans.csv", STATED.as_bytes()).unwrap();
    let again = scans_csv(&stated.measured.chart, &stated.measured.readings);
    assert_eq!(
        again,
        STATED
            .replace("0.25,", "0.250000,")
            .replace("0.26,", "0.260000,")
            .replace("0.35,", "0.350000,")
            .replace("0.45,", "0.450000,")
            .replace(",0.002", ",0.002000")
            .replace(",0.004", ",0.004000")
            .replace(",0.001", ",0.001000")
            .replace(",0.003", ",0.003000")
    );
    let plain = read_with("scans.csv", small_project::SCANS.as_bytes()).unwrap();
    assert!(
        scans_csv(&plain.measured.chart, &plain.measured.readings)
            .starts_with("page,patch,repeat,reflectance\n")
    );
    assert_eq!(plain.measured.stated_u_lstar(), None);
    assert!(stated.measured.stated_u_lstar().is_some_and(|u| u > 0.05));
}

#[test]
fn wrong_uncertainties_are_refused() {
    for (value, word) in [
        ("0", "from 0.000001 to 0.2"),
        ("0.21", "0.2"),
        ("-0.001", "number"),
        ("nan", "number"),
        ("", "number"),
    ] {
        let text = STATED.replace(",0.004\n", &format!(",{value}\n"));
        assert_place(
            "scans.csv",
            text.as_bytes(),
            3,
            "reflectance_u",
            value,
            word,
        );
    }
}

#[test]
fn what_a_reading_goes_through_is_read_from_the_panel() {
    let with = |more: &str| {
        let text = edited("panel.toml", "aperture_mm = 4.0", more);
        read_with("panel.toml", text.as_bytes())
    };
    let instrument = with("lstar_per_c = -0.3\ntemperature_u_c = 0.5\ncover = { reflectance = 0.08, u = 0.002 }\nto_45_0 = { gain = 1.01, specular = 0.04 }").unwrap().panel.instrument;
    assert_eq!(
        (instrument.lstar_per_c, instrument.temperature_u_c),
        (-0.3, 0.5)
    );
    let cover = instrument.cover.unwrap();
    assert_eq!(
        (cover.reflectance, cover.transmittance, cover.u),
        (0.08, 0.92, 0.002)
    );
    assert_eq!(instrument.to_45_0.unwrap().gain, 1.01);
    for more in [
        "cover = { reflectance = 0.6 }",
        "cover = 0.1",
        "cover = { reflectance = 0.1, transmittance = 0.95 }",
        "to_45_0 = { gain = 3, specular = 0 }",
        "to_45_0 = { gain = 1 }",
        "temperature_u_c = -1",
        "lstar_per_c = 21",
    ] {
        let places = wrong_places(with(more), more);
        assert!(
            places.iter().all(|p| p.line.is_some_and(|l| l > 30)),
            "{more}: {places:?}"
        );
    }
}

//! Outlier rules, Student's t and uncertainty budgets against published examples.

use greyloom::intake::budget::{Budget, Evaluation, Source};
use greyloom::intake::outliers::{grubbs, grubbs_critical, modified_z, without_far};
use greyloom::intake::scan::PatchUncertainty;
use greyloom::intake::session::{Session, Taken};
use greyloom::intake::student::t_quantile;
use greyloom::project::{read_chart, read_panel};
use std::path::Path;

fn near(found: f64, expected: f64, within: f64, what: &str) {
    assert!(
        (found - expected).abs() <= within,
        "{what}: {found} for {expected}"
    );
}

/// Table of Student's t (from memory; printed to three decimals).
#[test]
fn student_quantiles_are_those_of_the_table() {
    for (p, freedom, t) in [
        (0.975, 1.0, 12.706),
        (0.975, 2.0, 4.303),
        (0.95, 5.0, 2.015),
        (0.975, 10.0, 2.228),
        (0.995, 16.0, 2.921),
        (0.99, 30.0, 2.457),
        (0.975, f64::INFINITY, 1.960),
    ] {
        near(
            t_quantile(p, freedom),
            t,
            6e-4,
            &format!("t({p}, {freedom})"),
        );
        near(t_quantile(1.0 - p, freedom), -t, 6e-4, "the other tail");
    }
}

/// Worked example of NIST/SEMATECH e-Handbook 1.3.5.17.1: uranium isotope readings of Tietjen and Moore, G = 2.468765, critical value
/// of the one-sided test at 0.05 2.032 (from memory).
#[test]
fn grubbs_test_gives_the_published_example() {
    let uranium = [
        199.31, 199.53, 200.19, 200.82, 201.92, 201.95, 202.18, 245.57,
    ];
    let test = grubbs(&uranium, 0.05).unwrap();
    assert_eq!(test.index, 7);
    near(test.g, 2.468_765, 1e-6, "G");
    near(
        grubbs_critical(8, 0.05),
        2.032,
        1e-3,
        "one-sided critical value",
    );
    assert!(test.is_outlier());
    let rest = grubbs(&uranium[..7], 0.05).unwrap();
    assert!(!rest.is_outlier(), "{rest:?}");
}

/// Two-sided critical values at 0.05, G of Grubbs and Beck 1972 (from memory, three decimals).
#[test]
fn grubbs_critical_values_are_those_of_the_table() {
    for (n, g) in [(3, 1.155), (5, 1.715), (8, 2.126), (10, 2.290), (20, 2.709)] {
        near(grubbs_critical(n, 0.025), g, 1e-3, &format!("n = {n}"));
    }
}

/// 0.6745·(x − median)/MAD by hand: median 3, MAD 1, so 10 has z = 4.7215 and is past 3.5; 8 has 3.3725 and is not.
#[test]
fn modified_z_scores_follow_their_definition() {
    let values = [1.0, 2.0, 3.0, 4.0, 10.0];
    near(modified_z(&values, 0.0)[4], 4.7215, 1e-12, "z");
    assert_eq!(without_far(&values, 0.0), [1.0, 2.0, 3.0, 4.0]);
    assert_eq!(without_far(&[1.0, 2.0, 3.0, 4.0, 8.0], 0.0).len(), 5);
}

/// JCGM 100:2008, example H.1 (end-gauge calibration), table H.1: contributions in nm and degrees of freedom; u_c = 32 nm, effective
/// freedom 16, U₉₉ = 93 nm (from memory).
#[test]
fn the_end_gauge_budget_comes_out_as_published() {
    let source = |name: &str, u: f64, sensitivity: f64, freedom: f64| Source {
        name: name.to_owned(),
        evaluation: Evaluation::B,
        distribution: "normal",
        u,
        sensitivity,
        freedom,
    };
    let budget = Budget {
        sources: vec![
            source("standard", 25.0, 1.0, 18.0),
            source("difference", 9.7, 1.0, 25.6),
            // 0.58·10⁻⁶ /°C times −l_s·θ = −50 mm · −0.1 °C.
            source("difference of expansion", 0.58e-6, 5e6, 50.0),
            // 0.029 °C times −l_s·α = 50 mm · 11.5·10⁻⁶ /°C.
            source("difference of temperature", 0.029, -575.0, 2.0),
        ],
    };
    near(budget.combined(), 32.0, 0.5, "u_c, nm");
    assert_eq!(budget.effective_freedom().floor(), 16.0);
    near(budget.expanded(0.99), 93.0, 0.6, "U99, nm");
}

/// Six repeats of one patch by hand: 60 ± 0.1 L* and one at 62. The five have mean 60.02 and squares 0.0064 + 0.0144 + 0.0004 +
/// 0.0064 + 0.0004 = 0.028 about it, over 4 = 0.007.
#[test]
fn repeats_are_merged_without_the_one_that_does_not_belong() {
    let project = Path::new("tests/data/scans/project");
    let panel = read_panel(&project.join("panel.toml")).unwrap();
    let chart = read_chart(&project.join("chart.csv"), &panel).unwrap();
    let lstar = [60.1, 59.9, 62.0, 60.0, 60.1, 60.0];
    let taken: Vec<Taken> = lstar
        .iter()
        .enumerate()
        .map(|(k, &lstar)| Taken {
            page: 0,
            patch: 3,
            lstar,
            u: PatchUncertainty {
                repeatability: 0.01,
                wedge: 0.05,
                ..PatchUncertainty::default()
            },
            correction_lstar: 0.0,
            from: format!("scan {k}"),
        })
        .collect();
    let session = Session::of(&taken, &chart, &panel.instrument);
    let [outlier] = &session.outliers[..] else {
        panic!("{:?}", session.outliers);
    };
    assert_eq!(
        (outlier.from.as_str(), outlier.patch.as_str()),
        ("scan 2", "q03")
    );
    let [merged] = &session.merged[..] else {
        panic!("one patch was read");
    };
    assert_eq!(merged.repeats, 5);
    near(merged.lstar, 60.02, 1e-9, "mean");
    let s = 0.007f64.sqrt();
    near(
        session.repeat_lstar.unwrap().0,
        s,
        1e-9,
        "scatter of repeats",
    );
    // The wedge is the same for all, so more repeats don't make it better known.
    let combined = (s * s / 5.0 + 0.05 * 0.05f64).sqrt();
    near(merged.combined_lstar(), combined, 1e-9, "combined");
    let readings = session.readings();
    assert_eq!(
        (readings[0].page, readings[0].patch, readings[0].repeat),
        (0, 3, 1)
    );
    near(readings[0].u_lstar.unwrap(), combined, 1e-9, "as written");
}

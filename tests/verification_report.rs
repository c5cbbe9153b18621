//! The report tells the same in words and in JSON, and the inputs it judges residuals against are those of the pixels.

mod small_project;
mod support;

use greyloom::design::charge::Charge;
use greyloom::design::pins::Pins;
use greyloom::design::{
    BandDesign, Content, Design, Known, LadderShare, Request, ToldApart, Worst,
};
use greyloom::drive::Timing;
use greyloom::project::{Page, Project};
use greyloom::report::{FitReport, RequestReport, ResponseReport, fitted};
use greyloom::response::Rung;
use greyloom::response::Source;
use greyloom::response::fit::{Estimate, Fit, Residual, RungFit};
use greyloom::response::least_squares::Ending;
use greyloom::response::parameters::{Parameter, Scene, build, parameters};
use greyloom::response::robust::Stray;
use nalgebra::DMatrix;
use serde_json::Value;

/// Sums of a few products of round numbers.
const ROUNDING: f64 = 1e-12;

fn project() -> Project {
    let dir = tempfile::tempdir().unwrap();
    small_project::write_project(dir.path());
    Project::read(dir.path()).unwrap()
}

/// A fit that was never fitted: parameters at their priors, residuals of 0.1 L* but one stray of 2 L*, the first two
/// parameters tied together, the third not determined.
fn made_up_fit(project: &Project) -> Fit {
    let rung = Rung::LADDER[1];
    let scene = Scene {
        on_v: 16.0,
        data_v: 3.0,
        slot_s: 0.03,
        erase_s: 1.3,
    };
    let list = parameters(rung, &scene);
    let moved: Vec<f64> = list.iter().map(|p| p.scale.inward(p.prior)).collect();
    let values: Vec<f64> = list.iter().map(|p| p.prior).collect();
    let mut covariance = DMatrix::from_diagonal_element(list.len(), list.len(), 1e-4);
    covariance[(0, 1)] = -0.97e-4;
    covariance[(1, 0)] = -0.97e-4;
    let estimate = |(i, parameter): (usize, Parameter)| Estimate {
        parameter,
        value: values[i],
        sigma: 0.01 * values[i].abs(),
        undetermined: i == 2,
    };
    Fit {
        rung,
        response: build(rung, &values, 3).unwrap(),
        estimates: list.into_iter().enumerate().map(estimate).collect(),
        covariance,
        moved,
        residuals: residuals(project),
        odd_pages: Vec::new(),
        strays: vec![Stray {
            index: 2,
            standardised: -13.3,
            bound: 3.9,
        }],
        reduced_chi_square: 1.25,
        degrees_of_freedom: 7,
        ending: Ending::Stationary,
        ladder: Rung::LADDER[..2].iter().map(|&rung| tried(rung)).collect(),
    }
}

fn tried(rung: Rung) -> RungFit {
    RungFit {
        rung,
        parameters: if rung.store { 15 } else { 13 },
        reduced_chi_square: 1.25,
        rms_lstar: if rung.store { 0.125 } else { 0.375 },
        left_out_rms_lstar: 0.5,
        left_out_mirrored_rms_lstar: None,
        ending: Ending::Settled,
    }
}

fn residuals(project: &Project) -> Vec<Residual> {
    let patches = project
        .measured
        .readings
        .iter()
        .enumerate()
        .map(|(reading, r)| {
            (
                Source::Patch {
                    page: r.page,
                    patch: r.patch,
                    reading,
                },
                r.lstar,
            )
        });
    let trains = project.trains.iter().enumerate().flat_map(|(train, t)| {
        let read = t.readings_lstar.iter().enumerate();
        read.map(move |(repeat, &lstar)| (Source::Train { train, repeat }, lstar))
    });
    let residual = |(i, (source, measured_lstar)): (usize, (Source, f64))| Residual {
        source,
        measured_lstar,
        predicted_lstar: measured_lstar - if i == 2 { 2.0 } else { 0.1 },
        stray: i == 2,
    };
    patches.chain(trains).enumerate().map(residual).collect()
}

fn made_up_design() -> Design {
    let set = support::harbour_tile();
    let band = |b: &greyloom::waveforms::Band| BandDesign {
        timing: Timing::of(
            &b.erase,
            &b.fields,
            set.panel.rows,
            set.panel.field_settle_ms,
        ),
        longest_stretch: 1.25,
        shortest_erase_s: 0.875,
        worst: Worst {
            level: 3,
            content: Content::AllOn,
            row: 79,
            temperature_c: b.temperature_c.low,
            target_lstar: 41.25,
            lstar: 41.62,
        },
        span_lstar: 48.0,
        contrast: 7.9,
        span_alone_lstar: 49.5,
        evaluated: 1234,
        uneven_steps: 0.06,
        shading_steps: 0.125,
        zones: None,
        expected_steps: 0.1,
        charge: Charge {
            driven_vs: 11.25,
            level: 31,
            balanced_vs: 3.5,
            balance_s: 5.0,
            resting_balance_v: None,
        },
        known: Known {
            standard_u_lstar: vec![0.1; 32],
            expanded_u_lstar: vec![0.2; 32],
            step_standard_u_lstar: vec![0.05; 31],
            step_expanded_u_lstar: vec![0.1; 31],
            told_apart: ToldApart {
                step_lstar: 1.5,
                reading_lstar: 0.42,
                predicted_lstar: 0.1,
                levels: 32,
            },
        },
        edges: Vec::new(),
    };
    let bands = set.bands.iter().map(band).collect();
    Design {
        bands,
        set,
        bands_tried: Vec::new(),
        assured: None,
        polish: None,
        without_zones: None,
        notes: vec!["Mind the gap between pier and deck.".into()],
    }
}

fn with_report(check: impl Fn(&FitReport)) {
    let project = project();
    let design = made_up_design();
    let request = Request {
        levels: 32,
        budget_s: 12.0,
        tolerance_steps: 0.25,
        share: LadderShare::Common,
        temperature_c: None,
        pins: Pins::NONE,
        contrast: None,
    };
    check(&FitReport {
        request: RequestReport::of(&request),
        left_out: Vec::new(),
        response: ResponseReport::of(&project, &made_up_fit(&project)),
        design: &design,
        limits: project.panel.limits,
        files: vec!["out/table.h".into(), "out/waveforms.json".into()],
    });
}

#[test]
fn the_summary_says_what_a_person_asks() {
    with_report(|report| {
        let text = report.to_string();
        // Words that stand on one line each, however the lines are broken.
        let flat = text.split_whitespace().collect::<Vec<_>>().join(" ");
        for words in [
            "32 levels in 12 s, merit at most 0.25 step",
            "4 readings of 3 patches on 2 pages, 3 readings of 2 test-cell trains, at 5, 23, 25 and 32 °C",
            "a/q (scans.csv line 4)",
            "read 65.75, predicted 63.75: +2.00 L*, 13.3 σ",
            "χ² per degree of freedom 1.25 (7 degrees)",
            "no pages held out",
            "* crossing + store 15 0.125 0.500 1.25 kept",
            "R_clear 0.7200 0.0072 reflectance of the clear pixel",
            "inverse of the Yule–Nielsen factor held at prior",
            "R_clear with R_dark -0.970",
            "temperature, °C 5: 0.100 23: 0.100 25: 0.100 32: 0.100",
            "Band 1 of 3: 5 to 14 °C, designed at 10 °C",
            "primed erase; then a strong field: select 9 V, data 3 V, 70 ticks of 1 ms a row, 8 guard ticks; then a weak field: select 5.5 V",
            "band 1: primed, +18 V for 300 ms",
            "allow strokes down to 0.88, 0.88, 0.88 s before stretching",
            "1 5…14 13.31 37.00…85.00 48.00 7.9 : 1 0.240 3 79 all on 5",
            "level 3 shows 41.62 where 41.25 L* is wanted, other rows all on, row 79 of 0 to 79, 5 °C",
            "(erase 2.700 + fields 6.240 + 3.200 + settling 0.004 + rest 2.000) s × 1.25 stretch",
            "ghost 0.31 L* (limit 0.5), net impulse -11.2 V·s (limit 25), energy 4.75 mJ",
            "49.50 L* at 5 to 14 °C (+1.50)",
            "caution Mind the gap",
            "out/table.h out/waveforms.json",
        ] {
            assert!(flat.contains(words), "no {words:?} in\n{text}");
        }
        assert!(
            text.lines().all(|line| line.chars().count() <= 110),
            "{text}"
        );
        assert!(text.lines().all(|line| line == line.trim_end()), "{text}");
    });
}

#[test]
fn json_tells_the_same() {
    with_report(|report| {
        let json: Value = serde_json::from_str(&report.to_json()).unwrap();
        assert_eq!(json["request"]["levels"], 32);
        assert_eq!(json["response"]["model"], "crossing + store");
        assert_eq!(json["response"]["strays"][0]["reading"], "a/q");
        assert_eq!(json["response"]["strays"][0]["line"], 4);
        assert_eq!(
            json["response"]["strong_correlations"][0]["correlation"],
            -0.97
        );
        assert_eq!(json["response"]["parameters"][2]["held_at_prior"], true);
        assert_eq!(json["response"]["holdout"], Value::Null);
        assert_eq!(json["design"]["bands"][0]["worst"]["content"], "all_on");
        assert_eq!(json["design"]["set"]["levels"], 32);
        assert_eq!(json["files"][1], "out/waveforms.json");
        let alone: Value = serde_json::from_str(&report.response.to_json()).unwrap();
        assert_eq!(alone, json["response"]);
    });
}

#[test]
fn the_response_in_the_report_reads_back_whole() {
    let project = project();
    let fit = made_up_fit(&project);
    let json: Value = serde_json::from_str(&ResponseReport::of(&project, &fit).to_json()).unwrap();
    let read: greyloom::response::Response =
        serde_json::from_value(json["response"].clone()).unwrap();
    assert_eq!(read, fit.response);
}

/// Ticks of a pixel in each field.
fn ticks_at(page: &Page, row: usize, column: usize) -> &[u32] {
    let over = page.patches.iter().find(|p| {
        (p.row_first..=p.row_last).contains(&row)
            && (p.column_first..=p.column_last).contains(&column)
    });
    over.map_or(&page.fill_ticks, |p| &p.ticks)
}

fn on_ms(page: &Page, row: usize, column: usize) -> f64 {
    let fields = page.fields.iter().zip(ticks_at(page, row, column));
    fields
        .map(|(f, &t)| f64::from(t) * f64::from(f.tick_us) * 1e-3)
        .sum()
}

#[test]
fn content_is_that_of_the_other_pixels_of_the_columns() {
    let project = project();
    let compared = fitted(&project, &made_up_fit(&project));
    let pixels = project.measured.readings.iter().zip(&compared);
    for (reading, compared) in pixels {
        let page = &project.measured.chart.pages[reading.page];
        let patch = &page.patches[reading.patch];
        let slot_ms: f64 = page
            .fields
            .iter()
            .map(|f| f64::from(f.slot_ticks * f.tick_us) / 1e3)
            .sum();
        let own_row = patch.row_first;
        let (mut on, mut all) = (0.0, 0.0);
        for column in patch.column_first..=patch.column_last {
            for row in (0..project.panel.rows).filter(|&row| row != own_row) {
                on += on_ms(page, row, column);
                all += slot_ms;
            }
        }
        let share = compared.point.content_share.unwrap();
        assert!((share - on / all).abs() <= ROUNDING, "{share} {}", on / all);
        assert_eq!(compared.drive_ms, on_ms(page, own_row, patch.column_first));
        assert_eq!(compared.mirrored, page.fields.iter().any(|f| f.mirrored));
        assert_eq!(compared.drive_v, page.fields[0].own_on_v());
    }
    let first_train = &compared[project.measured.readings.len()];
    assert_eq!((first_train.drive_v, first_train.drive_ms), (15.0, 20.0));
    assert_eq!(first_train.point.content_share, None);
}

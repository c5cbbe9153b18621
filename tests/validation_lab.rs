//! Outputs for the laboratory through programs of other makers: a reader of value change dumps, a circuit simulator.

mod emit_bench;

use emit_bench::{has, output, picture, random_set, shipped};
use greyloom::drive::{Line, StepResponse};
use greyloom::emit::lab::{
    Lab, Probe, SampleOptions, Step, pwl_csv, pwl_sources, samples_csv, vcd as dump,
};
use greyloom::emit::lines::Refresh;
use greyloom::panel::Levels;
use greyloom::waveforms::Waveforms;
use std::collections::BTreeMap;
use std::process::Command;

/// A refresh of a random picture with its resting balance.
fn with_lab<T>(set: &Waveforms, band: usize, run: impl FnOnce(&Lab) -> T) -> T {
    let set = set.rounded();
    let levels = picture(&set, 77);
    let picture = Levels {
        columns: set.panel.columns,
        levels: &levels,
    };
    let band = &set.bands[band];
    run(&Lab {
        refresh: Refresh::new(&set, band, picture, true),
        temperature_c: band.temperature_c.design,
        picture: "a random picture".into(),
    })
}

/// Voltage of a line at a moment.
fn at(steps: &[Step], t_s: f64) -> f64 {
    steps
        .iter()
        .take_while(|s| s.at_s <= t_s)
        .last()
        .map_or(0.0, |s| s.v)
}

/// Each variable's values with their times, ns, as the `vcd` crate (K. Mehall) reads them.
fn read_vcd(text: &str) -> BTreeMap<String, Vec<(u64, f64)>> {
    let mut parser = vcd::Parser::new(text.as_bytes());
    let header = parser.parse_header().expect("a header");
    assert_eq!(header.timescale, Some((1, vcd::TimescaleUnit::NS)));
    let scope = header.find_scope(&["panel"]).expect("a scope");
    let mut names = BTreeMap::new();
    for item in &scope.items {
        let vcd::ScopeItem::Var(var) = item else {
            continue;
        };
        assert_eq!((var.var_type, var.size), (vcd::VarType::Real, 64));
        names.insert(var.code, var.reference.clone());
    }
    let (mut values, mut now) = (BTreeMap::<String, Vec<(u64, f64)>>::new(), 0);
    for command in parser {
        match command.expect("a command") {
            vcd::Command::Timestamp(t) => {
                assert!(t >= now);
                now = t;
            }
            vcd::Command::ChangeReal(id, v) => {
                values.entry(names[&id].clone()).or_default().push((now, v))
            }
            vcd::Command::Begin(_) | vcd::Command::End(_) => {}
            other => panic!("{other:?}"),
        }
    }
    values
}

#[test]
fn an_independent_reader_finds_every_change_of_the_dump() {
    for seed in [1, 2, 5] {
        let set = random_set(seed);
        let (rows, columns) = (set.panel.rows, set.panel.columns);
        let mut probes: Vec<Probe> = (0..rows)
            .map(Probe::Row)
            .chain((0..columns).map(Probe::Column))
            .collect();
        probes.extend((0..rows).flat_map(|r| (0..columns).map(move |c| Probe::Pixel(r, c))));
        with_lab(&set, 0, |lab| {
            let read = read_vcd(&dump(lab, &probes));
            assert_eq!(read.len(), probes.len());
            for probe in &probes {
                let steps = lab.steps(*probe);
                let wanted: Vec<(u64, f64)> = steps
                    .iter()
                    .map(|s| ((s.at_s * 1e9).round() as u64, s.v))
                    .collect();
                assert_eq!(read[&probe.to_string()], wanted, "{probe}");
            }
        });
    }
}

/// A pixel is its row less its column at every moment, and lasts as long as the refresh.
#[test]
fn a_pixel_is_its_row_less_its_column() {
    with_lab(&shipped(), 1, |lab| {
        let [row, column, pixel] =
            [Probe::Row(40), Probe::Column(60), Probe::Pixel(40, 60)].map(|p| lab.steps(p));
        let changes: Vec<f64> = row.iter().chain(&column).map(|s| s.at_s + 1e-7).collect();
        assert!(changes.len() > 300);
        for t_s in changes {
            assert_eq!(at(&pixel, t_s), at(&row, t_s) - at(&column, t_s), "{t_s}");
        }
    });
}

/// One RC pixel: the row's driver and the column's behind 10 kΩ each, 1 nF between. ngspice runs the emitted sources; the
/// line model without resistance along the line answers each step with 1 − exp(−t/2RC).
#[test]
fn a_circuit_simulator_agrees_with_the_line_model() {
    /// Of 20 V: the simulator's step control at its default relative tolerance of 0.001.
    const TOLERANCE_V: f64 = 0.01;
    if !has("ngspice", "piecewise-linear sources in a circuit simulator") {
        return;
    }
    let mut set = random_set(2);
    set.panel.rows = 2;
    set.panel.field_settle_ms = 1.0;
    let band = &mut set.bands[0];
    band.erase.strokes.iter_mut().for_each(|s| s.ms = 1.0);
    band.erase.rest_ms = 1.0;
    with_lab(&set, 0, |lab| {
        let folder = tempfile::tempdir().expect("a folder");
        let write = |name: &str, text: &str| {
            std::fs::write(folder.path().join(name), text).expect("written")
        };
        write(
            "lines.cir",
            &pwl_sources(lab, &[Probe::Row(1), Probe::Column(0)]),
        );
        let end_s = lab.duration_s();
        write(
            "pixel.cir",
            &format!(
                "one pixel\n.include lines.cir\nR1 row_1 a 10k\nR2 column_0 b 10k\nC1 a b 1n IC=0\n.tran 0.5u {end_s} 0 0.5u UIC\n.control\nrun\nset wr_singlescale\nwrdata pixel.txt v(a)-v(b)\nquit 0\n.endc\n.end\n"
            ),
        );
        output(
            Command::new("ngspice")
                .args(["-b", "pixel.cir"])
                .current_dir(folder.path()),
        );
        let text = std::fs::read_to_string(folder.path().join("pixel.txt"))
            .expect("the simulator's numbers");
        let line = Line {
            ohm: 0.0,
            farad: 1e-9,
            driver_ohm: 20e3,
            load_farad: 0.0,
        };
        let response = line.step_at(1.0);
        // An edge takes a thousandth of the shortest tick.
        let edge_s = 1e-3 * lab.shortest_tick_s();
        let steps = lab.steps(Probe::Pixel(1, 0));
        let (mut compared, mut largest) = (0, 0.0f64);
        for row in text.lines() {
            let numbers: Vec<f64> = row
                .split_whitespace()
                .map(|n| n.parse().expect("a number"))
                .collect();
            let model = answered(&steps, &response, numbers[0], edge_s);
            let off = (numbers[1] - model).abs();
            assert!(
                off <= TOLERANCE_V,
                "{} V, {model} V by the model at {} s",
                numbers[1],
                numbers[0]
            );
            largest = largest.max(numbers[1].abs());
            compared += 1;
        }
        assert!(
            compared > 10_000 && largest > 4.0,
            "{compared} moments up to {largest} V"
        );
    });
}

/// What a line that begins at 0 V answers to steps, each in equal parts over an edge, V.
fn answered(steps: &[Step], response: &StepResponse, t_s: f64, edge_s: f64) -> f64 {
    const PARTS: usize = 16;
    let part = |t_s: f64| {
        let late_s = |k: usize| edge_s * (k as f64 + 0.5) / PARTS as f64;
        (0..PARTS)
            .map(|k| response.value(t_s - late_s(k)))
            .sum::<f64>()
            / PARTS as f64
    };
    let mut before = 0.0;
    let mut v = 0.0;
    for step in steps.iter().take_while(|s| s.at_s <= t_s) {
        v += (step.v - before) * part(t_s - step.at_s);
        before = step.v;
    }
    v
}

/// The corners as a table, between which a straight line gives the steps away from edges.
#[test]
fn corners_hold_each_voltage_until_the_next_change() {
    with_lab(&shipped(), 0, |lab| {
        let csv = pwl_csv(lab, &[Probe::Column(7)]);
        let corners: Vec<(f64, f64)> = csv
            .lines()
            .filter(|l| !l.starts_with('#'))
            .skip(1)
            .map(|l| {
                let cells: Vec<&str> = l.split(',').collect();
                assert_eq!(cells[0], "column_7");
                (cells[1].parse().expect("s"), cells[2].parse().expect("V"))
            })
            .collect();
        assert!(corners.windows(2).all(|c| c[0].0 <= c[1].0));
        assert!((corners.last().expect("corners").0 - lab.duration_s()).abs() < 1e-9);
        let steps = lab.steps(Probe::Column(7));
        for pair in corners.windows(2).filter(|c| c[1].0 - c[0].0 > 1e-5) {
            assert_eq!(pair[0].1, pair[1].1);
            assert_eq!(pair[0].1, at(&steps, (pair[0].0 + pair[1].0) / 2.0));
        }
    });
}

/// Samples against the pixel's own steps, and the charge that they carry.
#[test]
fn samples_follow_the_pixel() {
    const HALF_SAMPLE: f64 = 0.5;
    with_lab(&shipped(), 2, |lab| {
        let options = SampleOptions {
            rate_hz: 20_000.0,
            full_scale_v: 25.0,
            samples_max: 1_000_000,
        };
        let csv = samples_csv(lab, (3, 5), &options).expect("samples");
        let samples: Vec<f64> = csv
            .lines()
            .filter(|l| !l.starts_with('#'))
            .map(|l| l.parse().expect("a number"))
            .collect();
        assert_eq!(samples.len() as f64, (lab.duration_s() * 20_000.0).round());
        assert!(samples.iter().all(|s| s.abs() <= 1.0));
        let steps = lab.steps(Probe::Pixel(3, 5));
        for (k, sample) in samples.iter().enumerate() {
            let v = at(&steps, (k as f64 + HALF_SAMPLE) / 20_000.0);
            assert!((25.0 * sample - v).abs() < 1e-5, "sample {k}");
        }
        let ends = steps
            .iter()
            .skip(1)
            .map(|s| s.at_s)
            .chain([lab.duration_s()]);
        let charge_vs: f64 = steps
            .iter()
            .zip(ends)
            .map(|(s, end)| s.v * (end - s.at_s))
            .sum();
        let sampled_vs: f64 = samples.iter().map(|s| 25.0 * s / 20_000.0).sum();
        let edges = steps.len() as f64 * 18.0 * HALF_SAMPLE / 20_000.0;
        assert!(
            (charge_vs - sampled_vs).abs() < edges,
            "{charge_vs} and {sampled_vs} V·s"
        );
    });
}

/// The resting balance leaves on every pixel what the design says: strokes and row pulses alone, to a tick's charge.
#[test]
fn the_balance_leaves_what_the_design_says() {
    for (seed, band) in (0..30).map(|s| (s, 0)) {
        let set = random_set(seed).rounded();
        let Some(balance_v) = set.bands[band].resting_balance_v else {
            continue;
        };
        let b = &set.bands[band];
        let alike_vs = greyloom::drive::balanced_impulse_vs(&b.erase, &b.fields);
        with_lab(&set, band, |lab| {
            let stretch = lab.stretch();
            let tick_vs = balance_v * lab.shortest_tick_s();
            // Strokes are played in whole ticks.
            let strokes_vs: f64 = b.erase.strokes.iter().map(|s| s.pixel_v.abs()).sum::<f64>()
                * lab.shortest_tick_s()
                / 2.0;
            for (row, column) in [(0, 0), (set.panel.rows - 1, set.panel.columns - 1)] {
                let steps = lab.steps(Probe::Pixel(row, column));
                let ends = steps
                    .iter()
                    .skip(1)
                    .map(|s| s.at_s)
                    .chain([lab.duration_s()]);
                let left_vs: f64 = steps
                    .iter()
                    .zip(ends)
                    .map(|(s, end)| s.v * (end - s.at_s))
                    .sum();
                let off = (left_vs - stretch * alike_vs).abs();
                assert!(
                    off <= 0.5 * tick_vs + strokes_vs + 1e-9,
                    "seed {seed}: {left_vs} V·s, {alike_vs} V·s before stretching"
                );
            }
        });
    }
}

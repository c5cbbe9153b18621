mod small_panel;
use greyloom::design::{LadderShare, Request, design};
use greyloom::project::{Project, Rail};
use greyloom::response::fit::Fit;
use small_panel::{RUNG, response};
use std::path::Path;
use std::time::Instant;

fn project() -> Project {
    let dir = Path::new(env!("CARGO_MANIFEST_DIR")).join("calibration/harbour-tile");
    let mut project = Project::read(&dir).expect("the shipped project");
    let panel = &mut project.panel;
    panel.rows = 12;
    panel.columns = 10;
    panel.drivers.select_v = Rail {
        min: 5.0,
        max: 12.0,
        step: Some(1.0),
    };
    panel.drivers.data_v = Rail {
        min: 1.5,
        max: 4.0,
        step: Some(0.5),
    };
    panel.drivers.tick_us = vec![1000, 2000];
    panel.drivers.slot_ticks_max = 40;
    panel.drivers.guard_ticks_max = 6;
    project
}

fn known(classes: usize) -> Fit {
    Fit {
        rung: RUNG,
        response: response(RUNG, classes),
        estimates: vec![],
        covariance: nalgebra::DMatrix::zeros(0, 0),
        moved: vec![],
        residuals: vec![],
        strays: vec![],
        reduced_chi_square: 1.0,
        degrees_of_freedom: 100,
        ending: greyloom::response::least_squares::Ending::Settled,
        ladder: vec![],
    }
}

#[test]
fn probe() {
    for (levels, budget_s, share, temp) in [
        (8, 3.5, LadderShare::Common, None),
        (8, 3.5, LadderShare::PerBand, None),
        (8, 3.5, LadderShare::Common, Some(23.0)),
        (60, 3.5, LadderShare::Common, Some(23.0)),
        (60, 3.5, LadderShare::Common, None),
    ] {
        for classes in [2, 3] {
            let t = Instant::now();
            let r = design(
                &project(),
                &known(classes),
                &Request {
                    levels,
                    budget_s,
                    tolerance_steps: 0.25,
                    share,
                    temperature_c: temp,
                },
                &|_| (),
            );
            match r {
                Ok(d) => println!(
                    "{levels} {budget_s} {share:?} {temp:?} {classes}: {:.2}s bands {} spans {:?} merit {:?}",
                    t.elapsed().as_secs_f64(),
                    d.set.bands.len(),
                    d.bands
                        .iter()
                        .map(|b| (b.span_lstar, b.span_alone_lstar, b.evaluated))
                        .collect::<Vec<_>>(),
                    d.set
                        .bands
                        .iter()
                        .map(|b| b.figures.worst_error_steps)
                        .collect::<Vec<_>>()
                ),
                Err(e) => println!(
                    "{levels} {budget_s} {share:?} {temp:?} {classes}: {:.2}s {e}",
                    t.elapsed().as_secs_f64()
                ),
            }
        }
    }
    let mut p = project();
    p.panel.drivers.stretch = None;
    for levels in [4, 8] {
        let t = Instant::now();
        let r = design(
            &p,
            &known(2),
            &Request {
                levels,
                budget_s: 3.5,
                tolerance_steps: 0.25,
                share: LadderShare::Common,
                temperature_c: None,
            },
            &|_| (),
        );
        match r {
            Ok(d) => println!(
                "no stretch {levels}: {:.2}s bands {} spans {:?}",
                t.elapsed().as_secs_f64(),
                d.set.bands.len(),
                d.bands
                    .iter()
                    .map(|b| (b.span_lstar, b.span_alone_lstar, b.evaluated))
                    .collect::<Vec<_>>()
            ),
            Err(e) => println!("no stretch {levels}: {:.2}s {e}", t.elapsed().as_secs_f64()),
        }
    }
}

//! Planned charts against charts drawn at random: as predicted, and as fitted on the test panel, whose greys in use are known
//! exactly there.
//!
//! `cargo bench --bench planned_against_random [-- RANDOM_CHARTS [SHIFT_V SPEED]]`

mod test_panels;

use greyloom::design::design;
use greyloom::error::Result;
use greyloom::planning::{Grid, PlanRequest, Planning};
use greyloom::project::{Chart, Panel, Project, read_panel};
use greyloom::rehearsal::{Start, TestPanel};
use greyloom::response::PagePlan;
use greyloom::response::fit::{Fit, fit};
use greyloom::trim::verification_chart;
use std::path::Path;
use test_panels::{Make, PANEL, REQUEST, asked, quiet, read, test_panel};

const TEMPERATURES_C: [f64; 5] = [5.0, 13.8, 22.5, 31.3, 40.0];
const PATCHES_A_PAGE: usize = 10;
const PLANNED: usize = 160;
const RANDOM: [usize; 2] = [160, 300];
/// Random patches that join the planned ones where the set comes from whose greys are judged.
const MORE_OF_USE: usize = 480;

fn main() {
    let (charts, panels) = asked(2);
    if let Err(e) = run(charts, &panels) {
        eprintln!("{e}");
    }
}

fn run(charts: u64, panels: &[Make]) -> Result<()> {
    let panel = read_panel(Path::new(PANEL))?;
    let grid = Grid::new(&panel, Path::new(PANEL))?;
    let planning = |patches: usize| {
        let request = PlanRequest {
            patches,
            pages: patches / PATCHES_A_PAGE,
            temperatures_c: TEMPERATURES_C.to_vec(),
        };
        Planning::new(&panel, grid, &request, &quiet)
    };
    let plan = planning(PLANNED)?.plan(&quiet);
    println!("predicted, error of the greys that will be used, L*");
    println!("  {PLANNED} planned: {:.3}", plan.grey_error_lstar);
    for c in &plan.curve {
        println!(
            "  {:4} patches: planned before exchange {:.3}, at random {:.3}",
            c.patches, c.planned_lstar, c.random_lstar
        );
    }
    println!("fitted: error of the greys in use, L*: rms, largest; left-out rms; rung");
    for &(shift_v, speed) in panels {
        let test_panel = test_panel((shift_v, speed))?;
        println!("threshold {shift_v:+.1} V, speed × {speed}");
        let mut whole = plan.chart.clone();
        whole.pages.extend(planning(MORE_OF_USE)?.random(99).pages);
        let uses = uses(&panel, grid, &test_panel, &whole)?;
        for seed in 1..=charts {
            let judged = judged(&panel, &test_panel, &plan.chart, seed, &uses)?;
            println!("  {PLANNED:4} planned:   {judged}");
        }
        for patches in RANDOM {
            for seed in 1..=charts {
                let chart = planning(patches)?.random(seed);
                let judged = judged(&panel, &test_panel, &chart, seed, &uses)?;
                println!("  {patches:4} at random: {judged}");
            }
        }
    }
    Ok(())
}

fn project(panel: &Panel, test_panel: &TestPanel, chart: &Chart, seed: u64) -> Project {
    test_panels::project(panel, read(panel, test_panel, chart, (seed, 1)))
}

/// The chart that verifies a set designed for the test panel, and what it shows exactly.
fn uses(
    panel: &Panel,
    grid: Grid,
    test_panel: &TestPanel,
    chart: &Chart,
) -> Result<(Chart, Vec<Vec<f64>>)> {
    let project = project(panel, test_panel, chart, 1);
    let set = design(&project, &fit(&project, &quiet)?, &REQUEST, &quiet)?.set;
    println!(
        "  greys in use: {} bands, {:.1} to {:.1} L*, {}",
        set.bands.len(),
        set.targets_lstar[0],
        set.targets_lstar[31],
        set.bands
            .iter()
            .map(|b| b
                .fields
                .iter()
                .map(|f| format!(
                    "S{} D{} {}x{}us g{}",
                    f.select_v, f.data_v, f.slot_ticks, f.tick_us, f.guard_ticks
                ))
                .collect::<Vec<_>>()
                .join("+"))
            .collect::<Vec<_>>()
            .join("; ")
    );
    let verifying = verification_chart(&set, panel, grid)?;
    let exact = test_panel.lstar(panel, &verifying, Start::Dark, &|_| ());
    Ok((verifying, exact))
}

fn judged(
    panel: &Panel,
    test_panel: &TestPanel,
    chart: &Chart,
    seed: u64,
    (verifying, exact): &(Chart, Vec<Vec<f64>>),
) -> Result<String> {
    let project = project(panel, test_panel, chart, seed);
    let fit: Fit = fit(&project, &quiet)?;
    let (mut squares, mut count, mut largest) = (0.0, 0.0, 0.0f64);
    for (page, exact) in verifying.pages.iter().zip(exact) {
        let plan = PagePlan::new(page, panel.rows, usize::MAX);
        let predicted = plan.lstar(&fit.response, page, panel.drivers.field_settle_ms);
        for (p, e) in predicted.iter().zip(exact) {
            squares += (p - e).powi(2);
            count += 1.0;
            largest = largest.max((p - e).abs());
        }
    }
    let left_out = fit.ladder.iter().find(|r| r.rung == fit.rung);
    Ok(format!(
        "{:.3} {largest:.3}; {:.3}; {}",
        f64::sqrt(squares / count),
        left_out.map_or(f64::NAN, |r| r.left_out_rms_lstar),
        fit.rung.name()
    ))
}

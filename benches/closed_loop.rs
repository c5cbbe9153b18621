//! The closed loop on the test panel: a planned chart, rehearsed; fit and design; the levels read; trim; all judged without
//! noise. One line a panel and seed, at the end one a panel with the worst of its seeds.
//!
//! `cargo bench --bench closed_loop [-- SEEDS [SHIFT_V SPEED [READINGS]]]`; without SEEDS one seed; without a panel the shipped one,
//! threshold ±1.5 V, speed × 0.6 and × 1.6; without READINGS three of each patch of the planned chart.

mod judge;
mod test_panels;

use greyloom::design::{Request, design};
use greyloom::error::Result;
use greyloom::planning::{Grid, PlanRequest, Planning};
use greyloom::project::{Chart, Panel, read_panel};
use greyloom::response::fit::fit;
use greyloom::trim::{Verification, trim, verification_chart};
use greyloom::waveforms::Waveforms;
use judge::{Judged, judge};
use std::path::Path;
use std::time::Instant;
use test_panels::{Make, PANEL, REQUEST, asked, project, quiet, read, test_panel};

/// Readings of each patch of the planned chart.
const READINGS: u32 = 3;
/// Readings of each patch of the chart that verifies.
const REPEATS: u32 = 6;
/// Tolerance of the first set, steps: what trim, which has all of it, may need for what the readings of the levels show.
const FIRST_TOLERANCE_STEPS: f64 = 0.21;
const PATCHES: usize = 160;
const PAGES: usize = 16;
const TEMPERATURES_C: [f64; 5] = [5.0, 14.0, 23.0, 32.0, 40.0];

fn main() {
    let (seeds, panels) = asked(1);
    let readings = std::env::args()
        .filter_map(|a| a.parse::<f64>().ok())
        .nth(3);
    if let Err(e) = run(
        seeds,
        &panels,
        readings.map_or(READINGS, |n| n.max(1.0) as u32),
    ) {
        eprintln!("{e}");
    }
}

fn run(seeds: u64, panels: &[Make], readings: u32) -> Result<()> {
    let panel = read_panel(Path::new(PANEL))?;
    let chart = planned(&panel)?;
    let patches: usize = chart.pages.iter().map(|p| p.patches.len()).sum();
    println!(
        "{patches} patches on {} pages, {readings} readings of each; {REPEATS} of each verifying patch; unevenness in steps, mixed content, middle row",
        chart.pages.len()
    );
    println!(
        "shift, V  speed   seed  bands  step, L*  first: design  limits  worst  trimmed: design  limits  worst       s"
    );
    let mut worst_of_seeds = Vec::new();
    for &(shift_v, speed) in panels {
        let mut worst = [0.0f64; 6];
        for seed in 1..=seeds {
            let begun = Instant::now();
            let found = closed(&panel, &chart, (shift_v, speed), (seed, readings))?;
            let figures = [found.0.summary(), found.1.summary()].concat();
            println!(
                "{shift_v:8.1}  {speed:5.1}  {seed:5}  {:5}  {:8.3}  {}  {:6.1}",
                found.0.0.len(),
                found.1.0[0].step_lstar,
                columns(&figures),
                begun.elapsed().as_secs_f64()
            );
            for (w, f) in worst.iter_mut().zip(figures) {
                *w = w.max(f);
            }
        }
        worst_of_seeds.push(worst);
    }
    for (&(shift_v, speed), worst) in panels.iter().zip(&worst_of_seeds) {
        println!(
            "{shift_v:8.1}  {speed:5.1}  worst                   {}",
            columns(worst)
        );
    }
    Ok(())
}

/// Both sets' figures under their headings.
fn columns(figures: &[f64]) -> String {
    const WIDTHS: [usize; 6] = [13, 6, 5, 15, 6, 5];
    let cells = figures.iter().zip(WIDTHS);
    let cells: Vec<String> = cells.map(|(f, width)| format!("{f:width$.3}")).collect();
    cells.join("  ")
}

/// Every band of a set.
struct Bands(Vec<Judged>);

impl Bands {
    /// The worst band: at design temperatures, at limits, over contents and rows.
    fn summary(&self) -> [f64; 3] {
        let worst = |of: fn(&Judged) -> f64| self.0.iter().map(of).fold(0.0, f64::max);
        [
            worst(|j| j.uneven_design),
            worst(Judged::at_limits),
            worst(|j| j.worst),
        ]
    }
}

fn closed(
    panel: &Panel,
    chart: &Chart,
    make: Make,
    (seed, readings): (u64, u32),
) -> Result<(Bands, Bands)> {
    let test_panel = test_panel(make)?;
    let project = project(panel, read(panel, &test_panel, chart, (seed, readings)));
    let request = Request {
        tolerance_steps: FIRST_TOLERANCE_STEPS,
        ..REQUEST
    };
    let set: Waveforms = design(&project, &fit(&project, &quiet)?, &request, &quiet)?.set;
    let first = Bands(judge(&test_panel, panel, &set));
    let verifying = verification_chart(&set, panel, Grid::new(panel, Path::new(PANEL))?)?;
    let verification = Verification {
        measured: read(panel, &test_panel, &verifying, (seed + 1000, REPEATS)),
        chart_file: "verify.csv".into(),
        scans_file: "verify-scans.csv".into(),
    };
    let trimmed = trim(&project, &set, &verification, &REQUEST, true, &quiet)?;
    Ok((first, Bands(judge(&test_panel, panel, &trimmed.design.set))))
}

fn planned(panel: &Panel) -> Result<Chart> {
    let request = PlanRequest {
        patches: PATCHES,
        pages: PAGES,
        temperatures_c: TEMPERATURES_C.to_vec(),
    };
    let grid = Grid::new(panel, Path::new(PANEL))?;
    let planning = Planning::new(panel, grid, &request, &quiet)?;
    Ok(planning.plan(&quiet).chart)
}

//! What a search does over and over: one scheme with all its ticks and corners; one page; one vector of residuals.

#[path = "../tests/small_panel/response.rs"]
mod planted;

use divan::Bencher;
use greyloom::design::choice::{Demand, Fineness, Span, Spots, widest};
use greyloom::design::reach::{Climate, Reach, Scheme, Scope};
use greyloom::design::search::spots_of;
use greyloom::drive::Field;
use greyloom::project::Project;
use greyloom::response::least_squares::Residuals;
use greyloom::response::parameters::{Scene, parameters};
use greyloom::response::{Grain, PagePlan, ReadingProblem, Response};
use planted::{PLANTED, RUNG, response};
use std::path::Path;

fn main() {
    divan::main();
}

const CLASSES: usize = 5;

/// Of the pages, as the fit sees it.
const SCENE: Scene = Scene {
    on_v: 15.0,
    data_v: 3.0,
    slot_s: 0.05,
    erase_s: 1.25,
};

fn project() -> Project {
    let dir = Path::new(env!("CARGO_MANIFEST_DIR")).join("calibration/harbour-tile");
    Project::read(&dir).expect("the shipped project")
}

fn field(select_v: f64, data_v: f64, slot_ticks: u32) -> Field {
    Field {
        select_v,
        data_v,
        tick_us: 1000,
        slot_ticks,
        guard_ticks: 8,
        mirrored: false,
    }
}

/// One field of 96 ticks; a strong and a weak one of 70 and 32.
fn schemes(project: &Project) -> [Scheme; 2] {
    let scheme = |fields: &[Field]| Scheme {
        erase: project.panel.erases[1].clone(),
        fields: fields.to_vec(),
    };
    [
        scheme(&[field(9.0, 3.0, 96)]),
        scheme(&[field(9.0, 3.0, 70), field(5.5, 2.25, 32)]),
    ]
}

/// As a search has it: both ends of a band, the factor rounded either way; the first two rows and the last.
fn scope<'a>(project: &Project, response: &'a Response) -> Scope<'a> {
    let corner = |(temperature_c, stretch)| Climate {
        temperature_c,
        stretch,
    };
    let rows = project.panel.rows;
    Scope {
        response,
        panel_rows: rows,
        settle_ms: project.panel.drivers.field_settle_ms,
        climates: [(18.0, 1.085), (18.0, 1.095), (25.0, 0.915), (25.0, 0.925)]
            .map(corner)
            .to_vec(),
        rows: vec![0, 1, rows - 1],
    }
}

#[divan::bench(args = [1, 2])]
fn all_ticks_and_corners(bencher: Bencher, fields: usize) {
    let (project, response) = (project(), response(RUNG, CLASSES));
    let (schemes, scope) = (schemes(&project), scope(&project, &response));
    bencher.bench(|| Reach::new(&scope, &schemes[fields - 1]));
}

#[divan::bench]
fn widest_ladder_of_32(bencher: Bencher) {
    let (project, response) = (project(), response(RUNG, CLASSES));
    let reach = Reach::new(&scope(&project, &response), &schemes(&project)[1]);
    let spots: Spots = spots_of(|a| response.curve.lstar(a), &reach).thinned(0.04);
    let demand = Demand {
        levels: 32,
        tolerance_steps: 0.25,
    };
    let bounds = Span {
        low: 1.0,
        high: 80.0,
    };
    let fineness = Fineness {
        coarse_lstar: 1.0,
        fine_lstar: 0.02,
    };
    bencher.bench(|| {
        widest(32, bounds, fineness, |step| {
            spots.darkest_targets(demand, step)
        })
    });
}

/// Three rows a patch and five classes, as the fit has it.
#[divan::bench]
fn one_page(bencher: Bencher) {
    let (project, response) = (project(), response(RUNG, CLASSES));
    let page = &project.measured.chart.pages[0];
    let plan = PagePlan::new(page, project.panel.rows, 3);
    let settle_ms = project.panel.drivers.field_settle_ms;
    bencher.bench(|| plan.lstar(&response, page, settle_ms));
}

#[divan::bench]
fn one_vector_of_residuals(bencher: Bencher) {
    let project = project();
    let list = parameters(RUNG, &SCENE);
    let moved: Vec<f64> = list
        .iter()
        .zip(PLANTED)
        .map(|(p, v)| p.scale.inward(v))
        .collect();
    let grain = Grain {
        rows: 3,
        classes: 5,
    };
    let problem = ReadingProblem::new(&project, RUNG, list, grain);
    bencher.bench(|| problem.residuals(&moved).expect("residuals"));
}

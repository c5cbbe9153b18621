//! The fit of the shipped project's readings: every rung, strays, cross-validation.

use divan::Bencher;
use greyloom::project::Project;
use greyloom::response::fit::fit;
use std::path::Path;

fn main() {
    divan::main();
}

#[divan::bench(sample_count = 2, sample_size = 1)]
fn shipped_project(bencher: Bencher) {
    let dir = Path::new(env!("CARGO_MANIFEST_DIR")).join("calibration/harbour-tile");
    let project = Project::read(&dir).expect("the shipped project");
    bencher.bench(|| fit(&project, &|_| ()).expect("a fit"));
}

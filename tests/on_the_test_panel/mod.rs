//! The small project's chart on the test panel that ships.

use crate::small_project::write_project;
use greyloom::project::{Chart, Panel, Project};
use greyloom::rehearsal::{Start, TestPanel};

pub fn small() -> (Panel, Chart) {
    let dir = tempfile::tempdir().unwrap();
    write_project(dir.path());
    let project = Project::read(dir.path()).unwrap();
    (project.panel, project.measured.chart)
}

pub fn shipped() -> TestPanel {
    TestPanel::shipped().unwrap()
}

pub fn shown(test_panel: &TestPanel, panel: &Panel, chart: &Chart, start: Start) -> Vec<Vec<f64>> {
    test_panel.lstar(panel, chart, start, &|_| ())
}

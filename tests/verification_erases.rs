//! Erases that a design may use: those after which the first row is driven like the others.

use greyloom::design::erases::{passed_over, usable};
use greyloom::project::{Panel, read_panel};
use std::path::Path;

fn panel() -> Panel {
    let file = Path::new(env!("CARGO_MANIFEST_DIR")).join("calibration/harbour-tile/panel.toml");
    read_panel(&file).expect("the shipped panel")
}

fn names(panel: &Panel) -> Vec<String> {
    usable(panel).into_iter().map(|e| e.name).collect()
}

#[test]
fn an_erase_that_ends_strongly_is_passed_over_where_another_ends_gently() {
    let panel = panel();
    assert_eq!(names(&panel), ["primed"]);
    let words = passed_over(&panel).expect("a note");
    assert!(words.contains("`plain`"), "{words}");
}

#[test]
fn all_are_usable_where_none_ends_gently() {
    let mut panel = panel();
    panel.erases.retain(|e| e.name == "plain");
    assert_eq!(names(&panel), ["plain"]);
    assert_eq!(passed_over(&panel), None);
}

#[test]
fn all_are_usable_where_the_instrument_sees_the_first_row_alone() {
    let mut panel = panel();
    panel.pixel_pitch_um = 1e3 * panel.instrument.aperture_mm;
    assert_eq!(names(&panel), ["plain", "primed"]);
    assert_eq!(passed_over(&panel), None);
}

//! Parts of a scheme that are given: how the command line refuses those that no panel has.

mod refusals;
mod small_project;

use refusals::assert_refused;
use small_project::write_project;
use std::path::Path;

fn fit(pins: &str) -> String {
    format!("fit pier --levels 4 --budget 12s --temperature 23 --out out {pins}")
}

fn in_a_project(check: impl Fn(&Path)) {
    let dir = tempfile::tempdir().unwrap();
    let pier = dir.path().join("pier");
    std::fs::create_dir(&pier).unwrap();
    write_project(&pier);
    check(dir.path());
}

#[test]
fn pins_that_no_panel_has_are_refused_with_what_it_has() {
    let wrong = [
        (
            "--pin field1.select_v=9.9",
            vec!["field1.select_v=9.9", "drivers.select_v", "nearest"],
        ),
        (
            "--pin field1.data_v=900",
            vec!["field1.data_v=900", "drivers.data_v"],
        ),
        (
            "--pin field1.select_v=strong",
            vec!["field1.select_v=strong", "a voltage from"],
        ),
        (
            "--pin field9.data_v=2",
            vec!["field9.data_v=2", "fields_max"],
        ),
        (
            "--pin field0.data_v=2",
            vec!["field0.data_v=2", "PART=VALUE"],
        ),
        ("--pin field1.speed=2", vec!["field1.speed=2", "select_v"]),
        (
            "--pin field1.tick_us=7",
            vec!["field1.tick_us=7", "drivers.tick_us"],
        ),
        (
            "--pin field1.slot_ticks=0",
            vec!["field1.slot_ticks=0", "slot_ticks_max"],
        ),
        (
            "--pin field1.guard_ticks=1000",
            vec!["guard_ticks=1000", "guard_ticks_max"],
        ),
        (
            "--pin field1.mirrored=perhaps",
            vec!["mirrored=perhaps", "true or false"],
        ),
        ("--pin erase=none", vec!["erase=none", "an erase of"]),
        ("--pin fields=17", vec!["fields=17", "fields_max"]),
        ("--pin fields", vec!["PART=VALUE"]),
        (
            "--pin fields=1,field2.data_v=2",
            vec!["fields=1", "field2 is pinned too"],
        ),
        ("--pin fields=1 --pin fields=2", vec!["once, not twice"]),
    ];
    in_a_project(|dir| {
        for (pins, words) in &wrong {
            assert_refused(dir, &fit(pins), 2, words);
        }
        assert!(!dir.join("out").exists());
    });
}

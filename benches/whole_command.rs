//! `greyloom fit` on the shipped project, from the readings to the files.

use divan::Bencher;
use std::path::Path;
use std::process::Command;
use std::sync::Mutex;

fn main() {
    divan::main();
}

#[divan::bench(sample_count = 1, sample_size = 1)]
fn fit_32_levels_in_12_s(bencher: Bencher) {
    let _ = whole(bencher, &[]);
}

/// Also holds the quick run to 97 % of what climbing alone finds in a whole one, 43.17 L*.
#[divan::bench(sample_count = 3, sample_size = 1)]
fn fit_32_levels_in_12_s_quickly(bencher: Bencher) {
    const WHOLE_LSTAR: f64 = 43.17;
    let told = whole(bencher, &["--quick", "--json"]);
    let told: serde_json::Value = serde_json::from_slice(&told).expect("JSON");
    let span = told["design"]["bands"][0]["span_lstar"].as_f64();
    let span = span.expect("a span");
    println!("quick: {span:.2} L*, whole: {WHOLE_LSTAR} L*");
    assert!(span >= 0.97 * WHOLE_LSTAR, "{span} L*");
}

#[divan::bench(sample_count = 1, sample_size = 1)]
fn fit_32_levels_in_12_s_at_23_c(bencher: Bencher) {
    let _ = whole(bencher, &["--temperature", "23"]);
}

/// What the last run told.
fn whole(bencher: Bencher, more: &[&str]) -> Vec<u8> {
    let project = Path::new(env!("CARGO_MANIFEST_DIR")).join("calibration/harbour-tile");
    let dir = tempfile::tempdir().expect("a folder");
    let told = Mutex::new(Vec::new());
    bencher.bench(|| {
        let output = Command::new(env!("CARGO_BIN_EXE_greyloom"))
            .arg("fit")
            .arg(&project)
            .args(["--levels", "32", "--budget", "12s", "--out"])
            .arg(dir.path().join("out"))
            .args(more)
            .output()
            .expect("the program");
        assert!(output.status.success(), "{output:?}");
        *told.lock().expect("one run at a time") = output.stdout;
    });
    told.into_inner().expect("one run at a time")
}

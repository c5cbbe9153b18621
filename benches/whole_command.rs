//! `greyloom fit` on the shipped project, from the readings to the files.

use divan::Bencher;
use std::path::Path;
use std::process::Command;

fn main() {
    divan::main();
}

#[divan::bench(sample_count = 1, sample_size = 1)]
fn fit_32_levels_in_12_s(bencher: Bencher) {
    whole(bencher, &[]);
}

#[divan::bench(sample_count = 1, sample_size = 1)]
fn fit_32_levels_in_12_s_at_23_c(bencher: Bencher) {
    whole(bencher, &["--temperature", "23"]);
}

fn whole(bencher: Bencher, more: &[&str]) {
    let project = Path::new(env!("CARGO_MANIFEST_DIR")).join("calibration/harbour-tile");
    let dir = tempfile::tempdir().expect("a folder");
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
    });
}

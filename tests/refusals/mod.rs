//! The program as a person runs it, and how it refuses.

use std::path::Path;
use std::process::{Command, Output};

pub fn run(dir: &Path, line: &str) -> Output {
    Command::new(assert_cmd::cargo::cargo_bin!("greyloom"))
        .current_dir(dir)
        .args(line.split_whitespace())
        .output()
        .unwrap()
}

/// Refused with this code and all the words; nothing on stdout, no panic.
pub fn assert_refused(dir: &Path, line: &str, exit: i32, words: &[&str]) {
    let output = run(dir, line);
    let said = String::from_utf8(output.stderr).unwrap();
    assert_eq!(output.status.code(), Some(exit), "{line}\n{said}");
    for word in words {
        assert!(said.contains(word), "{line}: no {word:?} in\n{said}");
    }
    assert!(
        output.stdout.is_empty() && !said.contains("panicked"),
        "{line}\n{said}"
    );
}

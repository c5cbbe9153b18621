//! How a slip in one file of the small project is told.

use crate::small_project::{FILES, write_project};
use greyloom::Error;
use greyloom::error::InputError;
use greyloom::project::Project;
use std::fs;

/// Reads the small project with one file replaced.
pub fn read_with(file: &str, bytes: &[u8]) -> Result<Project, Error> {
    let dir = tempfile::tempdir().unwrap();
    write_project(dir.path());
    fs::write(dir.path().join(file), bytes).unwrap();
    // The folder differs from read to read and is not what is compared.
    Project::read(dir.path()).map(|p| Project {
        folder: Default::default(),
        ..p
    })
}

/// A file of the small project with one passage changed.
pub fn edited(file: &str, from: &str, to: &str) -> String {
    let text = FILES.iter().find(|(name, _)| *name == file).unwrap().1;
    assert!(text.contains(from), "{file} holds no {from:?}");
    text.replacen(from, to, 1)
}

pub fn wrong_places(result: Result<Project, Error>, case: &str) -> Vec<InputError> {
    match result {
        Err(Error::Inputs(places)) => places,
        Err(other) => panic!("{case}: {other}"),
        Ok(_) => panic!("{case}: accepted"),
    }
}

pub fn assert_place(file: &str, bytes: &[u8], line: usize, field: &str, value: &str, word: &str) {
    let case = format!("{file} line {line} {field} {value:?}");
    let result = read_with(file, bytes);
    assert_eq!(
        result.as_ref().err().map(Error::exit_code),
        Some(3),
        "{case}"
    );
    let places = wrong_places(result, &case);
    let found = &places[0];
    let listed = places
        .iter()
        .map(ToString::to_string)
        .collect::<Vec<_>>()
        .join("\n");
    assert_eq!(found.file.file_name().unwrap(), file, "{case}\n{listed}");
    assert_eq!(found.line, Some(line), "{case}\n{listed}");
    assert_eq!(
        found.field.as_deref().unwrap_or(""),
        field,
        "{case}\n{listed}"
    );
    assert_eq!(
        found.value.as_deref().unwrap_or(""),
        value,
        "{case}\n{listed}"
    );
    assert!(
        found.expected.contains(word),
        "{case}: no {word:?} in\n{listed}"
    );
    assert_eq!(places.len(), 1, "{case}: one slip, one message\n{listed}");
}

//! One input file as text, and the wrong places found in it.

use super::limits::NAME_LENGTH;
use crate::error::{Error, InputError, Result};
use std::cell::{Cell, RefCell};
use std::fs::File;
use std::io::Read;
use std::ops::Range;
use std::path::{Path, PathBuf};

/// Wrong places listed for one file; the rest is counted.
pub(super) const LISTED_MAX: usize = 20;
/// Characters shown of a wrong value.
const SHOWN_MAX: usize = 60;

/// The text of one input file, UTF-8 without byte order mark.
pub(crate) struct InputFile {
    path: PathBuf,
    pub text: String,
    /// Byte at which each line begins.
    line_starts: Vec<usize>,
    wrong: RefCell<Vec<InputError>>,
    unlisted: Cell<usize>,
}

impl InputFile {
    /// Reads a file; `what` completes "cannot …" when it can't be read. Errs where it isn't text, is empty or too large.
    pub fn read(path: &Path, what: &'static str, bytes_max: u64) -> Result<Self> {
        let file = File::open(path).map_err(|e| Error::file(path, what, e))?;
        let mut bytes = Vec::new();
        file.take(bytes_max + 1)
            .read_to_end(&mut bytes)
            .map_err(|e| Error::file(path, what, e))?;
        if bytes.len() as u64 > bytes_max {
            return Err(whole_file(
                path,
                None,
                format!("a file of at most {} MiB", bytes_max >> 20),
            ));
        }
        let text = text_of(path, bytes)?;
        if text.trim().is_empty() {
            return Err(whole_file(
                path,
                Some(1),
                "some content, found an empty file".to_owned(),
            ));
        }
        Ok(InputFile::of_text(path, text))
    }

    /// A text as if it stood in a file at `path`.
    pub fn of_text(path: &Path, text: String) -> Self {
        InputFile {
            path: path.to_owned(),
            line_starts: line_starts(&text),
            text,
            wrong: RefCell::default(),
            unlisted: Cell::default(),
        }
    }

    /// Line, counted from 1, in which a byte of the text stands.
    pub fn line_at(&self, byte: usize) -> usize {
        self.line_starts.partition_point(|&start| start <= byte)
    }

    /// The text of a span, empty where there is none.
    pub fn span(&self, span: Range<usize>) -> &str {
        self.text.get(span).unwrap_or("")
    }

    /// Notes a wrong place and goes on.
    pub fn wrong(
        &self,
        line: usize,
        field: &str,
        value: Option<&str>,
        expected: impl Into<String>,
    ) {
        let mut list = self.wrong.borrow_mut();
        if list.len() == LISTED_MAX {
            self.unlisted.set(self.unlisted.get() + 1);
            return;
        }
        list.push(InputError {
            file: self.path.clone(),
            line: Some(line),
            field: (!field.is_empty()).then(|| shown(field)),
            value: value.map(shown),
            expected: expected.into(),
        });
    }

    pub fn all_right(&self) -> bool {
        self.wrong.borrow().is_empty()
    }

    /// A name as it may stand in tables, plots and source code; notes the place where it is none.
    pub fn name(&self, line: usize, field: &str, text: &str) -> Option<String> {
        let right = NAME_LENGTH.contains(text.chars().count())
            && text.chars().all(may_name)
            && text.trim() == text;
        if !right {
            let (min, max) = (NAME_LENGTH.min, NAME_LENGTH.max);
            let expected = format!(
                "a name of {min} to {max} letters, digits, inner spaces or - _ . : / + ( )"
            );
            self.wrong(line, field, Some(text), expected);
        }
        right.then(|| text.to_owned())
    }

    /// The value, or all the wrong places noted on the way to it.
    pub fn finish<T>(self, value: Option<T>) -> Result<T> {
        let mut wrong = self.wrong.into_inner();
        if wrong.is_empty() {
            return value.ok_or_else(|| whole_file(&self.path, None, "a complete file".to_owned()));
        }
        if self.unlisted.get() > 0 {
            wrong.push(InputError {
                file: self.path,
                line: None,
                field: None,
                value: None,
                expected: format!(
                    "these {} places to be right, and {} more",
                    wrong.len(),
                    self.unlisted.get()
                ),
            });
        }
        Err(Error::Inputs(wrong))
    }
}

fn whole_file(file: &Path, line: Option<usize>, expected: String) -> Error {
    Error::Inputs(vec![InputError {
        file: file.to_owned(),
        line,
        field: None,
        value: None,
        expected,
    }])
}

fn text_of(path: &Path, bytes: Vec<u8>) -> Result<String> {
    let mut text = String::from_utf8(bytes).map_err(|e| {
        let at = e.utf8_error().valid_up_to();
        let byte = e.as_bytes().get(at).copied().unwrap_or_default();
        let before = e
            .as_bytes()
            .iter()
            .take(at)
            .filter(|&&b| b == b'\n')
            .count();
        Error::Inputs(vec![InputError {
            file: path.to_owned(),
            line: Some(before + 1),
            field: None,
            value: Some(format!("byte 0x{byte:02X}")),
            expected: "text in UTF-8: save the file as plain text".to_owned(),
        }])
    })?;
    if text.starts_with('\u{feff}') {
        text.drain(..'\u{feff}'.len_utf8());
    }
    Ok(text)
}

/// Lines end with LF, CR LF or a lone CR.
fn line_starts(text: &str) -> Vec<usize> {
    let bytes = text.as_bytes();
    let ends =
        |&(i, &b): &(usize, &u8)| b == b'\n' || (b == b'\r' && bytes.get(i + 1) != Some(&b'\n'));
    std::iter::once(0)
        .chain(bytes.iter().enumerate().filter(ends).map(|(i, _)| i + 1))
        .collect()
}

fn may_name(c: char) -> bool {
    c.is_alphanumeric() || " -_.:/+()".contains(c)
}

/// A wrong value as a message can carry it: short, on one line.
fn shown(value: &str) -> String {
    let mut text: String = value.chars().take(SHOWN_MAX).flat_map(one_line).collect();
    if value.chars().nth(SHOWN_MAX).is_some() {
        text.push('…');
    }
    text
}

fn one_line(c: char) -> Vec<char> {
    if c.is_control() {
        c.escape_default().collect()
    } else {
        vec![c]
    }
}

//! Reading `waveforms.json` with every check, and writing it.

use super::check::{self, Fault};
use super::layout::lay_out;
use super::locate::{self, Span};
use super::set::{FORMAT, VERSION, Waveforms};
use crate::error::{Error, InputError, Result};
use serde_json::Value;
use serde_json::error::Category;
use std::path::Path;

/// Errors named in one go; more would only hide the first.
const ERRORS_MAX: usize = 20;

/// Characters of a wrong value that an error repeats.
const VALUE_CHARS_MAX: usize = 40;

impl Waveforms {
    /// Reads a set of waveforms and checks all of it.
    ///
    /// # Errors
    /// [`Error::File`] when the file can't be read, else as [`Waveforms::parse`].
    pub fn read(path: &Path) -> Result<Waveforms> {
        let bytes = std::fs::read(path).map_err(|e| Error::file(path, "read", e))?;
        Waveforms::parse(path, &bytes)
    }

    /// A set from the bytes of its file; `path` is only named in errors.
    ///
    /// # Errors
    /// [`Error::Input`] or [`Error::Inputs`] with line and dotted field (`bands[1].ticks[3][0]`)
    /// when it is not JSON, not this format and version, has missing, unknown or ill-typed keys, or
    /// holds values that can't be: see the fields of [`Waveforms`].
    pub fn parse(path: &Path, bytes: &[u8]) -> Result<Waveforms> {
        let text = std::str::from_utf8(bytes).map_err(|e| not_text(path, bytes, e))?;
        let source = Source { path, text };
        let value: Value = serde_json::from_str(text).map_err(|e| source.syntax(&e))?;
        source.format_and_version(&value)?;
        let set: Waveforms = serde_json::from_str(text).map_err(|e| source.shape(&e))?;
        source.report(check::faults(&set))?;
        Ok(set)
    }

    /// The set as text of `waveforms.json`: numbers rounded as in [`Waveforms::rounded`], one line a
    /// level and array, newline at the end. The same set gives the same bytes.
    pub fn to_json(&self) -> String {
        // Every field is a number, a string or a list: serialising can't fail.
        let compact = serde_json::to_string(&self.rounded()).unwrap_or_default();
        lay_out(&compact)
    }
}

fn not_text(path: &Path, bytes: &[u8], e: std::str::Utf8Error) -> Error {
    let before = &bytes[..e.valid_up_to()];
    Error::Input(InputError {
        file: path.to_owned(),
        line: Some(1 + before.iter().filter(|b| **b == b'\n').count()),
        field: None,
        value: bytes
            .get(e.valid_up_to())
            .map(|b| format!("byte 0x{b:02X}")),
        expected: "UTF-8 text".into(),
    })
}

struct Source<'a> {
    path: &'a Path,
    text: &'a str,
}

impl Source<'_> {
    fn error(
        &self,
        line: usize,
        field: &str,
        value: Option<String>,
        expected: String,
    ) -> InputError {
        InputError {
            file: self.path.to_owned(),
            line: Some(line),
            field: (!field.is_empty()).then(|| field.to_owned()),
            value,
            expected,
        }
    }

    /// The text is not JSON.
    fn syntax(&self, e: &serde_json::Error) -> Error {
        if self.text.trim().is_empty() {
            let expected = format!("a JSON object of format `{FORMAT}`, not an empty file");
            return Error::Input(self.error(1, "", None, expected));
        }
        let (what, column) = (bare(e), e.column());
        let expected = format!("JSON, but at column {column}: {what}");
        Error::Input(self.error(e.line(), "", None, expected))
    }

    /// Asked first: a newer version may have keys that this program doesn't know.
    fn format_and_version(&self, value: &Value) -> Result<()> {
        let mut faults = Vec::new();
        let mut want = |key: &str, holds: bool, expected: String| {
            if !holds {
                let found = value.get(key).map_or("nothing".into(), Value::to_string);
                faults.push(Fault {
                    path: key.into(),
                    value: shortened(&found),
                    expected,
                });
            }
        };
        let format = value.get("format").and_then(Value::as_str);
        want("format", format == Some(FORMAT), format!("\"{FORMAT}\""));
        let version = value.get("version").and_then(Value::as_u64);
        let newer = version.is_some_and(|v| v > u64::from(VERSION));
        let advice = if newer {
            ": the file is newer, update the program"
        } else {
            ""
        };
        want(
            "version",
            version == Some(u64::from(VERSION)),
            format!("{VERSION}{advice}"),
        );
        self.report(faults)
    }

    /// JSON, but not the keys and types of a set.
    fn shape(&self, e: &serde_json::Error) -> Error {
        if e.classify() != Category::Data {
            return self.syntax(e);
        }
        let spans = locate::spans(self.text);
        let at = offset(self.text, e.line(), e.column());
        let inner = locate::innermost(&spans, at.saturating_sub(1));
        Error::Input(self.shape_at(&bare(e), e.line(), &spans, inner))
    }

    fn shape_at(&self, what: &str, line: usize, spans: &[Span], at: Option<&Span>) -> InputError {
        let path = at.map_or("", |s| s.path.as_str());
        let value = at.map(|s| shortened(&self.text[s.start..s.end]));
        let key = what.split('`').nth(1).unwrap_or_default();
        let expected = what.split_once(", expected ").map_or(what, |(_, e)| e);
        if what.starts_with("missing field") {
            let owner = self.owner(spans, at);
            let line = owner.map_or(line, |s| locate::line_of(self.text, s.start));
            let path = owner.map_or("", |s| s.path.as_str());
            self.error(
                line,
                &locate::join(path, key),
                None,
                "this key, which is missing".into(),
            )
        } else if what.starts_with("unknown field") {
            self.error(
                line,
                &locate::join(path, key),
                Some(key.into()),
                expected.replace('`', ""),
            )
        } else if what.starts_with("duplicate field") {
            self.error(
                line,
                &locate::join(path, key),
                None,
                "this key once, not twice".into(),
            )
        } else {
            self.error(line, path, value, in_words(expected))
        }
    }

    /// The object that ends where a key was missed: the value there or the one around it.
    fn owner<'a>(&self, spans: &'a [Span], at: Option<&'a Span>) -> Option<&'a Span> {
        let at = at?;
        let is_object = |s: &&Span| self.text[s.start..s.end].starts_with('{');
        let around = |s: &&Span| s.start <= at.start && at.end <= s.end;
        spans.iter().rev().filter(around).find(is_object)
    }

    /// Right shape, wrong values.
    fn report(&self, faults: Vec<Fault>) -> Result<()> {
        if faults.is_empty() {
            return Ok(());
        }
        let spans = locate::spans(self.text);
        let line = |path: &str| {
            locate::nearest(&spans, path).map_or(1, |s| locate::line_of(self.text, s.start))
        };
        let mut errors: Vec<InputError> = faults
            .into_iter()
            .take(ERRORS_MAX)
            .map(|f| self.error(line(&f.path), &f.path, Some(f.value), f.expected))
            .collect();
        Err(match errors.pop() {
            Some(only) if errors.is_empty() => Error::Input(only),
            last => Error::Inputs(errors.into_iter().chain(last).collect()),
        })
    }
}

/// The message without its " at line 3 column 5".
fn bare(e: &serde_json::Error) -> String {
    let whole = e.to_string();
    let end = whole.rfind(" at line ").unwrap_or(whole.len());
    whole[..end].to_owned()
}

/// Byte at which a line and column, both counted from 1, end.
fn offset(text: &str, line: usize, column: usize) -> usize {
    let start: usize = text
        .split_inclusive('\n')
        .take(line.saturating_sub(1))
        .map(str::len)
        .sum();
    start + column
}

/// The types of the language, as a person would say them.
fn in_words(expected: &str) -> String {
    match expected {
        "f64" => "a number".into(),
        "u32" => format!("a whole number from 0 to {}", u32::MAX),
        "usize" => "a whole number, 0 or more".into(),
        "a boolean" => "true or false".into(),
        "a sequence" => "a list".into(),
        other if other.starts_with("struct ") => "an object".into(),
        other => other.to_owned(),
    }
}

fn shortened(value: &str) -> String {
    let line = value.split_whitespace().collect::<Vec<_>>().join(" ");
    if line.chars().count() <= VALUE_CHARS_MAX {
        return line;
    }
    line.chars().take(VALUE_CHARS_MAX).chain(['…']).collect()
}

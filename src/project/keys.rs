//! The keys of a TOML file, each with the line where it stands.

use super::input_file::{InputFile, LISTED_MAX};
use super::limits::{Bounds, Count};
use toml::Spanned;
use toml::de::{DeTable, DeValue};

/// One table of a TOML file. A key that is missing or wrong is noted in the file and read as `None`; keys that nobody
/// asked for are noted by [`Keys::done`].
pub(crate) struct Keys<'a> {
    file: &'a InputFile,
    table: &'a DeTable<'a>,
    /// Dotted path of the table, with a dot at its end unless empty.
    path: String,
    /// Where the table begins.
    line: usize,
    asked: Vec<&'static str>,
}

/// A value, the dotted key where it stands, and its line.
struct Found<'a> {
    value: &'a DeValue<'a>,
    text: &'a str,
    key: String,
    line: usize,
}

/// Parses the text of a file, which notes every place where it isn't TOML.
pub(crate) fn parse(file: &InputFile) -> Option<DeTable<'_>> {
    let (table, errors) = DeTable::parse_recoverable(&file.text);
    for (i, e) in errors.iter().enumerate() {
        let span = e.span().unwrap_or(0..0);
        let line = file.line_at(span.start);
        // Looking for it takes a pass over the file, so only where it will be shown.
        let key = if i < LISTED_MAX {
            key_near(file, line)
        } else {
            String::new()
        };
        let value = Some(file.span(span)).filter(|v| !v.trim().is_empty());
        file.wrong(line, &key, value, format!("valid TOML ({})", e.message()));
    }
    errors.is_empty().then(|| table.into_inner())
}

/// The dotted key that a line seems to set: the table's header above it and what stands before the `=`.
fn key_near(file: &InputFile, line: usize) -> String {
    let lines: Vec<&str> = file.text.lines().take(line).collect();
    let header = lines
        .iter()
        .rev()
        .find(|l| l.trim_start().starts_with('['))
        .map(|l| l.trim());
    let key = lines
        .last()
        .and_then(|l| l.split_once('='))
        .map(|(key, _)| key.trim());
    let header = header.map(|h| h.trim_matches(['[', ']']));
    [header, key]
        .into_iter()
        .flatten()
        .collect::<Vec<_>>()
        .join(".")
}

impl<'a> Keys<'a> {
    pub fn root(file: &'a InputFile, table: &'a DeTable<'a>) -> Self {
        Keys {
            file,
            table,
            path: String::new(),
            line: 1,
            asked: Vec::new(),
        }
    }

    /// Line of a key, or that of the table where the key is absent.
    pub fn line_of(&self, key: &str) -> usize {
        self.table
            .get(key)
            .map_or(self.line, |v| self.file.line_at(v.span().start))
    }

    /// Notes what is wrong with a key.
    pub fn wrong(&self, key: &str, expected: impl Into<String>) {
        let value = self.table.get(key).map(|v| self.file.span(v.span()));
        self.file.wrong(
            self.line_of(key),
            &format!("{}{key}", self.path),
            value,
            expected,
        );
    }

    pub fn number(&mut self, key: &'static str, bounds: Bounds) -> Option<f64> {
        let found = self.required(key, &bounds.to_string())?;
        let number = number_of(found.value).filter(|&v| bounds.contains(v));
        self.or_wrong(number, &found, bounds.to_string())
    }

    pub fn optional_number(&mut self, key: &'static str, bounds: Bounds) -> Option<f64> {
        self.has(key).then(|| self.number(key, bounds)).flatten()
    }

    pub fn count(&mut self, key: &'static str, count: Count) -> Option<u32> {
        let found = self.required(key, &count.to_string())?;
        self.or_wrong(count_of(found.value, count), &found, count.to_string())
    }

    /// A list of `length` whole numbers.
    pub fn counts(&mut self, key: &'static str, count: Count, length: Count) -> Option<Vec<u32>> {
        let items = self.list(key, length)?;
        let read =
            |item: &Found| self.or_wrong(count_of(item.value, count), item, count.to_string());
        let counts: Vec<Option<u32>> = items.iter().map(read).collect();
        counts.into_iter().collect()
    }

    pub fn name(&mut self, key: &'static str) -> Option<String> {
        let text = self.text(key, "a name in quotes")?;
        self.file
            .name(self.line_of(key), &format!("{}{key}", self.path), text)
    }

    pub fn text(&mut self, key: &'static str, expected: &str) -> Option<&'a str> {
        let found = self.required(key, expected)?;
        match found.value {
            DeValue::String(text) => Some(text.as_ref()),
            _ => self.or_wrong(None, &found, expected.to_owned()),
        }
    }

    /// The whole number of a key, or what stands for it where the key is absent.
    pub fn count_or(&mut self, key: &'static str, count: Count, absent: u32) -> Option<u32> {
        if self.has(key) {
            self.count(key, count)
        } else {
            Some(absent)
        }
    }

    /// The number of a key, or what stands for it where the key is absent.
    pub fn number_or(&mut self, key: &'static str, bounds: Bounds, absent: f64) -> Option<f64> {
        if self.has(key) {
            self.number(key, bounds)
        } else {
            Some(absent)
        }
    }

    /// True or false; `absent` where the key is.
    pub fn truth_or(&mut self, key: &'static str, absent: bool) -> Option<bool> {
        if !self.has(key) {
            return Some(absent);
        }
        let found = self.required(key, "true or false")?;
        match found.value {
            DeValue::Boolean(truth) => Some(*truth),
            _ => self.or_wrong(None, &found, "true or false".to_owned()),
        }
    }

    pub fn table(&mut self, key: &'static str) -> Option<Keys<'a>> {
        let found = self.required(key, "a table of keys")?;
        self.as_table(found)
    }

    pub fn optional_table(&mut self, key: &'static str) -> Option<Keys<'a>> {
        self.has(key).then(|| self.table(key)).flatten()
    }

    /// A list of `length` tables.
    pub fn tables(&mut self, key: &'static str, length: Count) -> Option<Vec<Keys<'a>>> {
        let tables: Vec<_> = self
            .list(key, length)?
            .into_iter()
            .map(|item| self.as_table(item))
            .collect();
        tables.into_iter().collect()
    }

    /// Notes every key that nobody asked for.
    pub fn done(self) {
        for (key, _) in self
            .table
            .iter()
            .filter(|(key, _)| !self.asked.contains(&key.get_ref().as_ref()))
        {
            let line = self.file.line_at(key.span().start);
            let expected = format!("only the keys {}", self.asked.join(", "));
            self.file.wrong(
                line,
                &format!("{}{}", self.path, key.get_ref()),
                Some(key.get_ref()),
                expected,
            );
        }
    }

    pub fn has(&mut self, key: &'static str) -> bool {
        self.ask(key);
        self.table.contains_key(key)
    }

    fn ask(&mut self, key: &'static str) {
        if !self.asked.contains(&key) {
            self.asked.push(key);
        }
    }

    fn required(&mut self, key: &'static str, expected: &str) -> Option<Found<'a>> {
        self.ask(key);
        let Some(value) = self.table.get(key) else {
            self.file.wrong(
                self.line,
                &format!("{}{key}", self.path),
                None,
                format!("this key with {expected}"),
            );
            return None;
        };
        Some(self.found(value, format!("{}{key}", self.path)))
    }

    fn found(&self, value: &'a Spanned<DeValue<'a>>, key: String) -> Found<'a> {
        let span = value.span();
        let line = self.file.line_at(span.start);
        Found {
            value: value.get_ref(),
            text: self.file.span(span),
            key,
            line,
        }
    }

    fn list(&mut self, key: &'static str, length: Count) -> Option<Vec<Found<'a>>> {
        let expected = format!("a list with {} to {} entries", length.min, length.max);
        let found = self.required(key, &expected)?;
        match found.value {
            DeValue::Array(items) if length.contains(items.len()) => {
                let numbered = items.iter().enumerate();
                Some(
                    numbered
                        .map(|(i, item)| self.found(item, format!("{}[{}]", found.key, i + 1)))
                        .collect(),
                )
            }
            _ => self.or_wrong(None, &found, expected),
        }
    }

    fn as_table(&self, found: Found<'a>) -> Option<Keys<'a>> {
        match found.value {
            DeValue::Table(table) => Some(Keys {
                file: self.file,
                table,
                path: format!("{}.", found.key),
                line: found.line,
                asked: Vec::new(),
            }),
            _ => self.or_wrong(None, &found, "a table of keys".to_owned()),
        }
    }

    fn or_wrong<T>(&self, value: Option<T>, found: &Found, expected: String) -> Option<T> {
        if value.is_none() {
            self.file
                .wrong(found.line, &found.key, Some(found.text), expected);
        }
        value
    }
}

fn number_of(value: &DeValue) -> Option<f64> {
    match value {
        DeValue::Float(number) => number.as_str().parse().ok(),
        DeValue::Integer(number) => i64::from_str_radix(number.as_str(), number.radix())
            .ok()
            .map(|v| v as f64),
        _ => None,
    }
}

fn count_of(value: &DeValue, count: Count) -> Option<u32> {
    match value {
        DeValue::Integer(number) => u32::from_str_radix(number.as_str(), number.radix())
            .ok()
            .filter(|&v| count.contains(v as usize)),
        _ => None,
    }
}

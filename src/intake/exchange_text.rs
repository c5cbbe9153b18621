//! The ASCII form of ISO 28178: keywords with values, a list of fields, and sets of data.
//!
//! Source: ISO 28178:2009 and its forerunner ANSI CGATS.17 (from memory): the first line names the format; `#` begins a
//! comment; strings stand in double quotes, doubled inside; NUMBER_OF_FIELDS, BEGIN_DATA_FORMAT … END_DATA_FORMAT,
//! NUMBER_OF_SETS, BEGIN_DATA … END_DATA.

use super::spectra_file::{REFERENCE, Raw, Rows, Scale};
use crate::project::Chart;
use crate::project::input_file::InputFile;

const FORMATS: [&str; 3] = ["ISO28178", "ISO 28178", "CGATS.17"];
/// What comes before the wavelength in a spectral field's name; the last two also say how reflectance is written.
const SPECTRAL: [(&str, Option<Scale>); 5] = [
    ("SPECTRAL_NM", None),
    ("SPECTRAL_DEC", Some(Scale::Factor)),
    ("SPECTRAL_PCT", Some(Scale::Percent)),
    ("SPECTRAL", None),
    ("NM", None),
];
const NAMES: [&str; 3] = ["SAMPLE_NAME", "SAMPLE_ID", "SAMPLE_LOC"];

/// Whether a text begins as an exchange file does.
pub(super) fn is_exchange(text: &str) -> bool {
    let first = text
        .lines()
        .map(str::trim)
        .find(|l| !l.is_empty() && !l.starts_with('#'));
    first.is_some_and(|l| FORMATS.iter().any(|f| l.starts_with(f)))
}

/// A line's words, and the line, from 1.
type Words = (usize, Vec<String>);

/// The fields and the sets of a file.
pub(super) struct Exchange {
    fields: Vec<String>,
    fields_line: usize,
    sets: Vec<Words>,
}

impl Exchange {
    /// Notes every place that isn't by the grammar.
    pub fn read(file: &InputFile) -> Option<Self> {
        let lines = words(file)?;
        let mut lines = lines.iter().skip(1);
        let (mut fields, mut sets) = (Vec::new(), Vec::new());
        let (mut counted_fields, mut counted_sets) = (None, None);
        let mut fields_line = 0;
        while let Some((line, words)) = lines.next() {
            match words.first().map(String::as_str) {
                Some("NUMBER_OF_FIELDS") => counted_fields = count(file, *line, words),
                Some("NUMBER_OF_SETS") => counted_sets = count(file, *line, words),
                Some("BEGIN_DATA_FORMAT") => {
                    fields_line = *line;
                    let inside = until(file, &mut lines, *line, "END_DATA_FORMAT")?;
                    fields = inside.into_iter().flat_map(|(_, words)| words).collect();
                }
                Some("BEGIN_DATA") => {
                    sets = until(file, &mut lines, *line, "END_DATA")?;
                }
                _ => {}
            }
        }
        let found = Exchange {
            fields,
            fields_line: fields_line.max(1),
            sets,
        };
        found.check(file, counted_fields, counted_sets);
        file.all_right().then_some(found)
    }

    fn check(
        &self,
        file: &InputFile,
        counted_fields: Option<(usize, usize)>,
        counted_sets: Option<(usize, usize)>,
    ) {
        let n = self.fields.len();
        if n == 0 {
            file.wrong(
                1,
                "BEGIN_DATA_FORMAT",
                None,
                "a list of fields up to END_DATA_FORMAT",
            );
            return;
        }
        if self.sets.is_empty() {
            file.wrong(1, "BEGIN_DATA", None, "sets of data up to END_DATA");
        }
        let differs = |field: &str, counted: Option<(usize, usize)>, found: usize| {
            if let Some((line, said)) = counted.filter(|(_, said)| *said != found) {
                let expected = format!("{found}, as many as there are");
                file.wrong(line, field, Some(&said.to_string()), expected);
            }
        };
        differs("NUMBER_OF_FIELDS", counted_fields, n);
        differs("NUMBER_OF_SETS", counted_sets, self.sets.len());
        for (line, words) in self.sets.iter().filter(|(_, w)| w.len() != n) {
            let found = format!("{} values", words.len());
            file.wrong(
                *line,
                "",
                Some(&found),
                format!("{n} values, one for each field, on one line"),
            );
        }
    }

    /// The sets as rows of spectra. A sample is told by the fields PAGE and PATCH, or by SAMPLE_NAME, SAMPLE_ID or SAMPLE_LOC as
    /// `page/patch`.
    pub fn rows(&self, file: &InputFile, chart: &Chart) -> Option<Rows> {
        let spectral: Vec<(usize, f64, Option<Scale>)> = (0..self.fields.len())
            .filter_map(|k| spectral(&self.fields[k]).map(|(nm, scale)| (k, nm, scale)))
            .collect();
        let stated = spectral.iter().find_map(|s| s.2);
        let at = |name: &str| self.fields.iter().position(|f| f == name);
        let pair = at("PAGE").zip(at("PATCH"));
        let named = NAMES.iter().find_map(|n| at(n));
        if pair.is_none() && named.is_none() {
            let expected = "fields PAGE and PATCH, or SAMPLE_NAME as page/patch";
            file.wrong(self.fields_line, "SAMPLE_NAME", None, expected);
            return None;
        }
        let mut rows = Vec::new();
        for (line, words) in &self.sets {
            let (page, patch) = match (pair, named) {
                (Some((page, patch)), _) => (words[page].clone(), words[patch].clone()),
                (None, Some(k)) => {
                    let Some(found) = sample(&words[k], chart) else {
                        let expected =
                            "a sample named page/patch, both of the chart, or reference/name";
                        file.wrong(*line, &self.fields[k], Some(&words[k]), expected);
                        continue;
                    };
                    found
                }
                (None, None) => continue,
            };
            rows.push(Raw {
                page,
                patch,
                line: *line,
                texts: spectral.iter().map(|s| words[s.0].clone()).collect(),
            });
        }
        Some(Rows {
            columns: spectral
                .iter()
                .map(|s| (self.fields[s.0].clone(), s.1))
                .collect(),
            header_line: self.fields_line,
            rows,
            stated,
        })
    }
}

/// A page and its patch from `page/patch`: names may hold slashes themselves.
fn sample(name: &str, chart: &Chart) -> Option<(String, String)> {
    let mut cuts = name
        .match_indices('/')
        .map(|(at, _)| (&name[..at], &name[at + 1..]));
    let known = |(page, patch): &(&str, &str)| {
        let own = |p: &&crate::project::Page| p.name == *page;
        *page == REFERENCE
            || chart
                .pages
                .iter()
                .find(own)
                .is_some_and(|p| p.patches.iter().any(|q| q.name == *patch))
    };
    cuts.find(known)
        .map(|(page, patch)| (page.to_owned(), patch.to_owned()))
}

fn spectral(field: &str) -> Option<(f64, Option<Scale>)> {
    SPECTRAL.iter().find_map(|(before, scale)| {
        let rest = field.strip_prefix(before)?.trim_start_matches('_');
        let rest = rest
            .strip_prefix("NM")
            .unwrap_or(rest)
            .trim_start_matches('_');
        let nm: f64 = rest.parse().ok()?;
        (200.0..=2500.0).contains(&nm).then_some((nm, *scale))
    })
}

/// The lines up to an end word. Notes where it is missing.
fn until<'a>(
    file: &InputFile,
    lines: &mut impl Iterator<Item = &'a Words>,
    begun: usize,
    end: &str,
) -> Option<Vec<Words>> {
    let mut inside = Vec::new();
    for (line, words) in lines {
        if words.first().is_some_and(|w| w == end) {
            return Some(inside);
        }
        inside.push((*line, words.clone()));
    }
    file.wrong(
        begun,
        end,
        None,
        format!("{end} after this line, found the end of the file"),
    );
    None
}

fn count(file: &InputFile, line: usize, words: &[String]) -> Option<(usize, usize)> {
    let number = words.get(1).and_then(|w| w.parse().ok());
    if number.is_none() {
        file.wrong(
            line,
            &words[0],
            words.get(1).map(String::as_str),
            "a whole number",
        );
    }
    number.map(|n| (line, n))
}

/// The words of each line that has any.
fn words(file: &InputFile) -> Option<Vec<Words>> {
    let mut lines = Vec::new();
    for (k, text) in file.text.lines().enumerate() {
        let Some(words) = split(text) else {
            file.wrong(k + 1, "", Some(text), "a closing quote on the same line");
            continue;
        };
        if !words.is_empty() {
            lines.push((k + 1, words));
        }
    }
    file.all_right().then_some(lines)
}

/// Words between blanks; in quotes blanks count and a doubled quote stands for one. `None` where a quote isn't closed.
fn split(text: &str) -> Option<Vec<String>> {
    let (mut words, mut word, mut open, mut quoted) = (Vec::new(), String::new(), false, false);
    let mut chars = text.chars().peekable();
    while let Some(c) = chars.next() {
        match c {
            '"' if open && chars.peek() == Some(&'"') => {
                chars.next();
                word.push('"');
            }
            '"' => {
                open = !open;
                quoted = true;
            }
            '#' if !open && word.is_empty() && !quoted => break,
            c if c.is_whitespace() && !open => {
                if !word.is_empty() || quoted {
                    words.push(std::mem::take(&mut word));
                    quoted = false;
                }
            }
            c => word.push(c),
        }
    }
    if !word.is_empty() || quoted {
        words.push(word);
    }
    (!open).then_some(words)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn words_follow_the_grammar() {
        let words = |text: &str| split(text).map(|w| w.join("|"));
        assert_eq!(words("A  \"b c\" 1.5 # rest"), Some("A|b c|1.5".into()));
        assert_eq!(words("\"say \"\"hi\"\"\" \"\""), Some("say \"hi\"|".into()));
        assert_eq!(words("\"open"), None);
        assert_eq!(words("# all"), Some(String::new()));
    }

    #[test]
    fn spectral_fields_carry_their_wavelength() {
        for (field, nm) in [
            ("SPECTRAL_NM380", 380.0),
            ("SPECTRAL_NM_380", 380.0),
            ("SPECTRAL_PCT_400", 400.0),
            ("SPECTRAL_DEC410", 410.0),
            ("NM_550", 550.0),
            ("SPECTRAL_730", 730.0),
        ] {
            assert_eq!(spectral(field).map(|s| s.0), Some(nm), "{field}");
        }
        for field in ["SAMPLE_ID", "LAB_L", "SPECTRAL_NM", "NM_5"] {
            assert_eq!(spectral(field), None, "{field}");
        }
    }
}

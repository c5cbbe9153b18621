//! Files of reflectance spectra: CSV with one column a wavelength, or ISO 28178 exchange text.

use super::exchange_text::{self, Exchange};
use crate::error::Result;
use crate::project::Chart;
use crate::project::input_file::InputFile;
use crate::project::limits::{Bounds, TABLE_BYTES_MAX, bounds};
use crate::project::table::{Row, Table};
use crate::tone::spectra::{NEEDED_NM, Spectrum, WIDEST_GAP_NM};
use csv::StringRecord;
use std::path::Path;

/// The page under which a reference that is read again and again is listed.
pub const REFERENCE: &str = "reference";
const WAVELENGTH_NM: Bounds = bounds(200.0, 2500.0, " nm");
/// Largest reflectance, as a factor.
const FACTOR_MAX: f64 = 1.2;
/// A spectrum that reaches above this is written in percent: nothing reflects so much, and no panel so little.
const PERCENT_ABOVE: f64 = 1.5;

/// How a file writes reflectance.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Scale {
    Factor,
    Percent,
}

/// What a spectrum was read on.
#[derive(Debug, Clone, PartialEq)]
pub enum Target {
    /// Indices into the chart's pages and the page's patches.
    Patch { page: usize, patch: usize },
    /// A reference outside the panel, by name.
    Reference(String),
}

/// One spectrum of a file.
#[derive(Debug, Clone, PartialEq)]
pub struct Measured {
    pub target: Target,
    pub spectrum: Spectrum,
    pub line: usize,
}

/// The spectra of a file, in its order.
#[derive(Debug, Clone, PartialEq)]
pub struct SpectraFile {
    pub spectra: Vec<Measured>,
    pub scale: Scale,
    /// Whether the file's own fields say so, or its values.
    pub scale_stated: bool,
    pub format: &'static str,
    pub first_nm: f64,
    pub last_nm: f64,
    pub count: usize,
}

/// A row before its scale is known.
pub(super) struct Raw {
    pub page: String,
    pub patch: String,
    pub line: usize,
    /// As written, in the order of the wavelengths.
    pub texts: Vec<String>,
}

/// Rows under the names of their columns.
pub(super) struct Rows {
    /// Name of each column, and its wavelength, nm.
    pub columns: Vec<(String, f64)>,
    pub header_line: usize,
    pub rows: Vec<Raw>,
    pub stated: Option<Scale>,
}

/// Reads the spectra of a file for the patches of a chart. Errs with every wrong place.
pub fn read_spectra(path: &Path, chart: &Chart) -> Result<SpectraFile> {
    let file = InputFile::read(
        path,
        "read the spectra (CSV with page, patch and one column a wavelength, or ISO 28178 text)",
        TABLE_BYTES_MAX,
    )?;
    let spectra = spectra(&file, chart);
    file.finish(spectra)
}

fn spectra(file: &InputFile, chart: &Chart) -> Option<SpectraFile> {
    let exchange = exchange_text::is_exchange(&file.text);
    let rows = if exchange {
        Exchange::read(file)?.rows(file, chart)?
    } else {
        csv_rows(file)?
    };
    check_wavelengths(file, &rows);
    let values = numbers(file, &rows);
    if !file.all_right() {
        return None;
    }
    let scale = scale(file, &rows, &values)?;
    let spectra = measured(file, chart, &rows, &values, scale);
    let nm = |k: usize| rows.columns.get(k).map_or(f64::NAN, |c| c.1);
    file.all_right().then(|| SpectraFile {
        spectra,
        scale,
        scale_stated: rows.stated.is_some(),
        format: if exchange { "ISO 28178 text" } else { "CSV" },
        first_nm: nm(0),
        last_nm: nm(rows.columns.len().saturating_sub(1)),
        count: rows.columns.len(),
    })
}

/// The wavelength of a column's name, `550`, `550nm`, `550 nm`.
fn wavelength(name: &str) -> Option<f64> {
    let digits = name.trim().trim_end_matches("nm").trim();
    let nm: f64 = digits.parse().ok()?;
    WAVELENGTH_NM.contains(nm).then_some(nm)
}

fn csv_rows(file: &InputFile) -> Option<Rows> {
    const NAMED: [&str; 3] = ["page", "patch", "repeat"];
    let mut header_line = 1;
    let table = Table::checked(file, |line, header: &StringRecord| {
        header_line = line;
        if header.len() == 1 && header.iter().any(|name| name.contains([';', '\t'])) {
            return file.wrong(line, "", header.get(0), "columns separated by commas");
        }
        for name in header.iter() {
            if !NAMED.contains(&name) && wavelength(name).is_none() {
                let expected = "page, patch, repeat (optional) or a wavelength in nm, such as 550";
                file.wrong(line, name, Some(name), expected);
            }
            if header.iter().filter(|n| *n == name).count() > 1 {
                file.wrong(line, name, Some(name), "each column once, found it doubled");
            }
        }
        for name in ["page", "patch"] {
            if !header.iter().any(|n| n == name) {
                file.wrong(
                    line,
                    name,
                    None,
                    "this column in the header, found it missing",
                );
            }
        }
    })?;
    let columns: Vec<(String, f64)> = table
        .header()
        .iter()
        .filter_map(|name| {
            Some((
                name.to_owned(),
                wavelength(name).filter(|_| !NAMED.contains(&name))?,
            ))
        })
        .collect();
    let raw = |row: Row| Raw {
        page: row.text("page").to_owned(),
        patch: row.text("patch").to_owned(),
        line: row.line,
        texts: columns
            .iter()
            .map(|(name, _)| row.text(name).to_owned())
            .collect(),
    };
    let rows = table.rows().map(raw).collect();
    Some(Rows {
        columns,
        header_line,
        rows,
        stated: None,
    })
}

fn check_wavelengths(file: &InputFile, rows: &Rows) {
    let wrong = |name: &str, value: String, expected: String| {
        file.wrong(rows.header_line, name, Some(&value), expected);
    };
    let (Some(first), Some(last)) = (rows.columns.first(), rows.columns.last()) else {
        return file.wrong(
            rows.header_line,
            "",
            None,
            "columns of wavelengths, at least from 400 to 700 nm, found none",
        );
    };
    if let Some(k) = (1..rows.columns.len()).find(|&k| rows.columns[k].1 <= rows.columns[k - 1].1) {
        let (name, nm) = &rows.columns[k];
        return wrong(
            name,
            format!("{nm} nm"),
            "wavelengths that rise from column to column".into(),
        );
    }
    let too_wide = |k: &usize| rows.columns[*k].1 - rows.columns[k - 1].1 > WIDEST_GAP_NM;
    if let Some(k) = (1..rows.columns.len()).find(too_wide) {
        let (name, nm) = &rows.columns[k];
        let before = rows.columns[k - 1].1;
        let expected = format!("wavelengths at most {WIDEST_GAP_NM} nm apart (ASTM E308)");
        return wrong(name, format!("{before} to {nm} nm"), expected);
    }
    if first.1 > NEEDED_NM.0 || last.1 < NEEDED_NM.1 {
        let name = if first.1 > NEEDED_NM.0 {
            &first.0
        } else {
            &last.0
        };
        let expected = format!(
            "wavelengths from {} to {} nm or further: what lies outside counts too little to miss, what lies inside doesn't",
            NEEDED_NM.0, NEEDED_NM.1
        );
        wrong(name, format!("{} to {} nm", first.1, last.1), expected);
    }
}

/// Every cell as a number, 0 or more.
fn numbers(file: &InputFile, rows: &Rows) -> Vec<Vec<f64>> {
    let row = |raw: &Raw| -> Vec<f64> {
        let cell = |(text, (name, _)): (&String, &(String, f64))| {
            let value: Option<f64> = text.parse().ok().filter(|v: &f64| v.is_finite());
            if value.is_none_or(|v| v < 0.0) {
                let expected = "a reflectance, 0 or more, as a factor or in percent";
                file.wrong(raw.line, name, Some(text), expected);
            }
            value.unwrap_or(0.0)
        };
        raw.texts.iter().zip(&rows.columns).map(cell).collect()
    };
    rows.rows.iter().map(row).collect()
}

/// Percent or factor, by what the file says or by its values; notes rows that don't agree.
fn scale(file: &InputFile, rows: &Rows, values: &[Vec<f64>]) -> Option<Scale> {
    let highest = |row: &Vec<f64>| row.iter().copied().fold(0.0, f64::max);
    let percent = values.iter().filter(|r| highest(r) > PERCENT_ABOVE).count();
    let scale = rows.stated.unwrap_or(if 2 * percent >= values.len() {
        Scale::Percent
    } else {
        Scale::Factor
    });
    let limit = match scale {
        Scale::Factor => FACTOR_MAX,
        Scale::Percent => 100.0 * FACTOR_MAX,
    };
    for (raw, row) in rows.rows.iter().zip(values) {
        let Some(k) = row.iter().position(|v| *v > limit) else {
            continue;
        };
        let expected = match scale {
            Scale::Factor if row[k] > PERCENT_ABOVE => {
                "a factor from 0 to 1.2 as in the other rows; this one looks like percent"
            }
            Scale::Factor => "a factor from 0 to 1.2 (fluorescence is not covered)",
            Scale::Percent => "a percentage from 0 to 120 (fluorescence is not covered)",
        };
        file.wrong(raw.line, &rows.columns[k].0, Some(&raw.texts[k]), expected);
    }
    file.all_right().then_some(scale)
}

fn measured(
    file: &InputFile,
    chart: &Chart,
    rows: &Rows,
    values: &[Vec<f64>],
    scale: Scale,
) -> Vec<Measured> {
    let unit = match scale {
        Scale::Factor => 1.0,
        Scale::Percent => 100.0,
    };
    let nm: Vec<f64> = rows.columns.iter().map(|c| c.1).collect();
    let one = |(raw, row): (&Raw, &Vec<f64>)| {
        let target = target(file, chart, raw)?;
        match Spectrum::new(nm.clone(), row.iter().map(|v| v / unit).collect()) {
            Ok(spectrum) => Some(Measured {
                target,
                spectrum,
                line: raw.line,
            }),
            Err(e) => {
                file.wrong(raw.line, "", None, format!("a spectrum, but: {e}"));
                None
            }
        }
    };
    rows.rows.iter().zip(values).filter_map(one).collect()
}

fn target(file: &InputFile, chart: &Chart, raw: &Raw) -> Option<Target> {
    let page = chart.pages.iter().position(|p| p.name == raw.page);
    let Some(page) = page else {
        if raw.page == REFERENCE {
            return Some(Target::Reference(raw.patch.clone()));
        }
        let expected =
            "a page of the chart, or `reference` for a tile that is read again and again";
        file.wrong(raw.line, "page", Some(&raw.page), expected);
        return None;
    };
    let patch = chart.pages[page]
        .patches
        .iter()
        .position(|p| p.name == raw.patch);
    if patch.is_none() {
        let expected = format!("a patch that page `{}` of the chart has", raw.page);
        file.wrong(raw.line, "patch", Some(&raw.patch), expected);
    }
    patch.map(|patch| Target::Patch { page, patch })
}

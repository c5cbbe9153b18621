//! `scans.csv`: what was read on the patches of a chart. One row for each reading.

use super::input_file::InputFile;
use super::lightness_column::{self, LightnessColumn};
use super::limits::{REFLECTANCE_U, REPEAT, TABLE_BYTES_MAX};
use super::table::{Row, Table};
use super::types::*;
use crate::error::Result;
use crate::tone::lightness::{lstar_slope, reflectance_from_lstar};
use std::collections::BTreeMap;
use std::path::Path;

/// Optional: the standard uncertainty of each reading's reflectance.
const U: &str = "reflectance_u";

/// Reads and checks the readings of a chart, in the order of the file.
pub fn read_scans(path: &Path, chart: &Chart) -> Result<Vec<Reading>> {
    let file = InputFile::read(
        path,
        "read the scans, which hold the readings of the chart",
        TABLE_BYTES_MAX,
    )?;
    let readings = readings(&file, &ChartIndex::new(chart));
    file.finish(readings)
}

/// Where each page and patch of a chart stands, by name.
struct ChartIndex<'a> {
    pages: BTreeMap<&'a str, (usize, BTreeMap<&'a str, usize>)>,
}

impl<'a> ChartIndex<'a> {
    fn new(chart: &'a Chart) -> Self {
        let patches = |page: &'a Page| {
            page.patches
                .iter()
                .enumerate()
                .map(|(i, p)| (p.name.as_str(), i))
                .collect()
        };
        let pages = chart
            .pages
            .iter()
            .enumerate()
            .map(|(i, p)| (p.name.as_str(), (i, patches(p))))
            .collect();
        ChartIndex { pages }
    }

    fn find(&self, row: &Row) -> Option<(usize, usize)> {
        let Some((page, patches)) = self.pages.get(row.text("page")) else {
            row.wrong("page", "a page of the chart");
            return None;
        };
        let Some(patch) = patches.get(row.text("patch")) else {
            row.wrong(
                "patch",
                format!("a patch that page `{}` of the chart has", row.text("page")),
            );
            return None;
        };
        Some((*page, *patch))
    }
}

fn readings(file: &InputFile, index: &ChartIndex) -> Option<Vec<Reading>> {
    let table = Table::read_with(
        file,
        &["page", "patch", "repeat"],
        &lightness_column::COLUMNS,
        &[U],
    )?;
    let lightness = LightnessColumn::of(&table);
    let mut lines = BTreeMap::new();
    let mut readings = Vec::new();
    for row in table.rows() {
        let place = index.find(&row);
        let repeat = row.count("repeat", REPEAT);
        let lstar = lightness.lstar(&row);
        let u_reflectance = match table.has(U) {
            true => row.number(U, REFLECTANCE_U).map(Some),
            false => Some(None),
        };
        let (Some((page, patch)), Some(repeat), Some(lstar), Some(u_reflectance)) =
            (place, repeat, lstar, u_reflectance)
        else {
            continue;
        };
        if let Some(earlier) = lines.insert((page, patch, repeat), row.line) {
            row.wrong(
                "repeat",
                format!("a repeat of its own: line {earlier} has the same page, patch and repeat"),
            );
        }
        readings.push(Reading {
            page,
            patch,
            repeat,
            lstar,
            u_lstar: u_reflectance.map(|u| u * lstar_slope(reflectance_from_lstar(lstar))),
            line: row.line,
        });
    }
    Some(readings)
}

/// Readings of a chart as their file, reflectance to 6 places: 0.001 L* at the darkest. Where every reading states its
/// uncertainty, that too.
pub fn scans_csv(chart: &Chart, readings: &[Reading]) -> String {
    let stated = !readings.is_empty() && readings.iter().all(|r| r.u_lstar.is_some());
    let line = |r: &Reading| {
        let page = &chart.pages[r.page];
        let reflectance = reflectance_from_lstar(r.lstar);
        let patch = &page.patches[r.patch].name;
        let u = r.u_lstar.filter(|_| stated).map_or(String::new(), |u| {
            let u = u / lstar_slope(reflectance);
            format!(",{:.6}", u.clamp(REFLECTANCE_U.min, REFLECTANCE_U.max))
        });
        format!("{},{patch},{},{reflectance:.6}{u}\n", page.name, r.repeat)
    };
    let lines: String = readings.iter().map(line).collect();
    let u = if stated { ",reflectance_u" } else { "" };
    format!("page,patch,repeat,reflectance{u}\n{lines}")
}

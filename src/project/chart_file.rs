//! `chart.csv`: which patches were driven on each page, and how. One row for each patch and field.

use super::input_file::InputFile;
use super::limits::*;
use super::page_draft::PageDraft;
use super::panel_file::BAND_ERASE;
use super::table::{Row, Table};
use super::types::*;
use crate::drive::Field;
use crate::error::Result;
use crate::waveforms::Waveforms;
use std::collections::BTreeMap;
use std::path::Path;

const COLUMNS: [&str; 17] = [
    "page",
    "patch",
    "row_first",
    "row_last",
    "column_first",
    "column_last",
    "temperature_c",
    "erase",
    "field",
    "select_v",
    "data_v",
    "tick_us",
    "slot_ticks",
    "guard_ticks",
    "mirrored",
    "ticks",
    "fill_ticks",
];

/// Pixels of a patch, all four included.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Rectangle {
    pub row_first: u32,
    pub row_last: u32,
    pub column_first: u32,
    pub column_last: u32,
}

/// One row of the chart, each cell in its interval.
pub(super) struct ChartRow {
    pub line: usize,
    pub page: String,
    pub patch: String,
    pub rectangle: Rectangle,
    pub temperature_c: f64,
    pub erase: String,
    /// Counted from 1.
    pub field: u32,
    pub drive: Field,
    pub ticks: u32,
    pub fill_ticks: u32,
}

/// Reads and checks a chart that verifies a finished set, which names the erase `band` for the set's own at the page's
/// temperature, as well as what [`read_chart`] reads. Errs also where a page isn't driven as the set drives the panel there.
pub fn read_chart_of(path: &Path, panel: &Panel, set: &Waveforms) -> Result<Chart> {
    read(path, panel, Some(set))
}

/// Reads and checks a chart for a panel. Pages and patches keep the order in which the file first names them.
/// Voltages may lie off the panel's rails and temperatures outside its limits: a chart may probe.
pub fn read_chart(path: &Path, panel: &Panel) -> Result<Chart> {
    read(path, panel, None)
}

fn read(path: &Path, panel: &Panel, set: Option<&Waveforms>) -> Result<Chart> {
    let file = InputFile::read(
        path,
        "read the chart, which names the patches driven on each page",
        TABLE_BYTES_MAX,
    )?;
    let chart = chart(&file, panel, set);
    file.finish(chart)
}

fn chart(file: &InputFile, panel: &Panel, set: Option<&Waveforms>) -> Option<Chart> {
    let table = Table::read(file, &COLUMNS, &[])?;
    let mut pages: Vec<PageDraft> = Vec::new();
    let mut index: BTreeMap<String, usize> = BTreeMap::new();
    for row in table.rows() {
        let Some(row) = chart_row(&row, panel, set.is_some()) else {
            continue;
        };
        let at = *index.entry(row.page.clone()).or_insert_with(|| {
            pages.push(PageDraft::new(&row));
            pages.len() - 1
        });
        if let Some(page) = pages.get_mut(at) {
            page.add(file, row);
        }
    }
    // What is missing can only be told once every row is understood.
    if !file.all_right() {
        return None;
    }
    let pages: Vec<Option<Page>> = pages
        .into_iter()
        .map(|page| page.finish(file, panel, set))
        .collect();
    Some(Chart {
        pages: pages.into_iter().collect::<Option<_>>()?,
    })
}

fn chart_row(row: &Row, panel: &Panel, verifies: bool) -> Option<ChartRow> {
    let page = row.name("page");
    let patch = row.name("patch");
    let rectangle = rectangle(row, panel);
    let temperature_c = row.number("temperature_c", TEMPERATURE_C);
    let erase = erase_name(row, panel, verifies);
    let fields = Count {
        min: 1,
        max: panel.drivers.fields_max,
    };
    let field = row.count_of("field", fields, ", the fields_max of panel.toml");
    let drive = drive(row);
    let slot = Count {
        min: 0,
        max: drive.map_or(SLOT_TICKS.max, |d| d.slot_ticks),
    };
    let ticks = row.count_of("ticks", slot, ", the slot_ticks of the field");
    let fill_ticks = row.count_of("fill_ticks", slot, ", the slot_ticks of the field");
    Some(ChartRow {
        line: row.line,
        page: page?,
        patch: patch?,
        rectangle: rectangle?,
        temperature_c: temperature_c?,
        erase: erase?,
        field: field?,
        drive: drive?,
        ticks: ticks?,
        fill_ticks: fill_ticks?,
    })
}

fn rectangle(row: &Row, panel: &Panel) -> Option<Rectangle> {
    let (row_first, row_last) = range(row, "row_first", "row_last", panel.rows, "rows");
    let (column_first, column_last) =
        range(row, "column_first", "column_last", panel.columns, "columns");
    Some(Rectangle {
        row_first: row_first?,
        row_last: row_last?,
        column_first: column_first?,
        column_last: column_last?,
    })
}

fn range(
    row: &Row,
    first: &str,
    last: &str,
    lines: usize,
    what: &str,
) -> (Option<u32>, Option<u32>) {
    let inside = Count {
        min: 0,
        max: lines.saturating_sub(1) as u32,
    };
    let why = format!(", inside the panel of {lines} {what}");
    let ends = (
        row.count_of(first, inside, &why),
        row.count_of(last, inside, &why),
    );
    if let (Some(low), Some(high)) = ends
        && low > high
    {
        row.wrong(first, format!("at most {last}, which is {high}"));
    }
    ends
}

fn erase_name(row: &Row, panel: &Panel, verifies: bool) -> Option<String> {
    let name = row.text("erase");
    if panel.erases.iter().any(|e| e.name == name) || verifies && name == BAND_ERASE {
        return Some(name.to_owned());
    }
    let names = panel
        .erases
        .iter()
        .map(|e| e.name.as_str())
        .collect::<Vec<_>>()
        .join(", ");
    if name == BAND_ERASE {
        let why = "erase `band` belongs to a chart that verifies a finished set, which must be given beside it";
        row.wrong(
            "erase",
            format!("one of the erases of panel.toml: {names} ({why})"),
        );
    } else {
        row.wrong("erase", format!("one of the erases of panel.toml: {names}"));
    }
    None
}

fn drive(row: &Row) -> Option<Field> {
    let select_v = row.number("select_v", VOLTAGE_V);
    if select_v == Some(0.0) {
        row.wrong("select_v", format!("{VOLTAGE_V}, other than 0"));
    }
    let data_v = row.number("data_v", DATA_V);
    let tick_us = row.count("tick_us", TICK_US);
    let slot_ticks = row.count("slot_ticks", SLOT_TICKS);
    let guard_ticks = row.count("guard_ticks", GUARD_TICKS);
    let mirrored = row.truth("mirrored");
    Some(Field {
        select_v: select_v?,
        data_v: data_v?,
        tick_us: tick_us?,
        slot_ticks: slot_ticks?,
        guard_ticks: guard_ticks?,
        mirrored: mirrored?,
    })
}

/// The chart as its file, one row for each patch and field.
pub fn chart_csv(chart: &Chart) -> String {
    let mut lines = vec![COLUMNS.join(",")];
    for page in &chart.pages {
        for patch in &page.patches {
            lines.extend((0..page.fields.len()).map(|field| chart_line(page, patch, field)));
        }
    }
    lines.join("\n") + "\n"
}

fn chart_line(page: &Page, patch: &Patch, field: usize) -> String {
    let drive = &page.fields[field];
    let cells: [&dyn std::fmt::Display; COLUMNS.len()] = [
        &page.name,
        &patch.name,
        &patch.row_first,
        &patch.row_last,
        &patch.column_first,
        &patch.column_last,
        &page.temperature_c,
        &page.erase.name,
        &(field + 1),
        &drive.select_v,
        &drive.data_v,
        &drive.tick_us,
        &drive.slot_ticks,
        &drive.guard_ticks,
        &drive.mirrored,
        &patch.ticks[field],
        &page.fill_ticks[field],
    ];
    cells.map(|c| c.to_string()).join(",")
}

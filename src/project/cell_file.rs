//! `cell.csv`: pulse trains on a test cell. One row for each reading.

use super::input_file::InputFile;
use super::lightness_column::{self, LightnessColumn};
use super::limits::{REPEAT, STROKE_MS, STROKES, TABLE_BYTES_MAX, TEMPERATURE_C, VOLTAGE_V};
use super::table::{Row, Table};
use super::types::Train;
use crate::drive::Stroke;
use crate::error::Result;
use std::collections::{BTreeMap, BTreeSet};
use std::path::Path;

/// Reads and checks the trains of a test cell, in the order in which the file first names them; repeats of a train are
/// merged.
pub fn read_trains(path: &Path) -> Result<Vec<Train>> {
    let file = InputFile::read(
        path,
        "read the pulse trains of the test cell",
        TABLE_BYTES_MAX,
    )?;
    let trains = trains(&file);
    file.finish(trains)
}

fn trains(file: &InputFile) -> Option<Vec<Train>> {
    let table = Table::read(
        file,
        &["train", "temperature_c", "steps", "repeat"],
        &lightness_column::COLUMNS,
    )?;
    let lightness = LightnessColumn::of(&table);
    let mut trains: Vec<Train> = Vec::new();
    let mut index: BTreeMap<String, usize> = BTreeMap::new();
    let mut seen = BTreeSet::new();
    for row in table.rows() {
        let repeat = row.count("repeat", REPEAT);
        let (Some(train), Some(repeat)) = (train(&row, &lightness), repeat) else {
            continue;
        };
        if !seen.insert((train.name.clone(), repeat)) {
            row.wrong(
                "repeat",
                format!("each repeat of train `{}` once", train.name),
            );
        }
        let at = *index.entry(train.name.clone()).or_insert(trains.len());
        match trains.get_mut(at) {
            Some(earlier) => merge(earlier, train, &row),
            None => trains.push(train),
        }
    }
    Some(trains)
}

fn train(row: &Row, lightness: &LightnessColumn) -> Option<Train> {
    let name = row.name("train");
    let temperature_c = row.number("temperature_c", TEMPERATURE_C);
    let steps = steps(row);
    let lstar = lightness.lstar(row);
    Some(Train {
        name: name?,
        temperature_c: temperature_c?,
        steps: steps?,
        readings_lstar: vec![lstar?],
        line: row.line,
    })
}

fn merge(earlier: &mut Train, train: Train, row: &Row) {
    if train.temperature_c != earlier.temperature_c {
        row.wrong(
            "temperature_c",
            format!(
                "{}, as in line {}: the train is the same",
                earlier.temperature_c, earlier.line
            ),
        );
    }
    if train.steps != earlier.steps {
        row.wrong(
            "steps",
            format!("the steps of line {}: the train is the same", earlier.line),
        );
    }
    earlier.readings_lstar.extend(train.readings_lstar);
}

/// Volts and milliseconds, "15:20 0:50 -5:1000".
fn steps(row: &Row) -> Option<Vec<Stroke>> {
    let steps: Option<Vec<Stroke>> = row.text("steps").split_whitespace().map(step).collect();
    let steps = steps.filter(|steps| STROKES.contains(steps.len()));
    if steps.is_none() {
        let (min, max) = (STROKES.min, STROKES.max);
        let expected = format!(
            "{min} to {max} steps as volts:milliseconds like `15:20 0:50`, each with {VOLTAGE_V} and {STROKE_MS}"
        );
        row.wrong("steps", expected);
    }
    steps
}

fn step(text: &str) -> Option<Stroke> {
    let (volts, duration) = text.split_once(':')?;
    let pixel_v = volts.parse().ok().filter(|&v| VOLTAGE_V.contains(v))?;
    let ms = duration.parse().ok().filter(|&v| STROKE_MS.contains(v))?;
    Some(Stroke { pixel_v, ms })
}

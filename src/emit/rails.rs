//! The voltages that lines are put on, and the codes that the drivers take for them.

use super::quantise::{Kind, Quantiser, count};
use super::tables::Rail;
use crate::error::{Error, InputError, Result};
use crate::project::input_file::InputFile;
use crate::project::keys::{self, Keys};
use crate::project::limits::{Count, VOLTAGE_V, bounds};
use crate::waveforms::{Band, Waveforms};
use std::collections::BTreeSet;
use std::path::{Path, PathBuf};

/// Largest driver map, bytes: 1 MiB.
const BYTES_MAX: u64 = 1 << 20;
const ENTRIES: Count = Count { min: 1, max: 4096 };
const CODE: Count = Count {
    min: 0,
    max: u16::MAX as u32,
};

const MV_PER_V: f64 = 1000.0;

/// Which code gives which voltage, as the user's driver chips take it.
///
/// A TOML file: `row = [ { v = 8.5, code = 17 }, … ]` and `column` likewise, 0 V included.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct DriverMap {
    pub file: PathBuf,
    pub row: Vec<Rail>,
    pub column: Vec<Rail>,
}

impl DriverMap {
    /// Reads and checks a driver map. Errs with every wrong place of the file.
    pub fn read(path: &Path) -> Result<Self> {
        let file = InputFile::read(path, "read the driver map", BYTES_MAX)?;
        let map = keys::parse(&file).and_then(|table| {
            let mut keys = Keys::root(&file, &table);
            let row = list(&mut keys, "row");
            let column = list(&mut keys, "column");
            keys.done();
            Some((row?, column?))
        });
        let (row, column) = file.finish(map)?;
        Ok(DriverMap {
            file: path.to_owned(),
            row,
            column,
        })
    }
}

fn list(keys: &mut Keys, key: &'static str) -> Option<Vec<Rail>> {
    let mut rails: Vec<Rail> = Vec::new();
    for mut entry in keys.tables(key, ENTRIES)? {
        let v = entry.number("v", bounds(VOLTAGE_V.min, VOLTAGE_V.max, " V"));
        let code = entry.count("code", CODE);
        if let (Some(v), Some(code)) = (v, code) {
            let rail = Rail {
                mv: (v * MV_PER_V).round() as i32,
                code: code as u16,
            };
            if rails.iter().any(|r| r.mv == rail.mv) {
                entry.wrong("v", "a voltage that no entry before has, to 1 mV");
            } else if rails.iter().any(|r| r.code == rail.code) {
                entry.wrong("code", "a code that no entry before has");
            }
            rails.push(rail);
        }
        entry.done();
    }
    Some(rails)
}

/// Every voltage of a set's lines, mV: of rows, 0 first; of columns, 0 and then pairs of +v and −v. Codes count from 0.
pub(super) fn rails_of(set: &Waveforms, q: &mut Quantiser) -> Result<(Vec<Rail>, Vec<Rail>)> {
    let (mut rows, mut columns) = (BTreeSet::new(), BTreeSet::new());
    for (i, band) in set.bands.iter().enumerate() {
        for (path, v) in row_voltages(i, band) {
            rows.insert(millivolts(v, path, q)?);
        }
        for (path, v) in column_voltages(i, band) {
            columns.insert(millivolts(v.abs(), path, q)?);
        }
    }
    let rows = std::iter::once(0).chain(rows.into_iter().filter(|mv| *mv != 0));
    let pairs = columns.into_iter().filter(|mv| *mv != 0);
    let columns = std::iter::once(0).chain(pairs.flat_map(|mv| [mv, -mv]));
    Ok((numbered(rows)?, numbered(columns)?))
}

/// mV of a voltage, V.
pub(super) fn millivolts(v: f64, path: String, q: &mut Quantiser) -> Result<i32> {
    q.integer(Kind::Voltage, v * MV_PER_V, path)
}

fn numbered(mvs: impl Iterator<Item = i32>) -> Result<Vec<Rail>> {
    let rail = |(i, mv): (usize, i32)| {
        let code = count(i as u64, "rails of the lines")?;
        Ok(Rail { mv, code })
    };
    mvs.enumerate().map(rail).collect()
}

fn row_voltages(band: usize, b: &Band) -> Vec<(String, f64)> {
    let strokes = (b.erase.strokes.iter().enumerate()).map(|(i, s)| {
        (
            format!("bands[{band}].erase.strokes[{i}].pixel_v"),
            s.pixel_v,
        )
    });
    let selects = (b.fields.iter().enumerate())
        .map(|(i, f)| (format!("bands[{band}].fields[{i}].select_v"), f.select_v));
    strokes.chain(selects).collect()
}

fn column_voltages(band: usize, b: &Band) -> Vec<(String, f64)> {
    let data = (b.fields.iter().enumerate())
        .map(|(i, f)| (format!("bands[{band}].fields[{i}].data_v"), f.data_v));
    let balance = b
        .resting_balance_v
        .map(|v| (format!("bands[{band}].resting_balance_v"), v));
    data.chain(balance).collect()
}

/// Puts the codes of `map` on the rails. Errs with every rail that the map lacks.
pub(super) fn coded(map: &DriverMap, row: &mut [Rail], column: &mut [Rail]) -> Result<()> {
    let mut lacking = Vec::new();
    for (field, rails, entries) in [("row", row, &map.row), ("column", column, &map.column)] {
        for rail in rails {
            match entries.iter().find(|entry| entry.mv == rail.mv) {
                Some(entry) => rail.code = entry.code,
                None => lacking.push(lack(map, field, rail.mv)),
            }
        }
    }
    if lacking.is_empty() {
        Ok(())
    } else {
        Err(Error::Inputs(lacking))
    }
}

fn lack(map: &DriverMap, field: &str, mv: i32) -> InputError {
    InputError {
        file: map.file.clone(),
        line: None,
        field: Some(field.into()),
        value: None,
        expected: format!(
            "an entry for {} V, which these waveforms put on a {field}: {{ v = {}, code = … }}",
            f64::from(mv) / MV_PER_V,
            f64::from(mv) / MV_PER_V
        ),
    }
}

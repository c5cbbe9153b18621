//! A page of the chart while its rows are gathered: they must agree on the page, its fields and its patches.

use super::chart_file::{ChartRow, Rectangle};
use super::input_file::InputFile;
use super::limits::PATCHES;
use super::panel_file::BAND_ERASE;
use super::types::*;
use crate::drive::{Erase, Field};
use crate::waveforms::Waveforms;
use std::collections::BTreeMap;
use std::fmt::Display;

pub(super) struct PageDraft {
    name: String,
    line: usize,
    temperature_c: f64,
    erase: String,
    fields: BTreeMap<u32, FieldDraft>,
    patches: Vec<PatchDraft>,
    index: BTreeMap<String, usize>,
}

struct FieldDraft {
    line: usize,
    drive: Field,
    fill_ticks: u32,
}

struct PatchDraft {
    name: String,
    line: usize,
    rectangle: Rectangle,
    ticks: BTreeMap<u32, u32>,
}

/// Compares cells of a row with those of an earlier row that must hold the same.
struct Agreement<'a> {
    file: &'a InputFile,
    line: usize,
    earlier_line: usize,
    whose: &'a str,
}

impl Agreement<'_> {
    fn check<T: PartialEq + Display>(&self, column: &str, found: T, earlier: T) {
        if found != earlier {
            let expected = format!(
                "{earlier}, as in line {}: one {} has one {column}",
                self.earlier_line, self.whose
            );
            self.file
                .wrong(self.line, column, Some(&found.to_string()), expected);
        }
    }
}

impl PageDraft {
    pub fn new(row: &ChartRow) -> Self {
        PageDraft {
            name: row.page.clone(),
            line: row.line,
            temperature_c: row.temperature_c,
            erase: row.erase.clone(),
            fields: BTreeMap::new(),
            patches: Vec::new(),
            index: BTreeMap::new(),
        }
    }

    /// Takes one row in, and notes where it contradicts an earlier one.
    pub fn add(&mut self, file: &InputFile, row: ChartRow) {
        let page = Agreement {
            file,
            line: row.line,
            earlier_line: self.line,
            whose: "page",
        };
        page.check("temperature_c", row.temperature_c, self.temperature_c);
        page.check("erase", row.erase.as_str(), self.erase.as_str());
        self.add_field(file, &row);
        self.add_patch(file, row);
    }

    fn add_field(&mut self, file: &InputFile, row: &ChartRow) {
        let new = FieldDraft {
            line: row.line,
            drive: row.drive,
            fill_ticks: row.fill_ticks,
        };
        let earlier = self.fields.entry(row.field).or_insert(new);
        let field = Agreement {
            file,
            line: row.line,
            earlier_line: earlier.line,
            whose: "field of a page",
        };
        field.check("select_v", row.drive.select_v, earlier.drive.select_v);
        field.check("data_v", row.drive.data_v, earlier.drive.data_v);
        field.check("tick_us", row.drive.tick_us, earlier.drive.tick_us);
        field.check("slot_ticks", row.drive.slot_ticks, earlier.drive.slot_ticks);
        field.check(
            "guard_ticks",
            row.drive.guard_ticks,
            earlier.drive.guard_ticks,
        );
        field.check("mirrored", row.drive.mirrored, earlier.drive.mirrored);
        field.check("fill_ticks", row.fill_ticks, earlier.fill_ticks);
    }

    fn add_patch(&mut self, file: &InputFile, row: ChartRow) {
        let at = self
            .index
            .get(&row.patch)
            .copied()
            .unwrap_or(self.patches.len());
        let Some(earlier) = self.patches.get_mut(at) else {
            self.index.insert(row.patch.clone(), at);
            let ticks = BTreeMap::from([(row.field, row.ticks)]);
            self.patches.push(PatchDraft {
                name: row.patch,
                line: row.line,
                rectangle: row.rectangle,
                ticks,
            });
            return;
        };
        let patch = Agreement {
            file,
            line: row.line,
            earlier_line: earlier.line,
            whose: "patch of a page",
        };
        patch.check(
            "row_first",
            row.rectangle.row_first,
            earlier.rectangle.row_first,
        );
        patch.check(
            "row_last",
            row.rectangle.row_last,
            earlier.rectangle.row_last,
        );
        patch.check(
            "column_first",
            row.rectangle.column_first,
            earlier.rectangle.column_first,
        );
        patch.check(
            "column_last",
            row.rectangle.column_last,
            earlier.rectangle.column_last,
        );
        if earlier.ticks.insert(row.field, row.ticks).is_some() {
            let expected = format!(
                "each field of patch `{}` on page `{}` once",
                row.patch, row.page
            );
            file.wrong(row.line, "field", Some(&row.field.to_string()), expected);
        }
    }

    /// The page, once every row is in; notes missing fields and overlapping patches.
    pub fn finish(self, file: &InputFile, panel: &Panel, set: Option<&Waveforms>) -> Option<Page> {
        self.check_fields(file);
        self.check_patch_number(file);
        self.check_overlaps(file);
        let (erase, stretch) = self.erase(file, panel, set)?;
        Some(Page {
            name: self.name,
            temperature_c: self.temperature_c,
            stretch,
            erase,
            fields: self.fields.values().map(|f| f.drive).collect(),
            fill_ticks: self.fields.values().map(|f| f.fill_ticks).collect(),
            patches: self.patches.into_iter().map(PatchDraft::finish).collect(),
        })
    }

    /// The erase that the page names, and the stretch of its refresh.
    fn erase(
        &self,
        file: &InputFile,
        panel: &Panel,
        set: Option<&Waveforms>,
    ) -> Option<(Erase, f64)> {
        let Some(set) = set.filter(|_| self.erase == BAND_ERASE) else {
            let erase = panel.erases.iter().find(|e| e.name == self.erase)?;
            return Some((erase.clone(), 1.0));
        };
        let fields: Vec<Field> = self.fields.values().map(|f| f.drive).collect();
        let Some(band) = set.band_with(self.temperature_c, &fields) else {
            let words: Vec<String> = fields.iter().map(Field::in_words).collect();
            let expected = format!(
                "a page driven as the waveforms drive the panel at {} °C: {}",
                self.temperature_c,
                set.drive_in_words(self.temperature_c)
            );
            file.wrong(self.line, "select_v", Some(&words.join("; ")), expected);
            return None;
        };
        let erase = Erase {
            name: BAND_ERASE.into(),
            ..band.erase.clone()
        };
        Some((
            erase,
            panel
                .drivers
                .played(band.stretch_factor(self.temperature_c)),
        ))
    }

    /// Fields 1…F, where F is the highest of the page, each once for every patch.
    fn check_fields(&self, file: &InputFile) {
        let last = self.fields.keys().next_back().copied().unwrap_or(0);
        for patch in self
            .patches
            .iter()
            .filter(|p| p.ticks.keys().copied().ne(1..=last))
        {
            let found: Vec<String> = patch.ticks.keys().map(u32::to_string).collect();
            let expected = format!(
                "a row for each of the fields 1 to {last} of patch `{}` on page `{}`",
                patch.name, self.name
            );
            file.wrong(patch.line, "field", Some(&found.join(" ")), expected);
        }
    }

    fn check_patch_number(&self, file: &InputFile) {
        if let Some(patch) = self.patches.get(PATCHES.max as usize) {
            let expected = format!("at most {} patches on a page", PATCHES.max);
            file.wrong(patch.line, "patch", Some(&patch.name), expected);
        }
    }

    fn check_overlaps(&self, file: &InputFile) {
        let patches = self
            .patches
            .get(..PATCHES.max as usize)
            .unwrap_or(&self.patches);
        for (i, patch) in patches.iter().enumerate() {
            if let Some(earlier) = patches
                .iter()
                .take(i)
                .find(|p| p.rectangle.overlaps(&patch.rectangle))
            {
                let expected = format!(
                    "pixels that no other patch of page `{}` has: it overlaps `{}` of line {}",
                    self.name, earlier.name, earlier.line
                );
                file.wrong(patch.line, "patch", Some(&patch.name), expected);
            }
        }
    }
}

impl PatchDraft {
    fn finish(self) -> Patch {
        Patch {
            name: self.name,
            row_first: self.rectangle.row_first as usize,
            row_last: self.rectangle.row_last as usize,
            column_first: self.rectangle.column_first as usize,
            column_last: self.rectangle.column_last as usize,
            ticks: self.ticks.into_values().collect(),
            line: self.line,
        }
    }
}

impl Rectangle {
    fn overlaps(&self, other: &Rectangle) -> bool {
        self.row_first <= other.row_last
            && other.row_first <= self.row_last
            && self.column_first <= other.column_last
            && other.column_first <= self.column_last
    }
}

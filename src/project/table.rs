//! The rows of a CSV file, each with the line where it stands.

use super::input_file::InputFile;
use super::limits::{Bounds, Count};
use csv::StringRecord;

/// Columns of a table, and its rows. Columns may stand in any order.
pub(crate) struct Table<'a> {
    file: &'a InputFile,
    header: StringRecord,
    records: Vec<(usize, StringRecord)>,
}

/// One row. A cell that is wrong is noted in the file and read as `None`.
pub(crate) struct Row<'a> {
    pub file: &'a InputFile,
    pub line: usize,
    header: &'a StringRecord,
    cells: &'a StringRecord,
}

impl<'a> Table<'a> {
    /// Reads the table with these columns and exactly one of `either`, if any; notes missing, doubled and unknown
    /// columns, rows that don't have as many cells as the header, and a table without rows.
    pub fn read(file: &'a InputFile, columns: &[&str], either: &[&str]) -> Option<Self> {
        Self::checked(file, |line, header| {
            check_header(file, line, header, (columns, &[]), either);
        })
    }

    /// Reads the table with these columns, exactly one of `either`, if any, and any of `optional`.
    pub fn read_with(
        file: &'a InputFile,
        columns: &[&str],
        either: &[&str],
        optional: &[&str],
    ) -> Option<Self> {
        Self::checked(file, |line, header| {
            check_header(file, line, header, (columns, optional), either);
        })
    }

    /// Reads the table with whatever columns its header has that `check` doesn't find wrong, by the header's line and cells.
    pub fn checked(file: &'a InputFile, check: impl FnOnce(usize, &StringRecord)) -> Option<Self> {
        let mut reader = csv::ReaderBuilder::new()
            .flexible(true)
            .has_headers(false)
            .trim(csv::Trim::All)
            .from_reader(file.text.as_bytes());
        let mut records = Vec::new();
        for record in reader.records() {
            match record {
                Ok(record) => records.push((line_of(file, &record), record)),
                Err(e) => file.wrong(1, "", None, format!("comma-separated values: {e}")),
            }
        }
        let (header_line, header) = (!records.is_empty()).then(|| records.remove(0))?;
        check(header_line, &header);
        if !file.all_right() {
            return None;
        }
        if records.is_empty() {
            file.wrong(header_line, "", None, "rows below the header, found none");
        }
        for (line, cells) in records
            .iter()
            .filter(|(_, cells)| cells.len() != header.len())
        {
            let expected = format!("{} cells, as in the header", header.len());
            file.wrong(*line, "", Some(&format!("{} cells", cells.len())), expected);
        }
        file.all_right().then_some(Table {
            file,
            header,
            records,
        })
    }

    pub fn rows(&self) -> impl Iterator<Item = Row<'_>> {
        self.records.iter().map(|(line, cells)| Row {
            file: self.file,
            line: *line,
            header: &self.header,
            cells,
        })
    }

    pub fn header(&self) -> &StringRecord {
        &self.header
    }

    pub fn has(&self, column: &str) -> bool {
        self.header.iter().any(|name| name == column)
    }
}

/// The reader counts a record from the end of the one before it, so line ends are skipped first.
fn line_of(file: &InputFile, record: &StringRecord) -> usize {
    let start = record.position().map_or(0, |p| p.byte() as usize);
    let rest = file.text.as_bytes().get(start..).unwrap_or_default();
    let skipped = rest
        .iter()
        .take_while(|b| matches!(b, b'\r' | b'\n'))
        .count();
    file.line_at(start + skipped)
}

fn check_header(
    file: &InputFile,
    line: usize,
    header: &StringRecord,
    (columns, optional): (&[&str], &[&str]),
    either: &[&str],
) {
    let known = |name: &str| {
        [columns, either, optional]
            .iter()
            .any(|list| list.contains(&name))
    };
    let listed = columns
        .iter()
        .chain(either)
        .chain(optional)
        .copied()
        .collect::<Vec<_>>()
        .join(", ");
    if header.len() == 1 && header.iter().any(|name| name.contains([';', '\t'])) {
        return file.wrong(line, "", header.get(0), "columns separated by commas");
    }
    for (i, name) in header.iter().enumerate() {
        if !known(name) {
            file.wrong(line, name, Some(name), format!("only the columns {listed}"));
        } else if header.iter().take(i).any(|earlier| earlier == name) {
            file.wrong(line, name, Some(name), "each column once, found it doubled");
        }
    }
    for name in columns
        .iter()
        .filter(|&&name| header.iter().all(|found| found != name))
    {
        file.wrong(
            line,
            name,
            None,
            "this column in the header, found it missing",
        );
    }
    let found: Vec<&str> = either
        .iter()
        .copied()
        .filter(|&name| header.iter().any(|h| h == name))
        .collect();
    if !either.is_empty() && found.len() != 1 {
        let value = (!found.is_empty()).then(|| found.join(", "));
        file.wrong(
            line,
            &either.join("/"),
            value.as_deref(),
            format!("exactly one of the columns {}", either.join(", ")),
        );
    }
}

impl<'a> Row<'a> {
    /// The text of a cell; empty where there is no such column.
    pub fn text(&self, column: &str) -> &'a str {
        let at = self.header.iter().position(|name| name == column);
        at.and_then(|at| self.cells.get(at)).unwrap_or("")
    }

    /// Notes what is wrong with a cell.
    pub fn wrong(&self, column: &str, expected: impl Into<String>) {
        self.file
            .wrong(self.line, column, Some(self.text(column)), expected);
    }

    pub fn name(&self, column: &str) -> Option<String> {
        self.file.name(self.line, column, self.text(column))
    }

    pub fn number(&self, column: &str, bounds: Bounds) -> Option<f64> {
        let number = self
            .text(column)
            .parse()
            .ok()
            .filter(|&v| bounds.contains(v));
        self.or_wrong(number, column, bounds.to_string())
    }

    pub fn count(&self, column: &str, count: Count) -> Option<u32> {
        self.count_of(column, count, "")
    }

    /// A whole number, with the reason for its bounds.
    pub fn count_of(&self, column: &str, count: Count, why: &str) -> Option<u32> {
        let number = self
            .text(column)
            .parse()
            .ok()
            .filter(|&v: &u32| count.contains(v as usize));
        self.or_wrong(number, column, format!("{count}{why}"))
    }

    pub fn truth(&self, column: &str) -> Option<bool> {
        self.or_wrong(
            self.text(column).parse().ok(),
            column,
            "true or false".to_owned(),
        )
    }

    fn or_wrong<T>(&self, value: Option<T>, column: &str, expected: String) -> Option<T> {
        if value.is_none() {
            self.wrong(column, expected);
        }
        value
    }
}

//! Aligned text: tables, and passages behind a label.

/// Widest line of a passage, characters.
const LINE: usize = 100;
/// Where the text behind a label begins.
const LABEL: usize = 14;

/// Whether a column's cells stand at its left or its right edge.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Side {
    Left,
    Right,
}

/// Rows as columns two spaces apart, each line `indent` in.
pub(super) fn table(sides: &[Side], rows: &[Vec<String>], indent: usize) -> String {
    let width = |column: usize| {
        let cells = rows.iter().filter_map(|row| row.get(column));
        cells.map(|cell| cell.chars().count()).max().unwrap_or(0)
    };
    let widths: Vec<usize> = (0..sides.len()).map(width).collect();
    let line = |row: &Vec<String>| {
        let cells = row.iter().zip(sides).zip(&widths);
        let padded: Vec<String> = cells
            .map(|((cell, side), &width)| match side {
                Side::Left => format!("{cell:<width$}"),
                Side::Right => format!("{cell:>width$}"),
            })
            .collect();
        format!("{}{}", " ".repeat(indent), padded.join("  "))
            .trim_end()
            .to_owned()
            + "\n"
    };
    rows.iter().map(line).collect()
}

/// A passage behind its label, broken between words, further lines under the first.
pub(super) fn passage(label: &str, text: &str) -> String {
    let mut lines = vec![String::new()];
    for word in text.split(' ') {
        let used = lines.last().map_or(0, |line| line.chars().count());
        match lines.last_mut() {
            Some(line) if used == 0 => line.push_str(word),
            Some(line) if LABEL + used + 1 + word.chars().count() <= LINE => {
                line.push(' ');
                line.push_str(word);
            }
            _ => lines.push(word.to_owned()),
        }
    }
    let label = format!("  {label}");
    lines
        .iter()
        .enumerate()
        .map(|(i, line)| {
            let label = if i == 0 { label.as_str() } else { "" };
            format!("{label:<LABEL$}{line}").trim_end().to_owned() + "\n"
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn columns_align() {
        let rows = [["a", "1"], ["bcd", "22"]].map(|r| r.map(str::to_owned).to_vec());
        assert_eq!(
            table(&[Side::Left, Side::Right], &rows, 2),
            "  a     1\n  bcd  22\n"
        );
    }

    #[test]
    fn a_passage_breaks_between_words_and_hangs() {
        let text = passage("label", &"word ".repeat(30));
        let lines: Vec<&str> = text.lines().collect();
        assert!(lines.len() == 2 && lines.iter().all(|l| l.chars().count() <= LINE));
        assert!(lines[0].starts_with("  label       word"));
        assert!(lines[1].starts_with("              word"));
    }
}

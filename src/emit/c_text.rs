//! Small pieces of C: names, arrays.

use crate::error::{Error, Result};
use std::fmt::Display;

/// C99 makes 63 characters of a name significant; the table's own endings take the rest.
const PREFIX_CHARS_MAX: usize = 32;

/// Whether `prefix` can begin every name of a table.
///
/// # Errors
/// [`Error::Usage`] when it is not letters, digits and underscores after a first letter (a leading
/// underscore is reserved to the compiler, C99 7.1.3), or is longer than 32.
pub(super) fn check_prefix(prefix: &str) -> Result<()> {
    let first = prefix
        .bytes()
        .next()
        .is_some_and(|b| b.is_ascii_alphabetic());
    let rest = prefix
        .bytes()
        .all(|b| b.is_ascii_alphanumeric() || b == b'_');
    if first && rest && prefix.len() <= PREFIX_CHARS_MAX {
        return Ok(());
    }
    Err(Error::Usage(format!(
        "prefix `{}`: expected a C identifier of 1 to {PREFIX_CHARS_MAX} letters, digits and underscores that begins with a letter",
        prefix.escape_debug()
    )))
}

/// `T name[N] = { … };`, one row of `rows` a line; nothing for no rows.
pub(super) fn array(
    c_type: &str,
    name: &str,
    length: impl Display,
    rows: &[impl Display],
) -> String {
    if rows.is_empty() {
        return String::new();
    }
    let lines: String = rows.iter().map(|r| format!("    {r},\n")).collect();
    format!("{c_type} {name}[{length}] = {{\n{lines}}};\n\n")
}

/// Numbers with commas between them, so many a line.
pub(super) fn number_rows<T: Display>(numbers: &[T], a_line: usize) -> Vec<String> {
    numbers.chunks(a_line.max(1)).map(comma_separated).collect()
}

pub(super) fn comma_separated<T: Display>(numbers: &[T]) -> String {
    let texts: Vec<String> = numbers.iter().map(T::to_string).collect();
    texts.join(", ")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_prefix_is_a_c_identifier() {
        for good in ["g", "Pier_2", "harbour_tile"] {
            assert!(check_prefix(good).is_ok(), "{good}");
        }
        let long = "p".repeat(33);
        for bad in [
            "",
            "2nd",
            "_pier",
            "pier-tile",
            "pier tile",
            "jetée",
            "a\n",
            &long,
        ] {
            let error = check_prefix(bad).expect_err(bad);
            assert_eq!(error.exit_code(), 2);
        }
    }
}

//! The files of each form of a table.

use super::build::Built;
use super::c_table::{Layout, c_player, c_table, table_bytes};
use super::c_text::check_prefix;
use super::describe::description;
use super::image::image;
use super::rust_table::rust_table;
use super::vectors::Vectors;
use crate::error::{Error, Result, Unmet};
use crate::waveforms::{Waveforms, lay_out};

/// A form for firmware.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Form {
    /// `table.h`, `table.c` and the reference player.
    C,
    /// `table.rs`.
    Rust,
    /// `table.bin`.
    Binary,
    /// `table.json`.
    Json,
    /// `vectors.json`, `vectors.h`, `selftest.c`.
    Vectors,
}

impl Form {
    pub const ALL: [Form; 5] = [Form::C, Form::Rust, Form::Binary, Form::Json, Form::Vectors];

    /// Names of its files.
    pub fn names(self) -> &'static [&'static str] {
        match self {
            Form::C => &["table.h", "table.c", "read.h", "player.h", "player.c"],
            Form::Rust => &["table.rs"],
            Form::Binary => &["table.bin"],
            Form::Json => &["table.json"],
            Form::Vectors => &["vectors.json", "vectors.h", "selftest.c"],
        }
    }

    /// Its files, in the order of [`Form::names`]. `built` is made of `set`; `prefix` begins every name of C.
    ///
    /// # Errors
    /// As [`c_table`].
    pub fn files(
        self,
        set: &Waveforms,
        built: &Built,
        prefix: &str,
        layout: Layout,
    ) -> Result<Vec<(&'static str, Vec<u8>)>> {
        check_prefix(prefix)?;
        let texts = match self {
            Form::C => {
                let (table, player) = (c_table(built, prefix, layout)?, c_player(prefix, layout)?);
                table.into_iter().chain(player).collect()
            }
            Form::Rust => vec![("table.rs", rust_table(built, layout))],
            Form::Binary => return Ok(vec![("table.bin", image(built))]),
            Form::Json => vec![("table.json", json_table(built))],
            Form::Vectors => {
                let vectors = Vectors::of(set, &built.tables)?;
                let c = vectors.to_c(prefix)?;
                std::iter::once(("vectors.json", vectors.to_json()))
                    .chain(c)
                    .collect()
            }
        };
        let bytes = texts
            .into_iter()
            .map(|(name, text)| (name, text.into_bytes()));
        Ok(bytes.collect())
    }
}

fn json_table(built: &Built) -> String {
    let value = serde_json::json!({
        "format": "greyloom-table",
        "version": built.tables.version(),
        "description": description(built),
        "table": built.tables,
    });
    lay_out(&value.to_string())
}

/// Errs where a table of `layout` takes more than `limit` bytes: by how much, and what would fit.
pub fn check_flash(built: &Built, layout: Layout, limit: usize) -> Result<()> {
    let bytes = table_bytes(&built.tables, layout);
    if bytes <= limit {
        return Ok(());
    }
    let packed = table_bytes(&built.tables, Layout::Packed);
    let mut would_do = vec![format!("--flash {bytes}")];
    if layout == Layout::Plain && packed <= limit {
        would_do.insert(0, format!("--packed, which takes {packed} bytes"));
    } else if layout == Layout::Plain {
        would_do.insert(0, format!("--packed with --flash {packed}"));
    }
    would_do.push("a set of fewer bands or levels".into());
    let name = match layout {
        Layout::Plain => "plain",
        Layout::Packed => "packed",
    };
    Err(Error::Unmet(Unmet {
        request: format!("a table in {limit} bytes of flash"),
        binding: format!(
            "the {name} table takes {bytes} bytes, {} too many",
            bytes - limit
        ),
        would_do,
    }))
}

/// RAM of the reference player on a machine whose numbers lie at multiples of their size, bytes.
pub fn player_ram_bytes(built: &Built) -> usize {
    let t = &built.tables;
    let tick = if t.most_ticks() < 256 { 1 } else { 2 };
    let code = if t.narrow_codes() { 1 } else { 2 };
    let columns = usize::from(t.columns);
    let lists = columns * (4 + tick + code) + usize::from(t.levels) * tick;
    (lists.next_multiple_of(2) + 2).next_multiple_of(4)
}

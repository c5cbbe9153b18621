//! `greyloom emit`: a finished set as tables for firmware, with a player and test vectors, and as waveforms for the laboratory.

use super::emit_lab::{LabArguments, LabForm};
use super::say;
use crate::emit::{
    Built, DriverMap, Form, HYSTERESIS_C, Layout, TableOptions, bands_in_words, c_table,
    check_flash, player_ram_bytes, table_bytes,
};
use crate::error::Result;
use crate::output::OutputFolder;
use crate::waveforms::Waveforms;
use std::fmt::Write;
use std::path::PathBuf;

/// What `fit` and `trim` write beside a set.
pub(super) const TABLE_C: &str = "table.c";
pub(super) const TABLE_H: &str = "table.h";
const PREFIX: &str = "greyloom";

#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, clap::ValueEnum)]
enum FormName {
    /// C99: table.h and table.c, and the reference player
    C,
    /// Rust module without the standard library: table.rs
    Rust,
    /// Binary image: table.bin
    Binary,
    /// The same integers for other programs: table.json
    Json,
    /// Pictures with the line levels that any player must give: vectors.json, vectors.h, selftest.c
    Vectors,
    /// All of the above
    All,
    /// Value change dump (IEEE 1364) of lines and their pixels: lines.vcd
    Vcd,
    /// Piecewise-linear sources of lines for a circuit simulator: lines.cir, and as a table lines.csv
    Pwl,
    /// One pixel as samples for a waveform generator and a test cell: samples.csv
    Samples,
}

/// Write a finished set of waveforms as tables for firmware, or the waveforms of lines for the laboratory
#[derive(Debug, clap::Args)]
pub(super) struct Arguments {
    /// A waveforms.json
    #[arg(value_name = "W")]
    waveforms: PathBuf,
    /// Folder to write into
    #[arg(long, value_name = "DIR")]
    out: PathBuf,
    /// What to write, several with commas between
    #[arg(
        long,
        value_enum,
        value_name = "FORM",
        value_delimiter = ',',
        default_value = "c"
    )]
    form: Vec<FormName>,
    /// What every name in C begins with: a C identifier
    #[arg(long, value_name = "NAME", default_value = PREFIX)]
    prefix: String,
    /// Tables of C and Rust in as few bits as hold each number, in place of arrays of structures
    #[arg(long)]
    packed: bool,
    /// Most bytes that the table's constants may take: 8KiB, 2000
    #[arg(long, value_name = "SIZE", value_parser = flash)]
    flash: Option<usize>,
    /// Codes that the drivers take for each voltage, TOML: row = [ { v = 8.5, code = 17 }, … ], column likewise [default:
    /// rails are numbered]
    #[arg(long, value_name = "FILE")]
    codes: Option<PathBuf>,
    /// How far beyond its limits a band that is playing is kept, °C
    #[arg(long, value_name = "T", default_value_t = HYSTERESIS_C, allow_negative_numbers = true, value_parser = hysteresis_c)]
    hysteresis: f64,
    /// Replace files that this program did not write, or that were edited since
    #[arg(long)]
    force: bool,
    #[command(flatten)]
    lab: LabArguments,
}

pub(super) fn run(arguments: &Arguments) -> Result<()> {
    let set = Waveforms::read(&arguments.waveforms)?;
    let codes = arguments
        .codes
        .as_deref()
        .map(DriverMap::read)
        .transpose()?;
    let options = TableOptions {
        hysteresis_c: arguments.hysteresis,
        codes,
    };
    let built = Built::of(&set, &options)?;
    let layout = if arguments.packed {
        Layout::Packed
    } else {
        Layout::Plain
    };
    arguments
        .flash
        .map_or(Ok(()), |limit| check_flash(&built, layout, limit))?;
    let mut files = Vec::new();
    for form in forms(&arguments.form) {
        files.extend(form.files(&set, &built, &arguments.prefix, layout)?);
    }
    files.extend(arguments.lab.files(&lab_forms(&arguments.form), &set)?);
    let names: Vec<&str> = files.iter().map(|(name, _)| *name).collect();
    let mut folder = OutputFolder::open(&arguments.out, arguments.force, &names)?;
    for (name, bytes) in files {
        folder.stage(name, bytes)?;
    }
    let paths = folder.commit()?;
    say(&told(arguments, &set, &built, &paths))
}

/// Each form once, in their own order.
fn forms(names: &[FormName]) -> Vec<Form> {
    let asked = |form: &Form| {
        names.iter().any(|name| match name {
            FormName::All => true,
            FormName::C => *form == Form::C,
            FormName::Rust => *form == Form::Rust,
            FormName::Binary => *form == Form::Binary,
            FormName::Json => *form == Form::Json,
            FormName::Vectors => *form == Form::Vectors,
            FormName::Vcd | FormName::Pwl | FormName::Samples => false,
        })
    };
    Form::ALL.into_iter().filter(asked).collect()
}

fn lab_forms(names: &[FormName]) -> Vec<LabForm> {
    let each = [
        (FormName::Vcd, LabForm::Vcd),
        (FormName::Pwl, LabForm::Pwl),
        (FormName::Samples, LabForm::Samples),
    ];
    let asked = each.into_iter().filter(|(name, _)| names.contains(name));
    asked.map(|(_, form)| form).collect()
}

fn told(arguments: &Arguments, set: &Waveforms, built: &Built, paths: &[PathBuf]) -> String {
    let t = &built.tables;
    let [plain, packed] = [Layout::Plain, Layout::Packed].map(|l| table_bytes(t, l));
    let mut out = format!(
        "{}: {} levels, {}, parameter hash 0x{:08X}\n",
        set.panel.name,
        set.levels,
        bands_in_words(set),
        t.parameter_hash
    );
    if !forms(&arguments.form).is_empty() {
        let _ = writeln!(
            out,
            "  flash    {plain} bytes as a plain table, {packed} packed ({:.1} %)\n  RAM      {} bytes for the player, {} columns",
            100.0 * packed as f64 / plain as f64,
            player_ram_bytes(built),
            t.columns
        );
    }
    for path in paths {
        let _ = writeln!(out, "  written  {}", path.display());
    }
    out
}

/// The C table of a set beside its file.
pub(super) fn stage_tables(folder: &mut OutputFolder, set: &Waveforms) -> Result<()> {
    let built = Built::of(set, &TableOptions::default())?;
    for (name, text) in c_table(&built, PREFIX, Layout::Plain)? {
        folder.stage(name, text)?;
    }
    Ok(())
}

/// Bytes: `8KiB`, `2000B`, `2000`.
fn flash(text: &str) -> std::result::Result<usize, String> {
    let text = text.trim();
    let (digits, unit) = match (text.strip_suffix("KiB"), text.strip_suffix("MiB")) {
        (Some(digits), _) => (digits, 1 << 10),
        (_, Some(digits)) => (digits, 1 << 20),
        _ => (text.strip_suffix('B').unwrap_or(text), 1),
    };
    let number = digits.trim().parse::<usize>().ok();
    number
        .and_then(|n| n.checked_mul(unit))
        .filter(|bytes| *bytes > 0)
        .ok_or_else(|| "expected a size above 0, such as 8KiB or 2000".to_owned())
}

fn hysteresis_c(text: &str) -> std::result::Result<f64, String> {
    const MOST_C: f64 = 10.0;
    let degrees = super::arguments::temperature_c(text).ok();
    degrees
        .filter(|t| (0.0..=MOST_C).contains(t))
        .ok_or_else(|| format!("expected a number from 0 to {MOST_C} °C"))
}

//! `greyloom emit`: a finished set as tables for firmware.

use super::say;
use crate::emit::{bands_in_words, c_table, parameter_hash};
use crate::error::Result;
use crate::output::OutputFolder;
use crate::waveforms::Waveforms;
use std::path::PathBuf;

pub(super) const TABLE: &str = "table.h";
pub(super) const PREFIX: &str = "greyloom";

/// Write firmware tables from a finished set of waveforms: table.h, constants for C99
#[derive(Debug, clap::Args)]
pub(super) struct Arguments {
    /// A waveforms.json
    #[arg(value_name = "W")]
    waveforms: PathBuf,
    /// Folder to write into
    #[arg(long, value_name = "DIR")]
    out: PathBuf,
    /// What every name in the table begins with: a C identifier
    #[arg(long, value_name = "NAME", default_value = PREFIX)]
    prefix: String,
    /// Replace a file that this program did not write, or that was edited since
    #[arg(long)]
    force: bool,
}

pub(super) fn run(arguments: &Arguments) -> Result<()> {
    let set = Waveforms::read(&arguments.waveforms)?;
    let table = c_table(&set, &arguments.prefix)?;
    let mut folder = OutputFolder::open(&arguments.out, arguments.force, &[TABLE])?;
    folder.stage(TABLE, table)?;
    let paths = folder.commit()?;
    let hash = parameter_hash(&set.rounded());
    let lines: String = paths
        .iter()
        .map(|p| {
            format!(
                "{}: {} levels, {}, parameter hash 0x{hash:08X}\n",
                p.display(),
                set.levels,
                bands_in_words(&set)
            )
        })
        .collect();
    say(&lines)
}

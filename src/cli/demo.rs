//! `greyloom demo`: a worked project to start from.

use super::say;
use super::talk::Talk;
use crate::error::Result;
use crate::project::write_demo;
use std::path::PathBuf;

/// Write a worked project: a panel, charts, readings and test-cell trains
#[derive(Debug, clap::Args)]
pub(super) struct Arguments {
    /// Folder to write it into
    #[arg(value_name = "DIR")]
    dir: PathBuf,
    /// Replace files that this program did not write, or that were edited since
    #[arg(long)]
    force: bool,
}

pub(super) fn run(arguments: &Arguments) -> Result<()> {
    let paths = write_demo(&arguments.dir, arguments.force)?;
    let lines: String = paths.iter().map(|p| format!("{}\n", p.display())).collect();
    say(&lines)?;
    Talk::new().note(&format!(
        "next: greyloom fit {} --levels 32 --budget 12s --out out",
        arguments.dir.display()
    ));
    Ok(())
}

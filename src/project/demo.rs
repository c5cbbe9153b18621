//! The worked project that ships with the program.

use crate::error::Result;
use crate::output::OutputFolder;
use std::path::{Path, PathBuf};

macro_rules! shipped {
    ($($name:literal),+ $(,)?) => {
        [$(($name, include_bytes!(concat!("../../calibration/harbour-tile/", $name)))),+]
    };
}

const FILES: [(&str, &[u8]); 7] = shipped![
    "README.md",
    "cell.csv",
    "chart.csv",
    "holdout-chart.csv",
    "holdout-scans.csv",
    "panel.toml",
    "scans.csv",
];

/// Writes the worked project into a folder, and returns the paths written. Errs, and writes nothing, where a file is in
/// the way that the program did not write or that was edited since.
pub fn write_demo(dir: &Path, force: bool) -> Result<Vec<PathBuf>> {
    let names = FILES.map(|(name, _)| name);
    let mut folder = OutputFolder::open(dir, force, &names)?;
    for (name, bytes) in FILES {
        folder.stage(name, bytes)?;
    }
    folder.commit()
}

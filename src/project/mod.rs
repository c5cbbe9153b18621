//! The project folder: `panel.toml`, the chart, the readings, test-cell trains: reading and checking.
//!
//! Every reader goes through its whole file and returns all wrong places at once, each with file, line, field, value and
//! what was expected ([`Error::Inputs`](crate::Error::Inputs)). The intervals stand in [`limits`].

mod cell_file;
mod chart_file;
mod demo;
mod folder;
pub(crate) mod input_file;
mod instrument_checks;
pub(crate) mod keys;
mod lightness_column;
pub mod limits;
mod page_draft;
mod panel_file;
mod scans_file;
pub(crate) mod table;
mod types;

pub use cell_file::read_trains;
pub use chart_file::{chart_csv, read_chart, read_chart_of};
pub use demo::write_demo;
pub use folder::Warning;
pub use panel_file::{BAND_ERASE, read_panel};
pub use scans_file::{read_scans, scans_csv};
pub use types::*;

//! The project folder: `panel.toml`, the chart, the readings, test-cell trains.

mod types;

pub use types::*;

//! A panel of a few rows with a known response, followed slot by slot.

mod numbers;
mod response;
mod slot_table;

pub use numbers::Numbers;
pub use response::{RUNG, response};
pub use slot_table::SlotTable;

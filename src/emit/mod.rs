//! What leaves for firmware: the C table of a set.

mod c_table;
mod c_text;
mod hash;
mod quantise;

pub use c_table::{bands_in_words, c_table};
pub use hash::{crc32, parameter_hash};

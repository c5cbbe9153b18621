//! What leaves for firmware and for the laboratory: tables, a reference player, test vectors, waveforms of lines.
//!
//! [`Built::of`] is the only way from a set to the integers of a table; every form is written from its [`Tables`].

mod bits;
mod build;
mod c_table;
mod c_text;
mod compared;
mod describe;
mod fault;
mod forms;
mod hash;
mod image;
pub mod lab;
pub mod lines;
mod quantise;
mod rails;
mod rust_table;
pub mod stream;
mod tables;
mod vector_pictures;
mod vectors;

pub use build::{Built, HYSTERESIS_C, TableOptions};
pub use c_table::{File, Layout, c_player, c_table, table_bytes};
pub use compared::Difference;
pub use describe::{TABLE_VERSION_MAX, bands_in_words};
pub use forms::{Form, check_flash, player_ram_bytes};
pub use hash::{crc32, parameter_hash};
pub use image::{HEADER, ImageError, MAGIC, image, packed_image, read_image};
pub use rails::DriverMap;
pub use rust_table::rust_table;
pub use tables::{
    BalanceTable, BandTable, FieldTable, Rail, StretchTable, StrokeTable, Tables, ZoneTable,
    period_16,
};
pub use vectors::{Vector, Vectors};

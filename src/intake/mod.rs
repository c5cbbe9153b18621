//! From instrument to numbers: scanned charts and spectra to readings with their uncertainty.

mod blobs;
pub mod budget;
pub mod correction;
pub mod drift;
pub mod ends;
mod evidence;
mod exchange_text;
pub mod flat;
pub mod focus;
pub mod frame;
pub mod marks;
pub mod outliers;
pub mod page_mark;
pub mod patches;
pub mod plane;
pub mod projection;
pub mod scan;
pub mod scanner;
pub mod session;
mod sheet;
mod sitting;
pub mod spectra;
pub mod spectra_file;
pub mod student;
pub mod wedge_file;

//! The binary image of a table; its layout is published in `src/emit/IMAGE.md`.

mod read;
mod write;

pub use read::{ImageError, read_image};
pub use write::{image, packed_image};

/// First bytes of every image.
pub const MAGIC: [u8; 4] = *b"GLIM";
/// Bytes of the header.
pub const HEADER: usize = 32;
/// Bits of a field's flags: mirrored; ticks of the levels (of the first zone) by their steps.
const MIRRORED: u32 = 1;
const STEPPED: u32 = 2;

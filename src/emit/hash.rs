//! The hash that ties a table to the set it was written from.

use crate::waveforms::Waveforms;
use crc::{CRC_32_ISO_HDLC, Crc, Digest, Table};

static ALGORITHM: Crc<u32, Table<16>> = Crc::<u32, Table<16>>::new(&CRC_32_ISO_HDLC);

/// CRC-32/ISO-HDLC (polynomial 0x04C11DB7 reflected, start and final XOR 0xFFFFFFFF).
///
/// Source: catalogue of parametrised CRC algorithms, entry CRC-32/ISO-HDLC.
pub fn crc32(bytes: &[u8]) -> u32 {
    ALGORITHM.checksum(bytes)
}

/// [`crc32`] of bytes that come one part after the other.
pub(super) struct Crc32(Digest<'static, u32, Table<16>>);

impl Crc32 {
    pub fn new() -> Self {
        Crc32(ALGORITHM.digest())
    }

    pub fn update(&mut self, bytes: &[u8]) {
        self.0.update(bytes);
    }

    pub fn value(self) -> u32 {
        self.0.finalize()
    }
}

/// CRC-32/ISO-HDLC of the set's JSON, as [`Waveforms::to_json`] writes it.
pub fn parameter_hash(set: &Waveforms) -> u32 {
    crc32(set.to_json().as_bytes())
}

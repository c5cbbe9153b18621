//! The hash that ties a table to the set it was written from.

use crate::waveforms::Waveforms;
use crc::{CRC_32_ISO_HDLC, Crc};

/// CRC-32/ISO-HDLC (polynomial 0x04C11DB7 reflected, start and final XOR 0xFFFFFFFF).
///
/// Source: catalogue of parametrised CRC algorithms, entry CRC-32/ISO-HDLC.
pub fn crc32(bytes: &[u8]) -> u32 {
    Crc::<u32>::new(&CRC_32_ISO_HDLC).checksum(bytes)
}

/// CRC-32/ISO-HDLC of the set's JSON, as [`Waveforms::to_json`] writes it.
pub fn parameter_hash(set: &Waveforms) -> u32 {
    crc32(set.to_json().as_bytes())
}

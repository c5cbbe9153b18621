//! The binary image: it comes back as it was written, no damage passes, and nothing makes its reader panic.

mod emit_bench;
mod support;

use emit_bench::{Random, random_set, random_zoned_set, shipped};
use greyloom::emit::{
    Built, HEADER, ImageError, Layout, MAGIC, TableOptions, c_table, crc32, image, packed_image,
    read_image, rust_table,
};
use greyloom::waveforms::Waveforms;
use std::time::{Duration, Instant};
use support::harbour_tile;

fn built(set: &Waveforms) -> Built {
    Built::of(set, &TableOptions::default()).expect("tables")
}

/// Puts length and both CRCs right, so that what stands between them is read.
fn mend(bytes: &mut [u8]) {
    if bytes.len() < HEADER {
        return;
    }
    let length = (bytes.len() as u32).to_le_bytes();
    bytes[..4].copy_from_slice(&MAGIC);
    bytes[8..12].copy_from_slice(&length);
    let body = crc32(&bytes[HEADER..]).to_le_bytes();
    bytes[24..28].copy_from_slice(&body);
    let header = crc32(&bytes[..28]).to_le_bytes();
    bytes[28..32].copy_from_slice(&header);
}

#[test]
fn every_number_comes_back() {
    let sets = (0..40).map(random_set).chain([shipped(), harbour_tile()]);
    let sets = sets.chain((0..40).map(random_zoned_set));
    for set in sets {
        let built = built(&set);
        let (tables, notes) = read_image(&image(&built)).expect("an image");
        assert_eq!(tables, built.tables);
        assert!(
            notes.contains("CAUTION") && notes.contains("Rounding"),
            "{notes}"
        );
        assert_eq!(
            read_image(&packed_image(&tables)),
            Ok((tables, String::new()))
        );
    }
}

/// All of one image's 16 thousand bits and all of a smaller one's.
#[test]
fn every_single_bit_flip_is_refused() {
    let zoned = built(&random_zoned_set(1));
    let built = built(&shipped());
    let mut flips = 0;
    for whole in [
        image(&built),
        packed_image(&built.tables),
        packed_image(&zoned.tables),
    ] {
        for bit in 0..8 * whole.len() {
            let mut bytes = whole.clone();
            bytes[bit / 8] ^= 1 << (bit % 8);
            assert!(read_image(&bytes).is_err(), "bit {bit}");
            flips += 1;
        }
    }
    println!("{flips} single-bit flips refused");
    assert!(flips > 16_000);
}

#[test]
fn cut_longer_foreign_and_newer_images_are_named() {
    let whole = image(&built(&shipped()));
    for length in 0..whole.len() {
        let error = read_image(&whole[..length]).expect_err("cut");
        let named = match length {
            0..HEADER => matches!(error, ImageError::Short(_)),
            _ => matches!(error, ImageError::Length { found, .. } if found == length),
        };
        assert!(named, "{length}: {error}");
    }
    let longer = [whole.as_slice(), &[0]].concat();
    assert!(matches!(
        read_image(&longer),
        Err(ImageError::Length { .. })
    ));
    let mut newer = whole.clone();
    newer[4] = 3;
    mend(&mut newer);
    let error = read_image(&newer).expect_err("newer");
    assert_eq!(error, ImageError::Version(3));
    assert!(error.to_string().contains("newer greyloom"), "{error}");
    let mut foreign = whole;
    foreign[0] = b'X';
    assert!(matches!(read_image(&foreign), Err(ImageError::Magic(_))));
}

/// The layout as IMAGE.md publishes it, read by hand.
#[test]
fn the_header_lies_as_published() {
    let built = built(&shipped());
    let bytes = image(&built);
    let u16_at = |at: usize| u16::from_le_bytes([bytes[at], bytes[at + 1]]);
    let u32_at =
        |at: usize| u32::from_le_bytes([bytes[at], bytes[at + 1], bytes[at + 2], bytes[at + 3]]);
    assert_eq!(&bytes[..4], b"GLIM");
    assert_eq!([4, 6, 16, 18, 20, 22].map(u16_at), [1, 32, 80, 120, 4, 8]);
    assert_eq!(u32_at(8) as usize, bytes.len());
    assert_eq!(u32_at(12), built.tables.parameter_hash);
    assert_eq!(
        (u32_at(24), u32_at(28)),
        (crc32(&bytes[32..]), crc32(&bytes[..28]))
    );
    assert_eq!(
        (bytes[32], &bytes[33..45]),
        (12, b"harbour-tile".as_slice())
    );
}

/// Numbers that are longer than need be, bits behind the last number: the same table in other bytes.
#[test]
fn other_bytes_of_the_same_table_are_refused() {
    let packed = packed_image(&built(&shipped()).tables);
    let mut long = packed.clone();
    // The length of the panel's name, 12, in two bytes.
    long.splice(32..33, [0x8C, 0x00]);
    mend(&mut long);
    assert_eq!(read_image(&long), Err(ImageError::Form));
}

/// One mutation after the other of images, most of them mended so that CRCs hide nothing; gives how many were read.
fn fuzz(seconds: u64, seed: u64) -> (u64, u64) {
    let seeds: Vec<Vec<u8>> = (0..24)
        .map(random_set)
        .chain((0..12).map(random_zoned_set))
        .chain([shipped(), harbour_tile()])
        .flat_map(|set| {
            let built = built(&set);
            [image(&built), packed_image(&built.tables)]
        })
        .collect();
    let mut random = Random::new(seed);
    let (mut reads, mut accepted) = (0, 0);
    let end = Instant::now() + Duration::from_secs(seconds);
    while Instant::now() < end {
        for _ in 0..200 {
            let mut bytes = seeds[random.below(seeds.len() as u64) as usize].clone();
            for _ in 0..=random.below(4) {
                mutate(&mut bytes, &seeds, &mut random);
            }
            if random.below(10) > 0 {
                mend(&mut bytes);
            }
            reads += 1;
            if let Ok((tables, notes)) = read_image(&bytes) {
                accepted += 1;
                use_table(tables, notes, &bytes);
            }
        }
    }
    (reads, accepted)
}

/// What was read is a table: every form can be made of it, and the image again.
fn use_table(tables: greyloom::emit::Tables, notes: String, bytes: &[u8]) {
    assert_eq!(tables.fault(), None);
    let built = Built {
        tables,
        rounding: Vec::new(),
    };
    if notes.is_empty() {
        assert_eq!(packed_image(&built.tables), bytes);
    }
    for layout in [Layout::Plain, Layout::Packed] {
        assert!(c_table(&built, "pier", layout).is_ok() && !rust_table(&built, layout).is_empty());
    }
}

fn mutate(bytes: &mut Vec<u8>, seeds: &[Vec<u8>], random: &mut Random) {
    if bytes.is_empty() {
        return bytes.push(random.below(256) as u8);
    }
    let at = random.below(bytes.len() as u64) as usize;
    match random.below(8) {
        0 => bytes[at] ^= 1 << random.below(8),
        1 => bytes[at] = [0, 1, 0x7F, 0x80, 0xFF][random.below(5) as usize],
        2 => bytes[at] = random.below(256) as u8,
        3 => bytes.insert(at, random.below(256) as u8),
        4 => drop(bytes.remove(at)),
        5 => bytes.truncate(at),
        6 => bytes[at] = bytes[at].wrapping_add(1),
        _ => {
            let other = &seeds[random.below(seeds.len() as u64) as usize];
            let from = random.below(other.len() as u64) as usize;
            bytes.truncate(at);
            bytes.extend_from_slice(&other[from..]);
        }
    }
}

#[test]
fn no_mutation_makes_the_reader_panic() {
    let (reads, accepted) = fuzz(2, 1);
    assert!(
        reads > 5_000 && accepted > 0,
        "{reads} images, {accepted} accepted"
    );
}

/// `cargo test --release --test verification_image -- --ignored --nocapture`
#[test]
#[ignore = "ten minutes; no_mutation_makes_the_reader_panic runs two seconds of the same"]
fn ten_minutes_of_mutated_images() {
    let (reads, accepted) = fuzz(600, 2);
    println!(
        "{reads} mutated images read, {accepted} of them another table that holds together; no panic"
    );
    assert!(accepted > 0);
}

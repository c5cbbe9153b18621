//! Picture files as luminance: PNG, JPEG, TIFF; 8 and 16 bit, grey and colour, with and without alpha.

use super::Luminance;
use crate::error::{Error, InputError, Result};
use crate::tone::srgb::decode;
use image::{
    ColorType, DynamicImage, ImageBuffer, ImageDecoder, ImageFormat, ImageReader, Limits, Pixel,
};
use std::io::Cursor;
use std::path::Path;

/// Larger pictures are refused before anything is decoded: 16-bit colour of this size takes 0.4 GB.
pub const PIXELS_MAX: u64 = 50_000_000;
/// Longest side: no JPEG has a longer one, and a thin strip of more pixels would take memory for the panel's size times its length.
pub const SIDE_MAX: u32 = 65_535;
/// Largest file: 16-bit colour of the most pixels, uncompressed, and some room.
const FILE_BYTES_MAX: u64 = 512 << 20;
/// What decoding may take at most.
const BYTES_MAX: u64 = 1 << 30;

/// Rec. ITU-R BT.709 luma coefficients, which are the luminances of the primaries of IEC 61966-2-1 (sRGB).
const LUMINANCE: [f64; 3] = [0.2126, 0.7152, 0.0722];

/// Reads a picture. Samples count as sRGB (IEC 61966-2-1), embedded profiles are not looked at; what is transparent shows
/// white, mixed in linear light. A camera's orientation (Exif) is followed.
///
/// # Errors
/// [`Error::File`] where the file can't be read; [`Error::Input`] where it is no PNG, JPEG or TIFF, is damaged, has no
/// pixel, or more than [`PIXELS_MAX`].
pub fn read_picture(file: &Path) -> Result<Luminance> {
    let picture = decoded_picture(
        file,
        "make it smaller first, the panel shows no more than its own pixels",
    )?;
    Ok(Luminance {
        width: picture.width() as usize,
        height: picture.height() as usize,
        values: luminance(&picture),
    })
}

/// The samples of a picture as they stand, turned as its Exif orientation says; `smaller` says what to do about one of too many
/// pixels. Errs as [`read_picture`] does.
pub(crate) fn decoded_picture(file: &Path, smaller: &str) -> Result<DynamicImage> {
    let size = std::fs::metadata(file).map_err(|e| Error::file(file, "read", e))?;
    if size.len() > FILE_BYTES_MAX {
        let found = Some(format!("{} MiB", size.len() >> 20));
        let expected = format!("a picture file of at most {} MiB", FILE_BYTES_MAX >> 20);
        return Err(wrong(file, found, expected));
    }
    let bytes = std::fs::read(file).map_err(|e| Error::file(file, "read", e))?;
    let reader = ImageReader::new(Cursor::new(&bytes)).with_guessed_format();
    let mut reader = reader.map_err(|e| Error::file(file, "read", e))?;
    // The decoder fills what is missing of a JPEG with grey.
    if reader.format() == Some(ImageFormat::Jpeg) && !ends(&bytes) {
        let expected =
            "a whole picture; this JPEG has no end-of-image mark, so part of it is missing";
        return Err(wrong(file, None, expected.into()));
    }
    match reader.format() {
        Some(ImageFormat::Png | ImageFormat::Jpeg | ImageFormat::Tiff) => {}
        other => {
            let found = other.map(|f| format!("{f:?}"));
            let expected = "a PNG, JPEG or TIFF picture, told by its first bytes";
            return Err(wrong(file, found, expected.into()));
        }
    }
    let mut limits = Limits::default();
    limits.max_alloc = Some(BYTES_MAX);
    reader.limits(limits);
    let mut decoder = reader.into_decoder().map_err(|e| damaged(file, &e))?;
    let (width, height) = decoder.dimensions();
    let pixels = u64::from(width) * u64::from(height);
    if pixels == 0 || pixels > PIXELS_MAX || width.max(height) > SIDE_MAX {
        let expected = format!(
            "a picture of 1 to {} million pixels, no side longer than {SIDE_MAX}; {smaller}",
            PIXELS_MAX / 1_000_000
        );
        return Err(wrong(file, Some(format!("{width} × {height}")), expected));
    }
    if matches!(decoder.color_type(), ColorType::Rgb32F | ColorType::Rgba32F) {
        let expected = "samples of 8 or 16 bits; floating-point samples have no agreed white";
        return Err(wrong(
            file,
            Some("32-bit floating point".into()),
            expected.into(),
        ));
    }
    let turned = decoder.orientation().map_err(|e| damaged(file, &e))?;
    let mut picture = DynamicImage::from_decoder(decoder).map_err(|e| damaged(file, &e))?;
    picture.apply_orientation(turned);
    Ok(picture)
}

/// Whether a JPEG's end-of-image mark (ITU-T T.81, B.1.1.3: FF D9) stands near its end, zeros and other padding behind it allowed.
fn ends(jpeg: &[u8]) -> bool {
    const PADDING: usize = 4096;
    let tail = &jpeg[jpeg.len().saturating_sub(PADDING)..];
    tail.windows(2).any(|pair| pair == [0xFF, 0xD9])
}

fn luminance(picture: &DynamicImage) -> Vec<f32> {
    match picture {
        DynamicImage::ImageLuma8(p) => decoded(p, 8),
        DynamicImage::ImageLumaA8(p) => decoded(p, 8),
        DynamicImage::ImageRgb8(p) => decoded(p, 8),
        DynamicImage::ImageRgba8(p) => decoded(p, 8),
        DynamicImage::ImageLuma16(p) => decoded(p, 16),
        DynamicImage::ImageLumaA16(p) => decoded(p, 16),
        DynamicImage::ImageRgb16(p) => decoded(p, 16),
        DynamicImage::ImageRgba16(p) => decoded(p, 16),
        // No other kind is left.
        other => decoded(&other.to_rgba16(), 16),
    }
}

/// Every pixel through a table of the signal's values.
fn decoded<P>(picture: &ImageBuffer<P, Vec<P::Subpixel>>, bits: u32) -> Vec<f32>
where
    P: Pixel,
    P::Subpixel: Into<u32>,
{
    let most = (1u32 << bits) - 1;
    let table: Vec<f64> = (0..=most)
        .map(|s| decode(f64::from(s) / f64::from(most)))
        .collect();
    let at = |s: P::Subpixel| -> f64 { table[Into::<u32>::into(s) as usize] };
    let share = |s: P::Subpixel| f64::from(Into::<u32>::into(s)) / f64::from(most);
    let y = |p: &P| {
        let (y, alpha) = match *p.channels() {
            [grey] => (at(grey), 1.0),
            [grey, alpha] => (at(grey), share(alpha)),
            [r, g, b] => (weighted([at(r), at(g), at(b)]), 1.0),
            [r, g, b, alpha, ..] => (weighted([at(r), at(g), at(b)]), share(alpha)),
            [] => (1.0, 1.0),
        };
        (alpha * y + (1.0 - alpha)) as f32
    };
    picture.pixels().map(y).collect()
}

fn weighted(rgb: [f64; 3]) -> f64 {
    rgb.iter().zip(LUMINANCE).map(|(c, w)| c * w).sum()
}

fn damaged(file: &Path, e: &image::ImageError) -> Error {
    wrong(file, None, format!("a whole picture, but: {e}"))
}

fn wrong(file: &Path, value: Option<String>, expected: String) -> Error {
    Error::Input(InputError {
        file: file.to_owned(),
        line: None,
        field: None,
        value,
        expected,
    })
}

//! Values of arguments: what is accepted, and what is said where it isn't.

use crate::project::limits::{REFRESH_S, REPEAT, TEMPERATURE_C};
use crate::waveforms::LEVELS;
use std::ops::RangeInclusive;

/// Where none is given, in steps.
pub(super) const TOLERANCE_STEPS: f64 = 0.25;
/// Largest tolerance: above half a step neighbouring levels could change places.
const TOLERANCE_STEPS_MAX: f64 = 0.5;

/// Printed paper reaches about 20.
const CONTRAST: (f64, f64) = (1.0, 100.0);

const THREADS: RangeInclusive<usize> = 1..=256;
/// Patches of a chart: more than the richest model has parameters, and no more than are planned in reasonable time.
const PATCHES: RangeInclusive<usize> = 20..=2000;
const PAGES: RangeInclusive<usize> = 1..=2000;

/// A number of grey levels.
pub(super) fn levels(text: &str) -> Result<usize, String> {
    whole(text, LEVELS)
}

/// A number of patches.
pub(super) fn patches(text: &str) -> Result<usize, String> {
    whole(text, PATCHES)
}

/// A number of pages.
pub(super) fn pages(text: &str) -> Result<usize, String> {
    whole(text, PAGES)
}

/// A number of threads.
pub(super) fn threads(text: &str) -> Result<usize, String> {
    whole(text, THREADS)
}

/// Picture pixels to a pixel of the panel, at most.
pub(super) const MAGNIFY_MAX: usize = 32;

/// Picture pixels to a pixel of the panel.
pub(super) fn magnify(text: &str) -> Result<usize, String> {
    whole(text, 1..=MAGNIFY_MAX)
}

/// Readings of a patch.
pub(super) fn repeats(text: &str) -> Result<u32, String> {
    whole(text, REPEAT.min as usize..=REPEAT.max as usize).map(|n| n as u32)
}

fn whole(text: &str, range: RangeInclusive<usize>) -> Result<usize, String> {
    let number = text.trim().parse().ok();
    number.filter(|n| range.contains(n)).ok_or_else(|| {
        format!(
            "expected a whole number from {} to {}",
            range.start(),
            range.end()
        )
    })
}

/// Numbers of grey levels from a first to a last, `8..64`.
pub(super) fn level_range(text: &str) -> Result<(usize, usize), String> {
    let (first, last) = between(text, "numbers of levels, such as 8..64")?;
    rising((levels(first)?, levels(last)?))
}

/// Times from a first to a last, each with its unit, `4s..20s`.
pub(super) fn second_range(text: &str) -> Result<(f64, f64), String> {
    let (first, last) = between(text, "times with their units, such as 4s..20s")?;
    rising((seconds(first)?, seconds(last)?))
}

fn between<'t>(text: &'t str, what: &str) -> Result<(&'t str, &'t str), String> {
    text.split_once("..")
        .ok_or_else(|| format!("expected a first and a last of {what}"))
}

/// Errs where the last comes before the first.
fn rising<T: PartialOrd>((first, last): (T, T)) -> Result<(T, T), String> {
    if first <= last {
        Ok((first, last))
    } else {
        Err("expected the smaller first, the larger last".to_owned())
    }
}

/// A time with its unit, `12s`, `7.5 s` or `800ms`, in seconds.
pub(super) fn seconds(text: &str) -> Result<f64, String> {
    let wrong = || "expected a time with its unit, such as 12s, 7.5s or 800ms".to_owned();
    let trimmed = text.trim();
    let (digits, per_second) = match trimmed.strip_suffix("ms") {
        Some(digits) => (digits, 1e3),
        None => (trimmed.strip_suffix('s').ok_or_else(wrong)?, 1.0),
    };
    let seconds = plain_number(digits).ok_or_else(wrong)? / per_second;
    if REFRESH_S.contains(seconds) {
        Ok(seconds)
    } else {
        Err(format!(
            "expected a time from {} s to {} s",
            REFRESH_S.min, REFRESH_S.max
        ))
    }
}

/// Above 0, at most 0.5.
pub(super) fn tolerance_steps(text: &str) -> Result<f64, String> {
    match plain_number(text) {
        Some(steps) if steps > 0.0 && steps <= TOLERANCE_STEPS_MAX => Ok(steps),
        _ => Err(format!(
            "expected a number of steps above 0 and at most {TOLERANCE_STEPS_MAX}"
        )),
    }
}

/// A share of panels.
pub(super) fn share(text: &str) -> Result<f64, String> {
    const SHARE: RangeInclusive<f64> = 0.5..=0.99;
    match plain_number(text) {
        Some(share) if SHARE.contains(&share) => Ok(share),
        _ => Err(format!(
            "expected a share from {} to {}, such as 0.95",
            SHARE.start(),
            SHARE.end()
        )),
    }
}

/// From 1, which asks for nothing, to 100.
pub(super) fn contrast(text: &str) -> Result<f64, String> {
    match plain_number(text) {
        Some(c) if (CONTRAST.0..=CONTRAST.1).contains(&c) => Ok(c),
        _ => Err(format!(
            "expected a contrast from {} to {}, reflectance over reflectance, such as 6",
            CONTRAST.0, CONTRAST.1
        )),
    }
}

/// A number above 0, at most a million.
pub(super) fn above_zero(text: &str) -> Result<f64, String> {
    above_zero_to(1e6, text)
}

/// Voltage of a cell.
pub(super) fn cell_v(text: &str) -> Result<f64, String> {
    above_zero_to(1e3, text)
}

fn above_zero_to(most: f64, text: &str) -> Result<f64, String> {
    match plain_number(text) {
        Some(x) if x > 0.0 && x <= most => Ok(x),
        _ => Err(format!("expected a number above 0 and at most {most}")),
    }
}

/// A temperature, °C.
pub(super) fn temperature_c(text: &str) -> Result<f64, String> {
    match plain_number(text) {
        Some(degrees) if TEMPERATURE_C.contains(degrees) => Ok(degrees),
        _ => Err(format!("expected {}", TEMPERATURE_C)),
    }
}

/// Four places, `x,y x,y x,y x,y`.
pub(super) fn corners(text: &str) -> Result<[(f64, f64); 4], String> {
    let pair = |place: &str| {
        let (x, y) = place.split_once(',')?;
        Some((plain_number(x)?, plain_number(y)?))
    };
    let places: Option<Vec<(f64, f64)>> = text.split_whitespace().map(pair).collect();
    places.and_then(|p| p.try_into().ok()).ok_or_else(|| {
        "expected four corners in pixels, such as \"120,95 1510,101 1498,1020 112,1009\"".to_owned()
    })
}

/// Digits with a sign and a decimal point; not `inf`, `nan` or `1e3`.
fn plain_number(text: &str) -> Option<f64> {
    let text = text.trim();
    let plain = |b: u8| b.is_ascii_digit() || b"+-.".contains(&b);
    text.bytes().all(plain).then(|| text.parse().ok()).flatten()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn times_carry_their_unit() {
        for (text, expected) in [
            ("12s", 12.0),
            ("12 s", 12.0),
            ("7.5s", 7.5),
            ("800ms", 0.8),
            (" 800 ms ", 0.8),
            ("3600s", 3600.0),
            ("1ms", 0.001),
        ] {
            assert_eq!(seconds(text), Ok(expected), "{text:?}");
        }
        for text in [
            "12", "", "s", "ms", "12 min", "-3s", "0s", "nans", "infs", "1e3s", "1,5s", "12ss",
            "3600.1s", "0.9ms", "twelve", "12µs", "12us",
        ] {
            assert!(seconds(text).is_err(), "{text:?}");
        }
    }

    #[test]
    fn counts_are_whole_numbers_within_their_interval() {
        assert_eq!((levels("2"), levels(" 256 ")), (Ok(2), Ok(256)));
        assert_eq!((threads("1"), threads("256")), (Ok(1), Ok(256)));
        for text in [
            "1",
            "257",
            "-1",
            "2.5",
            "1e2",
            "",
            "x",
            "99999999999999999999",
        ] {
            let expected = "expected a whole number from 2 to 256";
            assert_eq!(levels(text), Err(expected.to_owned()), "{text:?}");
        }
        assert!(threads("0").is_err() && threads("257").is_err());
    }

    #[test]
    fn tolerances_end_at_half_a_step() {
        assert_eq!(tolerance_steps("0.5"), Ok(0.5));
        assert_eq!(tolerance_steps("0.001"), Ok(0.001));
        for text in ["0", "0.501", "-0.1", "nan", ""] {
            assert!(tolerance_steps(text).is_err(), "{text:?}");
        }
    }

    #[test]
    fn contrasts_have_an_interval() {
        assert_eq!((contrast("1"), contrast("100")), (Ok(1.0), Ok(100.0)));
        for text in ["0.99", "100.1", "-6", "6:1", "nan", ""] {
            assert!(contrast(text).is_err(), "{text:?}");
        }
    }

    #[test]
    fn ranges_rise() {
        assert_eq!(level_range("8..64"), Ok((8, 64)));
        assert_eq!(level_range("8 .. 8"), Ok((8, 8)));
        assert_eq!(second_range("800ms..20s"), Ok((0.8, 20.0)));
        for text in [
            "64..8", "1..8", "8..257", "8", "8-64", "..", "8..", "..64", "8..6x",
        ] {
            assert!(level_range(text).is_err(), "{text:?}");
        }
        for text in ["20s..4s", "4..20", "4s", "4s..", "0s..4s", "4s..3601s"] {
            assert!(second_range(text).is_err(), "{text:?}");
        }
    }

    #[test]
    fn temperatures_have_an_interval() {
        assert_eq!(temperature_c("-60"), Ok(-60.0));
        assert_eq!(temperature_c("120"), Ok(120.0));
        for text in ["-60.1", "120.1", "warm", "nan"] {
            assert!(temperature_c(text).is_err(), "{text:?}");
        }
    }
}

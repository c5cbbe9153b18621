//! Numbers as people read them.

use crate::drive::rows_in_words;

/// `x` with up to so many decimals, without trailing zeros: 9, 7.5, -2.
pub(super) fn number(x: f64, decimals: usize) -> String {
    let text = format!("{x:.decimals$}");
    let trimmed = if text.contains('.') {
        text.trim_end_matches('0').trim_end_matches('.')
    } else {
        &text
    };
    if trimmed == "-0" {
        "0".into()
    } else {
        trimmed.to_owned()
    }
}

/// A value and its spread, both to the second significant digit of the spread.
pub(super) fn with_spread(value: f64, sigma: f64) -> (String, String) {
    if !sigma.is_finite() || sigma <= 0.0 {
        return (number(value, 4), "unknown".into());
    }
    let decimals = (1.0 - sigma.log10().floor()).clamp(0.0, 9.0) as usize;
    (format!("{value:.decimals$}"), format!("{sigma:.decimals$}"))
}

/// `x` to so many significant digits, as a number; what isn't finite stays.
pub(super) fn significant(x: f64, digits: usize) -> f64 {
    format!("{x:.*e}", digits.saturating_sub(1))
        .parse()
        .unwrap_or(x)
}

/// `durations played 1.9 times as long`; `None` where they stand as they are.
pub(super) fn played_longer(factor: f64) -> Option<String> {
    let times = number(factor, 2);
    (factor != 1.0).then(|| format!("durations played {times} times as long"))
}

/// `1 page`, `3 pages`.
pub(super) fn count(n: usize, one: &str) -> String {
    if n == 1 {
        format!("1 {one}")
    } else if one.ends_with("ch") {
        format!("{n} {one}es")
    } else {
        format!("{n} {one}s")
    }
}

/// `a`, `a and b`, `a, b and c`.
pub(super) fn listed(items: &[String]) -> String {
    match items {
        [] => String::new(),
        [only] => only.clone(),
        [first @ .., last] => format!("{} and {last}", first.join(", ")),
    }
}

/// `row 0, rows 1 to 9 and rows 10 to 79`, from first and last rows.
pub(super) fn row_zones(zones: impl Iterator<Item = (usize, usize)>) -> String {
    let each = zones.map(|(first, last)| rows_in_words(first, last));
    listed(&each.collect::<Vec<_>>())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn zones_are_rows_from_and_to() {
        let zones = [(0, 0), (1, 9), (10, 79)].into_iter();
        assert_eq!(row_zones(zones), "row 0, rows 1 to 9 and rows 10 to 79");
    }

    #[test]
    fn numbers_lose_what_says_nothing() {
        assert_eq!(
            [9.0, 7.5, -2.0, 0.127, -0.001, 100.0].map(|x| number(x, 2)),
            ["9", "7.5", "-2", "0.13", "0", "100"].map(str::to_owned)
        );
    }

    #[test]
    fn a_value_stands_to_the_second_digit_of_its_spread() {
        for (value, sigma, expected) in [
            (0.718_43, 0.001_23, ("0.7184", "0.0012")),
            (1234.5, 56.7, ("1234", "57")),
            (3.456, 0.98, ("3.46", "0.98")),
        ] {
            let (value, sigma) = with_spread(value, sigma);
            assert_eq!((value.as_str(), sigma.as_str()), expected);
        }
        assert_eq!(with_spread(1.5, f64::INFINITY).1, "unknown");
    }

    #[test]
    fn significant_digits_are_kept() {
        assert_eq!(significant(123_456.0, 3), 123_000.0);
        assert_eq!(significant(-0.000_123_456, 4), -0.000_123_5);
        assert!(significant(f64::NAN, 4).is_nan());
    }

    #[test]
    fn lists_and_counts_read_as_prose() {
        let names = ["a", "b", "c"].map(str::to_owned);
        assert_eq!(listed(&names), "a, b and c");
        assert_eq!(listed(&names[..1]), "a");
        assert_eq!(
            [count(1, "page"), count(2, "patch"), count(0, "stray")],
            ["1 page", "2 patches", "0 strays"].map(str::to_owned)
        );
    }
}

//! Flashes against the definition of WCAG 2.2, on series laid out by hand.

use greyloom::drive::{Luminance, general_flashes};

/// Relative: products and sums of a few factors.
const ROUNDING: f64 = 1e-12;

/// A square wave between two luminances, the first change after a tenth of a second, then at `half_s` each.
fn square(high: f64, low: f64, changes: u32, half_s: f64) -> Vec<Luminance> {
    let mut series = vec![(0.0, high)];
    for change in 0..changes {
        let t_s = 0.1 + f64::from(change) * half_s;
        let (from, to) = if change % 2 == 0 {
            (high, low)
        } else {
            (low, high)
        };
        series.extend([(t_s, from), (t_s, to)]);
    }
    series.push((4.0, series[series.len() - 1].1));
    let luminance = |(t_s, relative)| Luminance { t_s, relative };
    series.into_iter().map(luminance).collect()
}

/// W3C Recommendation WCAG 2.2, "general flash and red flash thresholds" and Success Criterion 2.3.1: a pair of
/// opposing changes of 10 % or more of the maximum relative luminance, the darker image below 0.80; no more
/// than three in any one second. Counts and verdicts of series laid out by hand.
#[test]
fn general_flashes_by_their_definition() {
    let cases = [
        ("nothing", square(1.0, 0.0, 0, 0.1), 0, true),
        ("one change is no pair", square(1.0, 0.0, 1, 0.1), 0, true),
        ("one flash", square(1.0, 0.0, 2, 0.1), 1, true),
        ("three in a second", square(1.0, 0.0, 6, 0.1), 3, true),
        ("three and a half", square(1.0, 0.0, 7, 0.1), 3, true),
        ("four in a second", square(1.0, 0.0, 8, 0.1), 4, false),
        (
            "three a second for long",
            square(1.0, 0.0, 20, 1.0 / 6.0),
            3,
            true,
        ),
        (
            "four a second for long",
            square(1.0, 0.0, 24, 1.0 / 8.0),
            4,
            false,
        ),
        ("less than 10 %", square(0.7, 0.61, 30, 0.05), 0, true),
        ("10 %", square(0.7, 0.6, 8, 0.1), 4, false),
        ("the darker at 0.80", square(0.95, 0.80, 30, 0.05), 0, true),
        (
            "the darker above 0.80",
            square(1.0, 0.85, 30, 0.05),
            0,
            true,
        ),
        (
            "the darker below 0.80",
            square(0.95, 0.79, 8, 0.1),
            4,
            false,
        ),
    ];
    for (name, series, count, passes) in cases {
        let found = general_flashes(&series).unwrap();
        assert_eq!(found.most_in_a_second, count, "{name}");
        assert_eq!(found.within_limit(), passes, "{name}");
    }
}

/// The same four flashes, with a minute's pause before them: where the second is, and how far it swings.
#[test]
fn where_and_how_far_it_flashes() {
    let mut series = square(0.9, 0.2, 2, 0.1);
    let later = square(0.9, 0.3, 8, 0.1);
    series.extend(later.iter().map(|l| Luminance {
        t_s: l.t_s + 60.0,
        ..*l
    }));
    let found = general_flashes(&series).unwrap();
    assert_eq!(found.most_in_a_second, 4);
    assert!((found.from_s - 60.1).abs() <= ROUNDING * 60.0, "{found:?}");
    assert!((found.largest_swing - 0.7).abs() <= ROUNDING, "{found:?}");
}

//! Flashes against the definition of the Web Content Accessibility Guidelines.
//!
//! W3C Recommendation WCAG 2.2 (2023), "general flash and red flash thresholds": a flash is a pair of opposing changes in
//! relative luminance of 10 % or more of the maximum relative luminance where the relative luminance of the darker image
//! is below 0.80; success criterion 2.3.1: no more than three in any one-second period.

use greyloom::drive::flash::{FLASHES_MAX, flashes_in_a_second};

/// Blinks between two luminances at a frequency, from `dark` on, sampled 200 times a second.
fn blinking((dark, light): (f64, f64), hertz: f64, seconds: f64) -> Vec<(f64, f64)> {
    let at = |k: usize| {
        let t_s = k as f64 / 200.0;
        let up = (t_s * hertz).fract() >= 0.5;
        (t_s, if up { light } else { dark })
    };
    (0..(seconds * 200.0) as usize).map(at).collect()
}

#[test]
fn three_flashes_in_a_second_pass_and_four_do_not() {
    let three = flashes_in_a_second(&blinking((0.1, 0.9), 3.0, 3.0));
    let four = flashes_in_a_second(&blinking((0.1, 0.9), 4.0, 3.0));
    assert_eq!((three, four), (3, 4));
    assert!(three <= FLASHES_MAX && four > FLASHES_MAX);
}

#[test]
fn small_changes_and_bright_pairs_do_not_count() {
    assert_eq!(flashes_in_a_second(&blinking((0.40, 0.49), 5.0, 2.0)), 0);
    assert_eq!(flashes_in_a_second(&blinking((0.40, 0.50), 5.0, 2.0)), 5);
    // Darker state at 0.80 or above.
    assert_eq!(flashes_in_a_second(&blinking((0.80, 1.0), 5.0, 2.0)), 0);
    assert_eq!(flashes_in_a_second(&blinking((0.79, 1.0), 5.0, 2.0)), 5);
}

#[test]
fn one_change_is_no_pair_however_many_steps_it_takes() {
    let rise: Vec<(f64, f64)> = (0..=100)
        .map(|k| (0.01 * f64::from(k), 0.01 * f64::from(k)))
        .collect();
    assert_eq!(flashes_in_a_second(&rise), 0);
    let fall = rise.iter().map(|(t, l)| (t + 1.0, 1.0 - l));
    let both: Vec<(f64, f64)> = rise.iter().copied().chain(fall).collect();
    // Up and down again, but the two changes are a second apart.
    assert_eq!(flashes_in_a_second(&both), 0);
    let quick: Vec<(f64, f64)> = both.iter().map(|(t, l)| (0.4 * t, *l)).collect();
    assert_eq!(flashes_in_a_second(&quick), 1);
    assert_eq!(flashes_in_a_second(&[]), 0);
    assert_eq!(flashes_in_a_second(&[(0.0, 0.5)]), 0);
}

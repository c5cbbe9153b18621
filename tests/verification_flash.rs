//! Flashes of a series against plain counting in windows, and the interval that keeps the limit.

use greyloom::drive::{
    FLASHES_A_SECOND, FlashError, Luminance, general_flashes, repeated_flashes,
    shortest_refresh_interval_s,
};
use rand_xoshiro::Xoshiro256PlusPlus;
use rand_xoshiro::rand_core::{RngCore, SeedableRng};

/// s: the moments at which windows of the plain count begin, and of its samples.
const GRID_S: f64 = 1e-3;

/// s: bisection ends at this.
const INTERVAL_S: f64 = 1e-8;

/// Share of the largest luminance: sums of a few.
const ROUNDING: f64 = 1e-12;

fn series(points: &[(f64, f64)]) -> Vec<Luminance> {
    let luminance = |&(t_s, relative)| Luminance { t_s, relative };
    points.iter().map(luminance).collect()
}

/// The series on the grid.
fn sampled(points: &[(f64, f64)]) -> Vec<f64> {
    let end = (points[points.len() - 1].0 / GRID_S).round() as usize;
    let at = |i: usize| {
        let t = i as f64 * GRID_S;
        let piece = points.windows(2).find(|p| p[1].0 >= t - 1e-9).unwrap();
        let ((t0, l0), (t1, l1)) = (piece[0], piece[1]);
        l0 + (l1 - l0) * ((t - t0) / (t1 - t0)).clamp(0.0, 1.0)
    };
    (0..=end).map(at).collect()
}

/// Alternating changes of 0.10 or more within a window: the longest chain, taken greedily from either first direction.
fn changes(window: &[f64]) -> usize {
    let chain = |first_up: bool| {
        let (mut up, mut extreme, mut count) = (first_up, window[0], 0);
        for &l in window {
            let change = if up { l - extreme } else { extreme - l };
            if change >= 0.1 - ROUNDING {
                (up, extreme, count) = (!up, l, count + 1);
            } else if change < 0.0 {
                extreme = l;
            }
        }
        count
    };
    chain(true).max(chain(false))
}

/// The most pairs in any window of `parts` grid steps.
fn counted(samples: &[f64], parts: usize) -> usize {
    let windows = samples.windows((parts + 1).min(samples.len()));
    windows.map(|w| changes(w) / 2).max().unwrap()
}

fn share(rng: &mut Xoshiro256PlusPlus) -> f64 {
    (rng.next_u64() >> 11) as f64 / (1u64 << 53) as f64
}

/// Random polygons below 0.75, from slow to fast: no fewer flashes than the grid's windows of a second find,
/// no more than those of three grid steps more.
#[test]
fn as_many_as_in_the_fullest_window() {
    let mut rng = Xoshiro256PlusPlus::seed_from_u64(7);
    let mut seen = [0; 12];
    for round in 0..150 {
        let longest_s = 0.02 + 0.002 * f64::from(round);
        let mut points = vec![(0.0, 0.4)];
        while points[points.len() - 1].0 < 3.0 {
            let steps = 1.0 + (share(&mut rng) * longest_s / GRID_S).floor();
            let t_s = points[points.len() - 1].0 + steps * GRID_S;
            points.push((t_s, 0.75 * share(&mut rng)));
        }
        let found = general_flashes(&series(&points)).unwrap().most_in_a_second;
        let samples = sampled(&points);
        let (least, most) = (counted(&samples, 1000), counted(&samples, 1003));
        assert!(
            least <= found && found <= most,
            "{round}: {least} {found} {most}"
        );
        seen[found.min(11)] += 1;
    }
    assert!(seen.iter().filter(|n| **n > 0).count() >= 5, "{seen:?}");
}

#[test]
fn many_small_steps_are_one_change() {
    let down = (0..=50).map(|i| (f64::from(i) * 0.01, 0.9 - f64::from(i) * 0.015));
    let up = (1..=50).map(|i| (0.5 + f64::from(i) * 0.005, 0.15 + f64::from(i) * 0.015));
    let stairs: Vec<(f64, f64)> = down.chain(up).collect();
    let found = general_flashes(&series(&stairs)).unwrap();
    assert_eq!(found.most_in_a_second, 1);
    assert!((found.largest_swing - 0.75).abs() <= ROUNDING);
    // A ripple of 0.09 on the way down is no extreme.
    let ripple = |(i, (t, l)): (usize, &(f64, f64))| (*t, if i % 2 == 1 { l + 0.09 } else { *l });
    let rippled: Vec<(f64, f64)> = stairs.iter().enumerate().map(ripple).collect();
    assert_eq!(
        general_flashes(&series(&rippled)).unwrap().most_in_a_second,
        1
    );
    let still = general_flashes(&series(&[(0.0, 0.30), (1.0, 0.35), (2.0, 0.27)])).unwrap();
    assert_eq!((still.most_in_a_second, still.from_s), (0, 0.0));
    assert!((still.largest_swing - 0.08).abs() <= ROUNDING);
}

/// A slow fade counts with what it does within the second.
#[test]
fn a_fade_over_seconds() {
    let fade = |down_s: f64| [(0.0, 1.0), (down_s, 0.0), (2.0 * down_s, 1.0)];
    let of = |down_s| {
        general_flashes(&series(&fade(down_s)))
            .unwrap()
            .most_in_a_second
    };
    // The last 10 % down and the first 10 % up take a fifth of a fade.
    assert_eq!((of(4.9), of(5.1)), (1, 0));
}

/// Dark, clear and dark again, as an erase does, within `width_s`.
fn blink(width_s: f64) -> Vec<Luminance> {
    series(&[
        (0.0, 0.8),
        (0.0, 0.1),
        (0.4 * width_s, 0.1),
        (0.4 * width_s, 0.9),
        (0.7 * width_s, 0.9),
        (0.7 * width_s, 0.2),
        (width_s, 0.2),
        (width_s, 0.8),
    ])
}

#[test]
fn the_shortest_interval_is_the_edge_of_the_limit() {
    for width_s in [0.2, 0.3, 0.45] {
        let refresh = blink(width_s);
        assert_eq!(general_flashes(&refresh).unwrap().most_in_a_second, 2);
        let interval_s = shortest_refresh_interval_s(&refresh).unwrap().unwrap();
        let most = |s| repeated_flashes(&refresh, s).unwrap().most_in_a_second;
        assert!(interval_s > width_s && interval_s < width_s + 1.0);
        assert!(most(interval_s) <= FLASHES_A_SECOND, "{width_s}");
        assert!(
            most(interval_s - INTERVAL_S) > FLASHES_A_SECOND,
            "{width_s}"
        );
        // Eight changes in a row take two intervals less the longest pause between two changes: inside a refresh 0.4 of
        // its width, or from one to the next.
        let wanted_s = f64::max(1.0 - width_s, 0.5 + 0.2 * width_s);
        assert!(
            (interval_s - wanted_s).abs() <= INTERVAL_S,
            "{width_s}: {interval_s}"
        );
    }
}

#[test]
fn intervals_without_an_edge() {
    let calm = series(&[(0.0, 0.8), (1.0, 0.1), (2.0, 0.8)]);
    assert_eq!(shortest_refresh_interval_s(&calm), Ok(Some(2.0)));
    let mut hasty = blink(0.2);
    hasty.extend(blink(0.2).iter().map(|l| Luminance {
        t_s: l.t_s + 0.25,
        ..*l
    }));
    assert_eq!(general_flashes(&hasty).unwrap().most_in_a_second, 4);
    assert_eq!(shortest_refresh_interval_s(&hasty), Ok(None));
    let moment = series(&[(3.0, 0.5)]);
    assert_eq!(shortest_refresh_interval_s(&moment), Ok(Some(0.01)));
    // A step down, and back where the next begins: one flash a refresh.
    let drop = series(&[(0.0, 0.8), (0.1, 0.8), (0.1, 0.2)]);
    let interval_s = shortest_refresh_interval_s(&drop).unwrap().unwrap();
    assert!(
        repeated_flashes(&drop, interval_s - INTERVAL_S)
            .unwrap()
            .most_in_a_second
            == 4
    );
    assert!(repeated_flashes(&drop, 0.1).unwrap().most_in_a_second >= 5);
}

#[test]
fn series_that_cannot_be_judged() {
    assert_eq!(general_flashes(&[]), Err(FlashError::Empty));
    for (wrong, index) in [
        (vec![(0.0, 1.01)], 0),
        (vec![(0.0, 0.5), (1.0, -0.01)], 1),
        (vec![(0.0, 0.5), (1.0, f64::NAN)], 1),
        (vec![(0.0, 0.5), (1.0, 0.5), (0.9, 0.5)], 2),
        (vec![(f64::NAN, 0.5)], 0),
        (vec![(f64::INFINITY, 0.5)], 0),
    ] {
        let of = |r| matches!(r, Err(FlashError::Sample { index: i, .. }) if i == index);
        assert!(of(general_flashes(&series(&wrong))), "{wrong:?}");
        assert!(of(repeated_flashes(&series(&wrong), 9.0)), "{wrong:?}");
        assert!(shortest_refresh_interval_s(&series(&wrong)).is_err());
    }
    for interval_s in [0.0, 0.199, f64::NAN, f64::INFINITY] {
        let found = repeated_flashes(&blink(0.2), interval_s);
        assert!(
            matches!(found, Err(FlashError::Interval { .. })),
            "{interval_s}"
        );
    }
    assert!(repeated_flashes(&blink(0.2), 0.2).is_ok());
}

//! Pairs of opposing changes in a series of luminances.

use super::flash::{FLASH_CHANGE, Luminance};

/// Two opposing changes around one extreme.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Pair {
    /// The last moment before and the first after the extreme at which the luminance is a counting change away, s.
    pub from_s: f64,
    pub to_s: f64,
    /// The darkest of the extreme and its neighbours.
    pub darkest: f64,
    /// The larger of the two changes.
    pub largest_change: f64,
}

/// Such as 0.9 − 0.8, which rounds to less than 0.1.
const ROUNDING: f64 = 1e-12;
const COUNTS: f64 = FLASH_CHANGE - ROUNDING;

/// All pairs, in order; each shares a change with the next.
pub(super) fn pairs_of(series: &[Luminance]) -> Vec<Pair> {
    let extremes = extremes(series);
    let three = extremes.windows(3);
    three.map(|e| pair(series, [e[0], e[1], e[2]])).collect()
}

fn pair(series: &[Luminance], places: [usize; 3]) -> Pair {
    let [before, here, after] = places.map(|i| series[i].relative);
    // Towards the extreme from either side; the extremes next to it are a counting change away for certain.
    let backwards = series[places[0]..=places[1]].iter().rev();
    let onwards = series[places[1]..=places[2]].iter();
    Pair {
        from_s: first_away_s(backwards, here),
        to_s: first_away_s(onwards, here),
        darkest: before.min(here).min(after),
        largest_change: (before - here).abs().max((after - here).abs()),
    }
}

/// The first moment, in the order given, at which the luminance is a counting change away from `relative`, s.
fn first_away_s<'a>(samples: impl Iterator<Item = &'a Luminance>, relative: f64) -> f64 {
    let mut last: Option<&Luminance> = None;
    for sample in samples {
        let away = (sample.relative - relative).abs();
        if away >= COUNTS {
            return last.map_or(sample.t_s, |near| {
                let near_away = (near.relative - relative).abs();
                let share = (COUNTS - near_away) / (away - near_away);
                near.t_s + share * (sample.t_s - near.t_s)
            });
        }
        last = Some(sample);
    }
    last.map_or(f64::NAN, |l| l.t_s)
}

/// Places of the extremes: each is a counting change or more from the one before it.
fn extremes(series: &[Luminance]) -> Vec<usize> {
    let mut found = Vec::new();
    let (mut lowest, mut highest) = (0, 0);
    // Before the first change neither way is known.
    let mut rising = None;
    for (i, sample) in series.iter().enumerate() {
        let l = sample.relative;
        if l < series[lowest].relative {
            lowest = i;
        }
        if l > series[highest].relative {
            highest = i;
        }
        if rising != Some(true) && l - series[lowest].relative >= COUNTS {
            found.push(lowest);
            (rising, highest) = (Some(true), i);
        } else if rising != Some(false) && series[highest].relative - l >= COUNTS {
            found.push(highest);
            (rising, lowest) = (Some(false), i);
        }
    }
    found.extend(rising.map(|up| if up { highest } else { lowest }));
    found
}

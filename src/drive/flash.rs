//! General flash: how often a luminance changes back and forth in a second.

/// Changes below this share of the largest luminance don't count.
pub const LEAST_CHANGE: f64 = 0.10;
/// Nor do pairs of changes whose darker state is this bright or brighter.
pub const DARKER_BELOW: f64 = 0.80;
/// General flashes allowed within any one second.
pub const FLASHES_MAX: usize = 3;
const SECOND: f64 = 1.0;

/// General flashes of a luminance, as a share of its largest value, over time: pairs of opposing changes of 10 % or more
/// where the darker state is below 0.80 of the largest, in the worst one-second span.
///
/// `series` holds time, s, rising, and luminance, 0…1. Source: W3C, Web Content Accessibility Guidelines 2.2 (2023),
/// definition of "general flash and red flash thresholds", success criterion 2.3.1.
pub fn flashes_in_a_second(series: &[(f64, f64)]) -> usize {
    let changes = changes(series);
    let within = |from: f64| {
        let inside: Vec<&Change> = changes
            .iter()
            .filter(|c| c.t_s >= from && c.t_s < from + SECOND)
            .collect();
        pairs(&inside)
    };
    changes.iter().map(|c| within(c.t_s)).max().unwrap_or(0)
}

/// A change from one extreme to the next.
#[derive(Debug, Clone, Copy, PartialEq)]
struct Change {
    /// When it came to 10 %.
    t_s: f64,
    from: f64,
    to: f64,
}

impl Change {
    fn rises(&self) -> bool {
        self.to > self.from
    }

    fn darker(&self) -> f64 {
        self.from.min(self.to)
    }

    /// Whether `now` carries it on.
    fn goes_on(&self, now: f64) -> bool {
        (now > self.to) == self.rises()
    }
}

/// Changes of 10 % or more between extremes; many small ones in the same direction are one.
fn changes(series: &[(f64, f64)]) -> Vec<Change> {
    let Some(&(_, first)) = series.first() else {
        return Vec::new();
    };
    let mut changes: Vec<Change> = Vec::new();
    let (mut low, mut high) = (first, first);
    for &(t_s, now) in series {
        let begins = |from: f64| Change { t_s, from, to: now };
        match changes.last_mut() {
            Some(change) if change.goes_on(now) => change.to = now,
            Some(change) => {
                let from = change.to;
                if reaches(from, now) {
                    changes.push(begins(from));
                }
            }
            None => {
                (low, high) = (low.min(now), high.max(now));
                let from = if now - low >= high - now { low } else { high };
                if reaches(from, now) {
                    changes.push(begins(from));
                }
            }
        }
    }
    changes
}

/// Whether a change is large enough to count; a rounding error less than 10 % is 10 %.
fn reaches(from: f64, to: f64) -> bool {
    (to - from).abs() >= LEAST_CHANGE * (1.0 - 1e-9)
}

/// Pairs of opposing changes, each change used once, whose darker state is dark enough.
fn pairs(changes: &[&Change]) -> usize {
    let mut pairs = 0;
    let mut open: Option<&Change> = None;
    for change in changes {
        match open {
            Some(before) if before.rises() != change.rises() => {
                if before.darker().min(change.darker()) < DARKER_BELOW {
                    pairs += 1;
                }
                open = None;
            }
            _ => open = Some(change),
        }
    }
    pairs
}

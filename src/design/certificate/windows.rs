//! Between what lightnesses the levels of a ladder lie, and where ticks come into that.

/// The first of 0…most for which a condition holds that, once it does, goes on to; sought from `near` outwards.
pub(super) fn first_where(most: u32, near: u32, mut holds: impl FnMut(u32) -> bool) -> Option<u32> {
    let (mut low, mut high, mut stride) = (0, near, 1);
    if holds(near) {
        while high > low {
            let next = high.saturating_sub(stride);
            if !holds(next) {
                low = next + 1;
                break;
            }
            (high, stride) = (next, 2 * stride);
        }
    } else {
        low = near + 1;
        loop {
            let next = (low + stride - 1).min(most);
            if low > most || (next == most && !holds(most)) {
                return None;
            }
            if holds(next) {
                high = next;
                break;
            }
            (low, stride) = (next + 1, 2 * stride);
        }
    }
    while low < high {
        let middle = (low + high) / 2;
        if holds(middle) {
            high = middle;
        } else {
            low = middle + 1;
        }
    }
    Some(low)
}

/// Ladders wider than asked within what a region reaches.
pub(super) struct Ladder {
    pub levels: usize,
    pub least_step: f64,
    pub lowest: f64,
    pub highest: f64,
    /// The largest error allowed on any of them, L*.
    pub error: f64,
}

impl Ladder {
    /// Between what lightnesses a level's target lies.
    pub fn targets(&self, level: usize) -> (f64, f64) {
        let below = level as f64 * self.least_step;
        let above = (self.levels - 1 - level) as f64 * self.least_step;
        (self.lowest + below, self.highest - above)
    }
}

/// Levels in the order in which they tell most: from the middle outwards, coarsely first.
pub(super) fn order(levels: usize) -> impl Iterator<Item = usize> {
    let eighths = [4, 6, 2, 5, 3, 7, 1, 8, 0];
    eighths.into_iter().map(move |e| e * (levels - 1) / 8)
}

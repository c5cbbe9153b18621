//! What a player asks of a set: which band, which ladder, how much longer.

use super::set::{Band, Interval, StretchAt, Waveforms};
use crate::drive::{Field, RowTicks};

impl Waveforms {
    /// The band that serves a temperature, or `None` outside every band.
    ///
    /// A band serves low ≤ temperature < high; the warmest serves its upper limit too.
    pub fn band_at(&self, temperature_c: f64) -> Option<&Band> {
        let inside = |b: &&Band| b.temperature_c.holds(temperature_c);
        let upper = |b: &&Band| b.temperature_c.high == temperature_c;
        self.bands
            .iter()
            .find(inside)
            .or_else(|| self.bands.last().filter(upper))
    }

    /// The band that serves a temperature, where it drives these fields.
    pub fn band_with(&self, temperature_c: f64, fields: &[Field]) -> Option<&Band> {
        self.band_at(temperature_c).filter(|b| b.fields == fields)
    }

    /// How the panel is driven at a temperature, in words.
    pub fn drive_in_words(&self, temperature_c: f64) -> String {
        let words = |b: &Band| {
            let fields: Vec<String> = b.fields.iter().map(Field::in_words).collect();
            fields.join("; ")
        };
        self.band_at(temperature_c)
            .map_or("no band serves it".into(), words)
    }
}

impl Interval {
    fn holds(&self, temperature_c: f64) -> bool {
        self.low <= temperature_c && temperature_c < self.high
    }
}

impl Band {
    /// The ticks of every row.
    pub fn row_ticks(&self) -> RowTicks<'_> {
        if self.zones.is_empty() {
            RowTicks::Alike(&self.ticks)
        } else {
            RowTicks::Zones(&self.zones)
        }
    }

    /// The band's ladder, L*, darkest first: its own where it has one, else the common one of `set`.
    pub fn targets<'a>(&'a self, set: &'a Waveforms) -> &'a [f64] {
        self.targets_lstar.as_deref().unwrap_or(&set.targets_lstar)
    }

    /// Factor on every duration of a refresh at a temperature: linear between the entries of
    /// `stretch`, clamped at its ends, 1 where there are none.
    pub fn stretch_factor(&self, temperature_c: f64) -> f64 {
        let Some(first) = self.stretch.first() else {
            return 1.0;
        };
        self.stretch
            .windows(2)
            .rev()
            .find_map(|pair| match pair {
                [a, b] if temperature_c >= a.temperature_c => Some(between(a, b, temperature_c)),
                _ => None,
            })
            .unwrap_or(first.factor)
    }
}

/// Linear from `a` to `b`, and `b`'s factor beyond it.
fn between(a: &StretchAt, b: &StretchAt, temperature_c: f64) -> f64 {
    let share = (temperature_c - a.temperature_c) / (b.temperature_c - a.temperature_c);
    a.factor + share.min(1.0) * (b.factor - a.factor)
}

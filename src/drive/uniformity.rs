//! How evenly a panel's lines serve its corners and its middle.

use super::{Lag, Swing};

/// One pixel's edge and tick.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct PlaceLag {
    pub row: usize,
    pub column: usize,
    /// 50 % delay of the edge, s.
    pub delay_s: f64,
    /// 10–90 % rise time of the edge, s.
    pub rise_s: f64,
    /// Share of a tick's impulse that arrives within the tick.
    pub on_share: f64,
}

/// The smallest and the largest of some values.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Span {
    pub least: f64,
    pub most: f64,
}

/// The corners and the middle of a panel, and how far they differ.
#[derive(Debug, Clone, PartialEq)]
pub struct Uniformity {
    pub swing: Swing,
    pub tick_s: f64,
    /// First row's first and last column, last row's first and last column, middle; on a small panel some coincide.
    pub places: [PlaceLag; 5],
    pub delay_s: Span,
    pub rise_s: Span,
    pub on_share: Span,
}

impl Lag {
    /// How evenly a tick of `tick_s` arrives; `None` for one that is negative or no finite number.
    ///
    /// Delay and softening rise along both lines, so the corners hold the extremes of the whole panel.
    pub fn uniformity(&self, tick_s: f64, swing: Swing) -> Option<Uniformity> {
        let (rows, columns) = self.size();
        let (last, end) = (rows - 1, columns - 1);
        let place = |row, column| self.place(row, column, swing, tick_s);
        let places = [
            place(0, 0)?,
            place(0, end)?,
            place(last, 0)?,
            place(last, end)?,
            place(rows / 2, columns / 2)?,
        ];
        Some(Uniformity {
            swing,
            tick_s,
            places,
            delay_s: Span::of(places.map(|p| p.delay_s)),
            rise_s: Span::of(places.map(|p| p.rise_s)),
            on_share: Span::of(places.map(|p| p.on_share)),
        })
    }

    fn place(&self, row: usize, column: usize, swing: Swing, tick_s: f64) -> Option<PlaceLag> {
        let pulse = self.pulse(row, column, swing, tick_s)?;
        Some(PlaceLag {
            row,
            column,
            delay_s: pulse.delay_s,
            rise_s: pulse.rise_s,
            on_share: pulse.on_share,
        })
    }
}

impl Span {
    fn of(values: [f64; 5]) -> Self {
        Span {
            least: values.iter().copied().fold(f64::INFINITY, f64::min),
            most: values.iter().copied().fold(f64::NEG_INFINITY, f64::max),
        }
    }
}

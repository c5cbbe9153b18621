//! What is left of a rectangular pulse at one place.
//!
//! With s(t) the answer to a unit step, a unit pulse of width w gives v(t) = s(t) − s(t − w): the circuit is linear.

use super::StepResponse;
use super::lines::DEAD;

/// A pulse of unit height as one place sees it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Pulse {
    /// From the driver's edge to half of its height at the place, s; of the edge, however short the pulse.
    pub delay_s: f64,
    /// From 10 % to 90 % of the edge, s.
    pub rise_s: f64,
    /// The most that is reached, as a share of the height.
    pub peak_share: f64,
    /// ∫(1 − v) over the pulse's own time at the driver, V·s per volt; the place's Elmore delay for a long pulse.
    pub lacking_s: f64,
    /// ∫v over the pulse's own time, as a share of the whole pulse; 0 for a pulse without width.
    pub on_share: f64,
}

impl StepResponse {
    /// ∫(1 − s) dt from the edge to `seconds`, s: Σ (aₖ/λₖ)·(1 − exp(−λₖt)), aₖ and λₖ the modes' amplitudes and rates.
    pub fn lacking_s(&self, seconds: f64) -> f64 {
        if seconds.is_nan() || seconds <= 0.0 {
            return 0.0;
        }
        let of = |m: &super::Mode| m.amplitude / m.rate_per_s * -(-m.rate_per_s * seconds).exp_m1();
        self.modes.iter().map(of).sum::<f64>().clamp(0.0, seconds)
    }

    /// From 10 % to 90 % of an edge, s.
    pub fn rise_s(&self) -> f64 {
        self.delay_s(0.9) - self.delay_s(0.1)
    }

    /// What a pulse of `width_s` becomes; `None` for a width that is negative or no finite number.
    pub fn pulse(&self, width_s: f64) -> Option<Pulse> {
        if !(width_s.is_finite() && width_s >= 0.0) {
            return None;
        }
        let lacking_s = self.lacking_s(width_s);
        Some(Pulse {
            delay_s: self.delay_s(0.5),
            rise_s: self.rise_s(),
            peak_share: self.peak_share(width_s),
            lacking_s,
            on_share: if width_s > 0.0 {
                1.0 - lacking_s / width_s
            } else {
                0.0
            },
        })
    }

    /// The width of the pulse that just reaches `share` of its height, s: any shorter one stays below.
    ///
    /// `None` unless `share` is between 0 and 1, both excluded. 0 where an edge arrives at once.
    pub fn shortest_pulse_s(&self, share: f64) -> Option<f64> {
        if !(share > 0.0 && share < 1.0) {
            return None;
        }
        // A pulse as long as the edge takes to reach the share reaches it for certain.
        let (mut low, mut high) = (0.0, self.delay_s(share));
        for _ in 0..HALVINGS {
            let middle = 0.5 * (low + high);
            if self.peak_share(middle) < share {
                low = middle;
            } else {
                high = middle;
            }
        }
        Some(high)
    }

    /// The largest v(t) of a pulse of `width_s`, 0…1.
    ///
    /// The answer to an impulse, s′, rises to one maximum and falls. So v rises until s′(t) = s′(t − w), and that is
    /// no later than the mean of s′, the Elmore delay, after the pulse: the maximum of s′ lies before its mean
    /// (R. Gupta et al., IEEE Trans. CAD 16 (1997) 95, for a tree of lines; from memory). A whole panel is no
    /// tree; there sampling bears it out (tests/verification_lag.rs).
    fn peak_share(&self, width_s: f64) -> f64 {
        if self.modes.is_empty() {
            return if width_s > 0.0 { 1.0 } else { 0.0 };
        }
        let (mut low, mut high) = (width_s, width_s + self.lacking_s(f64::MAX));
        for _ in 0..HALVINGS {
            let middle = 0.5 * (low + high);
            if self.slope_per_s(middle) > self.slope_per_s(middle - width_s) {
                low = middle;
            } else {
                high = middle;
            }
        }
        let later_s = 0.5 * (low + high);
        let later = self.value(later_s) - self.value(later_s - width_s);
        // At the pulse's end its second edge has brought nothing; a sum of modes at 0 s would leave a rest of it.
        let at_end = self.value(width_s);
        at_end.max(later).clamp(0.0, 1.0)
    }

    /// s′(t), per second.
    fn slope_per_s(&self, seconds: f64) -> f64 {
        let alive = self
            .modes
            .iter()
            .take_while(|m| m.rate_per_s * seconds < DEAD);
        alive
            .map(|m| m.amplitude * m.rate_per_s * (-m.rate_per_s * seconds).exp())
            .sum()
    }
}

/// More than a bit of the mantissa each; the last ones change nothing.
const HALVINGS: usize = 60;

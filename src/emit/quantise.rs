//! From numbers with a unit to the integers of a table, and the worst that rounding did.

use crate::error::{Error, Result, Unmet};
use std::fmt::Display;

/// A kind of quantity in the table, with the unit of its integers.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Kind {
    /// Millivolts.
    Voltage,
    /// Ticks, which have a length of their own.
    Duration,
    /// 1/16 °C.
    Temperature,
    /// 1/4096.
    Factor,
    /// 1/100 L*.
    Lightness,
    /// A tick's share of a column's charge.
    Charge,
}

impl Kind {
    const ALL: [Kind; 6] = [
        Kind::Voltage,
        Kind::Duration,
        Kind::Temperature,
        Kind::Factor,
        Kind::Lightness,
        Kind::Charge,
    ];

    /// Name, unit in which an error is told, integers in one of that unit; 0 where that differs from value to value.
    fn unit(self) -> (&'static str, &'static str, f64) {
        match self {
            Kind::Voltage => ("voltage", "mV", 1.0),
            Kind::Duration => ("duration", "us", 0.0),
            Kind::Temperature => ("temperature", "degree Celsius", 16.0),
            Kind::Factor => ("stretch factor", "", 4096.0),
            Kind::Lightness => ("lightness", "L*", 100.0),
            Kind::Charge => ("charge", "mV ms a tick", 0.0),
        }
    }
}

/// Rounds to nearest, halves away from zero, and keeps the largest change of each kind.
#[derive(Debug, Default)]
pub(super) struct Quantiser {
    worst: [f64; Kind::ALL.len()],
}

impl Quantiser {
    /// The integer nearest to `value`, which is in mV, °C, 1 or L*, as `kind` says.
    ///
    /// # Errors
    /// [`Error::Unmet`] when the integer does not fit `T`; `path` names the value.
    pub fn integer<T: TryFrom<i64>>(
        &mut self,
        kind: Kind,
        value: f64,
        path: impl Display,
    ) -> Result<T> {
        let (_, unit, per_unit) = kind.unit();
        let rounded = (value * per_unit).round();
        let integer = fitting(rounded).ok_or_else(|| too_wide::<T>(path, value, unit))?;
        self.note(kind, rounded / per_unit - value);
        Ok(integer)
    }

    /// A duration, µs, in ticks of `tick_us`, by [`ticks_of`].
    ///
    /// # Errors
    /// As [`Quantiser::integer`].
    pub fn ticks(&mut self, us: f64, tick_us: u32, path: impl Display) -> Result<u32> {
        let rounded = ticks_of(us, tick_us);
        let ticks = fitting(rounded).ok_or_else(|| too_wide::<u32>(path, us, "us in ticks"))?;
        self.note(Kind::Duration, rounded * f64::from(tick_us) - us);
        Ok(ticks)
    }

    /// A charge, mV·µs, in units of `unit` mV·µs.
    pub fn charge(&mut self, mv_us: i64, unit: i64) -> i64 {
        let (size, half) = (mv_us.abs(), unit / 2);
        let rounded = (size + half) / unit * mv_us.signum();
        self.note(Kind::Charge, (rounded * unit - mv_us) as f64 / 1e3);
        rounded
    }

    fn note(&mut self, kind: Kind, error: f64) {
        let worst = &mut self.worst[kind as usize];
        *worst = worst.max(error.abs());
    }

    /// One line a kind: the worst rounding error and, where one unit holds for all, the most it could be.
    pub fn report(&self) -> Vec<String> {
        let line = |(kind, worst): (Kind, &f64)| {
            let (name, unit, per_unit) = kind.unit();
            let most = if per_unit > 0.0 {
                format!(" (half a unit is {:.6})", 0.5 / per_unit)
            } else {
                String::new()
            };
            let told = format!("  {name:<14} {worst:.6} {unit}");
            told.trim_end().to_owned() + &most
        };
        Kind::ALL.into_iter().zip(&self.worst).map(line).collect()
    }
}

/// A duration, µs, in whole ticks, to nearest with halves up; one that is not 0 lasts a tick at least.
pub(super) fn ticks_of(us: f64, tick_us: u32) -> f64 {
    let rounded = (us / f64::from(tick_us)).round();
    if us > 0.0 { rounded.max(1.0) } else { rounded }
}

/// Beyond 2^53 a cast no longer gives the number; no type here is that wide.
fn fitting<T: TryFrom<i64>>(rounded: f64) -> Option<T> {
    let exact = rounded.is_finite() && rounded.abs() < 2f64.powi(53);
    exact.then(|| T::try_from(rounded as i64).ok()).flatten()
}

/// A count that must fit the table's integer type.
pub(super) fn count<T: TryFrom<u64>>(value: u64, path: impl Display) -> Result<T> {
    T::try_from(value).map_err(|_| too_wide::<T>(path, value, ""))
}

fn too_wide<T>(path: impl Display, value: impl Display, unit: &str) -> Error {
    let kind = std::any::type_name::<T>();
    let found = format!("{value} {unit}");
    refused(
        format!("{path} = {} does not fit the table's {kind}", found.trim()),
        format!("a smaller `{path}`"),
    )
}

/// A table that a set can't have.
pub(super) fn refused(binding: String, would_do: String) -> Error {
    Error::Unmet(Unmet {
        request: "a firmware table of this set".into(),
        binding,
        would_do: vec![would_do],
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn rounds_halves_away_from_zero_and_keeps_the_worst() {
        let mut q = Quantiser::default();
        let volts: i32 = q.integer(Kind::Voltage, -2250.5, "v").expect("fits");
        let t: i16 = q.integer(Kind::Temperature, 20.02, "t").expect("fits");
        assert_eq!((volts, t), (-2251, 320));
        assert_eq!(q.worst[Kind::Voltage as usize], 0.5);
        assert!((q.worst[Kind::Temperature as usize] - 0.02).abs() < 1e-12);
    }

    #[test]
    fn a_duration_is_a_tick_at_least() {
        let mut q = Quantiser::default();
        let ticks =
            [0.0, 1.0, 499.0, 500.0, 2000.0].map(|us| q.ticks(us, 1000, "d").expect("fits"));
        assert_eq!(ticks, [0, 1, 1, 1, 2]);
        assert_eq!(q.worst[Kind::Duration as usize], 999.0);
    }

    #[test]
    fn what_does_not_fit_is_said() {
        let mut q = Quantiser::default();
        for value in [1e5, f64::NAN, f64::INFINITY, 1e300] {
            let error = q.integer::<i16>(Kind::Temperature, value, "here");
            assert_eq!(error.expect_err("too wide").exit_code(), 4);
        }
        assert!(q.integer::<u16>(Kind::Lightness, -0.1, "here").is_err());
        assert!(q.ticks(1e12, 1, "here").is_err() && q.ticks(f64::NAN, 1, "here").is_err());
        assert_eq!(count::<u8>(255, "n").expect("fits"), 255);
        assert!(count::<u8>(256, "n").is_err());
    }
}

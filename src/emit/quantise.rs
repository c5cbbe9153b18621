//! From numbers with a unit to the integers of a table, and the worst that rounding did.

use crate::error::{Error, Result, Unmet};
use std::fmt::Display;

/// A kind of quantity in the table, with the unit of its integers.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Kind {
    /// Millivolts.
    Voltage,
    /// Microseconds.
    Duration,
    /// 1/16 °C.
    Temperature,
    /// 1/4096.
    Factor,
    /// 1/100 L*.
    Lightness,
}

impl Kind {
    const ALL: [Kind; 5] = [
        Kind::Voltage,
        Kind::Duration,
        Kind::Temperature,
        Kind::Factor,
        Kind::Lightness,
    ];

    /// Name, unit in which an error is told, integers in one of that unit.
    fn unit(self) -> (&'static str, &'static str, f64) {
        match self {
            Kind::Voltage => ("voltage", "mV", 1.0),
            Kind::Duration => ("duration", "us", 1.0),
            Kind::Temperature => ("temperature", "degree Celsius", 16.0),
            Kind::Factor => ("stretch factor", "", 4096.0),
            Kind::Lightness => ("lightness", "L*", 100.0),
        }
    }
}

/// Rounds to nearest, halves away from zero, and keeps the largest change of each kind.
#[derive(Debug, Default)]
pub(super) struct Quantiser {
    worst: [f64; Kind::ALL.len()],
}

impl Quantiser {
    /// The integer nearest to `value`, which is in mV, µs, °C, 1 or L*, as `kind` says.
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
        // Beyond 2^53 a cast no longer gives the number; no type here is that wide.
        let exact = rounded.is_finite() && rounded.abs() < 2f64.powi(53);
        let fits = exact.then(|| T::try_from(rounded as i64).ok()).flatten();
        let integer = fits.ok_or_else(|| too_wide::<T>(path, value, unit))?;
        let worst = &mut self.worst[kind as usize];
        *worst = worst.max((rounded / per_unit - value).abs());
        Ok(integer)
    }

    /// One line a kind: the worst rounding error and the most it could be.
    pub fn report(&self) -> Vec<String> {
        let line = |(kind, worst): (Kind, &f64)| {
            let (name, unit, per_unit) = kind.unit();
            let most = 0.5 / per_unit;
            format!("  {name:<14} {worst:.6} {unit} (half a unit is {most:.6})")
                .replace("  (", " (")
        };
        Kind::ALL.into_iter().zip(&self.worst).map(line).collect()
    }
}

/// A count that must fit the table's integer type.
pub(super) fn count<T: TryFrom<u64>>(value: u64, path: impl Display) -> Result<T> {
    T::try_from(value).map_err(|_| too_wide::<T>(path, value, ""))
}

fn too_wide<T>(path: impl Display, value: impl Display, unit: &str) -> Error {
    let kind = std::any::type_name::<T>();
    let found = format!("{value} {unit}");
    Error::Unmet(Unmet {
        request: "a C table of this set".into(),
        binding: format!("{path} = {} does not fit the table's {kind}", found.trim()),
        would_do: vec![format!("a smaller `{path}`")],
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
    fn what_does_not_fit_is_said() {
        let mut q = Quantiser::default();
        for value in [40.0, f64::NAN, f64::INFINITY, 1e300] {
            let error = q.integer::<u8>(Kind::Temperature, value, "here");
            assert_eq!(error.expect_err("too wide").exit_code(), 4);
        }
        assert!(q.integer::<u16>(Kind::Lightness, -0.1, "here").is_err());
        assert_eq!(count::<u8>(255, "n").expect("fits"), 255);
        assert!(count::<u8>(256, "n").is_err());
    }
}

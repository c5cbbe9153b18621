//! How long a cell lasts behind a panel that keeps its picture without power.
//!
//! The charge left, Q, falls by what is drawn and by a constant share of itself, s:
//! Q′ = −s·Q − P, with Q in J at the cell's voltage, P in J a day, s = −ln(1 − share lost a year)/365.25 a day.
//! From Q₀ to the part that can't be used, (1 − u)·Q₀, it takes
//!
//! T = ln[(s·Q₀ + P)/(s·(1 − u)·Q₀ + P)]/s, and u·Q₀/P without self-discharge.
//!
//! Self-discharge at a constant rate: common practice, no source. Cold, ageing and the sag of the voltage under load are
//! not in it; the cell's own data sheet decides, and local codes how cells are enclosed, carried and disposed of.

/// A battery cell.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Cell {
    /// Above 0, up to 1e9.
    pub capacity_mah: f64,
    /// Mean voltage while it is drawn from, above 0, up to 1e4.
    pub volt: f64,
    /// Share of its charge lost in a year, 0 to below 1.
    pub self_discharge_per_year: f64,
    /// Share of the capacity that can be drawn before the voltage is too low, above 0, up to 1.
    pub usable_share: f64,
}

/// What a panel takes from its cell.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Duty {
    /// Energy that one refresh draws from the drivers' supply, 0 to 1e9.
    pub refresh_mj: f64,
    /// 0 to 1e6.
    pub refreshes_per_day: f64,
    /// Share of the cell's energy that the converter passes on to the drivers' supply, above 0, up to 1.
    pub converter_efficiency: f64,
    /// Drawn from the cell at all times, past the converter, 0 to 1e9.
    pub standby_ua: f64,
}

/// How long a cell lasts.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Life {
    Days(f64),
    /// Nothing is drawn, and self-discharge alone never takes all that is usable.
    Unlimited,
}

/// A number that no cell or duty can have.
#[derive(Debug, Clone, Copy, PartialEq, thiserror::Error)]
#[error("{quantity} is {value}: expected {expected}")]
pub struct DutyError {
    pub quantity: &'static str,
    pub value: f64,
    pub expected: &'static str,
}

const DAY_S: f64 = 86_400.0;
const YEAR_DAYS: f64 = 365.25;

impl Cell {
    /// Energy of the full cell, J: mAh · 3.6 C · V.
    pub fn energy_j(&self) -> f64 {
        self.capacity_mah * 3.6 * self.volt
    }

    /// How long the full cell serves `duty`. Errs with the first number outside its interval.
    pub fn life(&self, duty: &Duty) -> Result<Life, DutyError> {
        self.check()?;
        duty.check()?;
        let full_j = self.energy_j();
        let day_j = duty.day_j(self.volt);
        let loss_per_day = -(-self.self_discharge_per_year).ln_1p() / YEAR_DAYS;
        let rest_j = (1.0 - self.usable_share) * full_j;
        let floor_j = loss_per_day * rest_j + day_j;
        if floor_j <= 0.0 {
            return Ok(Life::Unlimited);
        }
        let gain = loss_per_day * self.usable_share * full_j / floor_j;
        let days = if loss_per_day > 0.0 {
            gain.ln_1p() / loss_per_day
        } else {
            self.usable_share * full_j / day_j
        };
        Ok(if days.is_finite() {
            Life::Days(days)
        } else {
            Life::Unlimited
        })
    }

    fn check(&self) -> Result<(), DutyError> {
        let share = self.self_discharge_per_year;
        positive(
            "capacity, mAh",
            self.capacity_mah,
            1e9,
            "above 0, up to 1e9",
        )?;
        positive("cell voltage, V", self.volt, 1e4, "above 0, up to 1e4")?;
        let whole = "0 to below 1";
        within(
            "self-discharge a year",
            share,
            (0.0..1.0).contains(&share),
            whole,
        )?;
        positive("usable share", self.usable_share, 1.0, SHARE)
    }
}

impl Duty {
    /// Drawn from a cell of `volt` in a day, J.
    fn day_j(&self, volt: f64) -> f64 {
        let refreshes_j = self.refreshes_per_day * self.refresh_mj * 1e-3;
        refreshes_j / self.converter_efficiency + self.standby_ua * 1e-6 * volt * DAY_S
    }

    fn check(&self) -> Result<(), DutyError> {
        let up_to = |v: f64, most: f64| (0.0..=most).contains(&v);
        let (mj, count, ua) = (self.refresh_mj, self.refreshes_per_day, self.standby_ua);
        within("energy of a refresh, mJ", mj, up_to(mj, 1e9), "0 to 1e9")?;
        within("refreshes a day", count, up_to(count, 1e6), "0 to 1e6")?;
        within("standby current, µA", ua, up_to(ua, 1e9), "0 to 1e9")?;
        positive(
            "converter efficiency",
            self.converter_efficiency,
            1.0,
            SHARE,
        )
    }
}

const SHARE: &str = "above 0, up to 1";

fn positive(
    quantity: &'static str,
    value: f64,
    most: f64,
    expected: &'static str,
) -> Result<(), DutyError> {
    within(quantity, value, value > 0.0 && value <= most, expected)
}

fn within(
    quantity: &'static str,
    value: f64,
    holds: bool,
    expected: &'static str,
) -> Result<(), DutyError> {
    if holds {
        return Ok(());
    }
    Err(DutyError {
        quantity,
        value,
        expected,
    })
}

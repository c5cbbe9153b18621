/// A voltage of a line and the code that its driver takes for it.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Rail {
    pub mv: i32,
    pub code: u16,
}

/// One voltage on all rows at once, columns at 0.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Stroke {
    pub ticks: u32,
    pub row_code: u16,
}

/// One pass over all rows, a slot each.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Field {
    pub tick_us: u32,
    /// Charge that a tick on leaves on a column, and a tick off takes.
    pub gain: i32,
    /// Ticks for which one row is selected.
    pub slot_ticks: u16,
    /// Then all lines at 0 for so many ticks.
    pub guard_ticks: u16,
    /// Of the selected row; other rows at 0.
    pub select_code: u16,
    /// Of a column that is on, and off.
    pub on_code: u16,
    pub off_code: u16,
    /// After each slot its column waveform inverted, no row selected.
    pub mirrored: bool,
}

/// Factor on every tick, linear between entries, clamped at the ends.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Stretch {
    /// 1/16 degree Celsius.
    pub temperature_16: i16,
    /// 4096 is 1.
    pub factor_4096: u16,
}

/// What serves one interval of temperature: low <= t < high; the last band serves its high end too.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Band {
    /// 1/16 degree Celsius.
    pub low_16: i16,
    pub high_16: i16,
    /// The longest in the band, stretch included.
    pub refresh_ms: u32,
    /// Of strokes, settling, rest and balance.
    pub tick_us: u32,
    /// All lines at 0 after each field.
    pub settle_ticks: u32,
    /// All lines at 0 after the last field.
    pub rest_ticks: u32,
    /// Charge that a tick of resting balance takes back; 0: none.
    pub balance_step: u32,
    /// Of a column whose charge is above 0, and below.
    pub balance_plus_code: u16,
    pub balance_minus_code: u16,
    pub strokes: &'static [Stroke],
    pub fields: &'static [Field],
    /// Empty: every factor is 1.
    pub stretch: &'static [Stretch],
    /// Level by level, darkest first, one number a field in turn.
    pub ticks: &'static [u16],
    /// One a level, 1/100 L*.
    pub target_lstar_100: &'static [u16],
}

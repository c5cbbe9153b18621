//! What of a scheme is given: hardware already chosen, which a search works around.

use crate::waveforms::FIELDS_MAX;

/// Parts of a scheme that stand; what is `None` is free.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Pins {
    /// Name of an erase of `panel.toml`.
    pub erase: Option<String>,
    /// Number of fields.
    pub fields: Option<usize>,
    each: [FieldPins; FIELDS_MAX],
}

/// Parts of one field.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct FieldPins {
    pub select_v: Option<f64>,
    pub data_v: Option<f64>,
    pub tick_us: Option<u32>,
    pub slot_ticks: Option<u32>,
    pub guard_ticks: Option<u32>,
    pub mirrored: Option<bool>,
}

impl Pins {
    /// Nothing pinned.
    pub const NONE: Pins = Pins {
        erase: None,
        fields: None,
        each: [FieldPins {
            select_v: None,
            data_v: None,
            tick_us: None,
            slot_ticks: None,
            guard_ticks: None,
            mirrored: None,
        }; FIELDS_MAX],
    };

    /// Those of a field, from 0; none of one that can't be pinned.
    pub fn field(&self, field: usize) -> FieldPins {
        self.each.get(field).copied().unwrap_or_default()
    }

    /// The same, to be changed.
    pub fn field_mut(&mut self, field: usize) -> Option<&mut FieldPins> {
        self.each.get_mut(field)
    }

    /// Whether anything is pinned.
    pub fn any(&self) -> bool {
        *self != Pins::NONE
    }

    /// Whether a scheme may have so many fields.
    pub fn admit_fields(&self, count: usize) -> bool {
        count >= self.least_fields() && self.fields.is_none_or(|f| f == count)
    }

    /// The least number of fields that the pins speak of.
    pub fn least_fields(&self) -> usize {
        let free = FieldPins::default();
        let last = self.each.iter().rposition(|p| *p != free);
        last.map_or(0, |i| i + 1).max(self.fields.unwrap_or(0))
    }
}

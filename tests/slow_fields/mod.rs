//! Fields of 8 ms a tick, so that a few ticks on a few rows take a pixel from white to dark.

use greyloom::drive::Field;

pub fn plain(select_v: f64, data_v: f64, slot_ticks: u32, guard_ticks: u32) -> Field {
    Field {
        select_v,
        data_v,
        tick_us: 8000,
        slot_ticks,
        guard_ticks,
        mirrored: false,
    }
}

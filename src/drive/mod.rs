//! What the lines put on a pixel: strokes, fields, timing, charge, energy, lines.

mod battery;
mod caution;
mod charge;
mod energy;
mod flash;
mod flash_pairs;
mod lag;
mod lines;
mod mesh;
mod picture_energy;
mod pulse;
mod scheme;
mod slot;
mod timing;
mod uniformity;
mod zones;

pub use battery::{Cell, Duty, DutyError, Life};
pub use caution::{
    EXTRA_LOW_AC_V, EXTRA_LOW_DC_V, flash_caution, largest_line_difference_v, voltage_caution,
};
pub use charge::{
    WorstImpulse, balanced_impulse_vs, data_impulse_vs, other_impulse_vs, own_impulse_vs,
    strokes_impulse_vs, worst_net_impulse_vs,
};
pub use energy::{Energy, PanelLoad};
pub use flash::{
    FLASH_CHANGE, FLASH_DARKER, FLASHES_A_SECOND, FlashError, Flashes, Luminance, general_flashes,
    repeated_flashes, shortest_refresh_interval_s,
};
pub use lag::{Delays, Lag, Swing};
pub use lines::{Line, Matrix, Mode, Series, StepResponse};
pub use mesh::{DriveStep, Mesh};
pub use pulse::Pulse;
pub use scheme::{Erase, Field, Stroke};
pub use slot::{Piece, Pieces};
pub use timing::Timing;
pub use uniformity::{PlaceLag, Span, Uniformity};
pub use zones::{RowTicks, ZONES_MAX, Zone, rows_in_words};

//! Which of the panel's erases a design may use.

use crate::drive::Erase;
use crate::project::Panel;

/// Those that end gently, where there are any; else all.
///
/// The first row is driven right after the erase's last stroke, every other row after another row's slot. What a stroke
/// stronger than any disturb leaves behind therefore shows in the first row alone, and no reading tells of it, since a patch is
/// many rows high.
pub fn usable(panel: &Panel) -> Vec<Erase> {
    let gentle: Vec<Erase> = panel
        .erases
        .iter()
        .filter(|e| ends_gently(e, panel))
        .cloned()
        .collect();
    if gentle.is_empty() || rows_seen_alone(panel) {
        panel.erases.clone()
    } else {
        gentle
    }
}

/// Whether some of the panel's erases are passed over, and why; `None` where all are usable.
pub fn passed_over(panel: &Panel) -> Option<String> {
    let usable = usable(panel);
    let left = panel.erases.iter().filter(|e| !usable.contains(e));
    let names: Vec<String> = left.map(|e| format!("`{}`", e.name)).collect();
    (!names.is_empty()).then(|| {
        format!(
            "Erase: {} not used: its last stroke is stronger than any data voltage, the first row alone is driven right after \
             it, and a patch of the instrument is too high to see that row alone.",
            names.join(", ")
        )
    })
}

/// Whether the last stroke is no stronger than the disturb that every row but the first has had before its slot.
fn ends_gently(erase: &Erase, panel: &Panel) -> bool {
    let last = erase.strokes.last();
    last.is_none_or(|s| s.pixel_v.abs() <= panel.drivers.data_v.max.abs())
}

/// Whether the instrument can read one row alone.
fn rows_seen_alone(panel: &Panel) -> bool {
    panel.instrument.aperture_mm * 1e3 <= panel.pixel_pitch_um
}

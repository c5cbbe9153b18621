//! What every form says of itself: no file is needed beside it to read it.

use super::build::Built;
use super::tables::{BandTable, Tables};
use crate::waveforms::{FORMAT, VERSION, Waveforms};

/// Newest version of the tables, in whatever form; see [`Tables::version`].
pub const TABLE_VERSION_MAX: u16 = 2;

/// `1 temperature band`, `4 temperature bands`.
pub fn bands_in_words(set: &Waveforms) -> String {
    band_count(set.bands.len())
}

pub(super) fn band_count(bands: usize) -> String {
    match bands {
        1 => "1 temperature band".to_owned(),
        n => format!("{n} temperature bands"),
    }
}

/// Origin, units, signs, axes, how to play, rounding and its worst error, and the cautions; ASCII, a line each.
pub(super) fn description(built: &Built) -> Vec<String> {
    let t = &built.tables;
    let mut lines = vec![
        format!(
            "Waveforms of panel \"{}\": {} levels, {}.",
            plain_text(&t.panel),
            t.levels,
            band_count(t.bands.len())
        ),
        format!(
            "Table version {}, written by greyloom from {FORMAT} version {VERSION}; do not edit.",
            t.version()
        ),
        format!(
            "Parameter hash 0x{:08X}: CRC-32/ISO-HDLC of the set's waveforms.json.",
            t.parameter_hash
        ),
        String::new(),
        "Units: mV, ticks of so many us, 1/16 degree Celsius, stretch factor 1/4096,".into(),
        "  1/100 L*; charge in a unit that is common to a band.".into(),
        "Signs: pixel voltage is row minus column; positive darkens.".into(),
        match t.zones_max() {
            None => {
                "Axes: ticks[level][field]; level 0 is darkest; fields in the order of play.".into()
            }
            Some(_) => {
                "Axes: ticks[zone][level][field]; level 0 is darkest; fields in the order of play."
                    .into()
            }
        },
        "Bands: low <= t < high, the last serves its high end too; one that is playing is".into(),
        format!(
            "  kept up to {}/16 degree Celsius beyond its limits.",
            t.hysteresis_16
        ),
        "Play: strokes on all rows, then each field (rows 0 to last: slot, mirrored slot,".into(),
        "  guard; settle after the field), then rest, then the resting balance where asked.".into(),
        "  Every tick lasts tick_us times the stretch factor of the temperature, linear".into(),
        "  between entries and clamped at their ends.".into(),
        "Rounding: to nearest, halves away from zero. Worst error in this table:".into(),
    ];
    if t.zones_max().is_some() {
        let at = lines
            .iter()
            .position(|l| l.starts_with("Bands:"))
            .unwrap_or(0);
        lines.splice(at..at, zones_in_words(t));
    }
    lines.extend(built.rounding.iter().cloned());
    lines.extend(cautions(t));
    lines
}

/// Which rows share a table, band by band.
fn zones_in_words(t: &Tables) -> Vec<String> {
    let head = "Zones: rows whose levels have ticks of their own, first and last row;".to_owned();
    let band = |(i, b): (usize, &BandTable)| {
        let zones = b.zones.iter();
        let rows: Vec<String> = zones
            .map(|z| format!("{}-{}", z.row_first, z.row_last))
            .collect();
        let alike = format!("0-{}", t.rows.saturating_sub(1));
        let rows = if rows.is_empty() {
            alike
        } else {
            rows.join(", ")
        };
        format!("  band {i}: {rows}")
    };
    let bands = t.bands.iter().enumerate().map(band);
    std::iter::once(head).chain(bands).collect()
}

fn cautions(t: &Tables) -> Vec<String> {
    let (line_v, pixel_v) = highest_voltages(t);
    vec![
        String::new(),
        format!(
            "CAUTION. These numbers put up to {line_v} V on a line and {pixel_v} V across a pixel."
        ),
        "Where people can touch the circuit, or an erase makes large areas flash,".into(),
        "follow the local codes for electrical safety and for flashing light, and have".into(),
        "licensed practice review the installation. This table does not replace that.".into(),
    ]
}

/// Highest magnitude on a line, and across a pixel, V.
fn highest_voltages(t: &Tables) -> (f64, f64) {
    let volts = |mv: u32| f64::from(mv) / 1000.0;
    let rails = t.row_rails.iter().chain(&t.column_rails);
    let line = rails.map(|r| r.mv.unsigned_abs()).max().unwrap_or(0);
    let bands = || t.bands.iter();
    let strokes = bands()
        .flat_map(|b| &b.strokes)
        .map(|s| t.row_rail(s.row_rail).mv.unsigned_abs());
    let fields = bands().flat_map(|b| &b.fields).map(|f| {
        t.row_rail(f.row_rail).mv.unsigned_abs() + t.column_pair(f.column_pair).0.mv.unsigned_abs()
    });
    (volts(line), volts(strokes.chain(fields).max().unwrap_or(0)))
}

/// A name as any comment can hold it: nothing that could end the comment or leave ASCII.
pub(super) fn plain_text(name: &str) -> String {
    let safe = |c: char| c.is_ascii_alphanumeric() || " ._-+()".contains(c);
    name.chars()
        .map(|c| if safe(c) { c } else { '_' })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_comment_can_not_be_left() {
        assert_eq!(plain_text("a*/ int ü\n??/"), "a__ int _____");
    }
}

//! The panel's mean luminance through a refresh, for the flash that people see.

use super::maps::{ClassMaps, Entries, Played};
use crate::drive::Luminance;
use crate::pigment::{Map, State};
use crate::response::Response;

/// Parts of each stroke, and of the rest.
const PARTS: usize = 8;

/// Mean luminance over a refresh that makes the whole panel show `level`, from the dark or from the clear panel: after each
/// part of a stroke, after each slot, after the rest; as a share of the clear panel's luminance.
pub fn luminance_series(
    response: &Response,
    played: &Played,
    rows: usize,
    (level, from_clear): (usize, bool),
) -> Vec<Luminance> {
    let movers = response.movers(played.temperature_c, played.stretch);
    let classes = ClassMaps::all(response, played);
    let entries = Entries::new(played.ticks);
    let start = |c: &ClassMaps| if from_clear { c.clearest } else { c.darkest };
    let mut column = Column {
        response,
        shares: classes.iter().map(|c| c.share).collect(),
        states: classes.iter().map(|c| vec![start(c); rows]).collect(),
        t_s: 0.0,
        series: Vec::new(),
    };
    column.see();
    for stroke in &played.erase.strokes {
        let part_s = stroke.ms * 1e-3 / PARTS as f64;
        let maps: Vec<Map> = movers
            .iter()
            .map(|m| m.hold(stroke.pixel_v, part_s))
            .collect();
        column.hold(&maps, part_s * played.stretch);
    }
    for (f, field) in played.fields.iter().enumerate() {
        for row in 0..rows {
            let shown = entries.of(row, level);
            for (class, states) in classes.iter().zip(&mut column.states) {
                let maps = &class.fields[f];
                for (r, x) in states.iter_mut().enumerate() {
                    let slot = if r == row { &maps.own } else { &maps.other };
                    *x = slot[shown].apply(x);
                }
            }
            column.t_s += f64::from(field.ticks_per_row()) * field.tick_s() * played.stretch;
            column.see();
        }
    }
    let part_s = played.erase.rest_ms * 1e-3 / PARTS as f64;
    let maps: Vec<Map> = movers.iter().map(|m| m.hold(0.0, part_s)).collect();
    column.hold(&maps, part_s * played.stretch);
    column.series
}

/// One column stands for all, since all show the same.
struct Column<'a> {
    response: &'a Response,
    shares: Vec<f64>,
    /// By class, then row.
    states: Vec<Vec<State>>,
    t_s: f64,
    series: Vec<Luminance>,
}

impl Column<'_> {
    /// All rows through [`PARTS`] equal parts.
    fn hold(&mut self, maps: &[Map], part_s: f64) {
        for _ in 0..PARTS {
            for (map, states) in maps.iter().zip(&mut self.states) {
                states.iter_mut().for_each(|x| *x = map.apply(x));
            }
            self.t_s += part_s;
            self.see();
        }
    }

    fn see(&mut self) {
        let rows = self.states.first().map_or(0, Vec::len);
        let curve = &self.response.curve;
        let reflectance = |row: usize| {
            let classes = self.shares.iter().zip(&self.states);
            curve.reflectance(classes.map(|(share, states)| share * states[row][1]).sum())
        };
        let mean = (0..rows).map(reflectance).sum::<f64>() / rows.max(1) as f64;
        self.series.push(Luminance {
            t_s: self.t_s,
            relative: (mean / curve.clear_reflectance()).clamp(0.0, 1.0),
        });
    }
}

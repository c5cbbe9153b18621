//! The maps of one band at one temperature: what every level's slot does to every class, to its own pixel and to others.

use crate::drive::{Erase, Field, RowTicks};
use crate::pigment::{Map, Mover, SlotMaps, State};
use crate::response::{COVERAGE_ROW, Response, rest_map, strokes_map};

/// What is played: a band's erase, fields and ticks, at one temperature and stretch.
#[derive(Debug, Clone, Copy)]
pub struct Played<'a> {
    pub erase: &'a Erase,
    pub fields: &'a [Field],
    /// Of the levels in every row.
    pub ticks: RowTicks<'a>,
    pub settle_ms: f64,
    pub temperature_c: f64,
    pub stretch: f64,
}

/// One class through a refresh.
#[derive(Debug, Clone)]
pub(super) struct ClassMaps {
    pub share: f64,
    pub erase: Map,
    pub fields: Vec<FieldMaps>,
    /// The pause after each field.
    pub settle: Map,
    pub rest: Map,
    pub darkest: State,
    pub clearest: State,
}

/// One field of one class, by zone of rows and level: entries as [`Entries`] counts them.
#[derive(Debug, Clone)]
pub(super) struct FieldMaps {
    pub own: Vec<Map>,
    /// The same where the select pulse comes a whole tick late.
    pub late: Vec<Map>,
    pub other: Vec<Map>,
}

/// Where the maps of a level lie that a row shows.
#[derive(Debug, Clone)]
pub(super) struct Entries {
    /// Of the darkest level, by row; empty where all rows are alike.
    first: Vec<u16>,
    pub levels: usize,
}

impl Entries {
    pub fn new(ticks: RowTicks) -> Self {
        let levels = ticks.levels();
        let first = match ticks {
            RowTicks::Alike(_) => Vec::new(),
            RowTicks::Zones(zones) => {
                let rows = zones.last().map_or(0, |z| z.row_last + 1);
                let of = |row: usize| (ticks.zone_of(row) * levels) as u16;
                (0..rows).map(of).collect()
            }
        };
        Entries { first, levels }
    }

    /// Of a level in a row.
    pub fn of(&self, row: usize, level: usize) -> usize {
        self.first_of(row) + level
    }

    /// Of every level in a row.
    pub fn all(&self, row: usize) -> std::ops::Range<usize> {
        let first = self.first_of(row);
        first..first + self.levels
    }

    fn first_of(&self, row: usize) -> usize {
        self.first.get(row).map_or(0, |&first| usize::from(first))
    }
}

/// Coverage after the rest, as an affine function of the state before it.
pub(super) fn seen_after(maps: &ClassMaps) -> [f64; 4] {
    maps.settle.then(&maps.rest).pulled_back(&COVERAGE_ROW)
}

impl ClassMaps {
    /// All classes of `response`, in their own order.
    pub fn all(response: &Response, played: &Played) -> Vec<ClassMaps> {
        let movers = response.movers(played.temperature_c, played.stretch);
        let class = |mover: &Mover| ClassMaps::new(response, mover, played);
        movers.iter().map(class).collect()
    }

    fn new(response: &Response, mover: &Mover, played: &Played) -> Self {
        let field = |(index, field): (usize, &Field)| {
            let slots = SlotMaps::new(mover, field);
            let each = |of: &dyn Fn(u32) -> Map| {
                let levels = played.ticks.tables().flatten();
                levels.map(|ticks| of(ticks[index])).collect()
            };
            FieldMaps {
                own: each(&|d| slots.own(d)),
                late: each(&|d| slots.own_late(d)),
                other: each(&|d| slots.other(d)),
            }
        };
        ClassMaps {
            share: mover.class.share,
            erase: strokes_map(mover, &played.erase.strokes),
            fields: played.fields.iter().enumerate().map(field).collect(),
            settle: mover.hold(0.0, played.settle_ms * 1e-3),
            rest: rest_map(mover, played.erase),
            darkest: response.kinetics.highest(),
            clearest: response.kinetics.lowest(),
        }
    }
}

//! The proof of a finished band: every level, row and extreme content, over the band's temperatures, by a way of
//! computing other than the search's.

use super::climate::BandClimate;
use super::correction::Correction;
use super::outcome::{Content, Worst};
use super::reach::{Climate, Corner, Scheme};
use crate::drive::{Field, RowTicks};
use crate::pigment::{Column, Map, Mover, Run, SlotMaps, State};
use crate::response::{Response, coverage_of, rest_map, strokes_map};
use rayon::prelude::*;

/// A scheme with the ticks of its levels, ready to be proved.
#[derive(Debug, Clone)]
pub struct Finished<'a> {
    pub response: &'a Response,
    pub scheme: &'a Scheme,
    pub rows: usize,
    pub settle_ms: f64,
    /// Of the levels in every row.
    pub ticks: RowTicks<'a>,
    /// What readings add to the response.
    pub correction: Option<&'a Correction>,
}

/// The lightness that a level can take, with where.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Place {
    pub lstar: f64,
    pub content: Content,
    pub row: usize,
    pub temperature_c: f64,
}

/// What two contents make of one level in one place.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Apart {
    pub row: usize,
    pub climate: Climate,
    /// Among the first content and among the second.
    pub lstar: [f64; 2],
}

impl Apart {
    /// How far apart they are, L*.
    pub fn size_lstar(&self) -> f64 {
        (self.lstar[1] - self.lstar[0]).abs()
    }

    /// The one that is farther apart, this one where they are alike.
    pub fn wider(self, other: Apart) -> Apart {
        if other.size_lstar() > self.size_lstar() {
            other
        } else {
            self
        }
    }
}

/// Lowest and highest lightness of each level.
#[derive(Debug, Clone)]
pub struct Extremes {
    pub lowest: Vec<Place>,
    pub highest: Vec<Place>,
    /// Largest difference that the state before the erase makes to any level, L*.
    pub ghost_lstar: f64,
}

/// Temperatures at which a band is proved.
const PROOF_PARTS: usize = 8;

impl Finished<'_> {
    /// The extremes over all rows, over both extreme contents, over the band.
    pub fn extremes(&self, band: &BandClimate, stretch: &[Climate]) -> Extremes {
        self.extremes_over(&band.proof(stretch, PROOF_PARTS))
    }

    /// The extremes over all rows, over both extreme contents, over some climates.
    pub fn extremes_over(&self, climates: &[Climate]) -> Extremes {
        self.extremes_in(climates, &(0..self.rows).collect::<Vec<_>>())
    }

    /// The same over some rows.
    pub fn extremes_in(&self, climates: &[Climate], rows: &[usize]) -> Extremes {
        let table = |c: &Climate| self.table_of_rows(*c, rows);
        let tables: Vec<Table> = climates.par_iter().map(table).collect();
        let none = |lstar| Place {
            lstar,
            content: Content::AllOff,
            row: 0,
            temperature_c: f64::NAN,
        };
        let mut extremes = Extremes {
            lowest: vec![none(f64::INFINITY); self.ticks.levels()],
            highest: vec![none(f64::NEG_INFINITY); self.ticks.levels()],
            ghost_lstar: 0.0,
        };
        for (climate, table) in climates.iter().zip(&tables) {
            for (level, row, content, from_dark, from_clear) in table.entries() {
                let at = |lstar| Place {
                    lstar,
                    content,
                    row,
                    temperature_c: climate.temperature_c,
                };
                // The panel may have stood anywhere between; the order of states bounds what is between.
                for lstar in [from_dark, from_clear] {
                    if lstar < extremes.lowest[level].lstar {
                        extremes.lowest[level] = at(lstar);
                    }
                    if lstar > extremes.highest[level].lstar {
                        extremes.highest[level] = at(lstar);
                    }
                }
                extremes.ghost_lstar = extremes.ghost_lstar.max((from_clear - from_dark).abs());
            }
        }
        extremes
    }

    /// Lightness at one climate in the middle row, the mean of both extreme contents, of each level.
    pub fn middle_lstar(&self, climate: Climate) -> Vec<f64> {
        let middle = Finished { ..self.clone() }.table_of_rows(climate, &[self.rows / 2]);
        let mut sums = vec![0.0; self.ticks.levels()];
        for (level, _, _, from_dark, _) in middle.entries() {
            sums[level] += 0.5 * from_dark;
        }
        sums
    }

    /// For each level, where two contents of the other rows make the largest difference over all rows and some climates; from
    /// the dark panel. Runs cover the column's rows in order.
    pub fn contents_apart(&self, climates: &[Climate], contents: &[Vec<Run>; 2]) -> Vec<Apart> {
        let rows: Vec<usize> = (0..self.rows).collect();
        let levels = self.ticks.levels();
        let tables: Vec<Table> = climates
            .par_iter()
            .map(|c| self.table_of(*c, &rows, contents))
            .collect();
        let mut worst: Vec<Option<Apart>> = vec![None; levels];
        for (climate, table) in climates.iter().zip(&tables) {
            let (first, second) = table.lstar.split_at(table.lstar.len() / 2);
            for (i, (a, b)) in first.iter().zip(second).enumerate() {
                let level = i % levels;
                let apart = Apart {
                    row: i / levels,
                    climate: *climate,
                    lstar: [a.0, b.0],
                };
                worst[level] = Some(worst[level].map_or(apart, |w| w.wider(apart)));
            }
        }
        worst.into_iter().flatten().collect()
    }

    fn table_of_rows(&self, climate: Climate, rows: &[usize]) -> Table {
        if self.mirrored() {
            return self.tabled(climate, rows, |mover, coverage| {
                self.add_farthest(mover, rows, coverage);
            });
        }
        let of = |content: Content| {
            let fields = self.scheme.fields.iter();
            vec![Run {
                first: 0,
                last: self.rows - 1,
                ticks: fields.map(|f| content.ticks(f)).collect(),
            }]
        };
        self.table_of(climate, rows, &CONTENTS.map(of))
    }

    fn table_of(&self, climate: Climate, rows: &[usize], contents: &[Vec<Run>; 2]) -> Table {
        self.tabled(climate, rows, |mover, coverage| {
            self.add_class(mover, rows, contents, coverage);
        })
    }

    /// A table of what `add` adds for each class.
    fn tabled(
        &self,
        climate: Climate,
        rows: &[usize],
        add: impl Fn(&Mover, &mut [(f64, f64)]),
    ) -> Table {
        let count = self.ticks.levels() * rows.len() * CONTENTS.len();
        let mut coverage = vec![(0.0, 0.0); count];
        for mover in self.response.movers(climate.temperature_c, climate.stretch) {
            add(&mover, &mut coverage);
        }
        let curve = &self.response.curve;
        let lstar = |(dark, clear): (f64, f64)| (curve.lstar(dark), curve.lstar(clear));
        let mut table = Table {
            rows: rows.to_vec(),
            levels: self.ticks.levels(),
            lstar: coverage.into_iter().map(lstar).collect(),
        };
        if let Some(correction) = self.correction {
            table.correct(correction, climate, self.ticks);
        }
        table
    }

    fn add_class(
        &self,
        mover: &Mover,
        rows: &[usize],
        contents: &[Vec<Run>; 2],
        coverage: &mut [(f64, f64)],
    ) {
        let erased = strokes_map(mover, &self.scheme.erase.strokes);
        let kinetics = &self.response.kinetics;
        let starts = [kinetics.highest(), kinetics.lowest()].map(|x| erased.apply(&x));
        let slots: Vec<SlotMaps> = self
            .scheme
            .fields
            .iter()
            .map(|f| SlotMaps::new(mover, f))
            .collect();
        let settle = mover.hold(0.0, self.settle_ms * 1e-3);
        let rest = rest_map(mover, &self.scheme.erase);
        let own = |level: &Vec<u32>| slots.iter().zip(level).map(|(s, &d)| s.own(d)).collect();
        let owns: Vec<Vec<Vec<Map>>> = (self.ticks.tables())
            .map(|table| table.iter().map(own).collect())
            .collect();
        let mut entries = coverage.iter_mut();
        for content in contents {
            let column = Column::new(&slots, settle, content);
            for &row in rows {
                let run = content.partition_point(|run| run.last < row);
                let around = column.around(run, row);
                for own in &owns[self.ticks.zone_of(row)] {
                    let Some(entry) = entries.next() else { return };
                    let seen = |start: State| {
                        let end = around.end_state(start, own);
                        mover.class.share * coverage_of(&rest.apply(&end))
                    };
                    entry.0 += seen(starts[0]);
                    entry.1 += seen(starts[1]);
                }
            }
        }
    }
}

const CONTENTS: [Content; 2] = [Content::AllOff, Content::AllOn];

impl Content {
    /// Ticks of the others that make the lightest or the darkest neighbours; on and off swap in a lightening field.
    fn ticks(self, field: &Field) -> u32 {
        match (self, field.direction() < 0.0) {
            (Content::AllOff, false) | (Content::AllOn, true) => 0,
            (Content::AllOn, false) | (Content::AllOff, true) => field.slot_ticks,
        }
    }
}

/// Lightness from the dark and from the clear panel: contents × rows × levels.
struct Table {
    rows: Vec<usize>,
    levels: usize,
    lstar: Vec<(f64, f64)>,
}

impl Table {
    fn correct(&mut self, correction: &Correction, climate: Climate, ticks: RowTicks) {
        for (i, (dark, clear)) in self.lstar.iter_mut().enumerate() {
            let (level, rest) = (i % self.levels, i / self.levels);
            let corner = Corner {
                climate,
                row: self.rows[rest % self.rows.len()],
                on: CONTENTS[rest / self.rows.len()] == Content::AllOn,
            };
            let own = &ticks.in_row(corner.row)[level];
            for lstar in [dark, clear] {
                *lstar = correction.corrected_at(*lstar, &corner, own);
            }
        }
    }

    fn entries(&self) -> impl Iterator<Item = (usize, usize, Content, f64, f64)> + '_ {
        self.lstar.iter().enumerate().map(|(i, &(dark, clear))| {
            let (level, rest) = (i % self.levels, i / self.levels);
            let (row, content) = (
                self.rows[rest % self.rows.len()],
                CONTENTS[rest / self.rows.len()],
            );
            (level, row, content, dark, clear)
        })
    }
}

impl Extremes {
    /// The worst error against `targets`, with where it sits.
    pub fn worst(&self, targets_lstar: &[f64]) -> Option<Worst> {
        let both = self
            .lowest
            .iter()
            .zip(&self.highest)
            .zip(targets_lstar)
            .enumerate();
        both.flat_map(|(level, ((low, high), &target))| {
            [(level, target, *low), (level, target, *high)]
        })
        .max_by(|a, b| (a.1 - a.2.lstar).abs().total_cmp(&(b.1 - b.2.lstar).abs()))
        .map(|(level, target_lstar, place)| Worst {
            level,
            content: place.content,
            row: place.row,
            temperature_c: place.temperature_c,
            target_lstar,
            lstar: place.lstar,
        })
    }
}

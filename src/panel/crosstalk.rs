//! How far the other rows can pull a pixel: a bound over all pictures, and a picture that comes near it.

use super::maps::{ClassMaps, Entries, Played, seen_after};
use crate::design::proof::Apart;
use crate::design::reach::Climate;
use crate::drive::{Field, RowTicks};
use crate::pigment::{Map, Run, State, value};
use crate::response::{Response, coverage_of};
use rayon::prelude::*;
use std::ops::Range;

/// Sweeps over the rows, at most; each sets every row to what pulls most, the others standing.
const SWEEPS: usize = 4;

/// Of every field the ticks, among those of a row's levels, that make other rows lightest and darkest: a run for each zone of
/// rows.
///
/// In a plain field a pixel of another row feels +D for the ticks and −D for the rest, so that more ticks are a higher
/// voltage at every moment and the chain is monotone: no picture of these levels goes beyond. In a mirrored field both
/// signs follow each other, and the two contents are only two of many.
pub fn extreme_contents<'a>(
    fields: &[Field],
    ticks: impl Into<RowTicks<'a>>,
    rows: usize,
) -> [Vec<Run>; 2] {
    let ticks = ticks.into();
    [false, true].map(|darkest| {
        let of = |table: &[Vec<u32>]| extreme_ticks(fields, table, darkest);
        let parts = ticks.parts(rows).filter(|(zone, _)| !zone.is_empty());
        let run = |(zone, table): (Range<usize>, &[Vec<u32>])| Run {
            first: zone.start,
            last: zone.end - 1,
            ticks: of(table),
        };
        parts.map(run).collect()
    })
}

fn extreme_ticks(fields: &[Field], table: &[Vec<u32>], darkest: bool) -> Vec<u32> {
    let field = |(f, field): (usize, &Field)| {
        let ticks = table.iter().map(|t| t[f]);
        let most = darkest == (field.direction() > 0.0);
        let found = if most { ticks.max() } else { ticks.min() };
        found.unwrap_or(0)
    };
    fields.iter().enumerate().map(field).collect()
}

/// For each level, the row in which other rows can pull it farthest apart, by a bound that holds for mirrored fields too: every
/// slot of another row moves each stage of each class to the largest (smallest) that any level's data can bring it to. Since
/// the maps keep the order of states, no picture goes beyond. From the dark panel.
pub fn greedy_apart(response: &Response, played: &Played, rows: usize) -> Vec<Apart> {
    let classes = ClassMaps::all(response, played);
    let entries = Entries::new(played.ticks);
    let levels = entries.levels;
    let mut coverage = vec![[0.0; 2]; rows * levels];
    for class in &classes {
        let start = class.erase.apply(&class.darkest);
        for (side, highest) in [(0, false), (1, true)] {
            let extreme = |field: usize, x: &State, row: usize| {
                let others = &class.fields[field].other[entries.all(row)];
                let others = others.iter().map(|m| m.apply(x));
                let pick = if highest { f64::max } else { f64::min };
                let reduced = others.reduce(|a, b| std::array::from_fn(|k| pick(a[k], b[k])));
                reduced.unwrap_or(*x)
            };
            let through = |field: usize, x: State, rows: Range<usize>| {
                rows.fold(x, |x, row| extreme(field, &x, row))
            };
            let ends: Vec<f64> = (0..rows * levels)
                .into_par_iter()
                .map(|i| {
                    let (row, level) = (i / levels, i % levels);
                    let mut x = start;
                    for field in 0..class.fields.len() {
                        x = through(field, x, 0..row);
                        x = class.fields[field].own[entries.of(row, level)].apply(&x);
                        x = through(field, x, row + 1..rows);
                        x = class.settle.apply(&x);
                    }
                    coverage_of(&class.rest.apply(&x))
                })
                .collect();
            for (sum, end) in coverage.iter_mut().zip(ends) {
                sum[side] += class.share * end;
            }
        }
    }
    let apart = |row: usize, level: usize| Apart {
        row,
        climate: Climate {
            temperature_c: played.temperature_c,
            stretch: played.stretch,
        },
        lstar: coverage[row * levels + level].map(|a| response.curve.lstar(a)),
    };
    let worst = |level: usize| {
        let all = (0..rows).map(|row| apart(row, level));
        all.reduce(Apart::wider)
    };
    (0..levels).filter_map(worst).collect()
}

/// A pixel in a column whose other rows pull it as far as they can.
#[derive(Debug, Clone, PartialEq)]
pub struct Pulled {
    /// The level of every row; the pixel's own stands in its row.
    pub content: Vec<u16>,
    pub lstar: f64,
}

/// The content of a column, made of the levels of `played`, that makes the pixel of `level` in `row` darkest or lightest,
/// from the dark panel; found row by row from the level that pulls most when all rows show it.
pub fn pulling_content(
    response: &Response,
    played: &Played,
    rows: usize,
    (row, level): (usize, usize),
    darkest: bool,
) -> Pulled {
    let column = Column {
        classes: ClassMaps::all(response, played),
        row,
        entries: Entries::new(played.ticks),
        sign: if darkest { 1.0 } else { -1.0 },
    };
    let alone = |l: usize| {
        let mut content = vec![l; rows];
        content[row] = level;
        content
    };
    let pull = |content: &Vec<usize>| column.sign * column.coverage(content);
    let starts = (0..column.entries.levels).map(alone);
    let mut content = starts
        .max_by(|a, b| pull(a).total_cmp(&pull(b)))
        .unwrap_or_default();
    let mut best = pull(&content);
    for _ in 0..SWEEPS {
        let next = column.swept(&content);
        let pulled = pull(&next);
        if pulled <= best {
            break;
        }
        (content, best) = (next, pulled);
    }
    Pulled {
        lstar: response.curve.lstar(column.sign * best),
        content: content.into_iter().map(|l| l as u16).collect(),
    }
}

struct Column {
    classes: Vec<ClassMaps>,
    /// Of the pixel looked at.
    row: usize,
    entries: Entries,
    sign: f64,
}

impl Column {
    fn coverage(&self, content: &[usize]) -> f64 {
        let of = |class: &ClassMaps| {
            let mut x = class.erase.apply(&class.darkest);
            for field in 0..class.fields.len() {
                for (row, &level) in content.iter().enumerate() {
                    x = self.slot(class, field, row, level).apply(&x);
                }
                x = class.settle.apply(&x);
            }
            class.share * coverage_of(&class.rest.apply(&x))
        };
        self.classes.iter().map(of).sum()
    }

    fn slot<'a>(&self, class: &'a ClassMaps, field: usize, row: usize, level: usize) -> &'a Map {
        let (maps, entry) = (&class.fields[field], self.entries.of(row, level));
        if row == self.row {
            &maps.own[entry]
        } else {
            &maps.other[entry]
        }
    }

    /// Every other row at the level that pulls most, one after another, rows above already changed.
    fn swept(&self, content: &[usize]) -> Vec<usize> {
        let mut content = content.to_vec();
        for row in (0..content.len()).filter(|&r| r != self.row) {
            let pulls = self.pulls(&content, row);
            let most =
                (0..self.entries.levels).reduce(|a, b| if pulls[b] > pulls[a] { b } else { a });
            content[row] = most.unwrap_or(content[row]);
        }
        content
    }

    /// How far each level in `row` pulls.
    fn pulls(&self, content: &[usize], row: usize) -> Vec<f64> {
        let mut pulls = vec![0.0; self.entries.levels];
        for class in &self.classes {
            let through = |field: usize, rows: std::ops::Range<usize>| {
                rows.fold(Map::IDENTITY, |done, r| {
                    done.then(self.slot(class, field, r, content[r]))
                })
            };
            let fields = class.fields.len();
            let start = through(0, 0..row).apply(&class.erase.apply(&class.darkest));
            let between: Vec<Map> = (1..fields)
                .map(|f| {
                    let after = through(f - 1, row + 1..content.len());
                    after.then(&class.settle).then(&through(f, 0..row))
                })
                .collect();
            let seen = through(fields - 1, row + 1..content.len()).pulled_back(&seen_after(class));
            for (level, pull) in pulls.iter_mut().enumerate() {
                let mut x = start;
                for f in 0..fields {
                    x = class.fields[f].other[self.entries.of(row, level)].apply(&x);
                    if let Some(between) = between.get(f) {
                        x = between.apply(&x);
                    }
                }
                *pull += self.sign * class.share * value(&seen, &x);
            }
        }
        pulls
    }
}

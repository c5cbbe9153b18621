//! A column of pixels through a refresh: prefix maps (slots before a row) and suffix maps (slots after).

use super::affine::{Map, State, bits, composed};
use super::slots::SlotMaps;

/// Neighbouring rows of a column that get the same ticks in every field.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Run {
    /// First and last row, both included.
    pub first: usize,
    pub last: usize,
    /// Ticks on, one for each field.
    pub ticks: Vec<u32>,
}

impl Run {
    /// How many rows the run holds, at least 1.
    pub fn rows(&self) -> usize {
        self.last - self.first + 1
    }
}

/// One run in one field: what its rows do to each other, and what stands before and after.
#[derive(Debug, Clone)]
struct RunMaps {
    before: Map,
    own: Map,
    /// The run's slot as other rows feel it, to the powers 1, 2, 4, …
    other_squares: Vec<Map>,
    after: Map,
}

/// The maps of one class over one column's content.
#[derive(Debug, Clone)]
pub struct Column {
    /// `fields[f][run]`.
    fields: Vec<Vec<RunMaps>>,
    /// After each field.
    settle: Map,
    firsts: Vec<usize>,
    lasts: Vec<usize>,
}

/// A pixel's way through its column without its own slots.
#[derive(Debug, Clone)]
pub struct Around {
    /// Before each own slot, from the one of the field before it.
    befores: Vec<Map>,
    /// After the last.
    last: Map,
}

impl Around {
    /// The state after all fields, from `start` before them, with these own slots, one a field.
    pub fn end_state(&self, start: State, own: &[Map]) -> State {
        let slots = self.befores.iter().zip(own);
        let x = slots.fold(start, |x, (before, own)| own.apply(&before.apply(&x)));
        self.last.apply(&x)
    }
}

impl Column {
    /// `runs` cover the rows of the column in order; `slots` holds the maps of each field.
    pub fn new(slots: &[SlotMaps], settle: Map, runs: &[Run]) -> Self {
        let fields = slots
            .iter()
            .enumerate()
            .map(|(f, s)| run_maps(s, f, runs))
            .collect();
        Column {
            fields,
            settle,
            firsts: runs.iter().map(|r| r.first).collect(),
            lasts: runs.iter().map(|r| r.last).collect(),
        }
    }

    /// The state of the pixel in `row` of `run` after all fields, from `start` before them.
    pub fn end_state(&self, run: usize, row: usize, start: State) -> State {
        self.through(run, row, start, |field| &self.fields[field][run].own)
    }

    /// What stands between the own slots of the pixel in `row` of `run`, made once for many of them.
    pub fn around(&self, run: usize, row: usize) -> Around {
        let (above, below) = (row - self.firsts[run], self.lasts[run] - row);
        let mut before = Map::IDENTITY;
        let mut befores = Vec::with_capacity(self.fields.len());
        for field in &self.fields {
            let maps = &field[run];
            let power = |n| composed(&maps.other_squares, n);
            befores.push(before.then(&maps.before).then(&power(above)));
            before = power(below).then(&maps.after).then(&self.settle);
        }
        Around {
            befores,
            last: before,
        }
    }

    fn through<'a>(
        &'a self,
        run: usize,
        row: usize,
        start: State,
        own: impl Fn(usize) -> &'a Map,
    ) -> State {
        let (above, below) = (row - self.firsts[run], self.lasts[run] - row);
        let mut x = start;
        for (f, field) in self.fields.iter().enumerate() {
            let maps = &field[run];
            x = maps.before.apply(&x);
            x = apply_power(&maps.other_squares, above, x);
            x = own(f).apply(&x);
            x = apply_power(&maps.other_squares, below, x);
            x = maps.after.apply(&x);
            x = self.settle.apply(&x);
        }
        x
    }
}

fn run_maps(slots: &SlotMaps, field: usize, runs: &[Run]) -> Vec<RunMaps> {
    let mut maps: Vec<RunMaps> = Vec::with_capacity(runs.len());
    let mut wholes = Vec::with_capacity(runs.len());
    let mut before = Map::IDENTITY;
    for run in runs {
        let other_squares = slots.other(run.ticks[field]).squares(run.rows());
        let whole = composed(&other_squares, run.rows());
        let own = slots.own(run.ticks[field]);
        maps.push(RunMaps {
            before,
            own,
            other_squares,
            after: Map::IDENTITY,
        });
        before = before.then(&whole);
        wholes.push(whole);
    }
    let mut after = Map::IDENTITY;
    for (map, whole) in maps.iter_mut().zip(&wholes).rev() {
        map.after = after;
        after = whole.then(&after);
    }
    maps
}

fn apply_power(squares: &[Map], n: usize, x: State) -> State {
    bits(squares, n).fold(x, |x, square| square.apply(&x))
}

//! A whole picture through a refresh, exactly: every pixel with the content of its own column, its row, the lag of its
//! lines and what stood there before.
//!
//! For a class the slots before a row and those after it are affine maps, built up along the column by one composition a
//! row; a pixel's end state is then a handful of applications, whatever the number of rows. The first field begins with
//! one state for the whole column and the last ends in one number, so that there the maps shrink to a state and to a
//! function of it.

use super::charge::Balance;
use super::maps::{ClassMaps, Entries, FieldMaps, Played, seen_after};
use crate::pigment::{Map, State, value};
use crate::response::{COVERAGE_ROW, Response};
use rayon::prelude::*;

/// Levels of a panel's pixels, row by row.
#[derive(Debug, Clone, Copy)]
pub struct Levels<'a> {
    pub columns: usize,
    /// rows × columns entries, each below the number of levels.
    pub levels: &'a [u16],
}

impl Levels<'_> {
    pub fn rows(&self) -> usize {
        self.levels.len() / self.columns.max(1)
    }
}

/// What stood on the panel before the refresh.
#[derive(Debug, Clone, Copy)]
pub enum Before<'a> {
    /// Every pixel dark: all pigment spread.
    Dark,
    /// Every pixel clear: all pigment packed.
    Clear,
    /// A picture of the same size, driven by the same maps from the dark panel.
    Picture(Levels<'a>),
}

/// How late the lines' edges come, s: a pixel's own pulse is taken to be short by both together, which is the most that the
/// lines can take from it.
#[derive(Debug, Clone)]
pub struct LineLag {
    /// The select pulse at each column.
    pub select_s: Vec<f64>,
    /// The data at each row.
    pub data_s: Vec<f64>,
}

/// A band at one temperature, ready to drive pictures.
#[derive(Debug, Clone)]
pub struct PictureRun {
    response: Response,
    temperature_c: f64,
    stretch: f64,
    classes: Vec<ClassMaps>,
    entries: Entries,
    /// Of each field, s, as played.
    ticks_s: Vec<f64>,
    lag: Option<LineLag>,
}

/// Columns that one task drives: their pixels share cache lines of the picture.
const COLUMNS_A_TASK: usize = 8;

impl PictureRun {
    /// Without `lag` the lines answer at once.
    pub fn new(response: &Response, played: &Played, lag: Option<LineLag>) -> Self {
        let tick = |f: &crate::drive::Field| f.tick_s() * played.stretch;
        PictureRun {
            response: response.clone(),
            temperature_c: played.temperature_c,
            stretch: played.stretch,
            classes: ClassMaps::all(response, played),
            entries: Entries::new(played.ticks),
            ticks_s: played.fields.iter().map(tick).collect(),
            lag,
        }
    }

    /// Lightness of every pixel after the refresh and its rest, row by row.
    pub fn lstar(&self, picture: Levels, before: Before) -> Vec<f64> {
        self.seen(self.coverage(picture, before))
    }

    /// The same after a resting balance, one for each column.
    pub fn balanced_lstar(&self, picture: Levels, before: Before, balance: &[Balance]) -> Vec<f64> {
        self.seen(self.all_columns(picture, before, Some(balance)))
    }

    fn seen(&self, coverage: Vec<f64>) -> Vec<f64> {
        let curve = &self.response.curve;
        coverage.into_par_iter().map(|a| curve.lstar(a)).collect()
    }

    /// Coverage of every pixel, row by row.
    pub fn coverage(&self, picture: Levels, before: Before) -> Vec<f64> {
        self.all_columns(picture, before, None)
    }

    fn all_columns(
        &self,
        picture: Levels,
        before: Before,
        balance: Option<&[Balance]>,
    ) -> Vec<f64> {
        let (rows, columns) = (picture.rows(), picture.columns);
        let firsts: Vec<usize> = (0..columns).step_by(COLUMNS_A_TASK).collect();
        let strips: Vec<Vec<f64>> = firsts
            .par_iter()
            .map(|&first| {
                let mut work = Work::of(rows);
                let strip = first..(first + COLUMNS_A_TASK).min(columns);
                strip
                    .flat_map(|column| {
                        let balance = balance.map(|b| b[column]);
                        self.column(picture, before, (column, balance), &mut work)
                    })
                    .collect()
            })
            .collect();
        // Strips hold whole columns; the picture is row by row.
        let mut all = vec![0.0; rows * columns];
        all.par_chunks_mut(columns.max(1))
            .enumerate()
            .for_each(|(row, line)| {
                let mut at = 0;
                for strip in &strips {
                    for k in 0..strip.len() / rows {
                        line[at] = strip[k * rows + row];
                        at += 1;
                    }
                }
            });
        all
    }

    fn column(
        &self,
        picture: Levels,
        before: Before,
        (column, balance): (usize, Option<Balance>),
        work: &mut Work,
    ) -> Vec<f64> {
        let movers = balance.map(|_| self.response.movers(self.temperature_c, self.stretch));
        let content = self.content_of(picture, column);
        let old = match before {
            Before::Picture(old) => Some(self.content_of(old, column)),
            _ => None,
        };
        let late = self.late(column, content.len());
        let mut coverage = vec![0.0; content.len()];
        for (k, class) in self.classes.iter().enumerate() {
            let start = match before {
                Before::Clear => class.clearest,
                _ => class.darkest,
            };
            let drive = ColumnDrive { class, late: &late };
            match &old {
                None => drive.fields(&content, Start::One(class.erase.apply(&start)), work),
                Some(old) => {
                    drive.fields(old, Start::One(class.erase.apply(&start)), work);
                    drive.end(old, work);
                    for x in &mut work.states {
                        *x = class.erase.apply(x);
                    }
                    drive.fields(&content, Start::Each, work);
                }
            }
            match balance.zip(movers.as_ref()) {
                None => drive.add_coverage(&content, work, &mut coverage),
                Some((balance, movers)) => {
                    drive.end(&content, work);
                    let held = movers[k].hold(balance.pixel_v, balance.seconds);
                    let seen = held.pulled_back(&COVERAGE_ROW);
                    for (coverage, x) in coverage.iter_mut().zip(&work.states) {
                        *coverage += class.share * value(&seen, x);
                    }
                }
            }
        }
        coverage
    }

    /// The entry of every pixel of a column.
    fn content_of(&self, picture: Levels, column: usize) -> Vec<u16> {
        let pixels = picture.levels.iter().skip(column);
        let levels = pixels.step_by(picture.columns.max(1)).enumerate();
        let entry = |(row, &level): (usize, &u16)| self.entries.of(row, level.into()) as u16;
        levels.map(entry).collect()
    }

    /// Share of a tick by which each row's select pulse is short, by field; empty without lag.
    fn late(&self, column: usize, rows: usize) -> Vec<Vec<f64>> {
        let Some(lag) = &self.lag else {
            return Vec::new();
        };
        let short = |tick_s: &f64| {
            let share = |row: usize| (lag.select_s[column] + lag.data_s[row]) / tick_s;
            (0..rows).map(|row| share(row).min(1.0)).collect()
        };
        self.ticks_s.iter().map(short).collect()
    }
}

/// What a column begins its fields with.
#[derive(Debug, Clone, Copy)]
enum Start {
    One(State),
    /// The states that the work holds.
    Each,
}

/// States of a column's pixels, reused from class to class.
struct Work {
    states: Vec<State>,
}

impl Work {
    fn of(rows: usize) -> Self {
        Work {
            states: vec![[0.0; 3]; rows],
        }
    }
}

/// One class of one column.
struct ColumnDrive<'a> {
    class: &'a ClassMaps,
    late: &'a [Vec<f64>],
}

impl ColumnDrive<'_> {
    /// All fields, but of the last one only what comes up to each pixel's own slot and that slot.
    fn fields(&self, content: &[u16], start: Start, work: &mut Work) {
        let last = self.class.fields.len() - 1;
        for (f, field) in self.class.fields.iter().enumerate() {
            match (f, start) {
                (0, Start::One(x)) => self.down_from_one(f, field, content, x, work),
                _ => self.down(f, field, content, work),
            }
            if f < last {
                self.up(field, content, work);
            }
        }
    }

    /// Slots up to and with each pixel's own, all pixels beginning alike.
    fn down_from_one(
        &self,
        f: usize,
        field: &FieldMaps,
        content: &[u16],
        mut x: State,
        work: &mut Work,
    ) {
        for (row, &entry) in content.iter().enumerate() {
            work.states[row] = self.own(f, field, row, entry, &x);
            x = field.other[usize::from(entry)].apply(&x);
        }
    }

    /// The same where every pixel begins with its own state.
    fn down(&self, f: usize, field: &FieldMaps, content: &[u16], work: &mut Work) {
        let mut before = Map::IDENTITY;
        for (row, &entry) in content.iter().enumerate() {
            let x = before.apply(&work.states[row]);
            work.states[row] = self.own(f, field, row, entry, &x);
            before = before.then(&field.other[usize::from(entry)]);
        }
    }

    /// Slots after each pixel's own, and the pause.
    fn up(&self, field: &FieldMaps, content: &[u16], work: &mut Work) {
        let mut after = self.class.settle;
        for (row, &entry) in content.iter().enumerate().rev() {
            work.states[row] = after.apply(&work.states[row]);
            after = field.other[usize::from(entry)].then(&after);
        }
    }

    /// The end of the last field and the rest: each pixel's whole state.
    fn end(&self, content: &[u16], work: &mut Work) {
        if let Some(field) = self.class.fields.last() {
            self.up(field, content, work);
        }
        for x in &mut work.states {
            *x = self.class.rest.apply(x);
        }
    }

    /// The same where only the coverage counts.
    fn add_coverage(&self, content: &[u16], work: &Work, coverage: &mut [f64]) {
        let Some(field) = self.class.fields.last() else {
            return;
        };
        let mut seen = seen_after(self.class);
        for (row, &entry) in content.iter().enumerate().rev() {
            let x = &work.states[row];
            coverage[row] += self.class.share * value(&seen, x);
            seen = field.other[usize::from(entry)].pulled_back(&seen);
        }
    }

    /// A pixel's own slot; a select pulse that is late by part of a tick lies between one on time and one a whole tick late.
    #[inline]
    fn own(&self, f: usize, field: &FieldMaps, row: usize, entry: u16, x: &State) -> State {
        let entry = usize::from(entry);
        let in_time = field.own[entry].apply(x);
        let Some(late) = self.late.get(f) else {
            return in_time;
        };
        let late_by_one = field.late[entry].apply(x);
        let mix = |k: usize| in_time[k] + late[row] * (late_by_one[k] - in_time[k]);
        [mix(0), mix(1), mix(2)]
    }
}

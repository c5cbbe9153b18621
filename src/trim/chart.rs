//! The chart that verifies a finished set: every level among dark, light and mixed neighbours, in several rows, at the
//! temperatures of each band.

use crate::drive::{Erase, Field};
use crate::error::{Error, Result, Unmet};
use crate::planning::Grid;
use crate::project::{BAND_ERASE, Chart, Page, Panel};
use crate::waveforms::{Band, Waveforms};

/// Of a column's places, this part at most holds patches where the rest is to show one content.
const SPARSE: usize = 3;

/// Ticks of one field alone that are read beside the levels: the first pulses count for more than later ones, and a
/// correction must not have to guess them.
const PULSES: [u32; 9] = [1, 2, 3, 4, 6, 8, 12, 16, 24];

/// A band's upper limit belongs to the next band: it is read so far below it, °C.
const INSIDE_C: f64 = 0.1;

/// The chart that verifies `set` on `panel`: at each band's design temperature every level among dark, light and mixed
/// neighbours; at its limits every level among mixed ones. Where places are left over, the mixed pages also hold short pulses
/// of one field alone. Coldest page first.
///
/// Where rows have their ticks by zones, each patch lies in one zone and what lies round the patches has the table of the largest.
/// Errs with [`Error::Unmet`] where a band has no zone as high as a patch.
pub fn verification_chart(set: &Waveforms, panel: &Panel, grid: Grid) -> Result<Chart> {
    let mut pages = Vec::new();
    for (index, band) in set.bands.iter().enumerate() {
        let limits = band.temperature_c;
        let warmest = if index + 1 < set.bands.len() {
            ((limits.high - INSIDE_C) * 1e4).round() / 1e4
        } else {
            limits.high
        };
        let mut temperatures = vec![limits.low, limits.design, warmest];
        temperatures.dedup();
        let places = places(band, panel, grid);
        if places.is_empty() {
            return Err(no_place(index, grid));
        }
        for temperature_c in temperatures {
            let sheet = Sheet {
                set,
                panel,
                grid,
                places: &places,
                fill: fill_table(band, panel),
                band,
                index,
                temperature_c,
            };
            pages.extend(sheet.mixed());
            if temperature_c == limits.design {
                pages.extend(sheet.sparse("dark", 0));
                pages.extend(sheet.sparse("light", set.levels - 1));
            }
        }
    }
    pages.sort_by(|a, b| a.temperature_c.total_cmp(&b.temperature_c));
    Ok(Chart { pages })
}

/// Where patches lie above each other: the first row of each, and the table of its zone.
type Row<'a> = (usize, &'a [Vec<u32>]);

fn places<'a>(band: &'a Band, panel: &Panel, grid: Grid) -> Vec<Row<'a>> {
    let parts = band.row_ticks().parts(panel.rows);
    let within = |(rows, table)| {
        let firsts = grid.rows_within(&rows).into_iter();
        firsts.map(move |first| (first, table))
    };
    parts.flat_map(within).collect()
}

/// The table of the largest zone.
pub(super) fn fill_table<'a>(band: &'a Band, panel: &Panel) -> &'a [Vec<u32>] {
    let ticks = band.row_ticks();
    ticks.table(ticks.main_zone(panel.rows))
}

/// Rows of a set's zones that no patch of the verifying chart fits into, band by band: first and last.
pub fn rows_without_patches(set: &Waveforms, panel: &Panel, grid: Grid) -> Vec<(usize, usize)> {
    let zones = set
        .bands
        .iter()
        .flat_map(|b| b.row_ticks().parts(panel.rows));
    let low = zones.filter(|(rows, _)| rows.len() < grid.side && !rows.is_empty());
    let mut all: Vec<_> = low.map(|(rows, _)| (rows.start, rows.end - 1)).collect();
    all.sort_unstable();
    all.dedup();
    all
}

fn no_place(band: usize, grid: Grid) -> Error {
    Error::Unmet(Unmet {
        request: format!("a chart that verifies band {} of these waveforms", band + 1),
        binding: format!(
            "a patch of the instrument is {} rows high, and no zone of rows that share a table is",
            grid.side
        ),
        would_do: vec![
            "an instrument of a smaller aperture (instrument.aperture_mm in panel.toml)".into(),
            "a design of fewer zones (drivers.zones_max in panel.toml)".into(),
        ],
    })
}

/// A place of a page, from above and from the left.
type At = (usize, usize);

/// What a patch shows.
#[derive(Debug, Clone, Copy, PartialEq)]
enum Shown {
    Level(usize),
    /// One field alone.
    Pulse {
        field: usize,
        ticks: u32,
    },
}

/// One band at one temperature.
struct Sheet<'a> {
    set: &'a Waveforms,
    panel: &'a Panel,
    grid: Grid,
    places: &'a [Row<'a>],
    /// Table of what lies round the patches.
    fill: &'a [Vec<u32>],
    band: &'a Band,
    index: usize,
    temperature_c: f64,
}

impl Sheet<'_> {
    /// All places taken; each column has levels from dark to light, in another order of rows than the next.
    fn mixed(&self) -> Vec<Page> {
        let (down, across) = (self.places.len(), self.grid.across);
        let pages = self.set.levels.div_ceil(down * across);
        let columns = pages * across;
        let stride = coprime(columns);
        let middle = self.set.levels / 2;
        let shift = self.index * 5 + self.temperature_c.abs() as usize;
        let level = |column: usize, row: usize| {
            let stratum = (row + column + shift) % down;
            let within = (column * stride + 7 * stratum + shift) % columns;
            (stratum * columns + within) * self.set.levels / (down * columns)
        };
        let mut shown: Vec<Vec<(At, Shown)>> = (0..pages)
            .map(|page| {
                let places = (0..across).flat_map(|c| (0..down).map(move |r| (r, c)));
                let at = |(r, c)| ((r, c), Shown::Level(level(page * across + c, r)));
                places.map(at).collect()
            })
            .collect();
        self.put_pulses(&mut shown);
        let sheets = shown.into_iter().enumerate();
        sheets
            .map(|(page, at)| self.page("mixed", page, pages, middle, at))
            .collect()
    }

    /// Short pulses in place of levels that are shown already, the lightest ones first.
    fn put_pulses(&self, pages: &mut [Vec<(At, Shown)>]) {
        let mut seen = vec![false; self.set.levels];
        let mut again: Vec<(usize, usize, usize)> = Vec::new();
        for (page, places) in pages.iter().enumerate() {
            for (place, (_, shown)) in places.iter().enumerate() {
                let Shown::Level(level) = *shown else {
                    continue;
                };
                if std::mem::replace(&mut seen[level], true) {
                    again.push((level, page, place));
                }
            }
        }
        again.sort_by(|a, b| b.cmp(a));
        for ((_, page, place), pulse) in again.into_iter().zip(self.pulses()) {
            pages[page][place].1 = pulse;
        }
    }

    /// Short pulses that are no level's ticks.
    fn pulses(&self) -> impl Iterator<Item = Shown> + '_ {
        let fields = self.band.fields.iter().enumerate();
        let of = |(field, f): (usize, &Field)| {
            let most = f.slot_ticks;
            let short = PULSES.into_iter().filter(move |&t| t <= most);
            short.map(move |ticks| Shown::Pulse { field, ticks })
        };
        let tables = || self.places.iter().flat_map(|p| p.1);
        let new = move |shown: &Shown| {
            let ticks = self.ticks(*shown, &[]);
            !tables().any(|level| *level == ticks)
        };
        fields.flat_map(of).filter(new)
    }

    /// `table` is that of the patch's rows.
    fn ticks(&self, shown: Shown, table: &[Vec<u32>]) -> Vec<u32> {
        match shown {
            Shown::Level(level) => table[level].clone(),
            Shown::Pulse { field, ticks } => {
                let alone = |f: usize| if f == field { ticks } else { 0 };
                (0..self.band.fields.len()).map(alone).collect()
            }
        }
    }

    /// A few places of each column taken; everything else shows `fill`.
    fn sparse(&self, content: &str, fill: usize) -> Vec<Page> {
        let (down, across) = (self.places.len(), self.grid.across);
        let each = (down / SPARSE).max(1);
        let pages = self.set.levels.div_ceil(each * across);
        let taken: Vec<(usize, usize)> = (0..pages * across)
            .flat_map(|c| (0..each).map(move |k| ((k * down / each + c) % down, c)))
            .collect();
        // Neighbours on the page differ by many levels, so that a slip shows.
        let stride = coprime(taken.len());
        let level = |k: usize| (k * stride % taken.len()) * self.set.levels / taken.len();
        let mut at: Vec<Vec<(At, Shown)>> = vec![Vec::new(); pages];
        for (k, &(row, column)) in taken.iter().enumerate() {
            at[column / across].push(((row, column % across), Shown::Level(level(k))));
        }
        let sheets = at.into_iter().enumerate();
        sheets
            .map(|(page, at)| self.page(content, page, pages, fill, at))
            .collect()
    }

    fn page(
        &self,
        content: &str,
        number: usize,
        of: usize,
        fill: usize,
        at: Vec<(At, Shown)>,
    ) -> Page {
        let mut name = format!("b{}-{}C-{content}", self.index + 1, self.temperature_c);
        if of > 1 {
            name += &format!("-{}", number + 1);
        }
        let mut seen = vec![0; self.set.levels];
        let patch = |(place, shown): (At, Shown)| {
            let name = match shown {
                Shown::Level(level) => {
                    seen[level] += 1;
                    format!("L{level:03}-{}", seen[level])
                }
                Shown::Pulse { field, ticks } => format!("F{}-{ticks}", field + 1),
            };
            let (row_first, table) = self.places[place.0];
            let ticks = self.ticks(shown, table);
            self.grid
                .patch_from(row_first, place.1, name, &ticks, self.panel)
        };
        let patches = at.into_iter().map(patch).collect();
        let fields: Vec<Field> = self.band.fields.clone();
        Page {
            name,
            temperature_c: self.temperature_c,
            stretch: self
                .panel
                .drivers
                .played(self.band.stretch_factor(self.temperature_c)),
            erase: Erase {
                name: BAND_ERASE.into(),
                ..self.band.erase.clone()
            },
            fields,
            fill_ticks: self.fill[fill].clone(),
            patches,
        }
    }
}

/// The number nearest to the golden part of `n` that has no divisor in common with it; 1 for small n.
fn coprime(n: usize) -> usize {
    let golden = (0.618 * n as f64).round() as usize;
    let fits = |&k: &usize| k > 0 && gcd(k, n) == 1;
    (0..n)
        .flat_map(|d| [golden.saturating_sub(d), golden + d])
        .find(fits)
        .unwrap_or(1)
}

fn gcd(a: usize, b: usize) -> usize {
    if b == 0 { a } else { gcd(b, a % b) }
}

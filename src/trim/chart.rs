//! The chart that verifies a finished set: every level among dark, light and mixed neighbours, in several rows, at the
//! temperatures of each band.

use crate::drive::{Erase, Field};
use crate::planning::Grid;
use crate::project::{BAND_ERASE, Chart, Page, Panel};
use crate::waveforms::{Band, Waveforms};

/// Of a column's places, this part at most holds patches where the rest is to show one content.
const SPARSE: usize = 3;

/// A band's upper limit belongs to the next band: it is read so far below it, °C.
const INSIDE_C: f64 = 0.1;

/// The chart that verifies `set` on `panel`: at each band's design temperature every level among dark, light and mixed
/// neighbours; at its limits every level among mixed ones. Coldest page first.
pub fn verification_chart(set: &Waveforms, panel: &Panel, grid: Grid) -> Chart {
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
        for temperature_c in temperatures {
            let sheet = Sheet {
                set,
                panel,
                grid,
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
    Chart { pages }
}

/// One band at one temperature.
struct Sheet<'a> {
    set: &'a Waveforms,
    panel: &'a Panel,
    grid: Grid,
    band: &'a Band,
    index: usize,
    temperature_c: f64,
}

impl Sheet<'_> {
    /// All places taken; each column has levels from dark to light, in another order of rows than the next.
    fn mixed(&self) -> Vec<Page> {
        let (down, across) = (self.grid.down, self.grid.across);
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
        (0..pages)
            .map(|page| {
                let places = (0..across).flat_map(|c| (0..down).map(move |r| (r, c)));
                let at = places.map(|(r, c)| ((r, c), level(page * across + c, r)));
                self.page("mixed", page, pages, middle, at.collect())
            })
            .collect()
    }

    /// A few places of each column taken; everything else shows `fill`.
    fn sparse(&self, content: &str, fill: usize) -> Vec<Page> {
        let (down, across) = (self.grid.down, self.grid.across);
        let each = (down / SPARSE).max(1);
        let pages = self.set.levels.div_ceil(each * across);
        let taken: Vec<(usize, usize)> = (0..pages * across)
            .flat_map(|c| (0..each).map(move |k| ((k * down / each + c) % down, c)))
            .collect();
        // Neighbours on the page differ by many levels, so that a slip shows.
        let stride = coprime(taken.len());
        let level = |k: usize| (k * stride % taken.len()) * self.set.levels / taken.len();
        let mut at: Vec<Vec<((usize, usize), usize)>> = vec![Vec::new(); pages];
        for (k, &(row, column)) in taken.iter().enumerate() {
            at[column / across].push(((row, column % across), level(k)));
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
        at: Vec<((usize, usize), usize)>,
    ) -> Page {
        let mut name = format!("b{}-{}C-{content}", self.index + 1, self.temperature_c);
        if of > 1 {
            name += &format!("-{}", number + 1);
        }
        let mut seen = vec![0; self.set.levels];
        let patch = |((row, column), level): ((usize, usize), usize)| {
            seen[level] += 1;
            let name = format!("L{level:03}-{}", seen[level]);
            self.grid
                .patch((row, column), name, &self.band.ticks[level], self.panel)
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
            fill_ticks: self.band.ticks[fill].clone(),
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

//! Pages that may be driven, and fillings of their columns, with what each teaches.

use super::Grid;
use super::chance::Chance;
use super::drives::Rails;
use super::model::Model;
use super::uses::Prospect;
use crate::project::{Page, Patch};
use nalgebra::DVector;
use rayon::prelude::*;

/// Patches in one column of places: the place from above and the ticks of each.
pub type Strip = Vec<(usize, Vec<u32>)>;

/// A page that may be driven.
#[derive(Debug, Clone)]
pub struct Candidate {
    /// Without patches.
    pub page: Page,
    /// Whether it came of looking at what panels may need; the others are any drives that the rails allow.
    pub aimed: bool,
    pub strips: Vec<Strip>,
    /// For each prospect and strip, what each patch teaches: derivatives over the standard deviation of a reading.
    pub trials: Vec<Vec<Vec<DVector<f64>>>>,
}

/// Candidates at each temperature that any operator might drive; those that prospects lead to come beside them.
const ANY: usize = 24;
/// At least so many for each page that is wanted.
const MORE: usize = 2;
/// Fillings of a column.
const STRIPS: usize = 40;
const SEED: u64 = 0x6c6f_6f6d;
/// Parts of a slot below the first and above the last of these are none of it and all of it.
const ENDS: (f64, f64) = (0.04, 0.93);
/// Ticks are spread more densely where they are few, where most of the change is.
const DENSER: f64 = 1.6;

/// Candidates for one temperature, of which so many pages are wanted, with columns of the sizes asked for.
pub fn candidates(
    model: &Model,
    rails: &Rails,
    prospects: &[Prospect],
    grid: Grid,
    temperature_c: f64,
    (sizes, wanted): (&[usize], usize),
) -> Vec<Candidate> {
    let mut chance = Chance::new(SEED ^ temperature_c.to_bits());
    let mut pages: Vec<Page> = Vec::new();
    for prospect in prospects {
        let apart = |t: f64| (t - temperature_c).abs();
        let nearest = prospect.schemes.iter().map(|(t, _)| apart(*t));
        let nearest = nearest.fold(f64::INFINITY, f64::min);
        let near = prospect
            .schemes
            .iter()
            .filter(|(t, _)| apart(*t) <= nearest);
        pages.extend(near.map(|(_, page)| page.clone()));
    }
    let aimed = pages.len();
    pages.extend((0..ANY.max(MORE * wanted)).filter_map(|_| rails.any(&mut chance)));
    let drafts: Vec<(Page, Vec<Strip>)> = pages
        .iter()
        .map(|page| {
            let page = Page {
                temperature_c,
                ..rails.filled(page, &mut chance)
            };
            let strips = sizes
                .iter()
                .flat_map(|&size| (0..STRIPS).map(move |_| size))
                .map(|size| strip(&page, grid, size, &mut chance))
                .collect();
            (page, strips)
        })
        .collect();
    drafts
        .into_par_iter()
        .enumerate()
        .map(|(i, (page, strips))| Candidate {
            aimed: i < aimed,
            trials: trials(model, prospects, grid, &page, &strips),
            page,
            strips,
        })
        .collect()
}

/// `size` different places of a column, each with ticks.
fn strip(page: &Page, grid: Grid, size: usize, chance: &mut Chance) -> Strip {
    let mut places: Vec<usize> = (0..grid.down).collect();
    let mut strip: Strip = Vec::new();
    for _ in 0..size.min(grid.down) {
        let place = places.swap_remove(chance.below(places.len()));
        let ticks = page.fields.iter().map(|f| {
            let share = chance.share();
            if share < ENDS.0 {
                0
            } else if share > ENDS.1 {
                f.slot_ticks
            } else {
                (share.powf(DENSER) * f64::from(f.slot_ticks)).round() as u32
            }
        });
        strip.push((place, ticks.collect()));
    }
    strip.sort();
    strip
}

/// What each patch of each strip teaches, for each prospect.
fn trials(
    model: &Model,
    prospects: &[Prospect],
    grid: Grid,
    page: &Page,
    strips: &[Strip],
) -> Vec<Vec<Vec<DVector<f64>>>> {
    let sheet = with_strips(model, grid, page, strips);
    let sigma = model.panel.instrument.repeatability_lstar;
    prospects
        .iter()
        .map(|prospect| {
            let mut slopes = model.slopes(&prospect.guess, &sheet).into_iter();
            let mut next = || slopes.next().map(|s| s / sigma);
            strips
                .iter()
                .map(|strip| strip.iter().filter_map(|_| next()).collect())
                .collect()
        })
        .collect()
}

/// The page with each strip in a column of its own.
fn with_strips(model: &Model, grid: Grid, page: &Page, strips: &[Strip]) -> Page {
    let patches = strips.iter().enumerate().flat_map(|(column, strip)| {
        strip.iter().map(move |(place, ticks)| Patch {
            column_first: column,
            column_last: column,
            ..grid.patch((*place, 0), String::new(), ticks, model.panel)
        })
    });
    Page {
        patches: patches.collect(),
        ..page.clone()
    }
}

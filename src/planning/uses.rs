//! Panels that may turn up, and the greys that a design would then use.

use super::Uses;
use super::chance::Chance;
use super::drives::{Rails, ticks_at};
use super::model::{Guess, Model};
use crate::project::{Page, Patch};
use nalgebra::DVector;
use rayon::prelude::*;

/// A panel that may turn up.
#[derive(Debug, Clone)]
pub struct Prospect {
    pub guess: Guess,
    /// Drives that a design would come to, by temperature.
    pub schemes: Vec<(f64, Page)>,
    /// The greys used.
    pub uses: Uses,
}

/// Prospects looked for, and draws of the prior for them at most.
const PROSPECTS: usize = 8;
const DRAWS: usize = 400;
const SEED: u64 = 0x6772_6579;
/// Draws lie evenly within this many standard deviations: the even distribution of variance 1.
const REACH: f64 = 1.732;

/// Temperatures over the panel's range at which greys are used.
const TEMPERATURES: usize = 5;
/// Schemes tried and kept at each temperature.
const TRIED: usize = 60;
const KEPT: usize = 2;
/// What 1 L* of disturb costs of the span, L*; a scheme worth less than the least is none.
const DISTURB_PRICE: f64 = 6.0;
const LEAST_WORTH: f64 = 12.0;
/// Ticks looked at, as parts of the slots, and greys picked from them.
const PARTS: usize = 20;
const GREYS: usize = 6;

/// Panels that the description allows: draws of the prior with which some drive within the time shows greys.
pub fn prospects(model: &Model, rails: &Rails) -> Vec<Prospect> {
    let chances = (0..DRAWS as u64).map(|k| Chance::new(SEED.wrapping_add(k)));
    let chances: Vec<Chance> = chances.collect();
    let mut found = Vec::new();
    // In pieces of a fixed size, so that the number of threads doesn't matter.
    for piece in chances.chunks(PROSPECTS) {
        let drawn: Vec<Option<Prospect>> = piece
            .par_iter()
            .map(|chance| prospect(model, rails, chance.clone()))
            .collect();
        found.extend(drawn.into_iter().flatten());
        if found.len() >= PROSPECTS {
            break;
        }
    }
    found.truncate(PROSPECTS);
    found
}

fn prospect(model: &Model, rails: &Rails, mut chance: Chance) -> Option<Prospect> {
    let deviations = model.parameters.iter();
    let deviations: Vec<f64> = deviations.map(|_| chance.between(-REACH, REACH)).collect();
    let guess = model.guess(&deviations)?;
    let limits = &model.panel.limits;
    let at = |k: usize| {
        let share = k as f64 / (TEMPERATURES - 1) as f64;
        limits.temperature_min_c + share * (limits.temperature_max_c - limits.temperature_min_c)
    };
    let mut schemes = Vec::new();
    for k in [2, 0, 4, 1, 3] {
        let found = best_schemes(model, rails, &guess, at(k), &mut chance);
        if found.is_empty() {
            return None;
        }
        schemes.extend(found.into_iter().map(|page| (at(k), page)));
    }
    let pages = schemes
        .iter()
        .flat_map(|(_, page)| use_pages(model, &guess, page));
    let slopes: Vec<DVector<f64>> = pages.flat_map(|p| model.slopes(&guess, &p)).collect();
    Some(Prospect {
        guess,
        schemes,
        uses: Uses::of(&slopes, model.parameters.len()),
    })
}

fn best_schemes(
    model: &Model,
    rails: &Rails,
    guess: &Guess,
    temperature_c: f64,
    chance: &mut Chance,
) -> Vec<Page> {
    let threshold_v = guess.response.kinetics.crossing.threshold_v;
    let tried = (0..TRIED).filter_map(|_| rails.scheme(threshold_v, chance));
    let mut ranked: Vec<(f64, Page)> = tried
        .map(|page| {
            let page = Page {
                temperature_c,
                ..page
            };
            (worth(model, guess, &page), page)
        })
        .filter(|(worth, _)| *worth >= LEAST_WORTH)
        .collect();
    ranked.sort_by(|a, b| b.0.total_cmp(&a.0));
    ranked
        .into_iter()
        .take(KEPT)
        .map(|(_, page)| page)
        .collect()
}

/// Span of the greys less what disturb takes of it, L*.
fn worth(model: &Model, guess: &Guess, page: &Page) -> f64 {
    const SHARES: [f64; 5] = [0.0, 0.25, 0.5, 0.75, 1.0];
    let row = model.panel.rows / 2;
    let shown = |fill: f64| {
        let wanted = SHARES.map(|s| (row, ticks_at(&page.fields, s)));
        model.lstar(&guess.response, &with_pixels(page, fill, &wanted))
    };
    let (on, off) = (shown(1.0), shown(0.0));
    let disturb: Vec<f64> = on.iter().zip(&off).map(|(a, b)| (a - b).abs()).collect();
    let span = on[0] - off[SHARES.len() - 1];
    span - DISTURB_PRICE * disturb.iter().sum::<f64>() / disturb.len() as f64
}

/// Pages with a pixel for each grey, dark to light, in the first, a middle and the last row, among all on, half on, all off.
fn use_pages(model: &Model, guess: &Guess, page: &Page) -> Vec<Page> {
    let last = model.panel.rows - 1;
    let greys = greys(model, guess, page);
    let rows = [0, last / 2, last];
    let wanted: Vec<(usize, Vec<u32>)> = rows
        .iter()
        .flat_map(|&row| greys.iter().map(move |g| (row, g.clone())))
        .collect();
    [0.0, 0.5, 1.0]
        .iter()
        .map(|&fill| with_pixels(page, fill, &wanted))
        .collect()
}

/// Ticks of greys spread evenly in lightness, as far as the ticks looked at allow.
fn greys(model: &Model, guess: &Guess, page: &Page) -> Vec<Vec<u32>> {
    let row = model.panel.rows / 2;
    let ticks = (0..=PARTS).map(|k| ticks_at(&page.fields, k as f64 / PARTS as f64));
    let wanted: Vec<(usize, Vec<u32>)> = ticks.map(|t| (row, t)).collect();
    let lstar = model.lstar(&guess.response, &with_pixels(page, 0.5, &wanted));
    let (light, dark) = (lstar[0], lstar[PARTS]);
    let near = |k: usize| {
        let to = light + (dark - light) * k as f64 / (GREYS - 1) as f64;
        let apart = |i: &usize| (lstar[*i] - to).abs();
        let best = (0..=PARTS).min_by(|a, b| apart(a).total_cmp(&apart(b)));
        best.map(|i| wanted[i].1.clone())
    };
    (0..GREYS).filter_map(near).collect()
}

/// The page with single pixels, each in a column of its own, the rest of it at a share of the slots.
fn with_pixels(page: &Page, fill: f64, wanted: &[(usize, Vec<u32>)]) -> Page {
    let patch = |(column, (row, ticks)): (usize, &(usize, Vec<u32>))| Patch {
        name: String::new(),
        row_first: *row,
        row_last: *row,
        column_first: column,
        column_last: column,
        ticks: ticks.clone(),
        line: 0,
    };
    Page {
        fill_ticks: ticks_at(&page.fields, fill),
        patches: wanted.iter().enumerate().map(patch).collect(),
        ..page.clone()
    }
}

//! Choosing pages and their patches: greedy first, then each page exchanged for a better one.

use super::candidates::Candidate;
use super::knowledge::Knowledge;
use nalgebra::DVector;
use rayon::prelude::*;

/// A page of the plan: its candidate, and the strip of each column used.
#[derive(Debug, Clone, PartialEq)]
pub struct Chosen {
    /// Which temperature it is for.
    pub temperature: usize,
    pub candidate: usize,
    pub strips: Vec<usize>,
}

/// A page to be chosen: which temperature, and how many patches stand in each column used.
#[derive(Debug, Clone, PartialEq)]
pub struct Slot {
    pub temperature: usize,
    pub sizes: Vec<usize>,
}

/// Rounds of exchange at most, fewer where so many pages were looked at, and the gain of ln squared error below which a page stays.
const ROUNDS: usize = 3;
const TURNS: usize = 64;
/// Candidates whose columns are filled one after another; the others promise less.
const PROMISING: usize = 8;
const LEAST_GAIN: f64 = 1e-4;

/// What is known in each prospect.
#[derive(Debug, Clone)]
pub struct Standing(pub Vec<Knowledge>);

impl Standing {
    /// By how much the ln of the mean squared error falls with a strip, over the prospects.
    fn gain(&self, candidate: &Candidate, strip: usize) -> f64 {
        let of = |(k, knowledge): (usize, &Knowledge)| {
            let rows = &candidate.trials[k][strip];
            match rows.as_slice() {
                [] => 0.0,
                [only] => knowledge.gain(only),
                rows => {
                    let mut knowledge = knowledge.clone();
                    let mut gain = |row: &DVector<f64>| {
                        let gain = knowledge.gain(row);
                        knowledge.add(row);
                        gain
                    };
                    rows.iter().map(&mut gain).sum()
                }
            }
        };
        self.0.iter().enumerate().map(of).sum::<f64>() / self.0.len() as f64
    }

    fn add(&mut self, candidate: &Candidate, strip: usize) {
        for (knowledge, trials) in self.0.iter_mut().zip(&candidate.trials) {
            trials[strip].iter().for_each(|row| knowledge.add(row));
        }
    }

    pub fn add_page(&mut self, candidates: &[Vec<Candidate>], page: &Chosen) {
        let candidate = &candidates[page.temperature][page.candidate];
        for &strip in &page.strips {
            self.add(candidate, strip);
        }
    }

    /// Mean over the prospects of the ln of the mean squared error.
    pub fn ln_error(&self) -> f64 {
        let sum: f64 = self.0.iter().map(|k| k.mean_squared_error().ln()).sum();
        sum / self.0.len() as f64
    }

    /// The best strips of a candidate, one column after another, and what they gain together.
    fn best_strips(&self, candidate: &Candidate, sizes: &[usize]) -> (f64, Vec<usize>) {
        let mut standing = self.clone();
        let (mut strips, mut total) = (Vec::new(), 0.0);
        for &size in sizes {
            let fits = (0..candidate.strips.len()).filter(|&s| candidate.strips[s].len() == size);
            // Once all were taken, again.
            let times = |s: usize| strips.iter().filter(|&&t| t == s).count();
            let fewest = fits.clone().map(times).min();
            let best = fits
                .filter(|&s| Some(times(s)) == fewest)
                .map(|s| (standing.gain(candidate, s), s))
                .max_by(|a, b| a.0.total_cmp(&b.0).then(b.1.cmp(&a.1)));
            let Some((gain, strip)) = best else { continue };
            standing.add(candidate, strip);
            strips.push(strip);
            total += gain;
        }
        (total, strips)
    }

    /// What the best strips of a candidate would gain, were each the only one.
    fn promise(&self, candidate: &Candidate, sizes: &[usize]) -> f64 {
        let size = sizes.iter().copied().max().unwrap_or(0);
        let fits = (0..candidate.strips.len()).filter(|&s| candidate.strips[s].len() == size);
        let mut gains: Vec<f64> = fits.map(|s| self.gain(candidate, s)).collect();
        gains.sort_by(|a, b| b.total_cmp(a));
        gains.iter().take(sizes.len()).sum()
    }

    /// The best page for a slot among candidates that no other page has; once all have been taken, again.
    fn best_page(
        &self,
        candidates: &[Vec<Candidate>],
        slot: &Slot,
        taken: &[Chosen],
    ) -> Option<(f64, Chosen)> {
        let here = &candidates[slot.temperature];
        let times = |c: usize| {
            let same = |t: &&Chosen| t.temperature == slot.temperature && t.candidate == c;
            taken.iter().filter(same).count()
        };
        let fewest = (0..here.len()).map(times).min();
        let free: Vec<usize> = (0..here.len())
            .filter(|&c| Some(times(c)) == fewest)
            .collect();
        let promises = free
            .into_par_iter()
            .map(|c| (self.promise(&here[c], &slot.sizes), c));
        let mut promising: Vec<(f64, usize)> = promises.collect();
        promising.sort_by(|a, b| b.0.total_cmp(&a.0));
        promising.truncate(PROMISING);
        let judged: Vec<(f64, Chosen)> = promising
            .into_par_iter()
            .map(|(_, candidate)| {
                let (gain, strips) = self.best_strips(&here[candidate], &slot.sizes);
                let page = Chosen {
                    temperature: slot.temperature,
                    candidate,
                    strips,
                };
                (gain, page)
            })
            .collect();
        judged
            .into_iter()
            .reduce(|best, next| if next.0 > best.0 { next } else { best })
    }
}

/// Pages one after another, each the best beside those before it. `told` is handed what is known after each.
pub fn greedy(
    before: &Standing,
    candidates: &[Vec<Candidate>],
    slots: &[Slot],
    mut told: impl FnMut(usize, &Standing),
) -> Vec<Chosen> {
    let mut standing = before.clone();
    let mut chosen = Vec::new();
    for (k, slot) in slots.iter().enumerate() {
        if let Some((_, page)) = standing.best_page(candidates, slot, &chosen) {
            standing.add_page(candidates, &page);
            chosen.push(page);
        }
        told(k, &standing);
    }
    chosen
}

/// Exchanges each page for a better one until none is.
pub fn exchange_pages(
    before: &Standing,
    candidates: &[Vec<Candidate>],
    slots: &[Slot],
    chosen: &mut Vec<Chosen>,
    mut told: impl FnMut(usize, f64),
) {
    let rounds = (TURNS / chosen.len().max(1)).clamp(1, ROUNDS);
    for round in 0..rounds {
        let mut changed = false;
        for (k, slot) in slots.iter().enumerate().take(chosen.len()) {
            let old = chosen.remove(k);
            let mut standing = after(before, candidates, chosen);
            let without = standing.ln_error();
            let better = standing.best_page(candidates, slot, chosen);
            standing.add_page(candidates, &old);
            let gain = without - standing.ln_error();
            match better {
                Some((best, page)) if best > gain + LEAST_GAIN && page != old => {
                    chosen.insert(k, page);
                    changed = true;
                }
                _ => chosen.insert(k, old),
            }
            told(round, standing.ln_error());
        }
        if !changed {
            break;
        }
    }
}

/// What is known after these pages.
pub fn after(before: &Standing, candidates: &[Vec<Candidate>], pages: &[Chosen]) -> Standing {
    let mut standing = before.clone();
    for page in pages {
        standing.add_page(candidates, page);
    }
    standing
}

//! The plan: from a panel's description to a chart, with what it will teach.

use super::candidates::{Candidate, candidates};
use super::chance::Chance;
use super::choose::{Chosen, Slot, Standing, after, exchange_pages, greedy};
use super::cost::Cost;
use super::drives::Rails;
use super::model::{Guess, Model};
use super::uses::{Prospect, prospects};
use super::{Aim, Grid, Knowledge};
use crate::error::{Error, Result};
use crate::project::{Chart, Page, Panel};
use crate::response::parameters::Parameter;
use serde::Serialize;

/// What is asked of a plan.
#[derive(Debug, Clone, PartialEq)]
pub struct PlanRequest {
    pub patches: usize,
    pub pages: usize,
    /// Rising, none twice.
    pub temperatures_c: Vec<f64>,
}

impl PlanRequest {
    /// Patches of a page, where it has as many as any.
    fn full_page(&self) -> usize {
        self.patches.div_ceil(self.pages.max(1)).max(1)
    }
}

/// How well a parameter will be known, in its unit: uncertainty and likely bias together; means over the prospects.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Foreseen {
    pub parameter: Parameter,
    pub sigma_before: f64,
    pub sigma_after: f64,
    /// The same, in standard deviations of the prior.
    pub share_of_prior: f64,
}

/// Error of the greys that will be used, rms, with so many patches: uncertainty and likely bias together.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct CurvePoint {
    pub patches: usize,
    /// Before exchanges, which better it further.
    pub planned_lstar: f64,
    pub random_lstar: f64,
}

#[derive(Debug, Clone)]
pub struct Plan {
    pub chart: Chart,
    pub parameters: Vec<Foreseen>,
    /// Error of the greys that will be used, rms, with this chart: uncertainty and likely bias together.
    pub grey_error_lstar: f64,
    pub curve: Vec<CurvePoint>,
    pub cost: Cost,
}

/// Patches of the curve.
pub const CURVE: [usize; 6] = [40, 80, 120, 160, 240, 320];
/// Charts drawn at random for each point of the curve.
const RANDOM_CHARTS: u64 = 6;
const SEED: u64 = 0x6368_6172;

/// What a plan chooses from.
pub struct Planning<'a> {
    panel: &'a Panel,
    grid: Grid,
    request: PlanRequest,
    model: Model<'a>,
    prospects: Vec<Prospect>,
    /// By temperature.
    candidates: Vec<Vec<Candidate>>,
}

impl<'a> Planning<'a> {
    /// Errs where no panel that the description allows shows greys.
    pub fn new(
        panel: &'a Panel,
        grid: Grid,
        request: &PlanRequest,
        progress: &dyn Fn(&str),
    ) -> Result<Self> {
        let model = Model::of(panel);
        let rails = Rails::of(panel);
        progress("planning: panels that may turn up");
        let prospects = prospects(&model, &rails);
        if prospects.is_empty() || !rails.darkens() {
            return Err(shows_nothing(panel));
        }
        let slots = slots(request.patches, request, grid);
        let mut sizes: Vec<usize> = slots.iter().flat_map(|s| s.sizes.clone()).collect();
        // The curve has full pages.
        sizes.extend(column_sizes(request.full_page(), grid.across));
        sizes.sort_unstable();
        sizes.dedup();
        progress("planning: what pages would teach");
        let pages = slots.len().div_ceil(request.temperatures_c.len());
        let candidates = request
            .temperatures_c
            .iter()
            .map(|&t| candidates(&model, &rails, &prospects, grid, t, (&sizes, pages)))
            .collect();
        Ok(Planning {
            panel,
            grid,
            request: request.clone(),
            model,
            prospects,
            candidates,
        })
    }

    fn before(&self) -> Standing {
        let one = |p: &Prospect| {
            let sigmas = vec![1.0; self.model.parameters.len()];
            Knowledge::before(&sigmas, Aim::Uses(p.uses.clone()))
        };
        Standing(self.prospects.iter().map(one).collect())
    }

    /// The best chart that was found.
    pub fn plan(&self, progress: &dyn Fn(&str)) -> Plan {
        let before = self.before();
        let slots = slots(self.request.patches, &self.request, self.grid);
        let mut chosen = greedy(&before, &self.candidates, &slots, |k, _| {
            progress(&format!("planning: page {} of {}", k + 1, slots.len()));
        });
        exchange_pages(
            &before,
            &self.candidates,
            &slots,
            &mut chosen,
            |round, ln| {
                let error = (0.5 * ln).exp();
                progress(&format!(
                    "planning: exchange {}, greys known to {error:.3} L*",
                    round + 1
                ));
            },
        );
        let standing = after(&before, &self.candidates, &chosen);
        let chart = self.chart(&chosen);
        Plan {
            cost: Cost::of(&chart, self.panel),
            chart,
            parameters: self.foreseen(&standing),
            grey_error_lstar: (0.5 * standing.ln_error()).exp(),
            curve: self.curve(progress),
        }
    }

    /// A chart of the same size drawn at random: any drives and ticks that a careful operator might try, without a model's help.
    pub fn random(&self, seed: u64) -> Chart {
        let slots = slots(self.request.patches, &self.request, self.grid);
        self.chart(&self.random_pages(&slots, seed))
    }

    fn random_pages(&self, slots: &[Slot], seed: u64) -> Vec<Chosen> {
        let mut chance = Chance::new(SEED.wrapping_add(seed));
        let page = |slot: &Slot| {
            let here = &self.candidates[slot.temperature];
            let mut any: Vec<usize> = (0..here.len()).filter(|&i| !here[i].aimed).collect();
            if any.is_empty() {
                any = (0..here.len()).collect();
            }
            let candidate = any[chance.below(any.len())];
            let strips = slot.sizes.iter().map(|&size| {
                let all = here[candidate].strips.iter().enumerate();
                let fit: Vec<usize> = all
                    .filter(|(_, s)| s.len() == size)
                    .map(|(i, _)| i)
                    .collect();
                fit[chance.below(fit.len())]
            });
            Chosen {
                temperature: slot.temperature,
                candidate,
                strips: strips.collect(),
            }
        };
        slots.iter().map(page).collect()
    }

    /// Planned and random charts side by side, of full pages.
    fn curve(&self, progress: &dyn Fn(&str)) -> Vec<CurvePoint> {
        progress("planning: what more or fewer patches buy");
        let full = self.request.full_page();
        let mut pages: Vec<usize> = CURVE.iter().map(|n| (n / full).max(1)).collect();
        pages.dedup();
        let before = self.before();
        let most = pages.last().map_or(0, |pages| pages * full);
        let slots = slots(most, &self.request, self.grid);
        let mut planned = Vec::new();
        greedy(&before, &self.candidates, &slots, |_, standing| {
            planned.push((0.5 * standing.ln_error()).exp());
        });
        let random = |slots: &[Slot]| {
            let ln = (0..RANDOM_CHARTS).map(|seed| {
                let chosen = self.random_pages(slots, seed);
                after(&before, &self.candidates, &chosen).ln_error()
            });
            (0.5 * ln.sum::<f64>() / RANDOM_CHARTS as f64).exp()
        };
        let point = |pages: usize| CurvePoint {
            patches: pages * full,
            planned_lstar: planned[pages - 1],
            random_lstar: random(&slots[..pages]),
        };
        pages.into_iter().map(point).collect()
    }

    fn foreseen(&self, standing: &Standing) -> Vec<Foreseen> {
        let count = self.prospects.len() as f64;
        let mean = |of: &dyn Fn(&Guess, &Knowledge) -> f64| {
            let all = self.prospects.iter().zip(&standing.0);
            all.map(|(p, k)| of(&p.guess, k)).sum::<f64>() / count
        };
        let one = |(i, p): (usize, &Parameter)| {
            let slope = |guess: &Guess| p.scale.slope(guess.moved[i]).abs() * p.prior_sigma;
            let share = |knowledge: &Knowledge| knowledge.squared_error(i).max(0.0).sqrt();
            Foreseen {
                parameter: *p,
                sigma_before: mean(&|guess, _| slope(guess)),
                sigma_after: mean(&|guess, knowledge| slope(guess) * share(knowledge)),
                share_of_prior: mean(&|_, knowledge| share(knowledge)),
            }
        };
        self.model.parameters.iter().enumerate().map(one).collect()
    }

    /// The pages with their patches at their places, coldest first.
    fn chart(&self, chosen: &[Chosen]) -> Chart {
        let mut chosen: Vec<&Chosen> = chosen.iter().collect();
        chosen.sort_by_key(|c| c.temperature);
        let digits = chosen.len().to_string().len().max(2);
        let pages = chosen.iter().enumerate().map(|(number, c)| {
            let candidate = &self.candidates[c.temperature][c.candidate];
            let columns = c.strips.len().max(1);
            let patches = c.strips.iter().enumerate().flat_map(|(k, &strip)| {
                // Few strips are spread over the width.
                let column = (2 * k + 1) * self.grid.across / (2 * columns);
                candidate.strips[strip].iter().map(move |(row, ticks)| {
                    let name = place_name(*row, column);
                    self.grid.patch((*row, column), name, ticks, self.panel)
                })
            });
            Page {
                name: format!("p{:0digits$}", number + 1),
                patches: patches.collect(),
                ..candidate.page.clone()
            }
        });
        Chart {
            pages: pages.collect(),
        }
    }
}

/// `A1` is the place above left; after Z comes AA.
pub fn place_name(row: usize, column: usize) -> String {
    let mut letters = String::new();
    let mut rest = row + 1;
    while rest > 0 {
        letters.insert(0, char::from(b'A' + ((rest - 1) % 26) as u8));
        rest = (rest - 1) / 26;
    }
    format!("{letters}{}", column + 1)
}

/// Pages for so many patches, the temperatures in turn: as many as asked for, or full ones where another number is meant.
fn slots(patches: usize, request: &PlanRequest, grid: Grid) -> Vec<Slot> {
    let pages = if patches == request.patches {
        request.pages
    } else {
        patches.div_ceil(request.full_page())
    };
    let order = ends_first(request.temperatures_c.len());
    let slot = |k: usize| {
        let here = patches * (k + 1) / pages - patches * k / pages;
        Slot {
            temperature: order[k % order.len()],
            sizes: column_sizes(here, grid.across),
        }
    };
    (0..pages).map(slot).collect()
}

/// So many patches over columns, as evenly as it goes.
fn column_sizes(patches: usize, across: usize) -> Vec<usize> {
    let columns = patches.min(across);
    let size = |k: usize| patches * (k + 1) / columns - patches * k / columns;
    (0..columns).map(size).collect()
}

/// 0…n−1: first, last, then what lies between, the middle first.
fn ends_first(n: usize) -> Vec<usize> {
    let mut order: Vec<usize> = Vec::new();
    let middle = n.saturating_sub(1) / 2;
    let wanted = [0, n.saturating_sub(1), middle].into_iter().chain(0..n);
    for k in wanted.filter(|&k| k < n) {
        if !order.contains(&k) {
            order.push(k);
        }
    }
    order
}

fn shows_nothing(panel: &Panel) -> Error {
    Error::Unmet(crate::error::Unmet {
        request: format!("a chart for {}", panel.name),
        binding: format!(
            "no panel that the description allows shows greys within limits.refresh_s = {} s",
            panel.limits.refresh_s
        ),
        would_do: vec!["a longer refresh, or rails of drivers.select_v that reach further above drivers.data_v".into()],
    })
}

//! From one request of the map to the next: times from the longest down, levels from the fewest up, each begun with the schemes
//! that its neighbours led to.

use super::SweepRequest;
use super::point::{Asked, Point};
use crate::design::plan::{Effort, Planner};
use crate::design::request::{LadderShare, Request};
use crate::design::warm::{Made, Starts};
use crate::project::Panel;
use crate::response::fit::Fit;

/// Places of the coarse grid that the first searches begin with.
const SEEDS: usize = 5;
/// Numbers of levels in a row that aren't found, after which no more are tried.
const MISSES: usize = 2;
/// Halvings between the most levels found and the next number.
const HALVINGS: usize = 3;

/// Where schemes are looked for first.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Looked {
    /// Those of neighbouring designs.
    Nearby,
    /// The coarse grid too.
    Everywhere,
}

/// A design of the map.
pub(super) struct Cell {
    pub made: Made,
    pub asked: Asked,
}

impl Cell {
    pub fn point(&self) -> Point {
        Point::of(&self.made.design, self.asked)
    }

    pub fn levels(&self) -> usize {
        self.asked.levels
    }

    pub fn span_lstar(&self) -> f64 {
        self.made.design.span_lstar()
    }
}

/// Told what is being done, and the share done.
pub(super) type Tell<'t> = dyn Fn(String, f64) + 't;

pub(super) struct Walk<'a> {
    pub panel: &'a Panel,
    fit: &'a Fit,
    request: &'a SweepRequest,
    /// Rising, s.
    pub times: &'a [f64],
}

impl<'a> Walk<'a> {
    pub fn new(
        panel: &'a Panel,
        fit: &'a Fit,
        request: &'a SweepRequest,
        times: &'a [f64],
    ) -> Self {
        Walk {
            panel,
            fit,
            request,
            times,
        }
    }

    /// The designs without caps, by time and levels, both rising.
    pub fn grid(&self, tell: &Tell) -> Vec<Cell> {
        let mut cells: Vec<Cell> = Vec::new();
        let times = self.times.len();
        for (i, &budget_s) in self.times.iter().rev().enumerate() {
            let done = |share: f64| (i as f64 + share) / times as f64;
            let found = self.column(budget_s, &cells, &|what, share| tell(what, done(share)));
            cells.extend(found);
        }
        cells.sort_by(|a, b| {
            let (x, y) = (a.asked.budget_s, b.asked.budget_s);
            x.total_cmp(&y).then(a.levels().cmp(&b.levels()))
        });
        cells
    }

    /// The designs of one time; `longer` are those of longer ones.
    fn column(&self, budget_s: f64, longer: &[Cell], tell: &Tell) -> Vec<Cell> {
        let asked = Asked {
            budget_s,
            ..Asked::default()
        };
        let all = &self.request.levels;
        let next_s = longer.last().map(|c| c.asked.budget_s);
        let above: Vec<&Cell> = longer
            .iter()
            .filter(|c| Some(c.asked.budget_s) == next_s)
            .collect();
        let most_above = above.iter().map(|c| c.levels()).max();
        let mut found: Vec<Cell> = Vec::new();
        let mut misses = 0;
        for (k, &levels) in all.iter().enumerate() {
            // What a longer time doesn't show a shorter one doesn't.
            if misses == MISSES || most_above.is_some_and(|most| levels > most) {
                break;
            }
            tell(
                format!("{levels} levels in {budget_s} s"),
                k as f64 / (all.len() + HALVINGS) as f64,
            );
            let first = found.is_empty() || longer.is_empty() && misses == 0;
            let looked = if first {
                Looked::Everywhere
            } else {
                Looked::Nearby
            };
            let mut cell = self.found(levels, asked, looked, (&found, &above));
            if cell.is_none() && !first && misses == 0 {
                cell = self.found(levels, asked, Looked::Everywhere, (&found, &above));
            }
            match cell {
                Some(cell) => {
                    misses = 0;
                    found.push(cell);
                }
                None => misses += 1,
            }
        }
        self.between(asked, &mut found, &above, tell);
        self.fewer(&mut found);
        found
    }

    /// A design of so many levels, begun with those of fewer and those of a longer time.
    fn found(
        &self,
        levels: usize,
        asked: Asked,
        looked: Looked,
        (fewer, longer): (&[Cell], &[&Cell]),
    ) -> Option<Cell> {
        let request = self.request_of(levels, asked.budget_s);
        let planner = self.planner(self.panel, &request);
        let starts = match looked {
            Looked::Everywhere => planner.seeded(SEEDS),
            Looked::Nearby => Starts::default(),
        };
        let near = |c: &&&Cell| c.levels().abs_diff(levels);
        let mut longer: Vec<&&Cell> = longer.iter().collect();
        longer.sort_by_key(near);
        let nearest = fewer
            .last()
            .into_iter()
            .chain(longer.into_iter().take(2).copied());
        let starts = nearest.fold(starts, |all, c| all.and(&c.made.starts()));
        let made = planner.attempt_from(&starts).ok()?;
        Some(Cell {
            made,
            asked: Asked { levels, ..asked },
        })
    }

    /// The most levels: between the most found and the next number asked for, by halves.
    fn between(&self, asked: Asked, found: &mut Vec<Cell>, longer: &[&Cell], tell: &Tell) {
        let honest = |c: &Cell| c.point().honest;
        let Some(mut low) = found.iter().filter(|c| honest(c)).map(Cell::levels).max() else {
            return;
        };
        let all = &self.request.levels;
        let Some(mut high) = all.iter().copied().find(|&l| l > low) else {
            return;
        };
        if let Some(most) = longer.iter().map(|c| c.levels()).max() {
            high = high.min(most + 1);
        }
        for k in 0..HALVINGS {
            if high - low < 2 {
                break;
            }
            let levels = low + (high - low) / 2;
            tell(
                format!("{levels} levels in {} s", asked.budget_s),
                (all.len() + k) as f64 / (all.len() + HALVINGS) as f64,
            );
            let below = found
                .iter()
                .rposition(|c| c.levels() < levels)
                .map_or(0, |i| i + 1);
            match self.found(levels, asked, Looked::Nearby, (&found[..below], longer)) {
                Some(cell) => {
                    let kept = honest(&cell);
                    found.insert(below, cell);
                    if kept {
                        low = levels;
                    } else {
                        high = levels;
                    }
                }
                None => high = levels,
            }
        }
    }

    /// Fewer levels with the schemes of more, where those make a wider ladder; also where none was found.
    fn fewer(&self, found: &mut Vec<Cell>) {
        let mut wanted: Vec<usize> = self.request.levels.clone();
        wanted.extend(found.iter().map(Cell::levels));
        wanted.sort_unstable();
        wanted.dedup();
        for &levels in wanted.iter().rev() {
            let Some(more) = found.iter().position(|c| c.levels() > levels) else {
                continue;
            };
            let own = found.iter().position(|c| c.levels() == levels);
            let span = |i: usize| found[i].span_lstar();
            if own.is_some_and(|i| span(i) >= span(more)) {
                continue;
            }
            let Some(cell) = self.with_schemes_of(&found[more], levels) else {
                continue;
            };
            match own {
                Some(i) if cell.span_lstar() > found[i].span_lstar() => found[i] = cell,
                Some(_) => {}
                None => found.insert(more, cell),
            }
        }
    }

    fn with_schemes_of(&self, cell: &Cell, levels: usize) -> Option<Cell> {
        let request = self.request_of(levels, cell.asked.budget_s);
        let planner = self.planner(self.panel, &request);
        let made = planner.again(&cell.made).ok()?;
        Some(Cell {
            made,
            asked: Asked {
                levels,
                ..cell.asked
            },
        })
    }

    pub fn request_of(&self, levels: usize, budget_s: f64) -> Request {
        Request {
            levels,
            ..super::fitting(self.request, budget_s)
        }
    }

    /// A planner for a panel that may have other rails.
    pub fn planner<'p>(&'p self, panel: &'p Panel, request: &'p Request) -> Planner<'p> {
        debug_assert_eq!(request.share, LadderShare::Common);
        Planner {
            effort: Effort::Quick,
            ..Planner::new(panel, self.fit, request, &|_| {})
        }
    }
}

//! The search over schemes of one band: seeds over a coarse grid, then descents over the drivers' own grid.

use super::choice::{Demand, Fineness, Span, Spot, Spots, widest};
use super::climate::BandClimate;
use super::reach::{Climate, Reach, Scheme, Scope};
use crate::drive::{Erase, Field, Timing};
use crate::project::{Drivers, Rail};
use crate::response::Response;
use rayon::prelude::*;
use std::sync::atomic::{AtomicUsize, Ordering};

/// What a search may use and must keep.
#[derive(Debug, Clone)]
pub struct Space<'a> {
    pub response: &'a Response,
    pub drivers: &'a Drivers,
    pub erases: &'a [Erase],
    pub rows: usize,
    /// Longest refresh at any temperature, s.
    pub budget_s: f64,
    /// The largest stretch allowed for while places are compared; a place that comes to need more is refused.
    pub stretch: f64,
    pub goal: Goal,
    pub reach: BandClimate,
}

/// What a search makes as good as it can.
#[derive(Debug, Clone, PartialEq)]
pub enum Goal {
    /// The widest ladder at the tolerance.
    Widest(Demand),
    /// The smallest worst error, in steps, on a ladder that stands.
    Serve { targets_lstar: Vec<f64> },
}

/// A scheme with how good it is.
#[derive(Debug, Clone)]
pub struct Ranked {
    pub place: Place,
    pub scheme: Scheme,
    pub score: Score,
    /// The stretch that suits the scheme.
    pub stretch: Vec<Climate>,
}

/// How good a scheme is; higher is better.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Score {
    /// Span, L*, less the penalty for a laxer tolerance, for [`Goal::Widest`]; less the worst error, steps, for
    /// [`Goal::Serve`].
    pub value: f64,
    /// Whether the tolerance asked is kept; always true of [`Goal::Serve`].
    pub kept: bool,
}

impl Score {
    const NONE: Score = Score {
        value: f64::NEG_INFINITY,
        kept: false,
    };
}

/// Least gain for which a descent goes on: span, L*; worst error, steps.
const GAIN_LSTAR: f64 = 0.02;
const GAIN_STEPS: f64 = 0.001;
/// Factors on the tolerance at which a scheme that misses it is still ranked, and what each unit above 1 costs, L*: the
/// price leads a descent through such schemes without ending on one.
const LAXER: [f64; 7] = [1.0, 1.12, 1.3, 1.6, 2.0, 3.0, 5.0];
const PRICE_LSTAR: f64 = 30.0;
/// By how much the price rises, and how often, while a descent ends on a scheme that misses the tolerance.
const PRICE_RISE: f64 = 3.0;
const PRICE_RISES: usize = 2;
/// How closely schemes are judged: middles within `thin_lstar` count as one.
#[derive(Debug, Clone, Copy)]
struct Judging {
    thin_lstar: f64,
    fineness: Fineness,
}

const SEED_JUDGING: Judging = Judging {
    thin_lstar: 0.1,
    fineness: Fineness {
        coarse_lstar: 3.0,
        fine_lstar: 1.0,
    },
};
const JUDGING: Judging = Judging {
    thin_lstar: 0.04,
    fineness: Fineness {
        coarse_lstar: 1.0,
        fine_lstar: GAIN_LSTAR,
    },
};
/// A ladder is looked for down to this share of the scheme's reach: shorter steps leave less room for the same blur.
const LEAST_SHARE: f64 = 0.6;

/// The drivers' voltages, V.
pub fn rail_values(rail: &Rail) -> Vec<f64> {
    const CONTINUOUS_PARTS: f64 = 160.0;
    let step = rail
        .step
        .unwrap_or((rail.max - rail.min) / CONTINUOUS_PARTS);
    if step <= 0.0 {
        return vec![rail.min];
    }
    let count = ((rail.max - rail.min) / step + 1e-9).floor() as usize;
    (0..=count).map(|i| rail.min + i as f64 * step).collect()
}

/// A scheme as places on the drivers' grid.
#[derive(Debug, Clone, PartialEq)]
pub struct Place {
    erase: usize,
    fields: Vec<FieldPlace>,
}

#[derive(Debug, Clone, Copy, PartialEq)]
pub struct FieldPlace {
    select: usize,
    data: usize,
    tick: usize,
    slot: u32,
    guard: u32,
}

/// What a move changes in a field.
#[derive(Debug, Clone, Copy)]
enum Gene {
    Select,
    Data,
    Tick,
    Slot,
    Guard,
}

impl Gene {
    const ALL: [Gene; 5] = [
        Gene::Select,
        Gene::Data,
        Gene::Tick,
        Gene::Slot,
        Gene::Guard,
    ];
}

/// The grid, and the judging of places on it.
pub struct Search<'a> {
    space: Space<'a>,
    select_v: Vec<f64>,
    data_v: Vec<f64>,
    evaluated: AtomicUsize,
    curve: CurveTable,
}

impl<'a> Search<'a> {
    pub fn new(space: Space<'a>) -> Self {
        let (select_v, data_v) = (
            rail_values(&space.drivers.select_v),
            rail_values(&space.drivers.data_v),
        );
        Search {
            curve: CurveTable::new(space.response),
            space,
            select_v,
            data_v,
            evaluated: AtomicUsize::new(0),
        }
    }

    fn scheme(&self, place: &Place) -> Scheme {
        let field = |g: &FieldPlace| Field {
            select_v: self.select_v[g.select],
            data_v: self.data_v[g.data],
            tick_us: self.space.drivers.tick_us[g.tick],
            slot_ticks: g.slot,
            guard_ticks: g.guard,
            mirrored: false,
        };
        Scheme {
            erase: self.space.erases[place.erase].clone(),
            fields: place.fields.iter().map(field).collect(),
        }
    }

    /// Refresh at the largest stretch allowed for.
    fn refresh_s(&self, scheme: &Scheme) -> f64 {
        self.space.stretch * self.unstretched_s(scheme)
    }

    fn unstretched_s(&self, scheme: &Scheme) -> f64 {
        let settle_ms = self.space.drivers.field_settle_ms;
        Timing::of(&scheme.erase, &scheme.fields, self.space.rows, settle_ms).total_s()
    }

    /// Schemes evaluated so far.
    pub fn evaluated(&self) -> usize {
        self.evaluated.load(Ordering::Relaxed)
    }

    /// Spots of a scheme over `climates`, first and last row.
    pub fn spots(&self, scheme: &Scheme, climates: &[Climate]) -> Spots {
        self.evaluated.fetch_add(1, Ordering::Relaxed);
        let scope = Scope {
            response: self.space.response,
            panel_rows: self.space.rows,
            settle_ms: self.space.drivers.field_settle_ms,
            climates: climates.to_vec(),
            rows: search_rows(self.space.rows),
        };
        spots_of(|a| self.curve.lstar(a), &Reach::new(&scope, scheme))
    }

    /// How good a scheme is; of scores below `floor` only that is told.
    fn score(
        &self,
        scheme: &Scheme,
        climates: &[Climate],
        floor: f64,
        price: f64,
        judging: Judging,
    ) -> Score {
        let spots = self.spots(scheme, climates).thinned(judging.thin_lstar);
        match &self.space.goal {
            Goal::Widest(demand) => widest_score(&spots, *demand, floor, price, judging.fineness),
            Goal::Serve { targets_lstar } => Score {
                value: -worst_steps(&spots, targets_lstar),
                kept: true,
            },
        }
    }

    fn gain(&self) -> f64 {
        match self.space.goal {
            Goal::Widest(_) => GAIN_LSTAR,
            Goal::Serve { .. } => GAIN_STEPS,
        }
    }

    /// The best schemes found from `starts`, best first.
    pub fn run(&self, starts: Vec<Place>) -> Vec<Ranked> {
        let mut found: Vec<Ranked> = Vec::new();
        for start in starts {
            let Some(start) = self.brought_into_budget(start) else {
                continue;
            };
            let end = self.descend(start);
            if !found.iter().any(|f| f.place == end.place) {
                found.push(end);
            }
        }
        found.sort_by(|a, b| {
            b.score
                .kept
                .cmp(&a.score.kept)
                .then(b.score.value.total_cmp(&a.score.value))
        });
        found
    }

    /// The place itself where it fits the budget, else with its slots shortened alike.
    fn brought_into_budget(&self, place: Place) -> Option<Place> {
        if self.refresh_s(&self.scheme(&place)) <= self.space.budget_s {
            return Some(place);
        }
        let tick_s = |f: &FieldPlace| f64::from(self.space.drivers.tick_us[f.tick]) * 1e-6;
        let seconds: Vec<f64> = place
            .fields
            .iter()
            .map(|f| f64::from(f.slot) * tick_s(f))
            .collect();
        let whole: f64 = seconds.iter().sum();
        let shares: Vec<f64> = seconds
            .iter()
            .map(|s| s / whole.max(f64::MIN_POSITIVE))
            .collect();
        self.filled(place.erase, &place.fields, &shares)
    }

    /// The most promising places of a coarse grid, at most `count`, no two alike in kind.
    pub fn seeds(&self, count: usize) -> Vec<Place> {
        let places = self.coarse_places();
        let climates = self.space.reach.corners(
            &self
                .space
                .reach
                .by_speed(self.space.response, self.space.drivers),
        );
        let mut ranked: Vec<(Score, &Place)> = places
            .par_iter()
            .map(|place| {
                (
                    self.score(
                        &self.scheme(place),
                        &climates,
                        f64::NEG_INFINITY,
                        PRICE_LSTAR,
                        SEED_JUDGING,
                    ),
                    place,
                )
            })
            .collect();
        ranked.sort_by(|a, b| b.0.value.total_cmp(&a.0.value));
        let mut seeds: Vec<Place> = Vec::new();
        for (_, place) in ranked {
            if seeds.len() == count {
                break;
            }
            if !seeds.iter().any(|s| akin(s, place)) {
                seeds.push(place.clone());
            }
        }
        seeds
    }

    /// One field; two fields that share the time; a long field with a short one before or after it.
    fn coarse_places(&self) -> Vec<Place> {
        let one = self.voltages(13, 9);
        let pair = self.voltages(8, 6);
        let long = self.voltages(11, 7);
        let short = self.voltages(6, 3);
        let guard_max = self.space.drivers.guard_ticks_max;
        let mut places = Vec::new();
        for erase in 0..self.space.erases.len() {
            for guard in [0, guard_max / 2] {
                let mut add = |fields: &[(usize, usize)], shares: &[f64]| {
                    let field = |&(select, data): &(usize, usize)| FieldPlace {
                        select,
                        data,
                        tick: self.longest_tick(),
                        slot: 1,
                        guard,
                    };
                    let fields: Vec<FieldPlace> = fields.iter().map(field).collect();
                    places.extend(self.filled(erase, &fields, shares));
                };
                one.iter().for_each(|&a| add(&[a], &[1.0]));
                if self.space.drivers.fields_max < 2 {
                    continue;
                }
                for &a in &pair {
                    pair.iter().for_each(|&b| add(&[a, b], &[0.6, 0.4]));
                }
                for &a in &long {
                    for &b in &short {
                        add(&[b, a], &[0.05, 0.95]);
                        add(&[a, b], &[0.95, 0.05]);
                    }
                }
            }
        }
        places
            .into_par_iter()
            .filter(|place| self.promising(place))
            .collect()
    }

    /// Every pair of so many select and data voltages, spread over the rails.
    fn voltages(&self, selects: usize, datas: usize) -> Vec<(usize, usize)> {
        let spread = |len: usize, parts: usize| -> Vec<usize> {
            let mut all: Vec<usize> = (0..parts)
                .map(|i| i * (len - 1) / (parts - 1).max(1))
                .collect();
            all.dedup();
            all
        };
        let datas = spread(self.data_v.len(), datas);
        let selects = spread(self.select_v.len(), selects);
        selects
            .into_iter()
            .flat_map(|s| datas.iter().map(move |&d| (s, d)))
            .collect()
    }

    fn longest_tick(&self) -> usize {
        let ticks = &self.space.drivers.tick_us;
        (0..ticks.len()).max_by_key(|&i| ticks[i]).unwrap_or(0)
    }

    /// The fields with slots that fill the budget in these shares; none where no tick fits.
    fn filled(&self, erase: usize, fields: &[FieldPlace], shares: &[f64]) -> Option<Place> {
        let mut place = Place {
            erase,
            fields: fields.to_vec(),
        };
        place.fields.iter_mut().for_each(|f| f.slot = 0);
        let left_s = self.space.budget_s - self.refresh_s(&self.scheme(&place));
        for (field, share) in place.fields.iter_mut().zip(shares) {
            let tick_s = f64::from(self.space.drivers.tick_us[field.tick]) * 1e-6;
            let ticks = (left_s * share / (self.space.stretch * self.space.rows as f64 * tick_s)
                + 1e-9)
                .floor();
            field.slot = ticks.clamp(0.0, f64::from(self.space.drivers.slot_ticks_max)) as u32;
        }
        place.fields.iter().all(|f| f.slot > 0).then_some(place)
    }

    /// A cheap look at the ends of the ramp: white and dark must lie apart, and content must not blur white.
    fn promising(&self, place: &Place) -> bool {
        const LEAST_REACH_LSTAR: f64 = 15.0;
        const MOST_BLUR_LSTAR: f64 = 3.0;
        let ends = |ticks: fn(&Field) -> u32, on: bool| {
            let scheme = self.scheme(place);
            super::reach::lstar_of(
                self.space.response,
                &scheme,
                self.space.rows,
                self.space.drivers.field_settle_ms,
                self.space.reach.design(),
                ticks,
                on,
            )
        };
        let (white, white_blurred) = (ends(|_| 0, false), ends(|_| 0, true));
        white - white_blurred <= MOST_BLUR_LSTAR
            && white - ends(|f| f.slot_ticks, false) >= LEAST_REACH_LSTAR
    }

    /// Steepest ascent over the grid; on a scheme that misses the tolerance it goes on at a higher price.
    fn descend(&self, start: Place) -> Ranked {
        let mut price = PRICE_LSTAR;
        let mut best = self.ascend(self.ranked(start, price), price);
        for _ in 0..PRICE_RISES {
            if best.score.kept {
                break;
            }
            price *= PRICE_RISE;
            best = self.ascend(self.ranked(best.place, price), price);
        }
        best
    }

    /// Moves to the best neighbour until none is better; the stretch is fitted anew to each place reached.
    fn ascend(&self, mut best: Ranked, price: f64) -> Ranked {
        const ROUNDS: usize = 60;
        for _ in 0..ROUNDS {
            let near = self.neighbours(&best.place);
            let climates = self.space.reach.corners(&best.stretch);
            let floor = best.score.value + self.gain();
            let scores: Vec<f64> = near
                .par_iter()
                .map(|p| {
                    self.score(&self.scheme(p), &climates, floor, price, JUDGING)
                        .value
                })
                .collect();
            let top = (0..near.len()).reduce(|t, i| if scores[i] > scores[t] { i } else { t });
            let Some(top) = top.filter(|&t| scores[t] > floor) else {
                break;
            };
            let next = self.ranked(near[top].clone(), price);
            if next.score.value <= floor {
                break;
            }
            best = next;
        }
        best
    }

    /// A place with the stretch that suits it, and its score there.
    fn ranked(&self, place: Place, price: f64) -> Ranked {
        let scheme = self.scheme(&place);
        let space = &self.space;
        let stretch = space
            .reach
            .fitted(space.response, &scheme, space.rows, space.drivers);
        let climates = space.reach.corners(&stretch);
        let longest_s = self.unstretched_s(&scheme) * BandClimate::longest(&stretch);
        let score = if longest_s > space.budget_s {
            Score::NONE
        } else {
            self.score(&scheme, &climates, f64::NEG_INFINITY, price, JUDGING)
        };
        Ranked {
            place,
            scheme,
            score,
            stretch,
        }
    }

    /// Places one move away that keep the budget: each gene alone by several strides, and slot time shifted
    /// between fields; what a longer field takes is given by the other.
    fn neighbours(&self, place: &Place) -> Vec<Place> {
        const STRIDES: [i64; 6] = [1, -1, 3, -3, 8, -8];
        let mut near: Vec<Option<Place>> = (0..self.space.erases.len())
            .map(|erase| {
                Some(Place {
                    erase,
                    ..place.clone()
                })
            })
            .collect();
        for stride in STRIDES {
            for gene in Gene::ALL {
                let mut everywhere = Some(place.clone());
                for f in 0..place.fields.len() {
                    near.push(self.moved(place, f, gene, stride));
                    everywhere = everywhere.and_then(|p| self.moved(&p, f, gene, stride));
                }
                near.push(everywhere);
            }
            for f in 0..place.fields.len() {
                // Select and data together: S − D or S + D stays about where it was.
                let selected = self.moved(place, f, Gene::Select, stride);
                for data in [2 * stride, -2 * stride] {
                    near.push(
                        selected
                            .as_ref()
                            .and_then(|p| self.moved(p, f, Gene::Data, data)),
                    );
                }
            }
        }
        let mut all: Vec<Place> = Vec::new();
        for p in near.into_iter().flatten().flat_map(|p| self.fitted(p)) {
            if p != *place && !all.contains(&p) {
                all.push(p);
            }
        }
        all
    }

    fn moved(&self, place: &Place, f: usize, gene: Gene, stride: i64) -> Option<Place> {
        let mut moved = place.clone();
        let field = &mut moved.fields[f];
        let drivers = self.space.drivers;
        let step = |at: usize, len: usize| {
            let to = at as i64 + stride;
            (0..len as i64).contains(&to).then_some(to as usize)
        };
        match gene {
            Gene::Select => field.select = step(field.select, self.select_v.len())?,
            Gene::Data => field.data = step(field.data, self.data_v.len())?,
            Gene::Tick => {
                let was = drivers.tick_us[field.tick];
                field.tick = step(field.tick, drivers.tick_us.len())?;
                let is = drivers.tick_us[field.tick];
                let scaled = |t: u32, max: u32| {
                    (u64::from(t) * u64::from(was) / u64::from(is)).clamp(0, u64::from(max)) as u32
                };
                field.slot = scaled(field.slot, drivers.slot_ticks_max).max(1);
                field.guard = scaled(field.guard, drivers.guard_ticks_max);
            }
            Gene::Slot => {
                field.slot = step(field.slot as usize, drivers.slot_ticks_max as usize + 1)? as u32
            }
            Gene::Guard => {
                field.guard =
                    step(field.guard as usize, drivers.guard_ticks_max as usize + 1)? as u32
            }
        }
        (moved.fields[f].slot > 0).then_some(moved)
    }

    /// The place with each field's slot in turn made as long as the budget allows (or shortened to fit), and as they
    /// stand where they fit.
    fn fitted(&self, place: Place) -> Vec<Place> {
        let mut all = Vec::new();
        for f in 0..place.fields.len() {
            let mut fitted = place.clone();
            let field = &mut fitted.fields[f];
            let tick_s = f64::from(self.space.drivers.tick_us[field.tick]) * 1e-6;
            let spare_s = self.space.budget_s - self.refresh_s(&self.scheme(&place));
            let ticks = (spare_s / (self.space.stretch * self.space.rows as f64 * tick_s) + 1e-9)
                .floor() as i64;
            let slot = i64::from(place.fields[f].slot) + ticks;
            if slot >= 1 {
                fitted.fields[f].slot =
                    slot.min(i64::from(self.space.drivers.slot_ticks_max)) as u32;
                all.push(fitted);
            }
        }
        if self.refresh_s(&self.scheme(&place)) <= self.space.budget_s {
            all.push(place);
        }
        all
    }
}

/// The widest ladder at the tolerance, or at a laxer one at its price; nothing below `floor` is looked for.
fn widest_score(
    spots: &Spots,
    demand: Demand,
    floor: f64,
    price: f64,
    fineness: Fineness,
) -> Score {
    let mut best = Score {
        value: floor,
        ..Score::NONE
    };
    let Some(ends) = spots.ends() else {
        return Score::NONE;
    };
    for lax in LAXER {
        let tolerance_steps = demand.tolerance_steps * lax;
        let laxer = Demand {
            tolerance_steps,
            ..demand
        };
        let cost = price * (lax - 1.0);
        let slack = 1.0 + 2.0 * tolerance_steps / demand.levels as f64;
        let high = (ends.high - ends.low) * slack;
        let bounds = Span {
            low: (best.value + cost).max(LEAST_SHARE * high),
            high,
        };
        if bounds.high < bounds.low {
            continue;
        }
        let places = |step| spots.darkest_targets(laxer, step);
        if let Some((_, step)) = widest(demand.levels, bounds, fineness, places) {
            let value = step * (demand.levels - 1) as f64 - cost;
            best = Score {
                value,
                kept: lax == 1.0,
            };
        }
    }
    best
}

/// The largest of the least worst errors over the targets, in steps of their ladder.
pub fn worst_steps(spots: &Spots, targets_lstar: &[f64]) -> f64 {
    let step = super::choice::step_of(targets_lstar);
    let error = |&t: &f64| spots.best_for(t).map_or(f64::INFINITY, |(_, error)| error);
    targets_lstar.iter().map(error).fold(0.0, f64::max) / step
}

/// Alike in erase, number of fields, and voltages to about two volts and one volt.
fn akin(a: &Place, b: &Place) -> bool {
    a.erase == b.erase
        && a.fields.len() == b.fields.len()
        && a.fields
            .iter()
            .zip(&b.fields)
            .all(|(x, y)| x.select.abs_diff(y.select) <= 4 && x.data.abs_diff(y.data) <= 4)
}

/// Lightness of a reach's choices: middle and half-width.
pub fn spots_of(lstar: impl Fn(f64) -> f64, reach: &Reach) -> Spots {
    let spot = |choice: usize| {
        let (dark, light) = (lstar(reach.high[choice]), lstar(reach.low[choice]));
        Spot {
            mid_lstar: 0.5 * (dark + light),
            half_lstar: 0.5 * (light - dark),
            choice,
        }
    };
    Spots::new((0..reach.low.len()).map(spot).collect())
}

/// The response curve at even coverages, linear between: what a search can spare of the exact one, to 1e-4 L*.
struct CurveTable(Vec<f64>);

impl CurveTable {
    const PARTS: usize = 4096;

    fn new(response: &Response) -> Self {
        let at = |k: usize| response.curve.lstar(k as f64 / Self::PARTS as f64);
        CurveTable((0..=Self::PARTS).map(at).collect())
    }

    fn lstar(&self, coverage: f64) -> f64 {
        let place = coverage.clamp(0.0, 1.0) * Self::PARTS as f64;
        let at = (place as usize).min(Self::PARTS - 1);
        let (low, high) = (self.0[at], self.0[at + 1]);
        low + (place - at as f64) * (high - low)
    }
}

/// The row after the erase, the next, which another row's data precedes, and the last.
fn search_rows(rows: usize) -> Vec<usize> {
    let mut chosen = vec![0, 1, rows - 1];
    chosen.retain(|&r| r < rows);
    chosen.dedup();
    chosen
}

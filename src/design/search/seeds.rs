//! Where descents start: a coarse grid over the whole space, its most promising places.

use super::Search;
use super::grid::{FieldPlace, Place};
use super::score::SEEDS;
use crate::design::reach::lstars_of;
use crate::drive::Field;
use rayon::prelude::*;

/// Select and data voltages tried: of a field alone; of two that share the time; of a long and of a short one.
const ALONE: (usize, usize) = (13, 9);
const SHARED: (usize, usize) = (8, 6);
const LONG: (usize, usize) = (11, 7);
const SHORT: (usize, usize) = (6, 3);
/// How two fields share the time.
const SHARES: [f64; 2] = [0.6, 0.4];
const SHORT_FIRST: [f64; 2] = [0.05, 0.95];
const SHORT_LAST: [f64; 2] = [0.95, 0.05];

const LONG_OF_THREE: (usize, usize) = (6, 4);
const SHORT_OF_THREE: (usize, usize) = (4, 2);
const SHORT_FIRST_TWO: [f64; 3] = [0.05, 0.15, 0.8];
const SHORT_BOTH_ENDS: [f64; 3] = [0.15, 0.8, 0.05];

/// Select and data of each field, as places on the rails, and the fields' shares of the time.
type Kind = (Vec<(usize, usize)>, Vec<f64>);

impl Search<'_> {
    /// The most promising places of the coarse grid, at most `count`, no two alike in kind.
    pub fn seeds(&self, count: usize) -> Vec<Place> {
        if count == 0 {
            return Vec::new();
        }
        let places = self.coarse_places();
        let by_speed = self
            .space
            .band
            .by_speed(self.space.response, self.grid.drivers);
        let climates = self.space.band.corners(&by_speed);
        let judged = |place| {
            (
                self.score(&self.grid.scheme(place), &climates, &SEEDS)
                    .value,
                place,
            )
        };
        let mut ranked: Vec<(f64, &Place)> = places.par_iter().map(judged).collect();
        ranked.sort_by(|a, b| b.0.total_cmp(&a.0));
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

    fn coarse_places(&self) -> Vec<Place> {
        let mut places = Vec::new();
        let guards = [0, self.grid.drivers.guard_ticks_max / 2];
        let mirrors: &[bool] = if self.space.charge.resting_balance {
            &[false]
        } else {
            &[false, true]
        };
        let kinds = self.kinds();
        for erase in 0..self.space.own_erases {
            for (guard, &mirrored) in guards
                .into_iter()
                .flat_map(|g| mirrors.iter().map(move |m| (g, m)))
            {
                for (volts, shares) in &kinds {
                    let tick = self.grid.longest_tick();
                    let field = |(f, &(select, data)): (usize, &(usize, usize))| {
                        let free = FieldPlace {
                            select,
                            data,
                            tick,
                            slot: 1,
                            guard,
                            mirrored,
                        };
                        self.grid.pinned(f, free)
                    };
                    let fields: Vec<FieldPlace> = volts.iter().enumerate().map(field).collect();
                    let place = self.grid.filled(erase, &fields, shares);
                    places.extend(place.filter(|p| self.grid.admits(p)));
                }
            }
        }
        if self.space.pins.any() {
            let all = std::mem::take(&mut places);
            for place in all {
                if !places.contains(&place) {
                    places.push(place);
                }
            }
        }
        places
            .into_par_iter()
            .filter(|place| self.promising(place))
            .collect()
    }

    fn kinds(&self) -> Vec<Kind> {
        let mut kinds: Vec<Kind> = self
            .voltages(ALONE)
            .into_iter()
            .map(|a| (vec![a], vec![1.0]))
            .collect();
        let most = self.grid.drivers.fields_max;
        if most < 2 {
            return self.admitted(kinds);
        }
        let (shared, short) = (self.voltages(SHARED), self.voltages(SHORT));
        for &a in &shared {
            kinds.extend(shared.iter().map(|&b| (vec![a, b], SHARES.to_vec())));
        }
        for a in self.voltages(LONG) {
            for &b in &short {
                kinds.push((vec![b, a], SHORT_FIRST.to_vec()));
                kinds.push((vec![a, b], SHORT_LAST.to_vec()));
            }
        }
        if most > 2 {
            kinds.extend(self.kinds_of_three());
        }
        self.admitted(kinds)
    }

    fn kinds_of_three(&self) -> Vec<Kind> {
        let (long, short) = (self.voltages(LONG_OF_THREE), self.voltages(SHORT_OF_THREE));
        let mut kinds = Vec::new();
        for &a in &long {
            for &b in &short {
                for &c in &short {
                    kinds.push((vec![b, c, a], SHORT_FIRST_TWO.to_vec()));
                    kinds.push((vec![b, a, c], SHORT_BOTH_ENDS.to_vec()));
                }
            }
        }
        kinds
    }

    /// Those with as many fields as are pinned, the first field darkening: lightening a clear panel does nothing.
    fn admitted(&self, mut kinds: Vec<Kind>) -> Vec<Kind> {
        let darkens = |(select, _): &(usize, usize)| self.grid.select_v[*select] > 0.0;
        let pins = self.space.pins;
        kinds.retain(|(volts, _)| {
            pins.admit_fields(volts.len()) && volts.first().is_some_and(darkens)
        });
        kinds
    }

    /// Every pair of so many select and data voltages, spread over the rails.
    fn voltages(&self, (selects, datas): (usize, usize)) -> Vec<(usize, usize)> {
        let datas = spread(self.grid.data_v.len(), datas);
        let selects = spread(self.grid.select_v.len(), selects);
        selects
            .into_iter()
            .flat_map(|s| datas.iter().map(move |&d| (s, d)))
            .collect()
    }

    /// A cheap look at the ends of the ramp: dark and light must lie apart, and content must not blur white.
    fn promising(&self, place: &Place) -> bool {
        const LEAST_REACH_LSTAR: f64 = 5.0;
        const MOST_BLUR: f64 = 0.1;
        let scheme = self.grid.scheme(place);
        let (response, grid) = (self.space.response, &self.grid);
        let settle_ms = grid.drivers.field_settle_ms;
        let climate = self.space.band.design();
        let ends = |ticks: fn(&Field) -> u32| {
            lstars_of(response, &scheme, grid.rows, settle_ms, climate, ticks)
        };
        let [white, blurred] = ends(lightest);
        let [dark, _] = ends(|f| f.slot_ticks - lightest(f));
        let reach = white - dark;
        reach >= LEAST_REACH_LSTAR && white - blurred <= MOST_BLUR * reach
    }
}

/// Ticks of a field that leave a pixel lightest.
fn lightest(field: &Field) -> u32 {
    if field.direction() > 0.0 {
        0
    } else {
        field.slot_ticks
    }
}

/// Up to `parts` of `len` indices, evenly spread, the ends among them.
fn spread(len: usize, parts: usize) -> Vec<usize> {
    let mut all: Vec<usize> = (0..parts)
        .map(|i| i * len.saturating_sub(1) / (parts - 1).max(1))
        .collect();
    all.dedup();
    all
}

/// Alike in erase, number of fields, and voltages to within a few steps of the rails.
fn akin(a: &Place, b: &Place) -> bool {
    const STEPS: usize = 4;
    a.erase == b.erase
        && a.fields.len() == b.fields.len()
        && a.fields
            .iter()
            .zip(&b.fields)
            .all(|(x, y)| x.select.abs_diff(y.select) <= STEPS && x.data.abs_diff(y.data) <= STEPS)
}

//! What the slots of other rows can do to a pixel: one map where one content is the extreme, else the farthest of many.

use crate::pigment::{Map, SlotMaps, State};

/// One slot of another row at its lightest or darkest.
#[derive(Debug, Clone)]
pub enum Pull {
    /// Some data are the extreme at every moment.
    Straight(Map),
    /// Data follow their inverse, so that no content is the extreme: every stage is moved as far as any data can move it. Since
    /// the maps keep the order of states, no content goes beyond.
    Farthest { maps: Vec<Map>, darkest: bool },
}

/// The same over a number of slots.
#[derive(Debug, Clone)]
pub enum Pulls<'a> {
    Straight(Map),
    Farthest {
        maps: &'a [Map],
        darkest: bool,
        slots: usize,
    },
}

impl Pull {
    /// Of a mirrored field, over some ticks that other rows may have.
    pub fn farthest(slots: &SlotMaps, ticks: impl Iterator<Item = u32>, darkest: bool) -> Self {
        Pull::Farthest {
            maps: ticks.map(|d| slots.other(d)).collect(),
            darkest,
        }
    }

    /// Over so many slots.
    pub fn times(&self, slots: usize) -> Pulls<'_> {
        match self {
            Pull::Straight(map) => Pulls::Straight(map.power(slots)),
            Pull::Farthest { maps, darkest } => Pulls::Farthest {
                maps,
                darkest: *darkest,
                slots,
            },
        }
    }
}

impl Pulls<'_> {
    /// A state after the slots; beyond which, where no content is the extreme, none brings it.
    pub fn apply(&self, x: &State) -> State {
        match self {
            Pulls::Straight(map) => map.apply(x),
            Pulls::Farthest {
                maps,
                darkest,
                slots,
            } => repeated(*slots, *x, |x| {
                farthest(maps.iter().map(|m| m.apply(x)), *darkest).unwrap_or(*x)
            }),
        }
    }

    /// A non-negative function of the state after the slots as one of the state before, or a bound on it: what is greatest
    /// entry by entry is greatest for every state, since states are non-negative.
    pub fn pulled_back(&self, of: &[f64; 4]) -> [f64; 4] {
        match self {
            Pulls::Straight(map) => map.pulled_back(of),
            Pulls::Farthest {
                maps,
                darkest,
                slots,
            } => repeated(*slots, *of, |of| {
                farthest(maps.iter().map(|m| m.pulled_back(of)), *darkest).unwrap_or(*of)
            }),
        }
    }
}

fn repeated<T>(times: usize, start: T, step: impl Fn(&T) -> T) -> T {
    (0..times).fold(start, |done, _| step(&done))
}

fn farthest<const N: usize>(
    mut all: impl Iterator<Item = [f64; N]>,
    largest: bool,
) -> Option<[f64; N]> {
    let pick = if largest { f64::max } else { f64::min };
    let first = all.next()?;
    Some(all.fold(first, |a, b| std::array::from_fn(|i| pick(a[i], b[i]))))
}

//! Movers side by side in lanes: their maps at a constant voltage, in a fraction of the time that each alone takes.

use super::affine::{LANES, Lanes, Map};
use super::chain::Rates;
use super::kinetics::Kinetics;
use super::slots::Mover;

/// Movers of one suspension in ranks of [`LANES`], the last one again in lanes that are left.
#[derive(Debug, Clone)]
pub struct Ranks<'a> {
    kinetics: &'a Kinetics,
    ranks: Vec<[Paced; LANES]>,
}

/// What of a mover doesn't depend on voltage.
#[derive(Debug, Clone, Copy)]
struct Paced {
    speed: f64,
    /// How far temperature moves both thresholds, and class and temperature that of crossing, V.
    shift_v: f64,
    crossing_shift_v: f64,
    stretch: f64,
}

impl<'a> Ranks<'a> {
    /// A rank of each group of movers, 1 to [`LANES`] of one suspension; empty groups have none.
    pub fn new(kinetics: &'a Kinetics, groups: &[Vec<Mover>]) -> Self {
        let rank = |group: &Vec<Mover>| {
            let last = group.len().checked_sub(1)?;
            Some(std::array::from_fn(|lane| {
                Paced::of(&group[lane.min(last)])
            }))
        };
        Ranks {
            kinetics,
            ranks: groups.iter().filter_map(rank).collect(),
        }
    }

    /// How many ranks there are.
    pub fn len(&self) -> usize {
        self.ranks.len()
    }

    /// Whether there are none.
    pub fn is_empty(&self) -> bool {
        self.ranks.is_empty()
    }

    /// The rates of all movers at a pixel voltage.
    fn rates(&self, pixel_v: f64) -> Vec<[Rates; LANES]> {
        let kinetics = self.kinetics;
        let exchanges = kinetics.exchanges(pixel_v);
        let crossing = Once::new(|shift_v| kinetics.crossing.rate(pixel_v, shift_v));
        let returning = Once::new(|shift_v| kinetics.returning.rate(-pixel_v, shift_v));
        let (mut crossing, mut returning) = (crossing, returning);
        let mut of = |m: Paced| {
            let crossed = (crossing.at(m.crossing_shift_v), returning.at(m.shift_v));
            Rates::of(m.speed, &exchanges, crossed)
        };
        self.ranks.iter().map(|rank| rank.map(&mut of)).collect()
    }

    /// The map of each rank over each of `seconds` (before stretching) at a constant pixel voltage.
    pub fn holds<const N: usize>(&self, pixel_v: f64, seconds: [f64; N]) -> Vec<[Map<Lanes>; N]> {
        let rates = self.rates(pixel_v);
        let of = |(rank, rates): (&[Paced; LANES], &[Rates; LANES])| {
            seconds.map(|s| Rates::maps(&std::array::from_fn(|i| (rates[i], s * rank[i].stretch))))
        };
        self.ranks.iter().zip(&rates).map(of).collect()
    }
}

impl Paced {
    fn of(mover: &Mover) -> Self {
        let (kinetics, class) = (mover.kinetics, &mover.class);
        let shift_v = kinetics.shift_v(mover.temperature_c);
        Paced {
            speed: kinetics.speed(class, mover.temperature_c),
            shift_v,
            crossing_shift_v: class.threshold_shift_v + shift_v,
            stretch: mover.stretch,
        }
    }
}

/// A function that is asked for few numbers again and again.
struct Once<F> {
    of: F,
    known: Vec<(f64, f64)>,
}

impl<F: Fn(f64) -> f64> Once<F> {
    fn new(of: F) -> Self {
        Once {
            of,
            known: Vec::new(),
        }
    }

    fn at(&mut self, x: f64) -> f64 {
        // Neighbours in a rank are often alike, so that the newest is looked at first.
        if let Some((_, known)) = self.known.iter().rev().find(|(at, _)| *at == x) {
            return *known;
        }
        let new = (self.of)(x);
        self.known.push((x, new));
        new
    }
}

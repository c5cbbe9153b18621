//! The maps of a scheme's fields for movers side by side.

use super::reach::{Others, Scheme, Scope};
use super::spare::Maps;
use crate::drive::Field;
use crate::pigment::{Lanes, Map, Mover, Ranks, State, add_squares};
use multiversion::multiversion;

/// One field of a scheme for one rank.
pub(super) struct FieldMaps {
    /// The pixel's own slot with 0…slot_ticks on, without the guard.
    pub own: Maps,
    pub guard: Map<Lanes>,
    /// The whole slot of another row, to the powers 1, 2, 4, …: at the lower and at the higher of its two voltages, half at
    /// each; none where nobody asks.
    pub other: [Maps; 3],
}

/// Movers side by side.
pub(super) struct RankMaps {
    pub panel_rows: usize,
    pub share: Lanes,
    /// After the erase, from the clear and from the dark panel.
    pub starts: [State<Lanes>; 2],
    pub fields: Vec<FieldMaps>,
    pub settle: Map<Lanes>,
    /// Settle, then rest: what stands between the last field and the eye.
    pub end: Map<Lanes>,
}

/// Maps of groups of movers for what others may show.
pub(super) fn ranks(
    scope: &Scope,
    scheme: &Scheme,
    groups: &[Vec<Mover>],
    contents: &[Others],
) -> Vec<RankMaps> {
    let kinetics = &scope.response.kinetics;
    let ranks = Ranks::new(kinetics, groups);
    let (settle_s, rest_s) = (scope.settle_ms * 1e-3, scheme.erase.rest_ms * 1e-3);
    let at_rest = ranks.holds(0.0, [settle_s, rest_s]);
    let mut erased = vec![Map::IDENTITY; ranks.len()];
    for stroke in &scheme.erase.strokes {
        let holds = ranks.holds(stroke.pixel_v, [stroke.ms * 1e-3]);
        for (erased, [hold]) in erased.iter_mut().zip(&holds) {
            *erased = erased.then(hold);
        }
    }
    let share = |group: &Vec<Mover>| {
        Lanes(std::array::from_fn(|lane| {
            group.get(lane).map_or(0.0, |m| m.class.share)
        }))
    };
    let bare = at_rest.iter().zip(erased).zip(groups);
    let bare = bare.map(|(([settle, rest], erased), group)| RankMaps {
        panel_rows: scope.panel_rows,
        share: share(group),
        starts: [kinetics.lowest(), kinetics.highest()].map(|x| erased.apply(&x.map(Lanes::all))),
        fields: Vec::with_capacity(scheme.fields.len()),
        settle: *settle,
        end: settle.then(rest),
    });
    let mut bare: Vec<RankMaps> = bare.collect();
    for field in &scheme.fields {
        let maps = field_maps(&ranks, field, scope.panel_rows, contents);
        for (rank, maps) in bare.iter_mut().zip(maps) {
            rank.fields.push(maps);
        }
    }
    bare
}

/// The maps of one field for all ranks.
fn field_maps(
    ranks: &Ranks,
    field: &Field,
    panel_rows: usize,
    contents: &[Others],
) -> Vec<FieldMaps> {
    let tick_s = field.tick_s();
    let half_s = 0.5 * f64::from(field.slot_ticks) * tick_s;
    let guard = ranks.holds(0.0, [f64::from(field.guard_ticks) * tick_s]);
    let light = ranks.holds(-field.data_v, [half_s]);
    let dark = ranks.holds(field.data_v, [half_s]);
    let on = ranks.holds(field.own_on_v(), [tick_s]);
    let off = ranks.holds(field.own_off_v(), [tick_s]);
    let mut room = Maps::new();
    let of = |k: usize| {
        let ([guard], [light], [dark]) = (&guard[k], &light[k], &dark[k]);
        let mut maps = FieldMaps {
            own: Maps::new(),
            guard: *guard,
            other: std::array::from_fn(|_| Maps::new()),
        };
        for &content in contents {
            let halves = match content {
                Others::Off => [light, light],
                Others::On => [dark, dark],
                Others::Half => [dark, light],
            };
            let other = &mut maps.other[content as usize];
            squares(halves, guard, panel_rows - 1, other);
        }
        let ticks = field.slot_ticks as usize;
        own_slots(&on[k][0], &off[k][0], ticks, &mut room, &mut maps.own);
        maps
    };
    (0..ranks.len()).map(of).collect()
}

/// The powers 1, 2, 4, … of a slot of two halves and a guard, as far as so many rows need them.
#[multiversion(targets("x86_64+avx512f+avx512vl", "x86_64+avx2"))]
fn squares(
    [first, second]: [&Map<Lanes>; 2],
    guard: &Map<Lanes>,
    rows: usize,
    squares: &mut Vec<Map<Lanes>>,
) {
    squares.push(first.then(second).then(guard));
    add_squares(squares, rows);
}

/// The own slot with every number of ticks on; `offs` is room to work in.
#[multiversion(targets("x86_64+avx512f+avx512vl", "x86_64+avx2"))]
fn own_slots(
    on: &Map<Lanes>,
    off: &Map<Lanes>,
    ticks: usize,
    offs: &mut Vec<Map<Lanes>>,
    own: &mut Vec<Map<Lanes>>,
) {
    offs.clear();
    let (mut before, mut after) = (Map::IDENTITY, Map::IDENTITY);
    for _ in 0..=ticks {
        offs.push(after);
        after = after.then(off);
    }
    for off in offs.iter().rev() {
        own.push(before.then(off));
        before = before.then(on);
    }
}

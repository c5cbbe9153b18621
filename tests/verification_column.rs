//! A column's prefixes and suffixes against plain stepping, and the monotone bound against every content.

mod small_pigment;

use greyloom::drive::Field;
use greyloom::pigment::{Column, Map, Mover, PACKED, Run, SPREAD, SlotMaps, State, step_pieces};
use proptest::prelude::*;
use small_pigment::{ROUNDING, any_state, kinetics, movers, near};

fn field(select_v: f64, data_v: f64, slot_ticks: u32, guard_ticks: u32, mirrored: bool) -> Field {
    Field {
        select_v,
        data_v,
        tick_us: 1000,
        slot_ticks,
        guard_ticks,
        mirrored,
    }
}

/// One to three fields: plain, guarded, mirrored, lightening.
fn schemes() -> Vec<Vec<Field>> {
    let (strong, weak) = (
        field(9.0, 3.0, 40, 0, false),
        field(5.5, 2.25, 16, 4, false),
    );
    let mirrored = field(9.0, 3.5, 31, 3, true);
    let lightening = field(-7.0, 2.5, 20, 2, false);
    vec![
        vec![strong],
        vec![mirrored],
        vec![strong, weak],
        vec![strong, lightening],
        vec![mirrored, lightening, weak],
    ]
}

const SETTLE_S: f64 = 2e-3;

/// One pixel of a column, slot by slot, piece by piece.
fn stepped(
    mover: &Mover,
    fields: &[Field],
    content: &[Vec<u32>],
    row: usize,
    start: State,
) -> State {
    let mut x = start;
    for (f, field) in fields.iter().enumerate() {
        for (other, ticks) in content.iter().enumerate() {
            let pieces = if other == row {
                field.own_slot(ticks[f])
            } else {
                field.other_slot(ticks[f])
            };
            x = step_pieces(mover, field.tick_s(), &pieces, x);
        }
        x = mover.hold(0.0, SETTLE_S).apply(&x);
    }
    x
}

/// Runs of unlike length, one of a single row, with ticks at both ends and between.
fn runs(fields: &[Field]) -> Vec<Run> {
    let spans = [(0, 0), (1, 7), (8, 9), (10, 12)];
    let ticks = |i: u32, f: &Field| [0, f.slot_ticks, f.slot_ticks / 3, 1][i as usize];
    let each = spans.iter().zip(0u32..);
    each.map(|(&(first, last), i)| Run {
        first,
        last,
        ticks: fields.iter().map(|f| ticks(i, f)).collect(),
    })
    .collect()
}

#[test]
fn columns_are_slots_one_after_another() {
    let k = kinetics();
    for fields in schemes() {
        let runs = runs(&fields);
        let content: Vec<Vec<u32>> = runs
            .iter()
            .flat_map(|r| std::iter::repeat_n(r.ticks.clone(), r.rows()))
            .collect();
        for mover in movers(&k) {
            let slots: Vec<SlotMaps> = fields.iter().map(|f| SlotMaps::new(&mover, f)).collect();
            let column = Column::new(&slots, mover.hold(0.0, SETTLE_S), &runs);
            for (i, run) in runs.iter().enumerate() {
                for row in run.first..=run.last {
                    for start in [PACKED, k.clear(), SPREAD] {
                        let got = column.end_state(i, row, start);
                        let wanted = stepped(&mover, &fields, &content, row, start);
                        assert!(
                            near(&got, &wanted, ROUNDING),
                            "{fields:?}, row {row}: {got:?}, not {wanted:?}"
                        );
                    }
                }
            }
        }
    }
}

/// Every content of a column of 5 rows: each of the four others with any ticks of a slot of 4. For plain fields the extremes
/// of every stage of every class are all others on and all off, before and after one's own slot.
#[test]
fn all_on_and_all_off_bound_every_content() {
    const ROWS: usize = 5;
    const TICKS: u32 = 4;
    let k = kinetics();
    let plain = [
        field(9.0, 3.0, TICKS, 0, false),
        field(9.0, 4.5, TICKS, 2, false),
        field(-7.0, 2.5, TICKS, 1, false),
    ]
    .map(|f| Field {
        tick_us: 15_000,
        ..f
    });
    for (field, mover) in plain
        .iter()
        .flat_map(|f| movers(&k).into_iter().map(move |m| (f, m)))
    {
        let slots = SlotMaps::new(&mover, field);
        let others: Vec<Map> = (0..=TICKS).map(|t| slots.other(t)).collect();
        // On in a lightening field is the lower voltage.
        let (low, high) = if field.select_v < 0.0 {
            (TICKS, 0)
        } else {
            (0, TICKS)
        };
        for (row, own) in [(0, 2), (2, 0), (2, 3), (4, TICKS)] {
            let end = |content: [u32; ROWS - 1]| {
                let own = slots.own(own);
                let before = content[..row]
                    .iter()
                    .fold(k.clear(), |x, &t| others[t as usize].apply(&x));
                content[row..]
                    .iter()
                    .fold(own.apply(&before), |x, &t| others[t as usize].apply(&x))
            };
            let (lowest, highest) = (end([low; 4]), end([high; 4]));
            for n in 0..(TICKS + 1).pow(4) {
                let x = end([0, 1, 2, 3].map(|place| n / (TICKS + 1).pow(place) % (TICKS + 1)));
                for stage in 0..3 {
                    assert!(
                        lowest[stage] - 1e-15 <= x[stage] && x[stage] <= highest[stage] + 1e-15,
                        "{field:?}, row {row}, content {n}, stage {stage}"
                    );
                }
            }
            assert!(highest[1] > lowest[1]);
        }
    }
}

proptest! {
    /// Two waveforms, one nowhere below the other: it never gives the lower coverage, at any moment, in any class, from
    /// any start nowhere below the other's.
    #[test]
    fn a_higher_voltage_never_gives_a_lower_coverage(
        waveform in prop::collection::vec((-20.0..20.0f64, 0.0..6.0f64, 1e-4..0.3f64), 1..12),
        start in any_state(),
        class in 0..6usize,
    ) {
        let k = kinetics();
        let mover = movers(&k)[class];
        let (mut low, mut high) = (start, start);
        for (v, above, seconds) in waveform {
            low = mover.hold(v, seconds).apply(&low);
            high = mover.hold(v + above, seconds).apply(&high);
            for stage in 0..3 {
                prop_assert!(high[stage] >= low[stage] - ROUNDING, "{low:?} {high:?}");
            }
        }
    }
}

//! Charge and energy of the drive against plain stepping and counting over whole small panels.

use greyloom::drive::{
    EXTRA_LOW_AC_V, Erase, Field, PanelLoad, Piece, Stroke, balanced_impulse_vs, flash_caution,
    largest_line_difference_v, other_impulse_vs, own_impulse_vs, strokes_impulse_vs,
    voltage_caution, worst_net_impulse_vs,
};

/// V·s: sums of at most a thousand terms of order 1, in another order.
const ROUNDING_VS: f64 = 1e-12;

/// Relative: the same edges added in another order.
const ROUNDING_MJ: f64 = 1e-12;

fn field(select_v: f64, data_v: f64, slot_ticks: u32, guard_ticks: u32, mirrored: bool) -> Field {
    Field {
        select_v,
        data_v,
        tick_us: 500,
        slot_ticks,
        guard_ticks,
        mirrored,
    }
}

fn erase() -> Erase {
    let strokes = [(18.0, 150.0), (-18.0, 1100.0), (-2.0, 200.0)];
    Erase {
        name: "primed".into(),
        strokes: strokes.map(|(pixel_v, ms)| Stroke { pixel_v, ms }).into(),
        rest_ms: 1000.0,
    }
}

/// Plain, guarded, mirrored, lightening, and two fields at once.
fn schemes() -> Vec<Vec<Field>> {
    vec![
        vec![field(9.0, 3.0, 7, 0, false)],
        vec![field(9.0, 3.0, 7, 2, false)],
        vec![field(9.0, 3.0, 7, 0, true)],
        vec![field(9.0, 3.0, 7, 3, true)],
        vec![field(-8.5, 2.5, 6, 1, false)],
        vec![field(9.0, 3.0, 7, 1, false), field(-5.5, 2.25, 4, 0, false)],
        vec![field(9.0, 3.0, 7, 0, true), field(5.5, 2.25, 4, 0, false)],
    ]
}

/// Three levels: one end, a middle, the other end; the second field runs against the first.
fn levels(fields: &[Field]) -> Vec<Vec<u32>> {
    let ticks = |i: usize, f: &Field, level: u32| match level {
        1 => f.slot_ticks / 2,
        l if (l == 0) == (i == 0) => f.slot_ticks,
        _ => 1,
    };
    let of = |level| {
        let each = fields.iter().enumerate();
        each.map(|(i, f)| ticks(i, f, level)).collect()
    };
    (0..3).map(of).collect()
}

/// All ways to choose one of `choices` for each of `places`.
fn contents(places: usize, choices: usize) -> impl Iterator<Item = Vec<usize>> {
    let digit = move |n: usize, place: usize| n / choices.pow(place as u32) % choices;
    (0..choices.pow(places as u32)).map(move |n| (0..places).map(|p| digit(n, p)).collect())
}

fn stepped_vs(pieces: &[Piece], tick_s: f64) -> f64 {
    let each = pieces.iter().map(|p| p.pixel_v * f64::from(p.ticks));
    each.sum::<f64>() * tick_s
}

/// The impulse of the pixel in `row` of a column whose rows show `content`, slot by slot.
fn stepped_pixel_vs(fields: &[Field], levels: &[Vec<u32>], content: &[usize], row: usize) -> f64 {
    let mut sum: f64 = erase().strokes.iter().map(|s| s.pixel_v * s.ms / 1e3).sum();
    for (f, field) in fields.iter().enumerate() {
        for (other, &level) in content.iter().enumerate() {
            let ticks = levels[level][f];
            let pieces = if other == row {
                field.own_slot(ticks)
            } else {
                field.other_slot(ticks)
            };
            sum += stepped_vs(&pieces, field.tick_s());
        }
    }
    sum
}

#[test]
fn impulse_of_a_slot_is_that_of_its_pieces() {
    for field in schemes().into_iter().flatten() {
        for ticks in 0..=field.slot_ticks + 1 {
            let own = stepped_vs(&field.own_slot(ticks), field.tick_s());
            let other = stepped_vs(&field.other_slot(ticks), field.tick_s());
            assert!(
                (own_impulse_vs(&field, ticks) - own).abs() <= ROUNDING_VS,
                "{field:?}"
            );
            assert!(
                (other_impulse_vs(&field, ticks) - other).abs() <= ROUNDING_VS,
                "{field:?}"
            );
        }
    }
}

/// The strokes by hand: 18·0.15 − 18·1.1 − 2·0.2 = −17.5 V·s; one slot: 12·4 + 6·3 = 66 V·ticks of 0.5 ms.
#[test]
fn impulse_by_hand() {
    assert!((strokes_impulse_vs(&erase()) + 17.5).abs() <= ROUNDING_VS);
    let plain = field(9.0, 3.0, 7, 2, false);
    assert!((own_impulse_vs(&plain, 4) - 0.033).abs() <= ROUNDING_VS);
    assert!((other_impulse_vs(&plain, 4) - 0.0015).abs() <= ROUNDING_VS);
    let mirrored = field(9.0, 3.0, 7, 2, true);
    assert!((own_impulse_vs(&mirrored, 4) - 0.0315).abs() <= ROUNDING_VS);
    assert_eq!(other_impulse_vs(&mirrored, 4), 0.0);
}

#[test]
fn worst_impulse_is_that_of_all_pictures() {
    const ROWS: usize = 4;
    for fields in schemes() {
        // Pulses long enough that the picture can outweigh the strokes in either direction.
        let long = fields.iter().map(|f| Field {
            tick_us: 2_000_000,
            ..*f
        });
        for fields in [fields.clone(), long.collect()] {
            let levels = levels(&fields);
            let worst = worst_net_impulse_vs(&erase(), &fields, &levels, ROWS).unwrap();
            let pictures = contents(ROWS, levels.len());
            let largest = pictures
                .flat_map(|c| (0..ROWS).map(move |row| (c.clone(), row)))
                .map(|(c, row)| stepped_pixel_vs(&fields, &levels, &c, row).abs())
                .fold(0.0, f64::max);
            let scale = largest.max(1.0);
            assert!(
                (worst.value_vs.abs() - largest).abs() <= ROUNDING_VS * scale,
                "{fields:?}"
            );
            let there = stepped_pixel_vs(&fields, &levels, &[worst.level; ROWS], 0);
            assert!(
                (worst.value_vs - there).abs() <= ROUNDING_VS * scale,
                "{fields:?}"
            );
        }
    }
}

/// With the column's own impulse taken off, every pixel of every picture keeps the same.
#[test]
fn balance_leaves_the_same_on_every_pixel() {
    const ROWS: usize = 4;
    for fields in schemes() {
        let levels = levels(&fields);
        let worst = worst_net_impulse_vs(&erase(), &fields, &levels, ROWS).unwrap();
        let mut largest: f64 = 0.0;
        for content in contents(ROWS, levels.len()) {
            let slots = content.iter().flat_map(|&l| fields.iter().zip(&levels[l]));
            let column: f64 = slots
                .map(|(f, &t)| stepped_vs(&f.other_slot(t), f.tick_s()))
                .sum();
            largest = largest.max(column.abs());
            for row in 0..ROWS {
                let left = stepped_pixel_vs(&fields, &levels, &content, row) - column;
                assert!(
                    (left - worst.balanced_vs).abs() <= ROUNDING_VS,
                    "{fields:?} {content:?}"
                );
            }
        }
        assert!((worst.column_vs - largest).abs() <= ROUNDING_VS);
        assert_eq!(worst.balanced_vs, balanced_impulse_vs(&erase(), &fields));
    }
}

#[test]
fn no_level_or_no_row_has_no_worst_impulse() {
    let fields = [field(9.0, 3.0, 7, 0, false)];
    assert_eq!(worst_net_impulse_vs(&erase(), &fields, &[], 4), None);
    assert_eq!(worst_net_impulse_vs(&erase(), &fields, &[vec![3]], 0), None);
}

/// Σ ΔV² of one line whose voltage is written down tick by tick.
fn edges_v2(trace: &[f64]) -> f64 {
    trace.windows(2).map(|v| (v[1] - v[0]).powi(2)).sum()
}

/// The voltage of a column tick by tick, from the words of the design: −D on, +D off, the inverse, 0 V in the guard.
fn column_trace(fields: &[Field], levels: &[Vec<u32>], content: &[usize]) -> Vec<f64> {
    let mut trace = vec![0.0];
    for (f, field) in fields.iter().enumerate() {
        let on_v = if field.select_v < 0.0 {
            field.data_v
        } else {
            -field.data_v
        };
        for &level in content {
            let on = levels[level][f];
            let data: Vec<f64> = (0..field.slot_ticks)
                .map(|t| if t < on { on_v } else { -on_v })
                .collect();
            trace.extend(&data);
            if field.mirrored {
                trace.extend(data.iter().map(|v| -v));
            }
            trace.extend((0..field.guard_ticks).map(|_| 0.0));
        }
        trace.push(0.0);
    }
    trace
}

/// The voltage of a row tick by tick through the fields.
fn row_trace(fields: &[Field], rows: usize, row: usize) -> Vec<f64> {
    let mut trace = vec![0.0];
    for field in fields {
        for selected in 0..rows {
            let v = if selected == row { field.select_v } else { 0.0 };
            trace.extend((0..field.slot_ticks).map(|_| v));
            let idle = field.ticks_per_row() - field.slot_ticks;
            trace.extend((0..idle).map(|_| 0.0));
        }
        trace.push(0.0);
    }
    trace
}

#[test]
fn energy_is_that_of_all_edges_of_the_worst_picture() {
    let load = PanelLoad {
        rows: 4,
        columns: 6,
        pixel_f: 2e-12,
    };
    let (row_f, column_f) = (6.0 * 2e-12, 4.0 * 2e-12);
    for fields in schemes() {
        let levels = levels(&fields);
        let energy = load.worst_energy(&erase(), &fields, &levels);
        let near = |got: f64, wanted: f64| (got - wanted).abs() <= ROUNDING_MJ * wanted;
        let strokes = edges_v2(&[0.0, 18.0, -18.0, -2.0, 0.0]);
        assert!(near(energy.erase_mj, 4.0 * row_f * strokes * 1e3));
        let rows: f64 = (0..4).map(|r| edges_v2(&row_trace(&fields, 4, r))).sum();
        assert!(near(energy.rows_mj, row_f * rows * 1e3), "{fields:?}");
        let worst = contents(4, levels.len())
            .map(|c| edges_v2(&column_trace(&fields, &levels, &c)))
            .fold(0.0, f64::max);
        assert!(
            near(energy.columns_mj, 6.0 * column_f * worst * 1e3),
            "{fields:?}"
        );
        assert!(energy.total_mj() > energy.columns_mj && energy.columns_mj > 0.0);
    }
}

#[test]
fn energy_without_levels_or_strokes() {
    let load = PanelLoad {
        rows: 4,
        columns: 6,
        pixel_f: 2e-12,
    };
    let still = Erase {
        strokes: vec![],
        ..erase()
    };
    let energy = load.worst_energy(&still, &[field(9.0, 3.0, 7, 0, false)], &[]);
    assert_eq!((energy.erase_mj, energy.columns_mj), (0.0, 0.0));
}

/// Between any two lines: the strongest stroke, S + D, 2·D.
#[test]
fn largest_difference_between_lines() {
    let of = |fields: &[Field]| largest_line_difference_v(&erase(), fields);
    assert_eq!(of(&[]), 18.0);
    assert_eq!(of(&[field(-16.0, 4.0, 7, 0, false)]), 20.0);
    assert_eq!(of(&[field(4.0, 12.0, 7, 0, false)]), 24.0);
}

#[test]
fn cautions_defer_and_take_the_higher_tone_past_the_limit() {
    for v in [26.0, EXTRA_LOW_AC_V, EXTRA_LOW_AC_V + 1e-9, f64::NAN] {
        let text = voltage_caution(v);
        assert!(
            text.contains("Local codes and licensed practice decide"),
            "{text}"
        );
        assert_eq!(
            text.contains("dangerous shock"),
            v > 50.0 || v.is_nan(),
            "{text}"
        );
    }
    assert!(flash_caution().contains("local codes"));
}

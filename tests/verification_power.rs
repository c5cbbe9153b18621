//! Energy of given pictures against edges counted line by line, and the life of a cell against day-by-day stepping.

use greyloom::drive::{Cell, Duty, Erase, Field, Life, PanelLoad, Stroke, Zone};

/// Relative: the same edges added in another order.
const ROUNDING: f64 = 1e-12;

/// Relative: days in 4000 steps each, first order in the loss of a step.
const STEPPED_LIFE: f64 = 1e-5;

const LOAD: PanelLoad = PanelLoad {
    rows: 3,
    columns: 2,
    pixel_f: 2e-12,
};
const COLUMN_F: f64 = 3.0 * 2e-12;

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
    let strokes = [(18.0, 150.0), (-18.0, 1100.0)];
    Erase {
        name: "plain".into(),
        strokes: strokes.map(|(pixel_v, ms)| Stroke { pixel_v, ms }).into(),
        rest_ms: 1000.0,
    }
}

fn schemes() -> Vec<Vec<Field>> {
    vec![
        vec![field(9.0, 3.0, 7, 0, false)],
        vec![field(9.0, 3.0, 7, 2, true)],
        vec![field(-8.5, 2.5, 6, 1, false)],
        vec![field(9.0, 3.0, 7, 0, true), field(-5.5, 2.25, 4, 0, false)],
    ]
}

fn levels(fields: &[Field]) -> Vec<Vec<u32>> {
    let of = |share: f64| {
        let ticks = |f: &Field| (share * f64::from(f.slot_ticks)) as u32;
        fields.iter().map(ticks).collect()
    };
    [0.0, 0.6, 1.0].map(of).into()
}

/// Σ ΔV² of a column from the words of the design, tick by tick.
fn column_v2(fields: &[Field], ticks: &[Vec<u32>], levels: &[usize]) -> f64 {
    let mut trace = vec![0.0];
    for (f, field) in fields.iter().enumerate() {
        let on_v = -field.data_v * field.select_v.signum();
        for &level in levels {
            let on = ticks[level][f];
            let data = (0..field.slot_ticks).map(|t| if t < on { on_v } else { -on_v });
            let data: Vec<f64> = data.collect();
            trace.extend(&data);
            if field.mirrored {
                trace.extend(data.iter().map(|v| -v));
            }
            trace.extend((0..field.guard_ticks).map(|_| 0.0));
        }
        trace.push(0.0);
    }
    trace.windows(2).map(|v| (v[1] - v[0]).powi(2)).sum()
}

/// The same where rows have their ticks by zones: edges as counted on lines whose levels lie one behind the other.
#[test]
fn energy_of_every_picture_by_zones() {
    for fields in schemes() {
        let alike = levels(&fields);
        let table = |turn: usize| -> Vec<Vec<u32>> {
            let level = |l: usize| {
                let ticks = alike[(l + turn) % 3].iter();
                ticks.map(|t| t / (1 + turn as u32)).collect()
            };
            (0..3).map(level).collect()
        };
        let zone = |row_first, row_last, turn| Zone {
            row_first,
            row_last,
            ticks: table(turn),
        };
        for zones in [
            vec![zone(0, 0, 1), zone(1, 2, 0)],
            vec![zone(0, 1, 2), zone(2, 2, 1)],
        ] {
            let all: Vec<Vec<u32>> = zones.iter().flat_map(|z| z.ticks.clone()).collect();
            let entry = |row: usize, level: usize| 3 * usize::from(row > zones[0].row_last) + level;
            let worst = LOAD.worst_energy(&erase(), &fields, &zones);
            let mut largest_mj: f64 = 0.0;
            for number in 0..729 {
                let picture: Vec<usize> = (0..6).map(|p| number / 3usize.pow(p) % 3).collect();
                let got = LOAD
                    .picture_energy(&erase(), &fields, &zones, &picture)
                    .unwrap();
                let column = |c: usize| [0, 1, 2].map(|row| entry(row, picture[2 * row + c]));
                let v2: f64 = (0..2).map(|c| column_v2(&fields, &all, &column(c))).sum();
                let wanted_mj = COLUMN_F * v2 * 1e3;
                assert!(
                    (got.columns_mj / wanted_mj - 1.0).abs() <= ROUNDING,
                    "{picture:?}"
                );
                largest_mj = largest_mj.max(got.columns_mj);
            }
            assert!(
                (worst.columns_mj / largest_mj - 1.0).abs() <= ROUNDING,
                "{fields:?}"
            );
        }
    }
}

/// All 3⁶ pictures of six pixels: each as counted, none above the worst, the worst among them.
#[test]
fn energy_of_every_picture() {
    for fields in schemes() {
        let ticks = levels(&fields);
        let worst = LOAD.worst_energy(&erase(), &fields, &ticks);
        let mut largest_mj: f64 = 0.0;
        for number in 0..729 {
            let picture: Vec<usize> = (0..6).map(|p| number / 3usize.pow(p) % 3).collect();
            let got = LOAD
                .picture_energy(&erase(), &fields, &ticks, &picture)
                .unwrap();
            let column = |c: usize| [picture[c], picture[2 + c], picture[4 + c]];
            let v2: f64 = (0..2).map(|c| column_v2(&fields, &ticks, &column(c))).sum();
            let wanted_mj = COLUMN_F * v2 * 1e3;
            assert!(
                (got.columns_mj / wanted_mj - 1.0).abs() <= ROUNDING,
                "{picture:?}"
            );
            assert_eq!((got.erase_mj, got.rows_mj), (worst.erase_mj, worst.rows_mj));
            assert!(
                got.columns_mj <= worst.columns_mj * (1.0 + ROUNDING),
                "{picture:?}"
            );
            largest_mj = largest_mj.max(got.columns_mj);
        }
        assert!(
            (largest_mj / worst.columns_mj - 1.0).abs() <= ROUNDING,
            "{fields:?}"
        );
        assert!(worst.rows_mj > 0.0 && worst.erase_mj > 0.0);
    }
}

#[test]
fn a_picture_that_is_none() {
    let fields = [field(9.0, 3.0, 7, 0, false)];
    let ticks = levels(&fields);
    let of = |ticks: &[Vec<u32>], picture: &[usize]| {
        LOAD.picture_energy(&erase(), &fields, ticks, picture)
    };
    assert!(of(&ticks, &[0; 6]).is_some());
    assert!(of(&ticks, &[0; 5]).is_none());
    assert!(of(&ticks, &[0, 1, 2, 3, 0, 0]).is_none());
    assert!(of(&[vec![1, 2]], &[0; 6]).is_none());
    assert!(of(&[vec![]], &[0; 6]).is_none());
    let empty = PanelLoad { rows: 0, ..LOAD };
    let none = empty.picture_energy(&erase(), &fields, &ticks, &[]);
    assert_eq!(none.unwrap().total_mj(), 0.0);
    let endless = PanelLoad {
        rows: usize::MAX,
        ..LOAD
    };
    assert!(
        endless
            .picture_energy(&erase(), &fields, &ticks, &[])
            .is_none()
    );
}

const CELL: Cell = Cell {
    capacity_mah: 220.0,
    volt: 3.0,
    self_discharge_per_year: 0.02,
    usable_share: 0.8,
};
const DUTY: Duty = Duty {
    refresh_mj: 50.0,
    refreshes_per_day: 288.0,
    converter_efficiency: 0.7,
    standby_ua: 2.0,
};

fn days(cell: Cell, duty: Duty) -> f64 {
    match cell.life(&duty).unwrap() {
        Life::Days(days) => days,
        Life::Unlimited => f64::NAN,
    }
}

/// 220 mAh · 3.6 · 3 V = 2376 J, of which 0.8; 288 · 0.05 J/0.7 + 2 µA · 3 V · 86 400 s = 21.0898 J a day.
#[test]
fn life_by_hand_without_self_discharge() {
    let cell = Cell {
        self_discharge_per_year: 0.0,
        ..CELL
    };
    let wanted = 2376.0 * 0.8 / (288.0 * 0.05 / 0.7 + 2e-6 * 3.0 * 86_400.0);
    assert!((days(cell, DUTY) / wanted - 1.0).abs() <= ROUNDING);
    assert!((wanted - 90.13).abs() < 0.01, "{wanted}");
    // A loss too small to matter joins on without a jump.
    let hardly = Cell {
        self_discharge_per_year: 1e-13,
        ..CELL
    };
    assert!((days(hardly, DUTY) / wanted - 1.0).abs() <= 1e-10);
}

#[test]
fn life_by_stepping_day_after_day() {
    for (loss, per_day) in [(0.02, 288.0), (0.3, 12.0), (0.9, 1.0)] {
        let cell = Cell {
            self_discharge_per_year: loss,
            ..CELL
        };
        let duty = Duty {
            refreshes_per_day: per_day,
            ..DUTY
        };
        let drawn_j = per_day * 0.05 / 0.7 + 2e-6 * 3.0 * 86_400.0;
        const STEPS: f64 = 4000.0;
        let kept = (1.0f64 - loss).powf(1.0 / 365.25 / STEPS);
        let (mut left_j, mut steps) = (cell.energy_j(), 0.0);
        while left_j > 0.2 * cell.energy_j() {
            left_j = left_j * kept - drawn_j / STEPS;
            steps += 1.0;
        }
        let share = days(cell, duty) / (steps / STEPS) - 1.0;
        assert!(share.abs() <= STEPPED_LIFE, "{loss}: {share}");
    }
}

#[test]
fn life_where_nothing_is_drawn() {
    let idle = Duty {
        refreshes_per_day: 0.0,
        standby_ua: 0.0,
        ..DUTY
    };
    let tight = Cell {
        self_discharge_per_year: 0.0,
        ..CELL
    };
    assert_eq!(tight.life(&idle), Ok(Life::Unlimited));
    let whole = Cell {
        usable_share: 1.0,
        ..CELL
    };
    assert_eq!(whole.life(&idle), Ok(Life::Unlimited));
    // From all to a fifth at 2 % a year.
    let wanted = 0.2f64.ln() / 0.98f64.ln() * 365.25;
    assert!((days(CELL, idle) / wanted - 1.0).abs() <= ROUNDING);
    let hardly = Duty {
        standby_ua: f64::MIN_POSITIVE,
        ..idle
    };
    assert_eq!(tight.life(&hardly), Ok(Life::Unlimited));
}

#[test]
fn numbers_that_no_cell_or_duty_has() {
    let cell = |change: fn(&mut Cell, f64), value| {
        let mut cell = CELL;
        change(&mut cell, value);
        cell.life(&DUTY).map_err(|e| e.to_string())
    };
    let duty = |change: fn(&mut Duty, f64), value| {
        let mut duty = DUTY;
        change(&mut duty, value);
        CELL.life(&duty).map_err(|e| e.to_string())
    };
    let refused = |life: Result<Life, String>, word: &str| {
        assert!(
            life.is_err_and(|e| e.contains(word) && e.contains("expected")),
            "{word}"
        );
    };
    for wrong in [0.0, -1.0, f64::NAN, f64::INFINITY] {
        refused(cell(|c, v| c.capacity_mah = v, wrong), "capacity");
        refused(cell(|c, v| c.volt = v, wrong), "voltage");
        refused(cell(|c, v| c.usable_share = v, wrong), "usable");
        refused(duty(|d, v| d.converter_efficiency = v, wrong), "efficiency");
    }
    for wrong in [-1e-9, f64::NAN, f64::INFINITY] {
        refused(
            cell(|c, v| c.self_discharge_per_year = v, wrong),
            "self-discharge",
        );
        refused(duty(|d, v| d.refresh_mj = v, wrong), "refresh");
        refused(duty(|d, v| d.refreshes_per_day = v, wrong), "refreshes");
        refused(duty(|d, v| d.standby_ua = v, wrong), "standby");
    }
    refused(
        cell(|c, v| c.self_discharge_per_year = v, 1.0),
        "self-discharge",
    );
    refused(cell(|c, v| c.usable_share = v, 1.0 + 1e-9), "usable");
    assert!(duty(|d, v| d.converter_efficiency = v, f64::MIN_POSITIVE).is_ok());
    assert!(cell(|c, v| c.capacity_mah = v, 1e9).is_ok());
}

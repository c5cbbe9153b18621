//! Pages on the test panel against themselves: by another route, in order of voltage, from page to page, on threads.

mod on_the_test_panel;
mod small_project;

use greyloom::drive::{Field, Matrix};
use greyloom::project::{Chart, Page, Panel};
use greyloom::rehearsal::{Amounts, Population, Start, TestPanel};
use on_the_test_panel::*;
use proptest::prelude::*;

/// Read soon after the refresh: a short walk.
fn soon_read() -> TestPanel {
    let mut panel = shipped();
    panel.history.reading_s = 0.05;
    panel
}

/// Lines that answer at once.
fn without_lag(mut panel: Panel) -> Panel {
    panel.lines.row_ohm = 0.0;
    panel.lines.column_ohm = 0.0;
    panel.lines.driver_ohm = 0.0;
    panel
}

/// One population through voltages held for some seconds each, step by step.
struct Walk<'a> {
    test_panel: &'a TestPanel,
    population: &'a Population,
    temperature_c: f64,
    amounts: Vec<f64>,
}

impl Walk<'_> {
    fn hold(&mut self, pixel_v: f64, seconds: f64) {
        if seconds <= 0.0 {
            return;
        }
        let transport = self
            .test_panel
            .transport(self.population, pixel_v, self.temperature_c);
        let mut steps = 1u32;
        while seconds / f64::from(steps) > self.test_panel.step_s {
            steps *= 2;
        }
        let stepper = transport.stepper(seconds / f64::from(steps));
        (0..steps).for_each(|_| stepper.step(&mut self.amounts));
    }
}

/// The ticks of a row at a column.
fn ticks_at(page: &Page, row: usize, column: usize) -> &[u32] {
    let inside = |p: &&greyloom::project::Patch| {
        (p.row_first..=p.row_last).contains(&row)
            && (p.column_first..=p.column_last).contains(&column)
    };
    page.patches
        .iter()
        .find(inside)
        .map_or(&page.fill_ticks, |p| &p.ticks)
}

/// The voltage of a column by time, s, through a field: one entry a tick.
fn column_voltages(
    page: &Page,
    field: &Field,
    index: usize,
    rows: usize,
    column: usize,
) -> Vec<f64> {
    let mut voltages = Vec::new();
    let off_v = field.select_v.signum() * field.data_v;
    for row in 0..rows {
        let on = ticks_at(page, row, column)[index];
        let slot = (0..field.slot_ticks).map(|t| if t < on { -off_v } else { off_v });
        voltages.extend(slot.clone());
        if field.mirrored {
            voltages.extend(slot.map(|v| -v));
        }
        voltages.extend((0..field.guard_ticks).map(|_| 0.0));
    }
    voltages
}

/// A pixel through a page by the voltages of its two lines, each with its own delay, tick by tick.
fn walked(
    test_panel: &TestPanel,
    panel: &Panel,
    page: &Page,
    row: usize,
    column: usize,
    delays_s: (f64, f64),
) -> Vec<Amounts> {
    let dark = test_panel.dark(page.temperature_c);
    let populations = test_panel.populations.iter().zip(dark);
    let walk = |(population, dark): (&Population, Amounts)| {
        let mut walk = Walk {
            test_panel,
            population,
            temperature_c: page.temperature_c,
            amounts: dark.as_slice().to_vec(),
        };
        for stroke in &page.erase.strokes {
            walk.hold(stroke.pixel_v, stroke.ms * 1e-3 * page.stretch);
        }
        for (index, field) in page.fields.iter().enumerate() {
            walk_field(
                &mut walk,
                panel,
                page,
                (index, field),
                (row, column),
                delays_s,
            );
            walk.hold(0.0, panel.drivers.field_settle_ms * 1e-3 * page.stretch);
        }
        walk.hold(0.0, page.erase.rest_ms * 1e-3 * page.stretch);
        walk.hold(0.0, test_panel.history.reading_s);
        walk.amounts.into()
    };
    populations.map(walk).collect()
}

fn walk_field(
    walk: &mut Walk,
    panel: &Panel,
    page: &Page,
    (index, field): (usize, &Field),
    (row, column): (usize, usize),
    (row_late, column_late): (f64, f64),
) {
    let tick_s = f64::from(field.tick_us) * 1e-6 * page.stretch;
    let columns = column_voltages(page, field, index, panel.rows, column);
    let per_row = columns.len() / panel.rows;
    let pulse = row * per_row..row * per_row + field.slot_ticks as usize;
    // All moments at which anything may change; a line keeps its last voltage until the next edge has come.
    let edges = (0..=columns.len()).flat_map(|i| {
        [
            i as f64 * tick_s + row_late,
            i as f64 * tick_s + column_late,
        ]
    });
    let mut edges: Vec<f64> = edges.chain([0.0]).collect();
    edges.sort_by(f64::total_cmp);
    for pair in edges.windows(2) {
        let middle = 0.5 * (pair[0] + pair[1]);
        let at = |late: f64| ((middle - late) / tick_s).floor();
        let row_v = if at(row_late) >= pulse.start as f64 && at(row_late) < pulse.end as f64 {
            field.select_v
        } else {
            0.0
        };
        let column_v = if at(column_late) < 0.0 {
            0.0
        } else {
            columns
                .get(at(column_late) as usize)
                .copied()
                .unwrap_or(0.0)
        };
        walk.hold(row_v - column_v, pair[1] - pair[0]);
    }
}

fn furthest(a: &[Amounts], b: &[Amounts]) -> f64 {
    a.iter()
        .zip(b)
        .map(|(a, b)| (a - b).amax())
        .fold(0.0, f64::max)
}

#[test]
fn a_page_by_powers_is_the_page_tick_by_tick() {
    let (panel, mut chart) = small();
    let panel = without_lag(panel);
    let test_panel = soon_read();
    chart.pages[1].stretch = 1.23;
    for page in &chart.pages {
        for (row, column) in [(0, 0), (1, 3), (4, 5), (5, 8), (9, 11), (7, 2)] {
            let fast = test_panel.pixel(&panel, page, row, column).unwrap();
            let slow = walked(&test_panel, &panel, page, row, column, (0.0, 0.0));
            // Share of a population; the steps are the same, so rounding alone.
            let off = furthest(&fast, &slow);
            assert!(
                off < 1e-9,
                "page {}, pixel {row}, {column}: {off}",
                page.name
            );
        }
    }
    assert_eq!(test_panel.pixel(&panel, &chart.pages[0], 10, 0), None);
    assert_eq!(test_panel.pixel(&panel, &chart.pages[0], 0, 12), None);
}

/// The small panel with lines so slow that edges come tens of microseconds late, against ticks of 500: far more than a panel
/// that works has, so that it shows.
fn with_lag(panel: &Panel, row_ohm: f64, column_ohm: f64) -> Panel {
    let mut panel = panel.clone();
    panel.lines.row_ohm = row_ohm;
    panel.lines.column_ohm = column_ohm;
    panel
}

/// Mean delays of the row's and the column's edges at a pixel, s.
fn delays_s(panel: &Panel, along_row: f64, along_column: f64) -> (f64, f64) {
    let matrix = Matrix {
        rows: panel.rows,
        columns: panel.columns,
        row_ohm: panel.lines.row_ohm,
        column_ohm: panel.lines.column_ohm,
        pixel_f: panel.lines.pixel_f,
        driver_ohm: panel.lines.driver_ohm,
    };
    (
        matrix.row_line().elmore_s(along_row),
        matrix.column_line().elmore_s(along_column),
    )
}

#[test]
fn late_edges_shift_the_slot() {
    let (panel, chart) = small();
    let test_panel = soon_read();
    let guarded = Page {
        fields: chart.pages[0].fields[..1].to_vec(),
        ..chart.pages[0].clone()
    };
    for page in [&guarded, &chart.pages[0]] {
        for panel in [with_lag(&panel, 4e6, 1e3), with_lag(&panel, 1e3, 4e6)] {
            // Columns 6 to 11 are one group; their middle is three quarters along.
            for (row, column) in [(2, 9), (7, 9)] {
                let delays_s = delays_s(&panel, 0.75, (row as f64 + 0.5) / 10.0);
                let late = test_panel.pixel(&panel, page, row, column).unwrap();
                let prompt = test_panel
                    .pixel(&without_lag(panel.clone()), page, row, column)
                    .unwrap();
                let slow = walked(&test_panel, &panel, page, row, column, delays_s);
                let (shift, off) = (furthest(&late, &prompt), furthest(&late, &slow));
                assert!(shift > 1e-6, "no shift at {row}");
                assert!(off < 0.02 * shift, "pixel {row}: {off} of {shift}");
            }
        }
    }
}

fn over_window(test_panel: &TestPanel, train: &[(f64, f64)]) -> f64 {
    let populations = test_panel.populations.iter().zip(test_panel.dark(23.0));
    let share = |(population, dark): (&Population, Amounts)| {
        let mut walk = Walk {
            test_panel,
            population,
            temperature_c: 23.0,
            amounts: dark.as_slice().to_vec(),
        };
        for &(pixel_v, seconds) in [(-18.0, 1.0)].iter().chain(train) {
            walk.hold(pixel_v, seconds);
        }
        population.share
            * walk.amounts[test_panel.window_start()..]
                .iter()
                .sum::<f64>()
    };
    populations.map(share).sum()
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(12))]

    /// A higher pixel voltage at any moment never leaves less pigment over the window.
    #[test]
    fn more_voltage_never_clears(
        train in prop::collection::vec((-12.0..12.0f64, 0.001..0.05f64), 1..6),
        at in 0usize..6,
        more_v in 0.1..6.0f64,
    ) {
        let test_panel = shipped();
        let mut raised = train.clone();
        raised[at % train.len()].0 += more_v;
        let (low, high) = (over_window(&test_panel, &train), over_window(&test_panel, &raised));
        // The scheme's own error, share of the pigment.
        prop_assert!(high >= low - 1e-5, "{} then {}", low, high);
    }
}

#[test]
fn darker_where_more_is_driven_and_where_the_threshold_is_lower() {
    let (panel, chart) = small();
    let darkness = |t: &TestPanel| -> Vec<f64> { shown(t, &panel, &chart, Start::Dark).concat() };
    let plain = darkness(&shipped());
    let raised = darkness(&shipped().with_threshold_shift_v(1.0));
    let fast = darkness(&shipped().with_speed_factor(1.6));
    // Page a darkens over a cleared panel.
    assert!(
        raised[0] > plain[0] + 0.1,
        "{} against {}",
        raised[0],
        plain[0]
    );
    assert!(fast[0] < plain[0] - 0.1, "{} against {}", fast[0], plain[0]);
}

#[test]
fn the_same_on_any_number_of_threads() {
    let (panel, chart) = small();
    let on = |threads: usize, start| {
        let pool = rayon::ThreadPoolBuilder::new()
            .num_threads(threads)
            .build()
            .unwrap();
        pool.install(|| shown(&shipped(), &panel, &chart, start))
    };
    for start in [Start::Dark, Start::Last] {
        assert_eq!(on(1, start), on(2, start));
    }
}

#[test]
fn a_page_may_start_from_what_the_last_one_left() {
    let (panel, chart) = small();
    let test_panel = shipped();
    let mut pages: Vec<Page> = vec![chart.pages[0].clone(), chart.pages[0].clone()];
    let twice = |pages: &[Page], start| {
        shown(
            &test_panel,
            &panel,
            &Chart {
                pages: pages.to_vec(),
            },
            start,
        )
    };
    // After a whole erase nearly nothing is left of the page before.
    let (dark, last) = (twice(&pages, Start::Dark), twice(&pages, Start::Last));
    for (a, b) in dark[0].iter().zip(&last[0]) {
        assert!(
            (a - b).abs() < 1e-6,
            "the first page starts from dark: {a}, {b}"
        );
    }
    for (a, b) in last[0].iter().zip(&last[1]) {
        assert!((a - b).abs() < 0.5, "ghost of {a} in {b}");
    }
    // Without one the second page adds to the first, pixel by pixel as if it were one refresh.
    pages[1].erase.strokes = vec![greyloom::drive::Stroke {
        pixel_v: 0.0,
        ms: 1.0,
    }];
    let last = twice(&pages, Start::Last);
    assert!(last[1][0] < last[0][0] - 1.0, "{last:?}");
    let one = Page {
        fields: [&pages[0].fields[..], &pages[0].fields[..]].concat(),
        ..pages[0].clone()
    };
    let double = |ticks: &[u32]| [ticks, ticks].concat();
    let one = Page {
        fill_ticks: double(&one.fill_ticks),
        patches: one
            .patches
            .iter()
            .map(|p| greyloom::project::Patch {
                ticks: double(&p.ticks),
                ..p.clone()
            })
            .collect(),
        ..one
    };
    for (a, b) in twice(&[one], Start::Dark)[0].iter().zip(&last[1]) {
        // The pause lets store and window come to rest once more.
        assert!((a - b).abs() < 1.0, "{a} in one, {b} in two");
    }
}

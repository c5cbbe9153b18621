//! Zones of rows: predictions, proof, verifying chart and design against brute force and against one table for all rows.

mod row_zones;
mod slow_fields;
mod small_panel;

use greyloom::design::climate::BandClimate;
use greyloom::design::pins::Pins;
use greyloom::design::proof::Finished;
use greyloom::design::reach::{Climate, Scheme};
use greyloom::design::{Design, LadderShare, Request, Standing, design, redesign};
use greyloom::drive::{Erase, Field, RowTicks, Stroke};
use greyloom::panel::{Asked, Before, Levels, SetOnPanel};
use greyloom::planning::Grid;
use greyloom::project::{Project, read_panel};
use greyloom::response::fit::{Fit, fit};
use greyloom::response::{Response, read_response};
use greyloom::trim::{rows_without_patches, verification_chart};
use greyloom::waveforms::Waveforms;
use row_zones::zones;
use slow_fields::plain;
use small_panel::{Numbers, RUNG, SlotTable, response};
use std::path::Path;
use std::sync::LazyLock;

const SETTLE_MS: f64 = 2.0;
/// Lightness: rounding of some hundred compositions.
const ROUNDING_LSTAR: f64 = 1e-7;

fn home(file: &str) -> std::path::PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join(file)
}

fn shipped() -> (Waveforms, greyloom::project::Panel, Response) {
    let set = Waveforms::read(&home("waveforms/harbour-tile/waveforms.json")).unwrap();
    let panel = read_panel(&home("waveforms/harbour-tile/panel.toml")).unwrap();
    let file = home("waveforms/harbour-tile/response.json");
    let response = read_response(&file, &panel.name).unwrap();
    (set, panel, response)
}

/// The shipped set with its tables said once more for each of some zones.
fn said_by_zones(set: &Waveforms, cuts: &[usize]) -> Waveforms {
    let mut set = set.clone();
    for band in &mut set.bands {
        let table = std::mem::take(&mut band.ticks);
        band.zones = zones(set.panel.rows, cuts, || table.clone());
    }
    set
}

/// One table said for all rows or for one zone of all rows: the same predictions and pictures, bit by bit; said again for each
/// of several zones: but for the order of sums the same.
#[test]
fn zones_that_are_alike_change_no_prediction() {
    let (set, panel, response) = shipped();
    let (one, three) = (said_by_zones(&set, &[]), said_by_zones(&set, &[1, 40]));
    let asked = Asked {
        tolerance_steps: 0.25,
        supply: None,
    };
    let columns = 7;
    let mut numbers = Numbers(5);
    let levels: Vec<u16> = (0..set.panel.rows * columns)
        .map(|_| numbers.below(set.levels) as u16)
        .collect();
    let look = |set: &Waveforms| {
        let file = Path::new("waveforms.json");
        let read = Waveforms::parse(file, set.to_json().as_bytes()).expect("a set");
        let standing = SetOnPanel::new(&read, &panel, &response);
        let picture = Levels {
            columns,
            levels: &levels,
        };
        let shown: Vec<Vec<u64>> = standing
            .bands
            .iter()
            .map(|band| {
                let run = standing.picture_run(band, band.climate.high_c);
                let shown = run.lstar(picture, Before::Dark).into_iter();
                shown.map(f64::to_bits).collect()
            })
            .collect();
        let figures = standing.figures(&asked).into_iter();
        let values: Vec<(&str, f64)> = figures.map(|f| (f.name, f.value)).collect();
        (values, shown)
    };
    const ROUNDING: f64 = 1e-9;
    let (figures, shown) = look(&set);
    assert!(figures.len() > 12 && shown.len() == set.bands.len());
    for (set, apart) in [(one, 0.0), (three, ROUNDING)] {
        let (found, pictures) = look(&set);
        for ((name, a), (_, b)) in found.iter().zip(&figures) {
            assert!((a - b).abs() <= apart * b.abs(), "{name}: {a}, not {b}");
        }
        assert!(
            found.len() == figures.len() && pictures == shown,
            "pictures"
        );
    }
}

const ROWS: usize = 6;
const CLIMATE: Climate = Climate {
    temperature_c: 21.0,
    stretch: 1.1,
};

fn schemes() -> Vec<Scheme> {
    let (strong, weak) = (plain(9.0, 3.0, 9, 1), plain(5.5, 2.25, 4, 0));
    let lightening = Field {
        select_v: -7.0,
        ..plain(7.0, 2.5, 5, 0)
    };
    let stroke = |(pixel_v, ms)| Stroke { pixel_v, ms };
    let erase = Erase {
        name: "short".into(),
        strokes: [(18.0, 60.0), (-18.0, 200.0)].map(stroke).to_vec(),
        rest_ms: 600.0,
    };
    [vec![strong], vec![strong, weak], vec![strong, lightening]]
        .map(|fields| Scheme {
            erase: erase.clone(),
            fields,
        })
        .to_vec()
}

fn table(scheme: &Scheme, numbers: &mut Numbers) -> Vec<Vec<u32>> {
    let mut level = || {
        let of = |f: &Field| numbers.below(f.slot_ticks as usize + 1) as u32;
        scheme.fields.iter().map(of).collect()
    };
    (0..4).map(|_| level()).collect()
}

/// The proof's extremes hold every level in every row of random pictures, from the dark and from the clear panel, and are
/// what the level shows among rows that are on, and off, all the time.
#[test]
fn the_proof_holds_every_content_and_is_reached() {
    let response = response(RUNG, 3);
    let mut numbers = Numbers(41);
    for scheme in schemes() {
        let cuts = [1, 1 + numbers.below(ROWS - 1)];
        let zones = zones(ROWS, &cuts, || table(&scheme, &mut numbers));
        let ticks = RowTicks::Zones(&zones);
        let finished = Finished {
            response: &response,
            scheme: &scheme,
            rows: ROWS,
            settle_ms: SETTLE_MS,
            ticks,
            correction: None,
        };
        let said = finished.extremes(&BandClimate::point(CLIMATE.temperature_c), &[CLIMATE]);
        // A point band plays durations as they stand.
        let movers = response.movers(CLIMATE.temperature_c, 1.0);
        let tables: Vec<SlotTable> = movers
            .iter()
            .map(|m| SlotTable::new(m, &scheme, SETTLE_MS))
            .collect();
        let shown = |row: usize, content: &[Vec<u32>]| {
            let kinetics = &response.kinetics;
            [kinetics.highest(), kinetics.lowest()].map(|start| {
                let coverage = tables.iter().map(|t| t.coverage(start, row, content));
                response.curve.lstar(coverage.sum())
            })
        };
        for level in 0..ticks.levels() {
            let (low, high) = (said.lowest[level].lstar, said.highest[level].lstar);
            let mut reached = (f64::INFINITY, f64::NEG_INFINITY);
            for row in 0..ROWS {
                for darkest in [false, true] {
                    let other = |f: &Field| match darkest == (f.direction() > 0.0) {
                        true => f.slot_ticks,
                        false => 0,
                    };
                    let others: Vec<u32> = scheme.fields.iter().map(other).collect();
                    let mut content = vec![others; ROWS];
                    content[row] = ticks.in_row(row)[level].clone();
                    for lstar in shown(row, &content) {
                        reached = (reached.0.min(lstar), reached.1.max(lstar));
                    }
                }
                for _ in 0..40 {
                    let mut content: Vec<Vec<u32>> = (0..ROWS)
                        .map(|r| ticks.in_row(r)[numbers.below(ticks.levels())].clone())
                        .collect();
                    content[row] = ticks.in_row(row)[level].clone();
                    for lstar in shown(row, &content) {
                        let within = low - ROUNDING_LSTAR..=high + ROUNDING_LSTAR;
                        assert!(within.contains(&lstar), "{lstar} in {low}…{high}");
                    }
                }
            }
            assert!((reached.0 - low).abs() < ROUNDING_LSTAR);
            assert!((reached.1 - high).abs() < ROUNDING_LSTAR);
            assert!(high - low > 0.1, "nothing to see");
        }
    }
}

/// A chart of a set with zones: each patch in one zone, with its ticks; rows too few for a patch are told.
#[test]
fn each_patch_of_the_verifying_chart_lies_in_one_zone() {
    let (set, panel, _) = shipped();
    let mut zoned = said_by_zones(&set, &[2, 50]);
    for band in &mut zoned.bands {
        // Tables that can be told apart.
        let first = |t: &mut Vec<u32>, by: u32| t[0] = t[0].saturating_sub(by);
        band.zones[0].ticks.iter_mut().for_each(|t| first(t, 1));
        band.zones[2].ticks.iter_mut().for_each(|t| first(t, 2));
    }
    let grid = Grid::new(&panel, Path::new("panel.toml")).unwrap();
    assert_eq!(rows_without_patches(&zoned, &panel, grid), [(0, 1)]);
    assert_eq!(rows_without_patches(&set, &panel, grid), []);
    let chart = verification_chart(&zoned, &panel, grid).unwrap();
    let mut seen = [0; 3];
    for page in &chart.pages {
        let band = zoned.band_with(page.temperature_c, &page.fields).unwrap();
        let ticks = band.row_ticks();
        assert!(band.zones[1].ticks.contains(&page.fill_ticks));
        for patch in &page.patches {
            let zone = ticks.zone_of(patch.row_first);
            assert_eq!(zone, ticks.zone_of(patch.row_last), "{}", patch.name);
            seen[zone] += 1;
            if let Some(level) = patch.name.strip_prefix('L') {
                let level: usize = level[..3].parse().unwrap();
                assert_eq!(patch.ticks, ticks.table(zone)[level]);
            }
        }
    }
    assert!(seen[0] == 0 && seen[1] > 100 && seen[2] > 60, "{seen:?}");
    // No zone as high as a patch.
    let thin: Vec<usize> = (0..80).step_by(6).collect();
    let error = verification_chart(&said_by_zones(&set, &thin), &panel, grid).unwrap_err();
    assert_eq!(error.exit_code(), 4);
    assert!(error.to_string().contains("zone"), "{error}");
}

/// The worked project with its readings, its response, and a controller of one field without the priming erase.
static BARE: LazyLock<(Project, Fit)> = LazyLock::new(|| {
    let mut project = Project::read(&home("calibration/harbour-tile")).expect("a project");
    let fit = fit(&project, &|_| ()).expect("a fit");
    project.panel.erases.retain(|e| e.name == "plain");
    project.panel.drivers.fields_max = 1;
    (project, fit)
});

fn request(levels: usize, budget_s: f64, tolerance_steps: f64) -> Request {
    Request {
        levels,
        budget_s,
        tolerance_steps,
        share: LadderShare::Common,
        temperature_c: Some(23.0),
        pins: Pins::default(),
        contrast: None,
    }
}

fn designed(request: &Request, zones_max: u32) -> greyloom::Result<Design> {
    let (project, fit) = &*BARE;
    let mut project = project.clone();
    project.panel.drivers.zones_max = zones_max;
    design(&project, fit, request, &|_| ())
}

/// 16 levels in 8 s at 23 °C, which one table can't give.
static ZONED: LazyLock<Design> =
    LazyLock::new(|| designed(&request(16, 8.0, 0.25), 4).expect("a design in zones"));

/// Where the first row after the erase stands apart, no table serves all rows and zones do; what is told is what the panel
/// shows by the prediction of `check`.
#[test]
fn zones_meet_what_one_table_can_not() {
    let (request, design) = (request(16, 8.0, 0.25), &*ZONED);
    let (band, made) = (&design.set.bands[0], &design.bands[0]);
    let won = made.zones.as_ref().expect("zones");
    assert!(band.ticks.is_empty() && band.zones.len() >= 2);
    let rows = band.zones.iter().map(|z| (z.row_first, z.row_last));
    assert!(rows.eq(won.rows.iter().copied()), "{won:?}");
    assert_eq!(design.without_zones, None);
    assert!(band.figures.worst_error_steps <= request.tolerance_steps);
    assert!(made.shading_steps <= request.tolerance_steps);
    // One table, the same drive, the same ladder.
    assert!(won.alike_error_steps > request.tolerance_steps, "{won:?}");
    assert!(won.alike_shading_steps > made.shading_steps, "{won:?}");
    let (project, fit) = &*BARE;
    let standing = SetOnPanel::new(&design.set, &project.panel, &fit.response);
    let figures = standing.figures(&Asked {
        tolerance_steps: request.tolerance_steps,
        supply: None,
    });
    let value = |name: &str| figures.iter().find(|f| f.name == name).unwrap().value;
    // As the file rounds.
    assert!((value("level error") - band.figures.worst_error_steps).abs() < 2e-4);
    assert!((value("row shading") - made.shading_steps).abs() < 2e-4);
}

/// The same request twice gives the same bytes, on any number of threads.
#[test]
fn zones_are_the_same_every_time() {
    let pool = rayon::ThreadPoolBuilder::new().num_threads(1);
    let again = || designed(&request(16, 8.0, 0.25), 4).unwrap();
    let alone = pool.build().unwrap().install(again);
    assert_eq!(alone.set.to_json(), ZONED.set.to_json());
}

/// Where a design with one table leaves more shading than the tolerance, as few zones as bring it below are taken.
#[test]
fn zones_bring_shading_under_the_tolerance() {
    let request = request(8, 6.0, 0.45);
    let alike = designed(&request, 1).expect("one table");
    assert!(alike.bands[0].shading_steps > request.tolerance_steps);
    assert!(alike.notes[0].contains("Row shading"), "{:?}", alike.notes);
    let design = designed(&request, 4).expect("zones");
    let without = design.without_zones;
    let without = without.unwrap_or_else(|| panic!("{}", design.notes[0]));
    let made = &design.bands[0];
    assert_eq!(without.shading_steps, alike.bands[0].shading_steps);
    assert_eq!(made.zones.as_ref().expect("zones").rows.len(), 2);
    assert!(made.shading_steps <= request.tolerance_steps);
    assert!(
        made.span_lstar >= 0.9 * without.span_lstar,
        "{} {without:?}",
        made.span_lstar
    );
    let won = made.zones.as_ref().expect("zones");
    assert!(
        made.shading_steps < 0.5 * won.alike_shading_steps,
        "{won:?}"
    );
}

/// Choosing ticks anew keeps the zones of a set.
#[test]
fn choosing_anew_keeps_the_zones() {
    let request = request(16, 8.0, 0.25);
    let (project, fit) = &*BARE;
    let set = &ZONED.set;
    let standing = [Standing {
        band: &set.bands[0],
        correction: None,
    }];
    let again = redesign(&project.panel, fit, &request, &standing, false, &|_| ()).expect("again");
    let rows = |set: &Waveforms| -> Vec<(usize, usize)> {
        let zones = set.bands[0].zones.iter();
        zones.map(|z| (z.row_first, z.row_last)).collect()
    };
    assert_eq!(rows(&again.set), rows(set));
    assert!(again.set.bands[0].figures.worst_error_steps <= request.tolerance_steps);
}

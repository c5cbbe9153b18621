//! The file of a test panel, such as `calibration/test-panel.toml`: reading and checking.

use super::liquid::Viscosity;
use super::test_panel::*;
use crate::error::Result;
use crate::project::input_file::InputFile;
use crate::project::keys::{self, Keys};
use crate::project::limits::{Bounds, Count, PANEL_BYTES_MAX, REFLECTANCE, bounds, count};
use std::path::Path;

/// The panel that ships with the program.
const SHIPPED: &str = include_str!("../../calibration/test-panel.toml");
const SHIPPED_NAME: &str = "calibration/test-panel.toml";

pub const THRESHOLD_SHIFT_V: Bounds = bounds(-100.0, 100.0, " V");
pub const SPEED_FACTOR: Bounds = bounds(0.01, 100.0, "");
pub const VISCOSITY_OFFSET: Bounds = bounds(-30.0, 30.0, "");
pub const STRENGTH_K: Bounds = bounds(0.0, 1e4, " K");
pub const VOGEL_K: Bounds = bounds(0.0, 200.0, " K");
pub const AGITATION: Bounds = bounds(1.0, 1000.0, "");
pub const LENGTH_M: Bounds = bounds(1e-8, 1e-3, " m");
pub const SHARE: Bounds = bounds(0.0, 1.0, "");
/// What divides: a barrier takes some of the voltage and is open somewhere.
pub const PART: Bounds = bounds(1e-4, 1.0, "");
pub const CELLS: Count = count(2, 200);
pub const POPULATIONS: Count = count(1, 12);
pub const RADIUS_M: Bounds = bounds(1e-9, 1e-5, " m");
pub const CHARGES: Bounds = bounds(0.1, 1e4, "");
pub const BARRIER_V: Bounds = bounds(0.0, 100.0, " V");
pub const DENSITY: Bounds = bounds(0.01, 10.0, "");
pub const DARK_V: Bounds = bounds(0.0, 200.0, " V");
pub const REST_S: Bounds = bounds(0.0, 1e5, " s");
pub const STEP_S: Bounds = bounds(1e-6, 1e-2, " s");
/// Shares that must sum to 1 may miss it by rounding.
const SUM_ROUNDING: f64 = 1e-6;

impl TestPanel {
    /// The panel that ships with the program.
    pub fn shipped() -> Result<Self> {
        finish(InputFile::of_text(
            Path::new(SHIPPED_NAME),
            SHIPPED.to_owned(),
        ))
    }

    /// Reads and checks the file of a test panel. Errs with every wrong place of the file.
    pub fn read(path: &Path) -> Result<Self> {
        finish(InputFile::read(
            path,
            "read the test panel",
            PANEL_BYTES_MAX,
        )?)
    }
}

fn finish(file: InputFile) -> Result<TestPanel> {
    let panel = keys::parse(&file).and_then(|table| panel(Keys::root(&file, &table)));
    file.finish(panel)
}

fn panel(mut keys: Keys) -> Option<TestPanel> {
    let name = keys.name("name");
    let threshold_shift_v = keys.number("threshold_shift_v", THRESHOLD_SHIFT_V);
    let speed_factor = keys.number("speed_factor", SPEED_FACTOR);
    let step_s = keys.number("step_s", STEP_S);
    let liquid = keys.table("liquid").and_then(liquid);
    let gap = keys.table("gap").and_then(gap);
    let populations = keys.tables("population", POPULATIONS).and_then(|tables| {
        tables
            .into_iter()
            .map(population)
            .collect::<Option<Vec<_>>>()
    });
    let optics = keys.table("optics").and_then(optics);
    let history = keys.table("history").and_then(history);
    if let Some(populations) = &populations {
        let sum = populations.iter().map(|p| p.share).sum();
        check_sum(&keys, "population", "shares", sum);
    }
    keys.done();
    Some(TestPanel {
        name: name?,
        threshold_shift_v: threshold_shift_v?,
        speed_factor: speed_factor?,
        liquid: liquid?,
        gap: gap?,
        populations: populations?,
        optics: optics?,
        history: history?,
        step_s: step_s?,
    })
}

fn check_sum(keys: &Keys, key: &str, what: &str, sum: f64) {
    if (sum - 1.0).abs() > SUM_ROUNDING {
        keys.wrong(key, format!("{what} that sum to 1, found {sum:.4}"));
    }
}

fn liquid(mut keys: Keys) -> Option<Liquid> {
    let offset = keys.number("viscosity_offset", VISCOSITY_OFFSET);
    let strength_k = keys.number("viscosity_strength_k", STRENGTH_K);
    let vogel_k = keys.number("viscosity_vogel_k", VOGEL_K);
    let agitation = keys.number("agitation", AGITATION);
    keys.done();
    Some(Liquid {
        viscosity: Viscosity {
            offset: offset?,
            strength_k: strength_k?,
            vogel_k: vogel_k?,
        },
        agitation: agitation?,
    })
}

fn gap(mut keys: Keys) -> Option<Gap> {
    let well = keys.table("well").and_then(|k| region(k, SHARE));
    let barrier = keys.table("barrier").and_then(|k| region(k, PART));
    let window = keys.table("window").and_then(|k| region(k, SHARE));
    let open_share = keys.number("open_share", PART);
    let gap = Gap {
        well: well?,
        barrier: barrier?,
        window: window?,
        open_share: open_share?,
    };
    let sum = gap.well.field_share + gap.barrier.field_share + gap.window.field_share;
    check_sum(
        &keys,
        "well",
        "field_share of well, barrier and window",
        sum,
    );
    if gap.barrier.cells.is_multiple_of(2) {
        keys.wrong("barrier", "an odd number of cells, one of them at the top");
    }
    keys.done();
    Some(gap)
}

fn region(mut keys: Keys, share: Bounds) -> Option<Region> {
    let length_m = keys.number("length_m", LENGTH_M);
    let field_share = keys.number("field_share", share);
    let cells = keys.count("cells", CELLS);
    keys.done();
    Some(Region {
        length_m: length_m?,
        field_share: field_share?,
        cells: cells? as usize,
    })
}

fn population(mut keys: Keys) -> Option<Population> {
    let share = keys.number("share", SHARE);
    let radius_m = keys.number("radius_m", RADIUS_M);
    let charges = keys.number("charges", CHARGES);
    let barrier_v = keys.number("barrier_v", BARRIER_V);
    keys.done();
    Some(Population {
        share: share?,
        radius_m: radius_m?,
        charges: charges?,
        barrier_v: barrier_v?,
    })
}

fn optics(mut keys: Keys) -> Option<Optics> {
    let white_reflectance = keys.number("white_reflectance", REFLECTANCE);
    let covered_share = keys.number("covered_share", SHARE);
    let covered_reflectance = keys.number("covered_reflectance", REFLECTANCE);
    let density = keys.number("density", DENSITY);
    keys.done();
    Some(Optics {
        white_reflectance: white_reflectance?,
        covered_share: covered_share?,
        covered_reflectance: covered_reflectance?,
        density: density?,
    })
}

fn history(mut keys: Keys) -> Option<History> {
    let dark_v = keys.number("dark_v", DARK_V);
    let dark_rest_s = keys.number("dark_rest_s", REST_S);
    let reading_s = keys.number("reading_s", REST_S);
    let between_s = keys.number("between_s", REST_S);
    keys.done();
    Some(History {
        dark_v: dark_v?,
        dark_rest_s: dark_rest_s?,
        reading_s: reading_s?,
        between_s: between_s?,
    })
}

//! What tables by zones of rows win: the worked project's panel and others like it, designed with one table for all rows and
//! with up to four. `cargo bench --bench row_zones`; a word behind `--` picks the panels whose name holds it.

use greyloom::Result;
use greyloom::design::pins::Pins;
use greyloom::design::{Design, LadderShare, Request, design};
use greyloom::project::{Panel, Project};
use greyloom::response::fit::{Fit, fit};
use std::path::Path;
use std::time::Instant;

const PROJECT: &str = concat!(env!("CARGO_MANIFEST_DIR"), "/calibration/harbour-tile");
const TEMPERATURE_C: f64 = 23.0;

/// What is changed of the worked panel and of what is asked of it.
struct Variation {
    name: &'static str,
    change: fn(&mut Panel, &mut Request),
}

const VARIATIONS: [Variation; 8] = [
    Variation {
        name: "as it ships",
        change: |_, _| (),
    },
    Variation {
        name: "no priming",
        change: |panel, _| unprimed(panel),
    },
    Variation {
        name: "no priming, no guard ticks",
        change: |panel, _| {
            unprimed(panel);
            panel.drivers.guard_ticks_max = 0;
        },
    },
    Variation {
        name: "no priming, one field, 16 levels in 8 s",
        change: |panel, request| {
            unprimed(panel);
            panel.drivers.fields_max = 1;
            (request.levels, request.budget_s) = (16, 8.0);
        },
    },
    Variation {
        name: "no priming, one field, 8 levels in 6 s",
        change: |panel, request| {
            unprimed(panel);
            panel.drivers.fields_max = 1;
            (request.levels, request.budget_s) = (8, 6.0);
        },
    },
    Variation {
        name: "primed, one field, 16 levels in 8 s",
        change: |panel, request| {
            panel.drivers.fields_max = 1;
            (request.levels, request.budget_s) = (16, 8.0);
        },
    },
    Variation {
        name: "no priming, one field, 8 levels in 6 s, tolerance 0.45",
        change: |panel, request| {
            unprimed(panel);
            panel.drivers.fields_max = 1;
            (request.levels, request.budget_s) = (8, 6.0);
            request.tolerance_steps = 0.45;
        },
    },
    Variation {
        name: "240 rows, no priming, 16 levels in 20 s",
        change: |panel, request| {
            unprimed(panel);
            panel.rows = 240;
            panel.limits.refresh_s = 20.0;
            (request.levels, request.budget_s) = (16, 20.0);
        },
    },
];

fn unprimed(panel: &mut Panel) {
    panel.erases.retain(|e| e.name == "plain");
}

fn main() -> Result<()> {
    let word = std::env::args().skip(1).find(|a| !a.starts_with('-'));
    let project = Project::read(Path::new(PROJECT))?;
    let fit = fit(&project, &|_| ())?;
    for v in VARIATIONS {
        if word.as_ref().is_some_and(|w| !v.name.contains(w)) {
            continue;
        }
        println!("{}", v.name);
        for zones_max in [1, 4] {
            let mut varied = project.clone();
            let mut request = Request {
                levels: 32,
                budget_s: 12.0,
                tolerance_steps: 0.25,
                share: LadderShare::Common,
                temperature_c: Some(TEMPERATURE_C),
                pins: Pins::default(),
                contrast: None,
            };
            (v.change)(&mut varied.panel, &mut request);
            varied.panel.drivers.zones_max = zones_max;
            tell(zones_max, &varied, &fit, &request);
        }
    }
    Ok(())
}

fn tell(zones_max: u32, project: &Project, fit: &Fit, request: &Request) {
    let begun = Instant::now();
    let made = design(project, fit, request, &|_| ());
    let seconds = begun.elapsed().as_secs_f64();
    match made {
        Err(e) => println!(
            "  up to {zones_max}: {seconds:.0} s, {}",
            e.to_string().lines().next().unwrap_or("")
        ),
        Ok(design) => println!("  up to {zones_max}: {seconds:.0} s, {}", words(&design)),
    }
}

fn words(design: &Design) -> String {
    let (set, made) = (&design.set.bands[0], &design.bands[0]);
    let won = made.zones.as_ref().map_or(String::new(), |z| {
        format!(
            "; zones {:?}, one table on this ladder: merit {:.3}, shading {:.3}",
            z.rows, z.alike_error_steps, z.alike_shading_steps
        )
    });
    format!(
        "span {:.2} L*, merit {:.3}, shading {:.3}, uneven {:.3} step{won}; {} erase, {}",
        made.span_lstar,
        set.figures.worst_error_steps,
        made.shading_steps,
        made.uneven_steps,
        set.erase.name,
        set.fields
            .iter()
            .map(|f| f.in_words())
            .collect::<Vec<_>>()
            .join("; "),
    )
}

//! What would do where a request can't be met: against every value of the dimension that is relaxed, on twelve rows.

mod twelve_rows;

use greyloom::design::pins::Pins;
use greyloom::design::{Design, LadderShare, Request, design};
use greyloom::error::{Error, Unmet};
use greyloom::project::{Project, Rail};
use std::sync::LazyLock;
use twelve_rows::known;

/// More levels than the rows show in the time.
const LEVELS: usize = 24;
const BUDGET_S: f64 = 2.6;
/// To what changes are sought: s, steps, °C, V.
const BUDGET_STEP_S: f64 = 0.1;
const TOLERANCE_STEP: f64 = 0.01;
const SELECT_STEP_V: f64 = 1.0;
const CONTRAST_STEP: f64 = 0.1;

/// Few voltages, so that a search of everything sees nearly everything.
fn project() -> Project {
    let mut project = twelve_rows::project();
    let drivers = &mut project.panel.drivers;
    (drivers.select_v.min, drivers.select_v.max) = (7.0, 9.0);
    (drivers.data_v.min, drivers.data_v.max) = (2.5, 3.0);
    drivers.guard_ticks_max = 2;
    project
}

fn asked() -> Request {
    Request {
        levels: LEVELS,
        budget_s: BUDGET_S,
        tolerance_steps: 0.25,
        share: LadderShare::Common,
        temperature_c: Some(23.0),
        pins: Pins::NONE,
        contrast: None,
    }
}

fn designed(project: &Project, request: &Request) -> Result<Design, Error> {
    design(project, &known(), request, &|_| ())
}

fn met(request: Request) -> bool {
    designed(&project(), &request).is_ok()
}

fn unmet(project: &Project, request: &Request) -> Unmet {
    match designed(project, request) {
        Err(Error::Unmet(unmet)) => unmet,
        Err(other) => panic!("{other}"),
        Ok(design) => panic!("met: {:?}", design.bands),
    }
}

static UNMET: LazyLock<Unmet> = LazyLock::new(|| unmet(&project(), &asked()));

/// The number between two pieces of a proposal.
fn told(unmet: &Unmet, before: &str, after: &str) -> Option<f64> {
    let number = |w: &String| {
        let (_, rest) = w.split_once(before)?;
        rest.split_once(after)?.0.parse().ok()
    };
    unmet.would_do.iter().find_map(number)
}

/// Levels, tolerance and seconds are looked for by short searches, so a whole search may do with a smaller change; never with none.
#[test]
fn what_is_told_does_when_asked_for_itself() {
    let levels = told(&UNMET, "", " levels over").expect("levels") as usize;
    assert!((2..LEVELS).contains(&levels) && met(Request { levels, ..asked() }));
    let tolerance_steps = told(&UNMET, "a tolerance of ", " step, over").expect("a tolerance");
    let hundredths = tolerance_steps / TOLERANCE_STEP;
    assert!(tolerance_steps > 0.25 && (hundredths - hundredths.round()).abs() < 1e-6);
    assert!(met(Request {
        tolerance_steps,
        ..asked()
    }));
    let budget_s = told(&UNMET, "a budget of ", " s").expect("a time");
    let steps = (budget_s - BUDGET_S) / BUDGET_STEP_S;
    assert!(steps > 0.5 && (steps - steps.round()).abs() < 1e-6);
    assert!(met(Request {
        budget_s,
        ..asked()
    }));
}

/// A select rail that ends too low, planted.
#[test]
fn the_least_rail_is_that_of_every_step() {
    let with = |max: f64| {
        let mut project = project();
        project.panel.drivers.select_v = Rail {
            min: 3.0,
            max,
            step: Some(SELECT_STEP_V),
        };
        project
    };
    let request = Request {
        levels: 8,
        contrast: Some(3.0),
        ..asked()
    };
    let does = |max: f64| designed(&with(max), &request).is_ok();
    let least = [4.0, 5.0, 6.0, 7.0, 8.0, 9.0]
        .into_iter()
        .find(|&max| does(max));
    let least = least
        .filter(|&max| max > 4.0)
        .expect("planted too high or too low");
    let short = unmet(&with(least - SELECT_STEP_V), &request);
    let found = told(&short, "drivers.select_v.max of ", " V");
    assert_eq!(found, Some(least), "{short}");
}

#[test]
fn contrast_is_kept_or_the_most_of_it_told() {
    let request = Request {
        levels: 8,
        ..asked()
    };
    let free = designed(&project(), &request).expect("a design");
    let reached = free.bands[0].contrast;
    let with = |contrast: f64| Request {
        contrast: Some(contrast),
        ..request.clone()
    };
    let kept = designed(&project(), &with(reached - CONTRAST_STEP)).expect("a design");
    assert!(kept.bands[0].contrast >= reached - CONTRAST_STEP);

    // A tenth more may be had from a darker ladder; much more may not.
    let refused = unmet(&project(), &with(4.0 * reached));
    let found = told(&refused, "a contrast of ", " : 1").expect("a contrast");
    assert!(
        found >= reached - CONTRAST_STEP,
        "{found} {reached} {refused}"
    );
    let design = designed(&project(), &with(found)).expect("what is told to do");
    assert!(design.bands[0].contrast >= found);
    assert!(!met(with(found + 2.0 * CONTRAST_STEP)), "{found}");
    assert!(refused.binding.contains(" : 1"), "{refused}");
}

//! The part of `greyloom preview` that drives whole pictures.

use super::finished::FinishedSet;
use super::preview::Arguments;
use super::talk::Talk;
use super::{arguments, on_threads, say};
use crate::draw::{Shown, picture_png};
use crate::drive::{Field, balanced_impulse_vs};
use crate::error::{Error, Result};
use crate::output;
use crate::panel::{
    BandOnPanel, Before, Levels, SetOnPanel, column_impulse_vs, largest_vs, picture_impulse_vs,
    resting_balance, worst_pull_picture,
};
use crate::picture::{
    Dither, Fitting, LevelPicture, Pattern, read_picture, scaled, to_levels, wanted_lstar,
};
use crate::report::passages;
use std::path::{Path, PathBuf};

/// Width that a panel's picture is magnified to, at least.
const WIDTH: usize = 360;

#[derive(Debug, Clone, Copy, PartialEq, Eq, clap::ValueEnum)]
pub(super) enum PatternName {
    /// All levels side by side
    Ramp,
    /// Bars, ever narrower
    Bars,
    /// Checkers of four sizes
    Checker,
    /// A dark and a light window on mid-grey
    Window,
    /// Lines of a departures board
    Text,
    /// The picture that pulls one level farthest apart
    Pull,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq, clap::ValueEnum)]
pub(super) enum DitherName {
    /// The nearest level
    None,
    /// Errors passed on to neighbours
    Diffused,
    /// Thresholds of a matrix
    Ordered,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq, clap::ValueEnum)]
pub(super) enum FittingName {
    /// Fill the panel, cut what hangs over
    Cover,
    /// Show all, on white
    Contain,
    /// Fill the panel, change proportions
    Stretch,
}

/// Draws a picture or a pattern as the panel will show it.
pub(super) fn run(arguments: &Arguments) -> Result<()> {
    let finished = FinishedSet::read(&arguments.waveforms, arguments.project.as_deref())?;
    on_threads(arguments.threads, || draw(arguments, &finished))
}

fn draw(arguments: &Arguments, finished: &FinishedSet) -> Result<()> {
    let talk = Talk::new();
    let out = out(arguments);
    output::check_file(&out, arguments.force)?;
    let magnify = magnify(arguments, finished.panel.columns)?;
    talk.step("proving every level, row and content");
    let standing = finished.standing()?;
    let (band, temperature_c) = band_at(&standing, arguments.temperature)?;
    let picture = meant(arguments, &standing, band, temperature_c)?;
    let old = match &arguments.from {
        Some(file) => Some(converted(arguments, file, &standing, band)?.levels),
        None => None,
    };
    talk.step("driving the picture");
    let run = standing.picture_run(band, temperature_c);
    let before = old
        .as_ref()
        .map_or(Before::Dark, |p| Before::Picture(levels(p)));
    let mut shown = run.lstar(levels(&picture.levels), before);
    let mut errors = Vec::with_capacity(shown.len());
    for (lstar, &level) in shown.iter_mut().zip(&picture.levels.levels) {
        *lstar += band.added_lstar[usize::from(level)];
        errors.push(*lstar - band.targets_lstar[usize::from(level)]);
    }
    let step = band.step_lstar();
    let largest = errors.iter().fold(0.0f64, |most, e| most.max(e.abs()));
    let rms = (errors.iter().map(|e| e * e).sum::<f64>() / errors.len() as f64).sqrt();
    let told = format!(
        "{} × {} pixels at {temperature_c} °C, {}; shown less target: rms {rms:.3} L*, largest {largest:.3} L* ({:.3} step)",
        picture.levels.rows,
        picture.levels.columns,
        band.scheme.in_words(),
        largest / step
    );
    let title = format!("{}: {}", finished.set.panel.name, picture.name);
    let caption =
        format!("{told}. Greys as sRGB of the predicted reflectance, the perfect diffuser white.");
    let drive = drive_of(&standing, band, &picture.levels, temperature_c);
    let drawn = Shown {
        columns: picture.levels.columns,
        wanted_lstar: &picture.wanted_lstar,
        shown_lstar: &shown,
        error_lstar: &errors,
        full_lstar: (arguments.tolerance * step).max(largest),
    };
    let png = picture_png(&drawn, magnify, &title, &caption)?;
    output::write_file(&out, png, arguments.force)?;
    drop(talk);
    let mut rows = vec![("shown", told)];
    rows.extend(drive);
    rows.extend(picture.note.map(|note| ("pull", note)));
    rows.push(("written", out.display().to_string()));
    say(&format!("{title}\n{}", passages(&rows)))
}

/// What the picture asks of the drive: charge in three ways, and energy.
fn drive_of(
    standing: &SetOnPanel,
    band: &BandOnPanel,
    picture: &LevelPicture,
    temperature_c: f64,
) -> [(&'static str, String); 2] {
    let played = standing.played(band, temperature_c);
    let impulse = |fields: &[Field]| {
        let columns = picture_impulse_vs(played.erase, fields, played.ticks, levels(picture));
        played.stretch * largest_vs(&columns)
    };
    let mirrored: Vec<Field> = played
        .fields
        .iter()
        .map(|f| Field {
            mirrored: true,
            ..*f
        })
        .collect();
    let longer_s = played.stretch
        * (mirrored.iter().zip(played.fields))
            .map(|(m, f)| m.seconds(picture.rows) - f.seconds(picture.rows))
            .sum::<f64>();
    let parts = column_impulse_vs(played.fields, played.ticks, levels(picture));
    let balance = resting_balance(&parts, standing.balance_v(band));
    let rest_s = played.stretch * balance.iter().map(|b| b.seconds).fold(0.0, f64::max);
    let run = standing.picture_run(band, temperature_c);
    let before = run.lstar(levels(picture), Before::Dark);
    let after = run.balanced_lstar(levels(picture), Before::Dark, &balance);
    let moved = before.iter().zip(&after).map(|(a, b)| (a - b).abs());
    let shown: Vec<usize> = picture.levels.iter().map(|&l| usize::from(l)).collect();
    let energy =
        standing
            .panel
            .load()
            .picture_energy(played.erase, played.fields, played.ticks, &shown);
    let charge = format!(
        "worst pixel: {:.2} V·s as driven; {:.2} V·s with mirrored fields, which last {longer_s:.2} s longer; {:.2} V·s after a resting \
         balance of up to {rest_s:.2} s, which moves a pixel by up to {:.3} L*",
        impulse(played.fields),
        impulse(&mirrored),
        played.stretch * balanced_impulse_vs(played.erase, played.fields),
        moved.fold(0.0, f64::max)
    );
    let energy = format!(
        "{:.4} mJ, by the lines alone",
        energy.map_or(f64::NAN, |e| e.total_mj())
    );
    [("net impulse", charge), ("energy", energy)]
}

/// A picture in levels, and what it was before.
struct Meant {
    name: String,
    levels: LevelPicture,
    wanted_lstar: Vec<f64>,
    note: Option<String>,
}

fn meant(
    arguments: &Arguments,
    standing: &SetOnPanel,
    band: &BandOnPanel,
    temperature_c: f64,
) -> Result<Meant> {
    if let Some(file) = &arguments.picture {
        return converted(arguments, file, standing, band);
    }
    let (rows, columns) = (standing.panel.rows, standing.panel.columns);
    let drawn = |pattern: Pattern| (pattern.drawn(rows, columns, standing.set.levels), None);
    let name = arguments.pattern.unwrap_or(PatternName::Ramp);
    let (levels, note) = match name {
        PatternName::Ramp => drawn(Pattern::Ramp),
        PatternName::Bars => drawn(Pattern::Bars),
        PatternName::Checker => drawn(Pattern::Checker),
        PatternName::Window => drawn(Pattern::Window),
        PatternName::Text => drawn(Pattern::Text),
        PatternName::Pull => {
            let pull = worst_pull_picture(standing, band, temperature_c);
            let note = format!(
                "level {} in row {} shows {:.3} L* on the left and {:.3} L* on the right: {:.3} L* apart; no picture makes it more than {:.3} L*",
                pull.level,
                pull.row,
                pull.lightest_lstar,
                pull.darkest_lstar,
                pull.lightest_lstar - pull.darkest_lstar,
                pull.bound_lstar
            );
            let levels = LevelPicture {
                rows,
                columns,
                levels: pull.levels,
            };
            (levels, Some(note))
        }
    };
    let targets = levels
        .levels
        .iter()
        .map(|&l| band.targets_lstar[usize::from(l)]);
    let value = clap::ValueEnum::to_possible_value(&name);
    let named = value.map_or(String::new(), |v| v.get_name().to_owned());
    Ok(Meant {
        wanted_lstar: targets.collect(),
        name: format!("pattern {named}"),
        levels,
        note,
    })
}

fn converted(
    arguments: &Arguments,
    file: &Path,
    standing: &SetOnPanel,
    band: &BandOnPanel,
) -> Result<Meant> {
    let fitting = match arguments.fit {
        FittingName::Cover => Fitting::Cover,
        FittingName::Contain => Fitting::Contain,
        FittingName::Stretch => Fitting::Stretch,
    };
    let dither = match arguments.dither {
        DitherName::None => Dither::None,
        DitherName::Diffused => Dither::Diffused,
        DitherName::Ordered => Dither::Ordered,
    };
    let (rows, columns) = (standing.panel.rows, standing.panel.columns);
    let picture = scaled(&read_picture(file)?, rows, columns, fitting);
    let name = file
        .file_name()
        .map_or(String::new(), |n| n.to_string_lossy().into_owned());
    Ok(Meant {
        name,
        wanted_lstar: wanted_lstar(&picture, band.targets_lstar),
        levels: to_levels(&picture, band.targets_lstar, dither),
        note: None,
    })
}

fn levels(picture: &LevelPicture) -> Levels<'_> {
    Levels {
        columns: picture.columns,
        levels: &picture.levels,
    }
}

/// The band that serves a temperature; without one, the middle band at its design temperature.
fn band_at<'a, 'b>(
    standing: &'b SetOnPanel<'a>,
    temperature_c: Option<f64>,
) -> Result<(&'b BandOnPanel<'a>, f64)> {
    let bands = &standing.bands;
    let Some(t) = temperature_c else {
        let band = &bands[bands.len() / 2];
        return Ok((band, band.climate.design_c));
    };
    let serving = super::preview::serving(standing.set, t)?;
    let band = bands.iter().find(|b| std::ptr::eq(b.band, serving));
    band.map(|b| (b, t))
        .ok_or_else(|| Error::Usage(format!("--temperature {t}: no band serves it")))
}

/// So many that the panel is easily seen, or as asked. Errs where the page would be too large to be of use.
fn magnify(arguments: &Arguments, columns: usize) -> Result<u32> {
    const WIDEST: usize = 16_000;
    let magnify = arguments
        .magnify
        .unwrap_or(WIDTH.div_ceil(columns).clamp(1, arguments::MAGNIFY_MAX));
    if 3 * magnify * columns > WIDEST && magnify > 1 {
        return Err(Error::Usage(format!(
            "--magnify {magnify}: three pictures of {columns} columns would be wider than {WIDEST} pixels; expected at most {}",
            (WIDEST / (3 * columns)).max(1)
        )));
    }
    Ok(magnify as u32)
}

fn out(arguments: &Arguments) -> PathBuf {
    arguments.out.clone().unwrap_or_else(|| {
        let stem = arguments.picture.as_ref().and_then(|p| p.file_stem());
        let pattern = arguments
            .pattern
            .and_then(|p| clap::ValueEnum::to_possible_value(&p));
        let name = match (stem, pattern) {
            (Some(stem), _) => stem.to_string_lossy().into_owned(),
            (None, Some(p)) => p.get_name().to_owned(),
            (None, None) => "picture".into(),
        };
        let t = arguments
            .temperature
            .map_or(String::new(), |t| format!("-{t}C"));
        arguments
            .waveforms
            .with_file_name(format!("shown-{name}{t}.png"))
    })
}

//! `greyloom chart --scan-frame`: what is printed for scanning a chart.

use super::chart::{Arguments, PLANNED, VERIFYING};
use super::tell;
use crate::draw::{page_strips_png, scan_frame_png, strips_on_a_sheet};
use crate::error::{Error, InputError, Result};
use crate::intake::frame::Frame;
use crate::intake::page_mark::PAGES_MAX;
use crate::output::OutputFolder;
use crate::project::{Chart, Panel, read_chart, read_chart_of};
use crate::report::ScanFrameReport;
use crate::waveforms::Waveforms;
use std::path::{Path, PathBuf};

pub(super) fn run(arguments: &Arguments, panel: &Panel) -> Result<()> {
    let (file, chart) = chart(arguments, panel)?;
    if chart.pages.len() > PAGES_MAX {
        return Err(Error::Input(InputError {
            file,
            line: None,
            field: Some("page".into()),
            value: Some(format!("{} pages", chart.pages.len())),
            expected: format!("at most {PAGES_MAX} pages, as many as a page mark can name"),
        }));
    }
    let name = file.file_name().and_then(|n| n.to_str()).unwrap_or(PLANNED);
    let stem = name.strip_suffix(".csv").unwrap_or(name);
    let sheets = chart.pages.len().div_ceil(strips_on_a_sheet());
    let frame = format!("{stem}-scan-frame.png");
    let places = format!("{stem}-scan-frame.csv");
    let strips: Vec<String> = (1..=sheets)
        .map(|k| format!("{stem}-page-strips-{k:02}.png"))
        .collect();
    let mut names = vec![frame.clone(), places.clone()];
    names.extend(strips.clone());
    let dir = file.parent().unwrap_or(Path::new(""));
    let mut folder = OutputFolder::open(dir, arguments.how.force, &names)?;
    folder.stage(&frame, scan_frame_png(panel, &dir.join(&frame))?)?;
    folder.stage(&places, Frame::of(panel).csv())?;
    let drawn = page_strips_png(&chart, &dir.join("page-strips"))?;
    for (name, png) in strips.iter().zip(drawn) {
        folder.stage(name, png)?;
    }
    let report = ScanFrameReport::of(panel, &chart, &folder.commit()?);
    tell(arguments.how.json, || report.to_json(), &report)
}

/// The chart that is there.
fn chart(arguments: &Arguments, panel: &Panel) -> Result<(PathBuf, Chart)> {
    let named = |usual: &str| {
        let own = || arguments.project.join(usual);
        arguments.out.clone().unwrap_or_else(own)
    };
    match &arguments.waveforms {
        Some(set) => {
            let file = named(VERIFYING);
            let chart = read_chart_of(&file, panel, &Waveforms::read(set)?)?;
            Ok((file, chart))
        }
        None => {
            let file = named(PLANNED);
            let chart = read_chart(&file, panel)?;
            Ok((file, chart))
        }
    }
}

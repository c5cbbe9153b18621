//! `greyloom chart --scan-frame`: what is printed for scanning a chart.

use super::chart::{Arguments, PLANNED, VERIFYING};
use super::{chart_of, tell};
use crate::draw::{page_strips_png, scan_frame_png, strips_on_a_sheet};
use crate::error::{Error, InputError, Result};
use crate::intake::frame::Frame;
use crate::intake::page_mark::PAGES_MAX;
use crate::output::OutputFolder;
use crate::project::{Chart, Panel};
use crate::report::ScanFrameReport;
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
    let verified = arguments.waveforms.as_deref();
    let usual = verified.map_or(PLANNED, |_| VERIFYING);
    let own = || arguments.project.join(usual);
    let file = arguments.out.clone().unwrap_or_else(own);
    let chart = chart_of(&file, panel, verified)?;
    Ok((file, chart))
}

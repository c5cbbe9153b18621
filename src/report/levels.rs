//! Every level of a finished set as a table: what it aims at, what is predicted, and how well that is known.

use crate::design::Design;

/// One line for each level of each band, darkest first; `step_*` is the step from this level to the next lighter one,
/// empty for the lightest. Standard uncertainties end in `u`, expanded ones (k = 2) in `expanded_u`. Ticks one a field; where rows
/// have theirs by zones, those of each zone in turn behind a bar.
pub fn levels_csv(design: &Design) -> String {
    let mut text = String::from(
        "band,level,target_lstar,predicted_lstar,low_lstar,high_lstar,u_lstar,expanded_u_lstar,step_lstar,step_u_lstar,\
         step_expanded_u_lstar,ticks\n",
    );
    for (i, (band, made)) in design.set.bands.iter().zip(&design.bands).enumerate() {
        let predicted = &band.predicted;
        let lists = [
            band.targets(&design.set),
            &predicted.lstar,
            &predicted.low_lstar,
            &predicted.high_lstar,
            &made.known.standard_u_lstar,
            &made.known.expanded_u_lstar,
        ];
        for level in 0..design.set.levels {
            let mut cells = vec![(i + 1).to_string(), level.to_string()];
            cells.extend(lists.iter().map(|list| cell(list.get(level).copied())));
            let pair = predicted.lstar.get(level..level + 2);
            cells.push(cell(pair.map(|p| p[1] - p[0])));
            let known = &made.known;
            let steps = [&known.step_standard_u_lstar, &known.step_expanded_u_lstar];
            cells.extend(steps.iter().map(|list| cell(list.get(level).copied())));
            let tables = band.row_ticks().tables();
            let ticks = tables.filter_map(|table| table.get(level)).map(|t| {
                let ticks: Vec<String> = t.iter().map(u32::to_string).collect();
                ticks.join(" ")
            });
            cells.push(ticks.collect::<Vec<_>>().join(" | "));
            text += &(cells.join(",") + "\n");
        }
    }
    text
}

fn cell(value: Option<f64>) -> String {
    value.map_or(String::new(), |x| format!("{x:.4}"))
}

//! What a map comes to: every design as a table, the knees as sentences, and JSON.

use super::lines::{Side, passage, table};
use super::to_json;
use super::words::{listed, number};
use crate::design::sweep::{
    Knees, LITTLE_LSTAR_PER_S, LevelsNeed, MostAt, NEEDLESS_LSTAR, Point, Sweep, VoltageCost,
    WidestAt,
};
use serde::Serialize;
use std::fmt;

/// Everything that `greyloom sweep` tells.
#[derive(Debug, Clone, Serialize)]
pub struct SweepReport<'a> {
    pub panel: &'a str,
    pub model: String,
    pub tolerance_steps: f64,
    /// Lowest and highest temperature that every design serves.
    pub temperature_c: (f64, f64),
    /// Of panel.toml; `fit` designs for no longer time.
    pub limit_s: f64,
    /// Least step that counts as honest.
    pub rule: &'static str,
    pub knees: &'a Knees,
    pub points: &'a [Point],
    /// Refresh times asked for that leave no time for any field, s.
    pub too_short_s: &'a [f64],
    /// Where each file stands, in the order of their names.
    pub files: Vec<String>,
}

/// The rule by which levels count.
pub const RULE: &str = "a step counts as honest where it is at least 2 × the worst error of any level, over all contents, rows and \
     temperatures, plus the expanded uncertainty (k = 2) of the predicted step, and at least what one reading of each of two levels tells \
     apart (k·√2·repeatability): so neighbours keep their order in every picture even where the panel is off by what isn't known of it";

impl<'a> SweepReport<'a> {
    pub fn of(sweep: &'a Sweep, panel: &'a str, model: String, limit_s: f64) -> Self {
        SweepReport {
            panel,
            model,
            tolerance_steps: 0.0,
            temperature_c: (0.0, 0.0),
            limit_s,
            rule: RULE,
            knees: &sweep.knees,
            points: &sweep.points,
            too_short_s: &sweep.too_short_s,
            files: Vec::new(),
        }
    }

    /// One JSON document, two spaces deep, newline at the end.
    pub fn to_json(&self) -> String {
        to_json(self)
    }

    /// The knees, one sentence each, for a line of a list.
    pub fn sentences(&self) -> Vec<(&'static str, String)> {
        let mut all = Vec::new();
        all.extend(
            need_words(&self.knees.need)
                .into_iter()
                .map(|w| ("levels", w)),
        );
        all.extend(time_words(&self.knees.widest).map(|w| ("time", w)));
        all.extend(self.erase_words().map(|w| ("erase", w)));
        all.extend(
            self.knees
                .voltage
                .iter()
                .map(|v| ("voltage", voltage_words(v))),
        );
        all
    }

    fn erase_words(&self) -> Option<String> {
        let shown = self.points.iter().filter(|p| !p.carried);
        let at = self.knees.erase_is_most_s;
        let Some(t) = at else {
            let share = |p: &&Point| p.erase_s / p.refresh_s;
            let most = shown.max_by(|a, b| share(a).total_cmp(&share(b)))?;
            return Some(format!(
                "erase and rest take {:.0} % of the refresh at most, in {} s",
                100.0 * share(&most),
                number(most.budget_s, 2)
            ));
        };
        Some(format!(
            "in {} s and less, erase and rest take more than half of the refresh",
            number(t, 2)
        ))
    }
}

impl fmt::Display for SweepReport<'_> {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let (low, high) = self.temperature_c;
        let over = if low == high {
            format!("at {} °C alone", number(low, 2))
        } else {
            format!("over {} to {} °C", number(low, 2), number(high, 2))
        };
        writeln!(
            f,
            "Panel {}: levels against refresh time, merit at most {} step, {over}\n",
            self.panel,
            number(self.tolerance_steps, 4)
        )?;
        writeln!(f, "Most levels that count, by time")?;
        f.write_str(&most_table(&self.knees.most))?;
        f.write_str(&passage("rule", self.rule))?;
        f.write_str("\nKnees\n")?;
        let mut last = "";
        for (label, sentence) in self.sentences() {
            let label_once = if label == last { "" } else { label };
            f.write_str(&passage(label_once, &sentence))?;
            last = label;
        }
        f.write_str("\n")?;
        f.write_str(&passage("points", &self.promise()))?;
        if !self.too_short_s.is_empty() {
            let times: Vec<String> = self.too_short_s.iter().map(|t| number(*t, 3)).collect();
            let text = format!(
                "{} s hold no field: the erase alone takes as long",
                listed(&times)
            );
            f.write_str(&passage("left out", &text))?;
        }
        f.write_str(&passage("written", &self.files.join(" ")))
    }
}

impl SweepReport<'_> {
    fn promise(&self) -> String {
        let own = self.points.iter().filter(|p| !p.carried).count();
        let best = self.points.iter().filter(|p| p.pareto).count();
        let beyond = self.points.iter().any(|p| p.budget_s > self.limit_s);
        let limit = if beyond {
            format!(
                "; `fit` takes more than {} s only where limits.refresh_s of panel.toml allows it",
                number(self.limit_s, 2)
            )
        } else {
            String::new()
        };
        format!(
            "{own} designs, each found and proved over all contents, rows and temperatures; {best} of them that no other betters in \
             levels, time, span and line voltage at once. Searches begin with neighbouring designs, so `fit` may find a wider one; \
             where none was found, one may still exist{limit}"
        )
    }
}

fn most_table(most: &[MostAt]) -> String {
    use Side::Right;
    let head = [
        "refresh, s",
        "levels",
        "span, L*",
        "contrast",
        "step, L*",
        "least step, L*",
    ];
    let mut rows = vec![head.map(str::to_owned).to_vec()];
    let cell =
        |x: Option<f64>, decimals: usize| x.map_or("–".to_owned(), |x| format!("{x:.decimals$}"));
    rows.extend(most.iter().map(|m| {
        vec![
            number(m.budget_s, 3),
            m.levels.map_or("none".to_owned(), |l| l.to_string()),
            cell(m.span_lstar, 1),
            m.contrast.map_or("–".to_owned(), |c| format!("{c:.1} : 1")),
            cell(m.step_lstar, 2),
            cell(m.least_step_lstar, 2),
        ]
    }));
    table(&[Right; 6], &rows, 2)
}

fn need_words(need: &[LevelsNeed]) -> Vec<String> {
    let words = |n: &LevelsNeed| {
        let none = n.none_in_s.map_or(String::new(), |t| {
            format!("; none was found in {} s", number(t, 3))
        });
        format!(
            "{} levels need {:.1} s, over {:.1} L* ({:.1} : 1){none}",
            n.levels, n.refresh_s, n.span_lstar, n.contrast
        )
    };
    need.iter().map(words).collect()
}

/// What the seconds buy: from when on little, or that they don't stop.
fn time_words(widest: &[WidestAt]) -> Option<String> {
    let first = widest.first()?;
    let gain = |w: &WidestAt| w.gain_lstar_per_s.unwrap_or(f64::INFINITY);
    let knee = widest
        .iter()
        .position(|w| gain(w) < LITTLE_LSTAR_PER_S)
        .filter(|&i| widest[i..].iter().all(|w| gain(w) < LITTLE_LSTAR_PER_S));
    let levels = first.levels;
    let at = |w: &WidestAt| format!("{:.1} L* in {} s", w.span_lstar, number(w.budget_s, 3));
    let last = widest.last()?;
    Some(match knee {
        Some(i) => {
            let from = &widest[i.saturating_sub(1)];
            format!(
                "with {levels} levels, from {} s on ({:.1} L*) a second more buys less than {LITTLE_LSTAR_PER_S} L*",
                number(from.budget_s, 3),
                from.span_lstar
            )
        }
        None if widest.len() < 2 => format!("{levels} levels span {}", at(first)),
        None => format!(
            "with {levels} levels the span grows from {} to {}, at the end by {:.1} L* a second: no time tried is too long",
            at(first),
            at(last),
            gain(last)
        ),
    })
}

fn voltage_words(v: &VoltageCost) -> String {
    let rail = v.rail;
    let start = format!(
        "in {} s with {} levels the {rail} voltage reaches {} V",
        number(v.budget_s, 3),
        v.levels,
        number(v.free_v, 3)
    );
    let enough = if v.enough_v < v.free_v {
        format!(
            "; more than {} V buys less than {NEEDLESS_LSTAR} L*",
            number(v.enough_v, 3)
        )
    } else {
        String::new()
    };
    let dearer = v.caps.iter().filter(|c| c.cap_v < v.enough_v);
    let costs: Vec<String> = dearer
        .map(|c| {
            let lost = v.free_lstar - c.span_lstar;
            format!("{} V {:.1} L*", number(c.cap_v, 3), lost)
        })
        .collect();
    let cost = if costs.is_empty() {
        String::new()
    } else {
        format!(
            "; of {:.1} L* are lost with {}",
            v.free_lstar,
            listed(&costs)
        )
    };
    let none = v.none_v.map_or(String::new(), |none_v| {
        format!("; with {} V no design was found", number(none_v, 3))
    });
    start + &enough + &cost + &none
}

/// One line for each point; `yes` and `no` for what holds, empty where there is no cap. Voltages are without sign; `line_v` is
/// select plus data, `erase_s` strokes and rest.
pub fn sweep_csv(points: &[Point]) -> String {
    let mut text = String::from(
        "levels,budget_s,select_cap_v,data_cap_v,refresh_s,erase_s,span_lstar,contrast,step_lstar,least_step_lstar,honest,\
         worst_error_steps,worst_error_lstar,step_expanded_u_lstar,select_v,data_v,line_v,bands,pareto,carried\n",
    );
    let yes = |x: bool| if x { "yes" } else { "no" }.to_owned();
    let cap = |x: Option<f64>| x.map_or(String::new(), |x| number(x, 4));
    let fine = |x: f64| format!("{x:.4}");
    for p in points {
        let cells = [
            p.levels.to_string(),
            number(p.budget_s, 4),
            cap(p.select_cap_v),
            cap(p.data_cap_v),
            fine(p.refresh_s),
            fine(p.erase_s),
            fine(p.span_lstar),
            fine(p.contrast),
            fine(p.step_lstar),
            fine(p.least_step_lstar),
            yes(p.honest),
            fine(p.worst_error_steps),
            fine(p.worst_error_lstar),
            fine(p.step_expanded_u_lstar),
            number(p.select_v, 4),
            number(p.data_v, 4),
            number(p.line_v, 4),
            p.bands.to_string(),
            yes(p.pareto),
            yes(p.carried),
        ];
        text += &(cells.join(",") + "\n");
    }
    text
}

//! How often each arm has which rank when trials are drawn again.

use super::{MOST_POINTS, at_point, shown, suffix};
use crate::analysis::ranks::RESAMPLES;
use crate::experiment::Plan;
use crate::measurement::Output;
use crate::record::tables::Cell;
use crate::report::chart::{Alternative, Grid, GridCell, grid};
use crate::report::evidence::{Chart, Entry, Files};
use crate::report::words::{count, number};
use crate::study::{Assessment, Ranked};

const FILE: &str = "ranks";

pub fn entries(plan: &Plan, assessment: &Assessment, files: &mut Files) -> Vec<Entry> {
    let ranked = &assessment.arms.ranks;
    let rows = ranked.iter().flat_map(|ranked| {
        (1_u64..).zip(&ranked.proportions).map(|(rank, proportion)| {
            let arm = [Cell::from(ranked.arm.arm.as_str()), ranked.arm.point.into()];
            arm.into_iter()
                .chain([ranked.output.id().into(), "rms".into(), rank.into(), (*proportion).into()])
                .collect()
        })
    });
    files.add_tidy(FILE, &["arm", "point", "output", "measure", "rank", "proportion"], rows.collect());
    let mut charts = Vec::new();
    for output in shown(plan) {
        for point in (0..MOST_POINTS).take(plan.points.len()) {
            let here: Vec<&Ranked> =
                ranked.iter().filter(|row| row.output == output && row.arm.point == point).collect();
            charts.extend(
                here.chunk_by(|one, other| one.group == other.group).map(|own| chart(plan, own, output, point)),
            );
        }
    }
    if charts.is_empty() {
        return Vec::new();
    }
    vec![
        Entry::heading("ranks", "Ranks of the arms"),
        Entry::paragraph(format!(
            "Arms ranked by their root mean square error, the smallest first; exploratory. Whole trials were drawn again {} times, \
             the same trials for every arm, and the arms ranked each time; the draws have a stream of their own. Arms that are equal \
             share their ranks.{}",
            count(RESAMPLES),
            if assessment.arms.apart.is_empty() {
                ""
            } else {
                " Only arms with the same estimand are ranked together."
            }
        )),
        Entry::Charts { charts },
    ]
}

/// Of one group of arms.
fn chart(plan: &Plan, own: &[&Ranked], output: Output, point: u32) -> Chart {
    let rows: Vec<String> = own.iter().map(|row| row.arm.arm.clone()).collect();
    let columns: Vec<String> = (1..=own.len()).map(|rank| rank.to_string()).collect();
    let cell = |proportion: &f64| {
        let words = format!("{}\u{a0}%", number(100.0 * proportion, 0));
        (*proportion > 0.0).then_some(GridCell { hue: 0, depth: *proportion, words, marked: false })
    };
    let cells: Vec<Vec<Option<GridCell>>> =
        own.iter().map(|row| row.proportions.iter().map(cell).collect()).collect();
    let title = format!("Ranks by rms error, {}", output.name());
    let description = format!("How often each of {} arms has which rank when trials are drawn again.", own.len());
    let data = Grid {
        columns_are: "rank by root mean square error",
        columns: &columns,
        rows: &rows,
        cells: &cells,
        notes: &[],
    };
    let at = own.first().map_or_else(String::new, |row| at_point(plan, row.arm));
    let group = own.first().map_or(0, |row| row.group);
    Chart {
        id: format!("ranks-{}{}", suffix(plan, output, point), if group > 0 { format!("-group-{}", group + 1) } else { String::new() }),
        caption: format!("Ranks by RMS error when trials are drawn again, {}{at}", output.name()),
        reading: "A row is an arm: how often it has which rank when whole trials are drawn again. A row spread over several cells: \
                  these trials do not settle the rank."
            .to_owned(),
        svg: grid(Alternative { title: &title, description: &description }, &data),
        wide: false,
        csv: FILE.to_owned(),
    }
}

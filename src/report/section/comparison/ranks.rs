//! In what order the arms stand, and how sure that order is.

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
            charts.push(chart(plan, ranked, output, point));
        }
    }
    vec![
        Entry::heading("ranks", "Order of the arms"),
        Entry::paragraph(format!(
            "Arms in the order of their root mean square error, the smallest first. Whole trials were drawn again {} times, the \
             same trials for every arm, and the arms put in order each time; the draws have a stream of their own. Arms that are \
             equal share their ranks.",
            count(RESAMPLES)
        )),
        Entry::Charts { charts },
    ]
}

fn chart(plan: &Plan, ranked: &[Ranked], output: Output, point: u32) -> Chart {
    let own: Vec<&Ranked> = ranked.iter().filter(|row| row.output == output && row.arm.point == point).collect();
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
    Chart {
        id: format!("ranks-{}", suffix(plan, output, point)),
        caption: format!("How sure the order of the arms is, {}{at}", output.name()),
        reading: "A row is an arm: how often it has which rank when whole trials are drawn again. One dark cell in a row is a \
                  sure rank; a row spread over two says that these trials do not settle the order."
            .to_owned(),
        svg: grid(Alternative { title: &title, description: &description }, &data),
        wide: false,
        csv: FILE.to_owned(),
    }
}

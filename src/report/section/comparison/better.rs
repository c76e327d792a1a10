//! Which arm has the smallest error where: the arms at each point of the sweeps, and where the first one changes.

use super::claims::yes;
use super::{MOST_POINTS, heading, shown};
use crate::analysis::paired::Measure;
use crate::analysis::{CONFIDENCE, Interval};
use crate::experiment::Plan;
use crate::measurement::Output;
use crate::record::tables::Cell;
use crate::report::chart::{Alternative, Grid, GridCell, grid};
use crate::report::evidence::{Chart, Entry, Files, Table};
use crate::report::words::{count, number, percent};
use crate::study::{Assessment, PairedMeasure, Ranked};

const FILE: &str = "better";
/// Columns and rows of a chart, at most.
const MOST: usize = 10;

/// The better arm at one point, among arms with one estimand.
struct Better<'a> {
    point: usize,
    output: Output,
    /// Which group of arms with one estimand.
    group: usize,
    /// Index among the arms of the file.
    best: usize,
    second: usize,
    /// Root mean square of both.
    rms: [f64; 2],
    /// Whether its interval against each other arm excludes 0.
    apart: bool,
    arms: &'a [&'a str],
}

/// Nothing without a sweep.
pub fn entries(plan: &Plan, assessment: &Assessment, files: &mut Files) -> Vec<Entry> {
    if plan.points.len() < 2 {
        return Vec::new();
    }
    let arms: Vec<&str> = plan.variants.iter().step_by(plan.points.len()).map(|arm| arm.arm.as_str()).collect();
    let mut all: Vec<Better> = Vec::new();
    for output in plan.asked().outputs() {
        for group in groups(assessment, output) {
            let at = |point| better(plan, assessment, &arms, (output, group, point));
            all.extend((0..plan.points.len()).filter_map(at));
        }
    }
    let swept: Vec<String> = plan.points[0].values.iter().map(|(path, _)| path.clone()).collect();
    let header: Vec<&str> = ["point"]
        .into_iter()
        .chain(swept.iter().map(String::as_str))
        .chain(["output", "unit", "best", "rms", "second", "second_rms", "p_holm", "sure"])
        .collect();
    let row = |found: &Better| {
        let mut cells = vec![Cell::from(found.point as u64)];
        cells.extend(plan.points[found.point].values.iter().map(|(_, value)| Cell::from(value.as_str())));
        cells.extend([Cell::from(found.output.id()), found.output.unit().suffix().into()]);
        cells.extend([Cell::from(found.arms[found.best]), found.rms[0].into()]);
        cells.extend([Cell::from(found.arms[found.second]), found.rms[1].into()]);
        cells.extend([None::<f64>.into(), yes(found.apart)]);
        cells
    };
    files.add_tidy(FILE, &header, all.iter().map(row).collect());
    let mut entries = vec![
        Entry::heading("better", "Smallest RMS error at each point"),
        Entry::paragraph(format!(
            "At each point of the sweeps the arm with the smallest root mean square error. A dot marks where its {}\u{a0}% interval \
             of the paired difference against every other arm excludes 0. Exploratory: not corrected for the number of points and \
             arms, and no verdict.",
            percent(CONFIDENCE)
        )),
    ];
    let mut charts = Vec::new();
    for output in shown(plan) {
        for group in groups(assessment, output) {
            let of = |found: &&Better| found.output == output && found.group == group;
            let own: Vec<&Better> = all.iter().filter(of).collect();
            if !own.is_empty() {
                entries.push(Entry::paragraph(turns(plan, &own, output)));
                charts.extend(chart(plan, &own, (output, group), &arms));
            }
        }
    }
    if charts.is_empty() {
        entries.push(Entry::Table(list(plan, &all, &swept)));
    } else {
        entries.push(Entry::Charts { charts });
    }
    entries
}

/// The groups of arms with one estimand of an output.
fn groups(assessment: &Assessment, output: Output) -> std::ops::Range<usize> {
    let own = assessment.arms.ranks.iter().filter(|ranked| ranked.output == output);
    0..own.map(|ranked| ranked.group + 1).max().unwrap_or(0)
}

fn better<'a>(
    plan: &Plan,
    assessment: &Assessment,
    arms: &'a [&'a str],
    (output, group, point): (Output, usize, usize),
) -> Option<Better<'a>> {
    let of = |arm: usize| {
        let variant = &plan.variants[arm * plan.points.len() + point];
        let ranked = |row: &&Ranked| std::ptr::eq(row.arm, variant) && row.output == output && row.group == group;
        assessment.arms.ranks.iter().find(ranked)?;
        let mut rows = assessment.outputs.iter();
        let own = rows.find(|row| std::ptr::eq(row.variant, variant) && row.output == output)?;
        own.summary.rms.map(|rms| rms.value)
    };
    let mut order: Vec<(usize, f64)> = (0..arms.len()).filter_map(|arm| Some((arm, of(arm)?))).collect();
    order.sort_by(|one, other| one.1.total_cmp(&other.1));
    let &[(best, least), (second, next), ..] = &order[..] else { return None };
    let is_here = |row: &&PairedMeasure| {
        row.output == output
            && row.measure == Measure::Rms
            && row.arms[0].point as usize == point
            && row.arms.iter().any(|arm| arm.arm == arms[best])
    };
    let excludes_0 = |ends: Interval| ends.low > 0.0 || ends.high < 0.0;
    let apart = assessment.arms.pairs.iter().filter(is_here).all(|row| row.found.interval.is_some_and(excludes_0));
    Some(Better { point, output, group, best, second, rms: [least, next], apart, arms })
}

/// Distinct values of a swept setting as written, in their order.
fn distinct(plan: &Plan, which: usize) -> Vec<&str> {
    let mut values: Vec<&str> = Vec::new();
    for point in &plan.points {
        if let Some((_, value)) = point.values.get(which).filter(|(_, value)| !values.contains(&value.as_str())) {
            values.push(value);
        }
    }
    values
}

/// Where the arm with the smallest error changes between two marked points that differ in one swept setting only.
fn turns(plan: &Plan, own: &[&Better], output: Output) -> String {
    let value = |point: usize, which: usize| plan.points[point].values[which].1.as_str();
    let mut found = Vec::new();
    for (which, (path, _)) in plan.points[0].values.iter().enumerate() {
        let others = |point: usize| -> Vec<String> {
            let values = plan.points[point].values.iter().enumerate().filter(|(other, _)| *other != which);
            values.map(|(_, (path, value))| format!("{path} = {value}")).collect()
        };
        for (place, one) in own.iter().enumerate().filter(|(_, one)| one.apart) {
            let mut later = own[place + 1..].iter();
            let Some(next) = later.find(|next| next.apart && others(next.point) == others(one.point)) else {
                continue;
            };
            if next.best != one.best {
                let at = others(one.point).join(", ");
                let at = if at.is_empty() { String::new() } else { format!(" (at {at})") };
                found.push(format!(
                    "between {path} = {} and {}{at} from {} to {}",
                    value(one.point, which),
                    value(next.point, which),
                    one.arms[one.best],
                    next.arms[next.best],
                ));
            }
        }
    }
    let marked = own.iter().filter(|found| found.apart).count();
    let name = output.name();
    let marked = format!("{} of {} points are marked", count(marked as u64), count(own.len() as u64));
    match found.len() {
        0 => format!(
            "{name}: the arm with the smallest RMS error is the same at all marked points along a swept setting; {marked}."
        ),
        several => {
            let listed = found.iter().take(MOST_POINTS as usize).cloned().collect::<Vec<_>>().join("; ");
            let more = several.saturating_sub(MOST_POINTS as usize);
            let more = if more > 0 { format!("; and {more} more") } else { String::new() };
            format!("{name}: the arm with the smallest RMS error changes {listed}{more}; {marked}.")
        }
    }
}

/// Columns are the first swept setting and rows the second, others at their first values; `None` where points are no grid.
fn chart(plan: &Plan, own: &[&Better], (output, group): (Output, usize), arms: &[&str]) -> Option<Chart> {
    let sweeps = plan.points[0].values.len();
    let sizes: usize = (0..sweeps).map(|which| distinct(plan, which).len()).product();
    if sizes != plan.points.len() {
        return None;
    }
    let columns: Vec<&str> = distinct(plan, 0).into_iter().take(MOST).collect();
    let rows: Vec<&str> = if sweeps > 1 { distinct(plan, 1).into_iter().take(MOST).collect() } else { vec![""] };
    let first: Vec<&str> = (0..sweeps).map(|which| distinct(plan, which)[0]).collect();
    let letter = |arm: usize| char::from(b'A' + u8::try_from(arm % 26).unwrap_or(0)).to_string();
    let cell = |row: &str, column: &str| {
        let here = |found: &&&Better| {
            let values = &plan.points[found.point].values;
            (0..sweeps).all(|which| {
                let wanted = match which {
                    0 => column,
                    1 => row,
                    _ => first[which],
                };
                values[which].1 == wanted
            })
        };
        own.iter().find(here).map(|found| GridCell {
            hue: found.best,
            depth: if found.apart { 1.0 } else { 0.3 },
            words: letter(found.best),
            marked: found.apart,
        })
    };
    let cells: Vec<Vec<Option<GridCell>>> =
        rows.iter().map(|row| columns.iter().map(|column| cell(row, column)).collect()).collect();
    let mut notes: Vec<String> =
        arms.iter().enumerate().map(|(arm, name)| format!("{}: {name}", letter(arm))).collect();
    notes.push("Dot: interval excludes 0.".to_owned());
    let path = |which: usize| plan.points[0].values[which].0.as_str();
    let names: Vec<String> = rows
        .iter()
        .map(|row| if sweeps > 1 { format!("{} {row}", last(path(1))) } else { "smallest error".to_owned() })
        .collect();
    let title = format!("Arm with the smallest RMS error, {}", output.name());
    let description = "The arm with the smallest root mean square error at each point of a grid.";
    let columns: Vec<String> = columns.into_iter().map(str::to_owned).collect();
    let data = Grid { columns_are: path(0), columns: &columns, rows: &names, cells: &cells, notes: &notes };
    Some(Chart {
        id: format!("better-{}{}", output.id().replace('_', "-"), if group > 0 { format!("-{}", group + 1) } else { String::new() }),
        caption: title.clone(),
        reading: "A cell is a point of the sweeps; its letter and hue name the arm with the smallest root mean square error. Deep \
                  cells with a dot: the interval of the paired difference against every other arm excludes 0."
            .to_owned(),
        svg: grid(Alternative { title: &title, description }, &data),
        wide: false,
        csv: FILE.to_owned(),
    })
}

/// The last key of a path.
fn last(path: &str) -> &str {
    path.rsplit('.').next().unwrap_or(path)
}

/// Of points that are no grid, each in a row.
fn list(plan: &Plan, all: &[Better], swept: &[String]) -> Table {
    let shown = shown(plan);
    let mut columns: Vec<_> = swept.iter().map(|path| heading(path.clone(), true)).collect();
    columns.extend([heading("output", false), heading("arm", false), heading("rms", true), heading("next", false)]);
    columns.extend([heading("rms of the next", true), heading("interval excludes 0", false)]);
    let row = |found: &Better| {
        let mut row: Vec<String> = plan.points[found.point].values.iter().map(|(_, value)| value.clone()).collect();
        row.extend([found.output.name().to_owned(), found.arms[found.best].to_owned(), number(found.rms[0], 3)]);
        row.extend([found.arms[found.second].to_owned(), number(found.rms[1], 3)]);
        row.push(if found.apart { "yes" } else { "no" }.to_owned());
        row
    };
    Table {
        id: "table-better".to_owned(),
        caption: "Arm with the smallest RMS error".to_owned(),
        reading: "A row is a point of the sweeps.".to_owned(),
        columns,
        rows: all.iter().filter(|found| shown.contains(&found.output)).take(200).map(row).collect(),
        csv: FILE.to_owned(),
    }
}

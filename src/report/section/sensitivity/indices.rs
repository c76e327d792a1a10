//! Variance-based indices in tables, charts and sentences.

use super::{Arm, Tables, capital};
use crate::analysis::Estimate;
use crate::analysis::indices::{FEWEST_ROWS, RESAMPLES, above_zero};
use crate::experiment::Group;
use crate::record::tables::Cell;
use crate::report::chart::{Alternative, Axis, TwoIntervals, TwoIntervalsRow, two_intervals};
use crate::report::evidence::{Chart, Entry, Files, Heading, Table};
use crate::report::words::{count, estimate, number, percent};
use crate::study::sensitivity::{CONFIDENCE, IndexStudy, MOST_DROPPED, OutputIndices};

/// Name of the file of indices.
const FILE: &str = "sensitivity";
/// Name of the file of what goes beyond them.
const MORE: &str = "sensitivity-rows";

/// Rows of the two files.
#[derive(Default)]
pub struct Rows {
    indices: Vec<Vec<Cell>>,
    more: Vec<Vec<Cell>>,
}

impl Rows {
    pub fn write(self, files: &mut Files) {
        if self.indices.is_empty() && self.more.is_empty() {
            return;
        }
        let header =
            ["arm", "output", "group", "first", "first_low", "first_high", "total", "total_low", "total_high"];
        files.add(FILE, &header, self.indices);
        let header = [
            "arm",
            "output",
            "unit",
            "rows",
            "dropped",
            "marked",
            "variance",
            "first_sum",
            "first_sum_low",
            "first_sum_high",
            "group",
            "interaction",
            "interaction_low",
            "interaction_high",
        ];
        files.add(MORE, &header, self.more);
    }
}

pub fn entries(arm: &Arm, study: &IndexStudy, tables: &mut Tables, files: &mut Files) -> Vec<Entry> {
    let mut entries = vec![
        Entry::heading(format!("{}indices", arm.prefix), arm.caption("Shares of the variance, by groups of sources")),
        Entry::paragraph(format!(
            "The first-order index is the share of the variance that a group explains by itself; the total index adds what it \
             does together with others, and their difference is that interaction. Estimated by pick-freeze from {} rows of \
             {} cases each: each group in turn is drawn anew while all else stays (first-order: Saltelli et al. 2010; total: \
             Jansen 1999). Intervals are at {}\u{a0}%: of the total index from the standard error of its logarithm and Student's t, \
             from {FEWEST_ROWS} rows on; of the others percentile intervals of {RESAMPLES} bootstrap samples of whole rows. \
             Nothing is clipped, so a first-order index near 0 may be estimated below 0.",
            count(study.rows),
            study.groups.len() + 2,
            percent(CONFIDENCE),
        )),
        members(arm, &study.groups, files),
    ];
    let mut charts = Vec::new();
    for output in &study.outputs {
        add_rows(arm, study, output, &mut tables.indices);
        charts.extend(chart(arm, study, output));
    }
    entries.push(Entry::List { items: study.outputs.iter().map(|output| sentence(study, output)).collect() });
    entries.push(table(arm, study));
    entries.push(Entry::Charts { charts });
    entries
}

/// What each group holds.
fn members(arm: &Arm, groups: &[Group], files: &mut Files) -> Entry {
    let rows = groups.iter().map(|group| vec![group.name.clone(), group.members.join(", ")]).collect();
    files.table(
        &format!("{}groups", arm.prefix),
        &arm.caption("Groups of sources"),
        "A group is one input here, however many draws it makes. The group rest holds all that no other group names, the \
         patient and the change made among it; it is drawn anew and reported like any other. A source that is switched \
         off has no share.",
        &["group", "holds"],
        rows,
    )
}

fn add_rows(arm: &Arm, study: &IndexStudy, output: &OutputIndices, rows: &mut Rows) {
    let three = |e: &Estimate| -> [Cell; 3] {
        [e.value.into(), e.interval.map(|i| i.low).into(), e.interval.map(|i| i.high).into()]
    };
    let found = &output.indices;
    for (group, effect) in study.groups.iter().zip(&found.effects) {
        let mut row: Vec<Cell> = vec![arm.name.into(), output.output.id().into(), group.name.as_str().into()];
        row.extend(three(&effect.first));
        row.extend(three(&effect.total));
        rows.indices.push(row);
    }
    let marked = if output.too_many_dropped() { "yes" } else { "no" };
    let head = || -> Vec<Cell> {
        let (output, unit) = (output.output.id(), output.output.unit().suffix());
        let mut row = vec![arm.name.into(), output.into(), format!("{unit}2").into(), found.rows.into()];
        row.extend([found.dropped.into(), marked.into(), found.variance.into()]);
        row.extend(found.first_sum.as_ref().map_or([Cell::Blank, Cell::Blank, Cell::Blank], three));
        row
    };
    if found.effects.is_empty() {
        let mut row = head();
        row.extend([Cell::Blank, Cell::Blank, Cell::Blank, Cell::Blank]);
        rows.more.push(row);
    }
    for (group, effect) in study.groups.iter().zip(&found.effects) {
        let mut row = head();
        row.push(group.name.as_str().into());
        row.extend(three(&effect.interaction));
        rows.more.push(row);
    }
}

/// What an output says, in words.
fn sentence(study: &IndexStudy, output: &OutputIndices) -> String {
    let name = output.output.name();
    let found = &output.indices;
    let all = found.rows + found.dropped;
    let dropped = match found.dropped {
        0 => String::new(),
        dropped => {
            format!(" {} of {} rows were dropped, because a case gave no reading.", count(dropped), count(all))
        }
    };
    if found.effects.is_empty() {
        return format!("{}: the error does not vary, so nothing is to be shared out.{dropped}", capital(name));
    }
    if output.too_many_dropped() {
        return format!(
            "{}: more than {}\u{a0}% of the rows were dropped; what is left is not a fair sample, and no ranking is stated.\
             {dropped}",
            capital(name),
            percent(MOST_DROPPED)
        );
    }
    let mut ranked: Vec<_> = study.groups.iter().zip(&found.effects).collect();
    ranked.sort_by(|a, b| b.1.total.value.total_cmp(&a.1.total.value));
    let told: Vec<String> = ranked
        .iter()
        .filter(|(_, effect)| above_zero(&effect.total))
        .take(3)
        .map(|(group, effect)| format!("{} (total {}\u{a0}%)", group.name, number(100.0 * effect.total.value, 0)))
        .collect();
    let not: Vec<&str> = ranked
        .iter()
        .filter(|(_, effect)| !above_zero(&effect.total) && !above_zero(&effect.first))
        .map(|(group, _)| group.name.as_str())
        .collect();
    let largest = if told.is_empty() {
        "no group stands out".to_owned()
    } else {
        format!("most comes from {}", told.join(", "))
    };
    let not =
        if not.is_empty() { String::new() } else { format!(" Not distinguishable from zero: {}.", not.join(", ")) };
    let sum = found.first_sum.as_ref().map_or(String::new(), |sum| {
        let together = match sum.interval {
            Some(interval) if interval.high < 1.0 => "the rest is interaction",
            Some(interval) if interval.low > 1.0 => "above 1 by chance or by dependence",
            _ => "not distinguishable from 1: the groups add up",
        };
        format!(" The first-order indices sum to {} ({together}).", estimate(Some(*sum)))
    });
    format!("{}: {largest}.{not}{sum}{dropped}", capital(name))
}

fn table(arm: &Arm, study: &IndexStudy) -> Entry {
    let mut rows = Vec::new();
    for output in &study.outputs {
        let mark = if output.too_many_dropped() { " (too many rows dropped)" } else { "" };
        for (group, effect) in study.groups.iter().zip(&output.indices.effects) {
            let index = |e: &Estimate| {
                let words = estimate(Some(*e));
                if above_zero(e) { words } else { format!("{words}, not distinguishable from zero") }
            };
            rows.push(vec![
                format!("{}{mark}", output.output.name()),
                group.name.clone(),
                index(&effect.first),
                index(&effect.total),
                estimate(Some(effect.interaction)),
            ]);
        }
    }
    let columns = [
        ("error of", false),
        ("group", false),
        ("first-order index", true),
        ("total index", true),
        ("interaction", true),
    ];
    Entry::Table(Table {
        id: format!("table-{}sensitivity", arm.prefix),
        caption: arm.caption("Sensitivity indices"),
        reading: format!(
            "Shares of the variance with their {}\u{a0}% intervals. Fix what has a large total index first; what has a total \
             index near 0 may be loosened without being seen in this output.",
            percent(CONFIDENCE)
        ),
        columns: columns.map(|(name, numbers)| Heading { name: name.to_owned(), numbers }).into(),
        rows,
        csv: FILE.to_owned(),
    })
}

fn chart(arm: &Arm, study: &IndexStudy, output: &OutputIndices) -> Option<Chart> {
    let found = &output.indices;
    if found.effects.is_empty() {
        return None;
    }
    let mut ranked: Vec<_> = study.groups.iter().zip(&found.effects).collect();
    ranked.sort_by(|a, b| b.1.total.value.total_cmp(&a.1.total.value));
    let three =
        |e: &Estimate| [e.value, e.interval.map_or(f64::NAN, |i| i.low), e.interval.map_or(f64::NAN, |i| i.high)];
    let rows: Vec<TwoIntervalsRow> = ranked
        .iter()
        .map(|(group, effect)| TwoIntervalsRow {
            label: &group.name,
            one: three(&effect.first),
            other: three(&effect.total),
        })
        .collect();
    let name = output.output.name();
    let data = TwoIntervals {
        axis: Axis { label: "Share of the variance", unit: "" },
        names: ["first-order", "total"],
        rows: &rows,
        reference: Some((0.0, "nothing")),
    };
    let title = format!("Sensitivity, {name}");
    let description = sentence(study, output);
    Some(Chart {
        id: format!("{}sensitivity-{}", arm.prefix, output.output.id().replace('_', "-")),
        caption: arm.caption(&format!("What the error of {name} comes from")),
        reading: "A disc is the first-order index, a diamond the total index, each with its interval; the further right, the more \
                  of the variance. A gap between the two is interaction with other groups."
            .to_owned(),
        svg: two_intervals(Alternative { title: &title, description: &description }, &data),
        wide: false,
        csv: FILE.to_owned(),
    })
}

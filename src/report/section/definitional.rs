//! What an error is made of where one plane is read and another is meant.

use crate::analysis::{CONFIDENCE, Estimate};
use crate::experiment::Plan;
use crate::record::tables::Cell;
use crate::report::chart::{Against, Alternative, Axis, Drawn, against};
use crate::report::evidence::{Chart, Entry, Files, Heading, Section, Table, label, prefix};
use crate::report::tables::three;
use crate::report::words::{count, estimate, percent};
use crate::study::{CASES, Definitional, ErrorParts};

const FILE: &str = "definitional";
/// Variants with a table and a chart in the page, at most; the file holds all.
const MOST: usize = 3;

/// Nothing where every plane read is the one that is meant.
pub fn section(plan: &Plan, found: &[Definitional], files: &mut Files) -> Option<Section> {
    if found.is_empty() {
        return None;
    }
    let mut header: Vec<String> = ["arm", "point", "output", "unit", "n"].map(String::from).into();
    for part in ["whole", "definitional", "technical"] {
        for measure in ["bias", "sd"] {
            header.extend(["", "_low", "_high"].map(|end| format!("{part}_{measure}{end}")));
        }
    }
    let rows = found.iter().flat_map(|split| {
        split.outputs.iter().map(|parts| {
            let mut cells = vec![Cell::from(split.variant.arm.as_str()), split.variant.point.into()];
            cells.extend([Cell::from(parts.output.id()), parts.output.unit().suffix().into(), parts.n.into()]);
            let all = [parts.whole, parts.definitional, parts.technical];
            cells.extend(all.into_iter().flatten().flat_map(three));
            cells
        })
    });
    files.add(FILE, &header, rows.collect());
    let mut entries = vec![Entry::paragraph(format!(
        "Where one plane is read and truth is meant in another, a reading without any noise is still off, by what the two planes \
         differ by in this patient on this table: the definitional error. To see it, the first {} cases were read once more with \
         every noise source off; the technical error is the rest, case by case. A better instrument makes the second smaller and \
         leaves the first; only a different question, or a measurement of how the pelvis lies, takes that away.",
        count(plan.trials.min(CASES))
    ))];
    if found.len() > MOST {
        entries.push(Entry::paragraph(format!(
            "The first {MOST} of {} variants are shown; the file holds all.",
            found.len()
        )));
    }
    for split in found.iter().take(MOST) {
        let index = plan.variants.iter().position(|other| std::ptr::eq(other, split.variant)).unwrap_or(0);
        let (prefix, name) = (prefix(plan, index), label(plan, split.variant).unwrap_or_default());
        let rows = |parts: &ErrorParts| {
            let all = [("whole", parts.whole), ("definitional", parts.definitional), ("technical", parts.technical)];
            let row = |(part, [bias, sd]): (&str, [Option<Estimate>; 2])| {
                vec![
                    parts.output.name().to_owned(),
                    part.to_owned(),
                    parts.output.unit().symbol().to_owned(),
                    count(parts.n),
                    estimate(bias),
                    estimate(sd),
                ]
            };
            all.map(row)
        };
        let level = format!("({}\u{a0}% interval)", percent(CONFIDENCE));
        let column = |name: &str, numbers| Heading { name: name.to_owned(), numbers };
        let of = if name.is_empty() { String::new() } else { format!(", {name}") };
        entries.push(Entry::Table(Table {
            id: format!("table-{prefix}definitional"),
            caption: format!("Definitional and technical error{of}"),
            reading: "Bias and standard deviation of the whole error and of its two parts. Biases add up; variances do where the \
                      parts have nothing to do with each other."
                .to_owned(),
            columns: vec![
                column("error of", false),
                column("part", false),
                column("unit", false),
                column("cases", true),
                column(&format!("bias {level}"), true),
                column(&format!("standard deviation {level}"), true),
            ],
            rows: split.outputs.iter().flat_map(rows).collect(),
            csv: FILE.to_owned(),
        }));
        entries.extend(chart(split, &prefix, &of, files).map(|chart| Entry::Charts { charts: vec![chart] }));
    }
    Some(Section { id: "definitional", title: "Definitional error", entries })
}

fn chart(split: &Definitional, prefix: &str, of: &str, files: &mut Files) -> Option<Chart> {
    if split.over_tilt.is_empty() {
        return None;
    }
    let (tilts, errors): (Vec<f64>, Vec<f64>) = split.over_tilt.iter().map(|&[tilt, error]| (tilt, error)).unzip();
    let name = format!("{prefix}definitional-tilt");
    let finite = split.over_tilt.iter().filter(|pair| pair.iter().all(|value| value.is_finite()));
    let rows = finite.take(5000).map(|pair| pair.map(Cell::from).into()).collect();
    let csv = files.add(&name, &["tilt_deg", "anteversion_definitional_deg"], rows);
    let (x, y) = (
        Axis { label: "Tilt on the table, posterior positive", unit: "deg" },
        Axis { label: "Definitional error, cup anteversion", unit: "deg" },
    );
    let words = Alternative {
        title: "Definitional error of anteversion over tilt",
        description: "A dot a case read without noise; the error grows with the tilt of the pelvis on the table.",
    };
    Some(Chart {
        id: name,
        caption: format!("Definitional error of anteversion over tilt{of}"),
        reading: "A dot is a case read without noise. The slope is about the cosine of the inclination, 0.7 to 0.8 a degree \
                  (Lembeck B et al. Acta Orthop 2005;76:517-523); what scatters about it is rotation on the table and the cup."
            .to_owned(),
        svg: against(words, &Against { axis: y, errors: &errors, limit: None }, &Drawn { axis: x, values: &tilts }),
        wide: false,
        csv,
    })
}

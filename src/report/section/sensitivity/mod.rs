//! Where the errors come from.

mod indices;
mod linear;
mod linear_charts;
mod one_at_a_time;
mod shapley;
mod uncertain;

use crate::experiment::Plan;
use crate::measurement::Output;
use crate::report::evidence::{Entry, Files, Section, label, prefix, shown_by_default};
use crate::study::sensitivity::ArmSensitivity;

/// The section; none where nothing was asked.
pub fn section(plan: &Plan, found: &[ArmSensitivity], files: &mut Files) -> Option<Section> {
    let asked = plan.sensitivity.as_ref()?;
    let mut entries = vec![Entry::paragraph(format!(
        "What the errors come from. Every case of these studies is a new device and a new patient, {} of them to a question; \
         a `[design]` of the run is not used here. {}The same draws serve every comparison, so differences are not \
         luck. All of it holds for the stated inputs alone: a source that is assumed too small looks harmless.",
        asked.rows,
        if plan.points.len() > 1 { "Sweeps stand at their first point. " } else { "" },
    ))];
    let mut tables = Tables::default();
    for arm in found {
        let index = plan.variants.iter().position(|variant| std::ptr::eq(variant, arm.variant)).unwrap_or(0);
        let of = Arm { plan, prefix: prefix(plan, index), label: label(plan, arm.variant), name: &arm.variant.arm };
        if let Some(label) = &of.label {
            entries.push(Entry::heading(format!("{}sensitivity", of.prefix), label.clone()));
        }
        if let Some(study) = &arm.indices {
            entries.extend(indices::entries(&of, study, &mut tables, files));
        }
        if let Some(study) = &arm.shapley {
            entries.extend(shapley::entries(&of, study, &mut tables));
        }
        if let Some(study) = &arm.one_at_a_time {
            entries.extend(one_at_a_time::entries(&of, study, &mut tables));
        }
        if let Some(study) = &arm.linear {
            entries.extend(linear::entries(&of, arm.variant, study, &mut tables));
        }
        if let Some(study) = &arm.uncertain {
            entries.extend(uncertain::entries(&of, study, &mut tables));
        }
    }
    tables.write(plan, files);
    Some(Section { id: "sensitivity", title: "Where the errors come from", entries })
}

/// Which arm is shown, and how its files begin.
struct Arm<'a> {
    plan: &'a Plan,
    prefix: String,
    label: Option<String>,
    name: &'a str,
}

impl Arm<'_> {
    fn caption(&self, what: &str) -> String {
        self.label.as_ref().map_or_else(|| what.to_owned(), |label| format!("{what}, {label}"))
    }
}

/// Rows of the files that hold all arms.
#[derive(Default)]
struct Tables {
    indices: indices::Rows,
    shapley: shapley::Rows,
    one_at_a_time: one_at_a_time::Rows,
    linear: linear::Rows,
    uncertain: uncertain::Rows,
}

impl Tables {
    fn write(self, plan: &Plan, files: &mut Files) {
        self.indices.write(files);
        self.shapley.write(files);
        self.one_at_a_time.write(files);
        self.linear.write(files);
        self.uncertain.write(files, plan.uncertain.inputs.iter().map(|input| input.path.clone()));
    }
}

/// The outputs that have charts: those with a requirement, or the first without one.
fn shown_outputs(plan: &Plan) -> Vec<Output> {
    let required: Vec<Output> = plan.asked().outputs().filter(|&output| limit(plan, output).is_some()).collect();
    if required.is_empty() { shown_by_default(plan) } else { required }
}

/// The smallest limit that a requirement sets on an output.
fn limit(plan: &Plan, output: Output) -> Option<f64> {
    let limits = plan.requirements.iter().filter(|requirement| requirement.output == output);
    limits.map(|requirement| requirement.limit).min_by(f64::total_cmp)
}

fn capital(text: &str) -> String {
    let mut letters = text.chars();
    letters.next().map_or_else(String::new, |first| first.to_uppercase().chain(letters).collect())
}

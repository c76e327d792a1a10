//! `navassay trial`: one trial with every intermediate value.

use super::Ending;
use super::arguments::TrialArguments;
use super::message::{Stop, warn};
use super::terminal::{align_right, show, table};
use crate::experiment::{Plan, Variant};
use crate::trial::{Passage, RecordOptions, TrialRunner};
use std::fmt::Write as _;

/// Tells one case.
pub fn trial(arguments: &TrialArguments) -> Result<Ending, Stop> {
    let plan = Plan::read(&arguments.file)?;
    warn(&plan.warnings);
    let variant = chosen(&plan, arguments)?;
    let seed = arguments.seed.unwrap_or(plan.seed);
    let mut text = format!("{}: trial {} of arm {}, seed {seed}\n", plan.title, arguments.number, variant.arm);
    for (path, value) in plan.points.get(variant.point as usize).map_or(&[][..], |point| &point.values) {
        let _ = writeln!(text, "{path} = {value}");
    }
    let _ = writeln!(
        text,
        "{} hip. Positions and directions are X Y Z in true bony axes (anterior, superior, to the patient's right).",
        variant.procedure.side.word()
    );
    let runner = TrialRunner::new(variant, seed).in_design(plan.design);
    for passage in runner.story(arguments.number) {
        told(&mut text, passage);
    }
    if let Some(folder) = &arguments.record {
        let options = RecordOptions { markers: arguments.markers, parquet: arguments.parquet };
        let trials = arguments.number..=arguments.to.unwrap_or(arguments.number);
        let files = runner.record(variant, trials, options, folder)?;
        let _ = writeln!(text, "\nrecorded");
        for file in files {
            let _ = writeln!(text, "  {}", file.display());
        }
    }
    show(&text)?;
    Ok(Ending::Shown)
}

fn told(text: &mut String, passage: Passage) {
    let _ = writeln!(text, "\n{}", passage.title);
    if !passage.observed.is_empty() {
        let _ = writeln!(text, "  observed {}", passage.observed);
    }
    let mut rows = table(passage.columns);
    for row in passage.rows {
        rows.add_row(row);
    }
    let _ = writeln!(text, "{}", align_right(rows));
}

/// The variant asked for, or which there are.
fn chosen<'p>(plan: &'p Plan, asked: &TrialArguments) -> Result<&'p Variant, Stop> {
    let arm = match (&asked.arm, plan.variants.first()) {
        (Some(arm), _) => arm.as_str(),
        (None, Some(first)) => first.arm.as_str(),
        (None, None) => "",
    };
    let of_arm: Vec<_> = plan.variants.iter().filter(|variant| variant.arm == arm).collect();
    if of_arm.is_empty() {
        let arms: Vec<_> = plan.variants.iter().filter(|v| v.point == 0).map(|v| v.arm.as_str()).collect();
        let help = format!("the arms are: {}", arms.join(", "));
        return Err(Stop::new(Ending::Refused, format_args!("no arm is called \"{arm}\""), Some(&help)));
    }
    of_arm.iter().copied().find(|variant| variant.point == asked.point).ok_or_else(|| {
        let help = format!("points count from 0; their number is {}", plan.points.len());
        Stop::new(Ending::Refused, format_args!("there is no point {}", asked.point), Some(&help))
    })
}

//! `navassay check`: what would run, how long it may take, and whether the trials can show the requirements.

use super::Ending;
use super::arguments::CheckArguments;
use super::message::{Stop, remark, warn};
use super::planned;
use super::run::default_folder;
use super::terminal::{align_right, show, table};
use super::{frozen, held};
use crate::experiment::{FrozenError, FrozenPlan, Plan, Variant};
use crate::measurement::{Output, Step};
use crate::record::Block;
use crate::report::sampling_paragraph;
use crate::simulation::noise::JointScores;
use crate::study::planned::PlannedTrials;
use crate::trial::{TrialRunner, Worker};
use std::fmt::Write as _;
use std::path::Path;
use std::thread::available_parallelism;
use std::time::{Duration, Instant};

/// Reads and validates an experiment; nothing is written but the plan, where it is to be frozen or amended.
pub fn check(arguments: &CheckArguments) -> Result<Ending, Stop> {
    let mut plan = Plan::read(&arguments.file)?;
    super::take_trials(&mut plan, arguments.trials)?;
    warn(&plan.warnings);
    plan.bench = held::look(&plan, &arguments.file)?.map(|cases| held::identity(&plan, &cases)).transpose()?;
    match FrozenPlan::read(&arguments.file) {
        Ok(found) => plan.frozen = found,
        // Nothing is judged here, so another version's plan stops only what would go by it.
        Err(error @ FrozenError::OtherVersion { .. }) if !arguments.freeze && arguments.amend.is_none() => {
            remark(&error.to_string(), Some(error.help()));
        }
        Err(error) => return Err(error.into()),
    }
    let folder = arguments.out.clone().unwrap_or_else(|| default_folder(&arguments.file));
    show(&preview(&plan, &folder))?;
    show(&planned::claims(&plan)?)?;
    show(&frozen::status(&plan, &arguments.file, &folder)?)?;
    if arguments.freeze {
        frozen::freeze(&plan, &arguments.file, &folder)?;
    }
    if let Some(reason) = &arguments.amend {
        frozen::amend(&plan, &arguments.file, reason)?;
    }
    Ok(Ending::Shown)
}

/// With more variants than this only the first ones are listed.
const MOST_LISTED: usize = 12;

fn preview(plan: &Plan, folder: &Path) -> String {
    let mut text = format!("{}: the experiment can run\n", plan.title);
    if let Some(question) = &plan.question {
        let _ = writeln!(text, "{question}");
    }
    let holds_a_run = if folder.join("run.json").exists() { ", which holds a run already" } else { "" };
    let _ = writeln!(text, "\nwould write to {}{holds_a_run}", folder.display());
    let _ = writeln!(text, "{} trials of each variant, seed {}; {}", plan.trials, plan.seed, time_needed(plan));
    let _ = writeln!(text, "\n{}", variants(plan));
    for variant in distinct_by_sources(plan) {
        let _ = writeln!(text, "\n{}", sources(variant, plan.variants.len() > 1));
    }
    if !plan.requirements.is_empty() {
        let trials = PlannedTrials::of(plan);
        let _ = writeln!(
            text,
            "\nprobability of a pass, for each assumed true proportion outside:\n{}",
            planned::requirements(&trials)
        );
        let _ = writeln!(
            text,
            "\nfor the protocol of the study, if these figures suit it:\n  {}",
            wrapped(&sampling_paragraph(plan, &trials).replace(" %", "\u{a0}%"), " ", 2)
        );
    }
    text.push_str(&planned::precision(plan));
    text
}

/// One line for each variant.
fn variants(plan: &Plan) -> String {
    let mut rows = table(["variant", "side", "plane", "truth in", "femur", "angles", "reductions", "frames a case"]);
    for variant in plan.variants.iter().take(MOST_LISTED) {
        let procedure = &variant.procedure;
        let asked = |outputs: &[Output], word: &str| {
            if procedure.asked.has_any(outputs) { word.to_owned() } else { "not asked".to_owned() }
        };
        let names: Vec<_> = variant.model.reductions.iter().map(|reduction| reduction.name.as_str()).collect();
        rows.add_row([
            named(plan, variant),
            procedure.side.word().to_owned(),
            procedure.plane.word().to_owned(),
            variant.measurand_plane.word().to_owned(),
            asked(&Output::LEG, procedure.femur.word()),
            asked(&Output::CUP, procedure.angles.word()),
            names.join(", "),
            frames(plan, variant).to_string(),
        ]);
    }
    let mut text = align_right(rows);
    if plan.variants.len() > MOST_LISTED {
        let _ = write!(text, "\n... and {} more", plan.variants.len() - MOST_LISTED);
    }
    text
}

/// The arm, and the values of its point.
fn named(plan: &Plan, variant: &Variant) -> String {
    let values = plan.points.get(variant.point as usize).map_or(&[][..], |point| &point.values);
    let mut name = variant.arm.clone();
    for (path, value) in values {
        let _ = write!(name, "; {path} = {value}");
    }
    name
}

/// Frames that the camera sees in one case.
fn frames(plan: &Plan, variant: &Variant) -> usize {
    let (observed, ..) = TrialRunner::new(variant, plan.seed).case(0);
    observed.captures.iter().filter(|capture| capture.step != Step::Level).map(|capture| capture.frames.len()).sum()
}

/// The first variant of those with the same switches and correlations of sources.
fn distinct_by_sources(plan: &Plan) -> Vec<&Variant> {
    let scales = |variant: &Variant| variant.model.noise.clone().switches().map(|(_, switch)| switch.scale);
    let alike = |one: &Variant, other: &Variant| {
        scales(one) == scales(other) && one.model.noise.correlation == other.model.noise.correlation
    };
    let mut distinct: Vec<&Variant> = Vec::new();
    for variant in plan.variants.iter().take(MOST_LISTED) {
        if !distinct.iter().any(|known| alike(known, variant)) {
            distinct.push(variant);
        }
    }
    distinct
}

/// Which sources disturb a variant, and which do not.
fn sources(variant: &Variant, name_the_arm: bool) -> String {
    let mut noise = variant.model.noise.clone();
    let (mut on, mut off) = (Vec::new(), Vec::new());
    for (source, switch) in noise.switches() {
        if switch.scale == 0.0 {
            off.push(source.id.to_owned());
        } else if switch.scale == 1.0 {
            on.push(source.id.to_owned());
        } else {
            on.push(format!("{} (times {})", source.id, switch.scale));
        }
    }
    let list = |ids: &[String]| if ids.is_empty() { "none".to_owned() } else { wrapped(&ids.join(", "), ", ", 14) };
    let whose = if name_the_arm { format!(", {}", variant.arm) } else { String::new() };
    let mut text = format!("noise sources{whose}\n  on          {}\n  off         {}", list(&on), list(&off));
    let pairs = JointScores::of(&noise.correlation);
    for (index, ([one, other], coefficient)) in pairs.pairs().enumerate() {
        let head = if index == 0 { "correlated" } else { "" };
        let _ = write!(text, "\n  {head:<12}{} with {}: {coefficient}", one.id(), other.id());
    }
    text
}

/// Broken behind a separator, continued behind so many blanks.
fn wrapped(text: &str, separator: &str, indent: usize) -> String {
    const WIDTH: usize = 100;
    let (mut wrapped, mut column) = (String::new(), indent);
    for word in text.split_inclusive(separator) {
        if column > indent && column + word.trim_end().len() > WIDTH {
            wrapped.truncate(wrapped.trim_end().len());
            let _ = write!(wrapped, "\n{:indent$}", "");
            column = indent;
        }
        wrapped.push_str(word);
        column += word.len();
    }
    wrapped
}

/// Variants whose speed is measured, spread evenly.
const TRIED: usize = 3;

/// How long each is measured.
const MEASURE: Duration = Duration::from_millis(5);

fn time_needed(plan: &Plan) -> String {
    let step = plan.variants.len().div_ceil(TRIED).max(1);
    let tried: Vec<_> = plan.variants.iter().step_by(step).collect();
    let seconds: f64 = tried.iter().map(|variant| seconds_a_trial(plan, variant, MEASURE)).sum();
    let a_trial = seconds / tried.len().max(1) as f64;
    let threads = available_parallelism().map_or(1, usize::from);
    let total = a_trial * plan.trials as f64 * plan.variants.len() as f64 / threads as f64;
    let thread = if threads == 1 { "thread" } else { "threads" };
    format!("about {} on the {threads} {thread} of this machine", duration(total))
}

fn seconds_a_trial(plan: &Plan, variant: &Variant, within: Duration) -> f64 {
    let runner = TrialRunner::new(variant, plan.seed);
    let mut worker = Worker::default();
    let mut rows = Block::with_capacity(runner.schema(), 0);
    // The first trial fetches the memory that all others use again.
    runner.trial(0, &mut worker, &mut rows);
    let started = Instant::now();
    let mut trials = 0_u32;
    while trials == 0 || started.elapsed() < within {
        trials += 1;
        runner.trial(u64::from(trials), &mut worker, &mut rows);
    }
    started.elapsed().as_secs_f64() / f64::from(trials)
}

/// A duration in the unit in which it is easily said, to one or two digits.
fn duration(seconds: f64) -> String {
    match seconds {
        s if s < 1.0 => "a second or less".to_owned(),
        s if s < 100.0 => format!("{s:.0} s"),
        s if s < 6000.0 => format!("{:.0} minutes", s / 60.0),
        s if s < 172_800.0 => format!("{:.0} hours", s / 3600.0),
        s => format!("{:.0} days", s / 86_400.0),
    }
}

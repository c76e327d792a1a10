//! `navassay phantom`: the tracker by itself on a virtual phantom.

use super::Ending;
use super::arguments::PhantomArguments;
use super::message::Stop;
use super::terminal;
use crate::experiment::Plan;
use crate::report::{Evidence, Phantom, write_report};
use crate::study::{PhantomPlan, phantom as touch};
use crate::trial::RunFolder;
use std::path::Path;

/// Touches the phantom by every arm and reports.
pub fn phantom(arguments: &PhantomArguments) -> Result<Ending, Stop> {
    let mut plan = Plan::read(&arguments.file)?;
    plan.trials = arguments.trials;
    let size =
        PhantomPlan { distance_mm: arguments.distance, spacing_mm: arguments.spacing, tilt_deg: arguments.tilt };
    let nearest = size.distance_mm - size.spacing_mm;
    if !(size.spacing_mm > 0.0 && nearest > 0.0 && size.distance_mm.is_finite() && size.tilt_deg.abs() < 90.0) {
        return Err(Stop::new(
            Ending::Refused,
            format_args!("a phantom that reaches to {nearest} mm before the camera, tilted by {}°", size.tilt_deg),
            Some("the spacing is more than 0 and less than the distance, the tilt less than 90 degrees"),
        ));
    }
    let studies =
        plan.variants.iter().map(|variant| (variant, touch(variant, plan.seed, plan.trials, size))).collect();
    let stem = arguments.file.file_stem().unwrap_or_default().to_string_lossy().into_owned();
    let out = arguments.out.clone().unwrap_or_else(|| Path::new("reports").join(format!("{stem}-phantom")));
    let folder = RunFolder::open_results(&out, "phantom", arguments.replace)?;
    let found = Phantom { plan: &plan, phantom: size, studies };
    folder.write_manifest(&serde_json::json!({
        "program": { "name": env!("CARGO_PKG_NAME"), "version": env!("CARGO_PKG_VERSION") },
        "generator": crate::simulation::GENERATOR,
        "simulation_hash": plan.simulation_hash(),
        "phantom": {
            "trials": plan.trials, "distance_mm": size.distance_mm, "spacing_mm": size.spacing_mm,
            "tilt_deg": size.tilt_deg, "failed": found.studies.iter().map(|(_, study)| study.failed).collect::<Vec<_>>(),
        },
        "experiment": { "file": plan.file_name, "text": plan.source },
    }))?;
    let written = write_report(folder.path(), &Evidence::of_phantom(&found))?;
    folder.seal(&written.edited).map_err(|error| Stop::new(Ending::Unfinished, error, None))?;
    terminal::show(&terminal::phantom(&found))?;
    terminal::show(&terminal::phantom_files(&folder, &written))?;
    Ok(Ending::Shown)
}

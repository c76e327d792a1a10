//! The experiment as it is meant: every variant resolved, validated and typed.

use super::bench::BenchIdentity;
use super::comparison::Comparison;
use super::data::{self, DataColumn};
use super::design::Design;
use super::diagnostics::{ExperimentError, Fault, File, Warning};
use super::frozen::FrozenPlan;
use super::needed::RequirementsNeeded;
use super::overrides::{self, Override, WrittenArm};
use super::planning::Assumptions;
use super::replay::{self, Replay};
use super::reporting::Reporting;
use super::requirement::{JointRequirement, Requirement};
use super::sensitivity::{Budgeting, Question, Sensitivity};
use super::spec::{Reader, WrittenDesign};
use super::tree::{self, DEFAULTS, Tree};
use super::uncertain::Uncertain;
use super::{keys, switch, warn};
use crate::analysis::Rule;
use crate::analysis::multiplicity::Multiplicity;
use crate::measurement::{AngleDefinition, Asked, Cameras, FemurFeature, Plane, Procedure, Side, TemplateShape};
use crate::simulation::model::{Reduction, Replicates};
use crate::simulation::{CameraModel, Model, Quantity};
use std::path::Path;
use toml::de::DeValue;

/// A validated experiment.
#[derive(Clone, Debug)]
pub struct Plan {
    /// Name of its file, without folders.
    pub file_name: String,
    /// Its text as written.
    pub source: String,
    /// Name of the experiment; the file's own name unless given.
    pub title: String,
    /// The question it answers.
    pub question: Option<String>,
    /// What the answer is used for.
    pub context_of_use: Option<String>,
    /// Seed of all draws; 0 is a seed like any other.
    pub seed: u64,
    /// Trials of each variant.
    pub trials: u64,
    /// How trials share devices and cases; without one every trial is a new device and a new case.
    pub design: Option<Design>,
    /// How often verdicts may be looked at while trials are added.
    pub looks: u32,
    /// What the number of trials is planned for.
    pub planning: Assumptions,
    /// Target values of inclination and anteversion in degrees, ends included.
    pub target_deg: [[f64; 2]; 2],
    /// Every arm at every point of the sweeps: arms in the order of the file, points within an arm.
    pub variants: Vec<Variant>,
    /// What is to be shown of every variant.
    pub requirements: Vec<Requirement>,
    /// What is to be shown of several requirements together.
    pub joint_requirements: Vec<JointRequirement>,
    /// How many of the requirements must pass in each variant.
    pub requirements_needed: RequirementsNeeded,
    /// What is claimed of two arms.
    pub comparisons: Vec<Comparison>,
    /// How primary claims are tested together.
    pub multiplicity: Multiplicity,
    /// Points of the grid over all sweeps, the first sweep slowest; one without values if there is no sweep.
    pub points: Vec<SweepPoint>,
    /// Columns of measured values that it draws from.
    pub data: Vec<DataColumn>,
    /// What is asked about where the errors come from, if anything.
    pub sensitivity: Option<Sensitivity>,
    /// How limits on sources are searched for.
    pub budgeting: Budgeting,
    /// Magnitudes that are known within a range only; the variants of the plan have the middle of each.
    pub uncertain: Uncertain,
    /// What it says of recorded cases.
    pub replay: Option<Replay>,
    /// What documents are made of its results, and for whom.
    pub reporting: Reporting,
    /// The recorded cases that the run is compared with, once they are known.
    pub bench: Option<BenchIdentity>,
    /// The plan as it was frozen before the run, once it is known; `None` if none was.
    pub frozen: Option<FrozenPlan>,
    /// What a reader of the results should know.
    pub warnings: Vec<Warning>,
}

/// What an experiment is read for.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Purpose {
    /// To be simulated: it needs a seed.
    Simulate,
    /// To measure recorded cases: it needs to say which.
    Replay,
}

/// One arm at one point of the sweeps.
#[derive(Clone, Debug, PartialEq)]
pub struct Variant {
    /// Name of the arm; `base` if the file has none.
    pub arm: String,
    /// Index of the point.
    pub point: u32,
    /// What is simulated.
    pub model: Model,
    /// What is measured.
    pub procedure: Procedure,
    /// The population template as stated.
    pub template_shape: TemplateShape,
    /// The plane in which truth is stated.
    pub measurand_plane: Plane,
}

/// One point of the sweeps.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct SweepPoint {
    /// Its index, from 0.
    pub index: u32,
    /// Path and value, as written, of each sweep.
    pub values: Vec<(String, String)>,
}

impl Plan {
    /// Takes another number of trials.
    ///
    /// # Errors
    /// With what is expected, if a nested design does not come out even.
    pub fn set_trials(&mut self, trials: u64) -> Result<(), String> {
        let of_a_device = self.design.map_or(1, |design| design.trials_of_a_device());
        if !trials.is_multiple_of(of_a_device) {
            return Err(format!("{trials} trials are no whole devices: the design has {of_a_device} trials of each"));
        }
        self.trials = trials;
        Ok(())
    }

    /// The outputs that are asked for, of every variant the same.
    #[must_use]
    pub fn asked(&self) -> Asked {
        self.variants.first().map_or(Asked::ALL, |variant| variant.procedure.asked)
    }

    /// Reads an experiment file.
    ///
    /// # Errors
    /// With everything that is wrong with it, each thing at its place; or if a file cannot be read.
    pub fn read(path: impl AsRef<Path>) -> Result<Self, ExperimentError> {
        let (name, text) = read_text(path.as_ref())?;
        Self::parse(&name, &text)
    }

    /// Reads the experiment file of recorded cases: it says in `[replay]` where they are, and needs no seed.
    ///
    /// # Errors
    /// As [`Self::read`].
    pub fn read_replay(path: impl AsRef<Path>) -> Result<Self, ExperimentError> {
        let (name, text) = read_text(path.as_ref())?;
        Self::parse_replay(&name, &text)
    }

    /// The plan of the text of an experiment of recorded cases.
    ///
    /// # Errors
    /// As [`Self::parse`].
    pub fn parse_replay(name: &str, text: &str) -> Result<Self, ExperimentError> {
        Self::parse_with(name, text, Purpose::Replay, None)
    }

    /// The plan of an experiment's text; `name` is shown in messages.
    ///
    /// # Errors
    /// With everything that is wrong with it, each thing at its place.
    pub fn parse(name: &str, text: &str) -> Result<Self, ExperimentError> {
        Self::parse_with(name, text, Purpose::Simulate, None)
    }

    /// The same with columns of measured values that were kept with a run, in place of the files that the text names.
    ///
    /// # Errors
    /// With everything that is wrong with it, each thing at its place.
    pub fn parse_saved(name: &str, text: &str, data: &[DataColumn]) -> Result<Self, ExperimentError> {
        Self::parse_with(name, text, Purpose::Simulate, Some(data))
    }

    fn parse_with(
        name: &str,
        text: &str,
        purpose: Purpose,
        saved: Option<&[DataColumn]>,
    ) -> Result<Self, ExperimentError> {
        let file = File::new(name, text);
        let defaults = tree::parse(DEFAULTS).map_err(|fault| file.error(fault))?;
        let written = tree::parse(text).map_err(|fault| file.error(fault))?;
        file.verdict(keys::check_keys(&defaults, &written))?;
        let mut faults = Vec::new();
        let folder = Path::new(name).parent().unwrap_or(Path::new(""));
        let data = data::columns(&written, folder, saved, &mut faults);
        file.verdict(faults)?;
        let lines = data::as_toml(&data);
        let mut written = written.clone();
        data::fill(&mut written, &data, &lines).map_err(|fault| file.error(fault))?;
        let tree = Tree::overlay(defaults, written);

        let mut reader = Reader::new(&tree);
        let head = Head::read(&mut reader, name, purpose);
        let replay = reader.replay();
        if purpose == Purpose::Replay {
            reader.faults.extend(replay::missing(&tree));
        }
        let arms = reader.arms();
        let comparisons = reader.comparisons(&arms);
        let reporting = reader.reporting(arms.len());
        let (sensitivity, budgeting) = (reader.sensitivity(), reader.budgeting());
        let seed = head.as_ref().map_or(0, |head| head.seed);
        let ranged = reader.uncertain_inputs();
        let outer = sensitivity
            .as_ref()
            .filter(|asked| asked.asks(Question::Uncertain))
            .map_or(0, |asked| asked.outer_points);
        let sampled = reader.sampled_text(seed) + &Reader::uncertain_text(&ranged, outer, seed);
        let sampled = tree::parse(&sampled).map_err(|fault| file.error(fault))?;
        let grid = reader.points(&sampled);
        let (middles, outer_points) = (reader.middles(&ranged, &sampled), reader.outer_points(&ranged, &sampled));
        let (mut faults, mut warnings, mut settled) = (reader.faults, Vec::new(), tree.clone());
        for middle in &middles {
            faults.extend(overrides::put(&mut settled, middle).err());
        }
        let mut variants = Vec::new();
        for arm in &arms {
            for (index, point) in (0..).zip(&grid) {
                // What is wrong with the file is wrong with most variants: enough is enough.
                if faults.len() < MOST_FAULTS {
                    let place = (index, point.as_slice());
                    variants.extend(variant(&settled, arm, place, purpose, &mut faults, &mut warnings));
                }
            }
        }
        faults.extend(Reader::new(&tree).questions_faults(sensitivity.as_ref(), &variants));
        faults.extend(Reader::new(&tree).asked_faults(&variants));
        faults.extend(Reader::new(&tree).estimand_faults(&comparisons, &variants));
        let mut uncertain = Uncertain::without_variants(ranged, &outer_points, outer);
        let first = grid.first().map_or(&[][..], Vec::as_slice);
        for arm in arms.iter().take(if faults.is_empty() { usize::MAX } else { 0 }) {
            let of_arm = outer_points.iter().filter_map(|point| {
                // What an arm or a sweep fixes is not uncertain there.
                let fixed = |change: &&Override| overrides::conflict(arm, std::slice::from_ref(*change)).is_some();
                let free = point.iter().filter(|change| !fixed(change)).chain(first).cloned().collect::<Vec<_>>();
                variant(&settled, arm, (0, free.as_slice()), purpose, &mut faults, &mut Vec::new())
            });
            uncertain.add_arm(of_arm.collect());
        }
        let Some((head, budgeting)) = head.zip(budgeting).filter(|_| faults.is_empty()) else {
            file.verdict(faults)?;
            // A head that cannot be read has said why.
            return Err(file.error(Fault::new(None, "this experiment cannot be read", "")));
        };
        if purpose == Purpose::Simulate {
            warn::trials(&tree, (head.trials, head.design, head.looks), head.rules(), &mut warnings);
            warn::borrowed_bases(&tree, &mut warnings);
            warn::exploratory(&tree, &comparisons, &mut warnings);
        }
        let values = |point: &Vec<Override>| point.iter().map(|change| as_written(change, text)).collect();
        let points = (0..).zip(&grid).map(|(index, point)| SweepPoint { index, values: values(point) }).collect();
        let file_name = Path::new(name).file_name().unwrap_or_default().to_string_lossy().into_owned();
        Ok(Self {
            file_name,
            source: text.to_owned(),
            title: head.title,
            question: head.question,
            context_of_use: head.context_of_use,
            seed: head.seed,
            trials: head.trials,
            design: head.design,
            looks: head.looks,
            planning: head.planning,
            target_deg: head.target_deg,
            variants,
            requirements: head.requirements,
            joint_requirements: head.joint_requirements,
            requirements_needed: head.requirements_needed,
            comparisons,
            multiplicity: head.multiplicity,
            points,
            data,
            sensitivity,
            budgeting,
            uncertain,
            replay,
            reporting,
            bench: None,
            frozen: None,
            warnings: file.warnings(warnings),
        })
    }
}

/// Path and value of a change, as they stand in the text of the file.
fn as_written(change: &Override, text: &str) -> (String, String) {
    let words = match change.value.get_ref() {
        DeValue::Float(number) => number.to_string(),
        _ => text.get(change.value.span()).unwrap_or_default().to_owned(),
    };
    (change.path.clone(), words)
}

/// The name of a file as shown in messages, and its text.
fn read_text(path: &Path) -> Result<(String, String), ExperimentError> {
    let name = path.display().to_string();
    match std::fs::read_to_string(path) {
        Ok(text) => Ok((name, text)),
        Err(error) => {
            let fault = Fault::new(None, format!("cannot read {name}"), error.to_string());
            Err(File::new(&name, "").error(fault))
        }
    }
}

/// With so many faults no further variant is looked at.
const MOST_FAULTS: usize = 20;

/// What all variants have in common.
struct Head {
    title: String,
    question: Option<String>,
    context_of_use: Option<String>,
    seed: u64,
    trials: u64,
    design: Option<Design>,
    looks: u32,
    planning: Assumptions,
    target_deg: [[f64; 2]; 2],
    requirements: Vec<Requirement>,
    joint_requirements: Vec<JointRequirement>,
    requirements_needed: RequirementsNeeded,
    multiplicity: Multiplicity,
}

impl Head {
    /// Every requirement with its rule; of several limits together the proportion and the confidence matter alone.
    fn rules(&self) -> impl Iterator<Item = (&str, Rule)> {
        let single = self.requirements.iter().map(|asked| (asked.id.as_str(), asked.rule()));
        let joint = self.joint_requirements.iter();
        single.chain(joint.map(|asked| (asked.id.as_str(), Rule::absolute(0.0, asked.proportion, asked.confidence))))
    }

    /// `None` with faults in the reader.
    fn read(reader: &mut Reader, name: &str, purpose: Purpose) -> Option<Self> {
        let stem = || Path::new(name).file_stem().unwrap_or_default().to_string_lossy().into_owned();
        let title = reader.optional("title").unwrap_or_else(stem);
        let (question, context_of_use) = (reader.optional("question"), reader.optional("context_of_use"));
        let seed = reader.seed(purpose);
        let trials: Option<u64> = reader.value("trials");
        if let Some(trials) = trials {
            reader.demand((1..=1_000_000_000).contains(&trials), "trials", trials, "1 to 1000000000");
        }
        let (trials, design) = reader.design(trials);
        let (looks, planning) = (reader.looks(), reader.planning());
        let (requirements_needed, multiplicity) = (reader.requirements_needed(), reader.multiplicity());
        let target_deg =
            ["report.target_inclination_deg", "report.target_anteversion_deg"].map(|at| reader.target(at));
        let (requirements, joint_requirements) = reader.requirements()?;
        let [Some(inclination), Some(anteversion)] = target_deg else { return None };
        Some(Self {
            title,
            question,
            context_of_use,
            seed: seed?,
            trials: trials?,
            design,
            looks: looks?,
            planning: planning?,
            target_deg: [inclination, anteversion],
            requirements,
            joint_requirements,
            requirements_needed: requirements_needed?,
            multiplicity: multiplicity?,
        })
    }
}

impl Reader<'_, '_> {
    fn seed(&mut self, purpose: Purpose) -> Option<u64> {
        if self.tree.get("seed").is_some() {
            return self.value("seed");
        }
        if purpose == Purpose::Replay {
            return Some(0);
        }
        self.faults.push(
            Fault::new(Some(0..0), "`seed` is missing", "expected a line such as seed = 1 above the first section")
                .help("the same seed gives the same draws on every machine; any whole number from 0 will do"),
        );
        None
    }

    /// The number of trials and the design that shares them out.
    fn design(&mut self, trials: Option<u64>) -> (Option<u64>, Option<Design>) {
        let Some(written): Option<WrittenDesign> = self.value("design") else { return (trials, None) };
        let WrittenDesign { devices, cases, repeats } = written;
        self.demand((1..=1_000_000).contains(&cases), "design.cases", cases, "1 to 1000000");
        self.demand((1..=65_535).contains(&repeats), "design.repeats", repeats, "1 to 65535");
        self.demand(devices <= 1_000_000, "design.devices", devices, "0 to 1000000");
        if devices == 0 {
            let alone = cases == 1 && repeats == 1;
            self.demand(alone, "design", "0 devices", "the number of devices that the cases are shared out to");
            return (trials, None);
        }
        let all = devices.saturating_mul(cases).saturating_mul(repeats);
        self.demand(all <= 1_000_000_000, "design", format!("{all} trials in all"), "1000000000 at most");
        if self.tree.is_written("trials") && trials.is_some_and(|trials| trials != all) {
            let found = trials.unwrap_or_default();
            self.fault(
                "trials",
                "`trials` and `[design]` do not agree",
                format!("found {found}, the design has {all}"),
            );
            self.mend("leave out `trials`: devices, cases and repeats say how many there are");
        }
        let repeats = u32::try_from(repeats).unwrap_or(u32::MAX);
        (Some(all), Some(Design { cases: cases.max(1), repeats: repeats.max(1) }))
    }

    fn looks(&mut self) -> Option<u32> {
        let looks: u32 = self.value("looks")?;
        self.demand((1..=1000).contains(&looks), "looks", looks, "1 to 1000");
        Some(looks.max(1))
    }

    /// Least and largest target value.
    fn target(&mut self, path: &str) -> Option<[f64; 2]> {
        let [low, high]: [f64; 2] = self.value(path)?;
        self.demand(low <= high, path, format!("{low} to {high}"), "the smaller value first");
        Some([low, high])
    }
}

/// One arm at one point; `None` with faults.
fn variant<'i>(
    base: &Tree<'i>,
    arm: &WrittenArm<'i>,
    (point, values): (u32, &[Override<'i>]),
    purpose: Purpose,
    faults: &mut Vec<Fault>,
    warnings: &mut Vec<Fault>,
) -> Option<Variant> {
    if let Some(fault) = overrides::conflict(arm, values) {
        faults.push(fault);
        return None;
    }
    let mut tree = base.clone();
    for change in arm.set.iter().chain(values) {
        if let Err(fault) = overrides::put(&mut tree, change) {
            faults.push(fault);
            return None;
        }
    }
    let mut reader = Reader::new(&tree);
    let found = reader.variant(&arm.name, point);
    let clean = reader.faults.is_empty();
    faults.append(&mut reader.faults);
    let mut variant = found.filter(|_| clean)?;
    if purpose == Purpose::Replay {
        replay::borrowed_tools(&tree, &variant.procedure, warnings);
        return Some(variant);
    }
    // A simulated tip is always pivoted.
    variant.procedure.instruments.probe_tip = None;
    warn::replaced_numbers(&tree, warnings);
    warn::thin_tissue(&tree, &variant.model.noise, warnings);
    warn::all_assumed(&tree, &mut variant.model.noise, warnings);
    warn::unusual_anatomy(&tree, &variant.model.anatomy, warnings);
    Some(variant)
}

impl Reader<'_, '_> {
    fn variant(&mut self, arm: &str, point: u32) -> Option<Variant> {
        // Every section is read before any is missed, so that each may speak of its own faults.
        let side = self.choice("anatomy.side", &[Side::Right, Side::Left], Side::word);
        let plane = self.choice("measure.plane", &Plane::ALL, Plane::word);
        let truth = match self.tree.get("measure.measurand_plane") {
            Some(_) => self.choice("measure.measurand_plane", &Plane::MEANT, Plane::word),
            None => plane.map(Plane::meant),
        };
        let femur = self.choice("measure.femur", &FemurFeature::ALL, FemurFeature::word);
        let angles = self.choice("measure.angles", &AngleDefinition::ALL, AngleDefinition::word);
        let (pivot, template) = (self.pivot_estimator(), side.and_then(|side| self.template(side)));
        let asked = self.asked();
        let least_tracked_proportion: Option<f64> = self.value("measure.least_tracked_proportion");
        if let Some(found) = least_tracked_proportion {
            self.demand((0.0..=1.0).contains(&found), "measure.least_tracked_proportion", found, "0 to 1");
        }
        let anatomy = self.section("anatomy", &["side"]);
        let implant = self.value("implant");
        let protocol = self.value("protocol");
        let camera = self.value("camera");
        let tools = self.value("tools");
        let reductions = self.optional::<Vec<Reduction>>("reduction");
        let reductions = reductions.unwrap_or_else(|| vec![final_reduction()]);
        let noise = self.section("noise", &["off", "only", "scale"]);
        let switches = self.switches();
        let mut model = Model {
            side: side?,
            anatomy: anatomy?,
            implant: implant?,
            protocol: protocol?,
            camera: camera?,
            imaging: None,
            tools: tools?,
            reductions,
            noise: noise?,
            replicates: Replicates::default(),
        };
        switch::apply(&mut model.noise, &switches?, self.tree);
        self.check_pelvis(&model.anatomy);
        self.check_implant(&model.implant);
        self.check_protocol(&model.protocol);
        self.check_tools(&model.tools);
        self.check_mount(&model.camera);
        self.check_reductions(&model.reductions);
        self.check_noise(&model.noise);
        self.check_correlations(&model.noise);
        self.check_pose_camera(&model);
        self.check_bases();
        self.check_markers(&model);
        let mut instruments = self.instruments(&model.tools)?;
        if model.camera.model == CameraModel::Pixel {
            let imaging = self.imaging(&model.camera)?;
            let stated_noise_px = model.camera.pixel.stated_noise_px;
            instruments.cameras = Some(Cameras { rig: imaging.rig.clone(), stated_noise_px });
            model.imaging = Some(imaging);
        }
        let (template_shape, template) = template?;
        let procedure = Procedure {
            side: model.side,
            plane: plane?,
            template,
            pivot: pivot?,
            femur: femur?,
            angles: angles?,
            instruments,
            least_tracked_proportion: least_tracked_proportion?,
            asked: asked?,
        };
        Some(Variant { arm: arm.to_owned(), point, model, procedure, template_shape, measurand_plane: truth? })
    }
}

/// The reduction of a file that names none.
fn final_reduction() -> Reduction {
    Reduction {
        name: "final".to_owned(),
        added_leg_length_mm: Quantity::ZERO,
        added_offset_mm: Quantity::ZERO,
        flexion_deg: 0.0,
        adduction_deg: 0.0,
        internal_rotation_deg: 0.0,
    }
}

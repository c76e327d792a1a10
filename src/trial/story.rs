//! One case told step by step: what was observed, what was estimated from it, and how far that is from the truth.

use super::one::TrialRunner;
use crate::geometry::{Direction, Displacement, Pivot, Point, Pose, Rotation};
use crate::measurement::{
    Camera, Estimates, Failure, Feature, FeaturePose, Observations, PelvicAxes, Pelvis, Plane, Step, Trace, Tracker,
    Unit, bony_axes, level_axes, restored_turn,
};
use crate::simulation::{Anatomy, CaseKey, Implant, TruePelvis, Truth};

/// A passage of the story: a table with a heading.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Passage {
    /// What happens.
    pub title: String,
    /// What was observed, in brief; empty if nothing was.
    pub observed: String,
    /// Headings of the columns, the first that of the names.
    pub columns: &'static [&'static str],
    /// Rows: a name, then text with its unit.
    pub rows: Vec<Vec<String>>,
}

const DRAWN: &[&str] = &["quantity", "true"];
const ESTIMATES: &[&str] = &["estimate", "measured", "true", "measured - true", "off by"];
const READINGS: &[&str] = &["output", "reading", "truth", "error"];

impl TrialRunner {
    /// The case with this absolute index as a story, in the order of the procedure. Positions and directions are in
    /// true bony axes (X anterior, Y superior, Z to the patient's right) unless a row says otherwise.
    #[must_use]
    pub fn story(&self, index: u64) -> Vec<Passage> {
        let (observed, estimates, truth) = self.case(index);
        let key = self.key(index);
        let teller = Teller { runner: self, key, observed, estimates, truth };
        let mut story = vec![teller.patient(), teller.change()];
        story.extend([teller.tip(), teller.plane()]);
        // Steps that nothing needs were left out.
        let needs = |step| self.procedure.needs(step);
        story.extend(needs(Step::FemurBaseline).then(|| teller.baseline()));
        story.extend(needs(Step::CentreNative).then(|| teller.native_centre()));
        story.push(teller.camera());
        story.extend(needs(Step::Cup).then(|| teller.cup()));
        story.extend(needs(Step::CentreNew).then(|| teller.new_centre()));
        let reductions = 0..teller.truth.reductions.len();
        story.extend(reductions.clone().filter_map(|reduction| teller.reduction(reduction)));
        story.extend(reductions.map(|reduction| teller.readings(reduction)));
        story
    }
}

struct Teller<'r> {
    runner: &'r TrialRunner,
    key: CaseKey,
    observed: Observations,
    estimates: Estimates,
    truth: Truth,
}

impl Teller<'_> {
    fn patient(&self) -> Passage {
        drawn("Truth: the patient", Anatomy::KEYS, &self.truth.patient.values())
    }

    fn change(&self) -> Passage {
        drawn("Truth: the change made, in true bony axes", Implant::KEYS, &self.truth.change.values())
    }

    fn tip(&self) -> Passage {
        let residual = self.estimates.residuals.tip_pivot_mm;
        self.passage(
            "1. The probe is pivoted about its tip",
            &[(Step::TipPivot, 0)],
            &pivot_residual(residual),
            vec![tip_row("tip, in tracker axes", self.estimates.tip, self.truth.tips[0])],
        )
    }

    fn plane(&self) -> Passage {
        let (estimates, scene) = (&self.estimates, &self.truth.scene);
        let mut rows = vec![
            self.place("left spine (ASIS)", estimates.asis_left, scene.asis_left),
            self.place("right spine (ASIS)", estimates.asis_right, scene.asis_right),
        ];
        let plane = self.runner.procedure.plane;
        if plane.needs(Step::Pubis) {
            rows.push(self.place("midpoint of the pubis", estimates.pubis, scene.pubis));
        }
        if plane.needs(Step::Level) {
            rows.push(self.direction("up", estimates.up, scene.up));
        }
        let turned = |(measured, true_axes): (PelvicAxes, PelvicAxes)| {
            let turn: Rotation<Pelvis, Pelvis> = true_axes * measured.inverse();
            let turn = turn.rotation_vector();
            vec![
                "plane, turned about its X, Y, Z".to_owned(),
                String::new(),
                String::new(),
                format!("{}°", three(&degrees(turn))),
                format!("{:.3}°", turn.length().to_degrees()),
            ]
        };
        let row = match (estimates.axes, self.true_axes()) {
            (Ok(measured), Some(true_axes)) => turned((measured, true_axes)),
            (Err(failure), _) => failed("plane", failure),
            (Ok(_), None) => vec!["plane".to_owned(), String::new(), "none".to_owned()],
        };
        rows.push(row);
        let steps = [(Step::Level, 0), (Step::AsisLeft, 0), (Step::AsisRight, 0), (Step::Pubis, 0)];
        let title = format!("2. The {} plane is measured", self.runner.procedure.plane.word());
        self.passage(&title, &steps, "", rows)
    }

    fn baseline(&self) -> Passage {
        let rows = self.feature(self.estimates.baseline, self.truth.baseline);
        let note = trace_residual(self.estimates.baseline);
        self.passage("3. The femoral feature at baseline", &[(Step::FemurBaseline, 0)], &note, rows)
    }

    fn native_centre(&self) -> Passage {
        let row = self.pivot("native centre", self.estimates.native, self.truth.scene.native_centre);
        let note = pivot_residual(self.estimates.residuals.native_mm);
        self.passage("4. The native head is turned in its socket", &[(Step::CentreNative, 0)], &note, vec![row])
    }

    fn camera(&self) -> Passage {
        let moved = self.runner.simulator.model().noise.camera.remount.displacement(&self.key);
        let centre = self.truth.scene.camera * self.truth.scene.renewed_centre;
        let (turn, shift) = (moved.rotation.rotation_vector(), moved.origin - Point::ORIGIN);
        let at_centre = moved * centre - centre;
        let row = |what: &str, value: &str, size: String| {
            vec![what.to_owned(), String::new(), String::new(), value.to_owned(), size]
        };
        let rows = vec![
            row(
                "turn, in camera axes",
                &format!("{}°", three(&degrees(turn))),
                format!("{:.3}°", turn.length().to_degrees()),
            ),
            row("shift, in camera axes", &format!("{} mm", three(&shift)), format!("{:.3} mm", shift.length())),
            row(
                "what that moves the new centre by",
                &format!("{} mm", three(&(self.to_pelvis().rotation * at_centre))),
                format!("{:.3} mm", at_centre.length()),
            ),
        ];
        self.passage("5. The camera is taken off and put back; all that follows is seen moved by this", &[], "", rows)
    }

    fn cup(&self) -> Passage {
        let (found, scene) = (self.estimates.cup_axis, &self.truth.scene);
        let mut rows = vec![self.direction("cup axis, out of the opening", found, scene.cup_axis)];
        if scene.final_cup_axis.as_displacement().vector() != scene.cup_axis.as_displacement().vector() {
            rows.push(self.direction("the same, against the cup in the end", found, scene.final_cup_axis));
        }
        self.passage("6. The inserter is held in the cup", &[(Step::Cup, 0)], "", rows)
    }

    fn new_centre(&self) -> Passage {
        let row = self.pivot("new centre", self.estimates.renewed, self.truth.scene.renewed_centre);
        let note = pivot_residual(self.estimates.residuals.renewed_mm);
        self.passage("7. The trial head is turned in the liner", &[(Step::CentreNew, 0)], &note, vec![row])
    }

    /// `None` where the feature was not located.
    fn reduction(&self, reduction: usize) -> Option<Passage> {
        let feature = self.truth.reductions[reduction].feature?;
        let estimated = self.estimates.reductions.get(reduction)?;
        let mut rows = Vec::new();
        if reduction == 0 {
            rows.push(tip_row("tip as seated again, in tracker axes", self.estimates.tip, self.truth.tips[1]));
        }
        rows.extend(self.feature(estimated.feature, feature));
        let take = u32::try_from(reduction).unwrap_or(u32::MAX);
        let title = format!("8. The femoral feature, {}", self.named(reduction));
        Some(self.passage(&title, &[(Step::FemurReduction, take)], &trace_residual(estimated.feature), rows))
    }

    fn readings(&self, reduction: usize) -> Passage {
        let (angles, plane) = (self.runner.procedure.angles, self.runner.measurand_plane);
        let truth = self.truth.reading(reduction, plane, angles);
        let rows = self.runner.procedure.asked.outputs().map(|output| {
            let truth = truth[output.place()];
            let unit = if output.unit() == Unit::Degrees { "°" } else { " mm" };
            let number = |value: f64| format!("{value:.3}{unit}");
            let read = self.estimates.reductions.get(reduction).map(|estimated| estimated.readings.get(output));
            let (read, error) = match read {
                Some(Ok(read)) => (number(read), number(read - truth)),
                Some(Err(failure)) => (format!("none: {failure}"), String::new()),
                None => ("none".to_owned(), String::new()),
            };
            vec![output.name().to_owned(), read, number(truth), error]
        });
        Passage {
            title: format!(
                "9. Readings, {}: {} plane, truth in the {} plane, angles {}",
                self.named(reduction),
                self.runner.procedure.plane.word(),
                plane.word(),
                angles.word()
            ),
            observed: String::new(),
            columns: READINGS,
            rows: rows.collect(),
        }
    }

    fn named(&self, reduction: usize) -> String {
        let name = self.runner.simulator.model().reductions.get(reduction).map_or("", |asked| asked.name.as_str());
        format!("reduction {} ({name})", reduction + 1)
    }

    fn passage(&self, title: &str, steps: &[(Step, u32)], note: &str, rows: Vec<Vec<String>>) -> Passage {
        let mut seen: Vec<_> = steps.iter().filter_map(|&(step, take)| self.seen(step, take)).collect();
        if !note.is_empty() {
            seen.push(note.to_owned());
        }
        Passage { title: title.to_owned(), observed: seen.join("; "), columns: ESTIMATES, rows }
    }

    /// How much was recorded of a step; `None` if nothing was.
    fn seen(&self, step: Step, take: u32) -> Option<String> {
        let of_step = self.observed.captures.iter().filter(|capture| capture.step == step && capture.take == take);
        let frames: Vec<_> = of_step.map(|capture| capture.frames.len().to_string()).collect();
        let what = if step == Step::Level { "readings" } else { "frames" };
        (!frames.is_empty()).then(|| format!("{step}: {} {what}", frames.join(" + ")))
    }

    /// From camera axes, as the camera was before it was taken off, to true bony axes.
    fn to_pelvis(&self) -> Pose<Camera, TruePelvis> {
        self.truth.scene.camera.inverse()
    }

    /// Axes of the measured plane that true landmarks and true up would give.
    fn true_axes(&self) -> Option<PelvicAxes> {
        let scene = &self.truth.scene;
        let (left, right) = (scene.camera * scene.asis_left, scene.camera * scene.asis_right);
        match self.runner.procedure.plane.meant() {
            Plane::Bony | Plane::Template => bony_axes(left, right, scene.camera * scene.pubis),
            Plane::Level => level_axes(scene.camera.rotation * scene.up, left, right),
        }
    }

    fn place(&self, what: &str, found: Result<Point<Camera>, Failure>, truth: Point<TruePelvis>) -> Vec<String> {
        match found {
            Ok(found) => point_row(what, self.to_pelvis() * found, truth),
            Err(failure) => failed(what, failure),
        }
    }

    fn pivot(
        &self,
        what: &str,
        found: Result<Pivot<Tracker, Camera>, Failure>,
        truth: Point<TruePelvis>,
    ) -> Vec<String> {
        self.place(what, found.map(|pivot| pivot.in_space), truth)
    }

    fn direction(
        &self,
        what: &str,
        found: Result<Direction<Camera>, Failure>,
        truth: Direction<TruePelvis>,
    ) -> Vec<String> {
        let found = match found {
            Ok(found) => self.to_pelvis().rotation * found,
            Err(failure) => return failed(what, failure),
        };
        let (a, b) = (found.as_displacement(), truth.as_displacement());
        // Accurate for small angles, where an inverse cosine is not.
        let angle = 2.0 * libm::atan2((a - b).length(), (a + b).length());
        vec![what.to_owned(), three(&a), three(&b), three(&(a - b)), format!("{:.3}°", angle.to_degrees())]
    }

    /// Place and orientation of the femoral feature.
    fn feature(&self, found: Result<Trace, Failure>, truth: Pose<Feature, TruePelvis>) -> Vec<Vec<String>> {
        let kind = self.runner.procedure.femur.strategy();
        let what = format!("{}, place", kind.word);
        let found = match found {
            Ok(found) => found.pose,
            Err(failure) => return vec![failed(&what, failure)],
        };
        let true_pose = (kind.shown)(self.truth.scene.camera * truth);
        let mut rows = vec![point_row(&what, self.to_pelvis() * found.place(), truth.origin)];
        let what = match true_pose {
            FeaturePose::Place(_) => return rows,
            FeaturePose::Axial(..) => format!("{}, axis turned (spin stays unseen)", kind.word),
            FeaturePose::Elliptic(_) | FeaturePose::Full(_) => format!("{}, turned", kind.word),
        };
        rows.push(match restored_turn(&true_pose, &found) {
            Ok(turn) => {
                let turn = self.to_pelvis().rotation * turn.rotation_vector();
                let size = format!("{:.3}°", turn.length().to_degrees());
                vec![what, String::new(), String::new(), format!("{}°", three(&degrees(turn))), size]
            }
            Err(reason) => vec![what, format!("none: {reason}")],
        });
        rows
    }
}

fn drawn(title: &str, keys: &[&str], values: &[f64]) -> Passage {
    let row = |(key, value): (&&str, &f64)| {
        let (name, unit) = match key.rsplit_once('_') {
            Some((name, "mm")) => (name, " mm"),
            Some((name, "deg")) => (name, "°"),
            _ => (*key, ""),
        };
        vec![name.replace('_', " "), format!("{value:.3}{unit}")]
    };
    let rows = keys.iter().zip(values).map(row).collect();
    Passage { title: title.to_owned(), observed: String::new(), columns: DRAWN, rows }
}

fn tip_row(what: &str, found: Result<Point<Tracker>, Failure>, truth: Point<Tracker>) -> Vec<String> {
    match found {
        Ok(found) => point_row(what, found, truth),
        Err(failure) => failed(what, failure),
    }
}

fn point_row<A>(what: &str, found: Point<A>, truth: Point<A>) -> Vec<String> {
    let off = found - truth;
    vec![
        what.to_owned(),
        format!("{} mm", three(&(found - Point::ORIGIN))),
        format!("{} mm", three(&(truth - Point::ORIGIN))),
        format!("{} mm", three(&off)),
        format!("{:.3} mm", off.length()),
    ]
}

fn failed(what: &str, failure: Failure) -> Vec<String> {
    vec![what.to_owned(), format!("none: {failure}")]
}

/// Three components, aligned from row to row.
fn three<A>(vector: &Displacement<A>) -> String {
    format!("{:9.3} {:9.3} {:9.3}", vector.x(), vector.y(), vector.z())
}

/// A rotation vector in degrees.
fn degrees<A>(vector: Displacement<A>) -> Displacement<A> {
    1_f64.to_degrees() * vector
}

fn pivot_residual(residual_mm: f64) -> String {
    format!("residual of the pivot {residual_mm:.3} mm")
}

fn trace_residual(trace: Result<Trace, Failure>) -> String {
    match trace {
        Ok(Trace { largest_gap_deg, residual_rms_mm, .. }) if largest_gap_deg > 0.0 => {
            format!("residual of the fit {residual_rms_mm:.3} mm, largest gap {largest_gap_deg:.0}°")
        }
        Ok(Trace { pose: FeaturePose::Full(_), residual_rms_mm, .. }) => {
            format!("residual of the fit {residual_rms_mm:.3} mm")
        }
        _ => String::new(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::experiment::Plan;

    fn story(text: &str) -> Vec<Passage> {
        let plan = Plan::parse("story.toml", text).unwrap_or_else(|error| panic!("{error}"));
        TrialRunner::new(&plan.variants[0], plan.seed).story(5)
    }

    /// Without noise every estimate is the truth, in every plane and with every feature.
    #[test]
    fn identity_without_noise_nothing_is_off() {
        for plane in ["bony", "level"] {
            for femur in ["divot", "circle", "ellipse", "three-divots"] {
                let text = format!(
                    "seed = 4\n[measure]\nplane = \"{plane}\"\nfemur = \"{femur}\"\n[noise]\nonly = [\"posture\"]\n\
                     [[reduction]]\nname = \"first\"\nflexion_deg = 4\n[[reduction]]\nname = \"second\"\n"
                );
                let told = story(&text);
                let estimates: Vec<_> = told.iter().filter(|passage| passage.columns == ESTIMATES).collect();
                assert_eq!(estimates.len(), 9, "{plane} {femur}");
                for row in estimates.iter().flat_map(|passage| &passage.rows) {
                    let off = row.last().map_or("", String::as_str);
                    assert!(["0.000 mm", "0.000°"].contains(&off), "{plane} {femur}: {row:?}");
                }
            }
        }
    }

    /// A level that reads one degree of tilt too much turns the plane by one degree about Z and moves up by as much.
    #[test]
    fn identity_a_known_tilt_is_told() {
        let told = story(
            "seed = 4\n[measure]\nplane = \"level\"\n[noise]\nonly = [\"level.table\"]\n\
             [noise.level.table]\nabout_y_deg = 0\nabout_z_deg = 1\n",
        );
        let plane = told.iter().find(|passage| passage.title.starts_with("2.")).expect("step 2");
        let off: Vec<_> = plane.rows.iter().map(|row| row[4].as_str()).collect();
        assert_eq!(off, ["0.000 mm", "0.000 mm", "1.000°", "1.000°"]);
        assert!(plane.rows[3][3].ends_with("1.000°"), "{:?}", plane.rows[3]);
    }

    /// The readings told are the rows of the run.
    #[test]
    fn identity_the_story_ends_as_the_row() {
        use crate::record::{Block, PartId, Parts, Rows, Schema, write_part};
        let plan = Plan::parse("story.toml", "seed = 9\n").unwrap_or_else(|error| panic!("{error}"));
        let runner = TrialRunner::new(&plan.variants[0], plan.seed);
        let mut rows = Block::with_capacity(runner.schema(), 6);
        let mut worker = super::super::Worker::default();
        (0..6).for_each(|index| runner.trial(index, &mut worker, &mut rows));
        let folder = tempfile::tempdir().expect("a folder");
        let origin =
            crate::record::Origin { simulation_hash: "", seed: plan.seed, arm: "base", point: 0, replicate: 0 };
        write_part(folder.path(), PartId::holding(0, 0), origin, &rows).expect("a part");
        let parts = Parts::list(folder.path()).expect("parts");
        let told = runner.story(5);
        let readings = told.last().expect("readings");
        for (output, row) in crate::measurement::OUTPUTS.iter().zip(&readings.rows) {
            let name = Schema::error_column(*output);
            let column = parts.column(0, &name, Rows::All).expect("a column");
            let error = column.get(5).expect("a reading");
            assert!(row[3].starts_with(&format!("{error:.3}")), "{name} {error} {row:?}");
        }
    }
}

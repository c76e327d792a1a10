//! Keys of the experiment file.

use super::{Entry, Kind, default_at, defaults, unit_of};

/// Path and meaning of each key; the quantities of `[anatomy]`, `[implant]` and the noise sources stand elsewhere.
const KEYS: &[(&str, &str)] = &[
    ("title", "name of the experiment, for headings; the name of the file unless given"),
    ("question", "the question that the experiment answers"),
    ("context_of_use", "what the answer is used for"),
    ("seed", "seed of all draws, a whole number from 0; the same seed gives the same draws on every machine"),
    ("trials", "number of trials of each variant, 1 to 1000000000; a longer run begins with the shorter one"),
    (
        "looks",
        "number of looks at verdicts, with more trials or other seeds; declared before the first, each then uses the \
         confidence 1 - (1 - c)/looks",
    ),
    (
        "planning.outside_of_allowed",
        "true proportions outside a limit that the number of trials is planned for, each as a share of the allowed \
         proportion; 0 or more and less than 1. No verdict depends on them",
    ),
    (
        "planning.device_share",
        "for a nested design: shares of the variance that is between devices, 0 to 1, that the number of devices is planned for",
    ),
    ("planning.mcse_deg", "Monte Carlo standard error of estimates of angles that is aimed at"),
    ("planning.mcse_mm", "Monte Carlo standard error of estimates of lengths that is aimed at"),
    (
        "requirements_needed",
        "how many of the requirements each variant must pass; all: every one, each tested at its own confidence; any: one \
         suffices, and Holm's correction over the requirements of a variant holds the chance of a wrong pass",
    ),
    (
        "multiplicity",
        "how primary comparisons are tested together; holm: Holm's correction over all of them at all points of the sweeps; \
         fixed-sequence: in the order of the file, each at the full 1 - c, until one is not shown",
    ),
    ("design.devices", "devices of a nested design; 0: every trial is a new device and a new case"),
    ("design.cases", "cases of each device"),
    ("design.repeats", "repeats of each case: captures and frames are new, patient and device the same"),
    (
        "report.kind",
        "documents beside report.html, which holds everything: verification, engineering, comparison, or a list of them; all: \
         those that the experiment has what they need for (a requirement; a section [sensitivity] or a sweep; two arms)",
    ),
    ("report.draft", "whether the documents are marked as drafts; set to false by the person who releases them"),
    (
        "report.model_influence",
        "for the verification report: how much the decision rests on the simulation, against all other evidence; a marked \
         blank unless given",
    ),
    (
        "report.decision_consequence",
        "for the verification report: what a wrong decision would do; a marked blank unless given",
    ),
    (
        "report.bench",
        "a file for `navassay replay` with recorded cases of known truth: this run's errors are held against theirs in the \
         report, and the folder of the run keeps them",
    ),
    (
        "report.bench_comparison",
        "for the verification report: where else the simulation is compared with bench data, and what came of it",
    ),
    ("report.author", "who wrote the documents; a blank to be filled in unless given"),
    ("report.reviewer", "who reviewed them; a blank to be filled in unless given"),
    ("report.approver", "who approved them; a blank to be filled in unless given"),
    ("report.target_inclination_deg", "target box of the cup: least and largest inclination"),
    ("report.target_anteversion_deg", "target box of the cup: least and largest anteversion"),
    ("anatomy.side", "the operated side: right or left"),
    ("anatomy.basis", "where the numbers of this section come from; replaced whole"),
    ("implant.basis", "where the numbers of this section come from; replaced whole"),
    ("basis.kind", "of any basis: measured, published or assumed"),
    ("basis.source", "of any basis: the publication; needed where kind is published"),
    ("basis.note", "of any basis: what a reader should know"),
    ("protocol.frame_rate_hz", "camera frames a second"),
    (
        "protocol.hold_direction",
        "direction from the tip of probe or head tracker to the hand that holds it: anterior, superior, lateral",
    ),
    (
        "protocol.tip_pivot_position_mm",
        "where the probe's tip is pivoted, from the native hip centre: anterior, superior, lateral",
    ),
    ("protocol.tip_pivot_frames", "frames of the tip pivot, at least 3"),
    ("protocol.tip_pivot_cone_deg", "angle of the probe to the axis of the cone on which it is pivoted"),
    ("protocol.level_captures", "readings of the level; their mean is used"),
    ("protocol.landmark_frames", "frames of one landmark capture"),
    ("protocol.landmark_captures", "captures of each landmark; the mean of their points is used"),
    ("protocol.divot_frames", "frames of one hold in a divot"),
    ("protocol.divot_captures", "holds in each divot; the mean of their points is used"),
    ("protocol.trace_frames", "frames of one trace of a groove, at least 12"),
    (
        "protocol.trace_captures",
        "traces of a groove, each once round from a start of its own; all are fitted together",
    ),
    ("protocol.trace_unevenness", "how uneven the speed of a trace is: 0 even, up to 0.9"),
    ("protocol.centre_frames", "frames of each turning of the hip, at least 3"),
    ("protocol.centre_cone_deg", "angle of the head to the axis of the cone on which it is turned"),
    ("protocol.cup_frames", "frames of the cup reading"),
    (
        "protocol.stillness_limit_mm",
        "stillness gate: a hold of the probe with a frame whose tip lies further than this from the mean tip is taken \
         again; the tips are those that the camera sees, with the tip as it was calibrated. No gate unless it is given",
    ),
    (
        "protocol.stillness_tries",
        "how often a hold is tried in all, 1 to 100, before it is given up and fails as not still; used with a limit",
    ),
    (
        "camera.pose_covariance",
        "of the model pose: covariance of one pose, six rows of shift along X, Y, Z (mm) and rotation vector about X, \
         Y, Z (degrees), about the tracker's origin; that of tracker.jitter unless given",
    ),
    (
        "camera.model",
        "kind of camera; marker: noise on the position of each marker in space (tracker.jitter across_mm, along_mm); \
         pixel: one or two pinhole cameras, noise on the image of each marker (tracker.jitter pixel_px) and the pose \
         solved from the images; pose: noise of the tracker's pose, as that of its markers makes it to first order",
    ),
    ("camera.position_mm", "origin of the camera from the spine of the operated side: anterior, superior, lateral"),
    (
        "camera.aim_mm",
        "what the camera looks at, from the native hip centre: anterior, superior, lateral; in the image, right is across \
         the patient and down is towards the feet",
    ),
    (
        "camera.mount",
        "what carries the camera; pelvis: the pelvis, so that its motion cancels; stand: a stand, and the pelvis carries a \
         tracker that is seen in every frame beside the tool. Then each pose is measured from that tracker, with the noise \
         of both; camera.remount and camera.drift move the pelvis tracker, and the level is read in its axes",
    ),
    (
        "camera.pelvis_tracker_mm",
        "mount stand: origin of the tracker on the pelvis from the spine of the operated side: anterior, superior, lateral; \
         it faces the camera",
    ),
    ("camera.pixel.cameras", "model pixel: number of cameras, 1 or 2"),
    ("camera.pixel.focal_length_px", "model pixel: focal length"),
    ("camera.pixel.principal_point_px", "model pixel: where the optical axis meets the image, from its corner"),
    ("camera.pixel.radial_distortion", "model pixel: Brown's radial terms k1, k2, k3, of tangents of angles"),
    ("camera.pixel.tangential_distortion", "model pixel: Brown's decentring terms p1, p2"),
    ("camera.pixel.resolution_px", "model pixel: width and height of the image; a marker outside is not seen"),
    (
        "camera.pixel.largest_view_angle_deg",
        "model pixel: largest angle between a marker's normal and the line to the camera at which it is seen",
    ),
    (
        "camera.pixel.stated_noise_px",
        "model pixel: sd of a marker's image, each coordinate, that the maker states and the measurement takes for true; it \
         decides when two poses of a tracker cannot be told apart (ambiguous pose); 0: never",
    ),
    (
        "camera.second.position_mm",
        "two cameras: origin of the second in the first's axes, X to the right in the image, Y downwards, Z along the \
         optical axis",
    ),
    (
        "camera.second.rotation_deg",
        "two cameras: rotation vector that turns the first's axes into the second's, in the first's axes",
    ),
    ("camera.second.focal_length_px", "two cameras: focal length of the second; as the first unless given"),
    ("camera.second.principal_point_px", "two cameras: principal point of the second; as the first unless given"),
    ("camera.second.radial_distortion", "two cameras: k1, k2, k3 of the second; as the first unless given"),
    ("camera.second.tangential_distortion", "two cameras: p1, p2 of the second; as the first unless given"),
    ("camera.second.resolution_px", "two cameras: width and height of the second's image; as the first unless given"),
    ("tools.probe_markers_mm", "markers of the probe's tracker as drawn; at least 3, not in a line"),
    ("tools.inserter_markers_mm", "markers of the inserter's tracker as drawn; at least 3, not in a line"),
    ("tools.head_markers_mm", "markers of the tracker that is fixed to the head; at least 3, not in a line"),
    (
        "tools.probe_marker_normals",
        "direction in which each of the probe's markers looks, in the axes of its tracker; none: all along +Z. Only the \
         camera model pixel asks",
    ),
    ("tools.inserter_marker_normals", "direction in which each of the inserter's markers looks; none: all along +Z"),
    ("tools.head_marker_normals", "direction in which each of the head's markers looks; none: all along +Z"),
    (
        "tools.pelvis_markers_mm",
        "mount stand: markers of the tracker on the pelvis as drawn; at least 3, not in a line",
    ),
    (
        "tools.pelvis_marker_normals",
        "direction in which each of the pelvis tracker's markers looks; none: all along +Z",
    ),
    ("tools.probe_tip_mm", "tip of the probe in the axes of its tracker"),
    ("tools.cup_axis", "cup axis in the axes of the inserter's tracker, out of the opening"),
    ("tools.inserter_length_mm", "distance of the inserter's tracker from the cup centre along the cup axis"),
    ("tools.head_centre_mm", "head centre in the axes of the tracker that is fixed to it"),
    ("tools.circle_radius_mm", "radius of the round groove"),
    ("tools.ellipse_semi_axes_mm", "semi-axes of the elliptic groove, the major one first"),
    ("tools.three_divots_mm", "the three divots as drawn; for a left hip write the mirrored drawing"),
    (
        "tools.feature_position_mm",
        "the feature from the point where neck and shaft axes meet: anterior, superior, lateral",
    ),
    ("tools.feature_normal", "normal of the feature: anterior, superior, lateral"),
    ("measure.outputs", "the outputs that are asked for; steps that none of them needs are left out"),
    ("measure.plane", "the plane that is measured: bony, level or template"),
    ("measure.pivot", "how pivots are estimated, the probe's tip and both hip centres: one-step, sphere or robust"),
    ("measure.template.asis_width_mm", "plane template: the population's mean distance between the spines"),
    ("measure.template.asis_width_sd_mm", "plane template: its standard deviation between patients"),
    (
        "measure.template.pubis_drop_mm",
        "plane template: the population's mean distance of the pubis from the line of the spines",
    ),
    ("measure.template.pubis_drop_sd_mm", "plane template: its standard deviation between patients"),
    (
        "measure.template.hip_ratio",
        "plane template: hip centre from the midpoint of the spines in widths: anterior, superior, lateral",
    ),
    (
        "measure.template.hip_sd_mm",
        "plane template: standard deviation of hip centres about that: anterior, superior, lateral",
    ),
    (
        "measure.template.asis_sd_mm",
        "plane template: how well a spine is believed to be touched, standard deviation: anterior, superior, lateral",
    ),
    ("measure.template.pubis_sd_mm", "plane template: the same of the pubis"),
    ("measure.template.centre_sd_mm", "plane template: the same of the native hip centre"),
    (
        "measure.measurand_plane",
        "the plane in which truth is stated: bony or level; the measured one unless given, bony for template",
    ),
    ("measure.femur", "the femoral feature: divot, circle, ellipse or three-divots"),
    ("measure.angles", "the definition of the cup angles: radiographic, operative or anatomic"),
    (
        "measure.least_tracked_proportion",
        "proportion of a capture's frames that must give a pose; with fewer the capture fails, for the reason of most \
         lost frames",
    ),
    ("replay.recordings", "the file of recorded cases, CSV or Parquet, from the folder of the experiment file"),
    ("replay.truth", "the file of what is known to be true of them; optional"),
    (
        "replay.model",
        "the folder of a simulated run of the same arms, whose errors predict those of the bench; optional",
    ),
    (
        "replay.still",
        "steps in which the tool was held still by a fixture: their frames show the camera's noise alone",
    ),
    (
        "replay.remount",
        "steps recorded in several takes, the tool left where it was and the camera taken off and put back between them",
    ),
    ("replay.confidence", "confidence of fitted intervals, and of the statement that a bench is not predicted"),
    ("noise.off", "noise sources that are switched off: ids, or the beginnings of ids"),
    (
        "noise.only",
        "noise sources that alone are on: ids, or the beginnings of ids; not together with off. A source that is off by default \
         stays off unless its full id is here or the file has its section",
    ),
    ("noise.scale", "factor on all draws of a source, or of all whose ids begin so; for a rare event on its size"),
    (
        "noise.correlation.between",
        "names of two sets of components whose scores are correlated. A name is the id of a source (landmark.palpation.asis), \
         alone or followed by an item (.operated), an axis (.anterior) or both (.operated.anterior); `navassay explain` lists \
         the components of each source. Where both names end in an axis, these two are paired; else every axis with the axis of \
         the same name. Every item of one is paired with every item of the other. Paired components must be drawn at the same \
         stratum: for each device, each case, each capture of a landmark, or once in a repeat of a case; and from axes of their \
         own, not from a covariance with numbers off its diagonal",
    ),
    (
        "noise.correlation.coefficient",
        "correlation of the standard normal scores of each pair, -1 to 1; pairs that are not named have 0, and all must be \
         possible together: one component correlated with n independent ones at r needs n r^2 <= 1. Of a landmark, the part that \
         repeats within a case and the part of each capture are each correlated; a hold that the stillness gate has taken again \
         is drawn independently. The source that comes first in the list of sources keeps its draws, even if it is switched off",
    ),
    ("reduction.name", "name of the reduction; each must differ"),
    ("reduction.added_leg_length_mm", "leg length that its components add to the change drawn; 0 unless given"),
    ("reduction.added_offset_mm", "offset that its components add to the change drawn; 0 unless given"),
    ("reduction.flexion_deg", "flexion that the operator gives the leg; 0 unless given"),
    ("reduction.adduction_deg", "adduction that the operator gives the leg; 0 unless given"),
    ("reduction.internal_rotation_deg", "internal rotation that the operator gives the leg; 0 unless given"),
    ("arm.name", "name of the arm; each must differ"),
    ("arm.set", "paths and their values in this arm, for example { \"measure.plane\" = \"level\" }"),
    ("comparison.id", "id of a claim on two arms; each must differ"),
    ("comparison.text", "the claim in words"),
    ("comparison.arm", "name of the arm that the claim is about"),
    ("comparison.against", "name of the arm that it is held against"),
    ("comparison.output", "the output whose errors are compared"),
    ("comparison.measure", "what is compared of the errors: bias, sd, rms or p95_abs"),
    (
        "comparison.claim",
        "what is claimed of the difference, arm less against: equivalent (within the margin either way), not-worse (larger by \
         less than the margin) or better (smaller by more than the margin)",
    ),
    ("comparison.margin_deg", "margin of the difference of an angle, stated before the run; of better it may be 0"),
    ("comparison.margin_mm", "margin of the difference of a length, stated before the run; of better it may be 0"),
    (
        "comparison.confidence",
        "confidence c of the one-sided tests. Primary comparisons have one confidence, with which all their verdicts hold at \
         once; m of them over all points have intervals at 1 - (1 - c)/m",
    ),
    (
        "comparison.primary",
        "true: the claim is judged, in one family with all other primary ones; otherwise it is exploratory: an interval and no \
         verdict",
    ),
    ("sweep.vary", "path of the setting that is varied; several sweeps span a grid"),
    ("sweep.over", "its values, for example [1, 2, 4]"),
    ("sweep.between", "instead of values the lower and the upper end of a range"),
    ("sweep.points", "number of values in the range, 2 to 1000"),
    (
        "sweep.sample",
        "how the range is met: grid, at equal distances (unless given), or latin-hypercube, together with all other such sweeps \
         of as many points",
    ),
    ("requirement.id", "id of the requirement; each must differ"),
    ("requirement.risk", "id in the user's own risk file; optional"),
    ("requirement.text", "the requirement in words"),
    ("requirement.output", "the output that it limits"),
    ("requirement.limit_deg", "limit of the error of an angle"),
    ("requirement.limit_mm", "limit of the error of a length"),
    (
        "requirement.direction",
        "which errors the limit limits: either (the absolute error, unless another is given), above (read too high), below \
         (read too low)",
    ),
    ("requirement.guard_deg", "guard band of an angle: a pass must hold the limit less this; 0 unless given"),
    ("requirement.guard_mm", "guard band of a length: a pass must hold the limit less this; 0 unless given"),
    (
        "requirement.all_of",
        "ids of requirements whose limits must hold in the same case; in place of output and limit",
    ),
    ("requirement.proportion", "proportion of the cases that must be within the limit, between 0 and 1"),
    ("requirement.confidence", "confidence with which that must be shown, between 0 and 1"),
    (
        "sensitivity.groups",
        "sources that are asked as one input: a name and the ids of sources, or beginnings of ids; also anatomy, implant \
         and protocol. What no group names is the group rest",
    ),
    ("sensitivity.rows", "cases that each question is put to, each a new device and a new patient; 64 or more"),
    (
        "sensitivity.ask",
        "what is asked where the section stands in the file: indices, shapley, one-at-a-time (a rare event of a source by \
         itself), linear, offsets, uncertain, allocation (the search of `navassay budget`, for the first arm); one or more",
    ),
    (
        "sensitivity.outer_points",
        "points of the outer loop over magnitudes that are known within a range only, such as sd = { between = [2.0, 5.0] }; 4 to \
         1000",
    ),
    (
        "sensitivity.cost",
        "for `navassay budget`: relative cost of keeping a group or a source small, by its name or the beginning of its id; 1 \
         unless given. Keeping it at a scale costs this over the scale; the strategy `by cost` makes the sum least",
    ),
    (
        "sensitivity.pair",
        "for `navassay budget`: two groups or sources whose common region is drawn; none unless given",
    ),
    ("sensitivity.assurance", "for `navassay budget`: probability with which a run passes at the assured scale"),
];

/// The keys, with units and defaults.
pub fn keys() -> Vec<Entry> {
    let defaults = defaults();
    let entry = |&(path, meaning): &(&str, &str)| {
        let entry = Entry::new(Kind::Key, path, meaning);
        let entry = match unit_of(path) {
            "none" => entry,
            unit => entry.fact("unit", unit),
        };
        match (default_at(&defaults, path), path.strip_suffix(".basis")) {
            (Some(_), Some(section)) => entry.fact("default", super::basis_at(&defaults, section)),
            (Some(default), None) => entry.fact("default", default),
            (None, _) => entry,
        }
    };
    KEYS.iter().map(entry).collect()
}

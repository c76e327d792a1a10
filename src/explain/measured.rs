//! What is measured and how: outputs, planes, definitions, features, distributions and failures.

use super::{Entry, Kind};
use crate::measurement::{AngleDefinition, FemurFeature, OUTPUTS, Output, PivotEstimator, Plane, Reason, Unit};

const MURRAY: &str = "Murray DW. J Bone Joint Surg Br 1993;75-B:228-232";
const ISB: &str = "axes in the order of ISB, Wu G et al. J Biomech 2002;35:543-548";

/// The seven outputs.
pub fn outputs() -> Vec<Entry> {
    let entry = |output: &Output| {
        let (meaning, sign) = match output {
            Output::Inclination => (
                "cup inclination in the measured plane, by the definition in `measure.angles`",
                "more is a more open cup",
            ),
            Output::Anteversion => (
                "cup anteversion in the measured plane, by the definition in `measure.angles`",
                "positive opens forwards",
            ),
            Output::LegLength => (
                "change of leg length from baseline to the reduction: how far the femur has moved down, its baseline \
                 orientation restored about the new centre",
                "longer is positive",
            ),
            Output::Offset => (
                "change of offset from baseline to the reduction: how far the femur has moved outwards, its baseline \
                 orientation restored about the new centre",
                "more lateral is positive",
            ),
            Output::CentreSuperior => ("shift of the hip centre upwards", "upwards is positive"),
            Output::CentreLateral => ("shift of the hip centre outwards", "towards the operated side is positive"),
            Output::CentreAnterior => ("shift of the hip centre forwards", "forwards is positive"),
        };
        let (unit, limit) = match output.unit() {
            Unit::Degrees => ("degrees", "limit_deg"),
            Unit::Millimetres => ("mm", "limit_mm"),
        };
        let (id, suffix) = (output.id(), output.unit().suffix());
        Entry::new(Kind::Output, id, meaning)
            .fact("name", output.name())
            .fact("unit", unit)
            .fact("sign", sign)
            .fact("columns", format!("{id}_true_{suffix}, {id}_read_{suffix}, {id}_error_{suffix}"))
            .fact("limit in a requirement", limit)
    };
    OUTPUTS.iter().map(entry).collect()
}

/// The planes.
pub fn planes() -> Vec<Entry> {
    let entry = |plane: Plane| {
        let strategy = plane.strategy();
        let keys =
            if Plane::MEANT.contains(&plane) { "measure.plane, measure.measurand_plane" } else { "measure.plane" };
        Entry::new(Kind::Plane, strategy.word, strategy.meaning)
            .fact("axes", strategy.built)
            .fact("order", ISB)
            .fact("in the file", keys)
    };
    Plane::ALL.into_iter().map(entry).collect()
}

/// The estimators of pivots.
pub fn pivots() -> Vec<Entry> {
    let entry = |estimator: PivotEstimator| {
        let strategy = estimator.strategy();
        Entry::new(Kind::Pivot, strategy.word, strategy.meaning)
            .fact("source", strategy.source)
            .fact("in the file", "measure.pivot")
    };
    PivotEstimator::ALL.into_iter().map(entry).collect()
}

/// The definitions of the cup angles.
pub fn angles() -> Vec<Entry> {
    let entry = |definition: AngleDefinition| {
        let (meaning, inclination, anteversion) = match definition {
            AngleDefinition::Radiographic => (
                "as on an antero-posterior radiograph: inclination of the axis projected on the plane, anteversion \
                 out of the plane",
                "atan2(s a_z, -a_y)",
                "asin(a_x)",
            ),
            AngleDefinition::Operative => (
                "as the surgeon sees it: inclination out of the sagittal plane, anteversion of the axis projected \
                 on that plane",
                "asin(s a_z)",
                "atan2(a_x, -a_y)",
            ),
            AngleDefinition::Anatomic => (
                "as in the anatomy room: inclination to the longitudinal axis, anteversion of the axis projected on \
                 the transverse plane",
                "acos(-a_y)",
                "atan2(a_x, s a_z)",
            ),
        };
        Entry::new(Kind::Angles, definition.word(), meaning)
            .fact("inclination", inclination)
            .fact("anteversion", anteversion)
            .fact("letters", "a: the cup axis, out of the opening, in pelvic axes; s: +1 right hip, -1 left hip")
            .fact("source", MURRAY)
            .fact("in the file", "measure.angles")
    };
    [AngleDefinition::Radiographic, AngleDefinition::Operative, AngleDefinition::Anatomic]
        .into_iter()
        .map(entry)
        .collect()
}

/// The femoral features.
pub fn features() -> Vec<Entry> {
    let entry = |feature: FemurFeature| {
        let strategy = feature.strategy();
        Entry::new(Kind::Feature, strategy.word, strategy.meaning)
            .fact("turn of the femur", strategy.turn)
            .fact("estimator", strategy.estimator)
            .fact("in the file", "measure.femur")
    };
    FemurFeature::ALL.into_iter().map(entry).collect()
}

/// The distributions, with what they are written with.
pub fn distributions() -> Vec<Entry> {
    let entry = |id: &&str| {
        let (meaning, parameters, example): (_, &[(&str, &str)], _) = match *id {
            "normal" => (
                "bell-shaped and symmetric",
                &[("mean", "mean; 0 unless given"), ("sd", "standard deviation, 0 or more")],
                "{ normal = { mean = 238.0, sd = 20.1, truncated = [188, 274] } }",
            ),
            "rectangular" => (
                "all values between two bounds equally probable (GUM, JCGM 100, 4.3.7)",
                &[("low", "lower bound"), ("high", "upper bound")],
                "{ rectangular = { low = -1.0, high = 1.0 } }",
            ),
            "triangular" => (
                "rising from the lower bound to the mode and falling to the upper bound (GUM, JCGM 100, 4.3.9, \
                 symmetric there)",
                &[("low", "lower bound"), ("mode", "where the density is largest"), ("high", "upper bound")],
                "{ triangular = { low = 0.0, mode = 1.0, high = 4.0 } }",
            ),
            "lognormal" => (
                "a positive quantity whose logarithm is normal",
                &[("median", "median, above 0"), ("log_sd", "standard deviation of the natural logarithm")],
                "{ lognormal = { median = 1.0, log_sd = 0.5 } }",
            ),
            "student_t" => (
                "Student's t, scaled and shifted (JCGM 101:2008, 6.4.9): heavier tails than normal, as for the mean of a \
                 few readings",
                &[
                    ("location", "centre; 0 unless given"),
                    ("scale", "factor on the standard t, 0 or more; the standard deviation is larger than this"),
                    ("degrees_of_freedom", "0.5 or more; a mean of n readings has n - 1"),
                ],
                "{ student_t = { scale = 0.2, degrees_of_freedom = 4 } }",
            ),
            "mixture" => (
                "a rare event: a main distribution and, with a probability, another. Its quantile is tabulated once, \
                 right to 1e-7 of the typical size",
                &[
                    ("main", "what is drawn as a rule: a number or any distribution"),
                    ("event", "what is drawn in the event: a number or any distribution"),
                    ("probability", "probability of the event, 0 to 1"),
                ],
                "{ mixture = { main = { normal = { sd = 0.2 } }, event = { normal = { sd = 2.0 } }, probability = 0.01 } }",
            ),
            _ => (
                "measured values: the i-th smallest of n stands at the probability (i - 1/2)/n, with straight lines \
                 between (after JCGM 101:2008, 7.5) and nothing beyond the smallest and the largest",
                &[
                    (
                        "csv",
                        "file with the values, relative to the experiment file; its first line names the columns",
                    ),
                    ("column", "name of the column; empty cells are passed over"),
                    ("values", "the values themselves, in place of csv and column; at most 100000"),
                ],
                "{ empirical = { csv = \"bench.csv\", column = \"error_mm\" } }",
            ),
        };
        let entry = Entry::new(Kind::Distribution, *id, meaning);
        let entry = parameters.iter().fold(entry, |entry, (key, meaning)| entry.fact(*key, *meaning));
        entry
            .fact("truncated", "optional, [low, high]: the tails beyond are cut off and the rest is scaled up")
            .fact("example", example)
            .fact("drawn", "as a monotone function of one standard normal score, so changing it redraws nothing")
    };
    crate::simulation::DISTRIBUTIONS.iter().map(entry).collect()
}

/// Why readings are missing.
pub fn failures() -> Vec<Entry> {
    let entry = |reason: Reason| {
        let meaning = match reason {
            Reason::NotRecorded => "nothing was recorded of a step that the reading needs",
            Reason::TooFewPoints => "fewer frames, markers or points than the estimator needs",
            Reason::NotStill => "a hold of the probe stayed beyond `protocol.stillness_limit_mm` at every try",
            Reason::RankLoss => "the observations leave a direction undetermined, such as points in a line",
            Reason::NoConvergence => "an iteration did not settle",
            Reason::TraceIncomplete => "more than 120 degrees of the groove were not traced",
            Reason::MarkersNotSeen => {
                "of most lost frames of a capture: fewer markers in the images than a pose needs; a capture fails when \
                 fewer of its frames than `measure.least_tracked_proportion` give a pose"
            }
            Reason::AmbiguousPose => {
                "of most lost frames of a capture: a second pose of the tracker, turned over about the line of sight, \
                 explains the images about as well: its sum of squared residuals is larger by less than 2 ln 20 times \
                 the square of `camera.pixel.stated_noise_px`, so the images are less than 20 times as likely in the \
                 best pose"
            }
            Reason::PerpendicularAxes => {
                "the circle's axes at baseline and at the reduction are perpendicular, so the sign of the second is \
                 undetermined"
            }
        };
        Entry::new(Kind::Failure, reason.word(), meaning)
            .fact("counted", "in every table; a requirement counts the trial as out of its limit")
    };
    Reason::ALL.into_iter().map(entry).collect()
}

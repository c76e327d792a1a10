//! The whole case that is measured: ellipse, one baseline and two reductions, 460 camera frames of which 180 are traced, every
//! default noise on; for each camera model.

use navassay::experiment::Plan;

const REDUCTIONS: &str = "[[reduction]]\nname = \"first\"\n[[reduction]]\nname = \"second\"\n";
/// A place from which a camera that forms images sees every tool.
const PLACE: &str = "position_mm = [380.0, 260.0, -40.0]\naim_mm = [150.0, 20.0, 40.0]\n";
/// Scores of a case that no frame of a tracker draws, frames, and markers of a tracker.
const OTHER_SCORES: usize = 1_636;
const FRAMES: usize = 460;
const MARKERS: usize = 4;

/// A camera model at work.
pub struct Camera {
    /// Its name.
    pub name: &'static str,
    section: &'static str,
    scores_of_a_frame: usize,
    /// Cases that take about as long as those of the others.
    pub cases: u64,
}

/// Every camera model.
pub const CAMERAS: [Camera; 4] = [
    Camera { name: "`marker`", section: "model = \"marker\"\n", scores_of_a_frame: 3 * MARKERS, cases: 2_000 },
    Camera { name: "`pose`", section: "model = \"pose\"\n", scores_of_a_frame: 6, cases: 2_000 },
    Camera {
        name: "`pixel`",
        section: "model = \"pixel\"\n{place}[camera.pixel]\ncameras = 1\n",
        scores_of_a_frame: 2 * MARKERS,
        cases: 400,
    },
    Camera {
        name: "`pixel`, two cameras",
        section: "model = \"pixel\"\n{place}[camera.pixel]\ncameras = 2\n",
        scores_of_a_frame: 4 * MARKERS,
        cases: 400,
    },
];

impl Camera {
    /// The experiment.
    pub fn plan(&self) -> Plan {
        let text = format!("seed = 1\n{REDUCTIONS}[camera]\n{}", self.section.replace("{place}", PLACE));
        Plan::parse("bench", &text).unwrap_or_else(|error| panic!("{error:?}"))
    }

    /// Standard normal scores that one case draws.
    pub fn scores(&self) -> usize {
        OTHER_SCORES + FRAMES * self.scores_of_a_frame
    }
}

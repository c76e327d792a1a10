//! The cases that are measured.
//!
//! The whole case: ellipse, one baseline and two reductions, 460 camera frames of which 180 are traced, every default noise on; for
//! each camera model. And the smallest: cup angles alone, with noise of the landmarks alone; without noise of the camera a
//! capture needs one frame, the tip pivot three.

use navassay::experiment::Plan;

const REDUCTIONS: &str = "[[reduction]]\nname = \"first\"\n[[reduction]]\nname = \"second\"\n";
/// A place from which a camera that forms images sees every tool.
const PLACE: &str = "position_mm = [380.0, 260.0, -40.0]\naim_mm = [150.0, 20.0, 40.0]\n";
const CUP_ALONE: &str = "model = \"pose\"\n[measure]\noutputs = [\"inclination\", \"anteversion\"]\n\
                         [noise]\nonly = [\"landmark\"]\n\
                         [protocol]\ntip_pivot_frames = 3\nlandmark_frames = 1\ncup_frames = 1\n";
/// Scores of a whole case that no frame of a tracker draws, frames, and markers of a tracker.
const OTHER_SCORES: usize = 1_636;
const FRAMES: usize = 460;
const MARKERS: usize = 4;
/// Of the patient and the change made 18, of the tissue one, of three touches 21.
const CUP_SCORES: usize = 40;

/// What is measured.
pub struct Work {
    /// Its name.
    pub name: &'static str,
    reductions: &'static str,
    camera: &'static str,
    /// Standard normal scores that one case draws.
    pub scores: usize,
    /// Cases that take about as long as those of the others.
    pub cases: u64,
}

/// All of it.
pub const WORKS: [Work; 5] = [
    whole("`marker`", "model = \"marker\"\n", 3 * MARKERS, 2_000),
    whole("`pose`", "model = \"pose\"\n", 6, 2_000),
    whole("`pixel`", "model = \"pixel\"\n{place}[camera.pixel]\ncameras = 1\n", 2 * MARKERS, 400),
    whole("`pixel`, two cameras", "model = \"pixel\"\n{place}[camera.pixel]\ncameras = 2\n", 4 * MARKERS, 400),
    Work { name: "cup angles alone", reductions: "", camera: CUP_ALONE, scores: CUP_SCORES, cases: 100_000 },
];

const fn whole(name: &'static str, camera: &'static str, scores_of_a_frame: usize, cases: u64) -> Work {
    Work { name, reductions: REDUCTIONS, camera, scores: OTHER_SCORES + FRAMES * scores_of_a_frame, cases }
}

impl Work {
    /// The experiment.
    pub fn plan(&self) -> Plan {
        let text = format!("seed = 1\n{}[camera]\n{}", self.reductions, self.camera.replace("{place}", PLACE));
        Plan::parse("bench", &text).unwrap_or_else(|error| panic!("{error:?}"))
    }
}

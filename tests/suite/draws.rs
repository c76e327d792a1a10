//! Draws stay where they are: adding a source moves no draw of another.

use navassay::experiment::Plan;
use navassay::measurement::{Observations, Sightings};
use navassay::trial::TrialRunner;

/// Sources that came after the literals below were taken.
const LATER: &str = "\"tracker.lens\", \"tracker.build\", \"camera.drift\", \"femur.motion\", \"cup.seating\"";

/// Mean of all markers of a case, mm.
fn mean_marker_mm(observed: &Observations) -> [f64; 3] {
    let Sightings::Markers(markers) = &observed.sightings else { panic!("this camera sees markers") };
    let mean = |i: usize| markers.iter().map(|marker| marker.vector()[i]).sum::<f64>() / markers.len() as f64;
    [0, 1, 2].map(mean)
}

/// What this program itself drew before the later sources were there. A draw that moves changes the mean by
/// hundredths of a millimetre.
#[test]
fn regress_later_sources_move_no_draw() {
    for (plane, femur, expected) in [
        ("bony", "divot", [-43.149_091_723_651, 104.169_513_437_965, 77.926_086_839_151]),
        ("bony", "circle", [-56.481_823_480_835, 105.477_791_454_397, 74.454_254_742_716]),
        ("bony", "ellipse", [-56.339_954_948_300, 105.514_442_737_448, 74.350_388_658_447]),
        ("bony", "three-divots", [-57.692_247_687_889, 108.190_136_803_098, 78.538_875_792_303]),
        ("level", "divot", [-49.906_091_208_965, 104.489_237_021_367, 78.043_927_210_324]),
        ("level", "circle", [-62.002_038_186_389, 105.769_784_879_437, 74.382_146_281_004]),
        ("level", "ellipse", [-61.853_721_084_193, 105.808_102_130_944, 74.273_559_011_087]),
        ("level", "three-divots", [-63.267_481_675_582, 108.605_418_653_079, 78.652_431_923_754]),
    ] {
        let text = format!(
            "seed = 5\n[measure]\nplane = \"{plane}\"\nfemur = \"{femur}\"\n[noise]\noff = [{LATER}]\n\
             [[reduction]]\nname = \"first\"\n[[reduction]]\nname = \"second\"\n"
        );
        let plan = Plan::parse("draws.toml", &text).expect("a sound experiment");
        let (observed, ..) = TrialRunner::new(&plan.variants[0], plan.seed).case(0);
        let found = mean_marker_mm(&observed);
        let equal = found.iter().zip(expected).all(|(found, expected): (&f64, f64)| (found - expected).abs() < 1e-9);
        assert!(equal, "{plane}, {femur}: {found:?}");
    }
}

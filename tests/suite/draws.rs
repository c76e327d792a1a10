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
/// hundredths of a millimetre. (Taken anew when `centre.liner` came to draw five scores a frame.)
#[test]
fn regress_later_sources_move_no_draw() {
    for (plane, femur, expected) in [
        ("bony", "divot", [-43.148_124_193_218, 104.171_457_597_141, 77.926_145_267_568]),
        ("bony", "circle", [-56.481_108_349_645, 105.479_228_441_614, 74.454_297_928_937]),
        ("bony", "ellipse", [-56.339_239_817_110, 105.515_879_725_664, 74.350_431_844_669]),
        ("bony", "three-divots", [-57.691_532_556_699, 108.191_573_790_315, 78.538_918_978_524]),
        ("level", "divot", [-49.905_063_207_879, 104.491_302_690_491, 78.043_989_290_518]),
        ("level", "circle", [-62.001_290_549_236, 105.771_287_184_254, 74.382_191_430_235]),
        ("level", "ellipse", [-61.852_973_447_040, 105.809_604_435_761, 74.273_604_160_318]),
        ("level", "three-divots", [-63.266_734_038_429, 108.606_920_957_896, 78.652_477_072_985]),
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

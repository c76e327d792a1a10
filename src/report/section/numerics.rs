//! How the numbers are computed.

use crate::experiment::Plan;
use crate::report::evidence::{Entry, Section};
use crate::simulation::GENERATOR;

pub fn section(plan: &Plan) -> Section {
    let mut items = vec![
        format!(
            "Program: {} {}, in Rust, in double precision; elementary functions from one portable library, so that the same bits \
             come out on any machine and any number of threads.",
            env!("CARGO_PKG_NAME"),
            env!("CARGO_PKG_VERSION")
        ),
        format!(
            "Random numbers: {GENERATOR}. A draw is known by these indices, so that it depends on no other draw, on no order and \
             on no other source; every distribution is a monotone function of one standard normal score."
        ),
        "Each trial is simulated by itself: no mesh and no step in time is refined. What discretization is elsewhere is here the \
         number of trials, and the number of camera frames, which is that of the procedure itself."
            .to_owned(),
        "Fits are least squares: poses and pivots in closed form or by direct linear solution, ellipses and images by iteration \
         until the step is below rounding. A fit that does not converge, or has too little to stand on, is a failed trial with \
         its reason, and counts as out of every limit."
            .to_owned(),
        "Bounds of proportions are exact binomial ones (Clopper CJ, Pearson ES. Biometrika 1934;26:404-413), computed from the \
         regularised incomplete beta function; quantiles are order statistics."
            .to_owned(),
        "Files are written whole or not at all, and the checksum of each stands in SHA256SUMS.".to_owned(),
    ];
    if plan.design.is_some() {
        items.push(
            "Cases of one device are not independent: intervals come from whole devices. Bounds of proportions are those of \
             Learned-Miller and Thomas (arXiv:1905.06208) over the proportions of devices: the data and one more device that is \
             wholly outside, with exponential weights on devices; the probability is inverted from its generating function to a \
             relative 1e-9."
                .to_owned(),
        );
    }
    Section { id: "numerics", title: "How the numbers are computed", entries: vec![Entry::List { items }] }
}

//! Words and letters, each with the standard it comes from. Definitions are in our own words.

use super::{Entry, Kind};

const GUM: &str = "GUM, JCGM 100:2008";
const MONTE_CARLO: &str = "JCGM 101:2008";
const ACCURACY: &str = "ISO 5725-1";
const TOLERANCE: &str = "ISO 16269-6";
const ISB: &str = "ISB, Wu G et al. J Biomech 2002;35:543-548";
const OWN: &str = "this program's own";

/// Term, meaning, and where the term comes from.
const TERMS: &[(&str, &str, &str)] = &[
    ("measurand", "the quantity that is meant to be measured, with the plane in which it is stated", GUM),
    ("truth", "the value of the measurand in a simulated case, known exactly because it was drawn", GUM),
    ("reading", "what the measurement says of the measurand", "GUM, JCGM 100:2008 (result of a measurement)"),
    ("error", "reading minus truth", GUM),
    (
        "definitional error",
        "what a noise-free reading in one plane differs from truth stated in another",
        "after the definitional uncertainty of GUM, JCGM 100:2008, D.3.4",
    ),
    ("accuracy", "how near readings are to truth: trueness and precision together", ACCURACY),
    ("trueness", "how near the mean of many readings is to truth; its measure is the bias", ACCURACY),
    ("bias", "mean of the errors", ACCURACY),
    ("precision", "how near readings of the same thing are to each other; its measure is the sd", ACCURACY),
    ("sd", "standard deviation of the errors about their mean", GUM),
    ("rms", "root mean square of the errors: bias and spread in one number", OWN),
    (
        "paired difference",
        "a difference of two arms in the same trials: what both have in common leaves it, and with it most of its uncertainty",
        OWN,
    ),
    (
        "margin",
        "the largest difference of two arms that does not matter, stated before the run; equivalence is shown where both one-sided \
         tests reject a difference beyond it",
        "Schuirmann DJ. J Pharmacokinet Biopharm 1987;15:657-680",
    ),
    (
        "primary claim",
        "a claim on two arms that is judged; the chance of any wrong one among all primary claims of a plan is at most 1 less their \
         confidence",
        "Holm S. Scand J Stat 1979;6:65-70",
    ),
    (
        "exploratory",
        "of a comparison that is no primary claim: an interval, not corrected for their number, and no verdict",
        OWN,
    ),
    (
        "estimand",
        "what an error is an error of: the plane in which truth is stated, and of cup angles their definition; arms with different \
         ones are not compared",
        "Morris TP, White IR, Crowther MJ. Stat Med 2019;38:2074-2102",
    ),
    (
        "limits of agreement",
        "between what two readings of the same thing differ in 95 of 100 cases, if the differences are normal",
        "Bland JM, Altman DG. Lancet 1986;327:307-310",
    ),
    ("noise source", "an input quantity with a distribution that moves what is observed", "JCGM 101:2008 (input)"),
    ("basis", "where the numbers of a source come from: measured, published or assumed", OWN),
    ("Monte Carlo", "distributions carried through the measurement by drawing every input many times", MONTE_CARLO),
    ("trial", "one Monte Carlo trial: one case drawn, observed, measured and scored", MONTE_CARLO),
    (
        "case",
        "one patient with one operation; without a nested design every trial is a new case on a new device",
        OWN,
    ),
    ("nested design", "several cases on each device, several repeats of each case: key `design`", ACCURACY),
    (
        "repeatability",
        "how readings of one case on one device scatter from repeat to repeat; the conditions are simulated",
        ACCURACY,
    ),
    (
        "variance between devices",
        "the part of the variance of the error that is new from device to device; the conditions are simulated",
        OWN,
    ),
    (
        "variance between cases",
        "the part of the variance of the error that is new from case to case on one device; cases are different patients, so \
         it is no intermediate precision in the sense of ISO 5725-3",
        OWN,
    ),
    (
        "total variance",
        "the sum of the variances between devices, between cases and between repeats of a case; the conditions are simulated",
        OWN,
    ),
    (
        "rare event",
        "what happens with a stated probability and then displaces much, such as a knock of the camera; each trial records \
         whether it happened",
        OWN,
    ),
    (
        "post-stratified",
        "estimated from trials without and with a rare event apart, each weighted by its known probability",
        OWN,
    ),
    (
        "effective number",
        "the number of independent trials with the same standard error of a proportion as those of a nested design, whose unit is \
         the device; no bound is made from it",
        "Cochran WG. Sampling Techniques, 6.3 and 9.3",
    ),
    ("seed", "the number from which all draws follow", OWN),
    ("stream", "the draws of one source at one place of one case; it depends on no other draw", OWN),
    (
        "stratum",
        "how often something is drawn anew: device (a unit), case (a patient), capture (each time something is \
         picked up or pointed at), frame",
        OWN,
    ),
    ("capture", "successive frames of one thing held, traced or turned once", OWN),
    ("frame", "what the camera sees at one moment", OWN),
    ("reduction", "the hip put together with trial or final components; results use the last one", OWN),
    ("arm", "the experiment with some settings changed, on the same draws", OWN),
    ("point", "one combination of the values of all sweeps, numbered from 0", OWN),
    ("variant", "one arm at one point of the sweeps", OWN),
    ("residual", "how badly observations fit each other; it is no estimate of the error", OWN),
    ("failed trial", "a trial without a reading; kept, counted by its reason, and out of every limit", OWN),
    ("requirement", "a limit of the absolute error, for a proportion of cases, with a confidence", OWN),
    ("limit", "the largest absolute error that a requirement takes as within; exactly at the limit is within", OWN),
    ("proportion", "the part of all cases that must be within the limit", TOLERANCE),
    (
        "confidence",
        "how often the stated bound or interval covers what is true, if the whole run were repeated",
        "ISO 16269-6 (confidence level)",
    ),
    (
        "interval",
        "from the data, two ends that cover the true value with a confidence, 95 % unless another is stated",
        "GUM, JCGM 100:2008, C.2.27",
    ),
    (
        "bound",
        "upper confidence bound of the required quantile of the absolute error, from order statistics: a one-sided \
         statistical tolerance limit, which assumes no distribution",
        TOLERANCE,
    ),
    (
        "statistical tolerance interval",
        "limits between which, with a confidence, at least a proportion of all errors lies: distribution-free from order \
         statistics, or by normal theory",
        TOLERANCE,
    ),
    ("coverage interval", "an interval that holds a quantity with a stated probability", MONTE_CARLO),
    ("standard uncertainty", "the standard deviation of what may reasonably be attributed to a measurand", GUM),
    ("standard error", "the standard deviation that an estimate would have over repeated runs", OWN),
    (
        "specification limit",
        "the limit of a requirement: what the error may be at most",
        "JCGM 106:2012 (tolerance limit)",
    ),
    (
        "guard band",
        "what is taken off a limit so that a pass is safe; the rest is the acceptance limit",
        "JCGM 106:2012",
    ),
    (
        "conformance probability",
        "the probability that a case is within its limit; one less the proportion out of it",
        "JCGM 106:2012",
    ),
    (
        "look",
        "an assessment whose verdicts are seen; other trials, another seed or other criteria of a frozen plan make a further \
         look, and one beyond those declared gives no verdict",
        OWN,
    ),
    (
        "stable",
        "twice the standard error of the block means is within half a unit of the last digit asked for",
        "JCGM 101:2008, 7.9",
    ),
    (
        "exceed",
        "the proportion out of the limit, with one-sided exact binomial bounds",
        "Clopper CJ, Pearson ES. Biometrika 1934;26:404-413",
    ),
    ("pass", "the bound is within the limit: the requirement is shown", OWN),
    ("fail", "the lower bound of the proportion out of the limit is above what the requirement allows", OWN),
    ("not shown", "the trials show neither pass nor fail; more of them may", OWN),
    (
        "first-order index",
        "share of the variance of an error that a group of sources explains by itself",
        "Saltelli A et al. Comput Phys Commun 2010;181:259-270 (the estimator used)",
    ),
    (
        "total index",
        "first-order index and all that the group does together with others",
        "Jansen MJW. Comput Phys Commun 1999;117:35-43 (the estimator used)",
    ),
    (
        "Shapley effect",
        "share of the variance of an error that a group adds to the groups before it, averaged over all orders; for groups that \
         may be correlated",
        "Song E et al. SIAM/ASA J Uncertain Quantif 2016;4:1060-1083",
    ),
    ("interaction", "total index less first-order index: what a group does only together with others", OWN),
    (
        "coefficient",
        "change of an error with one unit more of an input, by central differences through the whole chain",
        "GUM, JCGM 100:2008, 5.1.3 (sensitivity coefficient)",
    ),
    (
        "linear budget",
        "standard uncertainty of each input times its coefficient, added as squares; good enough if both ends of its interval agree \
         with those of the trials",
        "GUM, JCGM 100:2008, 5.1; JCGM 101:2008, clause 8",
    ),
    ("context of use", "what the answer is used for, and on what else that use rests", "ASME V&V 40-2018"),
    (
        "model influence",
        "how much a decision rests on the simulation, against all other evidence",
        "ASME V&V 40-2018",
    ),
    ("decision consequence", "what a wrong decision would do", "ASME V&V 40-2018"),
    (
        "credibility factor",
        "one of the activities by which trust in a simulation is earned, each judged against the risk of the decision",
        "ASME V&V 40-2018",
    ),
    ("margin of a requirement", "its limit, less a guard band, less the bound of the error", OWN),
    (
        "hanging verdict",
        "a verdict that changes when an assumed input is halved, doubled or moved over its range",
        OWN,
    ),
    (
        "operating characteristic",
        "of a rule and a number of trials: the probability of a pass over the true proportion of cases outside",
        "ISO 3534-2 (operating characteristic curve)",
    ),
    (
        "true proportion outside",
        "of planning: the assumed proportion of all cases outside the acceptance limit, for which the probability of a pass is stated",
        OWN,
    ),
    (
        "acceptance limit",
        "the limit of a requirement less its guard band; a pass must hold it",
        "JCGM 106:2012, 8.3.2",
    ),
    (
        "Monte Carlo standard error",
        "standard error of an estimate from a finite number of simulated trials (MCSE)",
        "Morris TP, White IR, Crowther MJ. Stat Med 2019;38:2074-2102",
    ),
    ("scale", "factor on all that a source draws; 0 is off, 1 as it is", OWN),
    (
        "limit of a source",
        "of a search: the largest scale at which the search's cases just meet every requirement",
        OWN,
    ),
    (
        "assured scale",
        "of a search: the largest scale at which a run of the planned trials passes with the stated probability, the sampling error of \
         the search counted in",
        OWN,
    ),
    ("neutral", "femoral axes parallel to the true bony axes", OWN),
];

/// Symbol, meaning, and where it comes from.
const SYMBOLS: [(&str, &str, &str); 13] = [
    ("X", "axis of the pelvis, forwards (anterior)", ISB),
    ("Y", "axis of the pelvis, upwards (superior)", ISB),
    ("Z", "axis of the pelvis, to the patient's right", ISB),
    ("s", "+1 for a right hip, -1 for a left one: lateral is s Z", OWN),
    (
        "a",
        "unit vector along the cup axis, out of the opening",
        "Murray DW. J Bone Joint Surg Br 1993;75-B:228-232 (the angles of this axis)",
    ),
    ("u", "up: the table's normal when the level is read", OWN),
    ("H0, H1", "true centres of the native head and of the new pair", OWN),
    ("h0, h1", "the same centres as measured", OWN),
    ("c0, c1", "places of the femoral feature as measured, at baseline and at a reduction", OWN),
    ("R", "turn of the femur from its orientation at baseline to that at a reduction", OWN),
    ("g", "from the old to the new head centre in the femur at neutral", OWN),
    (
        "D",
        "shift of the femur with its baseline orientation restored: (h1 - c0) - R'(h1 - c1); truly (H1 - H0) - g. \
         Leg length change is -D Y, offset change s D Z",
        OWN,
    ),
    ("n", "number of trials with a reading; in verdicts of all trials, failed ones included", OWN),
];

/// The terms.
pub fn terms() -> Vec<Entry> {
    entries(Kind::Term, TERMS)
}

/// The symbols.
pub fn symbols() -> Vec<Entry> {
    entries(Kind::Symbol, &SYMBOLS)
}

fn entries(kind: Kind, all: &[(&str, &str, &str)]) -> Vec<Entry> {
    all.iter().map(|&(id, meaning, from)| Entry::new(kind, id, meaning).fact("from", from)).collect()
}

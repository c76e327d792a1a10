use super::proportion::{agresti_min, sign_test};
use super::*;
use crate::analysis::bootstrap;
use crate::analysis::moments::moments;
use crate::analysis::verdict::Rule;
use rand::{SeedableRng, rngs::Xoshiro256PlusPlus};
use rand_distr::{Distribution, StandardNormal};

/// Errors of two arms that share a normal part; the second is skewed.
fn arms(count: usize, shared: f64, seed: u64) -> (Vec<f64>, Vec<f64>) {
    let mut random = Xoshiro256PlusPlus::seed_from_u64(seed);
    let mut normal = || -> f64 { StandardNormal.sample(&mut random) };
    let own = (1.0 - shared * shared).sqrt();
    let pair = |_| {
        let (common, one, other) = (normal(), normal(), normal());
        let b: f64 = shared * common + own * other;
        (0.2 + shared * common + own * one, 0.1 + 1.2 * b + 0.3 * b * b)
    };
    (0..count).map(pair).unzip()
}

fn all(paired: &Paired) -> Vec<(Measure, Difference)> {
    let magnitudes = Measure::MAGNITUDES.map(|measure| (measure, paired.magnitude(measure).unwrap()));
    let rule = Rule::absolute(1.5, 0.95, 0.95);
    let rates = [
        (Measure::Conformance, paired.conformance(&rule).unwrap()),
        (Measure::FailureRate, paired.failure_rate().unwrap()),
        (Measure::WinRate, paired.win_rate().unwrap()),
    ];
    magnitudes.into_iter().chain(rates).collect()
}

/// An arm against itself, failed trials among them: no difference, and of a magnitude neither an interval nor a probability,
/// because trials that are all the same say nothing of how far apart the arms may be.
#[test]
fn identity_an_arm_against_itself() {
    let (mut a, _) = arms(501, 0.5, 3);
    a[7] = f64::NAN;
    for devices in [None, Some(vec![3_usize; 167])] {
        for (measure, found) in all(&Paired::new(&a, &a, devices.as_deref(), 0.95)) {
            assert_eq!(found.difference, 0.0, "{measure:?}");
            if measure.is_proportion() {
                assert!(found.interval.unwrap().contains(0.0) && found.p == Some(1.0), "{measure:?}");
            } else {
                assert_eq!((found.method, found.interval, found.p), (Method::Identical, None, None), "{measure:?}");
            }
        }
    }
    let exact = Paired::new(&[0.0; 40], &[0.0; 40], None, 0.95);
    assert!(all(&exact).iter().all(|(_, found)| found.difference == 0.0));
    // The sizes may be the same where the errors are not.
    let mirrored: Vec<f64> = a.iter().map(|error| -error).collect();
    let paired = Paired::new(&a, &mirrored, None, 0.95);
    assert_eq!(paired.magnitude(Measure::P95Abs).unwrap().method, Method::Identical);
    assert!(paired.magnitude(Measure::Bias).unwrap().interval.is_some());
}

/// The same arms the other way about have the opposite difference, with the same uncertainty.
#[test]
fn identity_the_other_way_about() {
    let (a, b) = arms(400, 0.7, 5);
    let there = all(&Paired::new(&a, &b, None, 0.95));
    let back = all(&Paired::new(&b, &a, None, 0.95));
    for ((measure, one), (_, other)) in there.iter().zip(&back) {
        assert_eq!(one.difference, -other.difference, "{measure:?}");
        assert_eq!((one.standard_error, one.p), (other.standard_error, other.p), "{measure:?}");
        let (interval, turned) = (one.interval.unwrap(), other.interval.unwrap());
        assert!((interval.low + turned.high).abs() < 1e-12, "{measure:?}");
    }
}

/// The paired difference of bias is Student's paired t: mean and standard deviation of the differences.
#[test]
fn identity_bias_is_the_paired_t() {
    let (a, b) = arms(60, 0.8, 11);
    let differences: Vec<f64> = a.iter().zip(&b).map(|(a, b)| a - b).collect();
    let by_hand = moments(&differences).unwrap().bias(0.95);
    let found = Paired::new(&a, &b, None, 0.95).magnitude(Measure::Bias).unwrap();
    assert!((found.difference - by_hand.value).abs() < 1e-14);
    assert!((found.standard_error.unwrap() - by_hand.standard_error.unwrap()).abs() < 1e-14);
    assert!((found.interval.unwrap().low - by_hand.interval.unwrap().low).abs() < 1e-12);
}

/// Each standard error a second way: whole trials drawn again. Both arms take the same trials, which is what pairs them. The
/// bootstrap's own sampling error is 1/sqrt(2 resamples); what the influence function is off by to first order, and the
/// an estimated percentile more than the others, is allowed for beside it.
#[test]
fn outside_standard_errors_by_bootstrap() {
    const RESAMPLES: u64 = 1000;
    let (a, b) = arms(4000, 0.8, 17);
    let paired = Paired::new(&a, &b, None, 0.95);
    let rule = Rule::absolute(1.5, 0.95, 0.95);
    let drawn: Vec<[f64; 6]> = bootstrap::resampled(a.len(), 23, RESAMPLES, |weights| {
        let again = |errors: &[f64]| -> Vec<f64> {
            // Weights are counts: as many copies as there are steps below them.
            let copies = |weight: f64| (0..60).map(f64::from).take_while(move |&copy| copy < weight);
            errors.iter().zip(weights).flat_map(|(&error, &weight)| copies(weight).map(move |_| error)).collect()
        };
        let (a, b) = (again(&a), again(&b));
        let drawn = Paired::new(&a, &b, None, 0.95);
        let [bias, sd, rms, p95] = Measure::MAGNITUDES.map(|measure| drawn.magnitude(measure).unwrap().difference);
        [bias, sd, rms, p95, drawn.conformance(&rule).unwrap().difference, drawn.win_rate().unwrap().difference]
    });
    let found: Vec<(Measure, Difference)> =
        all(&paired).into_iter().filter(|(measure, _)| *measure != Measure::FailureRate).collect();
    let noise = 3.5 / (2.0 * RESAMPLES as f64).sqrt();
    for (which, (measure, found)) in found.iter().enumerate() {
        let column = drawn.iter().map(|row| row[which]).collect();
        let resampled = bootstrap::percentile(found.difference, column, 0.95, found.n);
        let ratio = found.standard_error.unwrap() / resampled.standard_error.unwrap();
        let own = if *measure == Measure::P95Abs { 0.05 } else { 0.02 };
        println!("{measure:?}: influence {:?}, ratio to bootstrap {ratio:.3}", found.standard_error);
        assert!((ratio - 1.0).abs() < noise + own, "{measure:?}: {ratio}");
    }
}

/// How often the intervals hold the true differences: both arms normal with correlation 0.8, sd 1 and 1.5, means 0.3 and 0.
#[test]
fn coverage_of_paired_intervals() {
    const REPEATS: u32 = 2000;
    const LIMIT: f64 = 2.0;
    let below = crate::analysis::invert::normal_below;
    let inside = |mean: f64, sd: f64| below((LIMIT - mean) / sd) - below((-LIMIT - mean) / sd);
    // The 95 % quantile of |error| of a normal distribution off the centre, by bisection of its distribution function.
    let quantile = |mean: f64, sd: f64| {
        let reached = |x: f64| below((x - mean) / sd) - below((-x - mean) / sd) >= 0.95;
        crate::analysis::invert::bisect(0.0, 10.0, reached).1
    };
    let truth = [
        0.3,
        -0.5,
        libm::hypot(0.3, 1.0) - 1.5,
        quantile(0.3, 1.0) - quantile(0.0, 1.5),
        inside(0.3, 1.0) - inside(0.0, 1.5),
    ];
    let mut random = Xoshiro256PlusPlus::seed_from_u64(41);
    let mut normal = || -> f64 { StandardNormal.sample(&mut random) };
    let mut covered = [0_u32; 5];
    for _ in 0..REPEATS {
        let (a, b): (Vec<f64>, Vec<f64>) = (0..400)
            .map(|_| {
                let (common, other) = (normal(), normal());
                (0.3 + common, 1.5 * (0.8 * common + 0.6 * other))
            })
            .unzip();
        let paired = Paired::new(&a, &b, None, 0.95);
        let [bias, sd, rms, p95] = Measure::MAGNITUDES.map(|measure| paired.magnitude(measure));
        let within = paired.conformance(&Rule::absolute(LIMIT, 0.95, 0.95));
        for ((covered, found), truth) in covered.iter_mut().zip([bias, sd, rms, p95, within]).zip(truth) {
            *covered += u32::from(found.unwrap().interval.unwrap().contains(truth));
        }
    }
    let standard_error = (0.95_f64 * 0.05 / f64::from(REPEATS)).sqrt();
    let shares = covered.map(|covered| f64::from(covered) / f64::from(REPEATS));
    println!("bias, sd, rms, P95, conformance: {shares:?}");
    for (share, known) in shares.into_iter().zip([0.0, 0.005, 0.005, 0.01, 0.01]) {
        assert!((share - 0.95).abs() < 3.5 * standard_error + known, "{shares:?}");
    }
}

/// Cases of one device share its error: intervals rest on devices, and pairing takes the shared part out.
#[test]
fn outside_devices_are_the_units() {
    let mut random = Xoshiro256PlusPlus::seed_from_u64(47);
    let mut normal = || -> f64 { StandardNormal.sample(&mut random) };
    let (devices, cases) = (500, 4);
    let (mut a, mut b) = (Vec::new(), Vec::new());
    for _ in 0..devices {
        let (shared, own) = (normal(), 0.5 * normal());
        for _ in 0..cases {
            a.push(shared + own + 0.1 * normal());
            b.push(shared + 0.1 * normal());
        }
    }
    let found = Paired::new(&a, &b, Some(&vec![cases; devices]), 0.95).magnitude(Measure::Bias).unwrap();
    // Of a device's mean difference: own part 0.5, and two case parts of 0.1 over 4 cases.
    let expected = ((0.25 + 2.0 * 0.01 / 4.0) / devices as f64).sqrt();
    let noise = 3.5 / (2.0 * devices as f64).sqrt();
    assert!((found.standard_error.unwrap() / expected - 1.0).abs() < noise, "{found:?} {expected}");
    assert_eq!(found.degrees_of_freedom, 499.0);
    assert!(found.saved().unwrap() > 2.0);
}

/// 25 trials in which only the first is right and 10 in which only the second is, out of 100: the two-sided sign test is
/// twice the sum of 35 over k, k from 0 to 10, by 2^35.
#[test]
fn table_sign_test_by_hand() {
    let mut choose = 1.0;
    let mut sum = 0.0;
    for k in 0..=10 {
        sum += choose;
        choose = choose * f64::from(35 - k) / f64::from(k + 1);
    }
    let expected = 2.0 * sum / libm::exp2(35.0);
    assert!((sign_test(25, 10) - expected).abs() < 1e-14, "{expected}");
    assert_eq!((sign_test(0, 0), sign_test(3, 3)), (1.0, 1.0));
    let interval = agresti_min(25, 10, 100, 0.95);
    // (25.5 - 10.5)/102 and 1.96 sqrt(36/102 - (15/102)^2)/sqrt(102).
    assert!((0.5 * (interval.low + interval.high) - 15.0 / 102.0).abs() < 1e-12);
    assert!(
        (interval.high - 15.0 / 102.0 - 1.959_964 * (0.352_941_2_f64 - 0.021_626_3).sqrt() / 10.099_505).abs() < 1e-6
    );
}

#[test]
fn identity_failed_trials() {
    let (a, b) = ([1.0, f64::NAN, 2.0, f64::NAN], [0.5, 0.5, f64::NAN, f64::NAN]);
    let paired = Paired::new(&a, &b, None, 0.95);
    let failed = paired.failure_rate().unwrap();
    assert_eq!((failed.value_a, failed.value_b, failed.difference, failed.n), (0.5, 0.5, 0.0, 4));
    assert_eq!(paired.win_rate().unwrap().n, 1);
    assert_eq!(paired.conformance(&Rule::absolute(1.0, 0.95, 0.95)).unwrap().difference, 0.25 - 0.5);
    let bias = paired.magnitude(Measure::Bias).unwrap();
    assert_eq!((bias.difference, bias.standard_error, bias.interval, bias.p, bias.n), (0.5, None, None, None, 1));
    assert_eq!(paired.magnitude(Measure::Sd), None);
    assert_eq!(Paired::new(&[], &[], None, 0.95).failure_rate(), None);
}

/// i = 1 to 100, a = |sin i (1 + (i mod 7)/7)|, b = |what stands in a's bars + 0.1 cos 3i|: check value computed
/// independently.
#[test]
fn table_percentiles_of_near_arms() {
    let inner = |i: u32| libm::sin(f64::from(i)) * (1.0 + f64::from(i % 7) / 7.0);
    let a: Vec<f64> = (1..=100).map(inner).collect();
    let b: Vec<f64> = (1..=100).map(|i| inner(i) + 0.1 * libm::cos(f64::from(3 * i))).collect();
    let found = Paired::new(&a, &b, None, 0.95).magnitude(Measure::P95Abs).unwrap();
    let interval = found.interval.unwrap();
    for (got, expected) in [
        (found.value_a, 1.696_433_78),
        (found.value_b, 1.717_863_48),
        (found.standard_error.unwrap(), 0.023_513_00),
        (interval.low, -0.074_631_95),
        (interval.high, 0.031_772_54),
    ] {
        assert!((got - expected).abs() < 6e-9, "{got} {expected}");
    }
    assert!((found.degrees_of_freedom - 8.986_545).abs() < 6e-7);
    assert_eq!((found.method, found.open), (Method::Student, [false; 2]));
}

/// Two trials of a device that are the same are one device: the standard error is that of the trials by themselves.
#[test]
fn identity_devices_of_equal_trials() {
    let (a, b) = arms(200, 0.9, 61);
    let twice = |errors: &[f64]| -> Vec<f64> { errors.iter().flat_map(|error| [*error, *error]).collect() };
    let (a2, b2) = (twice(&a), twice(&b));
    let devices = vec![2; 200];
    let one = Paired::new(&a2, &b2, Some(&devices), 0.95).magnitude(Measure::P95Abs).unwrap();
    // The same estimator on the doubled sample, unlike that of 200, so only the units and the kurtosis are compared.
    let trials = Paired::new(&a2, &b2, None, 0.95).magnitude(Measure::P95Abs).unwrap();
    let ratio = one.standard_error.unwrap() / trials.standard_error.unwrap();
    assert!((ratio - (2.0_f64 * 399.0 / (2.0 * 199.0)).sqrt() * (200.0_f64 / 200.0).sqrt()).abs() < 1e-9, "{ratio}");
    assert!((one.degrees_of_freedom - 0.5 * trials.degrees_of_freedom).abs() < 1e-9);
}

/// Where the sign test takes over, one trial of each device counts: 60 devices with 5 cases, of which 10 devices differ.
#[test]
fn identity_a_sign_test_takes_one_trial_of_each_device() {
    let (a, _) = arms(300, 0.5, 67);
    let b: Vec<f64> =
        a.iter().enumerate().map(|(trial, error)| if trial / 5 < 10 { 1.4 * error } else { *error }).collect();
    let found = Paired::new(&a, &b, Some(&[5; 60]), 0.95).magnitude(Measure::P95Abs).unwrap();
    let first = |errors: &[f64]| -> Vec<f64> { errors.iter().step_by(5).copied().collect() };
    let alone = Paired::new(&first(&a), &first(&b), None, 0.95).magnitude(Measure::P95Abs).unwrap();
    assert_eq!((found.method, found.interval, found.p), (Method::SignTest, alone.interval, alone.p));
    assert_eq!(found.n, 300);
    let few = Paired::new(&a[..200], &b[..200], Some(&[5; 40]), 0.95).magnitude(Measure::P95Abs).unwrap();
    assert_eq!((few.method, few.interval), (Method::TooFew, None));
}

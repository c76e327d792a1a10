//! The standard normal distribution, from `libm` alone so that its bits are the same on every processor.

/// The density of the standard normal distribution at a score.
#[must_use]
pub fn density(score: f64) -> f64 {
    libm::exp(-0.5 * score * score) / std::f64::consts::TAU.sqrt()
}

/// Probability that a standard normal score is at most `score`; accurate in the lower tail.
#[must_use]
pub fn cumulative(score: f64) -> f64 {
    0.5 * libm::erfc(-score * std::f64::consts::FRAC_1_SQRT_2)
}

/// Probability that a standard normal score exceeds `score`; accurate in the upper tail.
#[must_use]
pub fn complement(score: f64) -> f64 {
    cumulative(-score)
}

/// The score below which a standard normal falls with probability `p`: -infinity at 0, infinity at 1,
/// NaN outside `[0, 1]`.
///
/// Algorithm AS 241 (PPND16), Wichura MJ. Applied Statistics 1988;37:477-484: about 1 part in 10^16.
#[must_use]
#[allow(clippy::excessive_precision)] // the coefficients stand as published
pub fn quantile(p: f64) -> f64 {
    const CENTRAL: ([f64; 8], [f64; 8]) = (
        [
            3.387_132_872_796_366_608,
            1.331_416_678_917_843_774_5e2,
            1.971_590_950_306_551_442_7e3,
            1.373_169_376_550_946_112_5e4,
            4.592_195_393_154_987_145_7e4,
            6.726_577_092_700_870_085_3e4,
            3.343_057_558_358_812_810_5e4,
            2.509_080_928_730_122_672_7e3,
        ],
        [
            1.0,
            4.231_333_070_160_091_125_2e1,
            6.871_870_074_920_579_083e2,
            5.394_196_021_424_751_107_7e3,
            2.121_379_430_158_659_586_7e4,
            3.930_789_580_009_271_061e4,
            2.872_908_573_572_194_267_4e4,
            5.226_495_278_852_854_561e3,
        ],
    );
    const MIDDLE: ([f64; 8], [f64; 8]) = (
        [
            1.423_437_110_749_683_577_34,
            4.630_337_846_156_545_295_9,
            5.769_497_221_460_691_405_5,
            3.647_848_324_763_204_605_04,
            1.270_458_252_452_368_382_58,
            2.417_807_251_774_506_117_7e-1,
            2.272_384_498_926_918_458_33e-2,
            7.745_450_142_783_414_076_4e-4,
        ],
        [
            1.0,
            2.053_191_626_637_758_821_87,
            1.676_384_830_183_803_849_4,
            6.897_673_349_851_000_045_5e-1,
            1.481_039_764_274_800_745_9e-1,
            1.519_866_656_361_645_719_66e-2,
            5.475_938_084_995_344_946e-4,
            1.050_750_071_644_416_843_24e-9,
        ],
    );
    const TAIL: ([f64; 8], [f64; 8]) = (
        [
            6.657_904_643_501_103_777_2,
            5.463_784_911_164_114_369_9,
            1.784_826_539_917_291_335_8,
            2.965_605_718_285_048_912_3e-1,
            2.653_218_952_657_612_309_3e-2,
            1.242_660_947_388_078_438_6e-3,
            2.711_555_568_743_487_578_15e-5,
            2.010_334_399_292_288_132_65e-7,
        ],
        [
            1.0,
            5.998_322_065_558_879_376_9e-1,
            1.369_298_809_227_358_053_1e-1,
            1.487_536_129_085_061_485_25e-2,
            7.868_691_311_456_132_591e-4,
            1.846_318_317_510_054_681_8e-5,
            1.421_511_758_316_445_888_7e-7,
            2.044_263_103_389_939_785_64e-15,
        ],
    );
    fn ratio((above, below): &([f64; 8], [f64; 8]), x: f64) -> f64 {
        let horner = |c: &[f64; 8]| c.iter().rev().fold(0.0, |sum, &c| sum * x + c);
        horner(above) / horner(below)
    }
    if !(0.0..=1.0).contains(&p) {
        return f64::NAN;
    }
    let q = p - 0.5;
    if q.abs() <= 0.425 {
        return q * ratio(&CENTRAL, 0.180_625 - q * q);
    }
    let tail = p.min(1.0 - p);
    if tail == 0.0 {
        return f64::INFINITY.copysign(q);
    }
    let r = (-libm::log(tail)).sqrt();
    let size = if r <= 5.0 { ratio(&MIDDLE, r - 1.6) } else { ratio(&TAIL, r - 5.0) };
    size.copysign(q)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn identity_quantile_undoes_cumulative() {
        // Below -37.5 the probability itself is too small for all its digits.
        for i in -370..=0 {
            let score = f64::from(i) / 10.0;
            let back = quantile(cumulative(score));
            // One unit in the last place of the probability, carried through the density.
            assert!((back - score).abs() <= 4e-15 * score.abs().max(1.0), "{score}: {back}");
        }
    }

    /// Values printed in Wichura 1988 for PPND16: quantile(0.25), quantile(0.001), quantile(1e-20).
    /// Recalled from memory; the round trip above is the independent witness.
    #[test]
    fn table_of_wichura() {
        for (p, expected) in
            [(0.25, -0.674_489_750_196_081_7), (0.001, -3.090_232_306_167_814), (1e-20, -9.262_340_089_798_408)]
        {
            assert!((quantile(p) - expected).abs() < 1e-14 * expected.abs() * 10.0);
        }
    }

    #[test]
    fn identity_ends_and_outside() {
        assert_eq!(quantile(0.0), f64::NEG_INFINITY);
        assert_eq!(quantile(1.0), f64::INFINITY);
        assert!(quantile(-0.1).is_nan() && quantile(f64::NAN).is_nan());
    }
}

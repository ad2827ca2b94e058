//! Elementary and special functions with the same bits on every machine.
//!
//! The C library's `exp` and `ln` differ in the last bit between platforms, and a call for each
//! number cannot be vectorised. Those here are branch-free, use no fused multiply-add, and so give
//! identical results in scalar and in vector registers of any width.

use crate::bits::{WORD, set_bits};
use multiversion::multiversion;

/// Numbers that are worked on together: as many as the widest vector register holds.
pub(crate) const LANES: usize = 8;

/// Natural exponential; flushes to the smallest and largest normal numbers beyond about ±708.
///
/// Cody-Waite reduction by ln 2 and a Taylor polynomial of degree 12 on ±0.347, whose remainder is
/// below 2e-16; within 2 units in the last place.
#[inline(always)]
pub fn exp(x: f64) -> f64 {
    exp_of_reduced(reduced(x))
}

/// A number as the rest that is left after multiples of ln 2, and two to the power of those.
#[inline(always)]
pub(crate) fn reduced(x: f64) -> [f64; 2] {
    const ROUND: f64 = 6_755_399_441_055_744.0; // 1.5 * 2^52: adding it rounds to an integer
    const LN2_HIGH: f64 = 6.931_471_803_691_238e-1;
    const LN2_LOW: f64 = 1.908_214_929_270_587_7e-10;
    let x = if x < -708.0 { -708.0 } else { x };
    let x = if x > 709.0 { 709.0 } else { x };
    let shifted = x * std::f64::consts::LOG2_E + ROUND;
    let power = shifted - ROUND;
    let r = (x - power * LN2_HIGH) - power * LN2_LOW;
    [r, f64::from_bits(shifted.to_bits().wrapping_add(1023) << 52)]
}

#[inline(always)]
pub(crate) fn exp_of_reduced([r, scale]: [f64; 2]) -> f64 {
    // In pairs and fours: fewer steps wait for each other than in a chain.
    let (square, fourth) = (r * r, (r * r) * (r * r));
    let from_2 = (0.5 + r * (1.0 / 6.0)) + square * (1.0 / 24.0 + r * (1.0 / 120.0));
    let from_6 = (1.0 / 720.0 + r * (1.0 / 5_040.0)) + square * (1.0 / 40_320.0 + r * (1.0 / 362_880.0));
    let from_10 = (1.0 / 3_628_800.0 + r * (1.0 / 39_916_800.0)) + square * (1.0 / 479_001_600.0);
    (1.0 + (r + square * (from_2 + fourth * (from_6 + fourth * from_10)))) * scale
}

/// A number of at most 700 in size as for [`exp`], to ten figures: see [`exp_ten_figures`].
#[inline(always)]
pub(crate) fn reduced_ten_figures(x: f64) -> [f64; 2] {
    const ROUND: f64 = 6_755_399_441_055_744.0;
    let x = if x < -700.0 { -700.0 } else { x };
    let x = if x > 700.0 { 700.0 } else { x };
    let shifted = x * std::f64::consts::LOG2_E + ROUND;
    let r = x - (shifted - ROUND) * std::f64::consts::LN_2;
    [r, f64::from_bits(shifted.to_bits().wrapping_add(1023) << 52)]
}

/// Natural exponential to ten figures, of a number that is reduced.
///
/// As [`exp`], with the polynomial of degree 7 whose largest relative error on ±0.347 is least, 4.1e-11.
#[inline(always)]
pub(crate) fn exp_ten_figures([r, scale]: [f64; 2]) -> f64 {
    let square = r * r;
    let low = (0.999_999_999_961_682 + r * 1.000_000_000_243_096_2)
        + square * (0.500_000_010_453_626_2 + r * 0.166_666_651_261_388_83);
    let high = (0.041_666_225_425_378_685 + r * 0.008_333_561_090_115_677)
        + square * (0.001_394_818_333_595_727_8 + r * 0.000_197_751_716_102_861_28);
    (low + square * square * high) * scale
}

/// Natural logarithm of a positive normal number, within 1 unit in the last place.
///
/// The argument is split into 2^k and a number between sqrt(1/2) and sqrt(2); the polynomial is
/// that of `e_log.c` of the FreeBSD mathematical library (copyright Sun Microsystems 1993,
/// freely redistributable).
#[inline(always)]
pub fn ln(x: f64) -> f64 {
    ln_of_split(split(x))
}

/// A number as a power of two, the distance f from 1 of what is left, and f / (2 + f).
#[inline(always)]
pub(crate) fn split(x: f64) -> [f64; 3] {
    const ONE: u64 = 0x3ff0_0000_0000_0000;
    const SQRT_HALF: u64 = 0x3fe6_a09e_667f_3bcd;
    const TWO_52: u64 = 0x4330_0000_0000_0000;
    let bits = x.to_bits();
    let exponent = bits.wrapping_add(ONE - SQRT_HALF) >> 52;
    let power = f64::from_bits(exponent | TWO_52) - (4_503_599_627_370_496.0 + 1023.0);
    let f = f64::from_bits(bits.wrapping_sub(exponent << 52).wrapping_add(ONE)) - 1.0;
    [power, f, f / (2.0 + f)]
}

#[inline(always)]
pub(crate) fn ln_of_split([power, f, s]: [f64; 3]) -> f64 {
    const LN2_HIGH: f64 = 6.931_471_803_691_238e-1;
    const LN2_LOW: f64 = 1.908_214_929_270_587_7e-10;
    let z = s * s;
    // In pairs and fours: fewer steps wait for each other than in a chain.
    let square = z * z;
    let from_4 = 2.222_219_843_214_978_4e-1 + z * 1.818_357_216_161_805e-1;
    let from_6 = 1.531_383_769_920_937_3e-1 + z * 1.479_819_860_511_658_6e-1;
    let from_2 = 3.999_999_999_940_942e-1 + z * 2.857_142_874_366_239e-1;
    let sum = 6.666_666_666_666_735e-1 + z * (from_2 + square * (from_4 + square * from_6));
    let half_square = 0.5 * f * f;
    power * LN2_HIGH - ((half_square - (s * (half_square + z * sum) + power * LN2_LOW)) - f)
}

/// Distance from one half up to which AS 241 uses the approximation for the centre.
const CENTRE: f64 = 0.425;
/// A probability above that, exp(-25), from which on the far tail begins.
const FAR_TAIL: f64 = 1.4e-11;

/// Quantile of the standard normal distribution, for a probability strictly between 0 and 1.
///
/// Algorithm AS 241 (Wichura, Applied Statistics 37, 1988), about 16 figures.
#[inline]
pub fn normal_quantile(probability: f64) -> f64 {
    let q = probability - 0.5;
    if q.abs() <= CENTRE {
        normal_quantile_centre(q)
    } else {
        let r = tail_root(probability);
        tail_sign(probability, if r <= 5.0 { near_tail(r) } else { far_tail(r) })
    }
}

#[inline(always)]
fn normal_quantile_centre(q: f64) -> f64 {
    let r = 0.180_625 - q * q;
    q * ratio(
        r,
        [
            2.509_080_928_730_122_7e3,
            3.343_057_558_358_813e4,
            6.726_577_092_700_87e4,
            4.592_195_393_154_987e4,
            1.373_169_376_550_946e4,
            1.971_590_950_306_551_3e3,
            1.331_416_678_917_843_8e2,
            3.387_132_872_796_366_5,
        ],
        [
            5.226_495_278_852_855e3,
            2.872_908_573_572_194_3e4,
            3.930_789_580_009_271e4,
            2.121_379_430_158_66e4,
            5.394_196_021_424_751e3,
            6.871_870_074_920_579e2,
            4.231_333_070_160_091e1,
            1.0,
        ],
    )
}

/// The root of minus the logarithm of the smaller tail, by which the approximations for the tails go.
#[inline(always)]
fn tail_root(probability: f64) -> f64 {
    (-ln(if probability < 0.5 { probability } else { 1.0 - probability })).sqrt()
}

/// A quantile of a size, on the side of its probability.
#[inline(always)]
fn tail_sign(probability: f64, size: f64) -> f64 {
    if probability < 0.5 { -size } else { size }
}

#[inline(always)]
fn near_tail(r: f64) -> f64 {
    ratio(
        r - 1.6,
        [
            7.745_450_142_783_414e-4,
            2.272_384_498_926_918_4e-2,
            2.417_807_251_774_506e-1,
            1.270_458_252_452_368_4,
            3.647_848_324_763_204_5,
            5.769_497_221_460_691,
            4.630_337_846_156_546,
            1.423_437_110_749_683_5,
        ],
        [
            1.050_750_071_644_416_9e-9,
            5.475_938_084_995_345e-4,
            1.519_866_656_361_645_7e-2,
            1.481_039_764_274_800_8e-1,
            6.897_673_349_851e-1,
            1.676_384_830_183_803_8,
            2.053_191_626_637_759,
            1.0,
        ],
    )
}

#[cold]
fn far_tail(r: f64) -> f64 {
    ratio(
        r - 5.0,
        [
            2.010_334_399_292_288_1e-7,
            2.711_555_568_743_487_6e-5,
            1.242_660_947_388_078_4e-3,
            2.653_218_952_657_612_4e-2,
            2.965_605_718_285_048_7e-1,
            1.784_826_539_917_291_3,
            5.463_784_911_164_114,
            6.657_904_643_501_103,
        ],
        [
            2.044_263_103_389_939_8e-15,
            1.421_511_758_316_446e-7,
            1.846_318_317_510_054_8e-5,
            7.868_691_311_456_133e-4,
            1.487_536_129_085_061_5e-2,
            1.369_298_809_227_358e-1,
            5.998_322_065_558_88e-1,
            1.0,
        ],
    )
}

/// A ratio of two polynomials of degree 7, in pairs and fours.
#[inline(always)]
fn ratio(r: f64, above: [f64; 8], below: [f64; 8]) -> f64 {
    let square = r * r;
    let fourth = square * square;
    let value = |[c7, c6, c5, c4, c3, c2, c1, c0]: [f64; 8]| {
        let (low, high) = ((c0 + c1 * r) + (c2 + c3 * r) * square, (c4 + c5 * r) + (c6 + c7 * r) * square);
        low + high * fourth
    };
    value(above) / value(below)
}

/// Density of the standard normal distribution.
pub fn normal_density(z: f64) -> f64 {
    const PER_SQRT_TWO_PI: f64 = 0.398_942_280_401_432_7;
    PER_SQRT_TWO_PI * exp(-0.5 * z * z)
}

/// Distribution function of the standard normal distribution.
///
/// Hart's rational approximation as given by West (Wilmott Magazine, May 2005); absolute error
/// below 1e-15, relative error below 1e-8 as far as the lower tail goes (9e-9 at -7.8 is the largest).
pub fn normal_cdf(z: f64) -> f64 {
    let size = z.abs();
    let tail = if size > 37.0 {
        0.0
    } else if size < 7.071_067_811_865_47 {
        let above = [
            3.526_249_659_989_11e-2,
            0.700_383_064_443_688,
            6.373_962_203_531_65,
            33.912_866_078_383,
            112.079_291_497_871,
            221.213_596_169_931,
            220.206_867_912_376,
        ];
        let below = [
            8.838_834_764_831_84e-2,
            1.755_667_163_182_64,
            16.064_177_579_207,
            86.780_732_202_946_1,
            296.564_248_779_674,
            637.333_633_378_831,
            793.826_512_519_948,
            440.413_735_824_752,
        ];
        let horner = |factors: &[f64]| factors.iter().fold(0.0, |sum, factor| sum * size + factor);
        exp(-0.5 * size * size) * horner(&above) / horner(&below)
    } else {
        let fraction = size + 1.0 / (size + 2.0 / (size + 3.0 / (size + 4.0 / (size + 0.65))));
        exp(-0.5 * size * size) / fraction / 2.506_628_274_631
    };
    if z > 0.0 { 1.0 - tail } else { tail }
}

/// Numbers that are taken through one short loop after another.
pub(crate) const PART: usize = 128;

/// Works on every number of a slice in two steps, some numbers at a time: a loop for the first step, and one for the
/// last. In one loop a processor, which looks a hundred operations ahead, would see but two or three of such long
/// chains, and wait.
#[inline(always)]
pub(crate) fn in_two_steps<const N: usize>(
    numbers: &mut [f64],
    first: impl Fn(f64) -> [f64; N],
    last: impl Fn([f64; N]) -> f64,
) {
    if numbers.len() <= 2 * LANES {
        return numbers.iter_mut().for_each(|x| *x = last(first(*x)));
    }
    let mut between = [[0.0; PART]; N];
    for part in numbers.chunks_mut(PART) {
        let count = part.len().min(PART);
        for place in 0..count {
            let step = first(part[place]);
            for (between, step) in between.iter_mut().zip(step) {
                between[place] = step;
            }
        }
        for place in 0..count {
            part[place] = last(std::array::from_fn(|index| between[index][place]));
        }
    }
}

/// [`exp`] of every number of a slice.
#[multiversion(targets = "simd")]
pub fn exp_each(numbers: &mut [f64]) {
    in_two_steps(numbers, reduced, exp_of_reduced);
}

/// [`normal_quantile`] of every number of a slice.
#[multiversion(targets = "simd")]
pub fn normal_each(probabilities: &mut [f64]) {
    /// Two blocks, as of one crack: the room for a whole part would cost more than the quantiles.
    const FEW: usize = 2 * LANES;
    if probabilities.len() <= FEW {
        normal_part::<FEW>(probabilities);
    } else {
        probabilities.chunks_mut(TAILS).for_each(normal_part::<TAILS>);
    }
}

/// Probabilities whose tails are worked out together: few enough that their places fit a byte.
const TAILS: usize = 256;

/// [`normal_quantile`] of at most so many numbers.
#[inline(always)]
fn normal_part<const MOST: usize>(part: &mut [f64]) {
    // Numbers in the tails are put together, so that they fill registers of their own.
    let (mut tails, mut places, mut count) = ([0.25; MOST], [0; MOST], 0);
    for (begin, numbers) in (0..).step_by(WORD).zip(part.chunks(WORD)) {
        let is_tail = |u: f64| u64::from((u - 0.5).abs() > CENTRE);
        let here = match <&[f64; WORD]>::try_from(numbers) {
            Ok(numbers) => (0..WORD).fold(0, |set, number| set | is_tail(numbers[number]) << number),
            Err(_) => numbers.iter().rev().fold(0, |set, &u| set << 1 | is_tail(u)),
        };
        for number in set_bits(here) {
            let place = begin + number;
            (tails[count % MOST], places[count % MOST]) = (part[place], place as u8);
            count += 1;
        }
    }
    for z in part.iter_mut() {
        *z = normal_quantile_centre(*z - 0.5);
    }
    let mut quantiles = [0.0; MOST];
    let filled = count.next_multiple_of(LANES).min(MOST);
    for (root, &u) in quantiles.iter_mut().zip(&tails[..filled]) {
        *root = tail_root(u);
    }
    for (quantile, &u) in quantiles.iter_mut().zip(&tails[..filled]) {
        *quantile = tail_sign(u, near_tail(*quantile));
    }
    for (&z, &place) in quantiles.iter().zip(&places).take(count) {
        part[usize::from(place)] = z;
    }
    if tails[..filled].iter().any(|&u| u.min(1.0 - u) <= FAR_TAIL) {
        for (&u, &place) in tails.iter().zip(&places).take(count) {
            part[usize::from(place)] = normal_quantile(u);
        }
    }
}

/// Whole part of a number that is not negative; numbers beyond what a row can hold stay beyond.
#[inline(always)]
pub fn whole(number: f64) -> f64 {
    const FAR: f64 = 1e15;
    const ROUND: f64 = 6_755_399_441_055_744.0; // 1.5 * 2^52: adding it rounds to an integer
    // Not through an integer: that conversion minds what does not fit, lane by lane.
    let nearest = (number + ROUND) - ROUND;
    let whole = if nearest > number { nearest - 1.0 } else { nearest };
    if number < FAR { whole } else { FAR }
}

#[cfg(test)]
mod tests {
    use super::*;
    use statrs::distribution::{ContinuousCDF, Normal};

    /// Distance in units in the last place of the reference.
    fn ulps(ours: f64, reference: f64) -> f64 {
        (ours - reference).abs() / (reference.abs() * f64::EPSILON / 2.0)
    }

    #[test]
    fn exp_agrees_with_the_c_library() {
        for i in -70_000..=70_000 {
            let x = f64::from(i) * 0.010_01;
            if x.abs() < 700.0 {
                assert!(ulps(exp(x), x.exp()) <= 4.0, "exp({x})");
            }
        }
        assert_eq!(exp(0.0), 1.0);
        assert!(exp(f64::NAN).is_nan());
    }

    #[test]
    fn exp_to_ten_figures_agrees_with_the_c_library() {
        let exp_to_ten = |x| exp_ten_figures(reduced_ten_figures(x));
        for i in -70_000..=70_000 {
            let x = f64::from(i) * 0.010_01;
            if x.abs() < 700.0 {
                assert!((exp_to_ten(x) / x.exp() - 1.0).abs() < 4.2e-11, "exp({x})");
            }
        }
        assert!(exp_to_ten(-1e300) < 1e-300 && exp_to_ten(1e300) > 1e300);
    }

    #[test]
    fn ln_agrees_with_the_c_library() {
        for i in -30_000..=30_000 {
            let x = (f64::from(i) * 0.020_03).exp();
            let reference = x.ln();
            assert!((ln(x) - reference).abs() <= 2.0 * f64::EPSILON * reference.abs().max(1e-3), "ln({x})");
        }
        assert_eq!(ln(1.0), 0.0);
    }

    #[test] // statrs is an independent implementation
    fn normal_quantile_and_cdf_agree_with_statrs() {
        let normal = Normal::standard();
        for i in 1..4_000 {
            let p = f64::from(i) / 4_000.0;
            assert!((normal_quantile(p) - normal.inverse_cdf(p)).abs() < 1e-9, "quantile({p})");
        }
        for exponent in 3..40 {
            let p = 0.5_f64.powi(exponent);
            assert!((normal_cdf(normal_quantile(p)) - p).abs() < 1e-15, "tail {p}");
        }
        for i in -600..600 {
            let z = f64::from(i) * 0.01;
            assert!((normal_cdf(z) - normal.cdf(z)).abs() < 1e-10, "cdf({z})"); // statrs: about 1e-11
        }
    }

    #[test]
    fn many_are_as_each() {
        for length in [1, 7, 8, 9, 16, 17, 127, 128, 129, 255, 256, 257, 400] {
            let uniform = |i: u64| match i % 23 {
                3 => 1e-300,
                5 => 1.39e-11,
                9 => 1.0 - 1e-12,
                11 => 0.075,
                _ => crate::random::Key::from_seed(length).uniform(i),
            };
            let given: Vec<f64> = (0..length).map(uniform).collect();
            let mut quantiles = given.clone();
            normal_each(&mut quantiles);
            for (quantile, u) in quantiles.into_iter().zip(given) {
                assert_eq!(quantile, normal_quantile(u), "{u} of {length}");
            }
            let given: Vec<f64> = (0..length).map(|i| 40.0 * uniform(i) - 20.0).collect();
            let mut powers = given.clone();
            exp_each(&mut powers);
            for (power, x) in powers.into_iter().zip(given) {
                assert_eq!(power, exp(x), "{x} of {length}");
            }
        }
    }

    #[test] // Abramowitz and Stegun, table 26.1 and the usual quantiles
    fn normal_quantile_gives_the_tabulated_points() {
        for (p, z) in [(0.975, 1.959_963_984_540_054), (0.9, 1.281_551_565_544_600_4), (1e-6, -4.753_424_308_822_899)] {
            assert!((normal_quantile(p) - z).abs() < 1e-13, "{p}");
        }
    }
}

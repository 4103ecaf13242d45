//! exp, ln and expm1 without branches or calls: a loop over them becomes vector
//! instructions. Only sums and products in a fixed order (no fused ones), so that every
//! instruction set gives the same bits. Errors stay below two units in the last place
//! (checked against the C library in `tests/lanes.rs`).

const LN_2_HI: f64 = 6.931_471_803_691_238e-1;
const LN_2_LO: f64 = 1.908_214_929_270_587_7e-10;
/// 1.5·2⁵²: adding it leaves the nearest integer in a double's low bits.
const ROUND: f64 = 6_755_399_441_055_744.0;
/// Arguments of exp are kept where 2^k is a normal number.
const RANGE: [f64; 2] = [-708.0, 709.0];

/// 2^k and expm1(r) with x = k ln 2 + r, |r| ≤ ln 2/2: Cody and Waite's reduction, then
/// Taylor's series, whose rest is below 1e-17 of r.
#[inline(always)]
fn parts(x: f64) -> [f64; 2] {
    let x = if x < RANGE[0] { RANGE[0] } else { x };
    let x = if x > RANGE[1] { RANGE[1] } else { x };
    let t = x * std::f64::consts::LOG2_E + ROUND;
    let k = t - ROUND;
    let r = (x - k * LN_2_HI) - k * LN_2_LO;
    let s = r * r;
    // Pairs of terms, so that the chain of dependent sums is half as long.
    let e = 1.0 / 24.0 + r * (1.0 / 120.0);
    let f = 1.0 / 720.0 + r * (1.0 / 5040.0);
    let g = 1.0 / 40_320.0 + r * (1.0 / 362_880.0);
    let h = 1.0 / 3_628_800.0 + r * (1.0 / 39_916_800.0);
    let i = 1.0 / 479_001_600.0 + r * (1.0 / 6_227_020_800.0);
    let tail = e + s * (f + s * (g + s * (h + s * i)));
    let two_k = f64::from_bits(t.to_bits().wrapping_add(1023) << 52);
    [two_k, r + s * (0.5 + (r * (1.0 / 6.0) + s * tail))]
}

/// eˣ; beyond ±708 its value there.
#[inline(always)]
pub fn exp(x: f64) -> f64 {
    let [two_k, m] = parts(x);
    two_k + two_k * m
}

/// eˣ − 1, to full relative precision; exactly 0 at 0.
#[inline(always)]
pub fn exp_m1(x: f64) -> f64 {
    let [two_k, m] = parts(x);
    two_k * m + (two_k - 1.0)
}

/// ln x of a normal number x > 0; below those about −709, never infinite. Remez
/// polynomial of ln((1 + s)/(1 − s)) as in the C library of Sun Microsystems (1993).
#[inline(always)]
pub fn ln(x: f64) -> f64 {
    const ROOT_HALF: u64 = 0x3fe6_a09e_667f_3bcd;
    const BIAS: u64 = 1023 << 52;
    const TWO_52: u64 = 0x4330_0000_0000_0000;
    let bits = x.to_bits();
    let exponent = (bits.wrapping_add(BIAS).wrapping_sub(ROOT_HALF)) >> 52;
    let k = f64::from_bits(TWO_52 | exponent) - (4_503_599_627_370_496.0 + 1023.0);
    let m = f64::from_bits(bits.wrapping_add(BIAS).wrapping_sub(exponent << 52));
    let f = m - 1.0;
    let s = f / (2.0 + f);
    let z = s * s;
    let w = z * z;
    let even = w
        * (0.399_999_999_994_094_2 + w * (0.222_221_984_321_497_84 + w * 0.153_138_376_992_093_73));
    let odd = z
        * (0.666_666_666_666_673_5
            + w * (0.285_714_287_436_623_9
                + w * (0.181_835_721_616_180_5 + w * 0.147_981_986_051_165_86)));
    let half = 0.5 * f * f;
    k * LN_2_HI - ((half - (s * (half + (even + odd)) + k * LN_2_LO)) - f)
}

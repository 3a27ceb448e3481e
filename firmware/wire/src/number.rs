//! Decimal numbers to doubles, correctly rounded.

use core::fmt::Write as _;

use crate::MAX_EXACT;

/// The powers of ten that a double holds exactly.
const EXACT_POWERS: [f64; 23] = [
    1e0, 1e1, 1e2, 1e3, 1e4, 1e5, 1e6, 1e7, 1e8, 1e9, 1e10, 1e11, 1e12, 1e13, 1e14, 1e15, 1e16, 1e17, 1e18, 1e19, 1e20,
    1e21, 1e22,
];

/// Exponents are counted up to here; beyond it every number is zero or infinite all the same.
const EXPONENT_CAP: i32 = 100_000;

/// Multiplies `mantissa` by ten to the power `exponent` where one rounding is enough: both operands are exact, so the
/// one operation rounds correctly (W. D. Clinger, "How to read floating point numbers accurately", PLDI 1990).
#[expect(clippy::cast_precision_loss, reason = "the mantissa is at most 2^53, which a double holds exactly")]
fn exact(mantissa: u64, exponent: i32) -> Option<f64> {
    if mantissa > MAX_EXACT {
        return None;
    }
    let power = *EXACT_POWERS.get(usize::try_from(exponent.unsigned_abs()).ok()?)?;
    let mantissa = mantissa as f64;
    Some(if exponent < 0 { mantissa / power } else { mantissa * power })
}

/// Converts the decimal fraction `mantissa` x 10^`exponent` (RFC 8949, section 3.4.4), correctly rounded; infinite
/// where it exceeds the range of a double.
pub(crate) fn decimal(mantissa: i128, exponent: i64) -> Option<f64> {
    if let (Ok(short), Ok(power)) = (u64::try_from(mantissa.unsigned_abs()), i32::try_from(exponent))
        && let Some(magnitude) = exact(short, power)
    {
        return Some(if mantissa < 0 { -magnitude } else { magnitude });
    }
    // 40 characters of an i128, the letter, 20 of an i64.
    let mut digits = heapless::String::<64>::new();
    write!(digits, "{mantissa}e{exponent}").ok()?;
    digits.parse().ok()
}

/// Returns the whole number from 0 to 2^53 that `value` is.
#[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, clippy::cast_precision_loss, reason = "in range")]
pub(crate) fn whole(value: f64) -> Option<u64> {
    let inside = (0.0..=MAX_EXACT as f64).contains(&value);
    // The cast cuts off the fraction; nothing is left over where there was none.
    (inside && value - (value as u64) as f64 == 0.0).then_some(value as u64)
}

/// Reads a JSON number (RFC 8259, section 6) at the start of `bytes`; returns it and its length.
///
/// The number may be infinite where the text exceeds the range of a double.
pub(crate) fn scan(bytes: &[u8]) -> Option<(f64, usize)> {
    let mut at = 0;
    let negative = bytes.first() == Some(&b'-');
    at += usize::from(negative);
    let mut digits = Digits::default();
    let whole = digits.take(bytes, at);
    if whole == 0 || (whole > 1 && bytes.get(at) == Some(&b'0')) {
        return None;
    }
    at += whole;
    let mut exponent = 0_i32;
    if bytes.get(at) == Some(&b'.') {
        let fraction = digits.take(bytes, at + 1);
        if fraction == 0 {
            return None;
        }
        exponent = -i32::try_from(fraction).unwrap_or(EXPONENT_CAP).min(EXPONENT_CAP);
        at += 1 + fraction;
    }
    if matches!(bytes.get(at), Some(b'e' | b'E')) {
        let (power, len) = scan_exponent(bytes.get(at + 1..)?)?;
        exponent += power;
        at += 1 + len;
    }
    if let Some(magnitude) = digits.mantissa().and_then(|mantissa| exact(mantissa, exponent)) {
        return Some((if negative { -magnitude } else { magnitude }, at));
    }
    let text = core::str::from_utf8(bytes.get(..at)?).ok()?;
    Some((text.parse().ok()?, at))
}

/// Reads the signed digits after the `e`; returns the exponent, capped, and its length.
fn scan_exponent(bytes: &[u8]) -> Option<(i32, usize)> {
    let sign = usize::from(matches!(bytes.first(), Some(b'+' | b'-')));
    let mut power = 0_i32;
    let mut len = sign;
    while let Some(digit @ b'0'..=b'9') = bytes.get(len) {
        power = (power * 10 + i32::from(digit - b'0')).min(EXPONENT_CAP);
        len += 1;
    }
    let power = if bytes.first() == Some(&b'-') { -power } else { power };
    (len > sign).then_some((power, len))
}

/// The digits of a number, gathered while they fit.
#[derive(Default)]
struct Digits {
    value: u64,
    overflowed: bool,
}

impl Digits {
    /// Takes the run of digits from `at`; returns how many.
    fn take(&mut self, bytes: &[u8], at: usize) -> usize {
        let run = bytes.get(at..).unwrap_or_default();
        let mut len = 0;
        while let Some(digit @ b'0'..=b'9') = run.get(len) {
            // Beyond this the fast way is closed anyway; stopping here keeps the next step from overflowing.
            if self.value > MAX_EXACT {
                self.overflowed = true;
            } else {
                self.value = self.value * 10 + u64::from(digit - b'0');
            }
            len += 1;
        }
        len
    }

    fn mantissa(&self) -> Option<u64> {
        (!self.overflowed).then_some(self.value)
    }
}

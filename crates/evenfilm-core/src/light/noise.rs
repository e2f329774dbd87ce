//! Noise of a picture from neighbouring pixels.

use crate::order::in_turn;
use crate::phases::count32;
use crate::plane::{Rect, Samples, Stop};

/// Rows looked at, at most: pairs spread evenly over the picture.
const ROW_PAIRS: u32 = 96;

/// Parts that are looked at side by side.
const PARTS: usize = 8;

/// Standard deviation of the noise of one pixel, in counts: from the median absolute value of the 2 × 2 diagonal difference
/// (a − b − c + d)/2, which even light, edges of objects and slow texture leave at 0 (median absolute deviation × 1.4826).
/// At least the noise of rounding, 1/√12 of the step between the counts that occur.
///
/// # Errors
/// [`Stop::Unreadable`].
pub fn noise_of_counts(picture: &dyn Samples) -> Result<f64, Stop> {
    let (width, height) = picture.size();
    if width < 2 || height < 2 {
        return Ok(0.0);
    }
    let pairs = ROW_PAIRS.min(height / 2);
    let mut whole = Differences::default();
    for part in in_turn(PARTS, |part| differences(picture, pairs, part))? {
        whole.seen.resize(whole.seen.len().max(part.seen.len()), 0);
        whole.seen.iter_mut().zip(part.seen).for_each(|(whole, part)| *whole += part);
        whole.step = gcd(whole.step, part.step);
        whole.total += part.total;
    }
    let rounding = f64::from(whole.step.max(1)) / 12f64.sqrt();
    Ok((median_of(&whole.seen, whole.total) / 2.0 * 1.4826).max(rounding))
}

/// How often twice each difference was found, as far as there are any, and the step between counts.
#[derive(Default)]
struct Differences {
    seen: Vec<u32>,
    step: u16,
    total: u64,
}

/// Looks at one part of the pairs of rows.
fn differences(picture: &dyn Samples, pairs: u32, part: usize) -> Result<Differences, Stop> {
    let (width, height) = picture.size();
    let mut rows = vec![0u16; 2 * width as usize];
    let mut found = Differences::default();
    let each = pairs.div_ceil(count32(PARTS));
    for pair in (0..pairs).skip(part * each as usize).take(each as usize) {
        let y = u32::try_from(u64::from(pair) * u64::from(height - 1) / u64::from(pairs)).unwrap_or(0);
        picture.read(Rect::new(0, y, width, 2), &mut rows)?;
        let (upper, lower) = rows.split_at(width as usize);
        for (u, l) in upper.chunks_exact(2).zip(lower.chunks_exact(2)) {
            let twice = i32::from(u[0]) - i32::from(u[1]) - i32::from(l[0]) + i32::from(l[1]);
            let twice = twice.unsigned_abs() as usize;
            if twice >= found.seen.len() {
                found.seen.resize((twice + 1).next_power_of_two(), 0);
            }
            found.seen[twice] += 1;
            found.step = gcd(found.step, u[0].abs_diff(u[1]));
            found.total += 1;
        }
    }
    Ok(found)
}

/// Median of a histogram of whole numbers, each standing for the interval of one unit around it (0 for the half above it).
fn median_of(seen: &[u32], total: u64) -> f64 {
    let half = total as f64 / 2.0;
    let mut below = 0.0;
    for (value, &count) in seen.iter().enumerate() {
        let count = f64::from(count);
        if count > 0.0 && below + count >= half {
            return if value == 0 { 0.0 } else { value as f64 - 0.5 + (half - below) / count };
        }
        below += count;
    }
    0.0
}

const fn gcd(mut a: u16, mut b: u16) -> u16 {
    while b != 0 {
        (a, b) = (b, a % b);
    }
    a
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::plane::Plane;

    #[test]
    fn a_constant_picture_has_the_noise_of_rounding() {
        let noise = noise_of_counts(&Plane::from_elem((40, 40), 1000u16)).unwrap();
        assert!((noise - 1.0 / 12f64.sqrt()).abs() < 1e-12);
    }

    #[test]
    fn uniform_noise_is_found_on_a_slope() {
        // Closed form: a sum of four uniforms on 0..=99 is close to normal with σ = √(4·(100² − 1)/12)/2.
        let mut state = 1u64;
        let mut next = || {
            state = state.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
            (state >> 33) % 100
        };
        let picture = Plane::from_shape_fn((200, 200), |(r, c)| u16::try_from(next()).unwrap() + u16::try_from(r * 20 + c * 30).unwrap());
        let noise = noise_of_counts(&picture).unwrap();
        assert!((noise / 28.866 - 1.0).abs() < 0.05, "{noise}");
    }
}

//! Numbering lines by their spacing.

/// How far from a whole number of spacings the next line may lie, in spacings.
const OFF: f64 = 0.2;

/// Numbers of lines at these places, which rise: counted from the line from which most lines, by weight, can be reached in steps of whole
/// spacings, each step held against the last line only, so that a lens that stretches the picture does not lose count. `None` for what
/// stands between the lines.
pub(super) fn numbered(places: &[f64], weights: &[usize], spacing: f64) -> Vec<Option<i64>> {
    let mut best: (usize, Vec<Option<i64>>) = (0, vec![None; places.len()]);
    for start in 0..places.len() {
        // Whoever is reached from a line reaches the same ones.
        if best.1[start].is_some() {
            continue;
        }
        let numbers = reached(places, spacing, start);
        let weight = numbers.iter().zip(weights).filter(|(n, _)| n.is_some()).map(|(_, w)| w).sum();
        if weight > best.0 {
            best = (weight, numbers);
        }
    }
    best.1
}

fn reached(places: &[f64], spacing: f64, start: usize) -> Vec<Option<i64>> {
    let mut numbers = vec![None; places.len()];
    numbers[start] = Some(0);
    let right: Vec<usize> = (start + 1..places.len()).collect();
    let left: Vec<usize> = (0..start).rev().collect();
    for way in [right, left] {
        let (mut last, mut number) = (places[start], 0);
        for i in way {
            let steps = (places[i] - last) / spacing;
            let whole = libm::round(steps);
            if (steps - whole).abs() < OFF && whole.abs() > 0.5 {
                #[expect(clippy::cast_possible_truncation, reason = "no picture has so many lines")]
                let by = whole as i64;
                number += by;
                last = places[i];
                numbers[i] = Some(number);
            }
        }
    }
    numbers
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn strays_and_holes_do_not_lose_count() {
        let places = [3.0, 10.0, 20.1, 24.5, 30.0, 49.9, 60.0];
        let numbers = numbered(&places, &[9, 30, 30, 9, 30, 30, 30], 10.0);
        assert_eq!(numbers, [None, Some(0), Some(1), None, Some(2), Some(4), Some(5)]);
    }

    /// Spacing that grows by 15 % from one side to the other: an even grid would be a line off.
    #[test]
    fn a_stretched_picture_keeps_count() {
        let places: Vec<f64> = (0..40).map(f64::from).map(|n| 10.0 * n + 0.02 * n * n).collect();
        let numbers = numbered(&places, &[1; 40], 10.6);
        assert_eq!(numbers, (0..40).map(Some).collect::<Vec<_>>());
    }
}

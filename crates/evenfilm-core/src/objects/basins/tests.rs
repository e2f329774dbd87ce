//! Basins against their definitions.

use super::*;
use crate::objects::distance_squared;
use proptest::prelude::*;

fn sorted(mut basins: Vec<Basin>) -> Vec<(u32, f64)> {
    basins.sort_by(|a, b| (a.peak2, a.cells).partial_cmp(&(b.peak2, b.cells)).unwrap());
    basins.iter().map(|b| (b.peak2, b.cells)).collect()
}

fn found(distance2: &[u32], width: usize, h: f64) -> Vec<(u32, f64)> {
    sorted(Flood::default().basins(distance2, width, |peak, saddle| peak - saddle >= h))
}

/// Maxima of dynamics h by their definition: a peak counts if every way to a higher place passes at least h below it. Of peaks of one
/// height that are joined above that, one counts.
fn by_definition(distance: &[f64], width: usize, h: f64) -> usize {
    let height = distance.len() / width;
    let mut counted: Vec<usize> = Vec::new();
    for start in 0..distance.len() {
        if distance[start] <= 0.0 {
            continue;
        }
        let floor = distance[start] - h;
        let mut seen = vec![false; distance.len()];
        let mut stack = vec![start];
        seen[start] = true;
        let mut stands = true;
        while let Some(i) = stack.pop() {
            // An earlier peak of the same height stands for both.
            if distance[i] > distance[start] || (distance[i].total_cmp(&distance[start]).is_eq() && i < start) {
                stands = false;
                break;
            }
            let (x, y) = (i % width, i / width);
            for row in y.saturating_sub(1)..(y + 2).min(height) {
                for near in row * width + x.saturating_sub(1)..row * width + (x + 2).min(width) {
                    if !seen[near] && distance[near] > 0.0 && distance[near] > floor {
                        seen[near] = true;
                        stack.push(near);
                    }
                }
            }
        }
        if stands {
            counted.push(start);
        }
    }
    counted.len()
}

fn mirrored(of: &[bool], width: usize) -> Vec<bool> {
    of.chunks(width).flat_map(|row| row.iter().rev().copied()).collect()
}

fn turned(of: &[bool], width: usize) -> Vec<bool> {
    let height = of.len() / width;
    (0..of.len()).map(|i| of[(height - 1 - i % height) * width + i / height]).collect()
}

proptest! {
    #[test]
    fn basins_are_the_maxima_of_dynamics_h(width in 1usize..22, height in 0usize..22, seed in any::<u64>(), share in 2u64..9, h in prop::sample::select(vec![0.3, 0.7, 1.1, 2.3])) {
        let mut state = seed;
        let mask: Vec<bool> = (0..width * height).map(|_| {
            state = state.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
            (state >> 33) % 10 < share + 1
        }).collect();
        // A mask without an outside has no distances.
        prop_assume!(mask.iter().any(|m| !m) || mask.is_empty());
        let distance2 = distance_squared(&mask, width);
        let basins = found(&distance2, width, h);
        let distance: Vec<f64> = distance2.iter().map(|&d| (d as f64).sqrt()).collect();
        prop_assert_eq!(basins.len(), by_definition(&distance, width, h));
        let cells: f64 = basins.iter().map(|b| b.1).sum();
        prop_assert!((cells - mask.iter().filter(|m| **m).count() as f64).abs() < 1e-9);
        if height > 0 {
            let (mirror, turn) = (mirrored(&mask, width), turned(&mask, width));
            let near = |other: Vec<(u32, f64)>| other.len() == basins.len()
                && other.iter().zip(&basins).all(|(a, b)| a.0 == b.0 && (a.1 - b.1).abs() < 1e-9);
            prop_assert!(near(found(&distance_squared(&mirror, width), width, h)));
            prop_assert!(near(found(&distance_squared(&turn, height), height, h)));
        }
    }
}

#[test]
fn two_discs_share_the_cells_of_their_neck() {
    let (width, height) = (31usize, 15usize);
    let inside = |x: usize, y: usize, cx: f64| ((x as f64 - cx).powi(2) + (y as f64 - 7.0).powi(2)) <= 36.0;
    let mask: Vec<bool> = (0..width * height).map(|i| [9.0, 21.0].iter().any(|&c| inside(i % width, i / width, c))).collect();
    let two = found(&distance_squared(&mask, width), width, 1.0);
    assert_eq!(two.len(), 2);
    assert!((two[0].1 - two[1].1).abs() < 1e-9, "{two:?}");
    assert_eq!(found(&distance_squared(&mask, width), width, 9.0).len(), 1);
}

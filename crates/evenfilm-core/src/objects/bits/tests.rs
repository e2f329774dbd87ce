//! Masks against pixels looked at one by one.

use super::*;
use crate::phases::count32;

fn bits(of: &[bool], width: usize) -> Bits {
    let mut bits = Bits::default();
    bits.reset(width, of.len() / width);
    (0..of.len()).filter(|&i| of[i]).for_each(|i| bits.set(i));
    bits
}

#[test]
fn widening_is_the_euclidean_distance() {
    for (width, height) in [(13usize, 9usize), (64, 5), (70, 11), (130, 4)] {
        let mask: Vec<bool> = (0..width * height).map(|i| i * 7 % 97 == 3).collect();
        for reach in [0.0, 1.0, 1.5, 2.3, 4.0, 7.9, 20.0, 150.0] {
            let (mut across, mut out) = (Bits::default(), Bits::default());
            bits(&mask, width).widened(reach, &mut across, &mut out);
            for (i, mark) in out.iter().enumerate() {
                let apart = |j: usize| (i % width).abs_diff(j % width).pow(2) + (i / width).abs_diff(j / width).pow(2);
                let near = (0..mask.len()).any(|j| mask[j] && apart(j) as f64 <= reach * reach);
                assert_eq!(mark, near, "{width} reach {reach} pixel {i}");
            }
        }
    }
}

#[test]
fn enclosing_is_told_like_holes_are_found() {
    let (mut state, mut none) = (3u64, 0);
    for case in 0..600usize {
        let (width, height) = (1 + case % 64, 1 + case % 23);
        let mask: Vec<bool> = (0..width * height)
            .map(|_| {
                state = state.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
                (state >> 33) % 100 < 20 + case as u64 % 60
            })
            .collect();
        let found = crate::objects::holes::Holes::default().find(mask.iter().copied(), width);
        let told = bits(&mask, width).encloses_nothing(&mut Bits::default());
        assert_eq!(told, found.is_empty(), "case {case}");
        none += usize::from(told);
    }
    assert!((50..550).contains(&none), "{none}");
}

#[test]
fn one_piece_is_told_like_it_is_walked() {
    let (mut state, mut told) = (11u64, [0; 2]);
    for case in 0..600usize {
        let (width, height) = (1 + case % 64, 1 + case % 19);
        let mask: Vec<bool> = (0..width * height)
            .map(|_| {
                state = state.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
                (state >> 33) % 100 < 10 + case as u64 % 80
            })
            .collect();
        let mut left = mask.clone();
        let mut ways: Vec<usize> = mask.iter().position(|&set| set).into_iter().collect();
        while let Some(i) = ways.pop() {
            if std::mem::take(&mut left[i]) {
                let (x, y) = (i % width, i / width);
                for row in y.saturating_sub(1)..(y + 2).min(height) {
                    ways.extend((x.saturating_sub(1)..(x + 2).min(width)).map(|column| row * width + column));
                }
            }
        }
        let one = mask.contains(&true) && !left.contains(&true);
        assert_eq!(bits(&mask, width).is_one_piece(&mut Bits::default()), one, "case {case}");
        told[usize::from(one)] += 1;
    }
    assert!(told.iter().all(|&number| number > 100), "{told:?}");
    assert!(!Bits::of_size(65, 2).is_one_piece(&mut Bits::default()));
}

#[test]
fn parts_are_cut_out_and_levels_compared_pixel_by_pixel() {
    for (width, height) in [(20usize, 7usize), (64, 6), (150, 9)] {
        let mask: Vec<bool> = (0..width * height).map(|i| i * 11 % 7 < 4).collect();
        let (of, mut out) = (bits(&mask, width), Bits::of_size(9, 9));
        for (x, y, across, down) in [(0, 0, width, height), (3, 1, 17, 5), (width - 5, 2, 5, 3), (width / 2, 0, width - width / 2, 4)] {
            of.part(Rect::new(count32(x), count32(y), count32(across), count32(down)), &mut out);
            let expected = (0..across * down).map(|i| mask[(y + i / across) * width + x + i % across]);
            assert_eq!(out.iter().collect::<Vec<_>>(), expected.collect::<Vec<_>>(), "{width}: {x} {y} {across} {down}");
        }
        let levels: Vec<Level> = (0..width * height).map(|i| Level::try_from(i * 7919 % 65_536).unwrap()).collect();
        for level in [0, 1, 30_000, Level::MAX] {
            of.darker(&levels, level, &mut out);
            let expected = levels.iter().zip(&mask).map(|(&at, &set)| set && at < level);
            assert_eq!(out.iter().collect::<Vec<_>>(), expected.collect::<Vec<_>>(), "{width}: {level}");
        }
    }
}

#[test]
fn runs_pieces_and_neighbours() {
    let width = 150;
    let mut of = Bits::default();
    of.reset(width, 3);
    of.set_run(1, 60, 131);
    assert_eq!(of.places().collect::<Vec<_>>(), (width + 60..width + 131).collect::<Vec<_>>());
    assert!(of.count() == 71 && !of.is_empty() && of.get(60, 1) && !of.get(131, 1));
    assert_eq!(of.piece(1, 58, 5), 0b11100);
    assert_eq!(of.piece(1, 100, 64), first(31));
    let mut near = Bits::default();
    of.with_neighbours(&mut near);
    assert_eq!(near.count(), 71 * 3 + 2);
    near.take(&of);
    assert_eq!(near.count(), 71 * 2 + 2);
    for width in [20, 64, 300] {
        let mask: Vec<bool> = (0..width * 5).map(|i| i * 11 % 73 == 5).collect();
        bits(&mask, width).with_corners(&mut Bits::default(), &mut near);
        let beside = |i: usize, j: usize| (i % width).abs_diff(j % width) < 2 && (i / width).abs_diff(j / width) < 2;
        let expected = |i: usize| (0..mask.len()).any(|j| mask[j] && beside(i, j));
        assert_eq!(near.iter().collect::<Vec<_>>(), (0..mask.len()).map(expected).collect::<Vec<_>>());
    }
    of.with_neighbours(&mut near);
    near.take(&of);
    near.add(&of);
    near.keep(&of);
    assert_eq!(near.iter().collect::<Vec<_>>(), of.iter().collect::<Vec<_>>());
    of.turn_over();
    assert_eq!(of.count(), 3 * width - 71);
}

//! Pieces of work in their order.
//!
//! rayon halves a range again and again, so that threads work far apart. A large picture is read through a cache of its tiles, which then
//! must hold the neighbourhood of every thread. Here each thread takes the next piece when it has done one, so that all of them work on the
//! same rows of the picture, and each tile is unpacked once.

use std::sync::atomic::{AtomicUsize, Ordering};

use rayon::prelude::*;

use crate::plane::Stop;

/// Does the pieces of work `0..count`, on all threads of the current rayon pool, a single one on the calling thread; what they give comes
/// back in order.
///
/// # Errors
/// Those of `work`; pieces not yet begun are then left out.
pub fn in_turn<T: Send>(count: usize, work: impl Fn(usize) -> Result<T, Stop> + Sync) -> Result<Vec<T>, Stop> {
    if count <= 1 {
        // Small pictures have one band and one block, and there are thousands of them: waking a thread takes longer than they do.
        return (0..count).map(work).collect();
    }
    let next = AtomicUsize::new(0);
    let threads = rayon::current_num_threads().clamp(1, count.max(1));
    let one = |_: usize| {
        let mut done = Vec::new();
        loop {
            let piece = next.fetch_add(1, Ordering::Relaxed);
            if piece >= count {
                return Ok(done);
            }
            match work(piece) {
                Ok(result) => done.push((piece, result)),
                Err(stop) => {
                    next.store(count, Ordering::Relaxed);
                    return Err(stop);
                }
            }
        }
    };
    let parts: Vec<Vec<(usize, T)>> = (0..threads).into_par_iter().with_max_len(1).map(one).collect::<Result<_, Stop>>()?;
    let mut slots: Vec<Option<T>> = std::iter::repeat_with(|| None).take(count).collect();
    for (piece, result) in parts.into_iter().flatten() {
        slots[piece] = Some(result);
    }
    Ok(slots.into_iter().flatten().collect())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_piece_is_done_once_and_stands_in_its_place() {
        for count in [0, 1, 2, 1000] {
            let calls = AtomicUsize::new(0);
            let work = |i: usize| {
                calls.fetch_add(1, Ordering::Relaxed);
                Ok(3 * i)
            };
            assert_eq!(in_turn(count, work), Ok((0..count).map(|i| 3 * i).collect()));
            assert_eq!(calls.into_inner(), count);
        }
    }

    #[test]
    fn work_within_work_and_a_stop() {
        let inner = |i: usize| in_turn(i % 7, |j| Ok(i + j)).map(|all| all.len());
        assert_eq!(in_turn(50, inner), Ok((0..50).map(|i| i % 7).collect()));
        let calls = AtomicUsize::new(0);
        let work = |i: usize| {
            calls.fetch_add(1, Ordering::Relaxed);
            if i == 3 { Err(Stop::Cancelled) } else { Ok(i) }
        };
        assert_eq!(in_turn(1_000_000, work), Err(Stop::Cancelled));
        assert!(calls.into_inner() < 1_000_000);
    }
}

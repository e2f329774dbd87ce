//! A picture at halves, quarters and so on of its size, for whoever shows it from afar. Nothing is measured on these.
//!
//! Each plane holds the rounded means of 2 × 2 pixels of the one before; where a side is odd, the last row or column is the mean of what is
//! there. Bands of the picture are brought down by themselves, so that the planes too large to hold never are.

use std::sync::{Mutex, PoisonError};

use crate::light::{BAND, bands};
use crate::order::in_turn;
use crate::plane::{Plane, Rect, Stage, Stop, Watch};
use crate::reuse;

/// Planes of more pixels than this are not held: 64 MiB.
pub const MOST_HELD_PX: u64 = 32 << 20;

/// How often a band can be halved by itself: until it is one row.
const WITHIN_BAND: u32 = BAND.trailing_zeros();

/// The planes of a picture, each half as wide and high as the one before, down to a single pixel.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Pyramid {
    /// The planes that are held, the largest first; none of an empty picture.
    pub planes: Vec<Plane<u16>>,
    /// How often the first of them was halved: 0 where it is the picture itself.
    pub first: u32,
}

/// Columns and rows after so many halvings.
fn size_at((width, height): (u32, u32), halvings: u32) -> (u32, u32) {
    let halved = |side: u32| side.div_ceil(1 << halvings.min(31));
    (halved(width), halved(height))
}

impl Pyramid {
    /// Builds the planes of a picture of `size` (columns, rows) that have at most `most_px` pixels. `read` gives the samples of a rectangle,
    /// row after row, and is called from all threads, top to bottom.
    ///
    /// # Errors
    /// Those of `read`, which must give as many samples as the rectangle has pixels; [`Stop::Cancelled`].
    pub fn build(
        size: (u32, u32),
        most_px: u64,
        read: &(dyn Fn(Rect, &mut Vec<u16>) -> Result<(), Stop> + Sync),
        watch: Watch<'_>,
    ) -> Result<Self, Stop> {
        if size.0 == 0 || size.1 == 0 {
            return Ok(Self::default());
        }
        let pixels = |halvings: u32| Rect::whole(size_at(size, halvings)).area();
        let last = size.0.max(size.1).next_power_of_two().trailing_zeros();
        let first = (0..last).find(|&halvings| pixels(halvings) <= most_px).unwrap_or(last);
        // The planes that bands make by themselves; those that follow come from the last of them.
        let (from, to) = (first.min(WITHIN_BAND), last.min(WITHIN_BAND));
        let mut planes: Vec<Vec<u16>> = (from..=to).map(|halvings| vec![0; usize::try_from(pixels(halvings)).unwrap_or(0)]).collect();
        in_bands(size, (from, &mut planes), read, watch)?;
        for halvings in to..last {
            let mut next = Vec::new();
            halve(&planes[planes.len() - 1], size_at(size, halvings).0, &mut next);
            planes.push(next);
        }
        planes.drain(..(first - from) as usize);
        let shaped = |(halvings, samples): (u32, Vec<u16>)| {
            let (width, height) = size_at(size, halvings);
            Plane::from_shape_vec((height as usize, width as usize), samples).map_err(|e| Stop::Unreadable(e.to_string()))
        };
        let planes = (first..).zip(planes).map(shaped).collect::<Result<_, _>>()?;
        Ok(Self { planes, first })
    }

    /// The plane that was halved so often; `None` where it is not held, or where there is none as small.
    pub fn at(&self, halvings: u32) -> Option<&Plane<u16>> {
        self.planes.get(halvings.checked_sub(self.first)? as usize)
    }
}

/// Brings every band down to the planes from the one halved `from` times on, and puts it into its rows of each.
fn in_bands(
    size: (u32, u32),
    (from, planes): (u32, &mut [Vec<u16>]),
    read: &(dyn Fn(Rect, &mut Vec<u16>) -> Result<(), Stop> + Sync),
    watch: Watch<'_>,
) -> Result<(), Stop> {
    let all = bands(size);
    let mut rows: Vec<&mut [u16]> = planes.iter_mut().map(Vec::as_mut_slice).collect();
    let mut own_rows = |band: &Rect| {
        let mut own = Vec::with_capacity(rows.len());
        for (halvings, left) in (from..).zip(&mut rows) {
            let (width, height) = size_at((size.0, band.height), halvings);
            own.extend(left.split_off_mut(..width as usize * height as usize));
        }
        Mutex::new(own)
    };
    let rows: Vec<Mutex<Vec<&mut [u16]>>> = all.iter().map(&mut own_rows).collect();
    let band = |index: usize| {
        watch.poll()?;
        (watch.tell)(Stage::Survey, index as f32 / all.len() as f32);
        reuse::with(|(samples, halved): &mut (Vec<u16>, Vec<u16>)| {
            read(all[index], samples)?;
            if samples.len() as u64 != all[index].area() {
                return Err(Stop::Unreadable("a part of the picture came with a wrong number of samples".into()));
            }
            let mut own = rows[index].lock().unwrap_or_else(PoisonError::into_inner);
            let mut halvings = 0;
            let mut step = |samples: &mut Vec<u16>| {
                halve(samples, size_at(size, halvings).0, halved);
                std::mem::swap(samples, halved);
                halvings += 1;
            };
            (0..from).for_each(|_| step(samples));
            for (place, rows) in own.iter_mut().enumerate() {
                if place > 0 {
                    step(samples);
                }
                rows.copy_from_slice(samples);
            }
            Ok(())
        })
    };
    in_turn(all.len(), band).map(drop)
}

#[expect(clippy::cast_possible_truncation, reason = "a mean is no larger than what it is of")]
const fn narrow(mean: u32) -> u16 {
    mean as u16
}

/// Rounded means of 2 × 2 samples. A last row or column without a pair counts as its own, which gives the mean of what is there.
fn halve(samples: &[u16], width: u32, out: &mut Vec<u16>) {
    out.clear();
    let rows = samples.chunks(2 * width as usize);
    for pair in rows {
        let (upper, lower) = pair.split_at(width as usize);
        let lower = if lower.is_empty() { upper } else { lower };
        let ((upper, last_upper), (lower, last_lower)) = (upper.as_chunks::<2>(), lower.as_chunks::<2>());
        let mean = |a: [u16; 2], b: [u16; 2]| {
            let sum = u32::from(a[0]) + u32::from(a[1]) + u32::from(b[0]) + u32::from(b[1]) + 2;
            narrow(sum >> 2)
        };
        out.extend(upper.iter().zip(lower).map(|(&a, &b)| mean(a, b)));
        out.extend(last_upper.iter().zip(last_lower).map(|(&a, &b)| mean([a; 2], [b; 2])));
    }
}

#[cfg(test)]
mod tests {
    use std::sync::atomic::{AtomicBool, AtomicU64, Ordering};

    use proptest::prelude::*;

    use super::*;
    use crate::plane::Samples;

    static GO: AtomicBool = AtomicBool::new(false);

    fn watch() -> Watch<'static> {
        Watch { cancel: &GO, tell: &|_, _| () }
    }

    fn built(picture: &Plane<u16>, most_px: u64) -> Pyramid {
        let read = |at: Rect, out: &mut Vec<u16>| {
            out.resize(usize::try_from(at.area()).unwrap(), 0);
            picture.read(at, out)
        };
        Pyramid::build(picture.size(), most_px, &read, watch()).unwrap()
    }

    /// The mean of the pixels there are, each by itself, halves rounded up.
    fn naive(plane: &Plane<u16>) -> Plane<u16> {
        let (height, width) = plane.dim();
        Plane::from_shape_fn((height.div_ceil(2), width.div_ceil(2)), |(y, x)| {
            let near = [(0, 0), (0, 1), (1, 0), (1, 1)].map(|(v, u)| plane.get((2 * y + v, 2 * x + u)));
            let there: Vec<f64> = near.into_iter().flatten().map(|&sample| f64::from(sample)).collect();
            (there.iter().sum::<f64>() / there.len() as f64 + 0.5).floor() as u16
        })
    }

    proptest! {
        #![proptest_config(ProptestConfig::with_cases(48))]
        #[test]
        fn planes_are_those_of_a_plain_halving(width in 1usize..150, height in 1usize..330, seed in any::<u64>(), most_px in 0u64..20_000) {
            let mut state = seed;
            let picture = Plane::from_shape_fn((height, width), |_| {
                state = state.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
                (state >> 48) as u16
            });
            let mut planes = vec![picture.clone()];
            while planes[planes.len() - 1].len() > 1 {
                planes.push(naive(&planes[planes.len() - 1]));
            }
            let pyramid = built(&picture, most_px);
            for (halvings, plane) in (0..).zip(&planes) {
                let held = plane.len() as u64 <= most_px || plane.len() == 1;
                prop_assert_eq!(pyramid.at(halvings), held.then_some(plane));
            }
            prop_assert_eq!(pyramid.first as usize + pyramid.planes.len(), planes.len());
        }
    }

    #[test]
    fn the_smallest_and_the_empty() {
        let one = Plane::from_elem((1, 1), 7);
        assert_eq!(built(&one, MOST_HELD_PX), Pyramid { planes: vec![one.clone()], first: 0 });
        assert_eq!(built(&one, 0), Pyramid { planes: vec![one], first: 0 });
        assert_eq!(built(&Plane::zeros((0, 5)), MOST_HELD_PX), Pyramid::default());
    }

    /// Every pixel is read once, and planes below those that a band makes by itself come from the last of these.
    #[test]
    fn a_wide_picture_is_brought_down_without_being_held() {
        let size = (1 << 16, 130);
        let read_px = AtomicU64::new(0);
        let read = |at: Rect, out: &mut Vec<u16>| {
            read_px.fetch_add(at.area(), Ordering::Relaxed);
            out.clear();
            out.resize(usize::try_from(at.area()).unwrap(), 12_345);
            Ok(())
        };
        let pyramid = Pyramid::build(size, 1 << 10, &read, watch()).unwrap();
        assert_eq!(read_px.into_inner(), Rect::whole(size).area());
        assert_eq!((pyramid.first, pyramid.planes[0].dim()), (7, (2, 1 << 9)));
        assert!(pyramid.planes.iter().flatten().all(|&sample| sample == 12_345));
        assert_eq!(pyramid.planes.last().map(Plane::dim), Some((1, 1)));
    }

    #[test]
    fn what_cannot_be_read_or_is_stopped_ends() {
        let unreadable = Stop::Unreadable("gone".into());
        let fails = |at: Rect, out: &mut Vec<u16>| {
            out.resize(usize::try_from(at.area()).unwrap(), 0);
            if at.y == 128 { Err(unreadable.clone()) } else { Ok(()) }
        };
        assert_eq!(Pyramid::build((10, 200), 100, &fails, watch()), Err(unreadable.clone()));
        let short = |_: Rect, out: &mut Vec<u16>| {
            out.clear();
            Ok(())
        };
        assert!(matches!(Pyramid::build((10, 200), 100, &short, watch()), Err(Stop::Unreadable(_))));
        let stopped = AtomicBool::new(true);
        let never = |_: Rect, _: &mut Vec<u16>| panic!("stopped before");
        assert_eq!(Pyramid::build((10, 10), 100, &never, Watch { cancel: &stopped, tell: &|_, _| () }), Err(Stop::Cancelled));
    }
}

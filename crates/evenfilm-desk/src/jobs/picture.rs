//! Reading the picture of a field: the pyramids that the window paints from, and parts of pictures that are too large to be held.

use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::{Arc, Condvar, Mutex, PoisonError};
use std::time::Duration;

use evenfilm_core::plane::{Plane, Rect, Stage, Stop, Watch};
use evenfilm_core::pyramid::{MOST_HELD_PX, Pyramid};
use evenfilm_core::recipe::{Detect, Recipe};
use evenfilm_record::fault::Fault;
use evenfilm_record::folder::Batch;
use evenfilm_record::lot::{self, View};

use super::{Report, Tell, Worker, guarded};
use crate::canvas::{Detail, FieldPicture};

/// A field to look at.
pub(crate) struct Look {
    pub(crate) batch: Arc<Batch>,
    /// A place in its fields.
    pub(crate) field: usize,
}

/// The part that the window would like to have at a finer reduction than is held: the latest wins.
#[derive(Default)]
pub(crate) struct Wanted {
    /// Part of the picture, and log2 of the reduction.
    part: Mutex<Option<(Rect, u32)>>,
    something: Condvar,
}

impl Wanted {
    /// Asks for a part; what was asked for before and not begun is dropped.
    pub(crate) fn ask(&self, at: Rect, reduction: u32) {
        *self.part.lock().unwrap_or_else(PoisonError::into_inner) = Some((at, reduction));
        self.something.notify_all();
    }

    /// The next part; `None` after a while without one, so that whoever waits can see whether it is still needed.
    fn next(&self) -> Option<(Rect, u32)> {
        let part = self.part.lock().unwrap_or_else(PoisonError::into_inner);
        let waited = self.something.wait_timeout_while(part, Duration::from_millis(50), |part| part.is_none());
        waited.unwrap_or_else(PoisonError::into_inner).0.take()
    }
}

pub(super) fn start(tell: Tell, wanted: Arc<Wanted>) -> Worker<Look> {
    Worker::start("picture", move |number, look: Look, cancel| {
        let mut shown = false;
        let result = guarded("reading the picture", || {
            lot::view(&look.batch, look.field, cancel, &mut |view| {
                let picture = field_picture(view, look.field, cancel);
                let going_on = picture.is_ok();
                if !cancel.load(Ordering::Relaxed) {
                    let path = &look.batch.fields[look.field].source.path;
                    let picture = picture.map_err(|stop| Fault::input(stop.to_string(), "copy the picture again").at(path));
                    tell.tell(Report::Pictured(number, Box::new(picture)));
                }
                shown = true;
                if going_on && view.is_by_rectangle() {
                    serve(view, number, &wanted, cancel, &tell);
                }
            })
        });
        if let (Err(fault), false) = (result, shown || cancel.load(Ordering::Relaxed)) {
            tell.tell(Report::Pictured(number, Box::new(Err(fault))));
        }
    })
}

fn field_picture(view: &View<'_>, field: usize, cancel: &AtomicBool) -> Result<FieldPicture, Stop> {
    let silent = |_: Stage, _: f32| {};
    let watch = Watch { cancel, tell: &silent };
    // The light first: it is what was measured.
    let light = Pyramid::build(view.size(), MOST_HELD_PX, &|at, out| view.levels(at, out), watch)?;
    let shot = Pyramid::build(view.size(), MOST_HELD_PX, &|at, out| view.counts(at, out), watch)?;
    let mut one = Recipe::default();
    one.particles.detect = Detect::Noise;
    one.particles.noise_factor = 1.0;
    Ok(FieldPicture {
        field,
        size: view.size(),
        um_per_px: view.um_per_px(),
        full_scale: view.full_scale(),
        light,
        shot,
        film: view.film(),
        bare_known: view.bare_known(),
        cuts: view.cuts(&one, None),
        levels_seen: view.levels_seen().to_vec(),
    })
}

/// Gives the samples of a rectangle, row after row.
type Read<'a> = dyn Fn(Rect, &mut Vec<u16>) -> Result<(), Stop> + 'a;

/// Reads parts until the window looks elsewhere.
fn serve(view: &View<'_>, number: u64, wanted: &Wanted, cancel: &AtomicBool, tell: &Tell) {
    while !cancel.load(Ordering::Relaxed) {
        let Some((at, reduction)) = wanted.next() else { continue };
        let part = |read: &Read<'_>| reduced(read, at, reduction);
        let (light, shot) = (part(&|at, out| view.levels(at, out)), part(&|at, out| view.counts(at, out)));
        // A part that cannot be read stays coarse; measuring it says what is wrong with it.
        if let (Ok(light), Ok(shot)) = (light, shot) {
            tell.tell(Report::Detailed(number, Detail { at, reduction, light, shot }));
        }
    }
}

/// A part of the picture, halved so many times. Its corner and sides are multiples of the reduction, but for the frame.
fn reduced(read: &Read<'_>, at: Rect, reduction: u32) -> Result<Plane<u16>, Stop> {
    let step = 1_u32 << reduction;
    let (width, height) = (at.width.div_ceil(step) as usize, at.height.div_ceil(step) as usize);
    let mut out = Plane::zeros((height, width));
    let mut rows = Vec::new();
    for (row, mut line) in out.rows_mut().into_iter().enumerate() {
        let y = at.y + u32::try_from(row).unwrap_or(0) * step;
        let band = Rect::new(at.x, y, at.width, step.min(at.bottom() - y));
        read(band, &mut rows)?;
        let (across, step) = (at.width as usize, step as usize);
        for (column, mean) in line.iter_mut().enumerate() {
            let columns = column * step..(column * step + step).min(across);
            let sum: u64 = rows.chunks_exact(across).map(|row| row[columns.clone()].iter().map(|&s| u64::from(s)).sum::<u64>()).sum();
            let n = (columns.len() * rows.len() / across) as u64;
            *mean = u16::try_from((sum + n / 2) / n.max(1)).unwrap_or(u16::MAX);
        }
    }
    Ok(out)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn parts_are_means_of_squares() {
        let whole = Plane::from_shape_fn((5, 6), |(y, x)| u16::try_from(10 * y + x).unwrap());
        let read = |at: Rect, out: &mut Vec<u16>| {
            out.clear();
            let (rows, columns) = (at.y as usize..at.bottom() as usize, at.x as usize..at.right() as usize);
            rows.for_each(|y| columns.clone().for_each(|x| out.push(whole[[y, x]])));
            Ok(())
        };
        let part = reduced(&read, Rect::new(2, 2, 4, 3), 1).unwrap();
        // Means of 22 23 32 33, of 24 25 34 35, of 42 43, of 44 45; halves go up.
        assert_eq!(part.iter().copied().collect::<Vec<_>>(), [28, 30, 43, 45]);
        assert_eq!(reduced(&read, Rect::new(0, 0, 6, 5), 0).unwrap(), whole);
    }
}

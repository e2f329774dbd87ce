//! Small jobs: the lots of a folder, small pictures for the cards, choosing a folder, the sample lot.

use std::path::PathBuf;
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::thread;

use evenfilm_core::plane::{Rect, Stop};
use evenfilm_record::fault::Fault;
use evenfilm_record::folder::{self, Batch, Options};
use evenfilm_record::lot::{self, View};
use evenfilm_record::phantom_files::{PhantomKind, PhantomOptions, write_phantom};

use super::{Purpose, Report, Tell, Worker, guarded};
use crate::canvas::Thumb;
use crate::numbers::Charted;
use crate::state::Listed;

/// Fields whose small pictures are wanted.
pub(crate) struct Thumbs {
    pub(crate) batch: Arc<Batch>,
    pub(crate) fields: Vec<usize>,
}

pub(super) fn list(tell: Tell) -> Worker<PathBuf> {
    Worker::start("list", move |number, folder: PathBuf, _: &AtomicBool| {
        let found = guarded("opening the folder", || Ok(folder::open_all(std::slice::from_ref(&folder), &Options::default())));
        let lots = match found {
            Ok(opened) => opened.into_iter().map(|one| Listed { folder: one.folder, name: one.lot, fault: one.batch.err() }).collect(),
            Err(fault) => vec![Listed { folder: folder.clone(), name: None, fault: Some(fault) }],
        };
        tell.tell(Report::Listed(number, folder, lots));
    })
}

pub(super) fn thumbs(tell: Tell) -> Worker<Thumbs> {
    Worker::start("thumbs", move |number, asked: Thumbs, cancel: &AtomicBool| {
        for field in asked.fields {
            if cancel.load(Ordering::Relaxed) {
                return;
            }
            // A card without a picture is no fault: what is wrong with the field is told where it is measured.
            let _ = guarded("drawing a small picture", || {
                lot::view(&asked.batch, field, cancel, &mut |view| {
                    if let Ok(thumb) = thumb(view) {
                        tell.tell(Report::Thumbed(number, field, thumb));
                    }
                })
            });
        }
    })
}

/// Longest side of a small picture, pixels.
const THUMB_PX: u32 = 192;

/// Every so many-th pixel of a field; the mean of some of those around each.
fn thumb(view: &View<'_>) -> Result<Thumb, Stop> {
    let (width, height) = view.size();
    let step = width.max(height).div_ceil(THUMB_PX).max(1);
    let (columns, rows) = ((width / step).max(1), (height / step).max(1));
    let (mut levels, mut line) = (Vec::with_capacity((columns * rows) as usize), Vec::new());
    // Four rows of each square: enough for a small picture, and a gigapixel slide need not be read as a whole.
    for row in 0..rows {
        let taken = [0, 1, 2, 3].map(|quarter| (row * step + quarter * step / 4).min(height - 1));
        let mut sums = vec![0_u64; columns as usize];
        for y in taken {
            view.levels(Rect::new(0, y, width, 1), &mut line)?;
            for (x, sum) in sums.iter_mut().enumerate() {
                let from = x * step as usize;
                let part = &line[from..(from + step as usize).min(line.len())];
                *sum += part.iter().map(|&level| u64::from(level)).sum::<u64>() / part.len().max(1) as u64;
            }
        }
        levels.extend(sums.iter().map(|sum| u16::try_from(sum / 4).unwrap_or(u16::MAX)));
    }
    Ok(Thumb { width: columns as usize, height: rows as usize, levels, film: view.film().map(|film| film.level) })
}

/// Asks the system for a folder, on a thread of its own. Where the system has no such window, the answer is the same as when nobody chose.
pub(super) fn choose(tell: Tell, purpose: Purpose, at: Option<PathBuf>) {
    let title = match purpose {
        Purpose::Lot => "The folder of a lot, or of several",
        Purpose::Records => "Where records go",
        Purpose::Charts => "Where the charts go",
        Purpose::Key => "The file of your key",
    };
    let ask = move || {
        let dialog = rfd::FileDialog::new().set_title(title);
        let dialog = if let Some(at) = at { dialog.set_directory(at) } else { dialog };
        let folder = guarded("choosing a folder", || Ok(if purpose == Purpose::Key { dialog.pick_file() } else { dialog.pick_folder() }))
            .unwrap_or_default();
        tell.tell(Report::Chosen(folder, purpose));
    };
    let _ = thread::Builder::new().name("choose".into()).spawn(ask);
}

/// Draws and writes charts.
pub(super) fn save_charts(tell: Tell, charted: Charted, folder: PathBuf) {
    let draw = move || {
        let count = guarded("drawing the charts", || {
            std::fs::create_dir_all(&folder)
                .map_err(|e| Fault::work(format!("the folder cannot be made: {e}"), "choose another one").at(&folder))?;
            charted.save(&folder)
        });
        tell.tell(Report::Charted(folder, count));
    };
    let _ = thread::Builder::new().name("charts".into()).spawn(draw);
}

/// Fields of the sample lot.
const SAMPLE_FIELDS: u32 = 4;

pub(super) fn render_sample(tell: Tell, folder: PathBuf) {
    let render = move || {
        let result = guarded("rendering the sample lot", || {
            let options = PhantomOptions { fields: SAMPLE_FIELDS, ..PhantomOptions::new(PhantomKind::Film, 1) };
            std::fs::create_dir_all(folder.parent().unwrap_or(&folder))
                .map_err(|e| Fault::work(format!("the folder of the sample lot cannot be made: {e}"), "free some space").at(&folder))?;
            write_phantom(&folder, &options)?;
            Ok(folder.clone())
        });
        tell.tell(Report::Rendered(result));
    };
    let _ = thread::Builder::new().name("sample".into()).spawn(render);
}

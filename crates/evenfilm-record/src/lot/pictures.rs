//! Reading pictures while others are measured.

use std::fs;
use std::path::Path;
use std::sync::mpsc::{SyncSender, sync_channel};
use std::thread;
use std::time::{Instant, SystemTime};

use crate::fault::Fault;
use crate::folder::{Batch, Objective, Source};
use crate::pictures::{Picture, Reading};

use super::Job;

/// A picture and what its file looked like just before it was read.
pub(super) struct Read {
    pub(super) picture: Picture,
    pub(super) stamp: Stamp,
}

/// Length and time of a file: tells that it was changed.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct Stamp(Option<(u64, Option<SystemTime>)>);

impl Stamp {
    pub(super) fn of(path: &Path) -> Self {
        Self(fs::metadata(path).ok().map(|data| (data.len(), data.modified().ok())))
    }

    /// Whether the file could be asked.
    pub(super) const fn is_known(&self) -> bool {
        matches!(self.0, Some((_, Some(_))))
    }

    /// Makes sure that the file is still the one that was measured.
    pub(super) fn check(self, path: &Path) -> Result<(), Fault> {
        if Self::of(path) == self {
            return Ok(());
        }
        let remedy = "wait until the camera's program has written it, then measure again";
        Err(Fault::input("the picture changed while it was measured", remedy).at(path))
    }
}

/// Folder of scratch files; the system's own where there is none.
pub(super) type Scratch<'a> = Option<&'a Path>;

/// Opens a picture; decodes it where it is small.
pub(super) fn read((batch, objective): (&Batch, &Objective), source: &Source, scratch: Scratch<'_>) -> Result<Read, Fault> {
    let stamp = Stamp::of(&source.path);
    let reading = Reading { scratch, ..batch.reading(objective) };
    Ok(Read { picture: Picture::open_page(&source.path, source.info.page, &reading)?, stamp })
}

/// Calls `each` for the fields `wanted`, all of one objective, in their order, while the next picture is read on a thread of its own; at most two are held at a
/// time. Gives the seconds that were spent waiting.
pub(super) fn for_each(
    of: (&Batch, &Objective),
    wanted: &[usize],
    (job, scratch): (&Job<'_>, Scratch<'_>),
    each: &mut dyn FnMut(usize, &Read) -> Result<(), Fault>,
) -> Result<f64, Fault> {
    let mut waited_s = 0.0;
    thread::scope(|scope| {
        let (send, receive) = sync_channel(0);
        let reader = thread::Builder::new().name("read ahead".into());
        reader
            .spawn_scoped(scope, move || read_ahead(of, wanted, (job, scratch), &send))
            .map_err(|e| Fault::work(format!("cannot start reading pictures: {e}"), "close other programs, then measure again"))?;
        for &field in wanted {
            let start = Instant::now();
            let read = receive.recv().unwrap_or_else(|_| Err(Fault::interrupted()))?;
            waited_s += start.elapsed().as_secs_f64();
            job.poll()?;
            each(field, &read)?;
        }
        Ok(waited_s)
    })
}

/// Reads until somebody stops it, a picture fails, or nobody listens any more.
fn read_ahead(of: (&Batch, &Objective), wanted: &[usize], (job, scratch): (&Job<'_>, Scratch<'_>), send: &SyncSender<Result<Read, Fault>>) {
    for &field in wanted {
        if job.poll().is_err() {
            return;
        }
        let read = read(of, &of.0.fields[field].source, scratch);
        let failed = read.is_err();
        if send.send(read).is_err() || failed {
            return;
        }
    }
}

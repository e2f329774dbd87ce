//! Where the counts of a picture are while it is measured: in memory, in its own file, or in a scratch file. All three give the same.

use std::collections::BTreeMap;
use std::fs::File;
use std::io::{self, BufWriter, Write};
use std::path::{Path, PathBuf};
use std::sync::atomic::{AtomicBool, AtomicU64, Ordering};
use std::sync::{Arc, Mutex, MutexGuard, OnceLock, PoisonError};
use std::time::{Duration, Instant};

use evenfilm_core::plane::{Plane, Rect, Samples, Stop};

use super::bytes::read_exact_at;
use super::pieces::{Content, Grid, Pieces, Rows};
use super::turn::Turn;
use crate::fault::Fault;

/// What a picture may take of memory, and where it goes beyond that.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[non_exhaustive]
pub struct Budget {
    /// Pictures of at most so many bytes of counts, two a pixel, are held in memory; default 128 MiB.
    pub held: u64,
    /// Bytes of decoded pieces that a larger picture keeps at hand, beside one piece for each thread; default 32 MiB. Two rows of pieces are
    /// kept in any case: all threads work at the same height of a picture, and what they look at may lie across two rows.
    pub cache: u64,
}

impl Default for Budget {
    fn default() -> Self {
        Self { held: 128 << 20, cache: 32 << 20 }
    }
}

/// The counts of a picture.
pub(super) enum Store {
    Held(Plane<u16>),
    Tiled(Tiled, Turn),
    Spooled(Spool, Turn),
}

impl Store {
    /// Decodes what fits into the budget, and makes ready to read the rest by rectangles.
    pub(super) fn open(mut content: Content, turn: Turn, budget: &Budget, scratch: Option<&Path>) -> Result<Self, Fault> {
        let bytes = Rect::whole(content.size()).area() * 2;
        if bytes <= budget.held {
            let plane = content.held()?;
            return Ok(Self::Held(turn.plane(plane)));
        }
        match content {
            Content::Pieces(pieces) => Ok(Self::Tiled(Tiled::new(pieces, budget.cache), turn)),
            Content::Rows(mut rows) => Ok(Self::Spooled(Spool::write(rows.as_mut(), scratch)?, turn)),
        }
    }

    /// Seconds that threads have spent so far on getting counts to be read: decoding pieces, reading files, waiting for each other.
    pub(super) fn waited_s(&self) -> f64 {
        match self {
            Self::Held(_) => 0.0,
            Self::Tiled(tiled, _) => tiled.waited.seconds(),
            Self::Spooled(spool, _) => spool.waited.seconds(),
        }
    }

    fn stored_size(&self) -> (u32, u32) {
        match self {
            Self::Held(plane) => plane.size(),
            Self::Tiled(tiled, _) => tiled.grid.size,
            Self::Spooled(spool, _) => spool.size,
        }
    }
}

impl Samples for Store {
    fn size(&self) -> (u32, u32) {
        match self {
            Self::Held(plane) => plane.size(),
            Self::Tiled(_, turn) | Self::Spooled(_, turn) => turn.size(self.stored_size()),
        }
    }

    fn read(&self, at: Rect, out: &mut [u16]) -> Result<(), Stop> {
        let (stored, turn): (&dyn Samples, Turn) = match self {
            Self::Held(plane) => return plane.read(at, out),
            Self::Tiled(tiled, turn) => (tiled, *turn),
            Self::Spooled(spool, turn) => (spool, *turn),
        };
        if turn == Turn::default() {
            return stored.read(at, out);
        }
        let mut counts = vec![0; out.len()];
        stored.read(turn.stored(at, self.size()), &mut counts)?;
        turn.lay(&counts, (at.width, at.height), out);
        Ok(())
    }
}

/// A piece that is decoded once, by the first thread that needs it; the others do their other pieces first, then wait for it.
#[derive(Default)]
struct Piece {
    /// Whether a thread is at it.
    begun: AtomicBool,
    counts: OnceLock<Result<Vec<u16>, Fault>>,
}

/// A picture whose pieces are decoded when they are needed.
pub(super) struct Tiled {
    pieces: Box<dyn Pieces>,
    grid: Grid,
    /// Pieces that are kept at most.
    most: usize,
    kept: Mutex<Kept>,
    waited: Waited,
}

/// Time that threads spent on getting pieces: decoding, reading, waiting for each other.
#[derive(Default)]
struct Waited(AtomicU64);

impl Waited {
    fn during<T>(&self, work: impl FnOnce() -> T) -> T {
        let start = Instant::now();
        let done = work();
        self.0.fetch_add(u64::try_from(start.elapsed().as_nanos()).unwrap_or(u64::MAX), Ordering::Relaxed);
        done
    }

    fn seconds(&self) -> f64 {
        Duration::from_nanos(self.0.load(Ordering::Relaxed)).as_secs_f64()
    }
}

/// Pieces by their place, each with the time of its last use.
#[derive(Default)]
struct Kept {
    pieces: BTreeMap<(u32, u32), (u64, Arc<Piece>)>,
    by_use: BTreeMap<u64, (u32, u32)>,
    /// Memory of a piece that made room.
    spare: Option<Vec<u16>>,
    now: u64,
}

impl Kept {
    /// The piece at this place; the one that was not used for longest makes room for a new one.
    fn give(&mut self, place: (u32, u32), most: usize) -> Arc<Piece> {
        self.now += 1;
        let (now, before) = (self.now, self.pieces.remove(&place));
        let piece = before.map_or_else(Arc::default, |(used, piece)| {
            self.by_use.remove(&used);
            piece
        });
        while self.pieces.len() >= most {
            let Some(oldest) = self.by_use.pop_first() else { break };
            let gone = self.pieces.remove(&oldest.1).and_then(|(_, piece)| Arc::into_inner(piece));
            if let Some(Ok(counts)) = gone.and_then(|piece| piece.counts.into_inner()) {
                self.spare = Some(counts);
            }
        }
        self.pieces.insert(place, (now, Arc::clone(&piece)));
        self.by_use.insert(now, place);
        piece
    }
}

impl Tiled {
    fn new(pieces: Box<dyn Pieces>, cache: u64) -> Self {
        let grid = pieces.grid();
        let piece = u64::from(grid.piece.0) * u64::from(grid.piece.1) * 2;
        let most = usize::try_from(cache / piece.max(1)).unwrap_or(usize::MAX).max(2 * grid.across() as usize);
        Self { pieces, grid, most, kept: Mutex::default(), waited: Waited::default() }
    }

    fn piece(&self, column: u32, row: u32) -> Arc<Piece> {
        self.kept().give((row, column), self.most)
    }

    fn kept(&self) -> MutexGuard<'_, Kept> {
        self.kept.lock().unwrap_or_else(PoisonError::into_inner)
    }

    /// The counts of a piece, decoded here unless another thread did or does it.
    fn counts<'p>(&self, piece: &'p Piece, place: Rect) -> Result<&'p [u16], Stop> {
        let decode = || {
            let mut counts = self.kept().spare.take().unwrap_or_default();
            counts.resize(place.width as usize * place.height as usize, 0);
            self.pieces.decode(place, &mut counts, place.width as usize).map(|()| counts)
        };
        let counts = match piece.counts.get() {
            Some(counts) => counts,
            None => self.waited.during(|| piece.counts.get_or_init(decode)),
        };
        counts.as_deref().map_err(|fault| Stop::Unreadable(fault.message.clone()))
    }
}

impl Samples for Tiled {
    fn size(&self) -> (u32, u32) {
        self.grid.size
    }

    fn read(&self, at: Rect, out: &mut [u16]) -> Result<(), Stop> {
        if at.area() == 0 {
            return Ok(());
        }
        let (columns, rows) = self.grid.piece;
        let mut copy = |piece: &Piece, from: Rect| {
            let counts = self.counts(piece, from)?;
            let (left, right) = (at.x.max(from.x), at.right().min(from.right()));
            let width = (right - left) as usize;
            for y in at.y.max(from.y)..at.bottom().min(from.bottom()) {
                let source = (y - from.y) as usize * from.width as usize + (left - from.x) as usize;
                let target = (y - at.y) as usize * at.width as usize + (left - at.x) as usize;
                out[target..target + width].copy_from_slice(&counts[source..source + width]);
            }
            Ok(())
        };
        let mut busy = Vec::new();
        for row in at.y / rows..=(at.bottom() - 1) / rows {
            for column in at.x / columns..=(at.right() - 1) / columns {
                let (piece, from) = (self.piece(column, row), self.grid.place(column, row));
                if piece.counts.get().is_none() && piece.begun.swap(true, Ordering::Relaxed) {
                    busy.push((piece, from));
                } else {
                    copy(&piece, from)?;
                }
            }
        }
        busy.iter().try_for_each(|(piece, from)| copy(piece, *from))
    }
}

/// A picture that was decoded once into a scratch file. The file has no name, or is deleted when it is closed: the system takes it back
/// however the program ends, so nothing is left over.
pub(super) struct Spool {
    file: File,
    size: (u32, u32),
    waited: Waited,
}

impl Spool {
    fn write(rows: &mut dyn Rows, scratch: Option<&Path>) -> Result<Self, Fault> {
        let folder = scratch.map_or_else(std::env::temp_dir, PathBuf::from);
        let failed = |err: &io::Error| {
            let remedy = "make room there, or give an output folder on a larger disk";
            Fault::work(format!("a picture too large for memory cannot be laid down: {err}"), remedy).at(&folder)
        };
        let file = tempfile::tempfile_in(&folder).map_err(|err| failed(&err))?;
        let mut out = BufWriter::with_capacity(1 << 20, &file);
        let mut bytes = Vec::new();
        rows.each(&mut |row| {
            bytes.clear();
            bytes.extend(row.iter().flat_map(|count| count.to_le_bytes()));
            out.write_all(&bytes).map_err(|err| failed(&err))
        })?;
        out.flush().map_err(|err| failed(&err))?;
        drop(out);
        Ok(Self { file, size: rows.size(), waited: Waited::default() })
    }
}

impl Samples for Spool {
    fn size(&self) -> (u32, u32) {
        self.size
    }

    fn read(&self, at: Rect, out: &mut [u16]) -> Result<(), Stop> {
        let mut bytes = vec![0; at.width as usize * 2];
        for (y, line) in (at.y..at.bottom()).zip(out.chunks_exact_mut(at.width.max(1) as usize)) {
            let place = (u64::from(y) * u64::from(self.size.0) + u64::from(at.x)) * 2;
            self.waited
                .during(|| read_exact_at(&self.file, place, &mut bytes))
                .map_err(|err| Stop::Unreadable(format!("a scratch file cannot be read: {err}")))?;
            line.iter_mut().zip(bytes.as_chunks().0).for_each(|(to, &pair)| *to = u16::from_le_bytes(pair));
        }
        Ok(())
    }
}

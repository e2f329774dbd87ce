//! Records, one after another.

use std::collections::VecDeque;
use std::path::PathBuf;
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::{Arc, Condvar, Mutex, MutexGuard, PoisonError};
use std::thread::{self, JoinHandle};
use std::time::Instant;

use evenfilm_record::fault::{Fault, FaultKind};
use evenfilm_record::folder::{Batch, Options, SHEET};
use evenfilm_record::journal;
use evenfilm_record::lot::{self, Event, Job, LotOutcome};
use evenfilm_record::occasion::Occasion;
use evenfilm_record::sheet::Sheet;

use super::measure::in_words;
use super::{Report, Tell, guarded};

/// A record that is asked for.
#[derive(Clone, Debug)]
pub(crate) struct Order {
    pub(crate) id: u64,
    pub(crate) folder: PathBuf,
    pub(crate) out: PathBuf,
    /// Why it is made although there is an earlier record; `None` where there is none, or nobody said.
    pub(crate) reason: Option<String>,
}

/// Writes records in the order in which they are asked for.
pub(crate) struct Writer {
    shared: Arc<Shared>,
    last: u64,
    thread: Option<JoinHandle<()>>,
}

#[derive(Default)]
struct Shared {
    queue: Mutex<Queue>,
    something: Condvar,
}

#[derive(Default)]
struct Queue {
    waiting: VecDeque<(Order, Arc<AtomicBool>)>,
    going: Option<(u64, Arc<AtomicBool>)>,
    closed: bool,
}

impl Shared {
    fn lock(&self) -> MutexGuard<'_, Queue> {
        self.queue.lock().unwrap_or_else(PoisonError::into_inner)
    }

    fn next(&self) -> Option<(Order, Arc<AtomicBool>)> {
        let mut queue = self.lock();
        queue.going = None;
        loop {
            if queue.closed {
                return None;
            }
            if let Some((order, cancel)) = queue.waiting.pop_front() {
                queue.going = Some((order.id, Arc::clone(&cancel)));
                return Some((order, cancel));
            }
            queue = self.something.wait(queue).unwrap_or_else(PoisonError::into_inner);
        }
    }
}

impl Writer {
    pub(super) fn start(tell: Tell) -> Self {
        let shared = Arc::new(Shared::default());
        let mine = Arc::clone(&shared);
        let run = move || {
            while let Some((order, cancel)) = mine.next() {
                let result = guarded("writing the record", || write(&order, &cancel, &tell));
                tell.tell(Report::Written(order.id, Box::new(result)));
            }
        };
        let thread = thread::Builder::new().name("write".into()).spawn(run).ok();
        Self { shared, last: 0, thread }
    }

    /// Puts a lot at the end of the queue; gives the number of the record to come.
    pub(crate) fn ask(&mut self, folder: PathBuf, out: PathBuf, reason: Option<String>) -> u64 {
        self.last += 1;
        self.shared.lock().waiting.push_back((Order { id: self.last, folder, out, reason }, Arc::default()));
        self.shared.something.notify_one();
        self.last
    }

    /// Stops a record that waits or is being written; its end is told as interrupted where it had begun. Gives whether it still waited.
    pub(crate) fn stop(&self, id: u64) -> bool {
        let mut queue = self.shared.lock();
        if let Some((_, cancel)) = queue.going.as_ref().filter(|(going, _)| *going == id) {
            cancel.store(true, Ordering::Relaxed);
        }
        let before = queue.waiting.len();
        queue.waiting.retain(|(order, _)| order.id != id);
        queue.waiting.len() < before
    }
}

impl Drop for Writer {
    fn drop(&mut self) {
        let mut queue = self.shared.lock();
        queue.closed = true;
        queue.waiting.clear();
        if let Some((_, cancel)) = &queue.going {
            cancel.store(true, Ordering::Relaxed);
        }
        self.shared.something.notify_one();
        drop(queue);
        // What is given up takes back what it wrote; the program waits for that.
        if let Some(thread) = self.thread.take() {
            let _ = thread.join();
        }
    }
}

/// The same calls as the command line's, from the same files.
fn write(order: &Order, cancel: &AtomicBool, tell: &Tell) -> Result<LotOutcome, Fault> {
    let occasion = Occasion { reason: order.reason.clone(), ..Occasion::now(&order.out, env!("CARGO_PKG_VERSION"))? };
    let start = Instant::now();
    let outcome = Batch::open(&order.folder, &Options::of(&occasion.settings)).and_then(|batch| {
        let fields = batch.fields.len();
        let show = |event: Event<'_>| {
            let (share, what) = in_words(event, fields);
            tell.tell(Report::Writing(order.id, share, what, start.elapsed().as_secs_f64()));
        };
        lot::run(&batch, &Job { out: &order.out, occasion: &occasion, cancel, tell: &show })
    });
    // A lot that was refused is put down as well.
    if let Err(fault) = &outcome
        && fault.kind == FaultKind::Input
        && let Ok(sheet) = Sheet::read(&order.folder.join(SHEET))
        && let Err(unwritten) = journal::refused(&order.out, &sheet.lot, fault, &occasion)
    {
        tell.tell(Report::NotPutDown(unwritten));
    }
    outcome
}

//! Work beside the window. Each kind has one thread that takes the latest request and drops what it overtakes; results carry the number of
//! their request, so that whoever reads them can drop those that came too late. A panic in one job is told like any other fault.

use std::panic::{AssertUnwindSafe, catch_unwind};
use std::path::PathBuf;
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::mpsc::{Receiver, Sender, channel};
use std::sync::{Arc, Condvar, Mutex, OnceLock, PoisonError};
use std::thread;

use evenfilm_record::fault::Fault;
use evenfilm_record::lot::{Inspected, LotOutcome};

use crate::canvas::{Detail, FieldPicture, Thumb};
use crate::numbers::Charted;
use crate::state::{Chosen, Known, Listed, Ordered, Place};

mod measure;
mod past;
mod picture;
mod sign;
mod small;
mod write;

pub(crate) use measure::{Asked, Opened, write_corrections};
pub(crate) use picture::{Look, Wanted};
pub(crate) use sign::ToSign;
pub(crate) use small::Thumbs;

/// What a job tells the window.
pub(crate) enum Report {
    /// Lots of a folder.
    Listed(u64, PathBuf, Vec<Listed>),
    /// A lot was opened, or cannot be.
    Opened(u64, Box<Result<Opened, Fault>>),
    /// A run goes on: share, what, and the field that is done or being measured.
    Going(u64, f32, String, Option<(usize, bool)>),
    /// A run has ended.
    Measured(u64, Box<Result<Shown, Fault>>, Box<Chosen>),
    /// A field's picture is there.
    Pictured(u64, Box<Result<FieldPicture, Fault>>),
    /// A part of a picture that is not held in memory.
    Detailed(u64, Detail),
    /// A small picture of a field.
    Thumbed(u64, usize, Thumb),
    /// A folder was chosen, or none.
    Chosen(Option<PathBuf>, Purpose),
    /// The sample lot is rendered.
    Rendered(Result<PathBuf, Fault>),
    /// Charts were written into a folder, so many files.
    Charted(PathBuf, Result<usize, Fault>),
    /// What there was before the records that are asked for, and whether the lab wants a reason for another one.
    LookedBack(Vec<Ordered>, bool),
    /// The latest record of the lot that is shown.
    Latest(Option<PathBuf>),
    /// The sign-offs of a record, with the number of a new one; or why there is none, and what that is about.
    Signoffs(PathBuf, Result<(Box<Known>, Option<u32>), (Place, Fault)>),
    /// Something could not be put down in the journal.
    NotPutDown(Fault),
    /// A record is being written: its number, share, what.
    Writing(u64, f32, String, f64),
    /// A record is written, or is not.
    Written(u64, Box<Result<LotOutcome, Fault>>),
}

/// Numbers to be shown.
pub(crate) struct Shown {
    pub(crate) inspected: Inspected,
    /// Why the journal could not be told of them; `None` where it was.
    pub(crate) not_put_down: Option<Fault>,
}

/// What a folder or a file is chosen for.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Purpose {
    /// A lot, or several.
    Lot,
    /// Where records go.
    Records,
    /// Where charts go.
    Charts,
    /// The file of a key.
    Key,
}

/// Sends reports and wakes the window.
#[derive(Clone)]
pub(crate) struct Tell {
    to: Sender<Report>,
    window: Arc<OnceLock<egui::Context>>,
}

impl Tell {
    pub(crate) fn tell(&self, report: Report) {
        // Nobody listens any more once the window is closed.
        let _ = self.to.send(report);
        if let Some(window) = self.window.get() {
            window.request_repaint();
        }
    }
}

/// A thread that works on the latest request.
pub(crate) struct Worker<R> {
    shared: Arc<Shared<R>>,
    /// Number of the latest request.
    latest: u64,
}

struct Shared<R> {
    mailbox: Mutex<Mailbox<R>>,
    something: Condvar,
}

struct Mailbox<R> {
    request: Option<(u64, R, Arc<AtomicBool>)>,
    /// Stops the request that is being worked on.
    cancel: Arc<AtomicBool>,
    closed: bool,
}

impl<R> Shared<R> {
    fn lock(&self) -> std::sync::MutexGuard<'_, Mailbox<R>> {
        self.mailbox.lock().unwrap_or_else(PoisonError::into_inner)
    }
}

impl<R: Send + 'static> Worker<R> {
    /// Starts the thread. `work` gets a request, its number, and the flag that stops it.
    pub(crate) fn start(name: &str, mut work: impl FnMut(u64, R, &AtomicBool) + Send + 'static) -> Self {
        let mailbox = Mailbox { request: None, cancel: Arc::default(), closed: false };
        let shared = Arc::new(Shared { mailbox: Mutex::new(mailbox), something: Condvar::new() });
        let mine = Arc::clone(&shared);
        let run = move || {
            while let Some((number, request, cancel)) = mine.next() {
                work(number, request, &cancel);
            }
        };
        // A system that starts no thread had none for the window either.
        let _ = thread::Builder::new().name(name.into()).spawn(run);
        Self { shared, latest: 0 }
    }

    /// Asks for work; what is being worked on, or waits, is dropped.
    pub(crate) fn ask(&mut self, request: R) -> u64 {
        self.latest += 1;
        let cancel = Arc::new(AtomicBool::new(false));
        let mut mailbox = self.shared.lock();
        mailbox.cancel.store(true, Ordering::Relaxed);
        mailbox.cancel = Arc::clone(&cancel);
        mailbox.request = Some((self.latest, request, cancel));
        self.shared.something.notify_one();
        self.latest
    }

    /// Stops what is being worked on or waits.
    pub(crate) fn stop(&mut self) {
        // What still comes is of an older number.
        self.latest += 1;
        let mut mailbox = self.shared.lock();
        mailbox.cancel.store(true, Ordering::Relaxed);
        mailbox.request = None;
    }

    /// Whether a result is of the latest request.
    pub(crate) const fn is_latest(&self, number: u64) -> bool {
        number == self.latest
    }
}

impl<R> Drop for Worker<R> {
    fn drop(&mut self) {
        let mut mailbox = self.shared.lock();
        mailbox.closed = true;
        mailbox.cancel.store(true, Ordering::Relaxed);
        self.shared.something.notify_one();
    }
}

impl<R> Shared<R> {
    /// The next request; waits for it. `None` when the window is closed.
    fn next(&self) -> Option<(u64, R, Arc<AtomicBool>)> {
        let mut mailbox = self.lock();
        loop {
            if mailbox.closed {
                return None;
            }
            if let Some(request) = mailbox.request.take() {
                return Some(request);
            }
            mailbox = self.something.wait(mailbox).unwrap_or_else(PoisonError::into_inner);
        }
    }
}

/// Runs a job; a panic in it becomes a fault that says so.
pub(crate) fn guarded<T>(what: &str, job: impl FnOnce() -> Result<T, Fault>) -> Result<T, Fault> {
    catch_unwind(AssertUnwindSafe(job)).unwrap_or_else(|panic| {
        let said = panic.downcast_ref::<&str>().map(ToString::to_string).or_else(|| panic.downcast_ref::<String>().cloned());
        let said = said.map_or_else(String::new, |said| format!(": {said}"));
        let remedy = "this is a fault of the program; nothing that was written is lost: keep the pictures and report it with these words";
        Err(Fault::work(format!("{what} ended by an inner fault{said}"), remedy))
    })
}

/// All workers and the way back from them.
pub(crate) struct Jobs {
    pub(crate) list: Worker<PathBuf>,
    pub(crate) measure: Worker<Asked>,
    pub(crate) picture: Worker<Look>,
    pub(crate) thumbs: Worker<Thumbs>,
    pub(crate) write: write::Writer,
    /// What a picture that is not held in memory is asked for: the latest wins.
    pub(crate) detail: Arc<picture::Wanted>,
    tell: Tell,
    reports: Receiver<Report>,
}

impl Jobs {
    pub(crate) fn start() -> Self {
        let (to, reports) = channel();
        let tell = Tell { to, window: Arc::default() };
        let detail = Arc::new(picture::Wanted::default());
        Self {
            list: small::list(tell.clone()),
            measure: measure::start(tell.clone()),
            picture: picture::start(tell.clone(), Arc::clone(&detail)),
            thumbs: small::thumbs(tell.clone()),
            write: write::Writer::start(tell.clone()),
            detail,
            tell,
            reports,
        }
    }

    /// The window that is woken when something is told.
    pub(crate) fn wake(&self, window: &egui::Context) {
        self.tell.window.get_or_init(|| window.clone());
    }

    /// What was told since the last look.
    pub(crate) fn reports(&self) -> Vec<Report> {
        self.reports.try_iter().collect()
    }

    /// Lets the system ask for a folder.
    pub(crate) fn choose(&self, purpose: Purpose, at: Option<PathBuf>) {
        small::choose(self.tell.clone(), purpose, at);
    }

    /// Looks what there was before records.
    pub(crate) fn look_back(&self, ordered: Vec<Ordered>) {
        past::look(self.tell.clone(), ordered);
    }

    /// Finds the latest record of a lot.
    pub(crate) fn find_latest(&self, out: PathBuf, lot: String) {
        sign::find(self.tell.clone(), out, lot);
    }

    /// Looks at a record and its sign-offs.
    pub(crate) fn look_at_signoffs(&self, record: PathBuf) {
        sign::look(self.tell.clone(), record);
    }

    /// Signs a record.
    pub(crate) fn sign(&self, asked: ToSign) {
        sign::sign(self.tell.clone(), asked);
    }

    /// Draws charts and writes them into a folder.
    pub(crate) fn save_charts(&self, charted: Charted, folder: PathBuf) {
        small::save_charts(self.tell.clone(), charted, folder);
    }

    /// Renders the sample lot into a folder.
    pub(crate) fn render_sample(&self, folder: PathBuf) {
        small::render_sample(self.tell.clone(), folder);
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::time::Duration;

    #[test]
    fn the_latest_request_wins() {
        let (say, heard) = channel();
        let mut worker = Worker::start("test", move |number, wait: bool, cancel: &AtomicBool| {
            while wait && !cancel.load(Ordering::Relaxed) {
                thread::sleep(Duration::from_millis(1));
            }
            say.send((number, cancel.load(Ordering::Relaxed))).unwrap();
        });
        worker.ask(true);
        thread::sleep(Duration::from_millis(20));
        worker.ask(true);
        let last = worker.ask(false);
        let next = || heard.recv_timeout(Duration::from_secs(20)).unwrap();
        assert_eq!(next(), (1, true));
        assert_eq!(next(), (last, false));
        assert!(worker.is_latest(last) && !worker.is_latest(1));
    }

    #[test]
    fn a_panic_is_told_in_words() {
        let fault = guarded("measuring", || -> Result<(), Fault> { panic!("index 3") }).unwrap_err();
        assert!(fault.message.contains("measuring ended by an inner fault: index 3"), "{fault}");
        assert_eq!(guarded("adding", || Ok(2)).unwrap(), 2);
    }
}

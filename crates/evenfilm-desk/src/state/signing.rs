//! A record that is being signed.

use std::path::PathBuf;

use evenfilm_record::fault::Fault;
use evenfilm_record::signoff::Found;

/// A record that somebody wants to sign.
#[derive(Debug)]
pub struct Signing {
    /// Its folder.
    pub record: PathBuf,
    /// What is known of it; `None` until it is looked at.
    pub(crate) known: Option<Known>,
    /// Its sign-off is being made.
    pub is_going: bool,
    /// Why that failed, and what it is about.
    pub fault: Option<(Place, Fault)>,
    /// The number of the sign-off that was made last here.
    pub made: Option<u32>,
}

/// What a record and its sign-offs say.
#[derive(Debug)]
pub(crate) struct Known {
    /// Its lot.
    pub(crate) lot: String,
    /// Its revision.
    pub(crate) revision: u32,
    /// When it was made, in words.
    pub(crate) at: String,
    /// Its sign-offs, in order.
    pub(crate) found: Vec<Found>,
    /// Why some of what the lab has settled cannot be read.
    pub(crate) fault: Option<Fault>,
}

/// The part of a request that a fault is about.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Place {
    /// The name.
    Name,
    /// The file of the key.
    KeyFile,
    /// The passphrase.
    Passphrase,
    /// All of it: the record, the lab's settings, the disk.
    Whole,
}

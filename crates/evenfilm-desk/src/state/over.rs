//! What is said to a person, and what lies over everything else.

use std::path::PathBuf;

use evenfilm_record::fault::Fault;

/// What a person should know.
#[derive(Clone, Debug)]
pub struct Notice {
    /// One sentence.
    pub text: String,
    /// What to do; may be empty.
    pub remedy: String,
    /// How it went.
    pub tone: Tone,
    /// When it was said: what went well leaves by itself.
    pub said: std::time::Instant,
}

/// How something went.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Tone {
    /// It is done.
    Done,
    /// It cannot be done now, and nothing is amiss.
    NotNow,
    /// It failed.
    Failed,
}

/// Where one goes from a lot.
#[derive(Clone, Debug, PartialEq)]
pub enum Next {
    /// To the start page.
    Start,
    /// To another lot of the open folder.
    Lot(usize),
    /// To another folder.
    Folder(PathBuf),
}

/// An object or a gap that was pointed at.
#[derive(Clone, Debug, PartialEq)]
pub struct Pointed {
    /// Its picture.
    pub field: String,
    /// Whether it is a gap.
    pub gap: bool,
    /// Its centroid, µm from the upper left corner of the field.
    pub at_um: [f64; 2],
    /// The word of its kind.
    pub kind: &'static str,
}

/// What lies over everything else.
#[derive(Clone, Debug, PartialEq)]
pub enum Over {
    /// The search for commands.
    Find,
    /// The list of keys.
    Keys,
    /// A field is to be left out, and why is asked for.
    LeaveOut,
    /// A thing in the picture is to be given another kind.
    Kind(Pointed),
    /// Choices are to be locked: name and version.
    Lock,
    /// The choices are not saved, and a record is asked for.
    SaveFirst,
    /// Records are asked for where there are earlier ones, and why is asked for.
    Again,
    /// A record is to be signed.
    Sign,
    /// Where the charts go is asked for.
    Charts,
    /// What the verdict rests on.
    Why,
    /// What is being written.
    Queue,
    /// Appearance, scale, folders.
    Setup,
    /// Whether what is not saved of the lot may go, and what comes then.
    Leave(Next),
    /// The window is to be closed while something is not saved or being written.
    Closing,
}

impl Notice {
    /// Something failed.
    pub(crate) fn of(fault: &Fault) -> Self {
        let place = match (&fault.file, fault.line) {
            (Some(file), Some(line)) => format!(" ({}, line {line})", file.display()),
            (Some(file), None) => format!(" ({})", file.display()),
            _ => String::new(),
        };
        Self::failed(format!("{}{place}", fault.message), fault.remedy.clone())
    }

    /// Something failed, and what to do.
    pub(crate) fn failed(text: impl Into<String>, remedy: impl Into<String>) -> Self {
        Self { remedy: remedy.into(), ..Self::of_tone(text, Tone::Failed) }
    }

    /// Something cannot be done now.
    pub(crate) fn not_now(text: impl Into<String>) -> Self {
        Self::of_tone(text, Tone::NotNow)
    }

    /// Corrections that were overtaken by somebody else's.
    pub(crate) fn overtaken() -> Self {
        Self::failed(
            "corrections.csv was changed by somebody else, so your change of it was not written",
            "what the file says now is shown; make the change again",
        )
    }

    /// Something went as it should.
    pub(crate) fn good(text: impl Into<String>) -> Self {
        Self::of_tone(text, Tone::Done)
    }

    fn of_tone(text: impl Into<String>, tone: Tone) -> Self {
        Self { text: text.into(), remedy: String::new(), tone, said: std::time::Instant::now() }
    }
}

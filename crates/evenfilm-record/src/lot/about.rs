//! What `bag-info.txt` says of a record.

use std::path::Path;

use crate::archive::{self, Info, Revision};
use crate::digest::sha256_hex;
use crate::disk::plain_bytes;
use crate::fault::Fault;
use crate::folder::Batch;

use super::{Job, approved};

/// What is known of a record only when it is sealed.
pub(super) struct Circumstances<'a> {
    pub(super) revision: &'a Revision,
    /// What is no longer as before, in words.
    pub(super) changed: Option<&'a str>,
    pub(super) notes: &'a [String],
}

/// The lines, without those of the chain, which the archive adds. Labels of RFC 8493 (2.2.2) come first.
pub(super) fn bag_info(batch: &Batch, job: &Job<'_>, known: &Circumstances<'_>) -> Info {
    let occasion = job.occasion;
    let (moment, about) = (&occasion.moment, &batch.sheet.about);
    let mut lines = occasion.settings.bag_info();
    lines.extend([
        ("Bag-Software-Agent", format!("evenfilm {}", occasion.program_version)),
        ("Bagging-Date", moment.date.clone()),
        ("External-Identifier", batch.sheet.lot.clone()),
        ("External-Description", "How evenly a powder is dispersed in a dried film, from micrographs".to_owned()),
        // The revisions of a lot belong together, and nobody knows how many there will be.
        ("Bag-Group-Identifier", batch.sheet.lot.clone()),
        ("Bag-Count", format!("{} of ?", known.revision.number)),
    ]);
    let sender = [("Internal-Sender-Identifier", &about.operator), ("Internal-Sender-Description", &about.bench)];
    lines.extend(sender.into_iter().filter_map(|(label, text)| Some((label, text.clone()?))));
    lines.extend([
        ("Evenfilm-Program-Version", occasion.program_version.clone()),
        ("Time-Source", moment.source.to_owned()),
        ("Evenfilm-Measured-At", moment.measured_at.clone()),
        ("Evenfilm-Sealed-At", moment.again().measured_at),
    ]);
    if moment.is_clock() {
        let origin = &occasion.origin;
        lines.extend([
            ("Evenfilm-User", origin.user.clone()),
            ("Evenfilm-Computer", origin.computer.clone()),
            ("Evenfilm-Zone", origin.zone.clone()),
        ]);
    } else {
        // Whoever sets the time asks for the same bytes everywhere; the journal has these.
        lines.push(("Evenfilm-Origin", "not recorded, since the time was set from outside".to_owned()));
    }
    let found =
        |file: Option<&Path>, none: &str| file.map_or_else(|| none.to_owned(), |file| place_of(file, &batch.folder, moment.is_clock()));
    lines.push(("Evenfilm-Recipe-From", found(batch.recipe_file.as_deref(), "built in")));
    lines.push(("Evenfilm-Limits-From", found(batch.limits_file.as_deref(), "none")));
    lines.extend(settings_line(job, moment.is_clock()));
    lines.extend(approved::lines(batch, occasion));
    if known.revision.previous.is_some() {
        let reason = occasion.reason.as_deref().map_or("", str::trim);
        lines.push(("Evenfilm-Reason", if reason.is_empty() { "nobody said".to_owned() } else { reason.to_owned() }));
    }
    lines.extend(known.changed.map(|words| ("Evenfilm-Changed", words.to_owned())));
    lines.extend(known.notes.iter().map(|note| ("Evenfilm-Note", note.clone())));
    lines
}

/// The lab's settings, where it has any.
fn settings_line(job: &Job<'_>, in_full: bool) -> Option<(&'static str, String)> {
    let settings = &job.occasion.settings;
    let path = settings.path.as_ref()?;
    let name = if in_full { path.display().to_string() } else { path.file_name()?.to_string_lossy().into_owned() };
    let controlled = if settings.controlled { "controlled" } else { "not controlled" };
    let open = if settings.could_be_changed { "; could be changed by who measured" } else { "" };
    let signers = settings.signers.as_ref().and_then(|(path, _)| Some(format!("; signers SHA-256 {}", sha256_hex(&plain_bytes(path)?))));
    Some(("Evenfilm-Settings", format!("{name}, SHA-256 {}{}; {controlled}{open}", settings.sha256, signers.unwrap_or_default())))
}

/// Makes sure that there is a reason where the lab asks for one.
///
/// # Errors
/// The lot has a record already, and nobody said why it is measured again.
pub(super) fn check_reason(batch: &Batch, job: &Job<'_>) -> Result<(), Fault> {
    let silent = job.occasion.reason.as_deref().is_none_or(|reason| reason.trim().is_empty());
    let latest = if silent && job.occasion.settings.reason_required { archive::latest(job.out, &batch.sheet.lot) } else { None };
    let Some((revision, _)) = latest else { return Ok(()) };
    let message =
        format!("the lot {} has a record already (r{revision}), and the lab's settings ask why it is measured again", batch.sheet.lot);
    Err(Fault::input(message, "say why: --reason TEXT, or in the desk when it asks"))
}

/// Where a file was found: beside the sheet, above it, or elsewhere. The full path differs between machines.
fn place_of(file: &Path, folder: &Path, in_full: bool) -> String {
    let real = |path: &Path| path.canonicalize().unwrap_or_else(|_| path.to_path_buf());
    let (file, folder) = (real(file), real(folder));
    let place = match file.parent() {
        Some(parent) if parent == folder => "beside the sheet",
        Some(parent) if Some(parent) == folder.parent() => "in the folder above the sheet",
        _ => "elsewhere",
    };
    let name = if in_full { file.display().to_string() } else { file.file_name().unwrap_or_default().to_string_lossy().into_owned() };
    format!("{place}: {name}")
}

//! Faults of file systems, in words that say what to do.

use std::fs::{self, File};
use std::io::{self, ErrorKind, Read, Write};
use std::path::Path;

use crate::fault::Fault;

/// The fault that an error is: `doing` says what failed ("write"), `path` where.
pub(crate) fn fault(doing: &str, path: &Path, error: &io::Error) -> Fault {
    let (message, remedy) = match error.kind() {
        ErrorKind::StorageFull | ErrorKind::QuotaExceeded => ("the disk is full", "free some space or choose another output folder"),
        ErrorKind::ReadOnlyFilesystem => ("the disk is read-only", "choose an output folder on a disk that can be written"),
        ErrorKind::PermissionDenied => {
            ("no permission to write here", "choose an output folder that you may write to, or ask for permission")
        }
        ErrorKind::NotADirectory | ErrorKind::AlreadyExists => {
            ("a file stands where a folder is needed", "choose another output folder, or move that file away")
        }
        ErrorKind::IsADirectory => ("a folder stands where a file is needed", "give the name of a file"),
        ErrorKind::NotFound => ("its folder is missing", "make the folder first, or name another"),
        ErrorKind::FileTooLarge => ("the file is too large for this disk", "choose an output folder on another disk"),
        ErrorKind::InvalidFilename => {
            ("the disk does not take this name", "choose an output folder on another disk or with a shorter path")
        }
        _ => ("the file system refused", "check the disk and its connection, then measure again"),
    };
    let detail = if message == "the file system refused" { format!(": {error}") } else { String::new() };
    Fault::work(format!("cannot {doing}: {message}{detail}"), remedy).at(path)
}

/// Writes a file beside its place, then puts it there: whoever looks sees the old content or the new. A file that is replaced hands on its
/// rights.
///
/// # Errors
/// It cannot be written.
pub fn replace(path: &Path, content: &[u8]) -> Result<(), Fault> {
    let failed = |e: &io::Error| fault("write", path, e);
    let folder = path.parent().filter(|folder| !folder.as_os_str().is_empty()).unwrap_or_else(|| Path::new("."));
    let mut staged = tempfile::Builder::new().prefix(".evenfilm-").tempfile_in(folder).map_err(|e| failed(&e))?;
    staged.write_all(content).map_err(|e| failed(&e))?;
    match fs::metadata(path) {
        Ok(old) if old.is_dir() => return Err(failed(&ErrorKind::IsADirectory.into())),
        Ok(old) => staged.as_file().set_permissions(old.permissions()).map_err(|e| failed(&e))?,
        Err(_) => ordinary_rights(staged.as_file()).map_err(|e| failed(&e))?,
    }
    staged.as_file().sync_all().map_err(|e| failed(&e))?;
    staged.persist(path).map_err(|e| failed(&e.error))?;
    sync_folder(folder)
}

/// Who may read a file.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Readers {
    /// Whoever made it, where the system knows owners.
    Owner,
    /// Everybody.
    All,
}

/// Writes a new file whole and makes it last; false, and nothing done, where the name is taken.
///
/// # Errors
/// It cannot be written.
pub(crate) fn create(path: &Path, content: &[u8], readers: Readers) -> Result<bool, Fault> {
    let failed = |e: &io::Error| fault("write", path, e);
    let folder = path.parent().filter(|folder| !folder.as_os_str().is_empty()).unwrap_or_else(|| Path::new("."));
    let mut staged = tempfile::Builder::new().prefix(".evenfilm-").tempfile_in(folder).map_err(|e| failed(&e))?;
    staged.write_all(content).map_err(|e| failed(&e))?;
    if readers == Readers::All {
        ordinary_rights(staged.as_file()).map_err(|e| failed(&e))?;
    }
    staged.as_file().sync_all().map_err(|e| failed(&e))?;
    match staged.persist_noclobber(path) {
        Ok(_) => sync_folder(folder).map(|()| true),
        Err(e) if e.error.kind() == ErrorKind::AlreadyExists => Ok(false),
        Err(e) => Err(failed(&e.error)),
    }
}

/// Longest plain file that is read whole where nobody says otherwise, bytes: that of the longest manifest.
const LONGEST: u64 = 16 << 20;

/// The bytes of a plain file of bearable length; `None` for links, pipes and whatever else cannot be read so.
pub(crate) fn plain_bytes(path: &Path) -> Option<Vec<u8>> {
    let about = path.symlink_metadata().ok().filter(|about| about.is_file() && about.len() <= LONGEST)?;
    let mut bytes = Vec::with_capacity(usize::try_from(about.len()).ok()?);
    let read = File::open(path).and_then(|file| file.take(LONGEST + 1).read_to_end(&mut bytes));
    read.is_ok_and(|read| read as u64 <= LONGEST).then_some(bytes)
}

/// A folder for what is thrown away when it goes out of sight.
///
/// # Errors
/// None can be made.
pub fn scratch() -> Result<tempfile::TempDir, Fault> {
    tempfile::tempdir().map_err(|e| fault("make a folder for a while", &std::env::temp_dir(), &e))
}

/// The rights of a file that others may read; a staged one begins as its owner's alone.
#[cfg(unix)]
pub(crate) fn ordinary_rights(file: &File) -> io::Result<()> {
    use std::os::unix::fs::PermissionsExt;
    file.set_permissions(fs::Permissions::from_mode(0o644))
}

#[cfg(not(unix))]
#[expect(clippy::unnecessary_wraps, reason = "it can fail elsewhere")]
pub(crate) fn ordinary_rights(_: &File) -> io::Result<()> {
    Ok(())
}

/// Makes a folder's entries last.
pub(crate) fn sync_folder(path: &Path) -> Result<(), Fault> {
    if cfg!(unix) {
        // Some network file systems refuse to sync a folder; its entries are then theirs to keep.
        match File::open(path).and_then(|folder| folder.sync_all()) {
            Err(e) if !matches!(e.kind(), ErrorKind::InvalidInput | ErrorKind::Unsupported) => return Err(fault("write", path, &e)),
            _ => {}
        }
    }
    Ok(())
}

/// Makes a folder and all its parents; the ones that were missing, outermost first.
pub(crate) fn make_folders(path: &Path) -> Result<Vec<std::path::PathBuf>, Fault> {
    let missing = path.ancestors().filter(|p| !p.as_os_str().is_empty()).take_while(|p| p.symlink_metadata().is_err());
    let mut missing: Vec<_> = missing.map(Path::to_path_buf).collect();
    missing.reverse();
    fs::create_dir_all(path).map_err(|e| fault("make the folder", path, &e))?;
    if path.is_dir() { Ok(missing) } else { Err(fault("make the folder", path, &ErrorKind::NotADirectory.into())) }
}

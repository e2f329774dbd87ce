//! Phantom lots: a folder of rendered pictures with its sheet and its truth. Everything written says that it is rendered, not photographed.

use crate::fault::Fault;
use evenfilm_core::phantom::{Blank, Dark, Film, Truth};
use serde::{Deserialize, Serialize};
use std::fs::{self, File};
use std::io::{BufWriter, Write};
use std::path::{Path, PathBuf};

mod options;
mod pictures;
mod ruling;
#[cfg(test)]
mod tests;
mod truth_file;

pub use evenfilm_core::phantom::Mode;
pub use options::{Bits, BlurChoice, PhantomKind, PhantomOptions, PictureFile};
use pictures::write_picture;
pub use ruling::{RulingOptions, write_ruling};
use truth_file::{FieldFile, TruthFile};

/// What every file of a phantom says of itself.
pub const ORIGIN: &str = "rendered, invented data";
/// The file that tells the truth; a folder that holds it may be written again.
const TRUTH_FILE: &str = "truth.json";
/// Rows of a picture that are rendered and written at a time.
const STRIP_ROWS: u32 = 512;
/// Uncompressed pictures from this size on are written as BigTIFF, bytes.
const BIG_TIFF_FROM: u64 = 4_000_000_000;

/// Pooled truth of a phantom, for a summary in words.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct PhantomSummary {
    /// Pictures of fields written.
    pub fields: usize,
    /// Objects of powder of which something is seen.
    pub objects: usize,
    /// Other objects.
    pub left_out_objects: usize,
    /// Gaps of which something is seen.
    pub gaps: usize,
    /// Powder area ÷ field area, %.
    pub particle_area_pct: f64,
    /// Gap area ÷ field area, %.
    pub uncovered_area_pct: f64,
}

/// Writes a phantom lot into `folder`: `batch.toml`, the fields `f01`, `f02`, …, `blank`, perhaps `dark`, and `truth.json`. It is written
/// beside and renamed into place.
///
/// # Errors
/// An input fault for options out of range, or a folder that holds anything but an earlier phantom; a work fault where writing fails.
pub fn write_phantom(folder: &Path, options: &PhantomOptions) -> Result<PhantomSummary, Fault> {
    options.check()?;
    staged(folder, |staging| fill(staging, options))
}

/// Fills a folder beside its place, then puts it there.
fn staged<T>(folder: &Path, fill: impl FnOnce(&Path) -> Result<T, Fault>) -> Result<T, Fault> {
    let folder = &std::path::absolute(folder).map_err(|err| failed(&err, folder))?;
    refuse_what_is_not_ours(folder)?;
    let staging = beside(folder, "partial");
    let _ = fs::remove_dir_all(&staging);
    let done = fs::create_dir_all(&staging)
        .map_err(|err| failed(&err, &staging))
        .and_then(|()| fill(&staging))
        .and_then(|summary| put_in_place(&staging, folder).map(|()| summary));
    if done.is_err() {
        let _ = fs::remove_dir_all(&staging);
    }
    done
}

/// A hidden name in the same parent folder.
fn beside(folder: &Path, what: &str) -> PathBuf {
    let name = folder.file_name().map_or_else(|| "phantom".into(), |n| n.to_string_lossy().into_owned());
    folder.with_file_name(format!(".{name}.{what}-{}", std::process::id()))
}

fn failed(err: &dyn std::fmt::Display, path: &Path) -> Fault {
    Fault::work(format!("cannot write: {err}"), "check that the folder is writable and the disk has room").at(path)
}

/// Moves the staged folder to its name; an earlier phantom there goes when the new one stands.
fn put_in_place(staging: &Path, folder: &Path) -> Result<(), Fault> {
    let old = beside(folder, "old");
    let had_one = folder.exists();
    if had_one {
        fs::rename(folder, &old).map_err(|err| failed(&err, folder))?;
    }
    if let Err(err) = fs::rename(staging, folder) {
        if had_one {
            let _ = fs::rename(&old, folder);
        }
        return Err(failed(&err, folder));
    }
    if had_one {
        fs::remove_dir_all(&old).map_err(|err| failed(&err, &old))?;
    }
    Ok(())
}

/// A folder is ours when every file in it is on the list of its truth file.
fn refuse_what_is_not_ours(folder: &Path) -> Result<(), Fault> {
    if !folder.exists() {
        return Ok(());
    }
    let unreadable = |err: std::io::Error| Fault::input(format!("cannot read the folder: {err}"), "name another folder").at(folder);
    let mut names = Vec::new();
    for entry in fs::read_dir(folder).map_err(unreadable)? {
        names.push(entry.map_err(unreadable)?.file_name().to_string_lossy().into_owned());
    }
    names.sort();
    let ours = fs::read(folder.join(TRUTH_FILE)).ok().and_then(|b| serde_json::from_slice::<Known>(&b).ok());
    let ours = ours.filter(|known| known.origin.starts_with(ORIGIN)).map(|known| known.files).unwrap_or_default();
    match names.iter().find(|name| !ours.contains(name)) {
        None => Ok(()),
        Some(other) => {
            Err(Fault::input("the folder holds something that no phantom wrote", "name a new or empty folder").at(folder.join(other)))
        }
    }
}

/// The part of a truth file that says which files are a phantom's.
#[derive(Deserialize)]
struct Known {
    origin: String,
    files: Vec<String>,
}

/// Writes every file of the lot into `folder`.
fn fill(folder: &Path, options: &PhantomOptions) -> Result<PhantomSummary, Fault> {
    let extension = options.file.extension();
    let mut files = vec!["batch.toml".to_owned(), TRUTH_FILE.to_owned()];
    let (mut told, mut truths) = (Vec::new(), Vec::new());
    for slide in 0..options.slides {
        let spec = options.spec(slide);
        for field in 0..options.fields {
            let film = Film::lay_around(&spec, slide, field, &options.placed);
            let file = format!("f{:02}.{extension}", slide * options.fields + field + 1);
            write_picture(&folder.join(&file), &film, options)?;
            let truth = Truth::of(&film);
            told.push(FieldFile::new(&file, PhantomOptions::slide_name(slide), &truth, options));
            truths.push(truth);
            files.push(file);
        }
    }
    let blank = format!("blank.{extension}");
    write_picture(&folder.join(&blank), &Blank(options.spec(0)), options)?;
    files.push(blank);
    if options.has_dark() {
        let dark = format!("dark.{extension}");
        write_picture(&folder.join(&dark), &Dark(options.spec(0)), options)?;
        files.push(dark);
    }
    write_text(&folder.join("batch.toml"), &sheet(options))?;
    let truth = TruthFile::new(options, files, told, &truths);
    write_truth(&folder.join(TRUTH_FILE), &truth)?;
    Ok(truth.pooled.summary(truths.len()))
}

fn write_text(path: &Path, text: &str) -> Result<(), Fault> {
    let write = || {
        let mut file = File::create_new(path)?;
        file.write_all(text.as_bytes())?;
        file.sync_all()
    };
    write().map_err(|err| failed(&err, path))
}

/// Written piece by piece: the truth of a large picture is a hundred megabytes of text.
fn write_truth(path: &Path, truth: &impl Serialize) -> Result<(), Fault> {
    let write = || {
        let mut out = BufWriter::with_capacity(1 << 20, File::create_new(path)?);
        serde_json::to_writer(&mut out, truth)?;
        out.write_all(b"\n")?;
        out.into_inner()?.sync_all()
    };
    write().map_err(|err| failed(&err, path))
}

/// The sheet of the lot.
fn sheet(options: &PhantomOptions) -> String {
    let extension = options.file.extension();
    let mut parts = vec![
        format!("# {ORIGIN}: no slide was cast and no microscope used\nlot = \"{}\"\n", options.lot),
        options.sheet_top.clone(),
        "\n".to_owned(),
        options.sheet_tables.clone(),
        format!("[microscope]\nmode = \"{}\"\num_per_px = {:?}\nscale_source = \"{ORIGIN}\"\n", options.mode.word(), options.um_per_px),
        format!("numerical_aperture = {:?}\nwavelength_nm = {:?}\n", options.numerical_aperture, options.wavelength_nm),
        options.sheet_microscope.clone(),
        format!("tone = \"linear\"\nblank = \"blank.{extension}\"\n"),
    ];
    if options.has_dark() {
        parts.push(format!("dark = \"dark.{extension}\"\n"));
    }
    if options.slides > 1 {
        parts.extend((0..options.slides * options.fields).map(|number| {
            let slide = PhantomOptions::slide_name(number / options.fields);
            format!("\n[[picture]]\nfile = \"f{:02}.{extension}\"\nrole = \"field\"\nslide = \"{slide}\"\n", number + 1)
        }));
    }
    parts.push(format!("\n[note]\norigin = \"{ORIGIN}\"\n"));
    parts.concat()
}

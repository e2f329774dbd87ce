//! TIFF 6.0 and its 64-bit sibling: whole numbers of 1 to 16 bits and floats, grey, colours or a table of colours, in strips or tiles,
//! plain or packed by LZW, Deflate, PackBits or JPEG, one page or many.
//!
//! Directories and layout are read here, so that every claim is checked before it costs memory, and so that any thread can decode any
//! chunk without a position in the file that all would share.

use std::collections::BTreeSet;

use super::about::About;
use super::bytes::Shared;
use super::pieces::Content;
use super::{Ceiling, FileScale, Format, Info, Reading, ome, unsupported};
use crate::fault::Fault;

mod chunks;
pub(super) mod ifd;
mod page;
mod unpack;

use chunks::Chunks;
use ifd::{Container, Directory};
use page::{Packing, Page};

/// One byte of LZW without a clear code stands for less than 4096 bytes, of Deflate for 1032, of JPEG for 512.
const EXPANSION: u64 = 4096;

/// Resolutions in inches that imply more than this are a printer's default, µm per pixel.
const COARSEST_INCH_UM: f64 = 20.0;

/// Two scales of one file that differ by more than this share of one another are two scales.
const SCALES_AGREE: f64 = 0.01;

/// Directories of a file that are followed at most.
const MOST_PAGES: usize = 1 << 16;

/// The directories that show a picture of the size of the first, and how many others there are besides previews.
fn pages(container: &Container<'_>) -> Result<(Vec<Directory>, usize), Fault> {
    let (mut seen, mut at, mut all) = (BTreeSet::new(), container.first, Vec::new());
    while at != 0 {
        if !seen.insert(at) {
            return Err(super::damaged("its list of pages runs in a circle"));
        }
        if all.len() == MOST_PAGES {
            return Err(unsupported(format!("it has more than {MOST_PAGES} pages")));
        }
        let directory = container.directory(at)?;
        at = directory.next;
        all.push(directory);
    }
    if all.is_empty() {
        return Err(super::damaged("it has no page"));
    }
    // Bit 0 of NewSubfileType is a smaller copy, bit 2 a mask; the older tag says 2 of a smaller copy.
    let copy = |page: &Directory| {
        let says = |tag| container.one(page, tag).ok().flatten().unwrap_or(0);
        says(254) & 5 != 0 || says(255) == 2
    };
    let originals: Vec<Directory> = all.iter().filter(|page| !copy(page)).cloned().collect();
    let mut originals = if originals.is_empty() { vec![all.swap_remove(0)] } else { originals };
    let first = page::size(container, &originals[0])?;
    let count = originals.len();
    originals.retain(|page| page::size(container, page).is_ok_and(|size| size == first));
    let others = count - originals.len();
    Ok((originals, others))
}

/// What the head says of each page, checked.
pub(super) fn info(bytes: &Shared, ceiling: &Ceiling) -> Result<Vec<Info>, Fault> {
    let container = Container::open(bytes.as_ref())?;
    let (pages, others) = pages(&container)?;
    let mut infos = Vec::with_capacity(pages.len());
    for number in 0..pages.len() {
        let (_, mut info) = described(bytes, &container, (&pages, number), ceiling)?;
        if number == 0 && others > 0 {
            info.notes.push(format!("{others} pages of another size than the first are left aside"));
        }
        infos.push(info);
    }
    Ok(infos)
}

/// Head and pixels of a page.
pub(super) fn content(bytes: &Shared, number: usize, reading: &Reading<'_>) -> Result<(Info, Content), Fault> {
    let container = Container::open(bytes.as_ref())?;
    let (pages, others) = pages(&container)?;
    let (page, mut info) = described(bytes, &container, (&pages, number), &reading.ceiling)?;
    if number == 0 && others > 0 {
        info.notes.push(format!("{others} pages of another size than the first are left aside"));
    }
    Ok((info, Chunks::open(bytes.clone(), page, reading)?))
}

type Numbered<'a> = (&'a [Directory], usize);

fn described(bytes: &Shared, container: &Container<'_>, (pages, number): Numbered<'_>, ceiling: &Ceiling) -> Result<(Page, Info), Fault> {
    let Some(directory) = pages.get(number) else {
        let message = format!("the picture has {} pages of one size and no page {}", pages.len(), number + 1);
        return Err(Fault::input(message, "correct the number behind # in the sheet"));
    };
    let page = Page::read(container, directory)?;
    let bits = page.layout.depth.bits();
    let channels = match page.layout.samples {
        1 => 1,
        2 => 2,
        3 => 3,
        _ => 4,
    };
    let mut info =
        Info { bits, channels, page: number, lossy: matches!(page.packing, Packing::Jpeg { .. }), ..Info::new(Format::Tiff, page.size) };
    // What is stored in fewer bits, or as a table of colours, is larger unpacked than the file.
    let growth = match page.bits {
        _ if page.layout.samples > page.samples as usize => 24,
        ..=7 => 8,
        9..=15 => 2,
        _ => 1,
    };
    info.check(bytes.length(), if page.packing == Packing::Plain { growth } else { EXPANSION * growth }, ceiling)?;
    if page.extra() {
        let what = if page.layout.samples <= 4 { "the picture's opacity is ignored" } else { "further samples of its pixels are ignored" };
        info.notes.push(what.into());
    }
    known(container, (pages, number), &mut info)?;
    About::of_page(container, directory).tell(&mut info);
    Ok((page, info))
}

/// What the text and the numbers of a file say of scale, exposure and camera.
fn known(container: &Container<'_>, (pages, number): Numbered<'_>, info: &mut Info) -> Result<(), Fault> {
    let directory = &pages[number];
    let text = container.raw(&pages[0], 270, u64::MAX).unwrap_or_default().unwrap_or_default();
    let text = text.split(|&byte| byte == 0).next().unwrap_or_default();
    let mut ome = ome::Ome::default();
    if ome::is_ome(text) {
        if text.len() as u64 > ome::MOST_BYTES {
            return Err(unsupported(format!("an OME description of {} MiB", text.len() >> 20)));
        }
        ome = ome::read(text)?;
        info.exposure_s = ome.exposure_s(number, pages.len());
        info.gain = ome.gain;
        info.taken_at = ome.taken_at;
        if let (Some((colours, depths)), 0) = (ome.stack, number) {
            info.notes.push(format!("its pages show {colours} colours and {depths} depths, and each is read as a field of its own"));
        }
    }
    info.full_scale = full_scale(container, directory, &ome, info.bits);
    let tags = scale(container, directory, &mut info.notes);
    info.scale = match (ome.scale, tags) {
        (Some(ome), Some(tags)) => Some(agreed(ome, tags)?),
        (ome, tags) => ome.or(tags),
    };
    Ok(())
}

/// The scale of the OME text, where the resolution says the same.
fn agreed(ome: FileScale, tags: FileScale) -> Result<FileScale, Fault> {
    let differ = |a: f64, b: f64| (a - b).abs() > SCALES_AGREE * a.max(b);
    let (a, b) = (ome.um_per_px_x, tags.um_per_px_x);
    if differ(a, b) || differ(ome.um_per_px_y, tags.um_per_px_y) {
        let message = format!("two scales disagree: the picture's OME description says {a} µm per pixel, its resolution {b}");
        return Err(Fault::input(message, "export it again with one scale, as measured with a ruling"));
    }
    Ok(ome)
}

/// The count at which a camera of fewer bits than the file saturates. The tags also occur with the largest count that the picture happens
/// to have, so only such of whole bits are believed.
fn full_scale(container: &Container<'_>, directory: &Directory, ome: &ome::Ome, bits: u8) -> Option<u16> {
    let of_tag = |tag| container.one(directory, tag).ok().flatten().and_then(|most| u16::try_from(most).ok());
    let of_bits = ome.significant_bits.filter(|bits| (9..16).contains(bits)).map(|bits| (1 << bits) - 1);
    let found = of_bits.or_else(|| of_tag(341)).or_else(|| of_tag(281));
    found.filter(|most| bits == 16 && *most >= 511 && *most < u16::MAX && (most + 1).is_power_of_two())
}

/// Pixels per length as µm per pixel. A resolution that cannot be used is no error: the sheet may give the scale.
fn scale(container: &Container<'_>, directory: &Directory, notes: &mut Vec<String>) -> Option<FileScale> {
    // TIFF 6.0, ResolutionUnit: 1 none, 2 inch (where absent), 3 cm.
    let unit = container.one(directory, 296).ok()?.unwrap_or(2);
    let um = match unit {
        2 => 25_400.0,
        3 => 10_000.0,
        _ => return None,
    };
    let pixel_um = |tag| container.positive(directory, tag).map(|pixels| um / pixels).filter(|um| um.is_finite() && *um > 0.0);
    let um_per_px_x = pixel_um(282)?;
    let um_per_px_y = pixel_um(283).unwrap_or(um_per_px_x);
    if unit == 2 && um_per_px_x.max(um_per_px_y) > COARSEST_INCH_UM {
        let dpi = um / um_per_px_x;
        notes.push(format!("the file's resolution of {dpi:.0} pixels per inch is a printer's default and is ignored"));
        return None;
    }
    Some(FileScale { um_per_px_x, um_per_px_y })
}

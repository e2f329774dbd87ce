//! Pictures of a phantom, rendered and written strip by strip.

use std::fs::File;
use std::io::{BufWriter, Seek, Write};
use std::path::Path;

use evenfilm_core::plane::{Rect, Samples};
use tiff::encoder::colortype::{ColorType, Gray8, Gray16};
use tiff::encoder::{Rational, TiffEncoder, TiffKind, TiffValue};
use tiff::tags::{ResolutionUnit, Tag};

use rayon::prelude::*;

use super::{BIG_TIFF_FROM, Bits, ORIGIN, PhantomOptions, PictureFile, STRIP_ROWS, failed};
use crate::fault::Fault;

/// TIFF pictures of at least so many pixels are written in tiles, so that any part of them is near at hand; smaller ones in strips.
const TILES_FROM: u64 = 1 << 26;
/// Columns and rows of a tile.
const TILE: u32 = 512;

pub(super) fn write_picture(path: &Path, picture: &dyn Samples, options: &PhantomOptions) -> Result<(), Fault> {
    let file = File::create_new(path).map_err(|err| failed(&err, path))?;
    let mut out = BufWriter::with_capacity(1 << 20, file);
    match options.file {
        PictureFile::Tiff => write_tiff(&mut out, picture, options, path)?,
        PictureFile::Png => write_png(&mut out, picture, options, path)?,
    }
    let file = out.into_inner().map_err(|err| failed(&err, path))?;
    file.sync_all().map_err(|err| failed(&err, path))
}

fn write_tiff(out: &mut (impl Write + Seek), picture: &dyn Samples, options: &PhantomOptions, path: &Path) -> Result<(), Fault> {
    let bytes = match options.bits {
        Bits::Eight => 1,
        Bits::Sixteen => 2,
    };
    let as_bytes = |counts: &[u16]| counts.iter().map(|&c| c.to_le_bytes()[0]).collect::<Vec<u8>>();
    let pixels = Rect::whole(picture.size()).area();
    let big = pixels * bytes >= BIG_TIFF_FROM;
    if pixels >= TILES_FROM {
        let done = if big {
            TiffEncoder::new_big(out).and_then(|t| tiles(t, picture, options))
        } else {
            TiffEncoder::new(out).and_then(|t| tiles(t, picture, options))
        };
        return done.map_err(|err| failed(&err, path));
    }
    let done = match (options.bits, big) {
        (Bits::Eight, false) => TiffEncoder::new(out).and_then(|t| strips::<Gray8, _, _>(t, picture, options, as_bytes)),
        (Bits::Eight, true) => TiffEncoder::new_big(out).and_then(|t| strips::<Gray8, _, _>(t, picture, options, as_bytes)),
        (Bits::Sixteen, false) => TiffEncoder::new(out).and_then(|t| strips::<Gray16, _, _>(t, picture, options, <[u16]>::to_vec)),
        (Bits::Sixteen, true) => TiffEncoder::new_big(out).and_then(|t| strips::<Gray16, _, _>(t, picture, options, <[u16]>::to_vec)),
    };
    done.map_err(|err| failed(&err, path))
}

/// Renders and writes strip by strip, so that memory does not grow with the picture.
fn strips<C: ColorType, W: Write + Seek, K: TiffKind>(
    mut tiff: TiffEncoder<W, K>,
    picture: &dyn Samples,
    options: &PhantomOptions,
    samples: impl Fn(&[u16]) -> Vec<C::Inner>,
) -> tiff::TiffResult<()>
where
    [C::Inner]: TiffValue,
{
    let (width, height) = picture.size();
    let mut image = tiff.new_image::<C>(width, height)?;
    image.encoder().write_tag(Tag::ImageDescription, ORIGIN)?;
    image.resolution_unit(ResolutionUnit::Centimeter);
    image.x_resolution(per_cm(options));
    image.y_resolution(per_cm(options));
    image.rows_per_strip(STRIP_ROWS.min(height))?;
    let mut y = 0;
    while y < height {
        let at = Rect::new(0, y, width, STRIP_ROWS.min(height - y));
        image.write_strip(&samples(&rendered(picture, at)))?;
        y += STRIP_ROWS;
    }
    image.finish()
}

fn per_cm(options: &PhantomOptions) -> Rational {
    Rational { n: whole(1e7 / options.um_per_px), d: 1000 }
}

/// Renders and writes a large picture tile by tile, one row of tiles at a time. The tiles are plain: the noise of a camera leaves little to
/// pack (13 % by Deflate, 18 % with differences), and unpacking would take longer than measuring.
fn tiles<W: Write + Seek, K: TiffKind>(
    mut tiff: TiffEncoder<W, K>,
    picture: &dyn Samples,
    options: &PhantomOptions,
) -> tiff::TiffResult<()> {
    const GREY_FROM_BLACK: u16 = 1;
    const PLAIN: u16 = 1;
    let (width, height) = picture.size();
    let mut page = tiff.image_directory()?;
    let (mut offsets, mut lengths) = (Vec::new(), Vec::new());
    for row in 0..height.div_ceil(TILE) {
        let columns = (0..width.div_ceil(TILE)).into_par_iter();
        for counts in columns.map(|column| tile(picture, (column, row))).collect::<Vec<_>>() {
            let (offset, bytes) = match options.bits {
                Bits::Eight => (page.write_data(&*counts.iter().map(|&c| c.to_le_bytes()[0]).collect::<Vec<u8>>())?, counts.len()),
                Bits::Sixteen => (page.write_data(&*counts)?, 2 * counts.len()),
            };
            offsets.push(K::convert_offset(offset)?);
            lengths.push(u32::try_from(bytes)?);
        }
    }
    let bits: u16 = match options.bits {
        Bits::Eight => 8,
        Bits::Sixteen => 16,
    };
    page.write_tag(Tag::ImageWidth, width)?;
    page.write_tag(Tag::ImageLength, height)?;
    page.write_tag(Tag::BitsPerSample, bits)?;
    page.write_tag(Tag::Compression, PLAIN)?;
    page.write_tag(Tag::PhotometricInterpretation, GREY_FROM_BLACK)?;
    page.write_tag(Tag::ImageDescription, ORIGIN)?;
    page.write_tag(Tag::SamplesPerPixel, 1_u16)?;
    page.write_tag(Tag::XResolution, per_cm(options))?;
    page.write_tag(Tag::YResolution, per_cm(options))?;
    page.write_tag(Tag::ResolutionUnit, ResolutionUnit::Centimeter)?;
    page.write_tag(Tag::TileWidth, TILE)?;
    page.write_tag(Tag::TileLength, TILE)?;
    page.write_tag(Tag::TileOffsets, K::convert_slice(&offsets))?;
    page.write_tag(Tag::TileByteCounts, &*lengths)?;
    page.finish()
}

/// The counts of a whole tile; beyond the picture they are 0.
fn tile(picture: &dyn Samples, (column, row): (u32, u32)) -> Vec<u16> {
    let (width, height) = picture.size();
    let (x, y) = (column * TILE, row * TILE);
    let seen = rendered(picture, Rect::new(x, y, TILE.min(width - x), TILE.min(height - y)));
    let mut counts = vec![0; (TILE * TILE) as usize];
    for (to, from) in counts.chunks_exact_mut(TILE as usize).zip(seen.chunks_exact(TILE.min(width - x) as usize)) {
        to[..from.len()].copy_from_slice(from);
    }
    counts
}

/// A rectangle of a rendered picture; rendering cannot fail.
pub(super) fn rendered(picture: &dyn Samples, at: Rect) -> Vec<u16> {
    let mut counts = vec![0; at.width as usize * at.height as usize];
    // Phantoms are computed, not read: `Samples::read` has no way to fail here.
    let _ = picture.read(at, &mut counts);
    counts
}

#[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "the cast saturates; the scale is checked to be above 0")]
fn whole(x: f64) -> u32 {
    (x + 0.5) as u32
}

/// `Compression::Fast` writes the same bytes whichever zlib is linked.
fn write_png(out: &mut impl Write, picture: &dyn Samples, options: &PhantomOptions, path: &Path) -> Result<(), Fault> {
    let (width, height) = picture.size();
    let mut encoder = png::Encoder::new(out, width, height);
    encoder.set_color(png::ColorType::Grayscale);
    encoder.set_compression(png::Compression::Fast);
    // Noise is what fills these files, and the mean of two neighbours carries less of it than one.
    encoder.set_filter(png::Filter::Avg);
    let counts = rendered(picture, Rect::whole((width, height)));
    let bytes: Vec<u8> = match options.bits {
        Bits::Eight => counts.iter().map(|&c| c.to_le_bytes()[0]).collect(),
        Bits::Sixteen => counts.iter().flat_map(|&c| c.to_be_bytes()).collect(),
    };
    encoder.set_depth(match options.bits {
        Bits::Eight => png::BitDepth::Eight,
        Bits::Sixteen => png::BitDepth::Sixteen,
    });
    let write = |mut encoder: png::Encoder<'_, _>| {
        encoder.add_text_chunk("Comment".to_owned(), ORIGIN.to_owned())?;
        let mut writer = encoder.write_header()?;
        writer.write_image_data(&bytes)?;
        writer.finish()
    };
    write(encoder).map_err(|err| failed(&err, path))
}

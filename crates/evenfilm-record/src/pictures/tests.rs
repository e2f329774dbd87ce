//! Files made here, whole and broken, and what becomes of them.

use std::io::Cursor;

use tiff::encoder::colortype::{self, ColorType};
use tiff::encoder::{Compression, DeflateLevel, Rational, TiffEncoder, TiffValue};
use tiff::tags::{ResolutionUnit, Tag};

use super::*;

/// Numbers that look like noise and are the same everywhere (SplitMix64, public domain).
struct Noise(u64);

impl Noise {
    fn next(&mut self) -> u64 {
        self.0 = self.0.wrapping_add(0x9E37_79B9_7F4A_7C15);
        let mixed = (self.0 ^ (self.0 >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
        let mixed = (mixed ^ (mixed >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
        mixed ^ (mixed >> 31)
    }
    fn bytes(&mut self, count: usize) -> Vec<u8> {
        (0..count).map(|_| self.next().to_le_bytes()[0]).collect()
    }
    fn words(&mut self, count: usize) -> Vec<u16> {
        (0..count).map(|_| u16::from_le_bytes([self.next().to_le_bytes()[0], self.next().to_le_bytes()[1]])).collect()
    }
    fn below(&mut self, end: usize) -> usize {
        usize::try_from(self.next() % end as u64).unwrap()
    }
}

fn tiff<C: ColorType>(size: (u32, u32), samples: &[C::Inner], packing: Compression, scale: Option<(Rational, ResolutionUnit)>) -> Vec<u8>
where
    [C::Inner]: TiffValue,
{
    let mut file = Cursor::new(Vec::new());
    let mut encoder = TiffEncoder::new(&mut file).unwrap().with_compression(packing);
    let mut image = encoder.new_image::<C>(size.0, size.1).unwrap();
    if let Some((resolution, unit)) = scale {
        image.encoder().write_tag(Tag::XResolution, Rational { n: resolution.n, d: resolution.d }).unwrap();
        image.encoder().write_tag(Tag::YResolution, resolution).unwrap();
        image.encoder().write_tag(Tag::ResolutionUnit, unit.to_u16()).unwrap();
    }
    image.write_data(samples).unwrap();
    file.into_inner()
}

fn png((width, height): (u32, u32), color: png::ColorType, depth: png::BitDepth, bytes: &[u8]) -> Vec<u8> {
    let mut file = Vec::new();
    let mut encoder = png::Encoder::new(&mut file, width, height);
    encoder.set_color(color);
    encoder.set_depth(depth);
    if color == png::ColorType::Indexed {
        encoder.set_palette((0..=255).flat_map(|level| [level; 3]).collect::<Vec<u8>>());
    }
    encoder.write_header().unwrap().write_image_data(bytes).unwrap();
    file
}

fn reading(tone: Option<Tone>) -> Reading<'static> {
    Reading::new(tone)
}

fn decode(bytes: &[u8], tone: Option<Tone>) -> Result<Picture, Fault> {
    Picture::decode(bytes, &reading(tone))
}

fn check(bytes: &[u8], tone: Option<Tone>, expected: &[u16]) {
    let picture = decode(bytes, tone).unwrap();
    assert_eq!(picture.counts().unwrap().as_slice().unwrap(), expected);
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("renamed.dat");
    std::fs::write(&path, bytes).unwrap();
    assert_eq!(probe(&path, &Ceiling::default()).unwrap(), picture.info);
}

#[test]
fn every_supported_kind_gives_its_counts() {
    let (size, mut noise) = ((23, 17), Noise(1));
    let (bytes, words) = (noise.bytes(23 * 17), noise.words(23 * 17));
    let wide = bytes.iter().map(|&count| u16::from(count) * 257).collect::<Vec<_>>();
    let big_endian = words.iter().flat_map(|word| word.to_be_bytes()).collect::<Vec<_>>();
    for packing in [Compression::Uncompressed, Compression::Lzw, Compression::Deflate(DeflateLevel::default()), Compression::Packbits] {
        check(&tiff::<colortype::Gray8>(size, &bytes, packing, None), Some(Tone::Linear), &wide);
        check(&tiff::<colortype::Gray16>(size, &words, packing, None), None, &words);
        let colour = bytes.iter().flat_map(|&level| [level; 3]).collect::<Vec<_>>();
        check(&tiff::<colortype::RGB8>(size, &colour, packing, None), Some(Tone::Linear), &wide);
    }
    check(&png(size, png::ColorType::Grayscale, png::BitDepth::Eight, &bytes), Some(Tone::Linear), &wide);
    check(&png(size, png::ColorType::Grayscale, png::BitDepth::Sixteen, &big_endian), None, &words);
    check(&png(size, png::ColorType::Indexed, png::BitDepth::Eight, &bytes), Some(Tone::Linear), &wide);
    let opaque = bytes.iter().flat_map(|&level| [level, 255]).collect::<Vec<_>>();
    check(&png(size, png::ColorType::GrayscaleAlpha, png::BitDepth::Eight, &opaque), Some(Tone::Linear), &wide);
}

#[test]
fn white_is_zero_is_turned_round() {
    let mut turned = tiff::<colortype::Gray16>((3, 1), &[0, 1000, 65535], Compression::Uncompressed, None);
    // PhotometricInterpretation (262, SHORT, one value): 1 is black is zero.
    let entry = [6, 1, 3, 0, 1, 0, 0, 0, 1, 0];
    let at = turned.windows(entry.len()).position(|window| window == entry).unwrap();
    turned[at + 8] = 0;
    check(&turned, None, &[65535, 64535, 0]);
}

#[test]
fn display_counts_become_light() {
    // 188 is the 8-bit code that stands for half the light of white (IEC 61966-2-1, from memory).
    let bytes = png((2, 1), png::ColorType::Grayscale, png::BitDepth::Eight, &[188, 255]);
    check(&bytes, Some(Tone::Srgb), &[32957, 65535]);
    let fault = decode(&bytes, None).unwrap_err();
    assert!(fault.remedy.contains("tone = \"srgb\"") && fault.remedy.contains("tone = \"linear\""), "{fault}");
}

/// µm per pixel as a file writes it, pixels per cm (Aldus/Adobe TIFF 6.0, section 8; rationals as tifffile 2026 writes them).
const SCALES: [(f64, u32, u32); 5] =
    [(0.5, 20_000, 1), (0.107, 10_000_000, 107), (1.0, 10_000, 1), (0.25, 40_000, 1), (6.45, 200_000, 129)];

#[test]
fn scale_of_the_file() {
    let file = |n, d, unit| tiff::<colortype::Gray16>((1, 1), &[1], Compression::Uncompressed, Some((Rational { n, d }, unit)));
    for (um, n, d) in SCALES {
        let scale = decode(&file(n, d, ResolutionUnit::Centimeter), None).unwrap().info.scale.unwrap();
        assert_eq!((scale.um_per_px_x, scale.um_per_px_y), (um, um));
        let scale = decode(&file(n * 2, d * 2, ResolutionUnit::Inch), None).unwrap().info.scale;
        assert!((scale.unwrap().um_per_px_x - um * 2.54).abs() < 1e-12);
    }
    for (n, d, unit, note) in
        [(72, 1, ResolutionUnit::Inch, true), (0, 1, ResolutionUnit::Centimeter, false), (1, 0, ResolutionUnit::Centimeter, false)]
    {
        let info = decode(&file(n, d, unit), None).unwrap().info;
        assert_eq!((info.scale, info.notes.len()), (None, usize::from(note)));
    }
    assert_eq!(decode(&file(40_000, 1, ResolutionUnit::None), None).unwrap().info.scale, None);
}

/// A 16-bit grey TIFF made by hand: byte order, the size that it claims, its packing, and the bytes of its pixels.
fn by_hand(big_endian: bool, [width, height]: [u32; 2], packing: u16, pixels: &[u8]) -> Vec<u8> {
    let two = |value: u16| if big_endian { value.to_be_bytes() } else { value.to_le_bytes() };
    let four = |value: u32| if big_endian { value.to_be_bytes() } else { value.to_le_bytes() };
    let entries: [(u16, u16, u32); 9] = [
        (256, 4, width),
        (257, 4, height),
        (258, 3, 16),
        (259, 3, packing.into()),
        (262, 3, 1),
        (273, 4, 8 + 2 + 9 * 12 + 4),
        (277, 3, 1),
        (278, 4, height),
        (279, 4, u32::try_from(pixels.len()).unwrap()),
    ];
    let mut file = if big_endian { b"MM\0*\0\0\0\x08".to_vec() } else { b"II*\0\x08\0\0\0".to_vec() };
    file.extend(two(9));
    for (tag, kind, value) in entries {
        // Short values stand in the first bytes of their place, whatever the order.
        let value = if kind == 3 && big_endian { value << 16 } else { value };
        file.extend([two(tag), two(kind)].concat());
        file.extend([four(1), four(value)].concat());
    }
    file.extend([0; 4]);
    file.extend(pixels);
    file
}

fn claiming(width: u32, height: u32, packing: u16, pixels: usize) -> Vec<u8> {
    by_hand(false, [width, height], packing, &vec![7; pixels])
}

#[test]
fn byte_orders_and_wide_offsets() {
    let words = Noise(11).words(35);
    let big = words.iter().flat_map(|word| word.to_be_bytes()).collect::<Vec<_>>();
    let little = words.iter().flat_map(|word| word.to_le_bytes()).collect::<Vec<_>>();
    check(&by_hand(true, [7, 5], 1, &big), None, &words);
    check(&by_hand(false, [7, 5], 1, &little), None, &words);
    let mut wide = Cursor::new(Vec::new());
    TiffEncoder::new_big(&mut wide).unwrap().write_image::<colortype::Gray16>(7, 5, &words).unwrap();
    check(&wide.into_inner(), None, &words);
}

#[test]
fn pictures_that_cannot_be_used() {
    let header = |width: u32, height: u32| {
        let mut file = png((1, 1), png::ColorType::Grayscale, png::BitDepth::Eight, &[1]);
        file[16..20].copy_from_slice(&width.to_be_bytes());
        file[20..24].copy_from_slice(&height.to_be_bytes());
        let mut crc = flate_crc(&file[12..29]).to_be_bytes().to_vec();
        file.splice(29..33, crc.drain(..));
        file
    };
    let cases: [(Vec<u8>, &str); 16] = [
        (claiming(60_000, 60_000, 1, 100), "claims 60000 × 60000 pixels, more than the 2000 million pixels"),
        (claiming(u32::MAX, u32::MAX, 1, 100), "claims 4294967295 × 4294967295 pixels, more than"),
        (claiming(40_000, 40_000, 1, 100), "cut short: it claims 40000 × 40000 pixels"),
        (claiming(40_000, 40_000, 5, 100), "cut short: it claims 40000 × 40000 pixels"),
        (claiming(0, 5, 1, 100), "empty: 0 × 5 pixels"),
        (claiming(5, 0, 1, 100), "empty: 5 × 0 pixels"),
        (claiming(10, 10, 6, 200), "this kind of picture is not read: its pixels are packed by method 6"),
        (header(0, 5), "the picture is empty: 0 × 5 pixels"),
        (header(5, 0), "the picture is empty: 5 × 0 pixels"),
        (header(60_000, 60_000), "claims 60000 × 60000 pixels, more than"),
        (header(40_000, 40_000), "cut short: it claims 40000 × 40000 pixels"),
        (tiff::<colortype::Gray32>((1, 1), &[5], Compression::Uncompressed, None), "32-bit whole numbers"),
        (tiff::<colortype::GrayI16>((1, 1), &[5], Compression::Uncompressed, None), "its samples have a sign"),
        (b"GIF89a and so on".to_vec(), "the file is GIF, which is not read"),
        (b"lot = 1".to_vec(), "neither TIFF, PNG, JPEG nor BMP"),
        (Vec::new(), "the file is empty"),
    ];
    for (bytes, expected) in cases {
        let fault = decode(&bytes, Some(Tone::Linear)).unwrap_err();
        assert!(fault.message.contains(expected), "found {fault}, expected {expected}");
        assert!(!fault.remedy.is_empty());
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("f.tif");
        std::fs::write(&path, &bytes).unwrap();
        let probed = Picture::open(&path, &reading(Some(Tone::Linear))).unwrap_err();
        assert_eq!((probed.file, probed.message), (Some(path), fault.message));
    }
}

/// CRC-32 of a PNG chunk (ISO/IEC 15948, annex D).
fn flate_crc(bytes: &[u8]) -> u32 {
    let step = |crc: u32| if crc & 1 == 1 { 0xEDB8_8320 ^ (crc >> 1) } else { crc >> 1 };
    !bytes.iter().fold(u32::MAX, |crc, &byte| (0..8).fold(crc ^ u32::from(byte), |crc, _| step(crc)))
}

fn samples_of_files() -> Vec<Vec<u8>> {
    let mut noise = Noise(3);
    let (size, words, bytes) = ((13, 11), noise.words(143), noise.bytes(143));
    let scale = || Some((Rational { n: 40_000, d: 1 }, ResolutionUnit::Centimeter));
    let wide = words.iter().flat_map(|word| word.to_be_bytes()).collect::<Vec<_>>();
    vec![
        tiff::<colortype::Gray16>(size, &words, Compression::Uncompressed, scale()),
        tiff::<colortype::Gray16>(size, &words, Compression::Lzw, scale()),
        tiff::<colortype::Gray8>(size, &bytes, Compression::Deflate(DeflateLevel::default()), None),
        tiff::<colortype::Gray8>(size, &bytes, Compression::Packbits, None),
        png(size, png::ColorType::Grayscale, png::BitDepth::Sixteen, &wide),
        png(size, png::ColorType::Indexed, png::BitDepth::Eight, &bytes),
    ]
}

#[test]
fn a_file_cut_at_any_byte_is_refused_or_whole() {
    for file in samples_of_files() {
        let whole = decode(&file, Some(Tone::Linear)).unwrap();
        let mut refused = 0;
        for length in 0..file.len() {
            match decode(&file[..length], Some(Tone::Linear)) {
                Ok(picture) => assert_eq!(picture.counts().unwrap(), whole.counts().unwrap(), "cut at {length} of {}", file.len()),
                Err(fault) => refused += usize::from(!fault.message.is_empty() && !fault.remedy.is_empty()),
            }
        }
        assert!(refused + 8 > file.len(), "{refused} of {} refused", file.len());
    }
}

#[test]
fn flipped_bits_never_make_it_panic() {
    let mut noise = Noise(5);
    let small = Reading { ceiling: Ceiling { pixels: 1 << 20, bytes: 1 << 24 }, ..reading(Some(Tone::Srgb)) };
    for file in samples_of_files() {
        for _ in 0..4000 {
            let mut flipped = file.clone();
            for _ in 0..=noise.below(3) {
                let at = noise.below(flipped.len());
                flipped[at] ^= 1 << noise.below(8);
            }
            if let Ok(picture) = Picture::decode(&flipped, &small) {
                assert_eq!(picture.counts().unwrap().dim(), (picture.info.height as usize, picture.info.width as usize));
            }
        }
    }
}

#[test]
fn rectangles_are_read_from_any_place() {
    let words = Noise(7).words(143);
    let picture = decode(&tiff::<colortype::Gray16>((13, 11), &words, Compression::Uncompressed, None), None).unwrap();
    let mut out = [0; 6];
    picture.read(Rect::new(10, 9, 3, 2), &mut out).unwrap();
    let expected = [&words[9 * 13 + 10..10 * 13], &words[10 * 13 + 10..]].concat();
    assert_eq!((out.as_slice(), picture.size()), (expected.as_slice(), (13, 11)));
}

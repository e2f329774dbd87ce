//! The bytes of a chunk, unpacked, and what was done to its rows undone.

use std::io::{self, BufRead, ErrorKind, Read};

use weezl::LzwStatus;
use weezl::decode::{Configuration, Decoder};

use super::page::{Expand, Page, Predictor};

/// LZW as TIFF has it (section 13): high bits first, codes grow one early.
pub(super) struct Lzw<R> {
    packed: R,
    decoder: Decoder,
    ended: bool,
}

impl<R> Lzw<R> {
    pub(super) fn new(packed: R) -> Self {
        // Codes may go on after the last pixel; a buffer that is full is the end of a read, not an error.
        let decoder = Configuration::with_tiff_size_switch(weezl::BitOrder::Msb, 8).with_yield_on_full_buffer(true).build();
        Self { packed, decoder, ended: false }
    }
}

impl<R: BufRead> Read for Lzw<R> {
    fn read(&mut self, out: &mut [u8]) -> io::Result<usize> {
        while !self.ended && !out.is_empty() {
            let packed = self.packed.fill_buf()?;
            let starved = packed.is_empty();
            let done = self.decoder.decode_bytes(packed, out);
            self.packed.consume(done.consumed_in);
            match done.status {
                Ok(LzwStatus::Done) => self.ended = true,
                Ok(LzwStatus::Ok | LzwStatus::NoProgress) => {}
                Err(err) => return Err(io::Error::new(ErrorKind::InvalidData, err)),
            }
            if done.consumed_out > 0 {
                return Ok(done.consumed_out);
            }
            self.ended |= starved;
        }
        Ok(0)
    }
}

/// Runs of equal bytes (section 9).
pub(super) struct PackBits<R> {
    packed: R,
    run: Run,
}

enum Run {
    Copy(usize),
    Repeat(u8, usize),
}

impl<R> PackBits<R> {
    pub(super) const fn new(packed: R) -> Self {
        Self { packed, run: Run::Copy(0) }
    }
}

impl<R: BufRead> PackBits<R> {
    fn byte(&mut self) -> io::Result<Option<u8>> {
        let byte = self.packed.fill_buf()?.first().copied();
        self.packed.consume(usize::from(byte.is_some()));
        Ok(byte)
    }
}

impl<R: BufRead> Read for PackBits<R> {
    fn read(&mut self, out: &mut [u8]) -> io::Result<usize> {
        loop {
            match &mut self.run {
                Run::Copy(0) | Run::Repeat(_, 0) => {}
                Run::Copy(left) => {
                    let end = out.len().min(*left);
                    let count = self.packed.read(&mut out[..end])?;
                    *left -= count;
                    return Ok(count);
                }
                Run::Repeat(byte, left) => {
                    let count = out.len().min(*left);
                    out[..count].fill(*byte);
                    *left -= count;
                    return Ok(count);
                }
            }
            match self.byte()?.map(u8::cast_signed) {
                None => return Ok(0),
                Some(-128) => {}
                Some(head @ ..0) => match self.byte()? {
                    None => return Ok(0),
                    Some(byte) => self.run = Run::Repeat(byte, usize::from(head.unsigned_abs()) + 1),
                },
                Some(head) => self.run = Run::Copy(usize::from(head.unsigned_abs()) + 1),
            }
        }
    }
}

/// Adds to each number the one of the same sample in the pixel to the left.
macro_rules! add_left {
    ($row:expr, $samples:expr, $big_endian:expr, $number:ty) => {{
        let row = $row.as_chunks_mut().0;
        // One loop for each order, so that the order is not asked at every number.
        if $big_endian {
            for at in $samples..row.len() {
                row[at] = <$number>::from_be_bytes(row[at]).wrapping_add(<$number>::from_be_bytes(row[at - $samples])).to_be_bytes();
            }
        } else {
            for at in $samples..row.len() {
                row[at] = <$number>::from_le_bytes(row[at]).wrapping_add(<$number>::from_le_bytes(row[at - $samples])).to_le_bytes();
            }
        }
    }};
}

/// Undoes what was done to a row of a chunk before it was packed. `spare` is as long as the row.
pub(super) fn unpredict(page: &Page, row: &mut [u8], spare: &mut Vec<u8>) {
    let samples = page.samples_in_chunk() as usize;
    match (page.predictor, page.bits) {
        (Predictor::Nothing, _) => {}
        (Predictor::Horizontal, 8) => {
            for at in samples..row.len() {
                row[at] = row[at].wrapping_add(row[at - samples]);
            }
        }
        (Predictor::Horizontal, 16) => add_left!(row, samples, page.big_endian, u16),
        (Predictor::Horizontal, 32) => add_left!(row, samples, page.big_endian, u32),
        (Predictor::Horizontal, _) => add_left!(row, samples, page.big_endian, u64),
        (Predictor::Float, bits) => {
            for at in samples..row.len() {
                row[at] = row[at].wrapping_add(row[at - samples]);
            }
            spare.clear();
            spare.extend_from_slice(row);
            // The highest bytes of all samples stand first, then the next.
            let width = usize::from(bits / 8);
            let count = row.len() / width;
            for (place, sample) in row.chunks_exact_mut(width).enumerate() {
                for (weight, byte) in sample.iter_mut().enumerate() {
                    *byte = spare[weight * count + place];
                }
            }
        }
    }
}

/// A row as the layout of the page has it.
pub(super) fn expand<'a>(page: &Page, row: &'a [u8], out: &'a mut Vec<u8>) -> &'a [u8] {
    out.clear();
    let bits = u32::from(page.bits);
    match &page.expand {
        Expand::Nothing => return row,
        Expand::Palette(colours) => out.extend(whole_numbers(row, bits).flat_map(|index| colours[index as usize % colours.len()])),
        Expand::Bits if bits < 8 => out.extend(whole_numbers(row, bits).map(|count| (count * 255 / ((1 << bits) - 1)).to_le_bytes()[0])),
        Expand::Bits => {
            let most = (1 << bits) - 1;
            let spread = |count: u32| ((count * 65535 + most / 2) / most).to_be_bytes();
            out.extend(whole_numbers(row, bits).flat_map(|count| {
                let [.., high, low] = spread(count);
                [high, low]
            }));
        }
    }
    out
}

/// Packed whole numbers of 1 to 15 bits, the high bits first.
fn whole_numbers(row: &[u8], bits: u32) -> impl Iterator<Item = u32> {
    let (mut bytes, mut held, mut count) = (row.iter(), 0_u32, 0);
    std::iter::from_fn(move || {
        while count < bits {
            held = held << 8 | u32::from(*bytes.next()?);
            count += 8;
        }
        count -= bits;
        let number = held >> count;
        held &= (1 << count) - 1;
        Some(number)
    })
}

//! Reading CSV strictly as RFC 4180 writes it, row by row, so that a table of any length takes the memory of one row.
//!
//! Libraries for CSV read whatever they can; a record's tables must be what the standard says, so that every other program reads the same.

use std::io::{self, BufRead};

/// Longest row that is read, bytes; cells that people write are far shorter.
pub const LONGEST_ROW: usize = 1 << 20;

/// How lines end.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum LineEnd {
    /// CR LF, as the standard says.
    CrLf,
    /// Also LF alone, as many programs write.
    AlsoLf,
}

/// What is no CSV, or cannot be read.
#[derive(Debug)]
pub struct Broken {
    /// The line of the file, from 1.
    pub line: usize,
    /// What is wrong.
    pub what: String,
}

/// The rows of a table.
#[derive(Debug)]
pub struct Rows<R> {
    input: R,
    ends: LineEnd,
    line: usize,
}

/// One row; it can be filled again and again.
#[derive(Debug, Default)]
pub struct Row {
    /// The line of the file in which it begins, from 1.
    pub line: usize,
    bytes: Vec<u8>,
    /// The end of each cell in `bytes`.
    ends: Vec<usize>,
}

impl Row {
    /// The cells without quotes.
    pub fn cells(&self) -> impl Iterator<Item = &[u8]> {
        let starts = std::iter::once(0).chain(self.ends.iter().copied());
        starts.zip(&self.ends).map(|(start, &end)| &self.bytes[start..end])
    }

    /// How many there are.
    pub fn len(&self) -> usize {
        self.ends.len()
    }

    /// Whether there is none, as before the first reading.
    pub fn is_empty(&self) -> bool {
        self.ends.is_empty()
    }

    fn end_cell(&mut self) {
        self.ends.push(self.bytes.len());
    }
}

/// Where in a row the reader is.
#[derive(Clone, Copy, PartialEq, Eq)]
enum At {
    /// Before the first byte of a cell.
    Begin,
    /// In a cell without quotes.
    Plain,
    Quoted,
    /// Behind a quote in a quoted cell: its end, or the first of two.
    Quote,
    /// Behind a CR that is outside quotes.
    Cr,
}

impl<R: BufRead> Rows<R> {
    /// Rows from bytes.
    pub const fn new(input: R, ends: LineEnd) -> Self {
        Self { input, ends, line: 1 }
    }

    /// Reads the next row; false behind the last one.
    ///
    /// # Errors
    /// The bytes are no CSV, the row is longer than [`LONGEST_ROW`], or the file cannot be read.
    pub fn read(&mut self, row: &mut Row) -> Result<bool, Broken> {
        (row.line, row.bytes, row.ends) = (self.line, std::mem::take(&mut row.bytes), std::mem::take(&mut row.ends));
        row.bytes.clear();
        row.ends.clear();
        let mut at = At::Begin;
        loop {
            let piece = match self.input.fill_buf() {
                Ok(piece) => piece,
                Err(e) if e.kind() == io::ErrorKind::Interrupted => continue,
                Err(e) => return Err(Broken { line: self.line, what: format!("cannot be read: {e}") }),
            };
            if piece.is_empty() {
                return self.end(at, row);
            }
            let mut taken = 0;
            let mut done = Ok(false);
            for &byte in piece {
                taken += 1;
                if byte == b'\n' {
                    self.line += 1;
                }
                done = step(&mut at, byte, row, self.ends);
                if !matches!(done, Ok(false)) {
                    break;
                }
            }
            self.input.consume(taken);
            match done {
                Err(what) => return Err(self.broken(what)),
                Ok(true) => return Ok(true),
                Ok(false) if row.bytes.len() + row.ends.len() > LONGEST_ROW => return Err(self.broken("has a row of more than a mebibyte")),
                Ok(false) => {}
            }
        }
    }

    /// The end of the file.
    fn end(&self, at: At, row: &mut Row) -> Result<bool, Broken> {
        match at {
            At::Begin if row.is_empty() => Ok(false),
            At::Begin | At::Plain | At::Quote => {
                row.end_cell();
                Ok(true)
            }
            At::Quoted => Err(self.broken("ends within quotes")),
            At::Cr => Err(self.broken("has a carriage return without a line feed")),
        }
    }

    fn broken(&self, what: &str) -> Broken {
        Broken { line: self.line, what: what.into() }
    }
}

/// Takes a byte; true where it ends the row.
fn step(at: &mut At, byte: u8, row: &mut Row, ends: LineEnd) -> Result<bool, &'static str> {
    match (*at, byte) {
        (At::Quoted, b'"') => *at = At::Quote,
        (At::Quoted, _) => row.bytes.push(byte),
        (At::Quote, b'"') => {
            row.bytes.push(byte);
            *at = At::Quoted;
        }
        (At::Cr, b'\n') => {
            row.end_cell();
            return Ok(true);
        }
        (At::Cr, _) => return Err("has a carriage return without a line feed"),
        (At::Begin, b'"') => *at = At::Quoted,
        (_, b',') => {
            row.end_cell();
            *at = At::Begin;
        }
        (_, b'\r') => *at = At::Cr,
        (_, b'\n') if ends == LineEnd::AlsoLf => {
            row.end_cell();
            return Ok(true);
        }
        (_, b'\n') => return Err("has a line that ends with a line feed alone"),
        (At::Plain, b'"') => return Err("has a quote within a cell that does not begin with one"),
        (At::Quote, _) => return Err("has something behind the closing quote of a cell"),
        (At::Begin | At::Plain, _) => {
            row.bytes.push(byte);
            *at = At::Plain;
        }
    }
    Ok(false)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn read(text: &str, ends: LineEnd) -> Result<Vec<Vec<String>>, usize> {
        // Pieces of three bytes, so that every state meets an end of the buffer.
        let mut rows = Rows::new(io::BufReader::with_capacity(3, text.as_bytes()), ends);
        let (mut row, mut all) = (Row::default(), Vec::new());
        while rows.read(&mut row).map_err(|broken| broken.line)? {
            all.push(row.cells().map(|cell| String::from_utf8(cell.to_vec()).unwrap()).collect());
        }
        Ok(all)
    }

    /// `csv.rfc4180` of the check values (RFC 4180).
    #[test]
    fn quotes_double_and_hold_what_ends_cells_and_lines() {
        let strict = |text| read(text, LineEnd::CrLf).unwrap();
        assert_eq!(strict("a,b\r\n1,\"ha \"\"ha\"\" ha\"\r\n3,4\r\n"), [["a", "b"], ["1", "ha \"ha\" ha"], ["3", "4"]]);
        assert_eq!(strict("\"a,\r\nb\",\r\n,\"\""), [["a,\r\nb", ""], ["", ""]]);
        assert_eq!(strict(""), Vec::<Vec<String>>::new());
        assert_eq!(strict("\r\n"), [[""]]);
        assert_eq!(read("a\nb\r\n", LineEnd::AlsoLf).unwrap(), [["a"], ["b"]]);
    }

    #[test]
    fn what_the_standard_does_not_know_is_refused_with_its_line() {
        let cases = [
            ("a\n", 2),
            ("a\r\nb\"c\r\n", 2),
            ("a\r\n\"b\"c\r\n", 2),
            ("a\rb\r\n", 1),
            ("a\r\n\"b\r\n", 3),
            ("a\r\nb\r", 2),
            ("a\r\n\"b\"\"\r\n", 3),
        ];
        for (text, line) in cases {
            assert_eq!(read(text, LineEnd::CrLf), Err(line), "{text:?}");
        }
        let endless = ",".repeat(LONGEST_ROW + 2);
        assert_eq!(read(&endless, LineEnd::CrLf), Err(1));
    }
}

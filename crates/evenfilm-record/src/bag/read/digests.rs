//! Digests of files.

use std::fs::File;
use std::io::{self, ErrorKind, Read};
use std::path::Path;

use sha2::Digest;

use crate::digest::hex;

/// A digest algorithm, as manifests name it.
#[derive(Clone, Copy, Debug)]
pub struct Algorithm {
    /// Its name in the name of a manifest: lower case, letters and digits only.
    pub name: &'static str,
    /// Hexadecimal digits of a digest.
    pub digits: usize,
    begin: fn() -> Box<dyn Running>,
}

/// A digest that grows.
pub trait Running {
    /// Takes the next bytes.
    fn take(&mut self, bytes: &[u8]);
    /// The digest of all bytes taken, in lower-case hexadecimal digits.
    fn finish(self: Box<Self>) -> String;
}

struct Of<D>(D);

impl<D: Digest> Running for Of<D> {
    fn take(&mut self, bytes: &[u8]) {
        self.0.update(bytes);
    }

    fn finish(self: Box<Self>) -> String {
        hex(&self.0.finalize())
    }
}

impl Algorithm {
    /// The algorithm of a digest under its name in manifests.
    pub fn of<D: Digest + 'static>(name: &'static str) -> Self {
        Self { name, digits: 2 * <D as Digest>::output_size(), begin: || Box::new(Of(D::new())) }
    }
}

/// The digests that a record may rest on: those that RFC 8493 asks every program to know and that nobody can make two files meet in.
pub static PRODUCTION: std::sync::LazyLock<[Algorithm; 2]> =
    std::sync::LazyLock::new(|| [Algorithm::of::<sha2::Sha256>("sha256"), Algorithm::of::<sha2::Sha512>("sha512")]);

/// The digests of a file, read once in pieces.
pub(super) fn of_file<'a>(path: &Path, algorithms: impl Iterator<Item = &'a Algorithm>) -> io::Result<Vec<(&'static str, String)>> {
    let mut running: Vec<_> = algorithms.map(|algorithm| (algorithm.name, (algorithm.begin)())).collect();
    let mut file = File::open(path)?;
    let mut buffer = vec![0; 1 << 18];
    loop {
        match file.read(&mut buffer) {
            Ok(0) => return Ok(running.into_iter().map(|(name, digest)| (name, digest.finish())).collect()),
            Ok(n) => running.iter_mut().for_each(|(_, digest)| digest.take(&buffer[..n])),
            Err(e) if e.kind() == ErrorKind::Interrupted => {}
            Err(e) => return Err(e),
        }
    }
}

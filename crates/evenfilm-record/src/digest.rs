//! SHA-256 as text.

use sha2::{Digest, Sha256};

/// Lower-case hexadecimal digits of bytes.
pub(crate) fn hex(bytes: &[u8]) -> String {
    const DIGITS: &[u8; 16] = b"0123456789abcdef";
    bytes.iter().flat_map(|b| [b >> 4, b & 15]).map(|d| char::from(DIGITS[usize::from(d)])).collect()
}

/// SHA-256 of bytes, 64 hexadecimal digits.
pub(crate) fn sha256_hex(bytes: &[u8]) -> String {
    hex(&Sha256::digest(bytes))
}
